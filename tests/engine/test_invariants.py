"""What must hold for any batch: hypothesis draws pieces and stages, and each law is asked of all of them.

tests/engine/test_simulate.py asks most of these of hand-picked stages; here the stages, their order and their numbers are drawn. No outside
source: these are consequences of a linear, closed, positive network. CELLS is small, because they hold for any number of cells.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.bodies import layered
from curelab.bodies.cells import SHAPES as BODIES
from curelab.engine.run import FREE, QUANTITIES, TRACERS
from curelab.proof.meat import STILL, UNSALTED
from curelab.sources import default_numbers
from curelab.transport.modes import modes_of

UNSALTED_MEAT = default_numbers().with_values(UNSALTED)
NO_WATER_MOVES = default_numbers().with_values(STILL)  # order and proportion are exact for the linear network alone

DAY, CELLS = 86400.0, 10
SHAPES = ("slab", "cylinder", "sphere")
# The seed is fixed (derandomize), so a red run is red again.
drawn = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])

celsius = st.floats(1.0, 12.0)
constant = celsius.map(lambda value: f"{value!r} degC")
log = st.lists(celsius, min_size=2, max_size=4).map(
    lambda values: [[f"{30 * n} h", f"{value!r} degC"] for n, value in enumerate(values)]
)
temperature = st.one_of(constant, log)
days = st.floats(0.05, 20.0).map(lambda value: value * DAY)


@st.composite
def pieces(draw, shapes=SHAPES, capped=True, name="piece"):
    shape = draw(st.sampled_from(shapes))
    thickness = draw(st.floats(0.012, 0.14))
    cap = draw(st.sampled_from([0.0, 0.1, 0.3])) * thickness if shape == "slab" and capped else 0.0
    return Piece(
        name=name, shape=shape, thickness=thickness, weight=draw(st.floats(0.2, 4.0)), fat_cap=cap,
        tissue=draw(st.sampled_from(["lean beef", "pork loin", "brisket point"])), frozen_before=draw(st.booleans()),
        capped=draw(st.sampled_from(["one face", "both faces"])),
    )  # fmt: skip


@st.composite
def baths(draw):
    water = draw(st.floats(0.3, 8.0))
    share = {"salt": 0.3, "sugar": 0.1, "nitrate": 2e-3, "nitrite": 1e-3}
    return Bath(
        water=water,
        **{name: water * most * draw(st.sampled_from([0.0, 0.1, 0.5, 1.0])) for name, most in share.items()},
    )


@st.composite
def brines(draw, lying=True, running=True):
    lies = lying and draw(st.booleans())
    return Brine(
        bath=draw(baths()), temperature=draw(temperature), lasts=draw(days), lying=lies, stirred=draw(st.booleans()),
        running=running and draw(st.booleans()), turn_every=draw(st.sampled_from([None, 0.7 * DAY, 3 * DAY])) if lies else None,
    )  # fmt: skip


@st.composite
def sealed_cures(draw):
    return SealedCure(
        salt=draw(st.floats(0.002, 0.2)), sugar=draw(st.sampled_from([0.0, 0.003, 0.02])), nitrite=2e-5, nitrate=draw(st.sampled_from([0.0, 4e-5])),
        purge=draw(st.floats(0.01, 0.06)), temperature=draw(temperature), lasts=draw(days),
    )  # fmt: skip


@st.composite
def soaks(draw, lying=True):
    waters = [
        Water(amount=draw(st.floats(0.3, 8.0)), lasts=draw(st.floats(0.01, 2.0)) * DAY, temperature=draw(constant))
        for _ in range(draw(st.integers(1, 3)))
    ]
    return Soak(waters=waters, lying=lying and draw(st.booleans()), stirred=draw(st.booleans()))


rests = st.builds(Rest, temperature=temperature, lasts=days)
anything = st.one_of(brines(), sealed_cures(), rests, soaks())
courses = st.lists(anything, min_size=1, max_size=3)
level_courses = st.lists(
    st.one_of(brines(lying=False), sealed_cures(), rests, soaks(lying=False)), min_size=1, max_size=3
)


def in_cells(run, name, times) -> np.ndarray:
    """w (t, n) in every cell, and of the bath last but where the pieces lie sealed, for then it is no part of the network. What is below
    zero must be rounding, and is cut as every reading cuts it.
    """
    terms = run.states(name, times[None])[0]
    cells = terms[:, :-1] @ run.meats[0].body.rows.T
    w = cells if run.sealed else np.concatenate([cells, terms[:, -1:]], axis=1)
    assert w.min() >= -1e-12 * w.max()
    return np.maximum(w, 0.0)


# -- conservation, positivity, maximum principle -------------------------------------------------------------------------------------


@drawn
@given(pieces(), courses)
def test_conserved_positive_and_between_the_extremes(piece, stages):
    history = simulate(piece, stages, cells=CELLS)
    for row in history.budget:
        assert abs(row["residual"]) < 1e-10, row
        assert row["lost"] >= 0 and (row["quantity"] == FREE or row["lost"] == 0)
    for run in history.state.runs:
        times = np.concatenate([[0.0], np.geomspace(1e-5, 1.0, 12) * run.length])
        for name in QUANTITIES:
            w = in_cells(run, name, times)
            assert history.profile(name, run.begin + times).values.min() >= 0.0
            assert w.max() <= w[0].max() * (1 + 1e-10)
            if name != FREE:
                assert w.min() >= w[0].min() * (1 - 1e-10) - 1e-16 * w.max()  # the last digit of the largest level
        added, free = in_cells(run, "nitrite", times), in_cells(run, FREE, times)
        assert np.all(free <= added * (1 + 1e-9) + 1e-12 * added.max())


@drawn
@given(pieces(name="one"), pieces(name="two"), courses)
def test_pieces_that_share_a_bath_share_what_there_is(one, two, stages):
    history = simulate([one, two], stages, cells=CELLS)
    for row in history.budget:
        assert abs(row["residual"]) < 1e-10, row
    for name in TRACERS:
        rows = [row for row in history.budget if row["quantity"] == name]
        brought = rows[0]["in meat before"] + sum(row["added"] + max(row["supplied"], 0.0) for row in rows)
        assert history.amount(name, piece="one") + history.amount(name, piece="two") <= brought * (1 + 1e-10)


@drawn
@given(pieces(), courses)
def test_solutes_do_not_see_each_other(piece, stages):
    """Without sugar, nitrate and nitrite the salt does the same; there is no coupling in the model, and it must not creep in."""
    alone = [
        stage.but(bath=stage.bath.but(sugar=0.0, nitrate=0.0, nitrite=0.0)) if isinstance(stage, Brine)
        else stage.but(sugar=0.0, nitrate=0.0, nitrite=0.0) if isinstance(stage, SealedCure) else stage
        for stage in stages
    ]  # fmt: skip
    full, bare = simulate(piece, stages, cells=CELLS), simulate(piece, alone, cells=CELLS)
    times = np.linspace(0, 1, 9) * full.length
    a, b = (h.profile("salt", times, basis="water phase").values for h in (full, bare))
    np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-12 * a.max() + 1e-30)


# -- symmetry ------------------------------------------------------------------------------------------------------------------------


@drawn
@given(pieces(shapes=("slab",)), level_courses)
def test_alike_faces_give_alike_halves(piece, stages):
    """What was there before a last stage that lies must be a mirror image of itself, cell by cell."""
    piece = piece.but(capped="both faces", fat_cap=min(piece.fat_cap, 0.3 * piece.thickness))
    lying = Brine(bath=Bath(water="1 kg"), temperature="3 degC", lasts="1 h")
    history = simulate(piece, [*stages, lying], cells=CELLS)
    assert history.state.runs[0].mirrored(0) and not history.state.runs[-1].mirrored(0)
    times = np.linspace(0.01, 1.0, 6) * history.span(len(stages) - 1)[1]
    for name in ("salt", FREE):
        values = history.profile(name, times).values
        np.testing.assert_allclose(values, values[:, ::-1], rtol=1e-8, atol=1e-11 * values.max() + 1e-30)


@drawn
@given(
    shape=st.sampled_from(BODIES), widths=st.lists(st.floats(0.05, 1.0), min_size=1, max_size=3), storage=st.floats(0.1, 5.0),
    bath=st.sampled_from([0.2, 3.0]), film=st.sampled_from([0.5, np.inf]), clock=st.floats(1e-3, 2.0),
)  # fmt: skip
def test_here_felt_there_is_there_felt_here(one_body, shape, widths, storage, bath, film, clock):
    """Reciprocity: what a gram put in cell a does in cell b, a gram in b does in a. It holds for symmetric links only."""
    tissues = tuple(range(len(widths)))
    body = layered(tuple(widths), tissues, shape, counts=(4,) * len(widths))
    held, led = ([storage * (n + 1) for n in tissues], [1.0 + 0.5 * n for n in tissues])
    network = one_body(body, held, led, bath, (0.0, film)[-len(body.faces) :])
    network = replace(network, loss=np.linspace(0.0, 1.0, body.count + 1)[None])
    cells = np.eye(body.count + 1)
    cells[:-1, :-1] = body.rows[1:-1] if body.two_sided else body.rows[:-1]
    grams = cells / network.capacity  # one unit of amount in each cell in turn, as terms
    felt = modes_of(network).at(grams[None], np.full((1, len(grams), 1), clock), cells)[0, :, 0]
    np.testing.assert_allclose(felt, felt.T, rtol=1e-8, atol=1e-12 * felt.max())


# -- time ----------------------------------------------------------------------------------------------------------------------------


@drawn
@given(pieces(), courses, st.floats(0.05, 9.0))
def test_later_by_as_much_as_it_starts_later(piece, stages, wait):
    plain = simulate(piece, stages, cells=CELLS)
    later = simulate(piece, [Rest(temperature="3 degC", lasts=wait * DAY), *stages], cells=CELLS)
    times = np.linspace(0.02, 1.0, 9) * plain.length
    for name in QUANTITIES:
        expected = plain.profile(name, times).values
        found = later.profile(name, times + wait * DAY).values
        np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-9 * expected.max() + 1e-30)


# -- in order: days, strength, thickness, temperature -----------------------------------------------------------------------------------


@drawn
@given(pieces(), brines(lying=False), courses, st.floats(1.2, 4.0))
def test_more_days_before_is_more_salt_after(piece, first, rest_of_it, longer):
    """The level only rises in a brine that never weakens, and whatever is done next keeps the order of two pieces, at every place."""
    first = first.but(running=True, temperature="3 degC")
    ends = []
    for lasts in (first.lasts, first.lasts * longer):
        history = simulate(piece, [first.but(lasts=lasts), *rest_of_it], cells=CELLS, numbers=NO_WATER_MOVES)
        ends.append(
            [
                history.profile("salt", history.span(n)[1], basis="water phase").values
                for n in range(len(rest_of_it) + 1)
            ]
        )
    for brief, long in zip(*ends, strict=True):
        assert np.all(long >= brief * (1 - 1e-9) - 1e-14)
    full = first.bath.strength
    if 0 < ends[0][0].min() < 0.99 * full:
        assert ends[1][0].min() > ends[0][0].min()


@drawn
@given(pieces(), courses, st.floats(1.05, 3.0))
def test_stronger_is_saltier_everywhere(piece, stages, factor):
    """Every brine with more salt in the same water: nowhere and at no time less; and exactly in proportion where no salt lies dry."""

    def with_salt(part):
        return [
            stage.but(bath=stage.bath.but(salt=part * stage.bath.salt)) if isinstance(stage, Brine) else stage
            for stage in stages
        ]

    weak, strong = (
        simulate(piece, with_salt(part), cells=CELLS, numbers=NO_WATER_MOVES) for part in (1 / 3, factor / 3)
    )
    times = np.linspace(0, 1, 9) * weak.length
    a, b = (h.profile("salt", times, basis="water phase").values for h in (weak, strong))
    assert np.all(b >= a * (1 - 1e-9) - 1e-14)
    if not any(isinstance(stage, SealedCure) for stage in stages):
        np.testing.assert_allclose(b / (1 - b), factor * a / (1 - a), rtol=1e-9, atol=1e-12)


@drawn
@given(pieces(capped=False), baths(), st.floats(0.3, 15.0), st.floats(1.05, 2.0), st.floats(0.3, 8.0), st.booleans())
def test_thicker_is_slower_and_warmer_is_faster(piece, bath, lasts, thicker, warmer, soaked):
    """In a cure the core has less of its final salt in a thicker piece, more in a warmer; in a soak after a long cure the piece keeps more
    if thicker, less if warmer."""
    bath = bath.but(salt=0.05 * bath.water)

    def reached(piece, kelvin):
        if not soaked:
            stage = Brine(bath=bath, temperature=kelvin, lasts=lasts * DAY, lying=False)
            history = simulate(piece, stage, cells=CELLS, numbers=UNSALTED_MEAT)  # what came in, not what was there
            return np.array([history.core("salt", basis="equilibrium")])
        full = Brine(bath=bath, temperature=276.15, lasts=400 * DAY, lying=False, running=True)
        water = Soak(waters=[Water(amount=bath.water, lasts=lasts * DAY / 10, temperature=kelvin)])
        history = simulate(piece, [full, water], cells=CELLS)
        return -np.array([history.amount("salt") / history.amount("salt", history.span(0)[1])])

    plain = reached(piece, 276.15)
    slow, fast = (
        reached(piece.but(thickness=min(piece.thickness * thicker, 0.4)), 276.15),
        reached(piece, 276.15 + warmer),
    )
    assert np.all(slow <= plain * (1 + 1e-9 * np.sign(plain))) and np.all(fast >= plain * (1 - 1e-9 * np.sign(plain)))
    if not soaked and 0.01 < plain[0] < 0.98:
        assert slow[0] < plain[0] < fast[0]


# -- scale ----------------------------------------------------------------------------------------------------------------------------


@drawn
@given(
    inches=st.floats(0.6, 5.0), pounds=st.floats(0.6, 9.0), water=st.floats(0.6, 20.0), share=st.floats(0.01, 0.2), hours=st.floats(2.0, 400.0),
    fahrenheit=st.floats(34.5, 50.0), shape=st.sampled_from(SHAPES), kind=st.sampled_from(["brine", "sealed", "soak"]),
)  # fmt: skip
def test_one_batch_in_two_systems_of_units(inches, pounds, water, share, hours, fahrenheit, shape, kind):
    """1 lb = 0.45359237 kg, 1 in = 2.54 cm, 16 oz = 1 lb, degF by definition: the same answer to 1e-12, typed either way."""
    pound = 0.45359237
    celsius, ounces = (fahrenheit - 32) / 1.8, 16 * water * share
    us = Piece(shape=shape, thickness=f"{inches!r} in", weight=f"{pounds!r} lb")
    metric = Piece(shape=shape, thickness=f"{2.54 * inches!r} cm", weight=f"{1000 * pound * pounds!r} g")
    results = []
    for piece, of_water, salt, warm, time in (
        (us, f"{water!r} lb", f"{ounces!r} oz", f"{fahrenheit!r} degF", f"{hours!r} h"),
        (
            metric,
            f"{pound * water!r} kg",
            f"{1000 * pound / 16 * ounces!r} g",
            f"{celsius!r} degC",
            f"{hours / 24!r} d",
        ),
    ):
        cure = Brine(bath=Bath(water=of_water, salt=salt), temperature=warm, lasts=time)
        stages = {
            "brine": [cure.but(turn_every="1 d")],
            "sealed": [SealedCure(salt=salt, temperature=warm, lasts=time), Rest(temperature=warm, lasts=time)],
            "soak": [cure, Soak(waters=[Water(amount=of_water, lasts="3 h", temperature=warm)])],
        }[kind]
        results.append(simulate(piece, stages, cells=CELLS))
    ends = [history.length for history in results]
    np.testing.assert_allclose(ends[0], ends[1], rtol=1e-12)
    when = np.linspace(0.05, 1.0, 7)
    for place in ("core", "average", "surface"):
        a, b = (history.at(place, "salt", when * history.length) for history in results)
        np.testing.assert_allclose(a, b, rtol=1e-12, atol=1e-12 * results[0].surface("salt", when * ends[0]).max())
    np.testing.assert_allclose(results[0].weight(), results[1].weight(), rtol=1e-12)


@drawn
@given(pieces(), brines(), st.floats(0.3, 3.0), st.floats(0.2, 5.0))
def test_a_model_of_the_piece(piece, brine, larger, more):
    """Similarity: lengths times s, times times s^2, films over s, and any amount of it all: the same levels. (Nitrite is lost at its own
    pace and is left out.)"""
    thickness = piece.thickness * larger
    if not 0.004 < thickness < 0.39:
        return
    brine = brine.but(temperature="4 degC", turn_every=None)
    model = piece.but(thickness=thickness, fat_cap=piece.fat_cap * larger, weight=piece.weight * more)
    if not 0.01 < model.weight < 90:
        return
    bath = Bath(**{name: more * getattr(brine.bath, name) for name in ("water", "salt", "sugar")})
    numbers = default_numbers()
    films = numbers.with_values(
        {f"film.{kind}": numbers[f"film.{kind}"].value / larger for kind in ("still", "stirred", "contact")}
    )
    one = simulate(piece, brine, cells=CELLS)
    other = simulate(model, brine.but(bath=bath, lasts=brine.lasts * larger**2), cells=CELLS, numbers=films)
    share = np.linspace(0.02, 1.0, 7)
    for name in ("salt", "sugar"):
        a, b = (history.profile(name, share * history.length, basis="water phase").values for history in (one, other))
        np.testing.assert_allclose(b, a, rtol=1e-8, atol=1e-11 * a.max() + 1e-30)


# -- partition: a share other than one, which the defaults would hide ------------------------------------------------------------------


@drawn
@given(pieces(), st.floats(0.6, 1.4), st.floats(0.5, 4.0), st.sampled_from(["finite", "running", "sealed"]))
def test_at_rest_the_shares_are_those_of_the_partition(piece, share, water, kind):
    """By hand: the water of the meat holds `share` times the level of the bath, so salt = level x (bath + share x meat water)."""
    numbers = default_numbers().with_values({"partition.water_phase": share, **STILL})
    piece, salt = piece.but(thickness=0.012, fat_cap=0.0), 0.04  # so thin that it comes to rest
    held = piece.water(numbers)
    stage = Brine(
        bath=Bath(water=water, salt=salt),
        temperature="4 degC",
        lasts="400 d",
        lying=False,
        stirred=True,
        running=kind == "running",
    )
    if kind == "sealed":  # the bath is the purge, and the meat has so much less water
        water = 0.03 * piece.weight
        held, salt = held - water, 0.1 * water
        stage = SealedCure(salt=salt, purge=0.03, temperature="4 degC", lasts="400 d")
    history = simulate(piece, stage, cells=CELLS, numbers=numbers)
    level = salt / water if kind == "running" else salt / (water + share * held)
    np.testing.assert_allclose(history.amount("salt"), share * held * level, rtol=1e-6)
    inside = share * level / (1 + share * level)
    np.testing.assert_allclose(history.core("salt", basis="water phase"), inside, rtol=1e-6)
    if kind != "running":
        np.testing.assert_allclose(history.bath("salt"), level / (1 + level), rtol=1e-6)
