"""Pieces in three dimensions through the one front door: what must hold for any of them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from handful import handful
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from curelab import Bath, Brine, Piece, simulate
from curelab.proof.meat import STILL
from curelab.recipe.stages import Rest, Soak, Water
from curelab.show.fields import slowest_words
from curelab.sources import default_numbers

DAY = 86400.0
ENDS = {"head": "cut off", "tail": "cut off", "left": "cut off", "right": "cut off"}
CURE = Brine(
    bath=Bath(water="3 kg", salt="150 g", nitrite="0.5 g"), temperature="3 degC", lasts="12 d", turn_every="3 d"
)
CHAIN = (
    CURE,
    Rest(temperature="3 degC", lasts="5 d"),
    Soak(waters=[Water(amount="4 kg", lasts="8 h", temperature="3 degC")] * 2),
)
TIMES = np.array([0.5, 2.0, 6.0, 12.0, 17.0, 17.3, 17.6]) * DAY
COARSE = 30  # cells: half as many elements along every axis


def cut_of(*stations: tuple[float, float, float], **more) -> Piece:
    """Of (at, thickness, width) in m at each station, and of the weight that goes with them."""
    words = [f"{value!r} m" for row in stations for value in row]
    rows = [
        dict(zip(("at", "thickness", "width"), words[3 * n : 3 * n + 3], strict=True)) for n in range(len(stations))
    ]
    more = {key: f"{value!r} m" if isinstance(value, float) else value for key, value in more.items()}
    heavy = sum(
        250 * (at - begin) * (thick + thin) * (wide + slim)
        for (begin, thin, slim), (at, thick, wide) in pairwise(stations)
    )
    return Piece(shape="cut", stations=rows, weight=f"{heavy!r} kg", **more)


def read(history, times=TIMES):
    return {place: history.at(place, "salt", times) for place in ("core", "average", "surface")}


def test_equal_stations_and_closed_sides_are_a_slab():
    """On average to 1e-4 of the driving strength, a brine of 150 g in 3 kg, once the first days are over; at the core to 4e-4, where both
    ways to carry a slab have their own error.
    """
    cut = cut_of((0.0, 0.06, 0.2), (0.1, 0.06, 0.2), (0.3, 0.06, 0.2), edges="square", faces=ENDS)
    slab = Piece(thickness="6 cm", weight=cut.weight)
    one, other = (simulate(piece, CHAIN) for piece in (cut, slab))
    strength = 150 / 3150
    for place in ("core", "average"):
        gap = np.abs(one.at(place, "salt", TIMES[1:]) - other.at(place, "salt", TIMES[1:])) / strength
        assert gap.max() < 1.2e-3 and gap[1:].max() < 4e-4, (place, gap)
    gap = np.abs(one.average("salt", TIMES) - other.average("salt", TIMES)) / strength
    assert gap[2:5].max() < 1e-4 and gap.max() < 1e-3, gap


def test_a_cap_is_the_cap_of_a_slab():
    cut = cut_of((0.0, 0.06, 0.06), (0.06, 0.06, 0.06), edges="square", faces=ENDS, fat_cap=0.008)
    slab = Piece(thickness="6 cm", weight=cut.weight, fat_cap="8 mm")
    one, other = (simulate(piece, CHAIN) for piece in (cut, slab))
    for name, put_in in (("salt", 150), ("free nitrite", 0.5)):  # which is lost in the lean alone
        gap = np.abs(one.average(name, TIMES[1:]) - other.average(name, TIMES[1:]))
        assert gap.max() < 1e-3 * put_in / 3150
    assert one.weight(piece=0) == pytest.approx(other.weight(piece=0), rel=1e-4)


@pytest.mark.parametrize("few", handful((False, True), [True]))
def test_nitrite_in_fat_is_not_lost(few):
    """A cap in three dimensions and on a slab lose what the lean in them loses: by hand, the loss over the nitrite there, added up."""
    cut = cut_of((0.0, 0.04, 0.2), (0.3, 0.04, 0.2), edges="square", faces=ENDS, fat_cap=0.012)
    slab = Piece(thickness="4 cm", weight=cut.weight, fat_cap="12 mm")
    rest = Rest(temperature="3 degC", lasts="10 d")
    for piece in (cut, slab):
        history = simulate(piece, (CURE.but(lasts="4 d"), rest), few=few)
        run, times = history.runs[-1], np.linspace(0.0, 10.0, 4001)[None] * DAY
        meat = run.meats[0]
        fat = int(np.flatnonzero(~meat.lean)[0])
        in_fat = (
            meat.amount * meat.storage[:, fat] * (run.states("free nitrite", times)[..., :-1] @ meat.body.integral(fat))
        )
        whole = run.amount("free nitrite", times, 0)
        rate = history.cases.loss_rate(np.array([[276.15]]), piece, "nordin")[0, 0]
        lost = rate * np.trapezoid((whole - in_fat)[0], times[0])
        assert 0.02 * whole[0, 0] < in_fat[0, 0] < 0.3 * whole[0, 0], "or the fat would prove nothing"
        assert whole[0, 0] - whole[0, -1] == pytest.approx(lost, rel=1e-6)
        row = next(row for row in history.budget if row["quantity"] == "free nitrite" and row["run"] == "rest")
        assert row["lost"] == pytest.approx(lost, rel=1e-6)


def test_head_for_tail_is_the_same_piece():
    stations = [(0.0, 0.03, 0.10), (0.1, 0.055, 0.12), (0.18, 0.06, 0.11)]
    turned = [(0.18 - at, thick, wide) for at, thick, wide in stations[::-1]]
    one, other = (simulate(cut_of(*each), CHAIN, cells=COARSE) for each in (stations, turned))
    for place, values in read(one).items():
        np.testing.assert_allclose(read(other)[place], values, rtol=0, atol=2e-4 * 0.05)
    (along, depth), (back, deep) = one.slowest_place("salt", 6 * DAY), other.slowest_place("salt", 6 * DAY)
    assert along + back == pytest.approx(0.18, abs=0.01) and depth == pytest.approx(deep, abs=0.006)


def test_a_larger_piece_takes_the_square_of_the_time_and_no_new_terms():
    """Lengths times s, times times s^2, films over s: the same levels, from the same terms."""
    larger = 1.7
    small = cut_of((0.0, 0.03, 0.10), (0.1, 0.055, 0.12), (0.18, 0.06, 0.11))
    large = small.scaled(larger, larger**3)
    numbers = default_numbers()
    films = numbers.with_values(
        {key: numbers[key].value / larger for key in ("film.still", "film.stirred", "film.contact")}
    )
    cure = Brine(bath=Bath(water=3.0, salt=0.15), temperature="3 degC", lasts=6 * DAY)
    slow = cure.but(bath=Bath(water=3.0 * larger**3, salt=0.15 * larger**3), lasts=6 * DAY * larger**2)
    one = simulate(small, cure, cells=COARSE)
    other = simulate(large, slow, cells=COARSE, numbers=films)
    assert other.state.meats[0].body is one.state.meats[0].body
    times = np.array([0.5, 2.0, 6.0]) * DAY
    for place in ("core", "average", "surface"):
        np.testing.assert_allclose(
            other.at(place, "salt", times * larger**2), one.at(place, "salt", times), rtol=1e-9, atol=1e-12
        )


@st.composite
def cuts(draw):
    count = draw(st.integers(2, 4))
    places = np.cumsum([0.0] + [draw(st.floats(0.04, 0.12)) for _ in range(count - 1)])
    rows = [(float(at), draw(st.floats(0.025, 0.08)), draw(st.floats(0.08, 0.2))) for at in places]
    closed = draw(st.sampled_from([{}, {"head": "cut off"}, {"second": "skin"}, {"left": "touching"}]))
    return cut_of(*rows, edges=draw(st.sampled_from(["rounded", "square"])), faces=closed)


@pytest.mark.parametrize("count", handful([1, 3], [1]))
def test_of_any_cut_nothing_is_lost_and_nothing_overshoots(count):
    drawn = settings(
        max_examples=count, derandomize=True, deadline=None, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
    )  # fmt: skip
    drawn(given(piece=cuts())(nothing_is_lost_and_nothing_overshoots))()


def nothing_is_lost_and_nothing_overshoots(piece):
    history = simulate(piece, CHAIN)
    for row in history.budget:
        assert abs(row["residual"]) < 1e-10
    run = history.runs[0]
    top = float(run.start("salt")[0, -1])
    meat = run.meats[0]
    times = np.linspace(1 / 12, 12.0, 40)[None] * DAY
    states = run.states("salt", times)[0, :, :-1]
    bath = run.bath_w("salt", times)[0]
    values = states @ meat.body.values.T.astype(float)
    low, high = -values.min(axis=1) / top, (values.max(axis=1) - bath) / top
    assert low.max() < 0.04 and high.max() < 0.04  # raw, in the first hours, before the front and at corners
    late = times[0] > 2 * DAY
    assert low[late].max() < 3e-3 and high[late].max() < 1e-2, (low, high)  # above the bath at the skin of what lies
    # What is read stays between the meat's own salt and the bath, and what is cut is not taken from the amount.
    own = history.core("salt", 0.0, basis="water phase")
    seen = [history.section("salt", float(each), basis="water phase").values for each in times[0, [0, 3, -1]]]
    assert min(np.min(each) for each in (*seen, history.core("salt", times[0], basis="water phase"))) > own * (1 - 1e-6)
    inside = top * meat.partition[0]
    assert max(np.max(each) for each in seen) <= inside / (1 + inside) * (1 + 1e-9)
    amounts = run.amount("salt", times, 0)[0] + run.bath_amount("salt", times)[0]
    np.testing.assert_allclose(amounts, amounts[0], rtol=1e-10)


def test_the_slowest_spot_is_found_and_moves():
    """A wedge of 3 to 8 cm: it is neither the middle nor the thickest place."""
    wedge = cut_of((0.0, 0.03, 0.17), (0.3, 0.08, 0.17), edges="square")
    history = simulate(wedge, CURE)
    section = history.section("salt", 12 * DAY)
    along, depth = history.slowest_place("salt", 12 * DAY)
    least = np.unravel_index(np.argmin(section.values), section.values.shape)
    assert section.along[least] == pytest.approx(along, abs=0.02)
    assert 0.2 < along < 0.29 and 0.02 < depth < 0.06
    core = history.core("salt", 12 * DAY)
    assert core == pytest.approx(history.probe("salt", 12 * DAY, along=along, depth=depth), rel=0.02)
    assert core <= section.values.min() * (1 + 1e-6)
    assert history.least("salt", 12 * DAY) == pytest.approx(
        core, rel=1e-9
    )  # not the least of the profile through the deepest place
    early, late = (history.slowest_place("salt", day * DAY)[0] for day in (3.0, 12.0))
    assert late < early or early == pytest.approx(late, abs=0.02)


def test_under_a_cap_no_place_of_the_lean_holds_less_than_the_slowest_spot():
    """While the cure comes in, and more at last in a long soak: against every node of the lean. The place that lags most is not the one with
    least at first, and what was read there was once seven times too much nitrite.
    """
    cut = cut_of((0.0, 0.04, 0.12), (0.12, 0.07, 0.14), fat_cap=0.005)
    soak = Soak(waters=[Water(amount="20 kg", lasts="20 d", temperature="3 degC")])
    history = simulate(cut, (CURE.but(lasts="14 d"), soak), cells=COARSE)
    for number, days in enumerate((np.arange(1.0, 14.1), np.arange(12.0, 20.1))):
        run, times = history.runs[number], days[None] * DAY
        meat = run.meats[0]
        tissues = meat.body.tissue_of_nodes
        for name in ("salt", "free nitrite")[: 2 - number]:
            every = run.places(name, "water phase", times, 0, meat.body.values, tissues)[0]
            core = run.read(name, "core", "water phase", times, 0)[0]
            lean = every[:, meat.lean[tissues]]
            farthest = lean.min(axis=1) if number == 0 else -lean.max(axis=1)
            beyond = (farthest - (core if number == 0 else -core)) / every.max()
            assert beyond.min() > -1e-6 and beyond.max() < 0.015, (name, number, beyond)  # between nodes: a parabola


def test_draws_are_near_the_usual_case():
    piece = cut_of((0.0, 0.03, 0.10), (0.1, 0.055, 0.12), (0.18, 0.06, 0.11))
    middle = default_numbers()["obstruction.lean"].value
    drawn = simulate(piece, CHAIN, draws={"obstruction.lean": np.array([middle, 0.5])})
    usual = simulate(piece, CHAIN)
    assert drawn.state.meats[0].body.count < usual.state.meats[0].body.count
    for place, off in (("core", 4e-3), ("average", 4e-4)):
        gap = np.abs(drawn.at(place, "salt", TIMES[1:])[0] - usual.at(place, "salt", TIMES[1:])) * 3150 / 150
        assert gap.max() < off, (place, gap)


@pytest.mark.parametrize(
    "place", [{"depth": "9 cm", "along": "5 cm"}, {"depth": "1 cm", "along": "40 cm"}, {"depth": "1 cm"}]
)
def test_a_probe_outside_is_told_where_the_piece_is(place):
    history = simulate(cut_of((0.0, 0.03, 0.10), (0.18, 0.06, 0.11)), CURE, cells=24)
    with pytest.raises(ValueError, match="give 0 to"):
        history.probe("salt", DAY, **place)


@pytest.mark.parametrize(
    ("running", "slab_days", "block_days", "core_sooner"), [(True, 58.8, 35.9, 0.14), (False, 35.8, 21.7, -0.02)]
)
def test_the_edges_of_a_block_let_it_cure_sooner(running, slab_days, block_days, core_sooner):
    """8 x 16 x 25 cm at 3 degC, in an endless bath and in 1 kg of water per kg, free on all sides: days to 90 % of the end on average, and
    how much sooner the core gets there, against finite volumes that have no code in common with this, and no water that moves.
    """
    block = Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.4 kg")
    slab = Piece(thickness="8 cm", weight="3.4 kg")
    bath = Bath(water="3.4 kg", salt="150 g")
    stage = Brine(bath=bath, temperature="3 degC", lasts="90 d", lying=False, running=running)
    one, other = (simulate(piece, stage, numbers=default_numbers().with_values(STILL)) for piece in (slab, block))
    days = [each.first_time("average salt >= 90 % of equilibrium") / DAY for each in (one, other)]
    assert days == pytest.approx([slab_days, block_days], rel=0.01)
    cores = [each.first_time("core salt >= 90 % of equilibrium") for each in (one, other)]
    assert 1 - cores[1] / cores[0] == pytest.approx(core_sooner, abs=0.01)


def test_beside_a_closed_edge_the_slowest_spot_lies_at_it():
    """Half of a block, closed where it was cut in two, has its core where the whole one has: at the cut."""
    whole = Piece(shape="block", thickness="6 cm", width="14 cm", length="20 cm", weight="1.8 kg")
    half = Piece(
        shape="block", thickness="6 cm", width="7 cm", length="20 cm", weight="0.9 kg", faces={"left": "cut off"}
    )
    one = simulate(whole, CURE, cells=COARSE)
    other = simulate(half, CURE.but(bath=Bath(water="1.5 kg", salt="75 g")), cells=COARSE)
    for place in ("core", "average"):
        gap = one.at(place, "salt", TIMES[1:4]) - other.at(place, "salt", TIMES[1:4])
        assert np.abs(gap).max() < 2e-3 * 150 / 3150, (place, gap)
    assert np.all(other.section("salt", DAY).across == pytest.approx(-0.035, rel=1e-9))
    assert other.slowest_across("salt", DAY) == pytest.approx(-0.035, rel=1e-9)
    assert one.slowest_across("salt", DAY) == pytest.approx(0.0, abs=1e-9)
    assert slowest_words(other, 5 * DAY, "piece").endswith(" deep, 3.5 cm left of the middle.")
    assert slowest_words(one, 5 * DAY, "piece").endswith(" deep.")
