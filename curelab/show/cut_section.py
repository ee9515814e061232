"""A section of a piece, drawn to scale, as plain data: lean, fat, closed faces, stations, and the slowest spot. No drawing in here.

The piece lies on its second face; what is half round is drawn so. Tissues are told apart by colour and by hatch, for grey print.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np

from .. import units
from ..engine.history import History
from ..matter.tissue import Tissue
from ..recipe.measured import measures
from ..recipe.piece import Piece
from ..recipe.stations import Solid
from .pictures import NAMES, scale

# Fill and hatch of the first lean, of others, and of fat. Light, so that ink and colours of salt stand out on them.
LEAN = (("#e8b4a6", ""), ("#d3998f", "dots"), ("#f0cdbf", "lines"))
FAT = ("#f7efd8", "crossed")
GRID = 160  # places along a section that is filled with values, and half as many through it
STEPS = 24  # places along a half round edge
CLOSED = {"skin": "skin", "cut off": "cut off", "touching": "touches"}


@dataclass(frozen=True)
class Area:
    """A closed outline x, y (n,) in shown units, filled: one tissue."""

    label: str
    x: np.ndarray
    y: np.ndarray
    colour: str
    hatch: str = ""


@dataclass(frozen=True)
class Edge:
    """A face that no salt crosses: x, y (n,), and the word for why."""

    label: str
    x: np.ndarray
    y: np.ndarray


@dataclass(frozen=True)
class Spot:
    """A place in the section."""

    label: str
    x: float
    y: float


@dataclass(frozen=True)
class Field:
    """Values z (y, x) on a grid in shown units, nan outside of the piece; label: what they are."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    label: str


@dataclass(frozen=True)
class CutSection:
    """A section to scale: one unit of x is as long as one of y.

    sentence: what it shows; x_label; areas, the outline x, y (n,) around them; closed: faces that no salt crosses; ticks (x, words) under the stations;
    spots; note; field: values in it.
    """

    sentence: str
    x_label: str
    outline: tuple[np.ndarray, np.ndarray]
    areas: tuple[Area, ...]
    closed: tuple[Edge, ...] = ()
    ticks: tuple[tuple[float, str], ...] = ()
    spots: tuple[Spot, ...] = ()
    note: str = ""
    field: Field | None = None


def along(piece: Piece, system: str = "metric", slowest: tuple[float, float] | None = None) -> CutSection:
    """The section along the middle of a piece in three dimensions. `slowest`: (m from the head, m under the first face) of its slowest
    spot. Raises ValueError for a piece that has no length.
    """
    solid, (size, unit) = _solid(piece), _shown(system)
    at, thick = np.array(solid.at) - solid.at[0], np.array(solid.thickness)
    edges = np.unique(np.concatenate([at, 0.5 * (at[1:] + at[:-1])]))  # tissues change half-way
    depths = np.stack([np.interp(edges, at, column) for column in zip(*solid.borders, strict=True)])
    top = np.interp(edges, at, thick)
    middles = [solid.at[0] + 0.5 * (a + b) for a, b in pairwise(edges)]
    areas = []
    for layer, (upper, lower) in enumerate(pairwise(top - depths)):
        there = upper[1:] + upper[:-1] > lower[1:] + lower[:-1]
        own = [
            solid.tissues[solid.station(at)][layer] if here else None for at, here in zip(middles, there, strict=True)
        ]
        begin = 0
        for part, group in groupby(own):
            end = begin + len(list(group))
            run = slice(begin, end + 1)
            areas += [_area(solid, part, edges[run], upper[run], lower[run], size)] if part is not None else []
            begin = end
    rim = np.concatenate([at, at[::-1]]), np.concatenate([np.zeros(len(at)), thick[::-1]])
    faces = {
        "first": (at, thick), "second": (at, 0 * at),
        "head": (np.zeros(2), np.array([0.0, thick[0]])), "tail": (at[-1:].repeat(2), np.array([0.0, thick[-1]])),
    }  # fmt: skip
    ticks = tuple((size * float(a), units.show(float(t), "length", system)) for a, t in zip(at, thick, strict=True))
    thickness, *others = measures(piece, system)
    drawn = CutSection(
        f"The {piece.name}, cut along its length: {', '.join((f'{thickness} thick', *others))}.", f"{unit} from the head",
        (size * rim[0], size * rim[1]), tuple(areas), _closed(piece, faces, size), ticks,
    )  # fmt: skip
    if slowest is None:
        return drawn
    where, depth = slowest
    there, _, _ = solid.section(solid.at[0] + where)
    spot = Spot("slowest spot", size * where, size * (there - depth))
    told = f"{units.show(where, 'length', system, digits=2)} from the head, {units.show(depth, 'length', system, digits=2)} deep"
    return replace(drawn, sentence=f"{drawn.sentence} The slowest spot lies {told}.", spots=(spot,))


def across(piece: Piece, at: float, system: str = "metric", slowest: float | None = None) -> CutSection:
    """The section across a piece `at` a place [m from the head]; `slowest`: depth [m] of its slowest spot, if that lies there."""
    solid, (size, unit) = _solid(piece), _shown(system)
    thick, wide, borders = solid.section(solid.at[0] + at)
    y, local = _edge(thick, wide, solid.rounded)
    shares = np.array(borders) / thick
    height = lambda share: 0.5 * thick + local * (0.5 - share)  # noqa: E731
    own = solid.tissues[solid.station(solid.at[0] + at)]
    areas = [
        _area(solid, part, y, height(a), height(b), size) for part, (a, b) in zip(own, pairwise(shares), strict=True)
    ]
    rim = np.concatenate([y, y[::-1]]), np.concatenate([height(1.0), height(0.0)[::-1]])
    left, right = y < -0.5 * wide + 0.25 * thick, y > 0.5 * wide - 0.25 * thick
    faces = {"first": (y, height(0.0)), "second": (y, height(1.0))}
    if solid.rounded:
        for name, side in (("left", left), ("right", right)):
            x = np.concatenate([y[side], y[side][::-1]])
            faces[name] = (x, np.concatenate([height(1.0)[side], height(0.0)[side][::-1]]))
    else:
        faces |= {
            "left": (y[:1].repeat(2), np.array([0.0, thick])),
            "right": (y[-1:].repeat(2), np.array([0.0, thick])),
        }
    said = f"The {piece.name}, cut across {units.show(at, 'length', system, digits=2)} from its head"
    spots = () if slowest is None else (Spot("slowest spot", 0.0, size * (thick - slowest)),)
    return CutSection(
        f"{said}: {units.show(thick, 'length', system, digits=2)} thick, {units.show(wide, 'length', system, digits=2)} wide.",
        f"{unit} from the middle", (size * rim[0], size * rim[1]), tuple(areas), _closed(piece, faces, size), (), spots,
    )  # fmt: skip


def of(history: History, time: float, piece: str | int = 0, system: str = "metric") -> CutSection | None:
    """The section along a piece, with the spot that salt is slowest to reach marked where it lies at a time [s]; None for a piece without
    a length.
    """
    meat = history.pieces[history.piece_number(piece)]
    if meat.solid() is None:
        return None
    where, depth = (float(each) for each in history.slowest_place("salt", time, piece))
    return along(meat, system, (where, depth))


def filled(
    history: History, quantity: str = "salt", time: float | None = None, piece: str | int = 0, basis: str | None = None, system: str = "metric"
) -> CutSection:  # fmt: skip
    """The same with the values of a quantity in it, on a grid of its own, in shown units."""
    when = history.length if time is None else time
    drawn, meat = of(history, when, piece, system), history.pieces[history.piece_number(piece)]
    solid, (size, _), (factor, unit) = _solid(meat), _shown(system), scale(quantity, basis)
    assert drawn is not None
    found = history.section(quantity, when, piece, basis)
    x = np.linspace(0.0, solid.length, GRID)
    y = np.linspace(0.0, max(solid.thickness), GRID // 2)
    planes = found.along[:, 0]
    thick = np.interp(x, np.array(solid.at) - solid.at[0], solid.thickness)
    shares = (found.depth - found.depth[:, :1]) / (found.depth[:, -1:] - found.depth[:, :1])
    columns = np.empty((len(y), GRID))
    for number, (place, here) in enumerate(zip(x, thick, strict=True)):
        after = int(np.clip(np.searchsorted(planes, place), 1, len(planes) - 1))
        weight = (place - planes[after - 1]) / (planes[after] - planes[after - 1])
        depth = 1 - y / here
        sides = [np.interp(depth, shares[n], found.values[n]) for n in (after - 1, after)]
        columns[:, number] = np.where(depth < -1e-9, np.nan, (1 - weight) * sides[0] + weight * sides[1])
    return replace(drawn, field=Field(size * x, size * y, factor * columns, f"{NAMES.get(quantity, quantity)}, {unit}"))


def _solid(piece: Piece) -> Solid:
    solid = piece.solid()
    if solid is None:
        raise ValueError(
            f'"{piece.name}" is a {piece.shape} without a length and has no section; write it as a block or a cut'
        )
    return solid


def _shown(system: str) -> tuple[float, str]:
    """(factor, unit) for lengths in a section."""
    return (100.0, "cm") if system == "metric" else (1 / 0.0254, "in")


def _edge(thick: float, wide: float, rounded: bool) -> tuple[np.ndarray, np.ndarray]:
    """(places from the middle (n,), thickness there (n,)) of a section across [m]."""
    if not rounded:
        return 0.5 * wide * np.array([-1.0, 1.0]), np.full(2, thick)
    radius = 0.5 * min(thick, wide)
    turn = np.linspace(0.0, 0.5 * np.pi, STEPS)
    y, local = 0.5 * wide - radius * (1 - np.cos(turn)), thick - 2 * radius * (1 - np.sin(turn))
    return np.concatenate([-y, y[::-1]]), np.concatenate([local, local[::-1]])


def _area(solid: Solid, part: Tissue, x: np.ndarray, upper: np.ndarray, lower: np.ndarray, size: float) -> Area:
    leans = list(dict.fromkeys(each.name for row in solid.tissues for each in row if each.kind != "fat"))
    colour, hatch = FAT if part.kind == "fat" else LEAN[min(leans.index(part.name), len(LEAN) - 1)]
    outline = size * np.concatenate([x, x[::-1]]), size * np.concatenate([upper, lower[::-1]])
    return Area("fat" if part.kind == "fat" else part.name, *outline, colour, hatch)


def _closed(piece: Piece, faces: dict[str, tuple[np.ndarray, np.ndarray]], size: float) -> tuple[Edge, ...]:
    why = {name: CLOSED[getattr(piece.faces, name)] for name in piece.faces.closed if name in faces}
    return tuple(Edge(word, size * faces[name][0], size * faces[name][1]) for name, word in why.items())
