"""The section of the pieces: nodes to scale, and the values of the library at them."""

import numpy as np
import pytest

from curelab import Bath, Brine, Chill, Piece, Rest, Simmer, simulate
from curelab.engine.drawn import drawn_case
from curelab.engine.run import FREE
from curelab.show.answer import in_usual_meat
from curelab.show.section import LEAST, LONGER, OVER, READ, section
from curelab.spread import Spread, spread
from curelab.units import DAY

BATH = Bath(water="3 kg", salt="120 g", nitrite="0.6 g")
CURE = Brine(bath=BATH, temperature="3 degC", lasts="12 d", lying=False)


def drawn(piece, stages=(CURE,), **more):
    many = spread(piece, stages, count=8)
    return many, section([(many, piece.name, "shown")], **more)


def test_a_slab_is_as_thick_as_it_is_and_shows_what_the_library_reads():
    piece = Piece(name="loin", thickness="6 cm", weight="2 kg")
    many, made = drawn(piece)
    (own,) = made.pieces
    odd = drawn(piece.but(thickness="3.94 cm"))[1].pieces[0].thickness
    assert (
        in_usual_meat(many.ready()[0], piece.but(thickness="3.94 cm")).startswith(f"Loin, {odd}: ") and odd == "3.9 cm"
    )
    assert own.y.max() - own.y.min() == pytest.approx(6.0) and np.ptp(own.x) > 6.0
    read = many.profile("salt", (made.days[-1] * DAY,), "loin")
    assert own.values["salt"][-1] == pytest.approx(100 * read.middle[0], rel=1e-5)
    assert own.low["salt"][-1] == pytest.approx(100 * read.low[0], rel=1e-5)
    read = many.profile("salt", (made.days[48] * DAY,), "loin")  # of 97 times every second one is read at every place
    assert own.high["salt"][24] == pytest.approx(100 * read.high[0], rel=1e-5)
    assert len(made.days) == 97 and len(own.high["salt"]) == READ == 49
    row = 3
    assert own.value[row].tolist() == [row] * own.x.shape[1]
    assert own.y[row, 0] == pytest.approx(6 * read.depth[row])
    core = many.at("core", FREE, made.days * DAY, "loin").middle
    assert own.courses[FREE]["slowest spot"][1] == pytest.approx(1e6 * core, rel=1e-5)


def test_a_round_piece_is_cut_through():
    piece = Piece(name="roll", shape="cylinder", thickness="7 cm", weight="1.5 kg")
    many, made = drawn(piece)
    (own,) = made.pieces
    middle = 3.5
    radius = np.hypot(own.x - middle, own.y - middle)
    assert radius.max() == pytest.approx(3.5) and radius.min() == pytest.approx(0.0, abs=1e-12)
    read = many.profile("salt", (made.days[-1] * DAY,), "roll")
    outermost = own.value[-1, 0]
    assert own.values["salt"][-1, outermost] == pytest.approx(100 * read.middle[0, -1], rel=1e-5)


def test_a_cut_is_drawn_as_it_is_with_a_value_at_every_node():
    ends = [
        {"at": "0 cm", "thickness": "3 cm", "width": "6 cm"},
        {"at": "8 cm", "thickness": "6 cm", "width": "6 cm"},
    ]
    piece = Piece(name="wedge", shape="cut", edges="square", stations=ends, weight="225 g", fat_cap="4 mm")
    many = Spread.single(simulate(piece, CURE))
    made = section([(many, piece.name, "shown")])
    (own,) = made.pieces
    assert np.ptp(own.x) == pytest.approx(8.0) and np.ptp(own.y) == pytest.approx(6.0) and not own.ends
    assert own.y[-1] == pytest.approx(np.full(own.x.shape[1], 6.0))  # it lies on its second face
    np.testing.assert_allclose(own.y[0], 3.0 - 3.0 * own.x[0] / 8.0, atol=1e-8)
    assert own.fat[0] and not own.fat[-1] and own.y[own.fat, 0].max() < 3.4
    read = many.usual.section("salt", made.days[60] * DAY, "wedge")
    row, column = 5, 7
    assert own.values["salt"][30][own.value[row, column]] == pytest.approx(100 * read.values[column, row], rel=1e-9)
    assert own.x[row, column] == pytest.approx(100 * read.along[column, row])


def test_each_node_of_a_cut_has_the_band_of_its_draws():
    """Against every draw simulated by itself, its thickness and all, with the terms of the usual case: 8 of 10 lie within."""
    ends = [
        {"at": "0 cm", "thickness": "3 cm", "width": "10 cm"},
        {"at": "16 cm", "thickness": "6 cm", "width": "10 cm"},
    ]
    piece = Piece(name="wedge", shape="cut", edges="square", stations=ends, weight="750 g")
    many, made = drawn(piece, (CURE, Rest(temperature="3 degC", lasts="4 d")))
    (own,) = made.pieces
    assert own.low["salt"].shape == own.high["salt"].shape == own.values["salt"].shape
    columns = many.draws.columns
    for index in (12, 14, 40):  # the first is read, the others lie between; in the cure and in the rest
        time = made.days[2 * index] * DAY
        found = []
        for number in range(many.count):
            pieces, stages, numbers = drawn_case(
                many.case.pieces,
                many.case.stages,
                many.case.numbers,
                {key: each[number] for key, each in columns.items()},
            )
            found.append(simulate(pieces, stages, numbers=numbers).section("salt", time, "wedge").values.ravel())
        low, high = 100 * np.quantile(found, (0.1, 0.9), axis=0)
        strength = own.values["salt"].max()
        for ours, theirs in ((own.low, low), (own.high, high)):
            gap = ours["salt"][index] - theirs
            assert np.abs(gap).max() < 0.03 * strength and np.sqrt(np.mean(gap**2)) < 0.01 * strength, index
        assert np.mean(high - low) > 0.1 * strength  # so that a band of nothing would be seen
    coarse = spread(piece, CURE, count=8, cells=20)  # other nodes than the usual case has, so no bands at those
    assert not section([(coarse, "wedge", "shown")]).pieces[0].low


def test_a_short_cylinder_is_drawn_with_its_ends():
    piece = Piece(name="roll", shape="cylinder", thickness="6 cm", length="10 cm", weight="290 g")
    _, made = drawn(piece)
    (own,) = made.pieces
    assert np.ptp(own.x) == pytest.approx(10.0) and (own.y.min(), own.y.max()) == pytest.approx((0.0, 6.0))
    assert np.all(np.diff(own.y[:, 0]) > 0) and own.y[len(own.y) // 2, 0] == pytest.approx(3.0)
    assert np.array_equal(own.value, own.value[::-1])  # one half mirrors the other


def test_fat_is_where_it_is():
    piece = Piece(name="belly", tissue="lean pork", thickness="5 cm", fat_cap="10 mm", weight="2 kg")
    (own,) = drawn(piece)[1].pieces
    assert own.fat[0] and not own.fat[-1]
    assert own.y[own.fat, 0].max() <= 1.0 + 1e-9


def test_every_stage_has_its_times_and_one_that_goes_on_is_told_apart():
    piece = Piece(name="loin", thickness="4 cm", weight="1 kg")
    stages = (CURE, Rest(temperature="3 degC", lasts="2 h"))
    made = drawn(piece, stages)[1]
    assert [words for words, _, _ in made.stages] == ["brine", "rest"]
    assert made.stages[1][2] - made.stages[1][1] >= LEAST
    assert np.all(np.diff(made.days) > 0) and made.days[0] == 0.0 and made.days[-1] == pytest.approx(12 + 2 / 24)
    longer = drawn(piece, planned=5 * DAY)[1]
    (words, _, last), (more, first, end) = longer.stages
    assert (words, more, first) == ("brine", LONGER, last) and longer.days[last] == pytest.approx(5.0)
    assert end == len(longer.days) - 1


def test_the_line_is_what_counts_as_cured_or_what_the_cook_wants():
    piece = Piece(name="loin", thickness="4 cm", weight="1 kg")
    many, made = drawn(piece)
    assert made.pieces[0].level["salt"][0] == pytest.approx(90 * many.usual.resting("salt", 0, "loin"))
    assert made.quantities[0].reached == "cured to here" and made.spot
    asked = drawn(piece, wanted=(0.012, "down to what you want"))[1]
    assert asked.pieces[0].level["salt"][0] == pytest.approx(1.2)
    assert asked.quantities[0].reached == "down to what you want" and not asked.spot


def test_a_seam_is_tinted_where_it_is():
    """At its depth, from the station that has it on; the fat cap stays a row of its own."""
    ends = {"thickness": "6 cm", "width": "12 cm"}
    seam = ends | {"seam": "3 cm", "seam_thickness": "6 mm"}
    stations = [{"at": "0 cm"} | ends, {"at": "10 cm"} | ends, {"at": "20 cm"} | seam, {"at": "30 cm"} | seam]
    piece = Piece(shape="cut", stations=stations, weight="2.1 kg", fat_cap="5 mm")
    (own,) = section([(Spread.single(simulate(piece, CURE, cells=12)), "piece", "piece")], ("salt",)).pieces
    assert own.fat[0] and not own.seam[own.fat].any() and own.seam.any()
    assert own.x[own.seam].min() > 10 - 1e-6 and own.x[own.seam].max() == pytest.approx(30)
    at_end = own.seam & (own.x > 20)
    assert own.y[at_end].min() >= 3.0 - 1e-6 and own.y[at_end].max() <= 3.6 + 1e-6
    plain = Piece(thickness="4 cm", weight="1 kg")
    (slab,) = section([(Spread.single(simulate(plain, CURE, cells=12)), "piece", "piece")], ("salt",)).pieces
    assert slab.seam.shape == slab.x.shape and not slab.seam.any()


POT = Simmer(water="6 kg", temperature="90 degC", until="core temperature >= 70 degC", at_most="12 h")
ICE = Chill(medium="ice water", temperature="1 degC", until="core temperature <= 4 degC", at_most="24 h")


@pytest.mark.parametrize(("system", "degrees"), [("metric", lambda k: k - 273.15), ("us", lambda k: 1.8 * k - 459.67)])
def test_temperature_is_shown_as_the_library_reads_it_from_the_first_heat_on(system, degrees):
    piece = Piece(name="loin", thickness="5 cm", weight="1 kg")
    history = spread(piece, (CURE, POT, ICE), count=8).usual
    many = Spread.single(history)
    since = history.begin(1)
    made = section([(many, "loin", "loin")], ("temperature", "salt"), system, since=since)
    (own,) = made.pieces
    assert made.days[0] == 0.0 and made.days[-1] == pytest.approx((history.length - since) / DAY)
    read = history.profile("temperature", history.length, "loin")
    assert own.values["temperature"][-1][0] == pytest.approx(degrees(read.values[0]), rel=1e-4)  # single precision of K
    when = since + made.days * DAY
    for place, line in (("surface", "outside"), ("core", "middle")):
        (course,) = own.courses["temperature"][line]
        assert course == pytest.approx(degrees(history.temperature(when, place, "loin")), rel=1e-6)
    # The line is where the thermometer must come to, in each stage its own; K of both are typed above.
    border = made.stages[0][2]
    assert [words for words, _, _ in made.stages] == ["simmer", "chill"]
    assert own.level["temperature"][border] == pytest.approx(degrees(343.15)) and own.level["temperature"][
        -1
    ] == pytest.approx(degrees(277.15))
    heat = made.quantities[0]
    assert heat.least <= own.values["temperature"].min() + 2 and heat.most >= own.values["temperature"].max()


def test_draws_that_end_a_cook_at_different_times_make_no_band_of_temperature():
    piece = Piece(name="loin", thickness="5 cm", weight="1 kg")
    made = drawn(piece, (CURE, POT), quantities=("temperature", "salt"))[1]
    assert "salt" in made.pieces[0].low and "temperature" not in made.pieces[0].low
    assert len(made.pieces[0].courses["temperature"]["middle"]) == 1


def test_a_cut_has_a_temperature_at_every_node():
    stations = [
        {"at": "0 cm", "thickness": "3 cm", "width": "10 cm"},
        {"at": "16 cm", "thickness": "6 cm", "width": "10 cm"},
    ]
    piece = Piece(name="wedge", shape="cut", edges="square", stations=stations, weight="750 g")
    history = simulate(piece, (POT.but(begins_at="4 degC"), ICE))
    times = np.array([0.2, 0.6]) * history.length
    field = history.section("temperature", times, "wedge")
    assert field.values.min(axis=(1, 2))[0] == pytest.approx(history.temperature(times[0], "core", "wedge"), abs=0.6)
    assert field.values[0].max() < 363.15 + 0.1
    whole = history.field("temperature", times[0], "wedge")
    assert whole.values.min() <= history.temperature(times[0], "average", "wedge") <= whole.values.max()
    assert "°C" in field.lines()[0]


def test_two_histories_stand_under_one_axis_each_with_its_own_stages():
    piece = Piece(name="loin", thickness="4 cm", weight="1 kg")
    long, short = (
        spread(piece, (CURE, Rest(temperature="3 degC", lasts="2 d")), count=8),
        spread(piece, (CURE.but(lasts="5 d"),), count=8),
    )
    made = section([(long, "loin", "one"), (short, "loin", "other")], named=("A", "B"))
    (first, own), (second, theirs) = made.lanes
    assert (first, second) == ("A", "B") and [piece.lane for piece in made.pieces] == [0, 1]
    assert [words for words, _, _ in own] == ["brine", "rest"] and [words for words, _, _ in theirs] == ["brine", OVER]
    assert made.days[theirs[0][2]] == pytest.approx(5.0) and made.days[own[0][2]] == pytest.approx(12.0)
    ended = made.pieces[1].courses["salt"]["average"][1]
    assert (
        ended[-1]
        == pytest.approx(ended[theirs[0][2]])
        == pytest.approx(100 * short.at("average", "salt", (5 * DAY,), "loin").middle[0])
    )


def test_the_core_is_called_slowest_spot_only_where_it_has_less_than_the_whole():
    """Not where fat counts in the whole, which is said, nor where a pot took salt from the outside."""
    lean = Piece(name="loin", thickness="4 cm", weight="1 kg")
    pot = Simmer(water="4 kg", temperature="80 degC", lasts="2 h")
    for piece, stages, wanted in (
        (lean, (CURE,), {"average", "slowest spot"}),
        (lean, (CURE, pot), {"average", "middle"}),
        (lean.but(fat_cap="1 cm"), (CURE.but(lasts="30 d"),), {"average with fat", "middle"}),
    ):
        _, made = drawn(piece, stages, quantities=("salt",))
        assert set(made.pieces[0].courses["salt"]) == wanted
