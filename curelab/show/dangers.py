"""The checks that a person must hear of before anything else: what fails, the most dangerous first, and what nobody can vouch for."""

from __future__ import annotations

from collections.abc import Iterable

from ..batch import Batch
from ..engine.simulate import simulate
from ..learn.probe import IN_THE_MEAT
from ..limits import DISCARD, UNPROTECTED, WARM, Verdict, check_all, counting
from ..limits.protection import LOCAL, SLOWEST
from ..limits.verdict import SIGNS

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


def not_vouched(verdicts: Iterable[Verdict], most: int = 3) -> list[str]:
    """Sentences on the checks of safety that cannot be judged."""
    asked = {each.name: each for each in verdicts if each.outcome == "unknown"}
    return [f"{SIGNS['unknown']}: {asked[name].sentence}" for name in ASKED if name in asked][:most]


def failing_as_written(batch: Batch) -> tuple[Verdict, ...]:
    """The checks that fail in usual meat, without draws, ends or log: quick, and none of those could make them pass.

    Raises InputError for what cannot be run.
    """
    history = simulate(batch.pieces, batch.filled(), loss=batch.loss)
    every = check_all(
        history, batch.rules, batch.product, numbers=history.numbers, system=batch.units, **counting(batch.weigh_out)
    )
    return tuple(each for each in every if each.outcome == "fail")


def warnings(verdicts: Iterable[Verdict], most: int = 3) -> list[str]:
    """`failing`, each in its first sentence, for a label or the head of a list."""
    return [_first(each) for each in failing(verdicts, most)]


def _danger(verdict: Verdict) -> tuple[int, bool, float]:
    """Rank of a failing check; of those on too much nitrite, what goes in before what remains, and the farthest above its limit first."""
    if verdict.name in (UNPROTECTED, WARM):
        return 0, False, 0.0
    too_much = "nitrite" in verdict.name and (", most" in verdict.name or verdict.name == LOCAL)
    return (
        (1, "remains" in verdict.name, -(verdict.statistic or 0.0) / (verdict.limit or 1.0))
        if too_much
        else (2, False, 0.0)
    )


def _first(sentence: str) -> str:
    """The first sentence; behind it, where the meat is to be thrown away, the one that says why."""
    head = f"{SIGNS['fail']}: "
    rest = sentence.removeprefix(head)
    before = f"{DISCARD} " if rest.startswith(DISCARD) else ""
    first, stop, _ = rest.removeprefix(before).partition(". ")
    return f"{head}{before}{first}{'.' if stop else ''}"
