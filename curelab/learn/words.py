"""What a log has taught, in sentences and small tables. Pure functions of a fit; nothing is computed here but roundings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..batch import Batch
from ..engine.history import History
from ..limits.verdict import SIGNS
from ..spread import Times
from ..spread.answers import in_ten
from ..spread.uncertain import POINT_95, Uncertain, uncertain_inputs
from ..units import DAY, capital, day, day_number, listed
from .fit import Estimate, Fit, known_before
from .probe import WARMTH
from .readings import IN_THE_BATH, Measurement
from .warm_log import warm_log

PROBABLY = 0.67  # deviations from the typical pace, 3 cases of 4: with less the meat is called alike (judgement)
SAME = 0.05  # and so is what is this near to it, however sure (judgement)
CLOSE = (0.8, 1.25)  # an interval that reaches beyond this leaves much open (judgement)
MOST = 3  # sorts of readings that a headline tells
NINE_IN_TEN = "9 times in 10"


@dataclass(frozen=True)
class Told:
    """headline: what was seen, what it says, and when the meat comes out. details: the figures behind it. cannot: what the data
    cannot tell. rests_on: what the days in brackets mean, with draws and inputs. days: whether a day may be said at all: none is for meat
    that was warm, nor from readings that do not agree.
    """

    headline: str
    details: tuple[str, ...]
    cannot: tuple[str, ...]
    rests_on: str
    days: bool = True

    @property
    def sentence(self) -> str:
        return " ".join([self.headline, *self.details, *self.cannot, self.rests_on])


def told(
    batch: Batch,
    usual: History,
    found: Fit,
    readings: Sequence[Measurement],
    before: Times | None,
    after: Times | None,
    begin: float,
    draws: str,
    warm_ends: Sequence[str] = (),
) -> Told:
    """The words of an update; `usual`: the plan as simulated, `begin` [s]: when the cure begins from which the times count, if there is one;
    draws: what the spread rests on; warm_ends: when what a probe is in is over, in sentences.
    """
    seen = what_was_seen(readings, usual, batch.units)
    pace = found.get("obstruction.lean")
    paced = any(word in _verdict(found, pace) for word in ("faster", "slower"))
    again = "read it again" if len(readings) == 1 else "no new day is said until they do"
    when = again
    if found.believed and before is not None and after is not None:
        when = _ready(before, after, begin, paced)
    hot_only = all(reading.what == WARMTH for reading in readings)
    if hot_only:
        doubt = ", which no meat and bath that are published would give here; check the probe, and that the bath is as planned"
        headline = f"{capital(seen)}{'' if found.believed else doubt}."
    else:
        headline = f"{capital(seen)}: {_verdict(found, pace)}; {when}."
    if len(readings) == 1 and found.believed:
        headline += " One reading alone may be wrong: take a second before you trust it."
    warm = warm_log(batch)
    if warm:  # no day is worth saying for meat that was warm
        headline = f"{SIGNS['fail']}: {warm} {capital(seen)}: {_verdict(found, pace)}."
    details = list(warm_ends) if found.believed else []
    for row in found.estimates if found.believed else ():  # no figure from what is not believed
        if row.input.key == "obstruction.lean" and row.narrowed and _settled(found, row):
            details.append(_pace_in_figures(row, batch))
        if row.input.key == "temperature" and row.narrowed:
            details.append(_offset(row, batch.units))
        if row.input.key.startswith("ph.") and row.narrowed:
            details.append(
                f"{capital(row.input.label)} is {row.value:.2f} ({row.low:.2f} to {row.high:.2f}, {NINE_IN_TEN})."
            )
    days = found.believed and not warm and after is not None
    rests_on = f"It rests on {draws}"
    if days and after is not None:
        ready = after.said[0].lower() + after.said[1:]
        rests_on = (
            f"It comes out when: {ready}. The days in brackets hold 8 of 10 simulated batches, in {after.rests_on}"
        )
    return Told(headline, tuple(details), found.notes, rests_on, days)


def typical_pace() -> float:
    """The middle of the published range of obstruction."""
    return known_before(next(row for row in uncertain_inputs() if row.key == "obstruction.lean"))[1]


def brine_tells(batch: Batch) -> bool:
    """Whether there is a brine that weakens as its meat takes salt: so much of it, and no bag."""
    cure = next((stage for stage in batch.filled() if stage.cures), None)
    return cure is not None and cure.wet and not any(stretch.endless for stretch in cure.stretches)


def what_to_measure(batch: Batch) -> str:
    """What to measure, and how, for a cook whose log says nothing yet, in short sentences."""
    name = max(batch.pieces, key=lambda piece: piece.lean_thickness).name
    slice_of = f"fry a thin slice of the {name} when it is done, and write down its taste."
    if brine_tells(batch):
        return (
            "Stir the brine, let a salometer float in it, and write down what it shows. Write down how cold the brine is, too. Do so when the meat "
            f"goes in, after two days, and twice more before the cure ends. Without a salometer, {slice_of}"
        )
    return (
        "Nothing outside the meat tells here how fast it takes salt. Send a slice through the middle to be measured, or lay a salt strip on it. "
        f"Do so while the middle still lags. Without a strip, {slice_of}"
    )


# ---- the headline ----------------------------------------------------------------------------------------------------


def what_was_seen(readings: Sequence[Measurement], usual: History, system: str) -> str:
    """The readings in one clause: "your brine fell from 26 to 23.4 degrees by day 4"."""
    groups: dict[tuple[str, str, int], list[Measurement]] = {}
    for reading in sorted(readings, key=lambda one: one.at):
        # Compare only readings from one brine; the fridge has its own sentence.
        stage = usual.ran_at(min(reading.at, usual.length)).stage
        key = (reading.what, reading.piece, stage if reading.what in (*IN_THE_BATH, WARMTH) else 0)
        groups.setdefault(key, []).append(reading)
    seen = [rows for (what, *_), rows in groups.items() if what not in ("temperature", "acidity")]
    if not seen:
        what = {"temperature": "the temperature", "acidity": "the pH"}
        kinds = list(dict.fromkeys(what[reading.what] for reading in readings))
        return f"you measured {' and '.join(kinds)}"
    clauses = [_clause(rows, usual, system) for rows in seen[:MOST]]
    others = sum(map(len, seen[MOST:]))
    if others:
        clauses.append(f"{others} other reading{'s' if others > 1 else ''}")
    return listed(clauses)


def _clause(rows: Sequence[Measurement], usual: History, system: str) -> str:
    first, last = rows[0], rows[-1]
    when = day(last.at, 2)
    name = last.piece or usual.pieces[0].name
    if last.what == "taste":
        return f"a slice of the {name} tasted {last.word} on {when}"
    subject, had = {
        "brine strength": ("your brine", "held {} salt"),
        "salometer": ("your brine", "showed {}"),
        "weight": (f"the {name}", "weighed {}"),
        "core salt": (f"the core of the {name}", "held {} salt"),
        "average salt": (f"a slice of the {name}", "held {} salt"),
        WARMTH: (f"the middle of the {name}", "was at {}"),
    }[last.what]
    if len(rows) == 1:
        return f"{subject} {had.format(last.shown(last.value, system))} on {when}"
    was, now = first.shown(first.value, system), last.shown(last.value, system)
    if was == now:
        return f"{subject} stayed at {now} until {when}"
    verb = {"weight": ("lost weight", "gained weight")}.get(last.what, ("fell", "rose"))[last.value > first.value]
    if was.rpartition(" ")[2] == now.rpartition(" ")[2]:
        was = was.rpartition(" ")[0]
    return f"{subject} {verb} from {was} to {now} by {when}"


def _verdict(found: Fit, pace: Estimate | None) -> str:
    if pace is None:
        return "that says nothing about how fast this meat takes salt"
    far = "that is too far from any meat that is published to be believed"
    if not found.agree and len(found.residuals) == 1:
        return far
    if not _settled(found, pace):
        return "these readings do not agree with each other, and settle nothing about how fast this meat takes salt"
    if found.stuck:
        return far
    if not pace.narrowed:
        return "that says next to nothing about how fast this meat takes salt"
    ratio, low, high = _over_typical(pace)
    deviation = np.log(high / low) / (2 * POINT_95)
    if abs(np.log(ratio)) < PROBABLY * deviation or abs(ratio - 1) < SAME:
        open_still = "" if CLOSE[0] <= low and high <= CLOSE[1] else ", so far"
        return f"this meat takes salt as fast as typical{open_still}"
    maybe = "" if not low <= 1 <= high else " probably"
    said = f"this meat{maybe} takes salt {'faster' if ratio > 1 else 'slower'} than typical"
    return said if found.agree else f"these readings do not agree with each other, but taken together they say {said}"


def _settled(found: Fit, pace: Estimate) -> bool:
    """Whether readings that do not agree with each other agree at least on which side of the typical pace this meat is."""
    _, low, high = _over_typical(pace)
    return found.agree or (pace.told and not low <= 1 <= high)


def _ready(before: Times, after: Times, begin: float, paced: bool) -> str:
    """When it comes out; beside the day of before only where the readings say that this meat is `paced` otherwise, which is why it moves."""
    was, now = ([(begin + times.quantile(level)) / DAY for level in (0.5, 0.1, 0.9)] for times in (before, after))
    if not np.isfinite(now[0]):
        early = f" (in 1 of 10 by day {now[1]:.0f})" if np.isfinite(now[1]) else ""
        return f"in half of the simulated batches it has not its salt within {after.at_most / DAY:.0f} days{early}"
    late = f"to {now[2]:.0f}" if np.isfinite(now[2]) else f"to beyond {(begin + after.at_most) / DAY:.0f}"
    if np.isfinite(was[0]) and round(was[0]) == round(now[0]):
        moved = ", as before"
    elif not paced:
        moved = ""
    else:
        moved = (
            f" rather than {was[0]:.0f}"
            if np.isfinite(was[0])
            else f" rather than after more than {before.at_most / DAY:.0f} days"
        )
    return f"out on day {now[0]:.0f}{moved} ({now[1]:.0f} {late} in 8 of 10 simulated batches)"


def by_the_plan(after: Times, begin: float, ends: float) -> str:
    """How often the meat has its salt when the plan ends its cure (both in s since the start), as far as the log tells."""
    return f"By {day(ends)}, when the plan ends this cure, it has its salt {in_ten(after.chance(ends - begin))}."


# ---- the figures behind it -------------------------------------------------------------------------------------------


def _over_typical(pace: Estimate) -> tuple[float, float, float]:
    typical = typical_pace()
    return pace.value / typical, pace.low / typical, pace.high / typical


def _pace_in_figures(pace: Estimate, batch: Batch) -> str:
    ratio, low, high = _over_typical(pace)
    own = batch.meat_and_fridge
    earlier = ""
    if own is not None and any(row.key == pace.input.key for row in own.known):
        earlier = f" What was carried over from {own.name} expected {_times(pace.before[1] / typical_pace())} times."
    span = f"{_times(low)} to {_times(high)}, {NINE_IN_TEN}"
    return f"It takes salt {_times(ratio)} times as fast as typical ({span}).{earlier}"


def _offset(row: Estimate, system: str) -> str:
    """ "The fridge ran 1.2 °C warmer than planned (0.4 to 2.0, 9 times in 10)." """
    by, unit = (1.8, "°F") if system == "us" else (1.0, "°C")
    value, low, high = (round(by * one, 1) + 0.0 for one in (row.value, row.low, row.high))
    if low <= 0 <= high:
        return f"The temperature was as planned, as far as the thermometer tells ({low:+.1f} to {high:+.1f} {unit}, {NINE_IN_TEN})."
    word = "warmer" if value > 0 else "colder"
    ends = sorted((abs(low), abs(high)))
    return (
        f"The fridge ran {abs(value):.1f} {unit} {word} than planned ({ends[0]:.1f} to {ends[1]:.1f}, {NINE_IN_TEN})."
    )


def _times(value: float) -> str:
    return f"{value:.1f}" if value >= 1 else f"{value:.2f}"


# ---- tables ----------------------------------------------------------------------------------------------------------


def estimate_rows(found: Fit, system: str) -> list[list[str]]:
    """Every fitted input, before the log was read and now (middle, and in brackets 9 times in 10), under a head."""
    rows = [["", "before", "now"]]
    for one in found.estimates:
        label, words = in_words(one.input, system)
        rows.append([label, words(one.before), words((one.low, one.value, one.high))])
    return rows


def in_words(row: Uncertain, system: str) -> tuple[str, Callable[[Sequence[float]], str]]:
    """What a cook calls an input, and (low, middle, high) of it, in its printed unit, in words; the pace of salt in times the typical."""
    label, factor, unit, form = row.label, 1.0, "" if row.unit in ("ratio", "pH") else row.unit, ".3g"
    if row.key == "obstruction.lean":
        label, factor, form = f"{label}, times the typical", 1 / typical_pace(), ".2f"
    elif row.key == "temperature":
        factor, unit = (1.8, "°F") if system == "us" else (1.0, "°C")
        label, form = f"{label}, beside the plan", "+.1f"
    elif row.unit == "pH":
        form = ".2f"

    def words(three: Sequence[float]) -> str:
        low, middle, high = (f"{round(factor * value, 9) + 0.0:{form}}" for value in three)
        return f"{middle} ({low} to {high}) {unit}".rstrip()

    return label, words


def residual_table(found: Fit, pieces: Sequence[str], system: str) -> list[str]:
    """`residual_rows` as lines of text."""
    rows = residual_rows(found, pieces, system)
    return columns(rows, right=(0, len(rows[0]) - 1))


def residual_rows(found: Fit, pieces: Sequence[str], system: str) -> list[list[str]]:
    """Every reading beside what the fit makes of it, under a head; piece names only where there are several."""
    several = len(pieces) > 1
    rows = [["day", "what", *(["piece"] if several else []), "reading", "predicted", "off"]]
    for one in sorted(found.residuals, key=lambda row: row.reading.at):
        reading = one.reading
        shown = f"{reading.word}" if reading.word else reading.shown(reading.value, system)
        rows.append(
            [
                day_number(reading.at, 2), reading.what, *([_piece(reading, pieces)] if several else []), shown,
                reading.shown(one.predicted, system), f"{one.off:+.1f}",
            ]
        )  # fmt: skip
    return rows


def _piece(reading: Measurement, pieces: Sequence[str]) -> str:
    of_a_piece = reading.what not in (*IN_THE_BATH, "temperature")
    return reading.piece or (pieces[0] if of_a_piece else "")


def days_table(before: Times, after: Times, begin: float) -> list[str]:
    """`days_rows` as lines of text."""
    return columns(days_rows(before, after, begin))


def days_rows(before: Times, after: Times, begin: float) -> list[list[str]]:
    """When the meat is ready, before and after the log was read, under a head."""
    rows = [["", "middle batch", "8 of 10 simulated"]]
    for name, times in (("before the readings", before), ("after them", after)):
        middle, early, late = ((begin + times.quantile(level)) / DAY for level in (0.5, 0.1, 0.9))
        never = f"not within {times.at_most / DAY:.0f} days"
        rows.append(
            [
                name,
                f"day {middle:.0f}" if np.isfinite(middle) else never,
                f"day {early:.0f} to {f'{late:.0f}' if np.isfinite(late) else 'later, if at all'}"
                if np.isfinite(early)
                else never,
            ]
        )
    return rows


def columns(rows: Sequence[Sequence[str]], right: Sequence[int] = (), gap: int = 2) -> list[str]:
    """Rows of cells as lines; those in `right` are set flush right."""
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        (" " * gap)
        .join(cell.rjust(wide[k]) if k in right else cell.ljust(wide[k]) for k, cell in enumerate(row))
        .rstrip()
        for row in rows
    ]
