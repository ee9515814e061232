"""A thermometer in the meat: readings of it are taken up as those of a brine are. Truths are made up here, and hidden from the fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from curelab.batch import Reading, from_table, load
from curelab.engine.simulate import simulate
from curelab.fields import InputError
from curelab.learn.probe import doubted, judged_probe, lived, no_easier
from curelab.learn.readings import from_log
from curelab.learn.update import asked_for, heard, update
from curelab.limits import Verdict
from curelab.limits.cooked import check_cooked
from curelab.outcome import run
from curelab.recipe.stages import Chill
from curelab.show.in_short import in_parts
from curelab.show.stop import not_to_follow
from curelab.sources import datasets_folder, default_numbers
from curelab.spread import Request
from curelab.units import HOUR

pytestmark = pytest.mark.usefixtures("few_reports")

FLAT_CHILL, SIMMER = 3, 4
COLD_OVEN = {
    "schema": 1, "name": "cold oven", "invented": True,
    "pieces": [{"name": "loin", "tissue": "pork loin", "thickness": "5 cm", "weight": "2 kg"}],
    "weigh_out": {
        "method": "equilibrium brine", "water": "3 kg", "salt": "2.5 %", "nitrite": "125 ppm",
        "cure": {"name": "mix", "nitrite": "6.25 %", "nitrate": "0 %"},
    },
    "stages": [
        {"do": "brine", "temperature": "3 degC", "lasts": "9 d"},
        {"do": "oven", "temperature": "110 degC", "humidity": "20 %", "until": "core temperature >= 68 degC", "at_most": "6 h"},
    ],
    "log": [
        *({"at": f"{day} d", "what": "brine strength", "value": f"{per} %", "error": "0.1 %"} for day, per in ((2, 3.5), (5, 3.2), (9, 3.0))),
        *({"at": f"{hour} h", "what": "core temperature", "value": f"{warm} degC"} for hour, warm in ((217, 18), (218, 35))),
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def batch():
    return load(datasets_folder() / "demo_plate.toml")


@pytest.fixture(scope="module")
def usual(batch):
    return simulate(batch.pieces, batch.filled(), cells=12)


def probed(at: float, kelvin: float, piece: str = "point") -> Reading:
    return Reading(at=float(at), what="core temperature", value=f"{kelvin - 273.15:.2f} degC", piece=piece)


def test_a_probe_tells_when_the_pot_is_done(batch, usual):
    """A pot that gives its heat badly around a thicker point than was measured: the forecast finds its hour, and is sharper than before."""
    point, flat = batch.pieces
    thick = point.but(thickness=1.08 * point.thickness)
    numbers = default_numbers().with_values({"heat.film.simmer": 350.0})
    truth = simulate((thick, flat), batch.filled(), cells=12, numbers=numbers)
    begin = usual.begin(SIMMER)  # the kitchen's clock: the flat was out of the ice when the plan says
    late = truth.ends(SIMMER) - truth.begin(SIMMER)
    log = [
        probed(begin + share * late, truth.temperature(truth.begin(SIMMER) + share * late, "core", "point"))
        for share in (0.4, 0.6, 0.75)
    ]
    found = update(batch.but(log=tuple(log)), count=128)
    assert asked_for(batch, found.readings) == ("heat.film.simmer",)
    assert found.fit.believed
    asked = [Request.of(what, stage=SIMMER) for what in ("ends", "begin")]
    now, was = (np.subtract(*each.readings(asked)) for each in (found.spread, found.planned))
    low, middle, high = np.quantile(now, (0.1, 0.5, 0.9))
    assert low < late < high and abs(middle / late - 1) < 0.03
    assert high - low < 0.5 * np.subtract(*np.quantile(was, (0.9, 0.1)))
    assert late > np.quantile(was, 0.8)  # which the plan alone would not have told
    said = " ".join(found.in_short)
    assert "Simmer: 88 °C in the middle after" in said and "Go by the thermometer" in said
    assert "how fast this meat takes salt" not in said.partition("Go by")[0]


def test_the_usual_course_and_its_verdicts_take_it_up(batch, usual):
    begin, spent = usual.span(SIMMER)[0], np.ptp(usual.span(SIMMER))
    slow = [probed(begin + k * spent, usual.temperature(begin + 0.85 * k * spent, "core", "point")) for k in (0.5, 0.7)]
    learned = run(batch.but(log=tuple(slow)), draws=16)
    took = float(np.ptp(learned.history.span(SIMMER)))
    assert took > 1.08 * spent
    assert float(np.ptp(learned.judged.span(SIMMER))) == pytest.approx(took, rel=1e-2)


def test_a_stage_lasts_as_long_as_the_probe_says(batch, usual):
    begin, end = usual.span(SIMMER)
    target = 273.15 + 88

    def lasted(*rows: tuple[float, float]) -> float:
        return lived(batch.but(log=tuple(probed(begin + at, kelvin) for at, kelvin in rows)), usual)[SIMMER].longest

    assert lasted((600.0, 290.0)) == pytest.approx(end - begin, abs=1.0)  # nothing said of the end
    assert lasted((2 * HOUR, target - 6), (3 * HOUR, target + 2)) == pytest.approx(2.75 * HOUR)  # on the line between
    assert lasted((3 * HOUR, target - 6)) == pytest.approx(3 * HOUR)  # still cooking then
    assert lasted((HOUR, target + 1)) == pytest.approx(HOUR)  # done sooner than planned
    flat = [probed(begin + at * HOUR, kelvin, "flat") for at, kelvin in ((-0.2, 290.0), (0.5, 285.0), (1.0, 281.0))]
    spent = np.diff(usual.span(FLAT_CHILL))[0]
    both = batch.but(log=(*flat, probed(begin + 0.7 * HOUR, 310.0)))
    assert lived(both, usual)[FLAT_CHILL].longest == pytest.approx(
        spent + 0.5 * HOUR
    )  # the point was in the pot by then
    fallen = lasted((HOUR, target - 10), (2.5 * HOUR, target - 40))  # what falls back is in the ice
    assert fallen == pytest.approx(end - begin, abs=1.0)


def test_what_cannot_be_is_one_sentence(batch, usual):
    begin = usual.begin(SIMMER)
    log = (
        probed(begin + 1800.0, 273.15 + 80),  # the pot is at 56 °C
        probed(begin + 2400.0, 273.15 + 40, "flat"),
        probed(5 * 86400.0, 273.15 + 40),
        probed(usual.begin(2) + 600.0, 273.15 + 20, "flat"),
    )
    readings, remarks = from_log(batch.but(log=log))
    assert len(readings) == 1 and readings[0].setting == "bag_in_water" and len(remarks) == 3
    hot = next(each for each in remarks if "hotter than its pot" in each)
    assert "80 °C" in hot and "push the tip into the meat" in hot
    assert any("flat waits in the fridge then" in each for each in remarks)
    assert any("nothing is cooked or cooled then" in each for each in remarks)
    said, found = heard(batch.but(log=log[:1]), 16)
    assert found is None and "hotter than its pot" in said[0]
    assert any("hotter than its pot" in each for each in heard(batch.but(log=log), 16)[0])
    cold = probed(usual.begin(FLAT_CHILL) + 600.0, 273.15 - 6, "flat")
    assert "colder than what cools it" in from_log(batch.but(log=(cold,)))[1][0]


def test_a_chill_that_a_probe_saw_is_judged_by_it(batch, usual):
    """54.4 to 26.7 °C must not take longer than the printed hours, whatever the model makes of the ice."""
    end = usual.ends(SIMMER)
    slow = [(0.0, 361.15), (1.0, 333.15), (4.0, 313.15), (9.0, 293.15)]
    log = tuple(probed(end - 60 + at * HOUR, kelvin) for at, kelvin in slow)
    found = judged_probe(batch.but(log=log), usual)
    assert {each.name for each in found} == {
        "cooling, food code, by the probe",
        "cooling, federal stabilization, by the probe",
    }
    assert all(each.outcome == "fail" for each in found)
    hours = next(each for each in found if "federal" in each.name).statistic
    # On the lines between the readings: from 54.4 °C at 1.84 h to 26.7 °C at 7.33 h.
    assert hours == pytest.approx((4 + 5 * (40 - 26.67) / 20) - (1 + 3 * (60 - 54.44) / 20), rel=2e-3)
    quick = tuple(probed(end - 60 + at * HOUR / 6, kelvin) for at, kelvin in slow)
    assert judged_probe(batch.but(log=quick), usual) == ()  # makes no check easier
    worst = replace(run(batch, draws=16), batch=batch.but(log=log))
    assert any(each.name.endswith("by the probe") and each.outcome == "fail" for each in worst.verdicts)


def test_meat_without_a_cure_has_a_forecast_too(batch):
    raw = batch.but(stages=batch.stages[2:], weigh_out=None)
    usual = simulate(raw.pieces, raw.filled(), cells=12)
    begin, end = usual.span(2)
    log = [
        probed(at, usual.temperature(at, "core", "point") - 2)
        for at in (begin + 0.5 * (end - begin), begin + 0.7 * (end - begin))
    ]
    said, found = heard(raw.but(log=tuple(log)), 16)
    assert found is not None and found.cure is None and not found.told.days
    assert any("Simmer: 88 °C in the middle after" in each and "by your probe" in each for each in said)
    with pytest.raises(InputError, match="no cure to forecast"):
        update(raw.but(log=(Reading(at=1.0, what="weight", value="1.8 kg", piece="point"),)))


def test_one_reading_in_a_chill_is_no_proof_of_it(batch, usual):
    """Nearly 5 h in a fridge where the food code has 2: one reading, colder than the plan has it, must not make that look quicker."""
    stages = list(batch.stages)
    stages[FLAT_CHILL] = Chill(pieces=["flat"], medium="fridge air", temperature="3 degC", lasts="24 h")
    slow = batch.but(stages=stages)
    at = usual.begin(FLAT_CHILL) + 2 * HOUR
    one = slow.but(log=(probed(at, 290.0, "flat"),))
    found = {each.name: each for each in run(one, draws=8).verdicts}
    assert found["cooling, food code"].outcome == "fail"
    assert "too few readings tell of the chill" in found["cooling, food code"].sentence
    # A chill that was read from hot to cold, quicker than printed, is not held against the plan.
    begin = usual.begin(FLAT_CHILL)
    rows = [
        probed(begin + h * HOUR, k, "flat")
        for h, k in ((0.1, 345.0), (0.5, 328.0), (1.9, 294.0), (3, 285.0), (5, 277.5))
    ]
    quick = Verdict("cooling, food code", "unknown", None, None, "h", None, "Asked.", "", "seen")
    held = no_easier([quick], slow.but(log=tuple(rows)), usual, lambda: simulate(slow.pieces, slow.filled(), cells=12))
    assert held == [quick]


def test_its_error_is_a_difference():
    one = Reading(at=0.0, what="core temperature", value="62 degC", error="1.5 K")
    assert one.number == pytest.approx(335.15) and one.off == pytest.approx(1.5)
    with pytest.raises(InputError, match="core temperature"):
        Reading(at=0.0, what="core temperature", value="")


@pytest.mark.parametrize(("share", "off", "unsure"), [(0.9, -12.0, True), (0.9, -2.0, False), (0.9, 2.0, False)])
def test_a_thermometer_that_says_less_than_the_plan_is_believed(batch, usual, share, off, unsure):
    """So looks a bath that failed: whether the readings are taken up or not, no list of checks may be all in order."""
    at = usual.begin(SIMMER) + share * (usual.ends(SIMMER) - usual.begin(SIMMER))
    reading = probed(at, usual.temperature(at, "core", "point") + off)
    told = {verdict.name: verdict for verdict in doubted(batch.but(log=(reading,)), usual)}
    assert bool(told) == unsure
    if unsure:
        verdict = told["thermometer in the meat"]
        assert verdict.outcome == "unknown" and "Cook on until it says enough" in verdict.sentence


def test_meat_that_is_warmer_in_the_ice_than_the_plan_has_it_is_not_vouched_for(batch, usual):
    at = usual.begin(FLAT_CHILL) + 0.7 * (usual.ends(FLAT_CHILL) - usual.begin(FLAT_CHILL))
    warm = probed(at, usual.temperature(at, "core", "flat") + 15.0, "flat")
    (verdict,) = doubted(batch.but(log=(warm,)), usual)
    assert verdict.outcome == "unknown" and "Chill it faster" in verdict.sentence


def test_a_reading_that_no_meat_would_give_leaves_no_list_in_order(batch, usual):
    at = usual.begin(SIMMER) + 0.9 * (usual.ends(SIMMER) - usual.begin(SIMMER))
    cold = probed(at, usual.temperature(at, "core", "point") - 25.0)
    outcome = run(batch.but(log=(cold,)), draws=8)
    assert "check the probe" in outcome.said[0]  # it is not taken up, and yet it counts
    assert "thermometer in the meat" in {each.name for each in outcome.verdicts if each.outcome == "unknown"}
    first = in_parts(outcome)[0]
    assert any(
        "Believe the thermometer in the point" in said and "Cook on until it says enough" in said for said in first
    )
    assert any(
        "Believe the thermometer in the point" in said for said in not_to_follow(outcome)
    )  # plan, sheet, label, page
    heat = {each.name for each in check_cooked(outcome.judged)}
    assert {"come-up", "lethality, 6.5 log"} <= heat
    assert not [each for each in outcome.verdicts if each.name in heat and each.outcome == "pass"]


def test_a_probe_that_no_bath_would_give_takes_nothing_from_good_readings_of_the_brine():
    """A probe says nothing of salt: what the brine taught stays, and the probe is set aside aloud."""
    batch = from_table(COLD_OVEN)
    salt = batch.but(log=tuple(each for each in batch.log if each.what == "brine strength"))
    alone, both = (update(each, count=16) for each in (salt, batch))
    assert alone.fit.believed and both.fit.believed
    assert both.fit.get("obstruction.lean").value == pytest.approx(alone.fit.get("obstruction.lean").value, rel=1e-6)
    assert any(said.startswith("Set aside: the middle of the loin") and "35 °C" in said for said in both.in_short)
