"""The inside of the pieces as a picture to scale: a section of each, coloured by what is asked for, at every time of a batch.

Plain data, no drawing. A section is a grid of nodes, mapped to places in cm; each node shows one of the values that are read at a time. So a
slab needs the values of one line across it, and a body of any other shape one for each node. The page draws any day of it by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..bodies import Solid
from ..engine.history import History
from ..engine.run import FREE
from ..outcome import CURED_SHARE
from ..recipe.piece import Piece
from ..spread import Spread
from ..units import DAY, show
from .pictures import NAMES, scale

LONGER = "left longer"
FRAMES = 96  # times of the whole batch that are drawn; between two of them the page goes in a straight line
READ = 49  # of them at which every place is read, evenly among the others
LEAST = 8  # of them in a stretch, however short
ACROSS, ROUND = 13, 33  # columns of nodes: along a slab, and round a round piece
NARROW, WIDE = 1.3, 2.6  # how wide a slab is drawn, in its thickness; its true width is not known


@dataclass(frozen=True)
class Drawn:
    """One piece: x, y (rows, columns) of its nodes in cm, y downwards; value (rows, columns), which reading each node shows; `fat` (rows,),
    whether a row lies in the fat; ends: whether its sides are where the picture stops and not where the meat does; lying: the foot rests on the
    vessel; thickness in words.

    Of every quantity, by key: values (READ, v) and, with bands, low, high (READ, v); level (t,), from which on a place counts
    as reached; courses, lines over time (t,) by name, each (low, middle, high) or the middle alone.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    value: np.ndarray
    fat: np.ndarray
    ends: bool
    lying: bool
    thickness: str
    values: dict[str, np.ndarray]
    low: dict[str, np.ndarray]
    high: dict[str, np.ndarray]
    level: dict[str, np.ndarray]
    courses: dict[str, dict[str, tuple[np.ndarray, ...]]]


@dataclass(frozen=True)
class Quantity:
    """key; label; unit as it is shown; most: the value of the darkest colour; reached: what the line says from which on it is enough."""

    key: str
    label: str
    unit: str
    most: float
    reached: str


@dataclass(frozen=True)
class Section:
    """Pieces on one scale, over the same times (t,) in days; stages: (words, number of the first time, of the last); spot: whether the place that
    has least is marked, which is the slowest one while meat is cured.
    """

    pieces: tuple[Drawn, ...]
    quantities: tuple[Quantity, ...]
    days: np.ndarray
    stages: tuple[tuple[str, int, int], ...]
    spot: bool = True
    spot_until: int = 0  # number of the last time at which it is: what comes after takes salt out again


def section(
    shown: Sequence[tuple[Spread, str, str]],
    quantities: tuple[str, ...] = ("salt", FREE),
    system: str = "metric",
    planned: float | None = None,
    wanted: tuple[float, str] | None = None,
) -> Section:
    """The section of pieces over a whole history: `shown` lists (draws, name of the piece, words above it); histories are of one length.

    planned [s]: when a stage that goes on here was to end. wanted: a fraction of salt and what the line at it says, in the place of
    what counts as cured. Raises ValueError for a piece that is not there.
    """
    times, stages = _times(shown[0][0].usual, planned)
    level, core = (None, "slowest spot") if wanted is None else (wanted[0], "middle")
    drawn = tuple(_drawn(many, name, words, quantities, times, system, level, core) for many, name, words in shown)
    reached = {"salt": "cured to here" if wanted is None else wanted[1], FREE: "enough nitrite to here"}
    asked = tuple(_quantity(key, drawn, reached.get(key, "")) for key in quantities)
    usual = shown[0][0].usual
    drained = [
        usual.begin(n) for n, stage in enumerate(usual.stages) if usual.has(n) and (stage.desalts or stage.heats)
    ]
    until = int(np.searchsorted(times, min(drained) - 1.0)) if drained else len(times) - 1
    return Section(drawn, asked, times / DAY, stages, wanted is None, until)


def _times(history: History, planned: float | None) -> tuple[np.ndarray, tuple[tuple[str, int, int], ...]]:
    """(times (t,), stages): even within a part; a long part gets more of them, yet a short one is not lost."""
    parts = []
    for ran in history.ran:
        words = history.stages[ran.stage].tag
        if planned is not None and ran.begin < planned < ran.end:
            parts += [(words, ran.begin, planned), (LONGER, planned, ran.end)]
        else:
            parts.append((words, ran.begin, ran.end))
    roots = np.sqrt([end - begin for _, begin, end in parts])
    counts = np.maximum(LEAST, np.round(FRAMES * roots / roots.sum()).astype(int))
    times = [np.zeros(1)]
    stages: list[tuple[str, int, int]] = []
    for (words, begin, end), count in zip(parts, counts.tolist(), strict=True):
        first = sum(len(each) for each in times) - 1
        times.append(begin + (end - begin) * np.arange(1, count + 1) / count)
        if stages and stages[-1][0] == words:
            stages[-1] = (words, stages[-1][1], first + count)
        else:
            stages.append((words, first, first + count))
    return np.minimum(np.concatenate(times), history.length), tuple(stages)


def _drawn(
    many: Spread,
    name: str,
    words: str,
    quantities: tuple[str, ...],
    times: np.ndarray,
    system: str,
    wanted: float | None,
    core: str,
) -> Drawn:
    usual = many.usual
    number = usual.piece_number(name)
    piece = usual.pieces[number]
    few = np.interp(np.linspace(0, len(times) - 1, READ), np.arange(len(times)), times)
    bands = many.profiles(quantities, few, name)
    depth = bands[quantities[0]].depth
    assert depth is not None
    whole = piece.solid() is not None
    x, y, value, fat = _whole(usual, number) if whole else (_slab if piece.shape == "slab" else _round)(piece, depth)
    values, low, high, level, courses = {}, {}, {}, {}, {}
    for key in quantities:
        factor = scale(key)[0]
        below, middle, above = bands[key].parts
        # Every node has its own value in a piece with a length, and no band: those of draws are read along one line.
        values[key] = factor * (usual.section(key, few, name).values.reshape(READ, -1) if whole else middle)
        if many.banded and not whole:
            low[key], high[key] = factor * below, factor * above
        own = wanted if key == "salt" and wanted is not None else _level(usual, key, name)
        level[key] = np.full(len(times), factor * own)
        courses[key] = {
            line: tuple(factor * part for part in many.at(place, key, times, name).parts if part is not None)
            for place, line in (("average", "average"), ("core", core))
        }
    lying = any(stage.lies for stage in usual.stages) and piece.lies_flat
    thickness = show(piece.thickness, "length", system)
    return Drawn(words, x, y, value, fat, piece.shape == "slab", lying, thickness, values, low, high, level, courses)


def _slab(piece: Piece, depth: np.ndarray) -> tuple[np.ndarray, ...]:
    """A slab seen from the side; how wide is a guess from its weight."""
    thick = 100 * piece.thickness
    wide = float(np.clip((piece.volume() / piece.thickness) ** 0.5 * 100, NARROW * thick, WIDE * thick))
    x, y = np.meshgrid(np.linspace(0.0, wide, ACROSS), depth * thick)
    cap = piece.fat_cap / piece.thickness
    fat = (depth < cap - 1e-9) | ((depth > 1 - cap + 1e-9) & (piece.capped == "both faces") & (cap > 0))
    return x, y, np.broadcast_to(np.arange(len(depth))[:, None], x.shape), fat


def _whole(history: History, number: int) -> tuple[np.ndarray, ...]:
    """A piece with a length, cut along its middle, head to the left, as it lies on its second face."""
    piece, meat = history.pieces[number], history.state.meats[number]
    found = history.section("salt", history.length, number)
    solid = piece.solid()
    assert solid is not None and isinstance(meat.body, Solid)
    thick = np.interp(found.along, np.array(solid.at) - solid.at[0], solid.thickness)
    places = np.arange(found.along.size).reshape(found.along.shape)
    x, y = found.along, piece.thickness - thick + found.depth
    fat = np.logical_not(meat.lean[meat.body.tissue_of_nodes[meat.body.middle]].any(axis=0))
    if piece.shape == "cylinder":  # from the axis outwards: the other half is its mirror image
        order = [*range(x.shape[1] - 1, 0, -1), *range(x.shape[1])]
        upper = piece.thickness - y[:, :0:-1]
        return 100 * x[:, order].T, 100 * np.concatenate([upper, y], axis=1).T, places[:, order].T, fat[order]
    return 100 * x.T, 100 * y.T, places.T, fat


def _round(piece: Piece, depth: np.ndarray) -> tuple[np.ndarray, ...]:
    """A round piece cut through: from its middle outwards, the same all round."""
    outer = np.flatnonzero(depth >= 0.5)
    outer = np.concatenate([outer[:1], outer])  # the innermost reading stands for the middle itself
    radius = (depth[outer] - 0.5) * 100 * piece.thickness
    radius[0] = 0.0
    angle = np.linspace(0.0, 2 * np.pi, ROUND)
    middle = 50 * piece.thickness
    x, y = middle + radius[:, None] * np.sin(angle), middle - radius[:, None] * np.cos(angle)
    return x, y, np.broadcast_to(outer[:, None], x.shape), np.zeros(len(radius), bool)


def _level(history: History, key: str, piece: str) -> float:
    """The fraction from which on a place counts as reached: of salt, a share of where the last cure ends; of nitrite, what keeps colour."""
    if key == FREE:
        return history.numbers.si("colour.nitrite_minimum")
    cures = [number for number, stage in enumerate(history.stages) if stage.cures and history.has(number)]
    return CURED_SHARE * history.resting(key, cures[-1], piece) if cures else np.inf


def _quantity(key: str, drawn: tuple[Drawn, ...], reached: str) -> Quantity:
    top = max(float(np.quantile(piece.values[key], 0.995)) for piece in drawn)
    top = max([top, *(1.15 * float(level) for piece in drawn for level in piece.level[key][:1] if np.isfinite(level))])
    step = 10.0 ** np.floor(np.log10(top)) if top > 0 else 1.0
    most = (
        next(step * k for k in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if step * k >= top * (1 - 1e-9)) if top > 0 else 1.0
    )
    return Quantity(key, NAMES.get(key, key), scale(key)[1], float(most), reached)
