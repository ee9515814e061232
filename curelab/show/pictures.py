"""What a picture shows, as plain data: lines with bands and labels, a map, and the sentence above it. No drawing in here.

figures.py turns these into plotly figures to explore and export; the lab draws the very same data live. Colours belong to solutes
for ever, from the Okabe-Ito set (the members with at least 3:1 contrast on white), each with a dash of its own for grey print.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..outcome import CURED_SHARE
from ..recipe.criterion import default_basis
from ..spread import Spread
from ..units import DAY, HOUR, hour_or_day

COLOURS = {"salt": "#0072B2", FREE: "#D55E00", "nitrite": "#009E73", "sugar": "#CC79A7", "nitrate": "#000000"}
DASHES = {"salt": "", FREE: "8 4", "nitrite": "2 3", "sugar": "8 3 2 3", "nitrate": "14 4"}
PLACE_DASHES = {"surface": "2 3", "average": "", "core": "8 4"}
NAMES = {"nitrite": "nitrite taken in", FREE: "free nitrite"}
PARTS_PER_MILLION = ("nitrite", "nitrate", FREE)


@dataclass(frozen=True)
class Series:
    """One line: x, y (n,), in shown units; low, high (n,) of its band or None."""

    label: str
    x: np.ndarray
    y: np.ndarray
    colour: str
    dash: str = ""
    low: np.ndarray | None = None
    high: np.ndarray | None = None


@dataclass(frozen=True)
class Mark:
    """A straight line across the picture at a value of "x" or "y"."""

    axis: str
    at: float
    label: str


@dataclass(frozen=True)
class Lines:
    """A picture of lines: the sentence above, the axes, the lines, and the note below."""

    sentence: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    marks: tuple[Mark, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Map:
    """A picture over time (x, columns) and depth (y, rows): z (y, x), and a line (x, y) where a criterion stands."""

    sentence: str
    x_label: str
    y_label: str
    z_label: str
    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    line: tuple[np.ndarray, np.ndarray] | None = None
    line_label: str = ""
    note: str = ""


def band_note(many: Spread) -> str:
    """What the shading means, in one line; nothing without bands."""
    if not many.banded:
        return ""
    return f"shaded: 8 of 10 simulated batches, of {many.count} draws of {len(many.inputs)} uncertain inputs; line: the middle one"


def shared_range(*pictures: Lines) -> tuple[float, float]:
    """One y range, from zero to a round number, that holds all lines and bands of several pictures."""
    top = max(
        float(np.max(part))
        for picture in pictures
        for s in picture.series
        for part in (s.y, s.high)
        if part is not None
    )
    if top <= 0:
        return 0.0, 1.0
    step = 10.0 ** np.floor(np.log10(top))
    return 0.0, float(next(step * k for k in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if step * k >= top * (1 - 1e-9)))


def scale(quantity: str, basis: str | None = None) -> tuple[float, str]:
    """(factor, unit) in which a fraction of this quantity is shown."""
    on = {
        "meat": "of the meat",
        "green weight": "green weight",
        "water phase": "of salt and water",
        "equilibrium": "of equilibrium",
    }[basis or default_basis(quantity)]
    if quantity in PARTS_PER_MILLION and basis != "equilibrium":
        return 1e6, f"mg/kg {on}"
    return 100.0, f"% {on}"


def depth_scale(system: str) -> tuple[float, str]:
    """(factor, unit) for depth."""
    return (1000.0, "mm") if system == "metric" else (1 / 0.0254, "in")


def profile(
    many: Spread,
    time: float,
    quantities: tuple[str, ...] = ("salt",),
    piece: str | int = 0,
    system: str = "metric",
    basis: str | None = None,
) -> Lines:
    """Across the piece at one time [s]; all quantities must share a unit."""
    name = _name(many, piece)
    factor, unit = scale(quantities[0], basis)
    along, length_unit = depth_scale(system)
    lines = []
    for quantity in quantities:
        found = many.across(quantity, time, name, basis)
        usual, low, high = found
        lines.append(
            Series(
                NAMES.get(quantity, quantity), along * np.asarray(found.depth), factor * usual, COLOURS[quantity], DASHES[quantity],
                None if low is None else factor * low, None if high is None else factor * high,
            )
        )  # fmt: skip
    return Lines(
        _inside(many, time, quantities, name, basis),
        f"{length_unit}, through the {name}",
        f"{'nitrite' if len(quantities) > 1 else NAMES.get(quantities[0], quantities[0])}, {unit}",
        tuple(lines),
        note=band_note(many),
    )


def _inside(many: Spread, time: float, quantities, piece: str, basis) -> str:
    parts = []
    for quantity in quantities:
        factor, unit = scale(quantity, basis)
        said = {}
        for place in ("core", "surface"):
            usual, low, high = many.at(place, quantity, np.array([time]), piece, basis)
            said[place] = _number(factor, usual[0], None if low is None else low[0], None if high is None else high[0])
        parts.append(
            f"{NAMES.get(quantity, quantity)}: {said['core']} {unit.split()[0] if factor == 100 else 'mg/kg'} in the middle, {said['surface']} outside"
        )
    return f"{piece.capitalize()}, {hour_or_day(time)}. {'; '.join(parts).capitalize()}."


def _number(factor: float, usual: float, low: float | None, high: float | None) -> str:
    digits = 0 if factor > 1000 else 2
    words = f"{factor * usual:.{digits}f}"
    return (
        words if low is None or high is None else f"{words} ({factor * low:.{digits}f} to {factor * high:.{digits}f})"
    )


def over_time(
    many: Spread, quantity: str = "salt", piece: str | int = 0, basis: str | None = None, places=("surface", "average", "core"),
    target: float | None = None, target_label: str = "", now: float | None = None,
) -> Lines:  # fmt: skip
    """At the surface, on average and at the core, over the days. `target` (a fraction) and `now` [s] become marks."""
    name = _name(many, piece)
    factor, unit = scale(quantity, basis)
    times = many.usual.times
    lines = []
    for place in places:
        usual, low, high = many.at(place, quantity, times, name, basis)
        lines.append(
            Series(
                place, times / DAY, factor * usual, COLOURS[quantity], PLACE_DASHES[place],
                None if low is None else factor * low, None if high is None else factor * high,
            )
        )  # fmt: skip
    marks = [Mark("y", factor * target, target_label)] if target is not None else []
    if now is not None:
        marks.append(Mark("x", now / DAY, hour_or_day(now)))
    end = many.usual.length if now is None else now
    return Lines(
        _inside(many, end, (quantity,), name, basis), "days since the start", f"{NAMES.get(quantity, quantity)} in the {name}, {unit}",
        tuple(lines), tuple(marks), band_note(many),
    )  # fmt: skip


PIECE_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")
PIECE_DASHES = ("", "8 4", "2 3", "8 3 2 3", "14 4")


def middles(many: Spread, pieces: list[str], now: float | None = None, target: float = CURED_SHARE) -> Lines:
    """The middles of several pieces over the days, in percent of the salt each is heading for, and the mark that counts as cured."""
    times = many.usual.times
    lines, said = [], []
    for number, name in enumerate(pieces):
        usual, low, high = many.at("core", "salt", times, name, "equilibrium")
        lines.append(
            Series(
                name, times / DAY, 100 * usual, PIECE_COLOURS[number % 5], PIECE_DASHES[number % 5],
                None if low is None else 100 * low, None if high is None else 100 * high,
            )
        )  # fmt: skip
        if now is not None:
            said.append(f"{name} {100 * many.at('core', 'salt', [now], name, 'equilibrium').middle[0]:.0f} %")
    marks = [Mark("y", 100 * target, f"cured: {100 * target:.0f} %")]
    if now is not None:
        marks.append(Mark("x", now / DAY, hour_or_day(now)))
    return Lines(
        f"In the middle on {hour_or_day(now)}: {', '.join(said)} of the salt it is heading for." if now is not None else "The middles over the days.",
        "days since the start", "salt in the middle, % of final", tuple(lines), tuple(marks), band_note(many),
    )  # fmt: skip


def before_and_after(many: Spread, before: float, after: float, piece: str | int = 0, system: str = "metric") -> Lines:
    """Salt across the piece at the beginning and the end of a soak, and at the end of all stages if that is later."""
    name = _name(many, piece)
    along, unit = depth_scale(system)
    end = many.usual.length
    moments = [("before the soak", before, "2 3"), ("after the soak", after, "")]
    if end > after + 60:
        moments.append(("after the rest", end, "8 4"))
    lines = []
    for label, when, dash in moments:
        found = many.across("salt", when, name)
        middle, low, high = found
        # One band is enough to see how sure it is; three would hide each other.
        shown = (100 * low, 100 * high) if low is not None and high is not None and when == after else (None, None)
        lines.append(Series(label, along * np.asarray(found.depth), 100 * middle, COLOURS["salt"], dash, *shown))
    return Lines(
        f"{name.capitalize()}: salt from face to face before and after the soak.", f"{unit}, through the {name}",
        "salt, % of the meat", tuple(lines), (), band_note(many),
    )  # fmt: skip


def soak_hours(many: Spread, begin: float, piece: str | int = 0, target: float | None = None) -> Lines:
    """Average, first bite (outer 5 mm) and middle from the beginning of a soak to the end of all stages, in hours."""
    name = _name(many, piece)
    times = many.usual.times
    times = np.concatenate([[begin + 1.0], times[times > begin + 1.0]])
    hours = (times - begin) / HOUR
    lines = []
    for label, place, dash in (
        ("on the whole", "average", ""),
        ("first bite", "first bite", "2 3"),
        ("middle", "core", "8 4"),
    ):
        middle, low, high = many.at(place, "salt", times, name)
        shown = (100 * low, 100 * high) if low is not None and high is not None and place == "average" else (None, None)
        lines.append(Series(label, hours, 100 * middle, COLOURS["salt"], dash, *shown))
    marks = (Mark("y", 100 * target, "wanted"),) if target is not None else ()
    return Lines(
        f"{name.capitalize()}: the surface falls first, the middle lags.", "hours since the soak began", "salt, % of the meat", tuple(lines), marks,
        band_note(many),
    )  # fmt: skip


def bath(many: Spread) -> Lines:
    """Strength of the bath over the days, % salt by weight."""
    times = many.usual.times
    middle, low, high = many.bath("salt", times)
    dry = np.zeros(len(times), dtype=bool)  # while the pieces rest there is no bath, which is not a bath of water
    for ran in many.usual.ran:
        dry |= ran.stretch.sealed & (times > ran.begin + 1e-6) & (times <= ran.end + 1e-6)
    middle = np.where(dry, np.nan, middle)
    band = (
        (None, None)
        if low is None or high is None
        else tuple(100 * np.where(dry, np.nan, each) for each in (low, high))
    )
    wet = np.flatnonzero(~dry)
    first, last = 100 * middle[1], 100 * middle[wet[-1]]
    return Lines(
        f"The bath goes from {first:.1f} % to {last:.1f} % salt.", "days since the start", "salt in the bath, % by weight",
        (Series("bath", times / DAY, 100 * middle, COLOURS["salt"], "", *band),), (), band_note(many),
    )  # fmt: skip


def depth_map(
    history: History, quantity: str = "salt", piece: str | int = 0, level: float | None = None, level_label: str = "", system: str = "metric",
    basis: str | None = None, columns: int = 120, rows: int = 80,
) -> Map:  # fmt: skip
    """Depth against days; `level` (a fraction): where it stands is drawn as a line from the first face down to the middle."""
    name = piece if isinstance(piece, str) else history.pieces[piece].name
    factor, unit = scale(quantity, basis)
    along, length_unit = depth_scale(system)
    times = np.linspace(0.0, history.length, columns)
    found = history.profile(quantity, times, name, basis)
    depth = np.linspace(0.0, found.depth[-1], rows)
    z = np.array([np.interp(depth, found.depth, row) for row in found.values]).T
    line = None
    if level is not None:
        where = np.array([_reach(found.depth, row, level) for row in found.values])
        through = np.flatnonzero(where >= found.depth[-1] / 2)
        if len(through):  # the line ends where both sides meet
            where[through[0] + 1 :] = np.nan
        line = (times / DAY, along * where)
    value = factor * history.core(quantity, None, name, basis)
    return Map(
        f"{name.capitalize()}: {NAMES.get(quantity, quantity)} from face to face over the days; the middle ends at {value:.3g} "
        f"{'mg/kg' if factor > 1000 else '%'}.",
        "days since the start", f"depth, {length_unit}", f"{NAMES.get(quantity, quantity)}, {unit}",
        times / DAY, along * depth, factor * z, line, level_label,
    )  # fmt: skip


def _reach(depth: np.ndarray, values: np.ndarray, level: float) -> float:
    """Depth from the first face to which `level` has come; half the piece when it is through, 0 when nowhere."""
    half = depth <= depth[-1] / 2
    d, v = depth[half], values[half]
    below = np.flatnonzero(v < level)
    if not len(below):
        return float(depth[-1] / 2)
    first = int(below[0])
    if first == 0:
        return 0.0
    share = (v[first - 1] - level) / (v[first - 1] - v[first])
    return float(d[first - 1] + share * (d[first] - d[first - 1]))


def _name(many: Spread, piece: str | int) -> str:
    return piece if isinstance(piece, str) else many.usual.pieces[piece].name
