"""The inside of the pieces as a picture to scale: a section of each, coloured by what is asked for, at every time of a batch.

Plain data, no drawing. A section is a grid of nodes, mapped to places in cm; each node shows one of the values that are read at a time. So a
slab needs the values of one line across it, and a body of any other shape one for each node. The page draws any day of it by itself.
Pieces of several histories stand under one axis of time, each history with its own line of stages.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from ..bodies import Solid
from ..engine.history import History
from ..engine.run import FREE
from ..outcome import CURED_SHARE
from ..recipe.criterion import TEMPERATURE
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..spread import Spread
from ..units import DAY, convert, show
from .pictures import NAMES, scale
from .scale_ends import ends

ABOVE = 0.01  # of the highest average, by which the core stands above it where it is no slowest spot (judgement)
LONGER, OVER = "left longer", "over"
FRAMES = 96  # times of the whole batch that are drawn; between two of them the page goes in a straight line
READ = 49  # of them at which every place is read, evenly among the others
BANDED = 3  # every third of these is read in all draws where each node has a value of its own
LEAST = 8  # of them in a stretch, however short
ACROSS, ROUND = 13, 33  # columns of nodes: along a slab, and round a round piece
NARROW, WIDE = 1.3, 2.6  # how wide a slab is drawn, in its thickness; its true width is not known
DEGREES = {"metric": ("degC", "°C", 10.0), "us": ("degF", "°F", 20.0)}  # unit, its sign, and steps its colours end at


@dataclass(frozen=True)
class Drawn:
    """One piece: x, y (rows, columns) of its nodes in cm, y downwards; value (rows, columns), which reading each node shows; `fat` (rows,),
    whether a row lies in the fat; seam (rows, columns): which nodes of other rows do; ends: whether its sides are where the picture stops and not where the meat does; lying: the foot rests on the
    vessel; thickness in words.

    Of every quantity, by key: values (READ, v) and, with bands, low, high (READ, v); level (t,), from which on a place counts
    as reached; courses, lines over time (t,) by name, each (low, middle, high) or the middle alone. lane: which line of stages is its own.
    stations: of a cut, (place from its head, thickness) in cm; along: its length in cm, 0 for what has none; head: where its ruler begins, cm.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    value: np.ndarray
    fat: np.ndarray
    seam: np.ndarray
    ends: bool
    lying: bool
    thickness: str
    values: dict[str, np.ndarray]
    low: dict[str, np.ndarray]
    high: dict[str, np.ndarray]
    level: dict[str, np.ndarray]
    courses: dict[str, dict[str, tuple[np.ndarray, ...]]]
    lane: int = 0
    stations: tuple[tuple[float, float], ...] = ()
    along: float = 0.0
    head: float = 0.0


@dataclass(frozen=True)
class Quantity:
    """key; label; unit as it is shown; least, most: the values of the lightest and the darkest colour; top: of the highest place that a chart
    has room for; reached: what the line says from which on it is enough; after a bar, what it says where the outside is below the line.
    """

    key: str
    label: str
    unit: str
    least: float
    most: float
    top: float
    reached: str


Stages = tuple[tuple[str, int, int], ...]  # (words, number of the first time, of the last)


@dataclass(frozen=True)
class Section:
    """Pieces on one scale, over the same times (t,) in days; lanes: a name and the stages of each history that is shown; spot: whether the place
    that has least is marked, which is the slowest one while meat is cured.
    """

    pieces: tuple[Drawn, ...]
    quantities: tuple[Quantity, ...]
    days: np.ndarray
    lanes: tuple[tuple[str, Stages], ...]
    spot: bool = True
    spot_until: int = 0  # number of the last time at which it is: what comes after takes salt out again

    @property
    def stages(self) -> Stages:
        """Those of the first history."""
        return self.lanes[0][1]


def section(
    shown: Sequence[tuple[Spread, str, str]],
    quantities: tuple[str, ...] = ("salt", FREE),
    system: str = "metric",
    planned: float | None = None,
    wanted: tuple[float, str] | None = None,
    since: float = 0.0,
    named: Sequence[str] = (),
) -> Section:
    """The section of pieces over whole histories: `shown` lists (draws, name of the piece, words above it). One that ends before the longest
    stays as it ended.

    planned [s]: when a stage that goes on here was to end. wanted: a fraction of salt and what the line at it says, in the place of
    what counts as cured. since [s]: when the picture, and its days, begin. named: a name for the stages of each history, in their order.
    Raises ValueError for a piece that is not there.
    """
    histories = list({id(many.usual): many.usual for many, _, _ in shown}.values())
    times, stages = _times(histories, planned, since)
    own = list(zip(named or [""] * len(stages), stages, strict=True))
    lanes = tuple(dict.fromkeys(own))  # histories that go through the same share one
    lane = {id(history): lanes.index(each) for history, each in zip(histories, own, strict=True)}
    level = None if wanted is None else wanted[0]
    drawn = tuple(
        _drawn(many, name, words, quantities, times, system, level, lane[id(many.usual)]) for many, name, words in shown
    )
    reached = {
        "salt": "cured to here" if wanted is None else wanted[1], FREE: "enough nitrite to here", TEMPERATURE: "hot enough to here|cold enough to here",
    }  # fmt: skip
    asked = tuple(_quantity(key, drawn, reached.get(key, ""), system) for key in quantities)
    drained = [
        usual.begin(n) for usual in histories for n, stage in enumerate(usual.stages)
        if usual.has(n) and (stage.desalts or stage.heats)
    ]  # fmt: skip
    until = int(np.searchsorted(times, min(drained) - 1.0)) if drained else len(times) - 1
    return Section(drawn, asked, (times - since) / DAY, lanes, wanted is None, until)


def _times(histories: Sequence[History], planned: float | None, since: float) -> tuple[np.ndarray, list[Stages]]:
    """(times (t,), stages of each history): even within a part, which ends wherever a stage of any of them does; a long part gets more of them,
    yet a short one is not lost.
    """
    ends = [end for history in histories for ran in history.ran for end in (ran.end, planned) if end is not None]
    last = max(history.length for history in histories)
    edges = [since]
    for end in sorted(ends):
        if edges[-1] + 1.0 < end <= last:
            edges.append(end)
    roots = np.sqrt(np.diff(edges))
    counts = np.maximum(LEAST, np.round(FRAMES * roots / roots.sum()).astype(int))
    parts = [a + (b - a) * np.arange(1, n + 1) / n for (a, b), n in zip(pairwise(edges), counts.tolist(), strict=True)]
    places = np.concatenate([[0], np.cumsum(counts)])
    return np.concatenate([[since], *parts]), [_stages(history, planned, edges, places) for history in histories]


def _stages(history: History, planned: float | None, edges: Sequence[float], places: np.ndarray) -> Stages:
    """What a history is in, from which time to which."""
    found: list[tuple[str, int, int]] = []
    for (begin, end), (first, last) in zip(pairwise(edges), pairwise(places.tolist()), strict=True):
        middle = 0.5 * (begin + end)
        if middle > history.length:
            words = OVER
        else:
            words = _words(history, stage := history.stages[(ran := history.ran_at(middle)).stage])
            if planned is not None and stage.cures and ran.begin < planned <= begin + 1.0:
                words = LONGER
        if found and found[-1][0] == words:
            found[-1] = (words, found[-1][1], last)
        else:
            found.append((words, first, last))
    return tuple(found)


def _words(history: History, stage: Stage) -> str:
    """What a stage is called, with the pieces it is about where others wait."""
    return stage.tag if len(stage.named) in (0, len(history.pieces)) else f"{stage.tag}: {', '.join(stage.named)}"


def _drawn(
    many: Spread, name: str, words: str, quantities: tuple[str, ...], times: np.ndarray, system: str, wanted: float | None, lane: int
) -> Drawn:  # fmt: skip
    usual = many.usual
    alone = Spread.single(
        usual
    )  # draws differ in when a cook ends, so a band of temperatures by the clock would mix cook and chill
    number = usual.piece_number(name)
    piece = usual.pieces[number]
    times = np.minimum(times, usual.length)
    few = np.interp(np.linspace(0, len(times) - 1, READ), np.arange(len(times)), times)
    solutes, whole = [key for key in quantities if key != TEMPERATURE], piece.solid() is not None
    if whole:
        x, y, value, fat = _whole(usual, number)
        bands = many.sections(solutes, few[::BANDED], name) if many.banded and not many.coarser else {}
    else:
        bands = many.profiles(solutes, few, name)
        if TEMPERATURE in quantities:
            bands |= alone.profiles([TEMPERATURE], few, name)
        depth = bands[quantities[0]].depth
        assert depth is not None
        x, y, value, fat = (_slab if piece.shape == "slab" else _round)(piece, depth)
    values, low, high, level, courses = {}, {}, {}, {}, {}
    for key in quantities:
        shown, source = _shown(key, system), alone if key == TEMPERATURE else many
        # Every node has its own value in a piece with a length, in the usual case with all terms.
        values[key] = shown(usual.section(key, few, name).values.reshape(READ, -1) if whole else bands[key].middle)
        if source.banded and key in bands:
            low[key], high[key] = (
                shown(_between(part) if whole else part) for part in (bands[key].low, bands[key].high)
            )
        if key == TEMPERATURE:
            level[key] = shown(_warmth_wanted(usual, name, times))
        else:
            own = wanted if key == "salt" and wanted is not None else _level(usual, key, name)
            level[key] = np.full(len(times), shown(own))
        read = ("average", "core") if key != TEMPERATURE else ("surface", "core")
        found = [source.at(place, key, times, name) for place in read]
        courses[key] = {
            line: tuple(shown(part) for part in band.parts if part is not None)
            for line, band in zip(_lines_of(key, piece, *(band.middle for band in found)), found, strict=True)
        }
    lying = any(stage.lies for stage in usual.stages) and piece.lies_flat
    thickness = show(piece.thickness, "length", system, digits=2)  # as the answer has it
    seam = _fatty(usual, number).T & ~fat[:, None] if whole and piece.shape != "cylinder" else np.zeros(x.shape, bool)
    return Drawn(
        words, x, y, value, fat, seam, piece.shape == "slab", lying, thickness, values, low, high, level, courses, lane,
        **_ruled(piece),
    )  # fmt: skip


def _lines_of(key: str, piece: Piece, around: np.ndarray, core: np.ndarray) -> tuple[str, str]:
    """What the two lines over time (t,) of a piece are called. The core is the slowest spot as long as it has less than the whole: not where fat counts
    in the whole, nor where a soak or a pot took salt from outside.
    """
    if key == TEMPERATURE:
        return "outside", "middle"
    above = bool((core - around > ABOVE * around.max()).any())
    return "average with fat" if piece.fatty else "average", "middle" if above else "slowest spot"


def _between(values: np.ndarray) -> np.ndarray:
    """(READ, k) of values (t, k) at every one of BANDED times, in a straight line between them."""
    times = np.arange(READ)
    after = np.clip(-(-times // BANDED), 1, len(values) - 1)
    share = (times / BANDED - (after - 1))[:, None]
    return (1 - share) * values[after - 1] + share * values[after]


def _ruled(piece: Piece) -> dict[str, Any]:
    """What a hand may take hold of: stations, and how long the piece is."""
    solid = piece.solid()
    if solid is None:
        return {}
    stations = tuple((100 * (each.at - solid.at[0]), 100 * each.thickness) for each in piece.stations)
    return {"stations": stations, "along": 100 * solid.length, "head": 100 * solid.at[0]}


def _shown(key: str, system: str) -> Callable:
    """From a fraction, or from K, to what is shown."""
    if key == TEMPERATURE:
        unit = DEGREES[system][0]
        return lambda kelvin: convert(kelvin, "temperature", unit)
    factor = scale(key)[0]
    return lambda fraction: factor * fraction


def _warmth_wanted(history: History, piece: str, times: np.ndarray) -> np.ndarray:
    """K (t,) that the middle of a piece must come to in the stage of each time; inf in one that goes by the clock, or is not about it."""
    found = np.full(len(times), np.inf)
    for ran in history.ran:
        stage = history.stages[ran.stage]
        if stage.heats and stage.is_about(piece) and stage.until is not None and stage.until.quantity == TEMPERATURE:
            found[(times > ran.begin + 1e-6) & (times <= ran.end + 1e-6)] = stage.until.target
    return found


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
    fat = np.asarray(_fatty(history, number).all(axis=0))
    if piece.shape == "cylinder":  # from the axis outwards: the other half is its mirror image
        order = [*range(x.shape[1] - 1, 0, -1), *range(x.shape[1])]
        upper = piece.thickness - y[:, :0:-1]
        return 100 * x[:, order].T, 100 * np.concatenate([upper, y], axis=1).T, places[:, order].T, fat[order]
    return 100 * x.T, 100 * y.T, places.T, fat


def _fatty(history: History, number: int) -> np.ndarray:
    """(i, k) which nodes of the section of a piece with a length lie in fat."""
    meat = history.state.meats[number]
    assert isinstance(meat.body, Solid)
    return np.asarray(~meat.lean[meat.body.tissue_of_nodes[meat.body.middle]])


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


def _quantity(key: str, drawn: tuple[Drawn, ...], reached: str, system: str) -> Quantity:
    if key == TEMPERATURE:
        _, sign, step = DEGREES[system]
        every = np.concatenate([piece.values[key].ravel() for piece in drawn])
        least, most = step * np.floor((every.min() + 1.5) / step), step * np.ceil(every.max() / step)
        most = float(max(most, least + step))
        return Quantity(key, key, sign, float(least), most, most, reached)
    levels = [float(piece.level[key][0]) for piece in drawn]
    most, top = ends([piece.values[key] for piece in drawn], levels)
    return Quantity(key, NAMES.get(key, key), scale(key)[1], 0.0, most, top, reached)
