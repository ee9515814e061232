"""Draws in parts that fit the memory: the same answers whatever the parts, and one pass for many questions."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, Soak, Water
from curelab.outcome import REPORT_DRAWS
from curelab.recipe.criterion import Criterion
from curelab.spread import spread as made
from curelab.spread.spread import NEAR, Request, Spread, begun, waited_for
from curelab.spread.uncertain import uncertain_inputs

DAY = 86400.0
CURE = Brine(
    bath=Bath(water="6 kg", salt="260 g", nitrite="0.8 g"),
    temperature="3 degC",
    lasts="5 d",
    lying=True,
    turn_every="2 d",
)
STAGES = (
    CURE,
    Rest(temperature="4 degC", lasts="1 d"),
    Soak(waters=(Water(amount="6 kg", lasts="1 h", temperature="4 degC"),)),
    CURE,
)
PIECES = tuple(Piece(name=f"piece {n}", thickness=f"{3 + n} cm", weight="1 kg") for n in range(5))
WANTED = Criterion.parse("core salt >= 90 % of equilibrium")


def questions(many: Spread) -> list[Request]:
    last = len(many.case.pieces) - 1
    at_end = [
        many.asked_at_end(place, "salt", stage, n)
        for place in ("core", "surface")
        for stage in (0, 3)
        for n in (0, last)
    ]
    return [
        *at_end,
        waited_for(WANTED, 3, (0, last)),
        waited_for(WANTED, 0, "every"),
        begun(3),
    ]


@pytest.mark.parametrize("pieces", (PIECES[:2], PIECES))
def test_the_answers_are_the_same_whatever_the_parts(pieces):
    whole, parts = (made(pieces, STAGES, count=24, seed=2) for _ in range(2))
    parts.__dict__["part_size"] = 5
    for one, other in zip(whole.readings(questions(whole)), parts.readings(questions(parts)), strict=True):
        assert other == pytest.approx(one, rel=1e-10)


def test_large_draws_are_computed_in_small_parts():
    small, large = made(PIECES[:1], CURE, count=16), made(PIECES, STAGES * 10, count=16)
    assert small.part_size == 512 and 16 < large.part_size < 512
    assert made(PIECES, STAGES * 10, count=16, cells=60).part_size == large.part_size


def test_the_draws_of_a_report_are_solved_once_where_they_fit():
    """It asks many questions, and draws in parts are solved again for each."""
    block = Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.4 kg")
    few, many = (
        made(block, (CURE, *STAGES[1:3], CURE), count=n, inputs=uncertain_inputs()[:2], used=())
        for n in (REPORT_DRAWS, 500)
    )
    assert few.count <= few.part_size == many.part_size < many.count


def test_what_is_prepared_goes_in_small_parts_as_well():
    few, full = made(PIECES[:2], CURE, count=16), made(PIECES[:2], CURE, count=48)
    band, full.__dict__["part_size"] = few.at_end("core", "salt", 0), 12
    steps = 4 * (1 + len(few.known))  # parts, each solved and then read once for every question
    assert len(list(full.prepared(few, 512))) == steps == 4 * few.passes and band.count == 16
    assert full.at_end("core", "salt", 0).middle == pytest.approx(
        made(PIECES[:2], CURE, count=48).at_end("core", "salt", 0).middle, rel=1e-10
    )


def test_one_pass_answers_many_questions(monkeypatch):
    """With several parts nothing is kept of them, so what is asked together is computed once, and then known."""
    many, passes = made(PIECES, STAGES, count=24), []
    many.__dict__["part_size"] = 12
    solve = type(many.case).solve
    monkeypatch.setattr(
        type(many.case), "solve", lambda case, *given, **more: passes.append(1) or solve(case, *given, **more)
    )
    many.readings(questions(many))
    assert len(passes) == 2
    assert many.at_end("core", "salt", 3, "piece 4").middle.shape == (1,)
    times = many.times_to(WANTED, 3, [0, 4])
    assert len(passes) == 2
    alone = made(PIECES, STAGES, count=24).time_to(WANTED, 3, piece="piece 4")
    assert times[1].values == pytest.approx(alone.values, rel=1e-10)


def test_how_long_a_later_stage_takes_is_that_of_the_same_stage_written_longer():
    many = made(PIECES, STAGES, count=16)
    longer = made(PIECES, (*STAGES[:3], CURE.but(lasts=120 * DAY)), count=16)
    expected = longer.readings([Request.of("first_time", near=NEAR, criterion=WANTED, stage=3, where=4)])[0]
    found = many.time_to(WANTED, 3, piece=4).values
    assert found == pytest.approx(expected - longer.readings([Request.of("begin", stage=3)])[0], rel=1e-9)
    assert np.isfinite(found).all() and np.ptp(found) > DAY


def test_what_is_asked_of_a_first_stage_computes_none_after_it(monkeypatch):
    """And what was computed of it serves when all stages are asked for."""
    many, whole = (made(PIECES[:1], STAGES, count=16) for _ in range(2))
    kind, solved = type(many.case), []
    solve = kind.solve
    monkeypatch.setattr(
        kind, "solve", lambda case, *given, **more: solved.append(len(case.stages)) or solve(case, *given, **more)
    )
    first = many.time_to(WANTED, 0).values
    many.time_to("average salt >= 1 %", 0)
    assert solved == [1]  # and not again for another question of it
    end = whole.at_end("core", "salt", 3, 0).middle
    assert solved == [1, 4]
    assert many.at_end("core", "salt", 3, 0).middle == pytest.approx(end, rel=1e-12)
    assert whole.time_to(WANTED, 0).values == pytest.approx(first, rel=1e-12)
    assert solved == [1, 4]  # what is there already serves


def test_a_part_of_a_cut_is_smaller():
    """It is read at many places: 500 draws of a cut took 400 MB in parts of 153, and take 277 MB in parts of 69 (measured by hand)."""
    block = Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.4 kg")
    nine = (CURE, *STAGES[1:3], *STAGES[1:3], *STAGES[1:3], CURE, Rest(temperature="4 degC", lasts="1 d"))
    slab = Piece(thickness="8 cm", weight="3.4 kg")
    sizes = [made(piece, nine, count=500, inputs=uncertain_inputs()[:2], used=()).part_size for piece in (block, slab)]
    assert sizes[0] <= 80 and sizes[1] > 2 * sizes[0]


def test_of_the_nodes_of_a_section_the_bands_are_kept_and_not_the_draws(monkeypatch):
    """What was asked of few draws is prepared in many, so that a page at rest draws at once; then 512 draws of each node are let go."""
    monkeypatch.setattr(sys.modules[Spread.__module__], "SMALL", 10_000)
    block = Piece(name="block", shape="block", thickness="4 cm", width="8 cm", length="10 cm", weight="340 g")
    few, times, asked = made(block, CURE, count=8, cells=20), (DAY, 4 * DAY), ("salt", "free nitrite")
    quick = few.sections(asked, times)
    assert few.known  # small, so that it is known what to prepare
    many = few.widened(64)
    for _ in many.prepared(few, 16):
        pass
    monkeypatch.setattr(Spread, "_computed", lambda *given: pytest.fail("computed again"))
    bands = many.sections(asked, times)
    assert not any(request.given == each.given for request in many.known for each in few.known)
    direct = many.case.solve(many.draws.columns)
    for name, unit in (("salt", 1e-9), ("free nitrite", 1e-12)):
        values = direct.plane(name, times)
        assert values.nbytes > 10_000 and bands[name].low.shape == quick[name].low.shape == values.shape[1:]
        np.testing.assert_allclose(bands[name].low, np.quantile(values, 0.1, axis=0), rtol=1e-4, atol=unit)
    assert many.sections(asked, times)["salt"] is bands["salt"]
