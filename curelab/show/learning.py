"""What the pictures of a batch with a log show, as data: as planned, as learned, and the readings themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from .. import units
from ..engine.drawn import drawn_case
from ..engine.history import History
from ..engine.simulate import CELLS, LEAST_CELLS, simulate
from ..forecast.ready import wanted_of
from ..learn.readings import GRID, IN_THE_BATH, USUAL_ERROR, Measurement, salometer, usually_off
from ..learn.update import Update
from ..spread import Band, Spread
from ..spread.spread import LONGEST_WAIT
from ..spread.uncertain import POINT_95
from .pictures import COLOURS, Lines, Mark, Series

GREY, BLACK = "#6B6B6B", "#000000"
PLANNED, LEARNED, READ, TASTED = "as planned", "as learned", "read", "tasted"
POINTS = 121  # of a line
HALF = 0.012  # of the width of a picture: half the cross stroke of a reading
NEAR_ZERO = 0.5  # lines that fall below this share of the highest are shown down to zero
ROOM = 1.15  # how far past the last "ready" a picture goes

# Where a reading of the meat is taken, and what the axis says. {}: the name of the piece.
_PLACES = {
    "core salt": ("core", "salt in the middle of the {}, % of the meat"),
    "average salt": ("average", "salt on the whole of the {}, % of the meat"),
    "taste": ("average", "salt on the whole of the {}, % of the meat"),
    "weight": ("weight", "weight of the {}, {}"),
}


def both(found: Update, *, bands: bool = True, long: bool = False) -> tuple[Spread, Spread]:
    """(as planned, as learned), in draws if `bands`, else at the usual value of everything. `long`: the cure goes on past its end, and
    nothing comes after it. With draws, the history beside them is a coarse one of the plan: pictures ask it for names, stages, and the
    sugar and temperature that a salometer floated in.
    """
    draws = [each.followed(found.cure or 0) if long else each for each in (found.planned, found.spread)]
    own = found.batch.meat_and_fridge
    before = {row.key: row.value for row in own.known} if own is not None else {}
    now = before | {row.input.key: row.value for row in found.fit.estimates}
    if bands:
        sweet = any(reading.what == "salometer" for reading in found.readings)
        coarse = _usual(found.spread, now, cells=LEAST_CELLS) if sweet and not long else found.usual
        return draws[0].beside(found.usual), draws[1].beside(coarse)
    return Spread.single(_usual(draws[0], before)), Spread.single(_usual(draws[1], now))


def _usual(many: Spread, values: Mapping[str, float], cells: int = CELLS) -> History:
    pieces, stages, numbers = drawn_case(many.case.pieces, many.case.stages, many.case.numbers, values)
    # Only salt and sugar are shown, and they ask nothing of nitrite.
    return simulate(pieces, stages, loss="none", numbers=numbers, cells=cells, checked=False)


def what_was_read(
    planned: Spread, learned: Spread | None = None, readings: Sequence[Measurement] = (), system: str = "metric"
) -> Lines:
    """The strength of the bath over the days, with the readings of it; where there are none, what was read oftenest in a piece: salt in
    its middle or on the whole, or its weight. Each reading is as long as its error, 9 times of 10.
    """
    in_bath = [reading for reading in readings if reading.what in IN_THE_BATH]
    groups: dict[tuple[str, str], list[Measurement]] = {}
    for reading in readings:
        if reading.what in _PLACES:
            place = _PLACES[reading.what][0]
            groups.setdefault((place, reading.piece or planned.usual.pieces[0].name), []).append(reading)
    if in_bath or not groups:
        return _bath(planned, learned, in_bath)
    (place, piece), rows = max(groups.items(), key=lambda group: len(group[1]))
    unit = "kg" if system == "metric" else "lb"
    factor = units.convert(1.0, "mass", unit) if place == "weight" else 100.0
    times = np.linspace(0.0, planned.usual.length, POINTS)
    label = _PLACES[rows[0].what][1].format(piece, unit)
    lines = [
        _line(name, times, factor, _of_a_piece(one, place, times, piece), name == PLANNED)
        for name, one in ((PLANNED, planned), (LEARNED, learned))
        if one is not None
    ]
    spans = [(reading, _span(reading)) for reading in rows]
    marks = [
        _strokes(
            name,
            [(r.at, factor * np.array(span)) for r, span in spans if (r.what == "taste") == (name == TASTED)],
            times[-1],
        )
        for name in (READ, TASTED)
    ]
    return Lines(_sentence(label, lines, len(rows)), "days since the start", label, (*lines, *filter(None, marks)))


def _bath(planned: Spread, learned: Spread | None, readings: Sequence[Measurement]) -> Lines:
    usual = planned.usual
    last = max((reading.at for reading in readings), default=None)
    cures = [ran for ran in usual.ran if usual.stages[ran.stage].cures] or usual.ran
    owner = (cures[0] if last is None else usual.ran_at(last)).stage
    times = np.linspace(0.0, usual.span(owner)[1], POINTS)
    word = usual.stages[owner].noun if usual.stages[owner].wet and usual.stages[owner].cures else "bath"
    label = f"salt in the {word}, % by weight"
    lines = [
        _line(name, times, 100.0, _in_it(one.bath("salt", times)), name == PLANNED)
        for name, one in ((PLANNED, planned), (LEARNED, learned))
        if one is not None
    ]
    spans = [(reading.at, 100 * np.array(strength_seen(reading, (learned or planned).usual))) for reading in readings]
    marks = filter(None, [_strokes(READ, spans, times[-1])])
    return Lines(_sentence(label, lines, len(readings)), "days since the start", label, (*lines, *marks))


def the_whole(planned: Spread, learned: Spread | None, cure: int, ends: float, longest: float = LONGEST_WAIT) -> Lines:
    """The salt of the thickest piece in percent of what it is heading for, and the mark from which on it has its salt. The cure, from 0, ends at
    `ends` s in the plan; here it is the last stage and goes on to at least `longest` s.
    """
    name = max(planned.usual.pieces, key=lambda piece: piece.lean_thickness).name
    shown = [one for one in (planned, learned) if one is not None]
    wanted = wanted_of(planned.usual, cure, name)
    ready = [when for one in shown for when in one.until(wanted, name, cure) if when is not None]
    furthest = max(ready) if np.isfinite(ready).all() else np.inf
    end = min(longest, _round_days(ROOM * max(ends, furthest)))
    times = np.linspace(0.0, end, POINTS)
    lines = [
        _line(label, times, 100.0, one.at("average", "salt", times, name, "equilibrium"), label == PLANNED)
        for label, one in ((PLANNED, planned), (LEARNED, learned))
        if one is not None
    ]
    over = 1.0 if wanted.basis == "equilibrium" else planned.usual.resting("salt", cure, name)
    enough = 100 * wanted.target / over
    cured = Series(
        f"has its salt ({enough:.0f} %)",
        np.array([0.0, end / units.DAY]),
        np.full(2, enough),
        BLACK,
        "2 3",
    )
    label = f"salt on the whole of the {name}, % of final"
    marks = (Mark("x", ends / units.DAY, "the plan ends"),)
    return Lines(_sentence(label, lines, 0), "days since the start", label, (*lines, cured), marks)


def room(picture: Lines) -> tuple[float, float | None]:
    """The y range of a picture: not down to zero where that would press everything into its upper part, which is where readings differ."""
    parts = [
        part
        for line in picture.series
        for part in (line.y, line.low, line.high)
        if part is not None and np.isfinite(part).any()
    ]
    if not parts:
        return 0.0, None
    low, high = min(float(np.nanmin(part)) for part in parts), max(float(np.nanmax(part)) for part in parts)
    if low < NEAR_ZERO * high or not low < high:
        return 0.0, None
    step = 10.0 ** np.floor(np.log10(high - low))
    return float(step * np.floor(low / step)), float(step * np.ceil(high / step))


def _round_days(seconds: float) -> float:
    """Up to whole tens of days, or fewer where it is short, so that more draws seldom ask for other times than few did."""
    if not np.isfinite(seconds):
        return seconds
    step = next(days for days, up_to in ((2, 10), (5, 40), (10, np.inf)) if seconds <= up_to * units.DAY)
    return float(step * units.DAY * np.ceil(seconds / (step * units.DAY)))


def meaning(found: Update, bands: bool) -> str:
    """What the lines, bands and strokes of these pictures mean; the inputs that are varied are named where the days are told."""
    strokes = "A reading is an upright stroke as long as its error: 9 times of 10 the truth lies in it."
    if not bands:
        return f"{strokes} Bands are off: one line at the usual value of everything, and nothing of how sure it is."
    carried = ", usual or carried over" if found.batch.meat_and_fridge is not None else " or usual"
    return (
        f"{strokes} A band holds 8 of 10 simulated batches, its line is the middle one: of the same {found.count} draws (seed {found.spread.draws.seed}). As "
        f"planned, all that is named was varied within what is published{carried}; as learned, no further than the log leaves it open. A band "
        "says nothing about what the model leaves out."
    )


def taken_as_usual(found: Update) -> str:
    """Which errors nobody wrote down, and what was taken in their place; "" if none."""
    silent = dict.fromkeys(entry.what for entry in found.batch.log if entry.what in USUAL_ERROR and entry.off is None)
    said = [f"{what} {usually_off(what, found.batch.units)}" for what in silent if what != "taste"]
    if not said:
        return ""
    return f"Where no error was written down, the usual one is taken (a judgement): {', '.join(said)}."


def strength_seen(reading: Measurement, history: History) -> tuple[float, float, float]:
    """(low, as read, high) of a reading of the bath as its strength; degrees of a salometer with the sugar and the temperature that the
    bath has then in this history.
    """
    span = _span(reading)
    if reading.what != "salometer":
        return span
    sugar = history.bath("sugar", reading.at)
    kelvin = history.temperature(reading.at) if reading.temperature is None else reading.temperature
    shown = salometer(GRID / (1 - GRID), np.array(sugar / (1 - sugar)), np.array(kelvin), history.numbers)
    low, middle, high = (float(np.interp(degrees, shown, GRID)) for degrees in span)
    return low, middle, high


def _span(reading: Measurement) -> tuple[float, float, float]:
    off = POINT_95 * reading.error
    return max(reading.value - off, 0.0), reading.value, reading.value + off


def _in_it(band: Band) -> Band:
    """Nothing where the meat rests and there is no bath."""
    low, middle, high = (None if part is None else np.where(part > 0, part, np.nan) for part in band.parts)
    return replace(band, low=low, middle=middle, high=high)


def _of_a_piece(one: Spread, place: str, times: np.ndarray, piece: str) -> Band:
    return one.weight(times, piece) if place == "weight" else one.at(place, "salt", times, piece)


def _line(label: str, times: np.ndarray, factor: float, found: Band, planned: bool) -> Series:
    middle, low, high = found
    band = (None, None) if low is None or high is None else (factor * low, factor * high)
    colour, dash = (GREY, "8 4") if planned else (COLOURS["salt"], "")
    return Series(label, times / units.DAY, factor * middle, colour, dash, *band)


def _strokes(label: str, spans: Sequence[tuple[float, np.ndarray]], width: float) -> Series | None:
    """One upright stroke for each reading (at [s], (low, as read, high)), with a cross stroke where it was read; in one line with gaps."""
    if not spans:
        return None
    spans = sorted(spans, key=lambda pair: pair[0])
    xs, ys = list[float](), list[float]()
    half = HALF * width
    for number, (at, (low, middle, high)) in enumerate(spans):
        after = spans[number + 1][0] if number + 1 < len(spans) else np.inf
        left = max(at - half, xs[-1] * units.DAY if xs else 0.0)  # x must not go back
        right = min(at + half, after)
        xs += [x / units.DAY for x in (left, at, at, at, at, right, right)]
        ys += [middle, middle, high, low, middle, middle, np.nan]
    return Series(label, np.array(xs), np.array(ys), BLACK)


def _sentence(label: str, lines: Sequence[Series], readings: int) -> str:
    ends = []
    for line in lines:
        seen = np.flatnonzero(np.isfinite(line.y))
        if not len(seen):
            continue
        last = seen[-1]
        band = (
            f" ({line.low[last]:.3g} to {line.high[last]:.3g})"
            if line.low is not None and line.high is not None
            else ""
        )
        ends.append(f"{line.label} {line.y[last]:.3g}{band} on day {line.x[last]:.3g}")
    more = f", with {readings} reading{'s' if readings > 1 else ''}" if readings else ""
    return f"{label[0].upper()}{label[1:]}: {', '.join(ends)}{more}."
