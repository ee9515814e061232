"""From the pot to the plate in two sentences: when to begin, and how salty the slices are."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from ..engine.history import History
from ..forecast import slice_of
from ..forecast.ready import Ready
from ..forecast.serve import Lead, moment
from ..limits import Verdict
from ..limits.cooling import rules
from ..limits.verdict import SIGNS
from ..outcome import Outcome
from ..recipe.criterion import TEMPERATURE
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..spread.answers import ordered
from ..units import HOUR, capital, roughly, show
from .answer import worth_waiting
from .days import span

EVENING = 18  # o'clock by which a day's work is begun (judgement)
MOST = 3  # pieces that are named in one sentence
DEFER = "These are estimates; your local food code and licensed practice go first."
SAFE_FOLLOWS = "Whether it can be served follows in a moment."
POISON = "Nitrite poisons when it is over-measured: weigh it, never spoon it."


def begin(lead: Lead) -> str:
    """When to begin cooking, so that slow meat is ready too.

    >>> begin(Lead(39600.0, 36000.0, 43200.0, (), None))
    'Begin 12 hours before you serve: it takes 11 hours (10 to 12).'
    """
    takes = f"it takes {spent(lead.value, lead.low, lead.high)}"
    if lead.begin is None or lead.serve is None:
        step = HOUR if lead.high > 3 * HOUR else HOUR / 2
        return f"Begin {roughly(step * np.ceil(lead.high / step - 1e-6))} before you serve: {takes}."  # never later
    return f"Begin on {lead.begin:%A %-d %B at %H:%M} to serve on {lead.serve:%A at %H:%M}: {takes}."


def begin_to_cure(ready: Sequence[Ready], history: History, heat: float, serve: datetime | None) -> str:
    """When to begin the cure to serve at a time: counted back from it over the `heat` s from the first heat to the table, soaks that `ready` does not count,
    and cure and rest by the answer, in meat as slow as 1 batch in 10. "" where there is no such time, or nothing is cured.
    """
    if serve is None or not ready:
        return ""
    if not all(worth_waiting(each) and np.isfinite(ordered(each.ready)[1]) for each in ready):
        return "No day to begin curing can be named: by the answer no day to cook it is safe."
    slowest = max((each.ready for each in ready), key=lambda each: ordered(each)[2])
    if not np.isfinite(ordered(slowest)[2]):
        return "No day to begin curing can be named: slow meat is not ready in the time looked at."
    stages = history.stages
    first = next((n for n, stage in enumerate(stages) if stage.heats), len(stages))
    soaks = [n for n, stage in enumerate(stages[:first]) if stage.desalts and ready[0].after is None]
    begin = serve - timedelta(seconds=heat + float(history.time_in(soaks)) + ordered(slowest)[2])
    named = begin - timedelta(hours=EVENING)  # whoever begins on that day, by the evening, is in time
    return f"Begin curing on {named:%A %-d %B}: cure and rest take {span(slowest)}, counted as the longest."


def cure_to_serve(outcome: Outcome) -> str:
    """The same of an outcome, whose plan says when to serve."""
    plan = outcome.batch.plan
    if plan is None or plan.serve is None:
        return ""
    heat = sum(step.longest for step in plan.after) if outcome.lead is None else outcome.lead.high
    return begin_to_cure(outcome.ready, outcome.history, heat, moment(plan.serve))


def in_usual_meat(history: History, first: int) -> str:
    """How long it takes from stage number `first` on in the usual case alone, while a hand moves a slider: no word of whether it can be served."""
    return f"In usual meat it takes {roughly(history.length - history.begin(first))} from the pot on. {SAFE_FOLLOWS}"


def spent(value: float, low: float, high: float) -> str:
    """A time with its band, the unit said once where it is the same.

    >>> spent(7200.0, 3600.0, 86400.0)
    '2 hours (60 minutes to 24 hours)'
    """
    usual, *ends = (roughly(each) for each in (value, low, high))
    if ends[0] == ends[1]:
        return usual
    (first, unit), (last, other) = (each.split(" ") for each in ends)
    return (
        f"{usual} ({first} to {last})" if unit.rstrip("s") == other.rstrip("s") else f"{usual} ({ends[0]} to {ends[1]})"
    )


def to_the_table(outcome: Outcome) -> list[str]:
    """When to begin cooking, and how long each stage takes, in one sentence each; nothing where nothing cooks, or what is cooked is kept."""
    lead, stages = outcome.lead, outcome.history.stages
    if lead is None or not any(stage.aim == "cook" for stage in stages):
        return []
    probed = any(stage.until is not None and stage.until.quantity == TEMPERATURE for stage in stages)
    hot = show(rules("holding")[0].begin, "temperature", outcome.batch.units)
    sooner = f" If it is done early, chill it or hold it above {hot}; do not let it stand." if probed else ""
    return [f"{begin(lead)}{sooner}", *filter(None, [cure_to_serve(outcome)])]


def hours(lead: Lead) -> list[str]:
    """How long each stage takes, one line each."""
    return [f"{capital(name)}: {spent(value, low, high)}." for name, value, low, high in lead.parts]


def never(history: History, system: str = "metric") -> str:
    """What to do where a stage ends without what its middle was to come to; "" where every one comes to it."""
    for ran in history.ran:
        stage = history.stages[ran.stage]
        if stage.heats and stage.until is not None and not ran.held:
            wanted = show(stage.until.target, "temperature", system)
            change = "hotter" if stage.until.sign == ">=" else "colder"
            return f"The middle does not come to {wanted} in {roughly(ran.length)}. Make it {change}, give it longer, or ask for less."
    return ""


def on_the_plate(history: History) -> str:
    """How salty the slices of the cooked pieces are."""
    cooked = [piece for piece in history.pieces if cook_of(history.stages, piece) is not None]
    if not cooked:
        return ""
    told = []
    for piece in cooked[:MOST]:
        cut = slice_of(history, piece.name)
        told.append(f"{piece.name} {cut.saltiness.sentence}, {100 * cut.salt:.1f} % salt")
    more = f"; and {len(cooked) - MOST} more below" if len(cooked) > MOST else ""
    return f"On the plate: {'; '.join(told)}{more}."


def cook_of(stages: Sequence[Stage], piece: Piece) -> int | None:
    """Number of the first stage that cooks a piece; None where none does."""
    return next((n for n, stage in enumerate(stages) if stage.aim == "cook" and stage.is_about(piece.name)), None)


def counted(verdicts: Sequence[Verdict]) -> str:
    """What the checks of heat come to: "Checks of the cook and the chill: 6 ok, 2 cannot say, 0 not ok." """
    counts = [f"{sum(each.outcome == key for each in verdicts)} {word.lower()}" for key, word in SIGNS.items()]
    return f"Checks of the cook and the chill: {', '.join(reversed(counts))}."


def cautions(stages: Sequence[Stage], system: str = "metric") -> str:
    """What can hurt in these stages, and who goes before this tool."""
    own = dict.fromkeys(said for stage in stages for said in stage.cautions)
    hot = show(rules("holding")[0].begin, "temperature", system)
    held = f"While it waits hot, keep all of it at {hot} or above; else chill it at once."
    return " ".join([*own, held, POISON, DEFER])
