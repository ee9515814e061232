"""What stands on the batch sheet and on the label, as plain data: one content for paper, command and
bench. No HTML in here.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from .. import __version__, units
from ..limits import NITRITE_CAUTIONS
from ..recipe.measured import measures, with_fat
from ..recipe.piece import Piece
from ..show import cut_section, pictures
from ..show.answer import UNTIL_CURED, ranges
from ..show.check_names import INFORMS, kitchen
from ..show.cut_section import CutSection
from ..show.dangers import briefly, warnings
from ..show.own_units import own_units
from ..show.pictures import Lines, Mark
from ..show.warm_lines import cautions_of
from ..units import capital
from . import say_time
from .schedule import Schedule
from .tasks import READING
from .weighings import Weighing, grams, ounces, weighings

BELOW = "4 °C (40 °F)"
PICTURES = 2  # on a sheet: profiles of the thickest and the thinnest piece, or a profile and a section of the thickest


@dataclass(frozen=True)
class Turn:
    """When to turn, or with `reads` to read the brine; `moved`: not when it was asked for; `minutes` since the first stage began."""

    day: str
    clock: str
    moved: bool
    minutes: int
    reads: bool


@dataclass(frozen=True)
class Row:
    """A line to tick off; `turns` and `readings` of the brine belong to the stage that begins here."""

    day: str
    clock: str
    title: str
    detail: str
    moved: bool
    turns: tuple[Turn, ...] = ()
    readings: tuple[Turn, ...] = ()


@dataclass(frozen=True)
class Meat:
    """A piece, and what becomes of it by the plan."""

    name: str
    what: str
    green: str
    thick: str
    outcome: str


@dataclass(frozen=True)
class Judged:
    """A verdict in one sentence."""

    outcome: str
    sentence: str


@dataclass(frozen=True)
class Sheet:
    """The batch sheet, from top to bottom. of_weights: how many of the cautions, the first ones, belong to what is weighed."""

    title: str
    batch_id: str
    invented: bool
    dates: str
    zone: str
    stop: tuple[str, ...]
    answer: tuple[str, ...]
    meat: tuple[Meat, ...]
    weighings: tuple[Weighing, ...]
    vessel: str
    rows: tuple[Row, ...]
    moves: tuple[str, ...]
    effects: tuple[str, ...]
    checks: tuple[str, ...]
    pictures: tuple[Lines | CutSection, ...]
    verdicts: tuple[Judged, ...]
    passed: tuple[str, ...]
    rules: str
    cautions: tuple[str, ...]
    of_weights: int
    rests_on: tuple[str, ...]
    version: str


@dataclass(frozen=True)
class Label:
    """What is stuck on the vessel."""

    title: str
    batch_id: str
    invented: bool
    into: str
    out: str
    cure: tuple[str, ...]
    nitrite: bool
    strength: str
    version: str
    keep: str
    warnings: tuple[str, ...] = ()


def sheet(found: Schedule) -> Sheet:
    """The sheet of a plan."""
    batch, planned = found.batch, found.told
    numbers = planned.history.numbers
    worrying = [each for each in planned.verdicts if each.outcome != "pass" and each.name not in INFORMS]
    fine = [verdict for verdict in planned.verdicts if verdict.outcome == "pass"]
    taste = [_percent(numbers.si(f"taste.normal_{end}")) for end in ("low", "high")]
    drawn = _pictures(found)
    sources = planned.history.sources  # after all that looks numbers up
    uncertain = sum(number.how in ("memory", "judgement") for number in sources)
    weighing = planned.weighed.cautions if planned.weighed else ()
    # The first of the usual cautions says what the weigh-out says of its own nitrite already.
    usual = cautions_of(planned)[1 if planned.weighed and planned.weighed.nitrite else 0 :]
    of_weights = len(weighing) + sum(each in NITRITE_CAUTIONS for each in usual)
    return Sheet(
        title=batch.name,
        batch_id=batch.known_by,
        invented=batch.invented,
        dates=_dates(found),
        zone=found.clock.zone or "",
        stop=found.stop,
        answer=found.answer,
        meat=tuple(_meat(found, piece) for piece in batch.pieces),
        weighings=weighings(found),
        vessel=own_units(planned.vessel.sentence, batch.units) if planned.vessel else "",
        rows=_rows(found),
        moves=found.moves,
        effects=found.effects,
        checks=found.to_check,
        pictures=drawn,
        verdicts=tuple(Judged(verdict.outcome, capital(_typed(briefly(verdict.sentence)))) for verdict in worrying),
        passed=tuple(dict.fromkeys(kitchen(verdict.name) for verdict in fine)),
        rules=batch.rules,
        cautions=tuple(dict.fromkeys((*(own_units(each, batch.units) for each in weighing), *usual))),
        of_weights=of_weights,
        rests_on=(
            *(own_units(each, batch.units) for each in planned.history.assumptions),
            ranges(planned.draws),
            f"{len(sources)} published numbers were used; {uncertain} of them rest on memory or judgement.",
            f"The usual taste, {taste[0]} to {taste[1]} % salt, is a judgement.",
        ),
        version=__version__,
    )


def shortened(full: Sheet) -> Sheet:
    """The sheet with its small print cut where a full page has no room; each cut says where the rest is to
    be read.
    """
    moves, checks, rows = full.moves, full.checks, full.rows
    if any(row.readings for row in rows):
        days = dict.fromkeys(turn.day for row in rows for turn in row.readings)
        checks = (f"Read the brine on {', '.join(days)}: the plan has the hours.", *checks)
        rows = tuple(dataclasses.replace(row, readings=()) for row in rows)
    if len(moves) > 2:
        moves = (f"{len(moves)} changes by the kitchen's hours; the plan tells each.",)
    if len(checks) > 3:
        checks = (*checks[:3], f"{len(checks) - 3} more in the plan.")
    effects = full.effects
    if len(effects) > 2:
        effects = ("The plan tells what they do to the meat.",)
    rests_on = (*full.rests_on[:1], *full.rests_on[-3:], "The report of the batch names all it rests on.")
    answer = tuple(said for said in full.answer if not said.startswith(UNTIL_CURED))  # a caution says it too
    return dataclasses.replace(
        full, answer=answer, rows=rows, moves=moves, checks=checks, effects=effects, rests_on=rests_on
    )


def label(found: Schedule) -> Label:
    """The label of the vessel: the first cure of the plan, when it goes in and out, and what is in it."""
    batch, planned = found.batch, found.planned
    system = batch.units
    index = next((n for n, stage in enumerate(planned.history.stages) if stage.cures), 0)
    stage = planned.history.stages[index]
    mine = [task for task in found.tasks if task.stage == index]
    into, end = (
        mine[0],
        next(
            (task for task in found.tasks if task.minutes > mine[-1].minutes and task.stage != index),
            mine[-1],
        ),
    )
    green = sum(piece.weight for piece in batch.pieces)
    made = stage.put_in
    water = getattr(made, "water", 0.0)
    cure = []
    if planned.weighed is not None and planned.weighed.cure_mix:
        mix, name = planned.weighed.cure_mix, planned.weighed.weigh_out.cure
        cure.append(f"{grams(mix)} of {name.name if name else 'cure mix'}")
        cure.append(_per_weight(mix, green, water, "cure mix", system))
    elif made is not None and made.nitrite:
        cure.append(_per_weight(made.nitrite, green, water, "sodium nitrite", system))
    if made is not None and made.salt and not water:
        cure.append(_per_weight(made.salt, green, water, "salt in all", system))
    strength = f"{stage.tag} of {100 * made.strength:.1f} % salt" if water else stage.tag
    contains = made is not None and bool(made.nitrite or made.nitrate)
    when = lambda task: say_time.moment(task.at, system, year=True) if task.at else task.day  # noqa: E731
    return Label(
        batch.name,
        batch.known_by,
        batch.invented,
        when(into),
        when(end),
        (*cure, *(("for this batch only: weigh anew for every batch",) if cure else ())),
        contains,
        strength,
        __version__,
        f"Keep below {own_units(BELOW, system)}.",
        tuple(_typed(each) for each in (*found.stop, *warnings(found.told.verdicts))),
    )


def _per_weight(mass: float, green: float, water: float, what: str, system: str) -> str:
    unit = "lb" if system == "us" else "kg"
    each = 1e3 * mass * units.read(f"1 {unit}", "mass")
    said = f"{each / green:.3g} g {what} per {unit} of meat"
    return said + (f", {each / (green + water):.3g} g per {unit} of meat and water" if water else "")


def _dates(found: Schedule) -> str:
    system = found.batch.units
    if found.start is None or found.end is None:
        return f"no dates yet; ready on {found.tasks[-1].day}"
    first = found.tasks[0].at or found.start
    return f"{say_time.moment(first, system, year=True)} to {say_time.moment(found.end, system, year=True)}"


def _meat(found: Schedule, piece: Piece) -> Meat:
    system, planned = found.batch.units, found.told
    thick, *others = measures(piece, system)
    last = planned.history.ran[-1].stage
    whole, core = (planned.band(place, "salt", last, piece.name) for place in ("average", "core"))
    said = f"{_banded(whole)} % salt, {_banded(core)} % in the middle"
    return Meat(
        piece.name,
        f"{', '.join((str(piece.tissue), piece.shape, *others))}{with_fat(piece, system)}",
        ounces(piece.weight) if system == "us" else grams(piece.weight),
        thick,
        said,
    )


def _banded(band: tuple[float, float, float]) -> str:
    value, low, high = (100 * each for each in band)
    return f"{value:.1f} ({low:.1f} to {high:.1f})"


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.2g}"


def _rows(found: Schedule) -> tuple[Row, ...]:
    system = found.batch.units
    day = lambda task: say_time.day(task.at.date(), system) if task.at else task.day  # noqa: E731
    clock = lambda task: say_time.clock(task.at, system) if task.at else ""  # noqa: E731
    rows: list[Row] = []
    for task in found.tasks:
        if task.wanted is None:
            rows.append(Row(day(task), clock(task), task.title, task.detail, task.moved))
        else:
            reads = READING in task.key
            turn = Turn(day(task), clock(task), task.moved, task.minutes, reads)
            row = rows[-1]
            if reads:
                rows[-1] = dataclasses.replace(row, readings=(*row.readings, turn))
            else:
                rows[-1] = dataclasses.replace(row, turns=(*row.turns, turn))
    return tuple(rows)


def _pictures(found: Schedule) -> tuple[Lines | CutSection, ...]:
    """Salt from face to face on the last day, for the thickest and the thinnest piece, with the usual
    taste marked; beside a thickest piece that has a length, its section.
    """
    planned, pieces = found.told, found.batch.pieces
    numbers = planned.history.numbers
    order = sorted(range(len(pieces)), key=lambda n: -pieces[n].thickness)
    chosen = [order[0], *order[-1:]] if len(order) > 1 else order
    low, high = (100 * numbers.si(f"taste.normal_{end}") for end in ("low", "high"))
    marks = (Mark("y", low, f"usual taste from {low:g} %"), Mark("y", high, f"to {high:g} %"))
    end = planned.history.length
    last = next((task.at for task in found.tasks if round(end / 60) == task.minutes), None)
    thickest = pieces[order[0]]
    section = cut_section.of(planned.history, end, thickest.name, found.batch.units)
    drawn: list[Lines | CutSection] = []
    for number in chosen[: PICTURES if section is None else PICTURES - 1]:
        lines = pictures.profile(planned.spread, end, ("salt",), pieces[number].name, found.batch.units)
        day = say_time.day(last.date(), found.batch.units) if last else units.hour_or_day(end)
        drawn.append(
            dataclasses.replace(lines, sentence=lines.sentence.replace(units.hour_or_day(end), day), marks=marks)
        )
    return (*drawn, section) if section is not None else tuple(drawn)


def _typed(words: str) -> str:
    """With the signs of print for the units of a file."""
    return words.replace(" degC", " °C").replace(" degF", " °F")
