"""What a cook must know first, and how sure it is: sentences on an outcome, the same in the report, on the sheet and on the page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from ..learn.readings import IN_THE_BATH
from ..learn.warm_log import IN_THE_LOG
from ..learn.words import brine_tells
from ..limits import UNPROTECTED, WARM, Verdict
from ..limits.protection import SLOWEST
from ..limits.verdict import SIGNS
from ..outcome import Outcome
from ..spread import Chance
from ..spread.changes import Change
from ..units import capital
from .answer import HEAD, answers, how_forgiving, keep_cold, ranges
from .check_names import INFORMS, kitchen
from .dangers import failing, not_vouched
from .fate import POISON, fate, no_day
from .how_often import of_ten
from .out_of_reach import out_of_reach

BRINE_OR_SLICE = re.compile(
    r"([Ll])og how the brine weakens day by day, or have"
)  # the remedy of the row obstruction.lean
SET_TO = {"metric": ("2 °C", "1 °C"), "us": ("36 °F", "34 °F")}  # what to set a fridge to, and not below


def in_short(
    outcome: Outcome,
    chances: Mapping[str, Chance] | None = None,
    made: Mapping[str, Sequence[Change]] | None = None,
) -> list[str]:
    """What a cook must know before all else. `chances` of the checks and the changes `made`: default those of the outcome."""
    first, more = in_parts(outcome, chances, made)
    return [*first, *more]


def in_parts(
    outcome: Outcome,
    chances: Mapping[str, Chance] | None = None,
    made: Mapping[str, Sequence[Change]] | None = None,
) -> tuple[list[str], list[str]]:
    """(what a cook can act on alone: checks that fail, and the answer for every piece; what else there is to know)."""
    chances = outcome.chances if chances is None else chances  # the verdicts rest on them where there is heat
    logged = next((verdict for verdict in outcome.verdicts if verdict.name == IN_THE_LOG), None)
    lost = no_day(outcome.verdicts)
    by_name = {} if lost else answers(outcome, made=made)
    told = list(by_name.values())
    said = []
    if logged is not None and logged.outcome != "pass":
        said.append(f"{SIGNS[logged.outcome]}: {logged.sentence}")
    # The answers tell of the slowest spot in words of their own.
    safety = [each for each in outcome.verdicts if each is not logged and not (told and each.name == SLOWEST)]
    said += failing(safety) + not_vouched(safety)
    said += [POISON.sentence] if fate(outcome.verdicts) is POISON else []  # what the others come to, their checks say
    said += out_of_reach(outcome.batch.stages, outcome.batch.units)
    first = [*said, *(" ".join(lines[:HEAD]) for lines in told)]
    said = [" ".join((f"{capital(name)}:", *lines[HEAD:])) for name, lines in by_name.items() if lines[HEAD:]]
    if told:
        said += [
            *_forgiving(outcome),
            keep_cold(outcome.batch.units),
        ]
        said += _close(outcome, chances)
    if outcome.said and not lost:
        taken = "Your readings are taken up." if outcome.learned is not None else "Your readings are not taken up."
        said.append(f"{taken} {outcome.said[0]}")
    counts = [
        f"{sum(each.outcome == sign and each.name not in INFORMS for each in outcome.verdicts)} {word.lower()}"
        for sign, word in SIGNS.items()
    ]
    said.append(
        f"Checks of safety and rules: {', '.join(reversed(counts))}."
    )  # not of the days, which the answer tells
    return first, said


def _forgiving(outcome: Outcome) -> list[str]:
    """How forgiving a first cure is for its thickest piece, where the answer has a day to wait for."""
    pieces = outcome.batch.pieces
    thickest = max(range(len(pieces)), key=lambda number: pieces[number].lean_thickness)
    ends = outcome.history.ends(0)
    said = [how_forgiving(each, ends, outcome.ready[thickest]) for each in outcome.forgiving]
    return [sentence for sentence in said if sentence]


def _close(outcome: Outcome, chances: Mapping[str, Chance]) -> list[str]:
    """The checks that are ok as planned and are missed, or unknown, in a case of ten and more."""
    some: list[str] = []
    names: list[str] = []
    for name in dict.fromkeys(verdict.name for verdict in outcome.verdicts if verdict.outcome == "pass"):
        chance = chances.get(name)
        if chance is not None and round(10 * (1 - chance.passes)) >= 1:
            names.append(name)
            some.append(f"{kitchen(name)} ({of_ten(1 - chance.passes)})")
    if not some:
        return []
    return [f"Not ok in some batches: {'; '.join(dict.fromkeys(some))}.{_advice(names, outcome.batch.units)}"]


def _advice(names: Sequence[str], system: str) -> str:
    """What to do about checks that are missed in some cases: for cold one sentence that serves both ways, and for nitrite one each."""
    said = []
    if {"kept cold", "not too cold", UNPROTECTED, WARM} & set(names):
        cold, least = SET_TO[system]
        said.append(f"Set the fridge to {cold}, not below {least}, and put a thermometer into the vessel.")
    if "soak time" in names:
        said.append("Soak in the fridge.")
    for end, advice in (
        ("least", "For too little nitrite, weigh more cure, on a finer scale, but not above the limit."),
        ("most", "For too much nitrite, weigh less cure, on a finer scale."),
    ):
        if any("nitrite" in name and f", {end}" in name for name in names):
            said.append(advice)
    return "".join(f" {sentence}" for sentence in said)


def checked(chances: Mapping[str, Chance]) -> int:
    """In how many draws the checks were run again."""
    return max((chance.count for chance in chances.values()), default=0)


def varied(outcome: Outcome) -> str:
    """What the simulated batches differ in."""
    many = outcome.spread
    log = "" if outcome.learned is None else ", as far as your log leaves them open"
    return (
        f"Varied in the simulated batches (seed {many.draws.seed}): {', '.join(row.label for row in many.inputs)}{log}. Ranges say nothing "
        "about what the model leaves out."
    )


def how_sure(outcome: Outcome) -> list[str]:
    """What the ranges mean, and what the days hang on."""
    said = [ranges(outcome.draws)]
    if outcome.batch.meat_and_fridge is not None:
        said.append(f'Begins with what "{outcome.batch.meat_and_fridge.name}" taught, which narrows it.')
    for number, matter in enumerate(outcome.matters):
        stage = "" if len(outcome.matters) == 1 else f"Cure {number + 1}: "
        told = (
            _to_measure(outcome, matter.advice)
            if outcome.learned is None
            else f"Before your readings, {matter.largest}."
        )
        said.append(f"{stage}{told}")
    return said


def _to_measure(outcome: Outcome, advice: str) -> str:
    """Advice without the brine, where there is none that weakens or it stands in the log already."""
    logged = any(reading.what in IN_THE_BATH for reading in outcome.batch.log)
    if logged or not brine_tells(outcome.batch):
        return BRINE_OR_SLICE.sub(lambda found: "Have" if found[1] == "L" else "have", advice)
    return advice


def how_sure_in_full(outcome: Outcome) -> list[str]:
    """The same, with what was varied, how it was ranked, and where the log counts."""
    said = [
        *how_sure(outcome),
        varied(outcome),
        *(f"Ranked by: {matter.method_in_short}." for matter in outcome.matters),
    ]
    said.append("Checks and soak times are worked out at usual values, in the middle of what is possible.")
    if outcome.learned is not None:
        said.append(
            "Your log is taken up in all but two things. Checks are held against the slowest and the fastest published meat as well. `curelab "
            "plan` keeps the dates that you planned."
        )
    return said


def often(outcome: Outcome, verdict: Verdict) -> str:
    """How often a check comes out how, where the draws do not agree."""
    told = outcome.chances[verdict.name].told if verdict.name in outcome.chances else ""
    return f" ({told})" if told else ""
