"""Turning that is quick against diffusion, taken as its average: both faces with the mean film of the two ways the pieces lie."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from .. import units
from ..recipe.piece import Piece
from ..recipe.stages import Stage, Stretch

MOST_TURNS = 100  # of a stretch that are computed one by one, where they could be averaged
PACE = 5e-10  # m2/s: salt in lean meat, at the quick end of what is published for a fridge
# Of the thickness: salt that spreads no further than that between two turns hardly knows how the piece lay. Measured against every turn, in
# slabs of 2 to 12 cm turned so often or oftener, as a share of the driving strength: at the core at most 1.3 %, on average 1.8 %, at the
# surface 2 % after the first day, and 17 % in the first hours, when one face has lain and the other has not (tests/engine/test_turning.py).
SPREAD = 1 / 30


def averaged(stretch: Stretch, thinnest: float) -> bool:
    """Whether the turns of a stretch are taken as their average, for pieces of which the thinnest is so thick [m]."""
    if len(stretch.turns) <= MOST_TURNS:
        return False
    longest = np.diff(np.array([0.0, *stretch.turns, stretch.longest])).max()
    return bool(np.sqrt(PACE * longest) <= SPREAD * thinnest)


def thinnest(pieces: Iterable[Piece]) -> float:
    """Thickness [m] of the thinnest piece."""
    return min(piece.thickness for piece in pieces)


def legs_of(pieces: Sequence[Piece], stages: Sequence[Stage]) -> int:
    """Times at which the pieces are put into a bath, or turned over where turns are not averaged."""
    thin = thinnest(pieces)
    stretches = [stretch for stage in stages for stretch in stage.stretches]
    return sum(1 if averaged(stretch, thin) else 1 + len(stretch.turns) for stretch in stretches)


def assumed(pieces: Sequence[Piece], stages: Sequence[Stage]) -> tuple[str, ...]:
    """What a history takes for granted of such turning, one sentence for each stage."""
    thin, said = thinnest(pieces), []
    for number, stage in enumerate(stages, 1):
        if any(averaged(stretch, thin) for stretch in stage.stretches):
            count = sum(len(stretch.turns) for stretch in stage.stretches)
            often = units.show(stage.longest / (count + 1), "time", digits=2)
            said.append(
                f"In stage {number} the pieces are turned {count} times, every {often}, which is quick against the pace of salt: both faces are "
                "taken as they are on average of the two ways the pieces lie. Against every single turn that is off by at most 2 % of the "
                "strength of the brine, and at the surface by up to a sixth of it in the first hours."
            )
    return tuple(said)
