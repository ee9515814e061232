"""Whether the dates of a plan may be followed as they stand: what plan, sheet and label begin with where they may not."""

from __future__ import annotations

import numpy as np

from .. import units
from ..forecast.ready import Ready
from ..learn.warm_log import IN_THE_MEAT
from ..limits.verdict import SIGNS, SOME
from ..outcome import Outcome
from ..recipe.piece import alike_pieces
from .answer import too_warm, worth_waiting
from .fate import fate
from .how_often import in_batches

STOP = "Do not follow these dates"


def not_to_follow(outcome: Outcome) -> tuple[str, ...]:
    """What a thermometer in the meat says against the plan; one sentence for each piece, or pieces that take salt alike, whose dates do not
    work out; and one where a check fails, or the meat is kept too long.
    """
    said = [f"{SIGNS[each.outcome]}: {each.sentence}" for each in outcome.verdicts if each.name == IN_THE_MEAT]
    becomes = fate(outcome.verdicts)
    if becomes is not None:
        why = becomes.why[0].lower() + becomes.why[1:] if becomes.kept else f"a check is not ok. {becomes.sentence}"
        said.append(f"{STOP}: {why}")
    if outcome.last_cure is None:
        return tuple(said)
    out = outcome.history.ends(outcome.last_cure)
    for alike in alike_pieces(outcome.batch.pieces):
        names = ", ".join(outcome.batch.pieces[number].name for number in alike)
        if why := _why(outcome.ready[alike[0]], out):
            said.append(f"{STOP} for the {names}: {why}.")
    return tuple(said)


def _why(found: Ready, out: float) -> str:
    """Why the day of a plan, `out` s since the start, does not work out; "" where it does."""
    if too_warm(found):
        return "the meat lies warm for too long"
    if not worth_waiting(found):
        return "its slowest spot waits too long for the cure"
    if found.nitrite and found.chance < 1 - SOME:
        return f"its slowest spot is protected {in_batches(found.chance, down=True)}"
    if found.wanted.basis == "equilibrium" and float(np.mean(found.pull <= out)) < SOME:
        return f"{units.roughly(out)} is too short"
    return ""


__all__ = ["STOP", "not_to_follow"]
