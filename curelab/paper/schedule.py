"""When everything is done: a batch laid into the kitchen's hours, forward from its start or backward from the
serving time.

The stages keep the lengths that were asked for wherever the kitchen's hours allow it. Where they do not, a
task moves to the nearest hour that does, the batch is computed again with the lengths and turns that come of
it, and the difference is said. Lengths are elapsed time, so a stage that lasts across a clock
change keeps its length, whatever the clock on the wall shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from ..batch import Batch
from ..engine.history import FREE
from ..fields import refuse
from ..learn.warm_log import IN_THE_LOG, warm_log
from ..limits.verdict import SIGNS
from ..outcome import Outcome, run
from ..show.answer import keep_cold
from ..show.check_names import kitchen
from ..show.dangers import failing
from ..show.fate import fate, no_day
from ..show.stop import not_to_follow
from ..show.to_the_plate import cure_to_serve
from ..spread.answers import ordered
from ..units import MINUTES_A_DAY
from . import say_time
from .beside import readings_of, remarks_of, with_answer
from .dated_checks import Check, checks_of
from .kitchen_clock import KitchenClock, intersect, nearest
from .moments import elapsed
from .tasks import Laid, Task, band_of, probed, tasks_of
from .timeline import Impossible, Link, lay

UNTIL_STEP = 5  # minutes; the end of a stage that waits for a criterion is rounded up to this (judgement)
CROWDED = 0.25  # a moved turn nearer than this share of the turning time to the one before is left out (judgement)


@dataclass(frozen=True)
class Schedule:
    """A batch with its dates. `batch`: as written; `wished`: its outcome; `planned`: that with lengths and turns of this plan; `told`: and with its log."""

    batch: Batch
    wished: Outcome
    planned: Outcome
    told: Outcome
    clock: KitchenClock
    tasks: tuple[Task, ...]
    checks: tuple[Check, ...]
    left_out: tuple[str, ...]
    remarks: tuple[str, ...]
    start: datetime | None
    end: datetime | None

    @property
    def moved(self) -> tuple[Task, ...]:
        return tuple(task for task in self.tasks if task.moved)

    @cached_property
    def answer(self) -> tuple[str, ...]:
        """When each piece can come out, be ready and what it holds, in dates; nothing where no day is worth
        saying.
        """
        said = [check.sentence for check in self.checks if check.kind == "take out"]
        return (*said, keep_cold(self.batch.units)) if said and not warm_log(self.batch) else ()

    @cached_property
    def stop(self) -> tuple[str, ...]:
        """Why these dates are not to be followed; empty where they may be."""
        return not_to_follow(self.told)

    @cached_property
    def to_check(self) -> tuple[str, ...]:
        """The other days to check."""
        return tuple(check.sentence for check in self.checks if check.kind != "take out")

    @cached_property
    def moves(self) -> tuple[str, ...]:
        """What the kitchen's hours changed, one sentence each; empty if nothing."""
        said = []
        for task in self.moved:
            at = f" ({say_time.moment(task.at, self.batch.units)})" if task.at else ""
            if task.wanted is None:
                change = f"{say_time.spell(task.takes)} instead of {say_time.spell(task.wished)}"
                said.append(f"{task.name}{at}: {change}.")
            else:
                shift = task.minutes - task.wanted
                sense = "later" if shift > 0 else "earlier"
                said.append(f"{task.title}{at}: {say_time.spell(abs(shift))} {sense} than asked for.")
        return (*said, *self.left_out)

    @cached_property
    def effects(self) -> tuple[str, ...]:
        """What the changes do to the meat at the end, computed; empty if the kitchen's hours changed
        nothing.
        """
        if not self.moves:
            return ()
        if self.planned is self.wished:
            return ("No bath lasts longer or shorter for it, and the meat stays as it was asked for.",)
        said = [self._effect(piece.name) for piece in self.batch.pieces]
        new, old = _outcomes(self.planned), _outcomes(self.wished)
        said += [
            f"With these hours the check of {kitchen(key[0])} goes from {old[key]} to {new[key]}."
            for key in new
            if key in old and old[key] != new[key]
        ]
        return tuple(said)

    def _effect(self, piece: str) -> str:
        both = (self.planned.history, self.wished.history)
        whole, middle = (
            [f"{100 * history.at(place, 'salt', None, piece):.2f}" for history in both] for place in ("average", "core")
        )
        free = [f"{1e6 * history.core(FREE, None, piece):.0f}" for history in both]
        nitrite = f" and {free[0]} instead of {free[1]} mg/kg of free nitrite" if free != ["0", "0"] else ""
        if whole[0] == whole[1] and middle[0] == middle[1] and free[0] == free[1]:
            return f"The {piece} ends as asked for: {whole[0]} % salt on the whole, {middle[0]} % in the middle."
        return (
            f"The {piece} ends with {whole[0]} instead of {whole[1]} % salt on the whole, and in the middle with "
            f"{middle[0]} instead of {middle[1]} % salt{nitrite}."
        )


def _outcomes(outcome: Outcome) -> dict[tuple[str, str, str], str]:
    return {(each.name, each.source, str(each.limit)): each.outcome for each in outcome.verdicts}


def schedule(
    batch: Batch, outcome: Outcome | None = None, *, log: bool = True, now: datetime | None = None
) -> Schedule:
    """Lay a batch into its kitchen's hours.

    Parameters: `outcome`, what `run(batch, log=False)` gave, if it is there already; `log`: whether the days to check take up the log (the dates
    stay as planned); `now`, an aware time: a plan that should have begun before it is told so, and a fridge log has no holes after it. A batch without
    `start` and `plan` gets days instead of dates; one with `start` only, a floating clock that knows no clock change. Raises InputError for a plan
    that is impossible, with the nearest one that is possible.
    """
    since = None if now is None else elapsed(batch, now)
    wished = outcome or run(batch, log=False, now=since)
    plan = batch.plan
    clock = KitchenClock.of(batch)
    links, where = _links(batch, wished, late=bool(plan and plan.serve))
    first = len(plan.before) if plan else 0
    serve = plan.serve if plan else None
    if serve is not None:
        borders = _lay(links, clock.instant(serve, "plan.serve"), len(links), clock, batch, "plan.serve", "serving")
        given = serve
    else:
        given = batch.start or "1970-01-01 00:00"
        borders = _lay(links, clock.instant(given, "start"), first, clock, batch, "start", "starting")
    zero = borders[first]
    turns, left_out, wanted_turns = _turns(wished, borders, where, clock, batch)
    stages = _stages(wished, links, borders, where, turns, wanted_turns)
    planned = (
        wished
        if stages == batch.stages
        else run(batch.but(stages=stages), numbers=wished.history.numbers, log=False, now=since)
    )
    known = run(batch, now=since) if log and batch.log else None
    told = planned if known is None else known if stages == batch.stages else run(batch.but(stages=stages), now=since)
    dated = bool(batch.start or serve)
    local = clock.local if dated else lambda instant: None
    bands = {index: band_of(wished, index) for index in set(where) if index is not None and probed(wished, index)}
    becomes, lost = fate(told.verdicts), no_day(told.verdicts)
    laid = Laid(links, borders, where, local, turns, wanted_turns, readings_of(planned, borders, where, clock))
    tasks = tasks_of(batch, planned, laid, bands, becomes)
    begins = {index: borders[n] for n, index in reversed(list(enumerate(where))) if index is not None}
    ends = {index: borders[n + 1] for n, index in enumerate(where) if index is not None}
    tasks = tasks if lost else with_answer(tasks, told, ends, zero, clock if dated else None, batch.units)
    checks = () if lost else checks_of(known or wished, begins, ends, clock if dated else None, batch.units)
    remarks = remarks_of(batch, clock, given, known, tasks, "" if lost else cure_to_serve(told))
    if now is not None and serve is not None and not batch.log and borders[0] * 60 < now.timestamp():
        remarks.append(_too_late(links, now, clock, borders[0], batch.units))
    if serve is not None and clock.open(borders[-1], borders[-1]) == []:
        remarks.append("Serving lies outside the kitchen's hours; it was left where you put it.")
    return Schedule(
        batch, wished, planned, told, clock, tasks, checks, left_out, tuple(remarks), local(zero), local(borders[-1])
    )


def _links(batch: Batch, wished: Outcome, late: bool = False) -> tuple[list[Link], list[int | None]]:
    """The chain, and for each link the number of its stage (None: a step). late: what goes by the thermometer has the time that 9 draws of 10
    need, so that the table does not wait.
    """
    plan = batch.plan
    step = lambda each: Link(each.name, _minutes(each.lasts), math.floor(each.longest / 60 + 1e-6))  # noqa: E731
    links: list[Link] = [step(each) for each in plan.before] if plan else []
    where: list[int | None] = [None] * len(links)
    for each in wished.history.ran:
        spent = each.length
        if late and each.held and probed(wished, each.stage):
            usual, slow = sum(wished.history.spent(each.stage)), ordered(wished.waited(each.stage)[0])[2]
            spent += max(slow - usual, 0.0)
        length = UNTIL_STEP * max(1, math.ceil(spent / 60 / UNTIL_STEP - 1e-6)) if each.held else _minutes(each.length)
        links.append(Link(each.stretch.label, length, gives=True, waits=each.held))
        where.append(each.stage)
    if plan:
        links += [step(each) for each in plan.after]
        where += [None] * len(plan.after)
    return links, where


def _minutes(seconds: float) -> int:
    return max(1, round(seconds / 60))


def _lay(links, anchor, border, clock, batch, field, doing) -> list[int]:
    try:
        return lay(links, anchor, border, clock, free_end=field == "plan.serve")
    except Impossible as fault:
        when = say_time.moment(clock.local(anchor), batch.units, year=True)
        if fault.stuck:
            raise refuse(
                field,
                f'no {doing} time near {when} works, because "{fault.stuck}" does not fit between the hours '
                "when the kitchen is open; give it another length or an at_most, or give the kitchen longer hours",
            ) from None
        near = "and none within weeks works either; give the kitchen longer hours, or the steps an at_most"
        if fault.best is not None:
            best = say_time.moment(clock.local(fault.best), batch.units, year=True)
            near = f"the nearest that works is {best}"
        raise refuse(
            field, f"{doing} on {when} leaves a task outside the kitchen's hours whatever moves; {near}"
        ) from None


def _too_late(links, now: datetime, clock: KitchenClock, began: int, system: str) -> str:
    """The nearest plan for one that should have begun already."""
    opening = clock.open(math.ceil(now.timestamp() / 60), math.ceil(now.timestamp() / 60) + 90 * MINUTES_A_DAY)
    past = say_time.moment(clock.local(began), system, year=True)
    said = f"This plan should have begun on {past}, which is over."
    for first, last in opening:
        try:
            end = lay(links, first, 0, clock)[-1]
        except Impossible as fault:
            if fault.best is None or not first <= fault.best <= last:
                continue
            end = lay(links, fault.best, 0, clock)[-1]
        ready = say_time.moment(clock.local(end), system, year=True)
        return f"{said} Begun at the next chance, it can be served on {ready} at the earliest."
    return said


def _turns(wished, borders, where, clock, batch) -> tuple[dict[int, list[int]], tuple[str, ...], dict[int, list[int]]]:
    """Instants of the turns by stage: as the kitchen's hours allow them, what was left out, and as wanted."""
    found: dict[int, list[int]] = {}
    wanted: dict[int, list[int]] = {}
    left_out: list[str] = []
    for n, index in enumerate(where):
        stage = wished.history.stages[index] if index is not None else None
        if stage is None or not (stage.cures and stage.lies):
            continue
        begin, end = borders[n], borders[n + 1]
        times = [begin + round(time / 60) for time in stage.turned(60.0 * (end - begin))]
        times = [time for time in times if begin < time < end]
        gap = CROWDED * min((b - a for a, b in zip([begin, *times], times, strict=False)), default=0)
        open_hours = intersect(clock.open(begin, end), [(begin + 1, end - 1)])
        kept = {time: time for time in times if intersect(open_hours, [(time, time)])}  # planned: as asked for
        for time in times:
            near = nearest(open_hours, time)
            if time in kept or near is None:
                continue
            if min(abs(near - other) for other in (begin, end, *kept)) >= gap:
                kept[near] = time
        for time in sorted(set(times) - set(kept.values())):
            moment = say_time.moment(clock.local(time), batch.units)
            left_out.append(
                f"The turn at {moment} is left out, because the nearest open hour is close to another task."
            )
        found[index], wanted[index] = sorted(kept), [kept[near] for near in sorted(kept)]
    return found, tuple(left_out), wanted


def _stages(wished, links, borders, where, turns, wanted):
    """The stages with the lengths and turns of the plan; those that keep theirs stay as they are written."""
    result = list(wished.batch.stages)
    for index in {index for index in where if index is not None}:
        mine = [n for n, stage in enumerate(where) if stage == index]
        lengths = [borders[n + 1] - borders[n] for n in mine]
        kept = all(length == links[n].nominal for n, length in zip(mine, lengths, strict=True))
        stage = result[index]
        if not kept or (stage.until is not None and not probed(wished, index)):
            stage = stage.held([60.0 * length for length in lengths])
        written = turns.get(index) == wanted.get(index) and len(turns.get(index, ())) == len(
            _written(wished, index, lengths[0])
        )
        if index in turns and not written:
            begin = borders[mine[0]]
            stage = stage.but(turn_every=None, turns=tuple(60.0 * (time - begin) for time in turns[index]))
        result[index] = stage
    return tuple(result)


def _written(wished, index, minutes) -> list[float]:
    """The turns that the stage as written has in so many minutes."""
    stage = wished.history.stages[index]
    return [time / 60 for time in stage.turned(60.0 * minutes)] if stage.cures and stage.lies else []


def plan_words(found: Schedule, width: int = 96) -> str:
    """The plan as text: one line a task, what the hours moved, and the days to check."""
    import textwrap

    batch = found.batch
    out = [f"{batch.name}  (batch {batch.known_by})"]
    if found.clock.zone:
        out.append(f"Times are those of {found.clock.zone}; lengths are elapsed time.")
    warm = warm_log(batch)
    if warm:
        out += ["", *textwrap.wrap(f"{SIGNS['fail']}: {warm}", width)]
    for said in found.stop:
        out += ["", *textwrap.wrap(said, width)]
    for said in failing(each for each in found.told.verdicts if not (warm and each.name == IN_THE_LOG)):
        out += ["", *textwrap.wrap(said, width)]
    out += [line for said in found.answer for line in ["", *textwrap.wrap(said, width)]]
    out.append("")
    day: date | None = None
    for task in found.tasks:
        if task.at is not None:
            head = (
                say_time.day(task.at.date(), batch.units, year=day is None or day.year != task.at.year)
                if task.at.date() != day
                else ""
            )
            day = task.at.date()
            head = f"{head:17} {say_time.clock(task.at, batch.units):>8}  {'*' if task.moved else ' '} "
        else:
            head = f"{task.day:17} {'':8}  {'*' if task.moved else ' '} "
        words = f"{task.title}. {task.detail}" if task.detail else f"{task.title}."
        out += textwrap.wrap(
            words, width, initial_indent=head, subsequent_indent=" " * len(head), break_long_words=False
        )
    for title, sentences in (
        ("* WHAT THE KITCHEN'S HOURS CHANGE", (*found.moves, *found.effects)),
        (f"WHEN TO CHECK  (of {found.told.draws} simulated batches)", found.to_check),
        ("REMARKS", found.remarks),
    ):
        if sentences:
            out += ["", title]
            for sentence in sentences:
                out += textwrap.wrap(
                    sentence, width, initial_indent="  ", subsequent_indent="    ", break_long_words=False
                )
    return "\n".join(out) + "\n"
