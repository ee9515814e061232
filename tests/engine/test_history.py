"""Readings of a history: the same answer by whatever door, borders, bases, and words."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import curelab
from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.engine.run import FREE, QUANTITIES, TRACERS
from curelab.matter.tissue import TISSUES, partition
from curelab.spread import spread

DAY = 86400.0
SHAPES = ("slab", "cylinder", "sphere")
OWN = 1.5 * 60e-5 * 58.443 / 22.990  # kg of salt in 1.5 kg of raw lean: 60 mg of sodium in 100 g (USDA, eye of round)


def story(**changes):
    meat = Piece(**({"name": "flat", "thickness": "6 cm", "weight": "1.5 kg"} | changes))
    bath = Bath(water="2 kg", salt="100 g", sugar="40 g", nitrate="0.3 g", nitrite="0.4 g")
    water = Water(amount="3 kg", lasts="8 h", temperature="8 degC")
    return simulate(
        meat,
        [
            Brine(bath=bath, temperature="3 degC", lasts="6 d", lying=False),
            Rest(temperature=[["0 h", "3 degC"], ["1 d", "5 degC"]], lasts="2 d"),
            Soak(waters=[water, water]),
        ],
        cells=30,
    )


@pytest.fixture(scope="module")
def history():
    return story()


# -- time --------------------------------------------------------------------------------------------------------------------------


def test_length_and_spans(history):
    assert history.length == pytest.approx((8 + 16 / 24) * DAY, rel=1e-12)
    assert [history.span(n) for n in range(3)] == [(0.0, 6 * DAY), (6 * DAY, 8 * DAY), (8 * DAY, history.length)]
    with pytest.raises(ValueError, match="stage 3 was not run; there are 3"):
        history.span(3)


def test_grid_has_every_border_and_grows(history):
    assert np.all(np.diff(history.times) > 0) and history.times[0] == 0
    for ran in history.ran:
        assert np.abs(history.times - ran.end).min() == 0


def test_one_time_or_many_is_the_same(history):
    times = np.linspace(0, history.length, 23)
    many = history.core("salt", times)
    assert many.shape == (23,)
    one = [history.core("salt", time) for time in times]
    assert all(isinstance(value, float) for value in one)
    np.testing.assert_allclose(many, one, rtol=1e-11, atol=1e-16)
    np.testing.assert_allclose(history.core("salt", times[::-1])[::-1], many, rtol=1e-14)
    assert history.core("salt") == pytest.approx(many[-1], rel=1e-12)


def test_a_border_belongs_to_the_earlier_stage(history):
    """The bath of the brine is still there at the instant it ends; a second later it is not."""
    border = history.span(0)[1]
    assert history.bath("salt", border) > 0.02
    assert history.bath("salt", border + 1.0) == 0.0
    np.testing.assert_allclose(history.amount("salt", border), history.amount("salt", border + 1e-3), rtol=1e-6)


@pytest.mark.parametrize("bad", [-1.0, 1e9, float("nan"), [0.0, float("inf")]])
def test_times_outside(history, bad):
    with pytest.raises(ValueError, match=r"times must lie between 0 and 748800 s, the end of this history"):
        history.average("salt", bad)


@pytest.mark.parametrize("bad", [-1.0, float("nan"), [0.0, -1e-3]])
def test_times_before_the_beginning_of_draws(history, bad):
    """Draws end at different times, and keep their last state; none of them began earlier."""
    asked = history.as_drawn()
    with pytest.raises(ValueError, match="times must lie from 0 s on"):
        asked.average("salt", bad)
    np.testing.assert_allclose(asked.average("salt", [history.length, 1e9])[0], history.average("salt"), rtol=1e-14)


def test_temperature(history):
    at = np.array([1.0, 6 * DAY + 0.5 * DAY, 6 * DAY + 1.5 * DAY, history.length])
    np.testing.assert_allclose(history.temperature(at), [276.15, 277.15, 278.15, 281.15], rtol=1e-9)


# -- what a reading means -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", QUANTITIES)
def test_profile_average_and_amount_agree(name, shape):
    """The mean of the profile over the piece, weighed by volume, is the average; times green weight it is the amount."""
    history = story(shape=shape)
    profile = history.profile(name, 6 * DAY, basis="green weight")
    r = np.abs(profile.depth - profile.depth[-1] / 2)
    weight = r ** (SHAPES.index(shape))
    mean = np.trapezoid(profile.values * weight, profile.depth) / np.trapezoid(weight, profile.depth)
    average = history.average(name, 6 * DAY, basis="green weight")
    assert mean == pytest.approx(average, rel=5e-3)
    assert average * 1.5 == pytest.approx(history.amount(name, 6 * DAY), rel=1e-12)


def test_profile_is_the_whole_thickness_and_ends_at_the_faces(history):
    profile = history.profile("salt", [DAY, 6 * DAY])
    assert profile.depth[0] == 0.0 and profile.depth[-1] == pytest.approx(0.06, rel=1e-12)
    assert np.all(np.diff(profile.depth) > 0) and profile.values.shape == (2, len(profile.depth))
    assert profile.quantity == "salt" and profile.basis == "meat"
    np.testing.assert_allclose(profile.values[:, 0], history.surface("salt", [DAY, 6 * DAY]), rtol=1e-12)
    np.testing.assert_allclose(profile.values, profile.values[:, ::-1], rtol=1e-12, atol=1e-15 * profile.values.max())
    assert history.core("salt", 6 * DAY) == pytest.approx(profile.values[1].min(), rel=1e-2)


def test_bases_by_arithmetic(history):
    """From the amount in kg to each basis by hand (average, at the end of the brine)."""
    end, tissue = 6 * DAY, TISSUES["lean beef"]
    held = history.amount("salt", end)
    gained = history.state.runs[0].water_change(0, np.array([[end]]))[0, 0]
    water = 1.5 * (tissue.water + gained)
    assert history.average("salt", end, basis="green weight") == pytest.approx(held / 1.5, rel=1e-12)
    assert history.average("salt", end, basis="water phase") == pytest.approx(held / (held + water), rel=1e-9)
    assert history.average("salt", end, basis="meat") == pytest.approx(held / history.weight(end), rel=1e-12)
    level = (0.1 + OWN) / (
        2.0 + partition() * 1.5 * tissue.water
    )  # water that moves is there before and after: kg per kg of water in the bath, when all is even
    assert history.average("salt", end, basis="equilibrium") == pytest.approx(
        held / (partition() * water) / level, rel=1e-9
    )
    assert history.average("salt", end) == history.average("salt", end, basis="meat")
    assert history.average("nitrite", end) == history.average("nitrite", end, basis="green weight")
    with pytest.raises(ValueError, match='"dry matter" is not one of equilibrium, water phase, meat, green weight'):
        history.average("salt", basis="dry matter")


def test_weight_is_green_weight_and_what_moved(history):
    assert history.weight(0.0) == pytest.approx(1.5, rel=1e-12)
    entered = sum(history.amount(name, 6 * DAY) for name in TRACERS)
    change = history.state.runs[0].water_change(0, np.array([[6 * DAY]]))[0, 0]
    assert history.weight(6 * DAY) == pytest.approx(
        1.5 * (1 + change) + entered - history.amount("salt", 0.0), rel=1e-12
    )
    assert 0 < change < 0.12  # weak brine swells meat, by some percent
    rest = history.weight(np.linspace(6 * DAY + 2, 8 * DAY, 5))
    np.testing.assert_allclose(rest, rest[0], rtol=1e-10)


def test_the_first_bite(history):
    """Of the outermost 5 mm: between face and core; of the whole half it is the average; deeper is blander after a brine."""
    end = 6 * DAY
    bite = history.first_bite("salt", end)
    assert history.core("salt", end) < bite < history.surface("salt", end)
    assert history.first_bite("salt", end, depth=0.02) < bite
    assert history.first_bite("salt", end, depth=0.03) == pytest.approx(history.average("salt", end), rel=1e-2)
    assert history.first_bite("salt", [DAY, end]).shape == (2,)


def test_bath_gives_what_the_meat_takes(history):
    times = np.linspace(0, 6 * DAY, 7)
    strength = history.bath("salt", times)
    in_bath = history.state.runs[0].bath_water(times[None])[0] * strength / (1 - strength)
    own = history.amount("salt", 0.0)
    assert own == pytest.approx(OWN, rel=1e-6)
    np.testing.assert_allclose(in_bath + history.amount("salt", times), 0.1 + own, rtol=1e-11)


def test_unknown_names(history):
    with pytest.raises(ValueError, match='"pepper" is not one of free nitrite, salt, sugar, nitrate, nitrite'):
        history.core("pepper")
    with pytest.raises(ValueError, match='there is no piece "point"; there is flat'):
        history.core("salt", piece="point")
    with pytest.raises(IndexError):
        history.core("salt", piece=1)


READINGS = {
    "at": lambda h, q, **more: h.at("core", q, **more),
    "surface": lambda h, q, **more: h.surface(q, **more),
    "at_end": lambda h, q, **more: h.at_end("average", q, 0, **more),
    "first_bite": lambda h, q: h.first_bite(q),
    "profile": lambda h, q, **more: h.profile(q, **more).values,
    "picture": lambda h, q, **more: h.picture(q, **more),
    "lean_profile": lambda h, q, **more: h.lean_profile(q, None, **more),
    "amount": lambda h, q: h.amount(q),
    "bath": lambda h, q: h.bath(q),
    "resting": lambda h, q: h.resting(q, 0),
}  # fmt: skip


@pytest.mark.parametrize("name", READINGS)
@pytest.mark.parametrize("drawn", [False, True])
def test_no_reading_takes_a_word_it_does_not_know(history, name, drawn):
    """A word that nobody knows used to be read as zero."""
    asked = history.as_drawn() if drawn else history
    assert np.all(np.asarray(READINGS[name](asked, "salt")) > 0)
    for word in ("NaCl", "Salt", "free_nitrite", ""):
        with pytest.raises(ValueError, match=f'"{word}" is not one of free nitrite, salt'):
            READINGS[name](asked, word)
    if name not in ("first_bite", "amount", "bath", "resting"):
        with pytest.raises(ValueError, match='"wet" is not one of equilibrium, water phase'):
            READINGS[name](asked, "salt", basis="wet")


@pytest.mark.parametrize("drawn", [False, True])
def test_the_middle_is_the_core_and_no_other_place_is_taken(history, drawn):
    """The middle used to be read as the surface."""
    asked = history.as_drawn() if drawn else history
    end = 6 * DAY
    assert np.array_equal(asked.at("middle", "salt", end), asked.core("salt", end))
    assert np.array_equal(asked.at_end("middle", "salt", 0), asked.at_end("core", "salt", 0))
    assert np.all(asked.at("middle", "salt", end) < 0.5 * asked.surface("salt", end))
    for word in ("centre", "Core", "crust", ""):
        with pytest.raises(ValueError, match=f'"{word}" is not one of core, average, surface'):
            asked.at(word, "salt")
    with pytest.raises(ValueError, match="first bite is told as a fraction of the meat"):
        asked.at("first bite", "salt", basis="water phase")
    assert np.array_equal(asked.at("first bite", "salt", basis="meat"), asked.first_bite("salt"))


# -- what it rests on ----------------------------------------------------------------------------------------------------------------


def test_budget_rows(history):
    rows = [row for row in history.budget if row["quantity"] == "salt"]
    assert [row["run"] for row in rows] == ["brine", "rest", "soak, water 1 of 2", "soak, water 2 of 2"]
    assert rows[0]["added"] == pytest.approx(0.1, rel=1e-12)
    assert rows[-1]["in meat"] == pytest.approx(history.amount("salt"), rel=1e-12)
    free = [row for row in history.budget if row["quantity"] == FREE]
    assert all(row["lost"] > 0 for row in free)


def test_a_broken_budget_is_an_error(history):
    """Spoil the water of a bath: the balance no longer closes, and that is not shown as a result."""
    spoilt = story()
    run = spoilt.state.runs[0]
    spoilt.state.runs[0] = dataclasses.replace(run, water=run.water * 1.001)
    with pytest.raises(ArithmeticError, match="the salt budget of brine misses by"):
        _ = spoilt.budget


def test_assumptions_name_what_applies(history):
    said = " ".join(history.assumptions)
    assert "edges of flat are left out" in said and "cylinder" not in said and "purge" not in said
    assert "Nordin 1969" in said and "extrapolated" not in said
    other = simulate(
        Piece(thickness="6 cm", weight="1 kg", shape="cylinder"),
        SealedCure(salt="30 g", nitrite="0.1 g", temperature="-1 degC", lasts="3 d"),
        cells=10,
    )
    said = " ".join(other.assumptions)
    assert "ends of a cylinder" in said and "purge" in said and "extrapolated to -1 degC" in said
    assert len(set(other.assumptions)) == len(other.assumptions)


def test_sources_are_those_that_were_used(history):
    keys = {number.key for number in history.sources}
    assert {"obstruction.lean", "partition.water_phase", "ratio.nitrite", "film.still"} <= keys
    assert "purge.per_salt" not in keys and "obstruction.cooked" not in keys
    assert history.version == curelab.__version__


# -- words and tables -----------------------------------------------------------------------------------------------------------------


def test_endings(history):
    assert [history.ending(number) for number in range(3)] == [
        "after 6 d, as planned",
        "after 48 h, as planned",
        "after 16 h, as planned",
    ]


def test_summary_and_looks(history):
    rows = history.summary()
    assert [row["stage"] for row in rows] == ["brine", "rest", "soak"] and {row["piece"] for row in rows} == {"flat"}
    value = 100 * history.average("salt", 6 * DAY)
    assert float(rows[0]["salt, average"].removesuffix(" %")) == pytest.approx(value, rel=5e-3)
    assert float(rows[0]["nitrite in, average"].removesuffix(" mg/kg")) == pytest.approx(
        1e6 * history.average("nitrite", 6 * DAY), rel=2e-2
    )
    text = repr(history)
    assert text.count("\n") == 3 and "8.67 d" in text and rows[2]["salt, core"] in text


def test_a_name_is_shown_as_text():
    shown = story(name="<b>flat</b>")._repr_html_()
    assert "&lt;b&gt;flat&lt;/b&gt;" in shown and "<b>" not in shown
    assert shown.count("<tr>") == 4 and shown.count('scope="col"') == 9


def test_frames(history):
    times = [0.0, DAY, history.length]
    frame = history.to_frame(times)
    assert list(frame.columns) == ["time_s", "piece", "quantity", "place", "meat", "green_weight", "water_phase"]
    assert len(frame) == 3 * 5 * 3 and not frame.isna().any().any()
    chosen = frame[(frame.quantity == "nitrite") & (frame.place == "surface") & (frame.time_s == DAY)]
    assert chosen["green_weight"].item() == pytest.approx(history.surface("nitrite", DAY), rel=1e-12)
    assert len(history.to_frame()) == len(history.times) * 15
    profiles = history.profiles_frame(times)
    part = profiles[(profiles.quantity == "salt") & (profiles.time_s == DAY)]
    np.testing.assert_allclose(part.fraction, history.profile("salt", DAY).values, rtol=1e-9, atol=1e-16)
    np.testing.assert_allclose(part.depth_m, history.profile("salt", DAY).depth, rtol=1e-12)
    assert set(part.basis) == {"meat"}


def test_one_draw_of_a_batch_that_nothing_cures():
    point = Piece(thickness="4 cm", weight="1 kg")
    line = [
        Rest(temperature="3 degC", lasts="2 d"),
        Soak(waters=[Water(amount="3 kg", lasts="2 h", temperature="4 degC")]),
    ]
    draws = spread(point, line, count=8)
    one = draws.case.solve(draws.draws.columns).of(3)
    assert one.time_in([]) == 0.0 and one.juice_kept("salt") == 0.0
    assert one.time_in([0, 1]) == pytest.approx(2 * 86400 + 2 * 3600)
    assert np.isinf(one.first_time("core salt >= 1 %", 2))
