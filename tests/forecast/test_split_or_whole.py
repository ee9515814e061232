"""Splitting a piece: days against products of series, water by hand, and what is said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from curelab import Bath, Brine, InputError, Piece, Rest, simulate
from curelab.forecast import folded_or_whole, split_or_whole, time_to
from curelab.matter.solutes import water_diffusivity
from curelab.recipe.cutting import split
from curelab.sources import default_numbers
from curelab.spread import spread
from curelab.weighing.vessel import Vessel, fits, water_to_cover

DAY = 86400.0
BLOCK = Piece(name="loin", shape="block", thickness="6 cm", width="9 cm", length="12 cm", weight="680 g")
ENDLESS = Brine(bath=Bath(water="2 kg", salt="50 g"), temperature="3 degC", lasts="9 d", lying=False, running=True, stirred=True)  # fmt: skip
STRONG = Brine(bath=Bath(water="2 kg", salt="95 g"), temperature="3 degC", lasts="9 d", lying=False)


def series(sides, seconds) -> float:
    """What a brick lacks on the whole, its faces at the level of the bath: a product of plane sheets (Crank 1975, eq. 4.18; from memory)."""
    pace = default_numbers().si("obstruction.lean") * water_diffusivity(276.15)
    n = np.arange(40)
    odd = 2 * n + 1
    lacks = [
        (8 / (math.pi * odd) ** 2 * np.exp(-(odd**2) * math.pi**2 * pace * seconds / side**2)).sum() for side in sides
    ]
    return float(np.prod(lacks))


def test_days_of_bricks_are_those_of_the_series():
    found = split_or_whole(BLOCK, ENDLESS, at="6 cm")
    begun = (
        60e-5 * 58.443 / 22.99 / 0.7343 / 0.025
    )  # own sodium of the meat as salt in its water (USDA), over that of the brine
    for way, sides in ((found.whole, (0.06, 0.09, 0.12)), (found.parts, (0.06, 0.09, 0.06))):
        exact = brentq(lambda s, sides=sides: (1 - begun) * series(sides, s) - 0.1, 3600.0, 60 * DAY)
        assert way.out == pytest.approx(exact, rel=0.015)  # the stirred film adds some 0.4 %
        usual, slow, fast = way.last("pull")
        assert fast < usual < slow and way.cooked >= way.out
    assert [piece.name for piece in found.parts.pieces] == ["loin, head", "loin, tail"]
    assert found.trimmed == pytest.approx(0.0, abs=1e-12)
    assert found.lines()[2].startswith("Splitting saves ")
    assert found.rows()[1]["out"] == found.parts.out


def test_the_split_answer_is_that_of_both_parts():
    found = split_or_whole(BLOCK, STRONG, at="3 cm")
    parts = split(BLOCK, at="3 cm")
    assert found.parts.out == pytest.approx(
        time_to("average salt >= 90 % of equilibrium", parts, STRONG).value, rel=1e-3
    )
    ready = spread(parts, STRONG, count=8).ready(0)
    for one, other in zip(found.parts.ready, ready, strict=True):
        assert one.wanted == other.wanted and one.piece == other.piece and one.allowed == other.allowed
    assert found.parts.soak.value > 0 and found.parts.soak_water > 0
    soaked = [line for line in found.lines() if line.startswith("Soak after that")]
    assert len(soaked) == 2 and "split" in soaked[0] and "whole" in soaked[1]


def test_a_thin_slice_off_the_end_saves_next_to_nothing():
    assert "Splitting saves no days worth telling." in split_or_whole(BLOCK, ENDLESS, at="6 mm").lines()


def test_water_that_covers():
    box = Vessel(shape="rectangular", length="20 cm", width="15 cm", height="20 cm")
    least = default_numbers().si("vessel.least_cover")
    by_hand = (0.06 + least) * 0.03 - BLOCK.volume()
    assert water_to_cover(box, (BLOCK,)) == pytest.approx(1000 * by_hand, rel=1e-3)
    parts = split(BLOCK, at="6 cm")
    for pieces in ((BLOCK,), parts):
        water = water_to_cover(box, pieces)
        assert fits(box, pieces, Bath(water=water)).cover == pytest.approx(least, rel=1e-3)
    found = split_or_whole(BLOCK, ENDLESS, at="6 cm", vessel=box)
    assert found.whole.brine_water == water_to_cover(box, (BLOCK,))
    assert any("Water that covers the meat in this vessel" in line for line in found.lines())
    narrow = Vessel(shape="rectangular", length="12.5 cm", width="9 cm", height="30 cm")
    stacked = split_or_whole(BLOCK.but(width="8 cm", length="12 cm", weight="600 g"), ENDLESS, at="6 cm", vessel=narrow)
    assert stacked.parts.brine_water == pytest.approx(
        stacked.whole.brine_water, rel=1e-9
    )  # they still lie side by side


def test_a_fold_says_what_it_counts_as_closed_and_a_soak_of_a_minute_is_none():
    thin = Piece(name="loin", shape="block", thickness="3 cm", width="5 cm", length="8 cm", weight="127 g")
    found = folded_or_whole(thin, ENDLESS, at="3 cm")
    assert any("also what of the longer half lies bare" in line for line in found.lines())
    assert not any("Two muscles" in line for line in split_or_whole(BLOCK, ENDLESS, at="6 cm").lines())
    salty = STRONG.but(bath=Bath(water="2 kg", salt="71 g"))  # comes to rest a hair above the taste
    lines = split_or_whole(BLOCK, salty, at="6 cm").lines()
    assert not any("minute" in line for line in lines)


def test_what_cannot_be_asked():
    with pytest.raises(InputError, match="the last stage is no cure"):
        split_or_whole(BLOCK, [ENDLESS, Rest(temperature="3 degC", lasts="1 d")], at="6 cm")
    with pytest.raises(InputError, match="has no seam"):
        split_or_whole(BLOCK, ENDLESS, along="seam")
    never = split_or_whole(BLOCK, ENDLESS, at="6 cm", at_most="1 h")
    assert never.whole.out is None and never.whole.soak is None
    assert "does not get its salt" in never.lines()[0]


def test_what_it_says_is_a_forward_run():
    found = split_or_whole(BLOCK, STRONG, at="6 cm")
    history = simulate(found.parts.pieces, STRONG.lasting(found.parts.out))
    least = min(history.average("salt", None, piece.name, "equilibrium") for piece in history.pieces)
    assert least == pytest.approx(0.9, rel=1e-3)


def test_a_slowest_spot_that_stays_bare_is_told():
    """A thick block in a weak brine with nitrite: nothing protects its middle in time, split or not; a thin one is protected. Both have the form
    of the others here, so that no terms are made for them.
    """
    cure = STRONG.but(bath=Bath(water="12 kg", salt="440 g", nitrite="2.2 g"))
    found = split_or_whole(BLOCK.scaled(2.5, 2.5**3), cure, at="15 cm")
    assert not found.whole.protected and any(line.startswith("Whole: cure does not protect") for line in found.lines())
    thin = split_or_whole(BLOCK.scaled(1 / 3, 1 / 27), cure, at="2 cm")
    assert (
        thin.whole.protected and thin.parts.protected and not any("does not protect" in line for line in thin.lines())
    )
