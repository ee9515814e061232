"""The measures of a piece in words, and its weight held against them and the density of meat."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .. import units
from ..fields import Problem
from ..letters import quoted
from .stations import Solid

if TYPE_CHECKING:
    from .piece import Piece

NEAR = 0.15  # relative: a ruler on soft meat and a scale agree so well; beyond it is said
FAR = 2.0  # a factor: beyond it one of the two is a slip, and nothing is computed from it (judgement)
POUND = 0.45359237  # kg
_ON = {"skin": "under skin", "cut off": "cut off", "touching": "touching another piece"}
_FACE = {"first": "the first face", "second": "the second face", "left": "the left edge", "right": "the right edge", "head": "the head", "tail": "the tail"}  # fmt: skip


def weight_problem(weight: float, solid: Solid) -> Problem | None:
    """Says so when a weight [kg] cannot be that of the measures, and which slip would explain it."""
    by_ruler = solid.weight
    if 1 / FAR <= weight / by_ruler <= FAR:
        return None
    near = lambda other: abs(other / by_ruler - 1) <= NEAR  # noqa: E731
    if near(weight * POUND):
        advice = f"if it was read in pounds, write {quoted(f'{weight:.4g} lb')}"
    elif near(weight / POUND):
        advice = f"if the scale showed pounds, write {quoted(f'{weight / POUND:.4g} kg')}"
    elif any(near(weight * ten) for ten in (0.001, 0.1, 10.0, 1000.0)):
        advice = "check the decimal point and the unit of the weight"
    else:
        advice = (
            "a kitchen scale is seldom so far off: measure length, width and thickness again, and check their units"
        )
    return Problem("weight", f"{weight:.3g} kg cannot be: by its measures the piece weighs {by_ruler:.3g} kg; {advice}")


def weight_note(piece: Piece, system: str = "metric") -> str:
    """Says so when measures and weight do not agree, and which of the two is the more likely to be wrong; nothing where they do.

    >>> from curelab import Piece
    >>> weight_note(Piece(name="strip", shape="block", thickness="4 cm", width="5 cm", length="20 cm", weight="500 g"))
    'By its measures the strip weighs 424 g, and the scale says 500 g. Measure it again: the ruler is the more likely to be wrong. The weight is taken, with the shape as measured.'
    """
    solid = piece.solid()
    if solid is None or abs(piece.weight / solid.weight - 1) <= NEAR:
        return ""
    by_ruler, by_scale = (units.show(each, "mass", system) for each in (solid.weight, piece.weight))
    return (
        f"By its measures the {piece.name} weighs {by_ruler}, and the scale says {by_scale}. Measure it again: the ruler is the more likely "
        "to be wrong. The weight is taken, with the shape as measured."
    )


def told(piece: Piece, system: str = "metric") -> str:
    """The measures, the fat and the closed faces of a piece in words.

    >>> from curelab import Piece
    >>> told(Piece(thickness="8 cm", weight="2 kg", fat_cap="6 mm"))
    '8 cm thick (slab), 6 mm of fat on one face'
    >>> told(Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.3 kg", faces={"head": "cut off"}))
    '8 cm thick, 16 cm wide, 25 cm long (block), the head cut off'
    """
    thick, *others = measures(piece, system)
    return f"{', '.join((f'{thick} thick', *others))} ({piece.shape}){with_fat(piece, system)}"


def measures(piece: Piece, system: str = "metric") -> tuple[str, ...]:
    """The thickness in words, and what else was measured: ("3 to 8 cm", "14 to 18 cm wide", "30 cm long")."""
    stations = piece.stations
    wide = [each.width for each in stations] or ([piece.width] if piece.width else [])
    long = stations[-1].at - stations[0].at if stations else piece.length
    said = [_span([each.thickness for each in stations] or [piece.thickness], system)]
    said += [f"{_span(wide, system)} wide"] if wide else []
    return (*said, f"{units.show(long, 'length', system)} long") if long else tuple(said)


def with_fat(piece: Piece, system: str = "metric") -> str:
    """The fat and the closed faces of a piece, each behind a comma; nothing where there are none."""
    caps = [piece.fat_cap if each.fat_cap is None else each.fat_cap for each in piece.stations] or [piece.fat_cap]
    said = [f"{_span(caps, system)} of fat on {piece.capped}"] if max(caps) else []
    said += ["a seam of fat"] if any(each.seam for each in piece.stations) else []
    said += [f"{_FACE[name]} {_ON[getattr(piece.faces, name)]}" for name in piece.faces.closed]
    return "".join(f", {each}" for each in said)


def _span(lengths: Sequence[float], system: str) -> str:
    """The least and the most of lengths [m], in words."""
    least, most = (units.show(each, "length", system) for each in (min(lengths), max(lengths)))
    if least == most:
        return most
    number, _, unit = least.rpartition(" ")
    return f"{number} to {most}" if most.endswith(f" {unit}") else f"{least} to {most}"
