"""What to do at each border of a plan, in a cook's words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from .. import units
from ..batch import Batch
from ..outcome import Outcome
from ..recipe.criterion import TEMPERATURE, Criterion
from ..recipe.stages import Log, Stage
from ..recipe.times import COLD
from ..show.fate import Fate
from ..sources import printed_rule
from ..spread.answers import ordered
from ..units import capital
from . import say_time
from .timeline import Link

READ, READING = "Read the brine with a salometer, and log it", "-reading-"
READING_DAYS = (
    2,
    4,
    7,
)  # common practice, no source: early enough to tell quick meat from slow before the day to take it out
DISSOLVE = "first dissolve {what} in the water, and chill it to {cold}"  # common practice, no source
IN_BAG = "rest it in its closed bag"


@dataclass(frozen=True)
class Task:
    """Something to do at a moment. `at`: local time (None: the plan has no dates); `minutes` since the
    first stage began, negative before; `stage`: number from 0, None for a step. `takes`: minutes of what
    begins here, `wished`: as it was asked for, `name`: what that is called (a turn takes none). `wanted`:
    minutes at which a turn was asked for.
    """

    key: str
    at: datetime | None
    minutes: int
    title: str
    detail: str = ""
    stage: int | None = None
    name: str = ""
    takes: int = 0
    wished: int = 0
    wanted: int | None = None

    @property
    def moved(self) -> bool:
        """Whether the kitchen's hours changed it: another length, or another hour for a turn."""
        return self.takes != self.wished or self.wanted not in (None, self.minutes)

    @property
    def day(self) -> str:
        """ "day 2", "day 13, 45 min": elapsed since the first stage began."""
        whole, rest = divmod(self.minutes, units.MINUTES_A_DAY)
        return f"day {whole}" + (f", {say_time.spell(rest)}" if rest else "")


@dataclass(frozen=True)
class Laid:
    """A chain laid into the kitchen's hours, its instants in minutes since 1970. `links`, and the `borders` between them, one more; `where`: the stage
    of each link (None: a step); `local`: puts an instant on the kitchen's clock; by stage, `turns` as planned, `wanted` as asked for, and
    `readings` of the brine.
    """

    links: Sequence[Link]
    borders: Sequence[int]
    where: Sequence[int | None]
    local: Callable[[int], datetime | None]
    turns: Mapping[int, list[int]]
    wanted: Mapping[int, list[int]]
    readings: Mapping[int, list[int]]

    @property
    def zero(self) -> int:
        """When the first stage begins."""
        return next(at for at, index in zip(self.borders, self.where, strict=False) if index is not None)


def tasks_of(
    batch: Batch, planned: Outcome, laid: Laid, bands: Mapping[int, str], becomes: Fate | None = None
) -> tuple[Task, ...]:
    """One task for each border, turn and reading, in order of time. `bands`: how long a stage takes that goes by the thermometer, in words;
    `becomes`: what must become of the meat by its checks.
    """
    before, after = (batch.plan.before, batch.plan.after) if batch.plan else ((), ())
    steps, links, borders, where, zero = (*before, *after), laid.links, laid.borders, laid.where, laid.zero
    step_at = [n for n, index in enumerate(where) if index is None]
    tasks = []

    def add(key, n, title, detail="", stage=None):
        length = (
            (capital(links[n].name), borders[n + 1] - borders[n], links[n].nominal) if n < len(links) else ("", 0, 0)
        )
        tasks.append(Task(key, laid.local(borders[n]), borders[n] - zero, title, detail, stage, *length))

    seen: dict[int, int] = {}
    for n, index in enumerate(where):
        out = _out_of(planned, where, n)
        if index is None:
            number = step_at.index(n)
            key = f"before-{number + 1}" if number < len(before) else f"after-{number + 1 - len(before)}"
            step = steps[number]
            title = f"{out}; {step.name[0].lower()}{step.name[1:]}" if out else step.name[0].upper() + step.name[1:]
            add(key, n, title, _sentence(f"takes {say_time.spell(borders[n + 1] - borders[n])}", step.note))
            continue
        seen[index] = seen.get(index, -1) + 1
        title, detail = _stage_words(
            batch, planned, index, seen[index], out, borders[n + 1] - borders[n], bands.get(index, "")
        )
        water = f"-water-{seen[index] + 1}" if seen[index] else ""
        add(f"stage-{index + 1}{water}", n, title, detail, index)
        for key, time, title, meant in _within(index, laid):
            tasks.append(Task(key, laid.local(time), time - zero, title, "", index, wanted=meant - zero))
    out = _out_of(planned, where, len(where)) if where[-1] is not None else ""
    kept = _eat_by(_cooked_at(batch, where, borders), borders[-1], zero, laid.local, batch.units)
    add("end", len(links), *_end_words(batch, out, becomes, kept))
    return tuple(sorted(tasks, key=lambda task: task.minutes))


def _within(index: int, laid: Laid) -> Iterator[tuple[str, int, str, int]]:
    """(key, instant, title, instant as asked for) of what is done while a stage goes on."""
    turns = laid.turns.get(index, [])
    for k, (time, meant) in enumerate(zip(turns, laid.wanted.get(index, turns), strict=True), 1):
        yield f"stage-{index + 1}-turn-{k}", time, f"Turn the pieces over, {k} of {len(turns)}", meant
    for k, time in enumerate(laid.readings.get(index, ()), 1):
        yield f"stage-{index + 1}{READING}{k}", time, READ, time


def probed(wished: Outcome, index: int) -> bool:
    """Whether a thermometer in the meat says when a stage is over."""
    until = wished.history.stages[index].until
    return until is not None and until.quantity == TEMPERATURE


def band_of(wished: Outcome, index: int) -> str:
    """How long a stage by the thermometer takes, in words."""
    early, _, late = (units.roughly(each) for each in ordered(wished.waited(index)[0]))
    return early if early == late else f"{early} to {late} in 8 of 10"


def _end_words(batch: Batch, out: str, becomes: Fate | None, kept: str) -> tuple[str, str]:
    """The title of the end of the plan and what is said of it; `out`: what is taken out of what, "" where a step was the last; `kept`: until when to
    eat it.
    """
    if becomes is not None and not becomes.serve:
        return f"{out}: {becomes.end}" if out else capital(becomes.end), becomes.why
    raw = _left_raw(batch)
    raw_too = f"; {the(raw)} {'is' if len(raw) == 1 else 'are'} still raw" if raw and _cooked(batch) else ""
    served = batch.plan is not None and batch.plan.serve is not None
    if served:
        title = f"{out}; serve{raw_too}" if out else f"Serve{raw_too}"
    else:
        done = f"serve it, or keep it cold{raw_too}" if _cooked(batch) else "still raw"
        title = f"{out}: {done}" if out else capital(done)
    then = [becomes.why if becomes else "", cook_to(batch.units) if raw else "" if served else kept]
    said = " ".join(each for each in then if each)
    return title, f"Keep it at {COLD[batch.units]}. {said}" if said else ""


def _left_raw(batch: Batch) -> list[str]:
    """Pieces that no stage cooks, and no step after the stages."""
    if batch.plan and batch.plan.after:
        return []
    cooks = [stage for stage in batch.stages if stage.aim == "cook"]
    return [piece.name for piece in batch.pieces if not any(stage.is_about(piece.name) for stage in cooks)]


def _cooked_at(batch: Batch, where: Sequence[int | None], borders: Sequence[int]) -> int | None:
    """The instant at which the last cook of a piece is over, of the piece for which that is first; None where nothing is cooked."""
    cooks = [(borders[n + 1], batch.stages[index]) for n, index in enumerate(where) if index is not None]
    ends = [[at for at, stage in cooks if stage.aim == "cook" and stage.is_about(piece.name)] for piece in batch.pieces]
    return min((max(each) for each in ends if each), default=None)


def _eat_by(cooked: int | None, end: int, zero: int, local: Callable[[int], datetime | None], system: str) -> str:
    """Until when meat that was `cooked` at an instant may be kept cold, as printed, the fewer days; "" where none is cooked."""
    if cooked is None:
        return ""
    row = printed_rule("trade_rules.csv", "FSIS-CB-03")
    days = row["value"].partition("-")[0]
    until = cooked + int(days) * units.MINUTES_A_DAY
    at = local(until)
    by = f"by {say_time.day(at.date(), system)}" if at else f"by day {(until - zero) // units.MINUTES_A_DAY}"
    return f"Eat it {'at once' if until <= end else by}: cooked meat keeps {days} {row['unit']} from the cook ({row['source']})."


def _cooked(batch: Batch) -> bool:
    """Whether the stages or the steps of a plan cook it: then they say how far."""
    return any(stage.aim == "cook" for stage in batch.stages) or bool(batch.plan and batch.plan.after)


def cook_to(system: str) -> str:
    """How far to cook whole meat, as printed."""
    row = printed_rule("heat_rules.csv", "COOK")
    warm = units.show(units.read(f"{row['from_F']} degF", "temperature"), "temperature", system, digits=2)
    return (
        f"Cook it to at least {warm} in the middle, then rest it {60 * float(row['hours']):.0f} minutes. "
        "Your local code goes first."
    )


MOST_TOLD = 6  # points of a program
WARM = {"core": "the middle", "average": "the piece on average", "surface": "the outside"}
PLACES = {"core": "in the middle", "average": "on the whole", "surface": "outside"}


def in_words(criterion: Criterion, system: str = "metric") -> str:
    """A criterion as a cook says it; a temperature in the units of `system`.

    >>> in_words(Criterion.parse("average salt <= 2.4 %"))
    'salt on the whole is at most 2.4 %'
    """
    bound = "at most" if criterion.sign == "<=" else "at least"
    of = {"equilibrium": " of where it is heading", "water phase": " in its water"}.get(criterion.basis, "")
    target = units.show(criterion.target, criterion.kind, system)
    if criterion.quantity == TEMPERATURE:
        return f"{WARM[criterion.place]} is {bound} {target}"
    return f"{criterion.quantity} {PLACES[criterion.place]} is {bound} {target}{of}"


def _out_of(planned: Outcome, where, n: int) -> str:
    """ "Out of the brine" where a stage ends at border n and none of its waters follows."""
    before = where[n - 1] if n else None
    if before is None or (n < len(where) and where[n] == before):
        return ""
    stage = planned.history.stages[before]
    who = f" with {the(stage.named)}" if stage.named else ""
    return f"Out of the {stage.noun}{who}" if stage.wet or stage.cures or stage.heats else f"End of the {stage.noun}"


def the(names: Sequence[str]) -> str:
    """Pieces by their names, so that they read as pieces.

    >>> the(["point"]), the(["point", "flat"])
    ('the point', 'the point and the flat')
    """
    return units.listed([f"the {name}" for name in names])


def _stage_words(
    batch: Batch, planned: Outcome, index: int, number: int, out: str, minutes: int, band: str
) -> tuple[str, str]:
    """Title and detail where a stage, or the next water of a soak, begins."""
    stage, system = planned.history.stages[index], batch.units
    lead = f"{out}, " if out else ""
    until = batch.stages[index].until
    aim = f"until {in_words(until, system)}" if until else ""
    spent = say_time.spell(minutes)
    stretch = stage.stretches[number]
    bagged = _bagged(planned, index)
    rests = not (stage.wet or stage.cures or stage.heats)
    begins = IN_BAG if bagged and rests else stage.begins[1 if number else 0]
    hint = f"leave the bag closed, and {stage.hint}" if bagged and stage.aim == "chill" else stage.hint
    title = f"{lead}{begins}"
    warmth = _program(stretch.temperature, system) if stage.heats else _warmth(stretch.temperature, system)
    takes = f"takes {band or spent}" if "," in warmth else ""  # a program is long enough by itself
    kept = warmth if takes else f"{warmth}, {band or spent}"
    before = _dissolve(stage, system) if stage.cures and stage.wet else ""
    goes_on = out and index and planned.history.stages[index - 1].named == stage.named  # the same pieces
    if stage.named and not goes_on:
        title = f"{out}; {the(stage.named)}: " if out else f"{capital(the(stage.named))}: "
        title += begins
    if stage.heats and stretch.water is not None:
        kept = f"in {units.show(stretch.water, 'water', system)} of water {kept}"
    if stage.desalts:
        title += f", {number + 1} of {len(stage.stretches)}"
        kept = f"{units.show(stretch.water or 0.0, 'water', system)} {kept}"
    return capital(title), _sentence(before, kept, takes, aim, hint)


def _dissolve(stage: Stage, system: str) -> str:
    """What goes into the water of a brine before the meat does: what is in it, and no more."""
    made = stage.put_in
    cure = made is None or made.nitrite or made.nitrate
    what = ["salt", *(["cure"] if cure else []), *(["sugar"] if made is not None and made.sugar else [])]
    return DISSOLVE.format(what=units.listed(what), cold=COLD[system])


def _bagged(planned: Outcome, index: int) -> bool:
    """Whether the pieces come to a stage in the bag that they were cooked in."""
    cooks = [each for each in planned.history.stages[:index] if each.aim == "cook"]
    return bool(cooks) and cooks[-1].bagged


def _warmth(log: Log, system: str) -> str:
    """How warm a fridge is."""
    kelvin = [point[1] for point in log]
    low, high = (units.show(value, "temperature", system) for value in (min(kelvin), max(kelvin)))
    return f"at {low if low == high else f'{low} to {high}'}"


def _program(log: Log, system: str) -> str:
    """What a pot or an oven is set to, in its order: "from 20 °C, to 92 °C by 1 h, then at 92 °C"."""
    shown = [units.show(kelvin, "temperature", system) for _, kelvin in log]
    if len(set(shown)) == 1:
        return f"at {shown[0]}"
    told = [f"from {shown[0]}"]
    for before, now, (time, _) in zip(shown, shown[1:], log[1:], strict=False):
        by = say_time.spell(round(time / 60))
        told.append(f"still {now} at {by}" if now == before else f"to {now} by {by}")
    most = MOST_TOLD if len(told) > MOST_TOLD + 1 else len(told)
    left = f"and {len(told) - most} more points of the program" if most < len(told) else f"then at {shown[-1]}"
    return ", ".join([*told[:most], left])


def _sentence(*parts: str) -> str:
    return " ".join(f"{capital(part.rstrip('.'))}." for part in parts if part)
