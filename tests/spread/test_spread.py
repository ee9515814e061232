"""Bands: all draws at once against `simulate` of each of them, distributions, probabilities, executors, and what matters most."""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from handful import handful

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, extend, simulate
from curelab.engine.cases import Cases
from curelab.engine.drawn import drawn_case
from curelab.recipe.stages import BagCook, Chill, Oven, Simmer, Smoke
from curelab.recipe.stations import Station
from curelab.sources import default_numbers
from curelab.spread import Request, quantiles, spread
from curelab.spread.draws import draw
from curelab.spread.sensitivity import at_end, how_long, what_matters
from curelab.spread.uncertain import inputs_for, uncertain_inputs

DAY = 86400.0
PIECE = Piece(name="point", thickness="6 cm", weight="2 kg")
THIN = Piece(name="flat", thickness="3 cm", weight="1 kg", tissue="pork loin", shape="cylinder")
BATH = Bath(water="2 kg", salt="90 g", nitrite="0.5 g", sugar="40 g", nitrate="0.4 g")
LOG = [["0 h", "2 degC"], ["40 h", "4 degC"], ["41 h", "6 degC"], ["60 h", "3 degC"]]
REST = Rest(temperature="5 degC", lasts="2 d")
WATERS = (
    Water(amount="4 kg", lasts="1 h", temperature="8 degC"),
    Water(amount="4 kg", lasts="2 h", temperature="5 degC"),
)
FLOATING = Brine(bath=BATH, temperature="3 degC", lasts="6 d", lying=False)
TURNED = Brine(bath=BATH, temperature="3 degC", lasts="6 d", turn_every="2 d")
UNTIL = Brine(bath=BATH, temperature="3 degC", lying=False, until="core salt >= 60 % of equilibrium", at_most="20 d")
EARLY = Soak(until="average salt <= 1.9 %", waters=(Water(amount="4 kg", lasts="5 h", temperature="8 degC"),) * 3)
BAG = SealedCure(salt="100 g", nitrite="0.3 g", temperature="3 degC", lasts="8 d")
CASES = {
    "floating": ((PIECE,), (FLOATING, REST, Soak(waters=WATERS))),
    "turned": ((PIECE,), (TURNED, REST, Soak(waters=WATERS, stirred=True))),
    "turned by list": ((PIECE,), (TURNED.but(turn_every=None, turns=["1 d", "3 d"]), REST)),
    "two pieces": ((PIECE, THIN), (TURNED, REST, Soak(waters=WATERS))),
    "sphere with pH": ((PIECE.but(shape="sphere", ph=5.7),), (FLOATING, REST, Soak(waters=WATERS))),
    "cap on one face, thawed": ((PIECE.but(fat_cap="6 mm", frozen_before=True),), (TURNED, REST, Soak(waters=WATERS))),
    "cap on both faces": ((PIECE.but(fat_cap="6 mm", capped="both faces"),), (TURNED, REST)),
    "sealed, two pieces": ((PIECE, THIN.but(shape="slab")), (BAG, REST, Soak(waters=WATERS))),
    "sealed, never dissolved": ((PIECE,), (BAG.but(salt="400 g", lasts="2 d"), REST)),
    "running": ((PIECE,), (FLOATING.but(running=True), REST, Soak(waters=WATERS))),
    "fridge log": ((PIECE,), (TURNED.but(temperature=LOG), Rest(temperature=LOG, lasts="3 d"), Soak(waters=WATERS))),
    "until": ((PIECE,), (UNTIL, REST, EARLY, REST)),
}
COOKED = {
    "simmered": (
        Simmer(water="5 kg", temperature="90 degC", lasts="3 h"),
        Chill(medium="ice water", temperature="1 degC", lasts="1 h"),
    ),
    "in a bag": (
        BagCook(temperature="65 degC", lasts="5 h"),
        Chill(medium="fridge air", temperature="2 degC", lasts="3 h"),
    ),
    "steamed": (
        BagCook(temperature="90 degC", lasts="1 h", steam=True),
        Chill(medium="moving air", temperature="2 degC", lasts="3 h"),
    ),
    "smoked": (Smoke(temperature="95 degC", humidity="8 %", lasts="40 h"),),
    "in an oven": (Oven(temperature="160 degC", humidity="2 %", lasts="2 h"),),
}
CASES |= {name: ((PIECE,), (FLOATING, *stages)) for name, stages in COOKED.items()}
QUANTITIES = ("salt", "sugar", "nitrate", "nitrite", "free nitrite")
BASES = ("meat", "green weight", "water phase", "equilibrium")


def drawn(name, count=8, loss="nordin"):
    pieces, stages = CASES[name]
    usual = simulate(pieces, stages, loss=loss, cells=12)
    inputs = inputs_for(pieces, stages, loss, default_numbers(), usual.numbers.used)
    return pieces, stages, draw(inputs, count, seed=1), usual.length


PLACES = ("core", "average", "surface")
LEFT = (
    Rest(temperature="6 degC", lasts="1 d"),
    Soak(waters=(Water(amount="3 kg", lasts="3 h", temperature="5 degC"),)),
)
WAITED = ("core salt >= 50 % of equilibrium", "average salt >= 1 %", "core free nitrite >= 20 ppm")


def apart(ours, theirs) -> float:
    return float(np.abs(np.asarray(ours) - np.asarray(theirs)).max())


def read(history, name, times, given):
    found = getattr(history, name)(**given, **({} if name == "resting" else {"times": times}))
    return getattr(found, "values", found)


SOME = ("fridge log", "cap on one face, thawed", "sealed, two pieces", "until", "simmered")


@pytest.mark.parametrize("name", handful(CASES, SOME))
def test_every_draw_equals_simulate_of_that_draw(name):
    """Read among the others, cut out of them as a history of its own, and simulated alone from its own pieces, stages and numbers."""
    pieces, stages, draws, length = drawn(name)
    many = simulate(pieces, stages, draws=draws.columns, cells=12, few=False, segments=64)
    # A stage that ends by a criterion ends within the second to which it is sought.
    near, late = (1e-10, 0.0) if name != "until" else (1e-4, 4.0)
    grid, kept = np.linspace(0.0, length, 31), {}
    for k in range(many.count):
        values = {key: float(column[k]) for key, column in draws.columns.items()}
        own_pieces, own_stages, numbers = drawn_case(pieces, stages, default_numbers(), values)
        alone, cut = simulate(own_pieces, own_stages, numbers=numbers, cells=12, segments=64), many.of(k)
        assert cut.pieces == own_pieces and cut.stages == own_stages and not cut.drawn
        assert {number.key for number in cut.sources} == {number.key for number in alone.sources}
        assert cut.length == many.length[k] and abs(alone.length - many.length[k]) <= late
        for stage in range(len(stages)):
            for ours, among, theirs in zip(cut.span(stage), many.span(stage), alone.span(stage), strict=True):
                assert ours == among[k] and abs(ours - theirs) <= late
        times = np.minimum(grid, min(cut.length, alone.length))  # after its end a draw keeps its last state

        def differ(scale, name, k=k, cut=cut, alone=alone, times=times, **given) -> bool:
            """Whether a reading among the draws, or cut out of them, is further from that of the draw alone than `near` times a scale."""
            key = (name, *given.values())
            if key not in kept:
                kept[key] = read(many, name, grid, given)
            theirs = read(alone, name, times, given)
            most = near * (scale or np.max(theirs) or 1.0)
            return max(apart(kept[key][k], theirs), apart(read(cut, name, times, given), theirs)) > most

        for n in range(len(pieces)):
            for q in QUANTITIES:
                bath, it = alone.bath(q, times).max() or 1.0, {"quantity": q, "piece": n}
                for basis in BASES:
                    # Behind fat a piece has taken up next to nothing, and a share of next to nothing loses digits.
                    scale = 10.0 if basis == "equilibrium" else bath
                    for place in PLACES:
                        assert not differ(scale, "at", **it, basis=basis, place=place), (q, basis, place)
                    assert not differ(scale, "profile", **it, basis=basis), (q, basis)
                assert not differ(bath, "first_bite", **it), q
                assert not differ(None, "amount", **it), q
                for stage in range(len(stages)):
                    assert not differ(bath, "resting", **it, stage=stage), q
                theirs = alone.picture(q, times, n)[0][:, alone.picture_places(n)[1]]
                ours = many.picture(q, times, n)[k][:, many.picture_places(n)[1]]
                assert apart(ours, theirs) <= max(near, 2e-7) * bath, q  # in single precision
            for one in (many, cut):
                assert one.depths(n) == pytest.approx(alone.depths(n), rel=1e-12)
            for weight in (many.weight(times, n)[k], cut.weight(times, n)):
                assert weight == pytest.approx(alone.weight(times, n), rel=max(near, 1e-10))
        for q in QUANTITIES:
            assert not differ(None, "bath", quantity=q), q
        for warmth in (many.temperature(times)[k], cut.temperature(times)):
            assert warmth == pytest.approx(alone.temperature(times), rel=max(near, 1e-12))
        for words in WAITED:
            ours, theirs = many.first_time(words)[k], alone.first_time(words)
            assert cut.first_time(words) == ours, words
            assert ours == theirs or abs(ours - theirs) <= 2.0, words  # inf is inf
        assert len(cut.budget) == len(alone.budget)
        further, expected = (extend(history, LEFT) for history in (cut, alone))
        for q in ("salt", "free nitrite"):
            found, right = further.profile(q).values, expected.profile(q).values
            assert apart(found, right) <= near * right.max()


@pytest.mark.parametrize(
    "name", ("floating", "turned", "two pieces", "sphere with pH", "sealed, two pieces", "cap on one face, thawed")
)
def test_few_terms_cost_little(name):
    """Against as many terms as cells, as a share of the driving force (the strongest bath), from an hour after a stage began; and when
    the core is cured, to a five-hundredth of the time.
    """
    pieces, stages, draws, _ = drawn(name)
    few, fine = (simulate(pieces, stages, draws=draws.columns, few=few) for few in (True, False))
    assert few.state.meats[0].body.count < 0.25 * fine.state.meats[0].body.count
    times = np.concatenate([ran.begin + np.linspace(min(3600.0, ran.length), ran.length, 12) for ran in fine.ran])
    for quantity in ("salt", "nitrite"):
        driving = (
            fine.bath(quantity, np.linspace(0, fine.length[0], 200)).max(axis=1) * pieces[0].water() / pieces[0].weight
        )
        for number in range(len(pieces)):
            for place, most in (("core", 6e-3), ("average", 4e-4), ("surface", 1e-2)):
                gap = few.at(place, quantity, times, number) - fine.at(place, quantity, times, number)
                assert np.all(np.abs(gap).max(axis=1) <= most * driving), (place, quantity)
    long = (stages[0].but(lasts="90 d"),)
    ready = [
        simulate(pieces, long, draws=draws.columns, few=few).first_time("core salt >= 90 % of equilibrium")
        for few in (True, False)
    ]
    assert np.isfinite(ready[1]).any()
    assert ready[0] == pytest.approx(ready[1], rel=2e-3)


def test_a_scale_that_is_off_moves_what_it_weighs():
    """By arithmetic: what is in the bath, or on the hook, before anything has moved; the second draw is as planned."""
    off = np.array([1.1, 1.0])
    start = {}
    for what in ("salt weight", "cure weight", "water weight", "meat weight"):
        history = simulate(PIECE, FLOATING, draws={what: off}, cells=8)
        level = {name: history.bath(name, 0.0)[:, 0] for name in ("salt", "sugar", "nitrate", "nitrite")}
        assert history.weight(0.0)[:, 0] == pytest.approx(2.0 * (off if what == "meat weight" else 1.0), rel=1e-12)
        start[what] = {name: value / (1 - value) for name, value in level.items()}
    given = {"salt": 0.09, "sugar": 0.04, "nitrate": 4e-4, "nitrite": 5e-4}  # in 2 kg of water
    for what, own in (("salt weight", ("salt",)), ("cure weight", ("nitrate", "nitrite")), ("meat weight", ())):
        for name, grams in given.items():
            assert start[what][name] == pytest.approx(grams / 2.0 * (off if name in own else 1.0), rel=1e-12), (
                what,
                name,
            )
    for name, grams in given.items():
        assert start["water weight"][name] == pytest.approx(grams / 2.0 / off, rel=1e-12)


def test_fridge_log_needs_few_pieces_of_loss():
    pieces, stages, draws, length = drawn("fridge log")
    times = np.linspace(0.0, length, 40)
    few, every = (
        simulate(pieces, stages, draws=draws.columns, segments=n).at("core", "free nitrite", times) for n in (4, 64)
    )
    assert np.abs(few - every).max() <= 2e-3 * every.max()


def test_a_spread_of_a_piece_with_fat_on_both_faces_can_be_asked_outright():
    """Which looks the numbers up in a history of the fewest cells there can be."""
    capped = PIECE.but(fat_cap="6 mm", capped="both faces")
    band = spread(capped, FLOATING, count=16).at("average", "salt")
    assert 0 < band.low[0] < band.middle[0] < band.high[0] < 0.03


def test_nothing_is_lost_in_any_draw():
    pieces, stages, draws, _ = drawn("two pieces")
    many = simulate(pieces, stages, draws=draws.columns)
    run = many.state.runs[0]
    for name in ("salt", "nitrite", "sugar"):
        at = [np.full((many.count, 1), when) for when in (0.0, 6 * DAY)]
        before, after = (
            sum(run.amount(name, t, n)[:, 0] for n in range(2)) + (run.bath_w(name, t) * run.bath_water(t))[:, 0]
            for t in at
        )
        assert after == pytest.approx(before, rel=1e-11)
    for row in many.budget:
        assert row["residual"].shape == (many.count,) and np.abs(row["residual"]).max() < 1e-10, row


# ---- what is uncertain -----------------------------------------------------------------------------------------------

NOT_DRAWN = {
    "water.salt_diffusivity.3C": "only its product with obstruction.lean moves anything, and that range was taken over it",
    "water_change.": "all rows share one scatter, the input water uptake",
    "tissue.": "fat holds little water; the flux through a cap goes with its product with fat.relative_diffusivity, known 140-fold worse",
    "taste.": "a threshold that is asked about, not an input",
    "colour.": "a threshold that is asked about, not an input",
    "protection.": "a threshold that is asked about, not an input",
    "rival.": "drives nothing; the activation energy of water is the input activation energy",
    "juice.limit.": "how much juice there is, one factor for all: juice.width",
    "juice.time.": "as juice.limit.; long cooks end at the limit",
    "meat.own_sodium": "is a twelfth of the salt of cured meat, and known to a third",
    "sugar.crystal_density": "moves the volume of a brine in the vessel only",
}


def test_every_published_range_is_drawn_or_has_a_reason():
    rows = {row.key for row in uncertain_inputs()}
    numbers = default_numbers()
    ranged = {key for key in numbers if numbers[key].low is not None and numbers[key].low != numbers[key].high}
    excused = {key for key in ranged if any(key.startswith(start) for start in NOT_DRAWN)}
    assert ranged - rows == excused - rows
    assert not rows & excused
    for start in NOT_DRAWN:
        assert any(key.startswith(start) for key in ranged), start
    for row in uncertain_inputs():
        assert row.source and row.remedy and row.meaning
        if row.kind == "number":
            published = default_numbers()[row.key]
            assert (published.low, published.high) == (row.low, row.high), row.key
            assert row.unit == published.unit


def test_every_input_moves_something():
    moved = set()
    cases = (
        ("cap on one face, thawed", "nordin"),
        ("two pieces", "nordin"),
        ("sealed, two pieces", "takagi"),
        ("turned", "first day"),
        *((each, "nordin") for each in COOKED),
    )
    for name, loss in cases:
        pieces, stages, draws, length = drawn(name, loss=loss)
        middle = {row.key: row.at(np.full(2, 0.5)) for row in draws.inputs}
        for row in draws.inputs:
            if row.key.split(" of ")[0] in moved:
                continue
            columns = middle | {row.key: row.at(np.array([0.2, 0.8]))}
            many = simulate(pieces, stages, draws=columns, loss=loss, cells=12)
            readings = [
                many.at("core", quantity, (0.3 * length, length), n)
                for quantity in QUANTITIES
                for n in range(len(pieces))
            ]
            readings.append(many.weight((length,)))
            readings.append(many.temperature((length,), "core"))
            if any(np.abs(value[1] - value[0]).max() > 1e-6 * np.abs(value).max() for value in readings if value.any()):
                moved.add(row.key.split(" of ")[0])
    wedge = Piece(shape="cut", weight="2 kg", stations=[Station(at=0.0, thickness=0.03, width=0.16), Station(at=0.25, thickness=0.08, width=0.16)])  # fmt: skip
    for row in inputs_for((wedge,), drawn("turned")[1], "nordin", default_numbers(), ()):
        if row.kind == "piece":
            size = Cases(default_numbers(), {row.key: row.at(np.array([0.2, 0.8]))}).size(wedge)
            if size[1] > size[0] + 1e-3:
                moved.add(row.key.split(" of ")[0])
    assert moved == {row.key for row in uncertain_inputs()}


def test_inputs_are_those_the_batch_depends_on():
    keys = {row.key for row in drawn("sealed, two pieces")[2].inputs}
    assert {"purge.per_salt", "thickness of point", "thickness of flat", "ph.beef", "ph.pork"} <= keys
    assert (
        not {"fat.relative_diffusivity", "film.contact", "frozen_thawed.multiplier", "nitrite.takagi.half_life"} & keys
    )
    assert "ph.beef" not in {row.key for row in drawn("sphere with pH")[2].inputs}
    own = default_numbers().with_values({"obstruction.lean": 0.4})
    many = spread(PIECE, FLOATING, count=8, numbers=own)
    assert "obstruction.lean" not in {row.key for row in many.inputs}
    as_is = {"temperature": np.zeros(1)}
    quick, usual = (simulate(PIECE, FLOATING, draws=as_is, numbers=given).core("salt")[0, 0] for given in (own, None))
    assert quick > 1.05 * usual


def test_distributions_have_the_quantiles_they_claim():
    """By the definition of each distribution: ends, 5 and 95 % points, mode, and the mean of a triangle, (a + b + c) / 3."""
    rows = {row.key: row for row in uncertain_inputs()}
    shares = (np.arange(20000) + 0.5) / 20000
    lognormal = rows["obstruction.lean"].at(np.array([0.05, 0.5, 0.95]))
    assert lognormal == pytest.approx([0.183, (0.183 * 0.61) ** 0.5, 0.61], rel=1e-12)
    assert rows["thickness"].at(np.array([0.05, 0.5, 0.95])) == pytest.approx([-4, 0, 4], rel=1e-12, abs=1e-12)
    assert rows["ratio.sugar"].at(np.array([0, 0.5, 1])) == pytest.approx([0.15, 0.3, 0.6], rel=1e-12)
    assert rows["nitrite.takagi.half_life"].at(np.array([0, 0.5, 1])) == pytest.approx([4, 4.5, 5], rel=1e-12)
    triangle = rows["ratio.nitrite"].at(shares)
    assert triangle.mean() == pytest.approx((0.3 + 0.8 + 0.98) / 3, rel=1e-6)
    assert np.all(np.diff(triangle) > 0)


def test_draws_are_stored_with_their_seed():
    rows = uncertain_inputs()[:3]
    one, same, other = draw(rows, 100, seed=4), draw(rows, 100, seed=4), draw(rows, 100, seed=5)
    assert all(np.array_equal(one.columns[key], same.columns[key]) for key in one.columns)
    assert not np.array_equal(one.columns["ratio.nitrite"], other.columns["ratio.nitrite"])
    assert one.seed == 4 and one.count == 100
    with pytest.raises(ValueError, match="at least one"):
        draw((), 64)


# ---- answers ---------------------------------------------------------------------------------------------------------


def test_quantiles_are_quantiles():
    values = np.random.default_rng(0).normal(size=(37, 3, 1100))
    for ours, level in zip(quantiles(values), (0.1, 0.5, 0.9), strict=True):
        assert ours == pytest.approx(np.quantile(values, level, axis=0), rel=1e-12)


def test_executors_give_the_same_to_the_last_digit():
    def ask(executor):
        many = spread(PIECE, (FLOATING, REST), count=1100, seed=2, cells=6, executor=executor)
        band = many.profile("salt", (2 * DAY, 7 * DAY))
        return np.concatenate([band.low.ravel(), band.middle.ravel(), many.time_to("average salt >= 1 %", 0).values])

    alone = ask(None)
    with ThreadPoolExecutor(2) as threads:
        assert np.array_equal(ask(threads), alone)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as processes:
        assert np.array_equal(ask(processes), alone)


@pytest.fixture(scope="module")
def many():
    return spread(PIECE, (FLOATING, REST, Soak(waters=WATERS)), count=128, seed=1)


def test_answers_name_draws_and_inputs(many):
    times = many.time_to("core salt >= 90 % of equilibrium", 0)
    window = many.window()
    chance = many.verdicts(draws=8)[0]
    matters = what_matters(many, at_end("core", "salt"), "the salt at the core", method="rank")
    for said, count in (
        (times.sentence, 128), (window.sentence, 128), (chance.sentence, 8),
        (many.at("core", "salt").rests_on, 128), (many.meaning, 128), (matters.sentence, 128),
    ):  # fmt: skip
        assert str(count) in said and "how fast meat takes salt" in said and "thickness of point" in said, said


def test_times_and_chances_agree(many):
    times = many.time_to("core salt >= 60 % of equilibrium", 0)
    low, middle, high = (times.quantile(level) for level in (0.1, 0.5, 0.9))
    assert low < middle < high
    assert times.chance(middle) == pytest.approx(0.5, abs=0.01)
    assert many.chance("core salt >= 60 % of equilibrium", 5 * DAY) == pytest.approx(times.chance(5 * DAY), abs=1e-12)
    five = simulate(PIECE, FLOATING.but(lasts=60 * DAY), draws=many.draws.part(slice(0, 5)))
    assert five.first_time("core salt >= 60 % of equilibrium") == pytest.approx(times.values[:5], rel=2e-5)


def test_never_is_said_as_never(many):
    never = many.time_to("average salt >= 30 %", 0, at_most=20 * DAY)
    assert np.all(np.isinf(never.values)) and never.chance(20 * DAY) == 0
    assert "not within 20 d in every simulated batch" in never.sentence
    window = many.window(cured="core salt >= 20 %", at_most=20 * DAY)
    assert window.empty == 1.0 and "empty in every simulated batch" in window.sentence


def test_window_is_judged_draw_by_draw():
    strong = Brine(bath=Bath(water="4 kg", salt="700 g"), temperature="3 degC", lasts="4 d", lying=False)
    found = spread(PIECE, strong, count=64, seed=3).window(at_most=30 * DAY)
    assert found.empty == pytest.approx(np.mean(found.opens >= found.closes))
    thin = spread(PIECE.but(thickness="1 cm"), strong, count=64, seed=3).window(at_most=30 * DAY)
    assert thin.empty <= found.empty
    when, share = thin.best
    assert share == pytest.approx(np.mean((thin.opens <= when) & (when < thin.closes)))


def test_bands_lie_in_order_and_hold_the_usual_case(many):
    times = np.linspace(DAY, 8 * DAY, 5)
    band = many.profile("salt", times, depths=21)
    assert band.low.shape == (5, 21) and band.depth[0] == 0 and band.depth[-1] == 1
    assert np.all(band.low <= band.middle) and np.all(band.middle <= band.high)
    usual = simulate(PIECE, (FLOATING, REST, Soak(waters=WATERS))).profile("salt", times)
    at = np.array([np.interp(band.depth * 0.06, usual.depth, row) for row in usual.values])
    slack = 6e-3 * at.max()  # what few terms cost where salt is just arriving
    assert np.all(band.low <= at + slack) and np.all(at <= band.high + slack)


def test_unknown_stays_unknown(many):
    for row in many.verdicts(draws=8):
        assert row.passes + row.fails + row.unknown == pytest.approx(1.0)
    assert any(row.unknown == 1.0 and row.passes == 0.0 for row in many.verdicts(draws=8))


def test_an_answer_too_large_is_refused(monkeypatch):
    huge = spread(PIECE, FLOATING, count=8, cells=6)
    monkeypatch.setattr(sys.modules["curelab.spread.spread"], "MOST_BYTES", 100)
    with pytest.raises(MemoryError, match="ask for fewer"):
        huge.readings([Request.of("profile", quantity="salt", times=(DAY, 2 * DAY))])


def test_a_spread_takes_no_word_it_does_not_know(many):
    """An unknown quantity used to have a band of zeros, and an unknown place that of the surface."""
    for asked in (many, many.single(simulate(PIECE, FLOATING))):
        for read in (asked.at, lambda place, quantity, a=asked: a.at_end(place, quantity, 0)):
            with pytest.raises(ValueError, match='"NaCl" is not one of free nitrite, salt'):
                read("core", "NaCl")
            with pytest.raises(ValueError, match='"crust" is not one of core, average, surface'):
                read("crust", "salt")
            assert np.array_equal(read("middle", "salt").middle, read("core", "salt").middle)
            assert np.all(read("middle", "salt").middle < read("average", "salt").middle)
        with pytest.raises(ValueError, match='"wet" is not one of equilibrium'):
            asked.at("core", "salt", basis="wet")
        for read in (asked.bath, lambda q, a=asked: a.profile(q, (DAY,)), lambda q, a=asked: a.across(q, DAY)):
            with pytest.raises(ValueError, match='"NaCl" is not one of free nitrite, salt'):
                read("NaCl")


def test_a_history_can_be_asked_how_sure_it_is():
    history = simulate(PIECE, (FLOATING, REST))
    one, other = spread(history, count=16, seed=4), spread(PIECE, (FLOATING, REST), count=16, seed=4)
    assert [row.key for row in one.inputs] == [row.key for row in other.inputs]
    assert np.array_equal(one.at("core", "salt").middle, other.at("core", "salt").middle)


def test_small_steps_give_what_one_gives():
    whole, few = (spread(PIECE, (TURNED, REST), count=n, seed=4) for n in (128, 32))
    asked = few.at("core", "salt", [2 * DAY, 7 * DAY]), few.time_to("core salt >= 60 % of equilibrium", 0)
    few.ready(0, [0])
    full = few.widened(128)
    solved, solve = [], type(full.case).solve
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(type(full.case), "solve", lambda *given: (solved.append(1), solve(*given))[1])
        steps = len(list(full.prepared(few, 32)))
    assert len(solved) == 4 and steps == 4 * few.passes  # one pass for all questions
    assert few.passes == 1 + 3 + 3  # solved; a question each; the days of a piece in three steps, for they take longest
    assert full.ready(0, [0])[0].pull == pytest.approx(whole.ready(0, [0])[0].pull, rel=1e-9)
    for key in few.draws.columns:
        assert np.array_equal(full.draws.columns[key][:32], few.draws.columns[key])
    band, times = full.at("core", "salt", [2 * DAY, 7 * DAY]), full.time_to("core salt >= 60 % of equilibrium", 0)
    assert "_first" not in full.__dict__  # nothing had to be computed again
    exact = whole.at("core", "salt", [2 * DAY, 7 * DAY])
    for mine, theirs in ((band.low, exact.low), (band.middle, exact.middle), (band.high, exact.high)):
        assert mine == pytest.approx(theirs, rel=1e-9)
    assert times.values == pytest.approx(whole.time_to("core salt >= 60 % of equilibrium", 0).values, rel=1e-9)
    assert asked[0].count == 32 and band.count == 128 and "128 draws" in band.rests_on


# ---- what matters most -----------------------------------------------------------------------------------------------


def test_indices_of_a_known_sum():
    """y = 2 x1 + x2 with like inputs has first-order = total = 4/5 and 1/5: variances of independent terms add."""
    inputs = [row for row in uncertain_inputs() if row.key in ("temperature", "water uptake", "meat weight")]
    many = spread(PIECE, FLOATING, count=512, inputs=inputs, cells=6)

    def ask(each):
        return 2 * each.draws.columns["temperature"] / 1.5 + each.draws.columns["water uptake"] / 6

    found = what_matters(many, ask, "a sum", draws=1024)
    by = {row.input.key: row for row in found.rows}
    assert found.rows[0].input.key == "temperature" and found.evaluations == 1024 * 5
    for key, share in (("temperature", 0.8), ("water uptake", 0.2), ("meat weight", 0.0)):
        assert by[key].first == pytest.approx(share, abs=0.03)
        assert by[key].total == pytest.approx(share, abs=0.03)
    ranked = {row.input.key: row.first for row in what_matters(many, ask, "a sum", method="rank").rows}
    assert ranked["temperature"] == pytest.approx(0.8, abs=0.05)


def test_the_sentence_says_what_to_do():
    inputs = [row for row in drawn("floating")[2].inputs if row.key.startswith("thickness") or row.key == "meat weight"]
    many = spread(PIECE, FLOATING, count=64, inputs=inputs, cells=6)
    found = what_matters(
        many, how_long("core salt >= 60 % of equilibrium"), "the days until the core is cured", draws=32
    )
    assert found.sentence.startswith(
        "Measure the thickness of point again, at its thickest, with a skewer before anything else"
    )
    with pytest.raises(ValueError, match="sobol, rank"):
        what_matters(many, how_long("core salt >= 60 % of equilibrium"), "x", method="guess")


def test_time_counts_from_the_beginning_of_the_stage(many):
    """The rest begins on day 6; what is asked for is the time of the rest alone, found here on a fine grid of readings."""
    two = spread(PIECE, (FLOATING, REST), count=16, seed=1)
    wanted = "core salt >= 1 %"
    times = two.time_to(wanted, 1, at_most=30 * DAY).values
    longer = simulate(PIECE, (FLOATING, REST.but(lasts=30 * DAY)), draws=two.draws.columns)
    grid = 6 * DAY + np.linspace(1.0, 30 * DAY, 6000)
    met = longer.at("core", "salt", grid) >= 0.01
    expected = np.where(met.any(axis=1), grid[np.argmax(met, axis=1)] - 6 * DAY, np.inf)
    assert np.isfinite(expected).sum() >= 4
    assert np.array_equal(np.isinf(times), np.isinf(expected))
    both = np.isfinite(times)
    assert np.abs(times[both] - expected[both]).max() <= grid[1] - grid[0] + 2.0


def test_a_draw_that_never_gets_there_counts_as_the_longest(many):
    """Otherwise the slowest meat would look like the fastest."""
    ask = how_long("core salt >= 50 % of equilibrium", 0, at_most=8 * DAY)
    values, times = ask(many), many.time_to("core salt >= 50 % of equilibrium", 0, at_most=8 * DAY).values
    never = np.isinf(times)
    assert never.any() and not never.all()
    assert values[never].min() > values[~never].max()


def test_an_input_that_no_draw_can_have_is_refused_by_name():
    from dataclasses import replace

    row = next(row for row in uncertain_inputs() if row.key == "nitrite.takagi.half_life")
    other = replace(row, key="nitrite.nordin.constant", low=0.5, high=0.8, unit="log10 h")
    with pytest.raises(ValueError, match=r"nitrite\.nordin\.constant cannot differ from draw to draw; what can is"):
        spread(PIECE, FLOATING, count=8, inputs=[other], cells=8).at("core", "free nitrite", (6 * DAY,))
    with pytest.raises(ValueError, match=r"film\.stil, warmth cannot differ"):
        simulate(PIECE, FLOATING, draws={"film.stil": np.ones(3), "warmth": np.zeros(3)})
    with pytest.raises(ValueError, match="thickness of pint: there is no such piece; there is thickness of point"):
        simulate(PIECE, FLOATING, draws={"thickness of pint": np.zeros(3)})
    for wrong in (np.zeros(2), np.zeros((3, 1)), np.zeros(())):
        with pytest.raises(ValueError, match="one value for each draw"):
            simulate(PIECE, FLOATING, draws={"temperature": np.zeros(3), "water uptake": wrong})
