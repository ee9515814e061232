"""What must become of the meat by its checks: one answer, which report, plan, sheet, page and label all follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..learn.warm_log import IN_THE_LOG
from ..limits import UNPROTECTED, WARM, Verdict
from ..limits.cooked import KEPT
from ..units import capital
from .dangers import briefly, too_much

UNCOOKED = "Not cooked by the printed tables: do not eat it, nor its juice. Cook on until a thermometer in the middle shows what your code asks for."
THROW = "throw it away"
SPOILS = ("come-up", "cooling", "hot holding")  # checks by the beginning of their name: no cooking mends these hours


@dataclass(frozen=True)
class Fate:
    """`end`: what is done instead of serving it; `why`, in a sentence; `days`: whether a day to take it out is still worth saying; `kept`:
    whether it is that nothing fails, but it was kept too long; `serve`: whether it may be served once the reader has seen to what fails.
    """

    end: str
    why: str
    days: bool = True
    kept: bool = False
    serve: bool = False

    @property
    def sentence(self) -> str:
        """What to do and why, for where the end of the plan does not stand beside it."""
        return f"{capital(self.end)}. {self.why}" if self.end == THROW else self.why


LOST = Fate(THROW, "Cooking does not make it safe.", days=False)
POISON = Fate(
    THROW, "It holds more nitrite than the rules allow, and no soak mends that. Throw away its cure too.", days=False
)
SPOILT = Fate(THROW, "By this plan it is warm for too long.")
RAW = Fate("not cooked, do not eat it", UNCOOKED)
MUCH = Fate("do not eat it", "Do not eat it like this: it holds too much nitrite.")
DOUBT = Fate("", "Read the check that is not ok before you eat of it.", serve=True)


def fate(verdicts: Sequence[Verdict]) -> Fate | None:
    """The worst that the checks say of the meat; None where nothing fails and it is not kept too long."""
    failed = [each for each in verdicts if each.outcome == "fail"]
    names = {each.name for each in failed}
    much = [each.name for each in failed if too_much(each)]
    if names & {UNPROTECTED, WARM, IN_THE_LOG}:
        return LOST
    if any("nitrite, most" in name and "remains" not in name for name in much):
        return POISON
    if any(name.startswith(SPOILS) for name in names):
        return SPOILT
    if is_raw(failed):
        return RAW
    if much:
        return MUCH
    kept = next((each for each in verdicts if each.name == KEPT), None)
    if kept is not None:
        return Fate("do not eat it", briefly(kept.sentence), kept=True)
    return DOUBT if failed else None


def is_raw(verdicts: Sequence[Verdict]) -> bool:
    """Whether the printed tables of cooking are not met."""
    return any(each.name.startswith("lethality") and each.outcome == "fail" for each in verdicts)


def no_day(verdicts: Sequence[Verdict]) -> bool:
    """Whether no day is worth saying, for the meat is to be thrown away whatever the day."""
    found = fate(verdicts)
    return found is not None and not found.days
