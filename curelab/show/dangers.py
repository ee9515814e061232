"""The checks that a person must hear of before anything else: what fails, the most dangerous first, and what nobody can vouch for."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ..batch import Batch
from ..engine.history import History
from ..engine.simulate import simulate
from ..learn.warm_log import IN_THE_MEAT
from ..limits import DISCARD, UNPROTECTED, WARM, Verdict, check_all, counting
from ..limits.cooked import KEPT
from ..limits.protection import LOCAL, SLOWEST
from ..limits.verdict import SIGNS

_ENDS = re.compile(r"(?<=\.) (?=[A-Z])")
OFTEN = ("Not ok in", "Ok in only")  # how a verdict begins that counts simulated batches: what it is about comes next
_ORDERS = re.compile(r"do not eat|throw (it|the meat) away|no cooking destroys", re.IGNORECASE)
MOST = 4  # failing checks that are told at once; the others stand among the checks
MOST_OF_NITRITE = 2  # of them on too much nitrite, which say much the same
ASKED = (
    IN_THE_MEAT,
    UNPROTECTED,
    WARM,
    LOCAL,
    "nitrite in the cure",
    SLOWEST,
    "pH of the meat",
    "kept cold",
    KEPT,
)


def failing(verdicts: Iterable[Verdict], most: int = MOST) -> list[str]:
    """Sentences on the failing checks: meat to be thrown away, said once; then too much nitrite, the two that are most above; then the others."""
    failed = sorted((each for each in verdicts if each.outcome == "fail"), key=_danger)
    raw = [each for each in failed if each.name.startswith("lethality")]
    failed = [each for each in failed if each not in raw[1:]]  # one table says it, the next says the same
    discard = [each.sentence for each in failed if _danger(each)[0] == 0]
    much = [each.sentence for each in failed if _danger(each)[0] == 1][:MOST_OF_NITRITE]
    others = [each.sentence for each in failed if _danger(each)[0] == 2]
    said = [*discard[:1], *(each.removeprefix(f"{DISCARD} ") for each in discard[1:]), *much, *others]
    return [f"{SIGNS['fail']}: {each}" for each in said[:most]]


def once(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """The verdicts but those that cannot be judged for a reason that was told already, as holes in the fridge log are of three checks."""
    told: set[str] = set()
    found = []
    for each in verdicts:
        why = each.sentence.partition(". ")[0]
        if each.outcome != "unknown" or why not in told:
            found.append(each)
        told.add(why)
    return found


def not_vouched(verdicts: Iterable[Verdict], most: int = 3) -> list[str]:
    """Sentences on the checks of safety that cannot be judged."""
    asked = {each.name: each for each in once(verdicts) if each.outcome == "unknown"}
    return [f"{SIGNS['unknown']}: {asked[name].sentence}" for name in ASKED if name in asked][:most]


def failing_as_written(batch: Batch) -> tuple[Verdict, ...]:
    """The checks that fail in usual meat, without draws, ends or log: quick, and none of those could make them pass.

    Raises InputError for what cannot be run.
    """
    return failing_in(simulate(batch.pieces, batch.filled(), loss=batch.loss), batch)


def failing_in(history: History, batch: Batch) -> tuple[Verdict, ...]:
    """The checks that fail in a history of a batch."""
    every = check_all(
        history, batch.rules, batch.product, numbers=history.numbers, system=batch.units, **counting(batch.weigh_out)
    )
    return tuple(each for each in every if each.outcome == "fail")


def warnings(verdicts: Iterable[Verdict], most: int = 3) -> list[str]:
    """`failing`, each said briefly, for a label or the head of a list."""
    return [briefly(each) for each in failing(verdicts, most)]


def _danger(verdict: Verdict) -> tuple[int, bool, float]:
    """Rank of a failing check; of those on too much nitrite, what goes in before what remains, and the farthest above its limit first."""
    if verdict.name in (UNPROTECTED, WARM):
        return 0, False, 0.0
    return (
        (1, "remains" in verdict.name, -(verdict.statistic or 0.0) / (verdict.limit or 1.0))
        if too_much(verdict)
        else (2, False, 0.0)
    )


def too_much(verdict: Verdict) -> bool:
    """Whether a check is one on too much nitrite."""
    return "nitrite" in verdict.name and (", most" in verdict.name or verdict.name == LOCAL)


def briefly(sentence: str) -> str:
    """A verdict for where there is little room: its first sentence, and those that say what must become of the meat.

    >>> briefly("Taken up: 900, at most 200. Limit read second-hand. Do not eat it like this: use less.")
    'Taken up: 900, at most 200. Do not eat it like this: use less.'
    """
    head = f"{SIGNS['fail']}: " if sentence.startswith(SIGNS["fail"]) else ""
    head += f"{DISCARD} " if sentence.startswith(f"{head}{DISCARD}") else ""
    first, *others = _ENDS.split(sentence.removeprefix(head))
    if first.startswith(OFTEN) and others:
        first = f"{first} {others.pop(0)}"
    return head + " ".join([first, *(each for each in others if _ORDERS.search(each))])
