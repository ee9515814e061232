"""How long it takes from the first heat to the table, in the draws of a batch."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from ..forecast.serve import Lead, moment
from ..recipe.plan import Plan
from .answers import ordered
from .spread import Request, Spread

STEP = 300.0  # s in full of which a stage by the thermometer is counted late, as a plan lays it out


def lead_of(
    many: Spread, plan: Plan | None = None, serve: datetime | str | None = None, draws: int | None = None
) -> Lead | None:
    """How long all takes from the first stage that heats to the table, with the steps of the plan after the last stage; None where nothing heats.

    Stages by the thermometer are counted late in full steps of STEP, each for itself. serve: when it is to be done, None: as the plan says. draws: so
    many of the first alone, None: all.
    """
    history = many.usual
    stages = history.stages
    hot = [n for n, stage in enumerate(stages) if stage.heats and history.has(n)]
    if not hot:
        return None
    every = range(hot[0], len(stages))
    asked = [Request.of(what, stage=n) for n in every for what in ("begin", "ends")]
    read = [each[:draws] for each in many.readings(asked)]
    begins, ends = read[::2], read[1::2]
    spans = [ordered(end - begin) for begin, end in zip(begins, ends, strict=True)]
    parts = tuple((stages[n].tag, middle, low, high) for n, (low, middle, high) in zip(every, spans, strict=True))
    low, middle, _ = ordered(ends[-1] - begins[0])
    late = sum(
        STEP * np.ceil(high / STEP) if stages[n].until else high for n, (*_, high) in zip(every, spans, strict=True)
    )
    steps = plan.after if plan is not None else ()
    parts += tuple((step.name, step.lasts, step.lasts, step.lasts) for step in steps)
    more = sum(step.lasts for step in steps)
    when = moment(serve if serve is not None or plan is None else plan.serve)
    return Lead(middle + more, low + more, float(late) + more, parts, when, many.rests_on)
