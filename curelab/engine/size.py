"""How large a batch is, by arithmetic, before anything of it is computed."""

from __future__ import annotations

from collections.abc import Sequence

from ..bodies.body import TERMS, TERMS_THIN
from ..bodies.kept import COUNTS, FEW
from ..fields import refuse
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..transport.star import MANY
from .turning import legs_of

MOST_BYTES = 400_000_000  # of the states of one case; more is refused, so that a batch needs less than 1 GB in all
WORD = 8  # bytes
KEPT = 15  # numbers that a stretch keeps of each node (measured: tests/engine/test_size.py)


def nodes_of(piece: Piece, cells: int, few: bool) -> int:
    """Nodes of a piece, at most; in three dimensions its terms."""
    if piece.solid() is not None:
        return max(FEW) if few else max(COUNTS)
    layers = 1 if not piece.fat_cap else 2 if piece.capped == "one face" else 3
    return TERMS + TERMS_THIN * (layers - 1) if few else (2 if piece.shape == "slab" else 1) * cells


def bytes_of_case(pieces: Sequence[Piece], stages: Sequence[Stage], cells: int, few: bool) -> int:
    """What one case takes when all of it was read: a state of all that is in it for each leg, what a stretch keeps of each node, and the modes,
    of the whole in each stretch or of each piece in the few ways in which it lies.
    """
    nodes, legs = sum(nodes_of(piece, cells, few) for piece in pieces) + 1, legs_of(pieces, stages)
    stretches = [stretch for stage in stages for stretch in stage.stretches]
    own = max(nodes_of(piece, cells, few) for piece in pieces)
    modes = 3 * nodes * len(stretches) if len(pieces) < MANY else 4 * own
    there = {name for stretch in stretches for name, amount in stretch.brings.items() if amount} | {"salt"}
    states = len(there) + ("nitrite" in there)  # once as added, once with its loss
    return WORD * nodes * (states * legs + KEPT * len(stretches) + modes)


def check_size(pieces: Sequence[Piece], stages: Sequence[Stage], cells: int, few: bool) -> None:
    """Refuses a batch of which one case is larger than MOST_BYTES, with the arithmetic."""
    size = bytes_of_case(pieces, stages, cells, few)
    if size <= MOST_BYTES:
        return
    nodes, legs = sum(nodes_of(piece, cells, few) for piece in pieces) + 1, legs_of(pieces, stages)
    raise refuse(
        "stages",
        f"{len(pieces)} piece{'s' if len(pieces) > 1 else ''} of {nodes} places in all, put into a bath or turned {legs} times, with "
        f"all that is in them at {WORD} bytes a number, take {size / 1e9:.1f} GB, and at most {MOST_BYTES / 1e9:g} GB are computed; turn them "
        "less often, take fewer waters, or make two batches of it",
    )
