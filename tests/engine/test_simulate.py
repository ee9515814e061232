"""Invariants that every stage kind and every shape must hold: conservation, bounds, symmetry, order, and the refusals at the door."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import Bath, Brine, Criterion, InputError, Piece, Rest, SealedCure, Soak, Water, extend, simulate
from curelab.engine import run as engine_run
from curelab.engine import walk
from curelab.engine.run import FREE, QUANTITIES, TRACERS
from curelab.matter import brine as brine_properties
from curelab.matter import solutes
from curelab.matter.tissue import partition
from curelab.proof import meat
from curelab.sources import default_numbers
from curelab.transport.modes import modes_of
from curelab.transport.network import Contact, assemble

DAY = 86400.0
CELLS = 16  # invariants hold for any number of cells
few = settings(max_examples=15, deadline=None, derandomize=True)

SHAPES = ("slab", "cylinder", "sphere")
MIXED = Bath(water="2 kg", salt="100 g", sugar="40 g", nitrate="0.3 g", nitrite="0.4 g")


STILL = default_numbers().with_values(meat.STILL)
"""Meat that takes up no water and has no salt of its own: everything is linear then, and exact where a closed answer is known."""

UNSALTED = default_numbers().with_values(meat.UNSALTED)
OWN = (
    60e-5 * 58.443 / 22.99 / 0.7343
)  # salt per water of raw meat: 60 mg of sodium in 100 g of lean, 73.43 g of it water (USDA, eye of round)


def piece(**changes) -> Piece:
    return Piece(**({"thickness": "6 cm", "weight": "1.5 kg"} | changes))


def brine(**changes) -> Brine:
    return Brine(**({"bath": MIXED, "temperature": "3 degC", "lasts": "6 d", "lying": False} | changes))


def sealed(**changes) -> SealedCure:
    given_ = {
        "salt": "45 g",
        "sugar": "10 g",
        "nitrite": "0.2 g",
        "nitrate": "0.2 g",
        "temperature": "3 degC",
        "lasts": "6 d",
    }
    return SealedCure(**(given_ | changes))


def rest(lasts: str = "3 d", temperature: str = "3 degC") -> Rest:
    return Rest(temperature=temperature, lasts=lasts)


def soak(*waters: tuple[str, str], **changes) -> Soak:
    listed = waters or (("3 kg", "8 h"), ("3 kg", "12 h"))
    return Soak(waters=[Water(amount=a, lasts=b, temperature="5 degC") for a, b in listed], **changes)


LOG = [["0 h", "2 degC"], ["30 h", "6 degC"], ["60 h", "3 degC"]]
KINDS = {
    "brine": (brine(),),
    "brine lying": (brine(lying=True),),
    "brine turned": (brine(lying=True, turn_every="1.5 d"),),
    "brine stirred": (brine(stirred=True),),
    "brine running": (brine(running=True),),
    "brine, fridge log": (brine(temperature=LOG, lying=True, turn_every="2 d"),),
    "sealed cure": (sealed(),),
    "sealed cure, salt left over": (sealed(salt="300 g", purge="2 %"),),
    "brine, rest": (brine(), rest()),
    "brine, soak": (brine(), soak()),
    "brine, soak until": (brine(lasts="20 d"), soak(until="average salt <= 2.5 %")),
    "sealed cure, rest, soak, rest": (sealed(), rest("1 d"), soak(lying=True), rest("1 d")),
    "brine until, rest": (brine(lasts=None, until="core salt >= 50 % of equilibrium", at_most="90 d"), rest()),
}
every_kind = pytest.mark.parametrize("stages", KINDS.values(), ids=KINDS)
every_shape = pytest.mark.parametrize("shape", SHAPES)


def in_cells(run, name, times) -> np.ndarray:
    """w (t, n) in every cell of every piece, and of the bath, which is no part of the network where the pieces lie sealed. What is below
    zero must be rounding, and is cut as every reading cuts it.
    """
    terms = run.states(name, times[None])[0]
    cells = [terms[:, nodes] @ meat.body.rows.T for nodes, meat in zip(run.slices, run.meats, strict=True)]
    w = np.concatenate(cells if run.sealed else [*cells, terms[:, -1:]], axis=1)
    assert w.min() >= -1e-13 * w.max()
    return np.maximum(w, 0.0)


# -- what holds for all ------------------------------------------------------------------------------------------------------------


@every_kind
@every_shape
def test_nothing_is_lost_or_made(stages, shape):
    history = simulate(piece(shape=shape), stages, cells=CELLS)
    for row in history.budget:
        assert abs(row["residual"]) < 1e-10, row
    for name in TRACERS:
        assert all(row["lost"] == 0 for row in history.budget if row["quantity"] == name)


@every_kind
def test_the_budget_counts_what_was_given(stages):
    """Counted again from the plain data: what the stages say goes in is what the budget says was added."""
    history = simulate(piece(), stages, cells=CELLS)
    for number, stage in enumerate(stages):
        rows = [row for row in history.budget if row["stage"] == number and row["quantity"] == "salt"]
        source = stage.bath if isinstance(stage, Brine) else stage
        if getattr(stage, "running", False):
            assert rows[0]["added"] == 0 and rows[0]["supplied"] == pytest.approx(
                history.amount("salt") - OWN * piece().water(), rel=1e-9
            )
        else:
            assert sum(row["added"] for row in rows) == pytest.approx(getattr(source, "salt", 0.0), rel=1e-12)
        if number == 0:
            assert rows[0]["in meat before"] == pytest.approx(OWN * piece().water(), rel=1e-6)
        else:
            before = [row for row in history.budget if row["stage"] == number - 1 and row["quantity"] == "salt"][-1]
            assert rows[0]["in meat before"] == pytest.approx(before["in meat"], rel=1e-12)


@every_kind
@every_shape
def test_between_the_extremes(stages, shape):
    """Positive, and never above the highest or below the lowest level that was there when the run began."""
    history = simulate(piece(shape=shape), stages, cells=CELLS)
    for run in history.state.runs:
        times = np.concatenate([[0.0], np.geomspace(1e-4, 1.0, 30) * run.length])
        for name in QUANTITIES:
            inside = in_cells(run, name, times)
            assert history.profile(name, run.begin + times).values.min() >= 0.0
            assert inside.max() <= inside[0].max() * (1 + 1e-12)
            if name != FREE:
                assert inside.min() >= inside[0].min() * (1 - 1e-12) - 1e-18


@every_kind
def test_free_nitrite_is_at_most_the_nitrite_added(stages):
    history = simulate(piece(), stages, cells=CELLS)
    grid = history.times
    added, free = history.profile("nitrite", grid).values, history.profile(FREE, grid).values
    assert np.all(free <= added * (1 + 1e-10) + 1e-14 * added.max())
    assert history.average(FREE) < 0.99 * history.average("nitrite")
    without = simulate(piece(), stages, cells=CELLS, loss="none")
    np.testing.assert_allclose(without.profile(FREE, grid).values, added, rtol=1e-9, atol=1e-14 * added.max())
    faster = simulate(piece(), stages, cells=CELLS, loss="takagi")
    assert faster.average(FREE) < history.average(FREE)


@every_kind
def test_a_fast_first_day_leaves_its_share_of_what_is_free(stages):
    """It is lost at once, and what is left goes on as by Nordin: the share of the row, in every place, at all times."""
    slow, fast = (simulate(piece(), stages, cells=CELLS, loss=loss) for loss in ("nordin", "first day"))
    left = default_numbers().si("nitrite.first_day.left")
    for place in ("core", "average", "surface"):
        np.testing.assert_allclose(
            fast.at(place, FREE, slow.times), left * slow.at(place, FREE, slow.times), rtol=1e-9, atol=1e-16
        )
    np.testing.assert_array_equal(fast.average("nitrite", slow.times), slow.average("nitrite", slow.times))


@every_kind
def test_later_by_as_much_as_it_starts_later(stages):
    """An empty rest before everything moves all readings by its length."""
    plain, later = simulate(piece(), stages, cells=CELLS), simulate(piece(), (rest("2 d"), *stages), cells=CELLS)
    assert later.length == pytest.approx(plain.length + 2 * DAY, rel=1e-12)
    times = np.linspace(0.01, 1.0, 25) * plain.length
    for name in QUANTITIES:
        for place in ("core", "average", "surface"):
            np.testing.assert_allclose(
                later.at(place, name, times + 2 * DAY), plain.at(place, name, times), rtol=1e-8, atol=1e-16
            )
    np.testing.assert_allclose(later.weight(times + 2 * DAY), plain.weight(times), rtol=1e-10)


@every_kind
def test_a_later_stage_touches_nothing_before_it(stages):
    """And a slab whose faces are alike is its own mirror image until one comes that lies."""
    short = simulate(piece(), stages, cells=CELLS)
    long = simulate(piece(), (*stages, brine(lying=True, lasts="1 h")), cells=CELLS)
    end = short.length
    for name in QUANTITIES:
        a, b = short.profile(name, end), long.profile(name, end)
        np.testing.assert_allclose(a.values, b.values, rtol=1e-11, atol=1e-18)
        if all(run.mirrored(0) for run in short.state.runs):
            np.testing.assert_allclose(b.values, b.values[::-1], rtol=1e-8, atol=1e-14)
        assert short.core(name, end) == pytest.approx(long.core(name, end), rel=1e-11)
        assert short.average(name, end) == pytest.approx(long.average(name, end), rel=1e-11)
    alike = [not stage.lies for stage in stages]
    assert [run.mirrored(0) for run in short.state.runs] == [alike[run.index] for run in short.state.runs]
    assert not long.state.runs[-1].mirrored(0)


@every_kind
def test_extending_equals_doing_all_at_once(stages):
    """Also where a lying stage comes after a slab that was cut to the middle."""
    for more in ((rest("5 h"), soak()), (brine(lying=True, lasts="2 d"),)):
        once, twice = (
            simulate(piece(), (*stages, *more), cells=CELLS),
            extend(simulate(piece(), stages, cells=CELLS), more),
        )
        assert twice.length == once.length and twice.stages == once.stages
        for name in QUANTITIES:
            np.testing.assert_allclose(twice.profile(name).values, once.profile(name).values, rtol=1e-9, atol=1e-16)
        assert twice.weight() == pytest.approx(once.weight(), rel=1e-12)
        assert {number.key for number in twice.sources} == {number.key for number in once.sources}
        assert len(twice.budget) == len(once.budget)


DRAWN = {"obstruction.lean": [0.2, 0.33, 0.6], "temperature": [-1.0, 0.0, 2.0], "purge.per_salt": [1.0, 1.8, 3.0]}


@every_kind
@pytest.mark.parametrize("few", [True, False])
def test_going_on_equals_doing_all_at_once_in_every_draw(stages, few):
    """Also where the draws ended at different times; and the first history stays as it was."""
    columns = {key: np.array(values) for key, values in DRAWN.items()}
    more = (rest("5 h"), brine(lying=True, lasts="2 d"), soak(until="average salt <= 2 %"))
    choices = {"draws": columns, "few": few, "cells": CELLS, "segments": 3}
    once, first = simulate(piece(), (*stages, *more), **choices), simulate(piece(), stages, **choices)
    before = first.profile("salt").values.copy()
    twice = simulate(piece(), more, after=first)
    assert twice.drawn and twice.count == 3 and twice.stages == once.stages
    np.testing.assert_array_equal(twice.length, once.length)
    times = np.linspace(0.0, 1.0, 15) * once.length[:, None]
    for name in QUANTITIES:
        a, b = twice.profile(name, times).values, once.profile(name, times).values
        np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-13 * b.max() + 1e-30)
    np.testing.assert_allclose(twice.weight(times), once.weight(times), rtol=1e-12)
    assert {number.key for number in twice.sources} == {number.key for number in once.sources}
    assert len(twice.budget) == len(once.budget)
    np.testing.assert_array_equal(first.profile("salt").values, before)
    assert len(first.stages) == len(stages) and first.ran[-1].stage == len(stages) - 1
    alone = twice.of(2)
    assert alone.length == pytest.approx(once.length[2], rel=1e-12)
    assert alone.core("salt") == pytest.approx(once.core("salt")[2, 0], rel=1e-9)


@pytest.mark.parametrize("name", TRACERS)
@every_shape
def test_twice_the_solute_is_twice_the_answer(shape, name):
    """Everything that moves is linear in what was put in, where no water moves."""
    once = brine(bath=Bath(water="2 kg", **{name: 1e-3}))
    twice = brine(bath=Bath(water="2 kg", **{name: 2e-3}))
    times = np.linspace(0, 6 * DAY, 9)
    a, b = (
        simulate(piece(shape=shape), stage, cells=CELLS, numbers=STILL).amount(name, times) for stage in (once, twice)
    )
    np.testing.assert_allclose(b, 2 * a, rtol=1e-11, atol=1e-20)
    assert a[-1] > 1e-5


# -- in order: time, strength, thickness, temperature --------------------------------------------------------------------------------


@few
@given(
    shape=st.sampled_from(SHAPES),
    thickness=st.floats(0.02, 0.12),
    salt=st.floats(0.02, 0.25),
    water=st.floats(0.8, 6.0),
    lying=st.booleans(),
    stirred=st.booleans(),
)
def test_more_time_more_salt(shape, thickness, salt, water, lying, stirred):
    meat = piece(shape=shape, thickness=thickness)
    stage = brine(bath=Bath(water=water, salt=salt), lying=lying, stirred=stirred, lasts="12 d")
    history = simulate(meat, stage, cells=CELLS, numbers=UNSALTED)  # what comes in, in order down to rounding
    times = np.linspace(0, history.length, 60)
    held = history.amount("salt", times)
    assert np.all(np.diff(held) > -1e-13 * held[-1]) and held[0] < 1e-13 < held[1] < held[20]
    assert np.all(np.diff(history.bath("salt", times)) < 1e-13)
    core = history.core("salt", times, basis="water phase")
    assert np.all(np.diff(core) > -1e-13)
    assert held[-1] < salt


@few
@given(
    shape=st.sampled_from(SHAPES), thickness=st.floats(0.02, 0.1), more=st.floats(1.05, 2.0), warmer=st.floats(0.5, 8.0)
)
def test_thicker_is_slower_and_warmer_is_faster(shape, thickness, more, warmer):
    def reached(**changes):
        meat = piece(shape=shape, thickness=changes.pop("thickness", thickness))
        history = simulate(meat, brine(**({"lasts": "8 d"} | changes)), cells=CELLS)
        return history.core("salt", basis="equilibrium"), history.average("salt", basis="equilibrium")

    plain, thick, warm = reached(), reached(thickness=thickness * more), reached(temperature=276.15 + warmer)
    for here, there in zip(plain, thick, strict=True):
        assert there < here
    for here, there in zip(plain, warm, strict=True):
        assert there > here


@pytest.mark.parametrize(
    ("slower", "faster"),
    [
        (brine(lying=True), brine()),
        (brine(), brine(stirred=True)),
        (brine(), brine(running=True)),
        (brine(lying=True), brine(lying=True, turn_every="1 d")),
    ],
    ids=["lying", "stirred", "running", "turned"],
)
def test_what_helps_salt_in(slower, faster):
    a, b = simulate(piece(), slower), simulate(piece(), faster)
    assert b.amount("salt") > a.amount("salt") * 1.001
    assert b.core("salt", basis="water phase") > a.core("salt", basis="water phase") * 1.001


def test_frozen_meat_takes_salt_faster():
    fresh, thawed = (simulate(piece(frozen_before=state), brine()) for state in (False, True))
    assert thawed.amount("salt") > 1.02 * fresh.amount("salt")
    assert thawed.core("salt") > 1.1 * fresh.core("salt")


def test_a_fat_cap_slows_and_moves_the_core():
    stage = brine(lasts="10 d", stirred=True)
    bare = simulate(piece(), stage)
    capped = simulate(piece(thickness="7 cm", fat_cap="1 cm"), stage)
    both = simulate(piece(thickness="8 cm", fat_cap="1 cm", capped="both faces"), stage)
    core = [history.core("salt", basis="equilibrium") for history in (bare, capped, both)]
    assert core[0] > 1.2 * core[1] and core[1] > 1.2 * core[2]
    meat = capped.state.runs[0].meats[0]
    depth = 0.07 * meat.body.depth[1:-1]
    place = (
        meat.spots.rows[0] @ np.linalg.solve(meat.body.rows[1:-1], depth)
    ).item()  # the depth that is read at the core
    assert 0.01 < place < 0.01 + 0.03 - 0.01  # from the capped face, well towards the cap
    profile = capped.profile("salt", basis="water phase")
    lean = profile.depth > 0.01
    least = profile.depth[lean][np.argmin(profile.values[lean])]
    assert abs(least - place) < 0.008
    assert [history.state.runs[0].mirrored(0) for history in (bare, capped, both)] == [True, False, True]


@pytest.mark.parametrize(
    "stage", [brine(lasts="12 d"), brine(lasts="12 d", lying=True, turn_every="3 d")], ids=["floating", "turned"]
)
def test_a_cap_as_thick_as_the_lean_is_no_mirror_image(stage):
    """Its cells are, and what is in them is not: next to a cap that is a hair thinner nothing jumps, and few terms follow."""
    half, hair = (piece(thickness="6 cm", fat_cap=cap) for cap in (0.03, 0.02999))
    exact, near = simulate(half, stage), simulate(hair, stage)
    assert not exact.state.runs[0].mirrored(0) and len(exact.picture_places(0)[0]) == len(exact.depths())
    top, times = exact.surface("salt"), np.linspace(DAY, 12 * DAY, 6)
    few = simulate(half, stage, draws={"temperature": np.zeros(1)})
    for place in ("core", "average", "surface"):
        expected = exact.at(place, "salt", times)
        np.testing.assert_allclose(near.at(place, "salt", times), expected, rtol=0, atol=2e-3 * top)
        np.testing.assert_allclose(few.at(place, "salt", times)[0], expected, rtol=0, atol=8e-3 * top)
    profile = exact.profile("salt", basis="water phase")
    fat, lean = profile.values[profile.depth < 0.02], profile.values[profile.depth > 0.04]
    assert lean.min() > 5 * fat.min()


# -- stages one after another ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lying", [False, True])
@every_shape
def test_ten_days_are_four_and_six(shape, lying):
    """For a running bath, where leaving and entering again changes nothing; weight included."""
    one = simulate(piece(shape=shape), brine(running=True, lying=lying, lasts="10 d"), cells=CELLS, numbers=STILL)
    parts = [brine(running=True, lying=lying, lasts=lasts) for lasts in ("4 d", "6 d")]
    two = simulate(piece(shape=shape), parts, cells=CELLS, numbers=STILL)
    times = np.linspace(0, 10 * DAY, 41)
    for name in QUANTITIES:
        np.testing.assert_allclose(
            two.profile(name, times).values, one.profile(name, times).values, rtol=1e-9, atol=1e-15
        )
    np.testing.assert_allclose(two.weight(times), one.weight(times), rtol=1e-11)
    moved, both = (simulate(piece(shape=shape), stages, cells=CELLS) for stages in (parts[0].but(lasts="10 d"), parts))
    assert both.weight() == pytest.approx(moved.weight(), rel=1e-3)  # water moves: the capacities follow stage by stage
    assert both.average("salt") == pytest.approx(moved.average("salt"), rel=1e-2)


@every_shape
def test_a_long_rest_is_the_average(shape):
    history = simulate(piece(shape=shape), [brine(), rest("400 d")], cells=CELLS)
    before = history.amount("salt", history.span(0)[1])
    assert history.amount("salt") == pytest.approx(before, rel=1e-12)
    level = history.average("salt", basis="green weight")
    values = history.profile("salt", basis="green weight").values
    np.testing.assert_allclose(values, level, rtol=1e-5)
    early = history.profile("salt", history.span(0)[1], basis="green weight").values
    assert np.ptp(early) > 0.1 * level


def test_pieces_that_rest_go_each_to_its_own_average():
    two = (piece(name="thin", thickness="2 cm"), piece(name="thick", thickness="6 cm"))
    history = simulate(two, (brine(lasts="1 d"), rest(lasts="90 d")), cells=CELLS)
    ends = [history.average("salt", None, each.name) for each in two]
    assert ends[0] > 1.2 * ends[1]
    for each, end in zip(two, ends, strict=True):
        assert history.resting("salt", 1, each.name) == pytest.approx(end, rel=1e-6)
        assert history.core("salt", None, each.name, "equilibrium") == pytest.approx(1, rel=1e-3)


@every_shape
def test_a_long_brine_is_the_closed_balance(shape):
    """salt / (water of the brine + partition * water of the meat), by arithmetic."""
    meat = piece(shape=shape, thickness="4 cm")
    history = simulate(meat, brine(lasts="400 d", stirred=True), cells=CELLS)
    own = OWN * meat.water()
    level = (MIXED.salt + own) / (MIXED.water + partition() * meat.water())
    assert history.bath("salt") == pytest.approx(level / (1 + level), rel=1e-6)
    water = meat.water() + history.weight() - meat.weight + own - sum(history.amount(name) for name in TRACERS)
    assert water > 1.01 * meat.water()  # it swelled, and holds as much more salt
    assert history.amount("salt") == pytest.approx(level * partition() * water, rel=1e-6)
    assert history.core("salt", basis="equilibrium") == pytest.approx(1.0, rel=1e-6)
    assert history.core("salt", basis="water phase") == pytest.approx(
        partition() * level / (1 + partition() * level), rel=1e-6
    )


def test_a_soak_of_long_waters_is_the_dilution_formula():
    """Each water leaves held / (held + water) of what was in the piece, where no water moves."""
    meat = piece(thickness="3 cm")
    waters = (("1 kg", "90 d"), ("2 kg", "90 d"), ("500 g", "90 d"))
    history = simulate(meat, [brine(), soak(*waters)], cells=CELLS, numbers=STILL)
    held = partition() * meat.water()
    left = history.amount("salt", history.span(0)[1]) * np.prod([held / (held + kilos) for kilos in (1.0, 2.0, 0.5)])
    assert history.amount("salt") == pytest.approx(left, rel=1e-6)


def test_changing_the_water_helps():
    start = brine(lasts="20 d")
    once = simulate(piece(), [start, soak(("4 kg", "24 h"))], cells=CELLS)
    changed = simulate(piece(), [start, soak(("2 kg", "12 h"), ("2 kg", "12 h"))], cells=CELLS)
    assert changed.amount("salt") < once.amount("salt")


# -- turning -----------------------------------------------------------------------------------------------------------------------


def test_turning_swaps_the_faces():
    """Until the first turn nothing differs; then the face that lay gains on the other; the far end sees the mirror image."""
    still = simulate(piece(), brine(lying=True))
    turned = simulate(piece(), brine(lying=True, turn_every="3 d"))
    early = np.linspace(0, 3 * DAY, 7)
    np.testing.assert_allclose(
        turned.profile("salt", early).values, still.profile("salt", early).values, rtol=1e-9, atol=1e-15
    )
    run = turned.state.runs[0]
    first, second = (lying.shares[0][0] for lying in run.lying)
    assert second == pytest.approx(first[::-1], rel=1e-9) and first[0] > 1.2 * first[1]
    assert run.turns.tolist() == [3 * DAY]

    def lean_to_first(history):
        values = history.profile("salt", 6 * DAY).values
        return (values - values[::-1])[: len(values) // 2].max()

    assert lean_to_first(still) > 2 * abs(lean_to_first(turned))


@pytest.mark.parametrize("name", ["salt", FREE])
def test_ceaseless_turning_is_the_mean_of_both_ways(name, monkeypatch):
    """A turn every ten minutes, each computed, moves as one network with the mean conductances of the two ways it lies."""
    monkeypatch.setattr(walk, "averaged", lambda stretch, thin: False)
    stage = brine(lying=True, turn_every="10 min", lasts="1 d", temperature="3 degC")
    history = simulate(piece(ph=5.6), stage, cells=4)  # cells so wide that ten minutes are short for the outermost
    run, still, below = history.state.runs[0], history.cases.film("still"), history.cases.film("contact")
    meat = run.meats[0]
    ways = [meat.contact(0, films) for films in ((still, below, still), (below, still, still))]
    mean = Contact(0, *(sum(getattr(way, part) for way in ways) / 2 for part in ("matrix", "column", "total")))
    rate = 0.0
    if name == FREE:
        rate = solutes.nitrite_loss_rate(276.15, 5.6) / (solutes.ratio("nitrite") * solutes.water_diffusivity(276.15))
    loss = np.where(np.arange(run.size) < run.size - 1, rate, 0.0)[None]
    network = replace(assemble([meat.part], run.water, [mean]), loss=loss)
    ratio = 1.0 if name == "salt" else solutes.ratio("nitrite")
    clock = ratio * solutes.water_diffusivity(276.15) * DAY
    found = modes_of(network).at(run.start(name)[:, None], np.full((1, 1, 1), clock))[0, 0, 0]
    expected = np.append(meat.body.rows[1:-1] @ found[:-1], found[-1])
    states = in_cells(run, name, np.array([DAY]))[0][1:]
    states = np.delete(states, -2)  # the faces read the outermost cells again
    np.testing.assert_allclose(states, expected, rtol=2e-3, atol=1e-4 * expected.max())
    assert np.abs(states[:-1] - states[-2::-1]).max() < 1e-2 * states[:-1].max()


# -- temperature -------------------------------------------------------------------------------------------------------------------


@every_shape
def test_a_level_log_is_a_constant(shape):
    level = [["0 h", "4 degC"], ["7 h", "4 degC"], ["3 d", "4 degC"]]
    a, b = (simulate(piece(shape=shape), brine(temperature=given_), cells=CELLS) for given_ in ("4 degC", level))
    for name in QUANTITIES:
        np.testing.assert_allclose(b.profile(name).values, a.profile(name).values, rtol=1e-9, atol=1e-16)


def test_the_path_of_a_log_does_not_matter_to_salt_but_its_mean_does():
    """Warm first or cold first: the same clock at the end, so the same salt; the loss of nitrite sees when it was there."""
    warm_first = [["0 h", "8 degC"], ["72 h", "8 degC"], ["73 h", "1 degC"], ["145 h", "1 degC"]]
    cold_first = [["0 h", "1 degC"], ["72 h", "1 degC"], ["73 h", "8 degC"], ["145 h", "8 degC"]]
    one, other = (
        simulate(piece(), brine(temperature=log, lasts="145 h"), cells=CELLS) for log in (warm_first, cold_first)
    )
    np.testing.assert_allclose(one.profile("salt").values, other.profile("salt").values, rtol=1e-9)
    warm, cold = (each.amount("salt", 3 * DAY) - each.amount("salt", 0.0) for each in (one, other))
    assert warm > 1.1 * cold
    assert abs(one.amount(FREE) / other.amount(FREE) - 1) > 1e-3
    cold, warm = (simulate(piece(), brine(temperature=t, lasts="145 h"), cells=CELLS) for t in ("1 degC", "8 degC"))
    assert cold.amount("salt") * 1.02 < one.amount("salt") < warm.amount("salt") * 0.98


def test_the_clock_of_a_ramp_by_quadrature():
    """Salt after a ramp from 1 to 9 degC equals salt at the constant temperature whose pace is the ramp's mean."""
    kelvin = np.linspace(274.15, 282.15, 20001)
    mean = np.trapezoid(solutes.water_diffusivity(kelvin), kelvin) / 8.0
    even = float(np.interp(mean, solutes.water_diffusivity(kelvin), kelvin))
    ramp = simulate(piece(), brine(temperature=[["0 h", "1 degC"], ["6 d", "9 degC"]]), cells=CELLS)
    flat = simulate(piece(), brine(temperature=even), cells=CELLS)
    assert ramp.amount("salt") == pytest.approx(flat.amount("salt"), rel=1e-7)


def test_loss_under_a_ramp_by_quadrature():
    """With everything inside at rest, free nitrite falls by exp(-integral of the rate), here by 2000 steps."""
    ramp = [["0 h", "1 degC"], ["8 d", "9 degC"]]
    history = simulate(piece(thickness="2 cm", ph=5.6), [brine(), Rest(temperature=ramp, lasts="8 d")], cells=CELLS)
    begin, end = history.span(1)
    rate = np.asarray(solutes.nitrite_loss_rate(np.linspace(274.15, 282.15, 2001), 5.6))
    fell = np.exp(-np.trapezoid(rate, dx=8 * DAY / 2000))
    # exact only if every place has the same pH, as it has here; diffusion inside does not change the sum
    assert history.amount(FREE, end) / history.amount(FREE, begin) == pytest.approx(fell, rel=1e-5)


ZIGZAG = [[f"{12 * n} h", f"{3 + (0.9, -0.4, 0.3, -0.8)[n % 4]} degC"] for n in range(21)]  # a fridge, twice a day


@pytest.mark.parametrize("segments", [None, 1, 3])
def test_loss_of_a_bent_log_by_quadrature(segments):
    """However few mean losses a run has, each is the mean over every bend of its log."""
    stages = [brine(), Rest(temperature=ZIGZAG, lasts="10 d")]
    two = (piece(name="acid", thickness="2 cm", ph=5.4), piece(name="mild", thickness="2 cm", ph=6.2))
    for pieces in (two[:1], two):  # alike in loss, and not
        history = simulate(pieces, stages, cells=CELLS, segments=segments)
        begin, end = history.span(1)
        kelvin = history.temperature(np.linspace(begin + 1e-3, end, 20001))
        for each in pieces:
            rate = np.asarray(solutes.nitrite_loss_rate(kelvin, each.ph))
            fell = np.exp(-np.trapezoid(rate, dx=10 * DAY / 20000))
            left = history.amount(FREE, end, each.name) / history.amount(FREE, begin, each.name)
            assert left == pytest.approx(fell, rel=1e-5)
        assert history.budget


def test_fewer_mean_losses_are_nearly_as_good_and_cheaper():
    turned = (brine(temperature=ZIGZAG, lasts="10 d", lying=True, turn_every="2 d"), rest(), soak())
    whole, usual, few_, one = (simulate(piece(), turned, cells=CELLS, segments=each) for each in (64, None, 4, 1))

    def means(history):
        _, rates, _ = history.state.runs[0]._free
        return len({float(rate.max()) for rate in rates})

    assert means(whole) > 20 and means(usual) == 8 and means(few_) == 4 and means(one) == 1
    times = whole.times
    for place in ("core", "average", "surface"):
        exact = whole.at(place, FREE, times)
        for history, near in ((usual, 5e-4), (few_, 2e-3), (one, 2e-3)):
            assert np.abs(history.at(place, FREE, times) - exact).max() < near * exact.max()
            np.testing.assert_array_equal(history.at(place, "salt", times), whole.at(place, "salt", times))
    assert one.budget


def test_more_mean_losses_than_bends_change_nothing():
    log = brine(temperature=ZIGZAG, lasts="10 d")
    a, b = (simulate(piece(), log, cells=CELLS, segments=each) for each in (64, 1000))
    np.testing.assert_allclose(b.profile(FREE).values, a.profile(FREE).values, rtol=1e-9)
    steady = [simulate(piece(), brine(), cells=CELLS, segments=each).profile(FREE).values for each in (None, 1)]
    np.testing.assert_array_equal(*steady)
    once = simulate(piece(), (log, log), cells=CELLS, segments=2)
    twice = extend(simulate(piece(), log, cells=CELLS, segments=2), log)
    np.testing.assert_allclose(twice.profile(FREE).values, once.profile(FREE).values, rtol=1e-9)


@pytest.mark.parametrize("segments", [0, -1, 2.5, "few"])
def test_how_many_mean_losses_is_a_whole_number(segments):
    with pytest.raises(InputError, match=r"segments.*from 1 on, or None"):
        simulate(piece(), brine(), segments=segments)


def test_acid_meat_loses_nitrite_faster():
    acid, mild = (simulate(piece(ph=ph), brine(), cells=CELLS).average(FREE) for ph in (5.4, 6.2))
    assert acid < 0.97 * mild


# -- sealed cure -------------------------------------------------------------------------------------------------------------------


@every_shape
def test_sealed_cure_dissolves_and_conserves(shape):
    """The purge is saturated while dry salt lies in it, and never above; in the end all has dissolved."""
    history = simulate(piece(shape=shape), sealed(salt="45 g", lasts="20 d"), cells=CELLS)
    run = history.state.runs[0]
    times = np.concatenate([[0.0], np.geomspace(60.0, history.length, 200)])
    top = float(brine_properties.solubility(276.15))
    strength = history.bath("salt", times)
    assert strength.max() <= top * (1 + 1e-12) and strength[0] == pytest.approx(top, rel=1e-12)
    salt_track = next(track for track in run.tracks if "salt" in track.names)
    lying = salt_track.undissolved(times[None])[0]
    purge = default_numbers().si("purge.per_salt") * 0.045
    assert lying[0] == pytest.approx(0.045 - purge * top / (1 - top), rel=1e-9)
    assert np.all(np.diff(lying) <= 0) and lying[-1] == 0
    both = history.amount("salt", times) + run.bath_amount("salt", times[None])[0]
    np.testing.assert_allclose(both, 0.045 + OWN * history.pieces[0].water(), rtol=1e-10)
    saturated = strength > top * (1 - 1e-12)
    assert np.array_equal(saturated[1:-1], lying[1:-1] > 0)


def test_salt_that_cannot_dissolve_stays_and_is_counted():
    """More salt than all the water can hold: the purge stays saturated and equilibrium is saturation."""
    history = simulate(piece(thickness="2 cm"), sealed(salt="1.2 kg", purge="2 %", lasts="200 d"), cells=CELLS)
    top = float(brine_properties.solubility(276.15))
    assert history.bath("salt") == pytest.approx(top, rel=1e-12)
    assert history.core("salt", basis="equilibrium") == pytest.approx(1.0, rel=1e-6)
    assert history.budget[0]["in bath"] > 0.5 and abs(history.budget[0]["residual"]) < 1e-10


def test_purge_leaves_the_meat():
    history = simulate(piece(), sealed(purge="5 %", salt="40 g"), cells=CELLS)
    entered = sum(history.amount(name) for name in TRACERS)
    assert history.weight() == pytest.approx(1.5 * 0.95 + entered - OWN * piece().water(), rel=1e-12)


# -- how a stage ends --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        "core salt >= 60 % of equilibrium",
        "average salt >= 1.5 %",
        "core nitrite >= 20 ppm",
        "surface salt >= 3 % of the water phase",
    ],
)
def test_until_is_when_it_holds(words):
    history = simulate(piece(), brine(lasts=None, until=words, at_most="60 d"))
    wanted = Criterion.parse(words)
    value = history.at(wanted.place, wanted.quantity, basis=wanted.basis)
    before = history.at(wanted.place, wanted.quantity, history.length - 2.0, basis=wanted.basis)
    assert before < wanted.target <= value
    assert 60.0 < history.length < 60 * DAY
    assert (
        history.ending(0).startswith("after ") and words in history.ending(0) and "not reached" not in history.ending(0)
    )


@pytest.mark.parametrize("wrong", ("at its beginning", "at its end"))
def test_a_search_with_a_good_guess_is_the_search_with_a_wrong_one(monkeypatch, wrong):
    """And that of halving, written out here."""
    stage = brine(until="core salt >= 1.5 %", at_most="20 d", lasts=None, lying=True, turn_every="1 d")
    good = simulate(piece(), stage, cells=CELLS)
    monkeypatch.setattr(engine_run, "_crossing", lambda t, m, low, high: low if wrong == "at its beginning" else high)
    assert simulate(piece(), stage, cells=CELLS).length == pytest.approx(good.length, rel=1e-12)
    assert good.ran[0].held and good.core("salt", good.length - 1.0) < 0.015 <= good.core("salt")
    whole = simulate(piece(), stage.but(until=None, at_most=None, lasts="20 d"), cells=CELLS)
    times = 20 * DAY * np.concatenate([[0.0], np.geomspace(1e-3, 1.0, engine_run.COARSE)])
    first = int(np.argmax(whole.core("salt", times) >= 0.015))
    low, high = times[first - 1], times[first]
    while high - low > engine_run.SECOND:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if whole.core("salt", middle) >= 0.015 else (middle, high)
    assert good.length == pytest.approx(high, rel=1e-12)


def test_first_times_in_one_pass_are_those_of_each():
    pieces = [piece(name=name, thickness=thick) for name, thick in (("thin", 0.03), ("thick", 0.05), ("vast", 0.3))]
    history = simulate(pieces, [brine(lasts="10 d"), brine(lasts="9 d", stirred=True)], cells=CELLS)
    wanted = "core salt >= 1.2 %"
    each = [history.first_time(wanted, 0, where) for where in (0, 1, 2, "any", "every")]
    assert history.first_time(wanted, 0, (0, 1, 2, "any", "every")) == pytest.approx(each, rel=1e-12)
    assert each[0] < each[1] < each[2] == np.inf and each[3] == each[0] and each[4] == np.inf


def test_a_history_in_which_a_stage_lasts_longer_is_that_of_a_longer_stage():
    stages = [brine(lasts="2 d", lying=True, turn_every="1 d"), sealed(), soak(("2 kg", "1 h"))]
    history = simulate(piece(), stages, cells=CELLS)
    for number, stage in enumerate(stages):
        longer = simulate(piece(), [*stages[:number], stage.lasting(30 * DAY)], cells=CELLS)
        found = history.lasting(number, 30 * DAY)
        assert found is history.lasting(number, 30 * DAY) and found.length == longer.length
        for time in (1.5 * DAY, 9 * DAY):
            assert found.core("salt", time) == pytest.approx(longer.core("salt", time), rel=1e-12)
        assert found.weight() == pytest.approx(longer.weight(), rel=1e-12)


def test_what_is_too_large_is_refused_with_the_arithmetic():
    """2,400 places in 57,600 legs of five quantities are 5.5 GB, with the modes 5.6, and nothing of it is begun."""
    pieces = [piece(name=f"{n}", thickness=0.004) for n in range(20)]
    with pytest.raises(InputError, match=r"20 pieces of 2401 places in all.* 57600 times.* 5\.5 GB.* make two batches"):
        simulate(pieces, brine(lasts="400 d", lying=True, turn_every="10 min"))


def test_until_not_reached_says_so():
    history = simulate(piece(), brine(lasts=None, until="average salt >= 20 %", at_most="5 d"), cells=CELLS)
    assert history.length == 5 * DAY and history.ran[0].held is False
    missing = 0.20 - history.average("salt")
    assert history.margin("average salt >= 20 %") == pytest.approx(-missing, rel=1e-9)
    assert history.ending(0).startswith("after 5 d, the most allowed; not reached: average salt >= 20 % (missing ")


def test_a_soak_ends_in_the_water_that_did_it():
    start = brine(lasts="30 d")
    history = simulate(
        piece(),
        [start, soak(("2 kg", "1 d"), ("2 kg", "1 d"), ("2 kg", "30 d"), until="average salt <= 1.7 %"), rest()],
    )
    soaked = [ran for ran in history.ran if ran.stage == 1]
    assert [ran.held for ran in soaked] == [False, True]
    assert history.average("salt", history.span(1)[1]) <= 0.017
    assert history.average("salt", history.span(1)[1] - 2.0) > 0.017
    assert history.ran[-1].stage == 2 and history.span(2)[0] == history.span(1)[1]


def test_already_there_takes_no_time():
    history = simulate(piece(), [brine(lasts=None, until="average salt <= 2 %", at_most="5 d"), rest()], cells=CELLS)
    assert history.span(0) == (0.0, 0.0) and history.amount("salt") == pytest.approx(OWN * piece().water(), rel=1e-6)


# -- several pieces ----------------------------------------------------------------------------------------------------------------


def test_two_alike_in_one_bath_are_one_in_half_of_it():
    pair = [piece(name="left"), piece(name="right")]
    double = Bath(water="4 kg", salt="200 g", sugar="80 g", nitrate="0.6 g", nitrite="0.8 g")
    both, one = simulate(pair, brine(bath=double), cells=CELLS), simulate(piece(), brine(), cells=CELLS)
    for name in QUANTITIES:
        expected = one.profile(name).values
        for which in ("left", "right"):
            np.testing.assert_allclose(both.profile(name, piece=which).values, expected, rtol=1e-8, atol=1e-15)


def test_pieces_share_what_there_is():
    pieces = [
        piece(name="thin", thickness="3 cm"),
        piece(name="round", shape="cylinder", thickness="9 cm", weight="2 kg"),
    ]
    history = simulate(pieces, [brine(), rest("2 d"), soak()], cells=CELLS)
    assert all(abs(row["residual"]) < 1e-10 for row in history.budget)
    alone = simulate(pieces[0], brine(), cells=CELLS)
    assert history.amount("salt", 6 * DAY, "thin") < alone.amount("salt", 6 * DAY)
    assert history.core("salt", basis="equilibrium", piece="thin") > history.core(
        "salt", basis="equilibrium", piece="round"
    )
    begin, end = history.span(1)
    for name in ("thin", "round"):  # at rest each keeps its own
        assert history.amount("salt", end, name) == pytest.approx(history.amount("salt", begin, name), rel=1e-12)


def test_a_criterion_holds_for_every_piece():
    pieces = [piece(name="thin", thickness="3 cm"), piece(name="thick", thickness="7 cm")]
    history = simulate(pieces, brine(lasts=None, until="core salt >= 50 % of equilibrium", at_most="90 d"), cells=CELLS)
    assert history.core("salt", basis="equilibrium", piece="thick") == pytest.approx(0.5, rel=1e-4)
    assert history.core("salt", basis="equilibrium", piece="thin") > 0.6


# -- units -------------------------------------------------------------------------------------------------------------------------


def test_the_same_batch_in_other_units():
    """1 lb = 0.45359237 kg, 1 in = 2.54 cm, degF by definition: one answer."""
    metric = simulate(
        Piece(thickness="5.08 cm", weight="0.90718474 kg"),
        Brine(bath=Bath(water="0.90718474 kg", salt="56.69904625 g"), temperature="5 degC", lasts="5 d"),
    )
    us = simulate(
        Piece(thickness="2 in", weight="2 lb"),
        Brine(bath=Bath(water="32 oz", salt="2 oz"), temperature="41 degF", lasts="120 h"),
    )
    times = np.linspace(0, 5 * DAY, 11)
    top = metric.surface("salt", times).max()
    for place in ("core", "average", "surface"):
        expected = metric.at(place, "salt", times)
        np.testing.assert_allclose(us.at(place, "salt", times), expected, rtol=1e-12, atol=1e-12 * top)


def test_cells_are_enough():
    """The default number of cells against three times as many, in everything a cook reads. (Order and exact answers: tests/exact.)"""
    for stages in (KINDS["brine turned"], KINDS["sealed cure"], KINDS["brine, soak"]):
        coarse, fine = (simulate(piece(), stages, cells=cells) for cells in (60, 180))
        for name in QUANTITIES:
            top = fine.profile(name, fine.times).values.max()
            for place in ("core", "average", "surface"):
                assert abs(coarse.at(place, name) - fine.at(place, name)) < 3e-4 * top


# -- refusals ----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pieces", "stages", "loss", "sentence"),
    [
        ([], [rest()], "nordin", "pieces: there is no piece; give at least one"),
        ([piece(), piece()], [rest()], "nordin", 'pieces: two pieces are called "piece"; give each its own name'),
        (piece(), [], "nordin", "stages: there is no stage; give at least one"),
        (piece(), rest(), "slow", 'loss: "slow" is not one of nordin, takagi, first day, none'),
        (
            piece(),
            [rest(), brine(bath=None)],
            "nordin",
            "stages[2].bath: this brine has not been weighed out; give its water and salt, or run it from a batch",
        ),
        (
            piece(),
            sealed(salt=None),
            "nordin",
            "stages[1].salt: this cure has not been weighed out; give its grams, or run it from a batch",
        ),
        (
            piece(),
            sealed(nitrite="3 g"),
            "nordin",
            "stages[1].nitrite: 3 g on 1.5 kg of meat is 2,000 mg per kg, above anything that is cured (1,000); "
            "too much nitrite poisons: check the decimal point",
        ),
        (
            piece(),
            sealed(nitrate="6 g"),
            "nordin",
            "stages[1].nitrate: 6 g on 1.5 kg of meat is 4,000 mg per kg, above anything that is cured (3,000); "
            "too much nitrite poisons: check the decimal point",
        ),
    ],
)
def test_refusals(pieces, stages, loss, sentence):
    with pytest.raises(InputError) as refused:
        simulate(pieces, stages, loss=loss)
    assert str(refused.value) == sentence


def test_all_refusals_at_once():
    with pytest.raises(InputError) as refused:
        simulate([piece(), piece()], [brine(bath=None), sealed(salt=None, nitrite="4 g")], loss="slow")
    assert [problem.where for problem in refused.value.problems] == [
        "pieces", "loss", "stages[1].bath", "stages[2].salt", "stages[2].nitrite",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("call", "part"),
    [
        (
            lambda: simulate(Piece(thickness="6 cm", weight="1 kg"), Rest(temperature="3 degC", lasts="1 d"), cells=0),
            "0 cells",
        ),
        (lambda: simulate("brisket", Rest(temperature="3 degC", lasts="1 d")), "is not one of Piece"),
        (lambda: simulate(Piece(thickness="6 cm", weight="1 kg"), "brine"), "is not one of Brine"),
        (
            lambda: simulate(
                Piece(thickness="6 cm", weight="1 kg"),
                [SealedCure(salt="25 g", purge="20 %", temperature="3 degC", lasts="5 d")] * 4,
            ),
            "are left in the meat",
        ),
    ],
)
def test_arguments_that_are_nothing_get_a_sentence(call, part):
    with pytest.raises(InputError, match=part):
        call()


@pytest.mark.parametrize("shape", ["cylinder", "sphere"])
def test_a_round_piece_lies_on_a_line_that_is_left_out(shape):
    """Lying, turned or hanging makes no difference to it, as its assumptions say."""
    piece = Piece(shape=shape, thickness="8 cm", weight="2 kg")
    stage = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="10 d", lying=False)
    hanging, lying, turned = (
        simulate(piece, one).core("salt")
        for one in (stage, stage.but(lying=True), stage.but(lying=True, turn_every="2 d"))
    )
    assert lying == pytest.approx(hanging, rel=1e-9)
    assert turned == pytest.approx(hanging, rel=1e-6)


def test_a_trace_too_small_for_arithmetic_is_no_fault():
    bath = Bath(water="1 kg", salt="40 g", sugar=5e-324)
    history = simulate(
        Piece(thickness="4 cm", weight="1 kg"), Brine(bath=bath, temperature="3 degC", lasts="3 d", lying=False)
    )
    assert 0 <= history.core("sugar") < 1e-300 and history.budget


def test_equal_waters_of_a_soak_are_solved_once():
    """With draws as well, where nothing else remembers: five waters, and the modes of two (the brine's and theirs), where no water moves."""
    soak = Soak(waters=[Water(amount="5 kg", lasts="40 min", temperature="5 degC")] * 5)
    cure = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="4 d")
    steak = Piece(thickness="5 cm", weight="1 kg")
    for draws in (None, {"temperature": np.array([-0.5, 0.5])}):
        runs = simulate(steak, (cure, soak), draws=draws, numbers=STILL).runs
        assert len(runs) == 6 and len({id(run.lying[0].modes(None)) for run in runs}) == 2
