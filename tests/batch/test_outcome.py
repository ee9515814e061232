"""A batch with a log, forecast anew: what its readings move, what they must not move, and when they are not taken up."""

from __future__ import annotations

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.batch import Batch, Reading
from curelab.fields import InputError
from curelab.learn.readings import Measurement, measure
from curelab.learn.update import BEFORE
from curelab.limits import UNPROTECTED
from curelab.outcome import CURED, run
from curelab.recipe.meat_and_fridge import Known, MeatAndFridge
from curelab.show.answer import answers
from curelab.show.in_short import how_sure, in_short
from curelab.show.report import words
from curelab.sources import default_numbers
from curelab.spread.sensitivity import how_long, what_matters

pytestmark = pytest.mark.usefixtures("few_reports")

DAY = 86400.0
POINT = Piece(name="point", thickness="5 cm", weight="2 kg")
CURE = Brine(bath=Bath(water="2 kg", salt="120 g", nitrite="0.4 g"), temperature="3 degC", lasts="14 d", lying=False)
REST = Rest(temperature="3 degC", lasts="2 d")


def logged(obstruction: float, stages=(CURE, REST), days=(0.1, 2, 4, 6), **more) -> Batch:
    """A batch whose brine was read as it would be in meat of this pace."""
    numbers = default_numbers().with_values({"obstruction.lean": obstruction})
    of = simulate((POINT,), (CURE.but(lasts="30 d"),), numbers=numbers)
    log = []
    for day in days:
        value = measure(of, Measurement("salometer", day * DAY, 1.0, 1.0))
        log.append(Reading(at=day * DAY, what="salometer", value=f"{value:.2f}", error="0.3"))
    return Batch(schema=1, name="A test", pieces=(POINT,), stages=stages, log=tuple(log), **more)


def test_a_log_moves_the_days_the_bands_and_the_usual_course_together():
    fast, slow = (run(logged(pace), draws=64) for pace in (0.5, 0.22))
    plain = run(logged(0.5), draws=64, log=False)
    assert plain.learned is None
    days = [each.cured[0].needs.quantile(0.5) for each in (fast, plain, slow)]
    core = [each.history.core("salt", 14 * DAY) for each in (fast, plain, slow)]
    middle = [each.band("core", "salt", 0, "point")[0] for each in (fast, plain, slow)]
    assert days[0] < days[1] < days[2] and core[0] > core[1] > core[2] and middle[0] > middle[1] > middle[2]
    width = [np.ptp(each.band("core", "salt", 0, "point")) for each in (fast, plain)]
    assert width[0] < 0.7 * width[1]
    # The one line and the middle of the draws tell the same story.
    assert core == pytest.approx(middle, rel=0.05)


def test_a_stage_that_waits_for_a_criterion_ends_on_another_day():
    until = CURE.but(lasts=None, until=CURED, at_most="60 d")
    outcome, plain = (run(logged(0.5, (until, REST)), draws=64, log=log) for log in (True, False))
    assert outcome.history.span(0)[1] < 0.85 * plain.history.span(0)[1]
    assert outcome.history.span(0)[1] == pytest.approx(outcome.cured[0].needs.quantile(0.5), rel=0.06)


def test_verdicts_are_held_against_the_published_ends_whatever_a_log_says():
    outcome, plain = (run(logged(0.5), draws=64, log=log) for log in (True, False))
    for theirs, ours in ((plain.slow, outcome.slow), (plain.fast, outcome.fast)):
        assert ours.numbers["obstruction.lean"].value == theirs.numbers["obstruction.lean"].value
        assert ours.core("salt", 14 * DAY) == pytest.approx(theirs.core("salt", 14 * DAY), rel=1e-9)


def test_a_thermometer_in_the_log_warms_what_is_checked():
    planned = logged(0.334)
    warm = [Reading(at=day * DAY, what="temperature", value="6 degC", error="0.3 degC") for day in range(1, 14)]
    outcome = run(planned.but(log=(*planned.log, *warm)), draws=64)
    assert outcome.learned is not None and 2.0 < outcome.learned.values["temperature"] < 3.0
    assert outcome.history.temperature(DAY) == pytest.approx(276.15 + outcome.learned.values["temperature"], rel=1e-9)
    judged = {verdict.name: verdict.outcome for verdict in outcome.verdicts}
    before = {verdict.name: verdict.outcome for verdict in run(planned, draws=64, log=False).verdicts}
    assert (
        before["kept cold"] == "pass" and judged["kept cold"] == "fail" and judged["temperature in the log"] == "fail"
    )


def test_a_thermometer_that_reads_colder_than_planned_clears_no_check():
    """It hung in one place, and a fridge swings: what the plan fails, it still fails."""
    warm = CURE.but(temperature="4.8 degC")
    plan = Batch(schema=1, name="A test", pieces=(POINT,), stages=(warm, REST.but(temperature="5 degC")))
    read = plan.but(
        log=(
            Reading(at=DAY, what="temperature", value="2 degC"),
            Reading(at=2 * DAY, what="temperature", value="2 degC"),
        )
    )
    outcome = run(read, draws=64)
    assert outcome.learned is not None and outcome.learned.values["temperature"] < -0.5
    before, after = ({each.name: each for each in one.verdicts} for one in (run(plan, draws=64), outcome))
    assert before["kept cold"].outcome == after["kept cold"].outcome == "fail"
    # What the place that is slowest has used up of its time is counted at the planned warmth, too.
    assert before[UNPROTECTED].outcome == after[UNPROTECTED].outcome != "pass"
    assert after[UNPROTECTED].statistic == pytest.approx(before[UNPROTECTED].statistic, rel=0.1)


def test_one_line_tells_the_story_of_the_draws_whatever_was_read():
    """A slice saltier than the pace alone explains moves partition, weights and thickness too."""
    batch = logged(0.334, days=())
    read = (
        Reading(at=13 * DAY, what="average salt", value="2.1 %", error="0.05 %", piece="point"),
        Reading(at=12 * DAY, what="weight", value="2.03 kg", error="5 g", piece="point"),
    )
    outcome = run(batch.but(log=read), draws=256)
    assert outcome.learned is not None
    for place in ("average", "core"):
        _, low, high = outcome.band(place, "salt", 0, "point")
        assert low < outcome.history.at(place, "salt", 14 * DAY, "point") < high
    weighs = outcome.spread.weight((14 * DAY,), "point")
    assert weighs.low[0] < outcome.history.weight(14 * DAY, "point") < weighs.high[0]


def test_readings_count_by_the_plan_where_a_stage_waits_for_a_criterion():
    """Else a late reading would fall into the rest in quick draws, and good readings would quarrel."""
    until = CURE.but(lasts=None, until=CURED, at_most="60 d")
    days = (3, 8, 15, 18)
    clock, waits = logged(0.5, (CURE.but(lasts="21 d"), REST), days), logged(0.5, (until, REST), days)
    assert run(waits, log=False).history.span(0)[1] > 18 * DAY
    by_clock, by_criterion = (run(each, draws=64).learned for each in (clock, waits))
    assert by_clock is not None and by_criterion is not None
    assert by_criterion.values["obstruction.lean"] == pytest.approx(by_clock.values["obstruction.lean"], rel=1e-2)


def test_an_error_sharper_than_any_instrument_is_not_believed_and_nothing_breaks():
    batch = logged(0.4)
    sharp = batch.but(log=tuple(reading.but(error="0.000001") for reading in batch.log))
    outcome = run(sharp, draws=64)
    usual = run(batch.but(log=tuple(reading.but(error="0.02") for reading in batch.log)), draws=64)
    assert outcome.learned is not None and usual.learned is not None
    assert outcome.learned.values == pytest.approx(usual.learned.values, rel=1e-6)


def test_what_the_days_hang_on_is_asked_as_if_the_log_had_not_been_read():
    batch = logged(0.5)
    outcome, plain = (run(batch, draws=BEFORE, log=log) for log in (True, False))
    assert [row.first for row in outcome.matters[0].rows] == [row.first for row in plain.matters[0].rows]
    assert any("Before your readings, " in sentence for sentence in how_sure(outcome))
    assert not any("Before your readings, " in sentence for sentence in how_sure(plain))
    with pytest.raises(ValueError, match="tied these inputs together"):
        what_matters(outcome.spread, how_long(CURED, 0, "point"), "days", method="rank")


def test_readings_that_quarrel_are_told_and_not_taken_up():
    batch = logged(0.5)
    wild = [
        reading.but(value=f"{float(reading.number) + off:.2f}")
        for reading, off in zip(batch.log, (0, 5, -4, 0), strict=True)
    ]
    batch = batch.but(log=tuple(wild))
    outcome = run(batch, draws=64)
    assert outcome.learned is None and "do not agree" in outcome.said[0]
    assert outcome.band("core", "salt", 0, "point") == run(batch, draws=64, log=False).band("core", "salt", 0, "point")
    assert any("Your readings are not taken up." in said for said in in_short(outcome))
    assert any("Your readings are taken up." in said for said in in_short(run(logged(0.5), draws=64)))


def test_a_soak_that_is_not_needed_moves_nothing_in_any_draw():
    soak = Soak(until="average salt <= 5 %", waters=(Water(amount="4 kg", lasts="2 h", temperature="4 degC"),))
    batch = Batch(schema=1, name="A test", pieces=(POINT,), stages=(CURE, soak, REST))
    outcome = run(batch, draws=64)
    assert outcome.history.span(1)[1] == outcome.history.span(1)[0]
    for place in ("surface", "average"):
        assert outcome.band(place, "salt", 1, "point") == pytest.approx(
            outcome.band(place, "salt", 0, "point"), rel=1e-4
        )
    report = words(outcome, long=True)
    assert "2. Soak, on day 14: not needed." in report and "0 minutes" not in report


@pytest.mark.parametrize("value", ["12 %", "0.3 %"])  # raw meat has 0.15 % of its own
def test_one_reading_that_no_meat_would_give_is_not_taken_up(value):
    batch = logged(0.334, days=())
    far = batch.but(log=(Reading(at=8 * DAY, what="core salt", value=value, error="0.1 %", piece="point"),))
    outcome = run(far, draws=64)
    said = outcome.said
    if value == "12 %":
        assert (
            outcome.learned is None
            and "too far from any meat that is published to be believed; read it again" in said[0]
        )
        assert "out on day" not in " ".join(said)
    else:
        assert outcome.learned is not None and "slower than typical" in said[0]


def test_a_log_that_holds_no_reading_changes_nothing():
    batch = logged(0.5)
    noted = batch.but(log=(Reading(at=DAY, what="turned"),))
    outcome = run(noted, draws=64)
    assert outcome.learned is None and "no reading to learn from" in outcome.said[0]
    assert run(batch.but(log=()), draws=64).said == ()


def test_what_is_drawn_is_never_stopped_by_a_guard_for_typing():
    """A scale that reads a tenth low puts more nitrite in than a cook may type: the batch runs, and typing it is refused."""
    ham = Piece(name="ham", tissue="lean pork", shape="cylinder", thickness="15 cm", weight="6 kg")
    cure = SealedCure(salt="200 g", nitrite="5.4 g", temperature="3 degC", lasts="30 d")  # 900 mg/kg
    scale = MeatAndFridge(schema=1, name="x", known=[Known(key="cure weight", low=1.1, value=1.15, high=1.2)])
    made = Batch(schema=1, name="t", rules="GB", pieces=(ham,), stages=(cure,), meat_and_fridge=scale)
    assert run(made, draws=16).history.average("nitrite", None, "ham") > 1e-3 * 0.9
    with pytest.raises(InputError, match="check the decimal point"):
        run(made.but(stages=(cure.but(nitrite="6.2 g"),)), draws=16)


def test_the_usual_case_is_in_the_middle_of_the_draws():
    """Days of salt and of nitrite, as added and free, within a fortieth of the middle draw; with the middle of each pace nitrite was a
    twentieth early.
    """
    outcome = run(Batch(schema=1, name="t", pieces=(POINT,), stages=(CURE,)), draws=512)
    for wanted in (
        "core nitrite >= 10 ppm", "core nitrite >= 30 ppm", "average nitrite >= 40 ppm", "core free nitrite >= 10 ppm",
        "average salt >= 60 % of equilibrium", "core salt >= 60 % of equilibrium",
    ):  # fmt: skip
        usual = outcome.history.lasting(0, 110 * DAY).first_time(wanted)
        middle = outcome.spread.time_to(wanted, 0).quantile(0.5)
        assert usual == pytest.approx(middle, rel=0.025), wanted


def test_a_piece_that_overshoots_its_end_is_told_so():
    thin = Piece(name="thin", thickness="2 cm", weight="0.5 kg", tissue="lean beef")
    thick = Piece(name="thick", thickness="12 cm", weight="4 kg", tissue="lean beef")
    outcome = run(Batch(schema=1, name="t", pieces=(thin, thick), stages=(CURE.but(lasts="8 d"),)), draws=32)
    assert outcome.stands("thin") > 1.1
    said = answers(outcome, made={})["thin"][0]
    assert f"stands at {100 * outcome.stands('thin'):.0f} % of where this cure ends" in said and "100 %" not in said
