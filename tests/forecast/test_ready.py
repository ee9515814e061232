"""When a piece is ready: against exact series, against histories taken draw by draw, and by its directions."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.forecast import pull_and_rest
from curelab.forecast.ready import SHARE, ready_columns, ready_of, wanted_of
from curelab.limits import exposures
from curelab.proof import meat, series
from curelab.proof.balances import evened
from curelab.recipe.criterion import Criterion
from curelab.show.answer import Planned, answer, on, to_change
from curelab.show.how_often import in_batches
from curelab.show.lacking import why_bare
from curelab.spread import spread
from curelab.spread.changes import changes
from curelab.units import DAY

POINT = Piece(name="point", thickness="8 cm", weight="2 kg")
BRINE = Brine(
    bath=Bath(water="2 kg", salt="96 g", nitrite="0.5 g"), temperature="3 degC", lasts="10 d", turn_every="2 d"
)


def read(history, stage=0, wanted=None, days=120):
    wanted = wanted or (wanted_of(history, stage, 0),)
    return ready_of(
        ready_columns(history.lasting(stage, days * DAY), stage, wanted, (0,)), history, stage, wanted, (0,)
    )[0]


@pytest.mark.parametrize("salt", [None, 0.01])
def test_pull_and_rest_are_those_of_the_exact_series(salt):
    """Plane sheet in an endless brine: uptake by Crank 1975 eq. 4.18 to SHARE, or to a low salt; then a closed slab in cosines."""
    strength = 0.05
    cure = Brine(
        bath=Bath(water="4 kg", salt=4 * strength), temperature="3 degC", lasts="10 d", lying=False, running=True
    )
    history = meat.run([cure], meat.BARE, 60)
    target, basis = (SHARE, "equilibrium") if salt is None else (salt, "meat")
    goal = (Criterion("average", "salt", ">=", target, basis),)
    found = read(history, wanted=goal)
    pace = meat.salt_diffusivity() / meat.HALF**2
    half = series.constant("half slab")
    if salt is None:
        share = SHARE
    else:  # salt of the meat at the pull, as a share of the end, from the history at that moment: only its time is asked here
        share = history.lasting(0, 60 * DAY).average("salt", float(found.pull[0]), 0, "equilibrium")
    pull = brentq(lambda fo: float(half.uptake(np.array([fo]))[0]) - share, 1e-6, 5) / pace
    assert found.pull[0] == pytest.approx(pull, rel=2e-3)

    def missing(fo: float) -> float:
        return float(evened(pull * pace, np.array([fo]), np.zeros(1))[0, 0]) / share - SHARE

    rest = 0.0 if missing(1e-9) >= 0 else brentq(missing, 1e-9, 5) / pace
    assert found.rest[0] == pytest.approx(rest, rel=5e-3, abs=60.0)
    assert (salt is None) == (rest == 0.0)


def test_every_draw_is_the_batch_simulated_alone():
    many = spread(POINT, BRINE, count=16)
    found = many.ready()[0]
    solved = many.case.solve(many.draws.columns)
    for number in (0, 5, 11):
        alone = solved.of(number)
        one = simulate(alone.pieces, [alone.stages[0].lasting(120 * DAY)], numbers=alone.numbers, cells=40)
        goal = many.ready()[0].wanted
        pull = one.first_time(goal)
        assert found.pull[number] == pytest.approx(pull, rel=0.01)
        after = simulate(
            alone.pieces,
            [alone.stages[0].lasting(pull), Rest(temperature="3 degC", lasts="60 d")],
            numbers=alone.numbers,
        )
        middle = after.core("free nitrite", pull)
        assert found.most[number] >= 0.97 * middle


def test_nitrite_that_is_not_lost_holds_as_long_as_the_meat_keeps_and_none_holds_never():
    """Colour and protection would stay for ever; what the slowest spot went through before ends it all the same."""
    kept = read(simulate(POINT, BRINE, loss="none").as_drawn())
    assert np.isfinite(kept.first[0]) and kept.first[0] < kept.ready[0] and np.isfinite(kept.last[0])
    thin = POINT.but(thickness="2 cm", weight="0.5 kg")
    cold = simulate(thin, BRINE.but(temperature="-1.2 degC"), loss="none").as_drawn()
    assert np.isinf(read(cold).last[0])  # colder than meat begins to freeze at, no clock runs
    lost = read(simulate(POINT, BRINE).as_drawn())
    assert lost.most[0] < kept.most[0] and lost.pull[0] == pytest.approx(kept.pull[0], rel=1e-12)
    bare = read(simulate(POINT, BRINE.but(bath=Bath(water="2 kg", salt="96 g"))).as_drawn())
    assert not bare.nitrite and np.isinf(bare.first[0]) and bare.chance == 0


def test_a_bag_has_one_day_and_a_strong_brine_needs_a_rest():
    bag = SealedCure(salt="50 g", nitrite="0.25 g", temperature="3 degC", lasts="10 d")
    found = read(simulate(POINT, bag).as_drawn())
    assert found.bag and found.pull[0] == found.ready[0]
    one = simulate(POINT, bag.lasting(120 * DAY))
    shares = [one.at(place, "salt", float(found.ready[0]), 0, "equilibrium") for place in ("core", "average")]
    assert shares[0] / shares[1] == pytest.approx(SHARE, abs=0.01) and shares[1] >= SHARE
    strong = read(simulate(POINT, BRINE.but(bath=Bath(water="4 kg", salt="900 g"))).as_drawn())
    assert strong.wanted.basis == "meat" and strong.rest[0] > 10 * DAY > strong.pull[0]


def test_what_a_change_would_give_is_what_the_changed_batch_gives():
    many = spread(POINT, BRINE, count=64)
    made = {each.kind: each for each in changes(many, 0, "point", more_nitrite=1.5)}
    assert set(made) >= {"split", "nitrite", "colder"}
    thin = spread(POINT.but(thickness="4 cm"), BRINE, count=64).ready()[0]
    assert made["split"].ready.chance == pytest.approx(thin.chance, abs=0.05)
    assert np.median(made["split"].ready.ready) == pytest.approx(np.median(thin.ready), rel=0.01)
    as_it_is = many.ready()[0]
    assert np.median(made["colder"].ready.pull) > np.median(as_it_is.pull)
    assert np.all(made["nitrite"].ready.most >= 1.4 * as_it_is.most)
    if "thinner" in made:
        assert made["thinner"].enough and made["thinner"].value < POINT.thickness


@pytest.mark.parametrize("salt", ["96 g", "20 g"])
def test_what_it_goes_through_until_it_is_ready_is_what_the_check_counts(salt):
    """The same exposure by the check of limits, of a history that was made to last just so long: another mesh of times, every depth."""
    cure = BRINE.but(bath=BRINE.bath.but(salt=salt), temperature=[["0 d", "2 degC"], ["5 d", "4 degC"]])
    history = simulate(POINT, cure)
    found = read(history)
    pull, ready = float(found.pull[0]), float(found.ready[0])
    stages = [cure.lasting(pull), Rest(temperature="4 degC", lasts=max(ready - pull, 60.0))]
    (checked,) = exposures(simulate(POINT, stages))
    assert found.exposed[0] == pytest.approx(checked.cold, rel=0.03)
    assert found.exposed[0] > found.allowed and found.bare  # eight centimetres take weeks, most of them bare


def test_no_day_is_promised_that_bare_meat_does_not_keep():
    """Thick meat is not told to wait for weeks; thin meat is, and a cut that is thin enough stands among what to change."""
    many = spread(POINT, BRINE, count=32)
    (found,) = many.ready()
    said = answer(found, POINT, many.usual.numbers)
    assert said[0].startswith("Point, 8 cm: It would have its salt on day") and said[1].startswith(
        "Do not wait that long"
    )
    seam = {"seam": "4 cm", "seam_thickness": "5 mm"}
    stations = [
        {"at": at, "thickness": "8 cm", "width": "17 cm"} | more for at, more in (("0 cm", {}), ("26 cm", seam))
    ]
    cut = POINT.but(shape="cut", thickness=None, stations=stations, weight="3.6 kg")
    offered = "split it along its seam, and see what each part then needs"
    assert offered in " ".join(answer(found, cut, many.usual.numbers)) and offered not in " ".join(said)
    thin = POINT.but(thickness="3 cm", weight="1 kg")
    (quick,) = spread(thin, BRINE, count=32).ready()
    assert "Out on day" in answer(quick, thin, many.usual.numbers)[0] and quick.keeps.all()
    best = changes(many, 0, 0)[0]
    assert best.kind in ("thinner", "split") and best.ready.keeps.mean() >= 0.9


@pytest.mark.parametrize(
    "salt, nitrite, lacks",
    [
        ("66 g", "4 g", "Salt in its water is at"),  # 1.1 % of meat and water: never 2 % of the water
        ("180 g", "0.02 g", "Free nitrite there comes to"),
    ],
)
def test_what_is_lacking_is_said_and_nothing_that_passes(salt, nitrite, lacks):
    many = spread(POINT, BRINE.but(bath=Bath(water="4 kg", salt=salt, nitrite=nitrite)), count=32)
    (found,) = many.ready()
    told = why_bare(found, many.usual.numbers)
    assert told.startswith(lacks) and told.count("means") == 1
    weak = to_change(changes(many, 0, 0, draws=16), found=found, numbers=many.usual.numbers)[0]
    assert ("Take more salt" in weak) == (lacks.startswith("Salt"))


def test_a_cut_is_no_finer_than_the_rule_of_its_cook_and_hours_are_told_as_hours():
    many = spread(POINT.but(thickness="4 in"), BRINE, count=16)
    for system, step in (("metric", 0.005), ("us", 0.00635)):
        made = changes(many, 0, 0, draws=8, system=system)
        assert len({round(each.value, 9) for each in made}) == len(made)  # no cut is offered under two names
        cut = next(each for each in made if each.kind == "thinner")
        assert cut.value / step == pytest.approx(round(cut.value / step), abs=1e-6)
    half, late = np.array([0.4, 0.5, 0.6]) * DAY, np.array([5.0, 6.0, 7.0]) * DAY
    assert on(half) == "at hour 12 (10 to 14)" and on(late) == "on day 6 (5 to 7)"


def test_without_nitrite_no_cut_is_advised():
    many = spread(POINT, BRINE.but(bath=Bath(water="4 kg", salt="130 g")), count=16)
    (found,) = many.ready()
    said = " ".join(answer(found, POINT, many.usual.numbers, made=()))
    assert (
        found.bare and "Without nitrite nothing turns it pink" in said and "Cut it" not in said and "piece" not in said
    )


def test_how_many_batches_are_too_old_is_said_not_only_the_middle_one():
    many = spread(POINT, BRINE, count=32)
    (found,) = many.ready()
    share = float(np.mean(found.exposed > found.allowed))
    assert f"{in_batches(share).capitalize()} it is past" in answer(found, POINT, many.usual.numbers)[1]


def rested(out, wait):
    """(salt of the whole over its end, middle over the average) when it is cooked, by the front door."""
    history = simulate(POINT, [BRINE.lasting(out), Rest(temperature="3 degC", lasts=max(wait, 60.0))])
    return history.average("salt", out, 0, "equilibrium"), history.core("salt", None, 0, "equilibrium")


def test_pull_and_rest_do_what_they_say():
    least = pull_and_rest(POINT, BRINE)
    salted, even = rested(least.pull, least.rest)
    assert (salted, even) == pytest.approx((SHARE, SHARE), abs=0.01)
    days = [out + wait for out in np.linspace(1.0, 1.6, 5) * least.pull for wait in (0.0, 0.5 * DAY, 2 * DAY)
            if min(rested(out, wait)) >= SHARE]  # fmt: skip
    assert least.ready <= min(days) * 1.01
    late = pull_and_rest(POINT, BRINE, serve=1.5 * least.ready)
    assert late.ready == pytest.approx(1.5 * least.ready, rel=1e-9) and late.pull > least.pull
    assert min(rested(late.pull, late.rest)) >= SHARE and late.salted[0] > least.salted[0]
    soon = pull_and_rest(POINT, BRINE, serve=0.5 * least.ready)  # nothing is right by then: the least short of it
    shares = [min(rested(out, soon.ready - out)) for out in np.linspace(0.1, 0.95, 5) * soon.ready]
    assert min(soon.salted[0], soon.even[0]) >= max(shares) - 0.03 and "too early" in soon.sentence
    assert rested(soon.pull, soon.rest) == pytest.approx((soon.salted[0], soon.even[0]), abs=0.01)
    long = pull_and_rest(POINT, BRINE, rest="10 d")
    assert long.rest == 10 * DAY and long.pull == pytest.approx(least.pull, rel=1e-6) and long.even[0] > least.even[0]
    with pytest.raises(ValueError, match="not both"):
        pull_and_rest(POINT, BRINE, rest="10 d", serve="40 d")


def test_a_strong_brine_has_one_pull_and_a_rest_that_can_be_too_short():
    strong = BRINE.but(bath=Bath(water="4 kg", salt="900 g"))
    least = pull_and_rest(POINT, strong)
    assert least.rest > 5 * least.pull and pull_and_rest(POINT, strong, rest="60 d").pull == least.pull
    short = pull_and_rest(POINT, strong, rest="5 d")
    assert short.pull is None and "not enough" in short.sentence


@pytest.mark.parametrize("cap", (None, "1 cm"))
def test_a_piece_rests_by_itself_as_it_does_beside_the_others(cap):
    """Nothing enters or leaves pieces at rest, so what one of them does hangs on no other; its cure does."""
    pieces = [POINT.but(name=f"piece {n}", weight=f"{n + 1} kg", **({"fat_cap": cap} if cap else {})) for n in range(5)]
    many = spread(pieces, BRINE, count=16)._first
    out, rest = np.linspace(2.0, 9.0, 16) * DAY, Rest(temperature="4 degC", lasts="20 d")
    when = out[:, None] + np.array([1.0, 0.5 * DAY, 20 * DAY])
    together = many.pulled(0, out, rest)
    for number in (0, 4):
        alone = many.pulled(0, out, rest, number)
        for name in ("salt", "free nitrite"):
            expected = together.least(name, when, number)
            assert alone.least(name, when, 0) == pytest.approx(expected, rel=1e-6)
            assert alone.average(name, when) == pytest.approx(together.average(name, when, number), rel=1e-6)
        before, begun = (alone.average("salt", out[:, None] + at) for at in (-1.0, 0.0))
        assert before == pytest.approx(begun, rel=1e-9)  # it shared its cure: before, as it begins to go on alone


def test_a_planned_soak_is_answered_with_its_soak():
    """A brine that ends too salty, then a soak of 10 hours: each draw taken alone has the salt after the soak, and is even on the ready day; its
    outside has no cure until the rest has brought it back, so colour and protection count from the soak on.
    """
    thin = Piece(name="thin", thickness="3 cm", weight="1.2 kg")
    strong = BRINE.but(bath=Bath(water="4 kg", salt="435 g", nitrite="0.8 g"), lasts="2 d")
    stages = [
        strong,
        Soak(waters=(Water(amount="6 kg", lasts="5 h", temperature="3 degC"),) * 2),
        Rest(temperature="3 degC", lasts="1 d"),
    ]
    many = spread(thin, stages, count=8)
    found = many.ready()[0]
    solved = many.case.solve(many.draws.columns)
    for number in (0, 5):
        one = solved.of(number)
        alone = simulate(
            one.pieces, [*one.stages[:2], Rest(temperature="3 degC", lasts="20 d")], numbers=one.numbers, cells=40
        )
        out, soaked, ready = (float(each[number]) for each in (found.pull, found.soaked, found.ready))
        assert (out, soaked) == pytest.approx((2 * DAY, 2 * DAY + 36000))
        assert found.after[number] == pytest.approx(alone.average("salt", soaked), rel=0.01)
        then, before = (alone.lean_profile("salt", when, 0, "equilibrium").min() for when in (ready, soaked + 1.0))
        assert then == pytest.approx(SHARE, abs=0.01) and before < 0.4
        assert found.rest[number] == ready - soaked and found.first[number] > soaked
    said = answer(found, thin, many.usual.numbers, Planned(2 * DAY))[0]
    assert "2 days and 10 hours of soak leave" in said and "too long" not in said and "as wanted" in said
    salty = replace(found, after=1.3 * found.after)
    assert "Soak it longer." in answer(salty, thin, many.usual.numbers, Planned(2 * DAY))[0]
    calm = spread(thin, [BRINE, *stages[1:]], count=8).ready()[0]
    assert calm.after is None and calm.wanted.basis == "equilibrium"
