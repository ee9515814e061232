"""The terms of a shape that nobody has computed yet, made beside the page, so that it can be used and the work can be stopped; and what is
drawn meanwhile: the shape as it was, scaled.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace

import numpy as np

from ..batch import Batch
from ..bodies.solid import keep_terms
from ..fields import InputError
from ..recipe.piece import Piece
from ..show.section import Drawn, Section
from .beside import beside

NEW_SHAPE = "This shape is new. The picture comes when it has been worked out."
SCALED = "This is the old shape, only scaled. The picture of the new one follows, and the answer with it. Then it can be shaped by hand again."
WORKING_SHAPE = "Working out the new shape. It takes some seconds, once."
STOPPED_SHAPE = "Stopped before the new shape was worked out. Press Go on, or change something."


async def made_beside(key: tuple) -> None:
    """Until a process of its own has put the terms of a key (`kept.NotKept`) on disk, or could not. To break this off ends the process."""
    with contextlib.suppress(OSError, RuntimeError, InputError):  # whoever draws then makes the terms, or tells why not
        await beside(keep_terms, key)


def scaled_like(batch: Batch, before: Batch) -> Batch | None:
    """The batch with each piece that is shaped anew as it was shaped before, scaled to be as thick on average as it is now: for that no new
    terms are needed. None where other pieces stood there.
    """
    if [(piece.name, piece.shape) for piece in batch.pieces] != [(piece.name, piece.shape) for piece in before.pieces]:
        return None
    pairs = zip(batch.pieces, before.pieces, strict=True)
    scaled = (old.scaled(_thick(new) / _thick(old), new.weight / old.weight) for new, old in pairs)
    return batch.but(pieces=tuple(scaled))


def _thick(piece: Piece) -> float:
    """m, on average along its length."""
    solid = piece.solid()
    return piece.thickness if solid is None else float(np.trapezoid(solid.thickness, solid.at)) / solid.length


def out_of_hand(drawn: Section) -> Section:
    """A section on which no hand can change the shape, and which says of no place that it is cured, nor how much is where over the days: it is
    not that of the batch.
    """

    def unsaid(values: np.ndarray) -> np.ndarray:
        return np.full_like(values, np.nan)

    def blank(piece: Drawn) -> Drawn:
        courses = {
            key: {name: tuple(map(unsaid, parts)) for name, parts in lines.items()}
            for key, lines in piece.courses.items()
        }
        level = {key: unsaid(each) for key, each in piece.level.items()}
        return replace(piece, stations=(), along=0.0, level=level, courses=courses, low={}, high={})

    return replace(drawn, pieces=tuple(map(blank, drawn.pieces)), spot=False)


__all__ = ["made_beside", "out_of_hand", "scaled_like"]
