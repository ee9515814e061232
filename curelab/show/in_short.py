"""What a cook must know first, and how sure it is: sentences on an outcome, the same in the report, on the sheet and on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..limits import UNPROTECTED, WARM, Verdict
from ..limits.protection import SLOWEST
from ..limits.verdict import SIGNS
from ..outcome import Outcome
from ..spread import Chance
from ..spread.answers import in_ten
from ..spread.changes import Change
from .answer import answers, keep_cold, ranges
from .dangers import failing, not_vouched


def in_short(
    outcome: Outcome,
    chances: Mapping[str, Chance] | None = None,
    made: Mapping[str, Sequence[Change]] | None = None,
) -> list[str]:
    """What a cook must know before all else. `chances` of the checks and the changes `made`: default those of the outcome."""
    logged = next((verdict for verdict in outcome.verdicts if verdict.name == "temperature in the log"), None)
    warm = logged is not None and logged.outcome == "fail"
    said = []
    if logged is not None and logged.outcome != "pass":
        said.append(f"{SIGNS[logged.outcome]}: {logged.sentence}")
    if outcome.said and not warm:
        taken = "What follows takes it up." if outcome.learned is not None else "What follows is without your readings."
        said.append(f"From your log: {outcome.said[0]} {taken}")
    told = {} if warm else answers(outcome, made=made)  # no day is worth saying for meat that was warm
    # The answers tell of the slowest spot in words of their own.
    safety = [
        verdict for verdict in outcome.verdicts if verdict is not logged and not (told and verdict.name == SLOWEST)
    ]
    said += failing(safety) + not_vouched(safety)
    said += [line for lines in told.values() for line in lines]
    said += [keep_cold(outcome.batch.units)] if told else []
    counts = {sign: sum(verdict.outcome == sign for verdict in outcome.verdicts) for sign in SIGNS}
    if not warm:
        said += [found.told for found in outcome.windows]
        said += _watch(outcome, outcome.chances if chances is None else chances)
    said.append(
        f"Of {len(outcome.verdicts)} checks {counts['fail']} are not in order, {counts['unknown']} want a look, {counts['pass']} are in order."
    )
    return said


def _watch(outcome: Outcome, chances: Mapping[str, Chance]) -> list[str]:
    """The checks that are in order as planned and are missed, or unknown, in a case of ten and more."""
    some: list[str] = []
    names: list[str] = []
    for name in dict.fromkeys(verdict.name for verdict in outcome.verdicts if verdict.outcome == "pass"):
        chance = chances.get(name)
        if chance is not None and round(10 * (1 - chance.passes)) >= 1:
            names.append(name)
            some.append(f"{name} (not {in_ten(1 - chance.passes)})")
    if not some:
        return []
    return [
        f"WATCH: in order as planned, but not in every case: {'; '.join(some)}, of {checked(chances)} draws.{_advice(names)}"
    ]


def _advice(names: Sequence[str]) -> str:
    """What to do about checks that are missed in some cases: for cold one sentence that serves both ways, and for nitrite one each."""
    said = []
    if {"kept cold", "not too cold", UNPROTECTED, WARM} & set(names):
        said.append("Set the fridge to 2 °C (36 °F), not below 1 °C (34 °F), and put a thermometer into the vessel.")
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
    """What the bands mean, and what the days hang on."""
    said = [ranges(outcome.draws), varied(outcome)]
    if outcome.batch.meat_and_fridge is not None:
        said.append(f'Begins with what "{outcome.batch.meat_and_fridge.name}" taught, which narrows it.')
    said.append("Checks and soak times are worked out at usual values; what the checks say in brackets is not.")
    if outcome.learned is not None:
        said.append(
            "Your log is taken up in all of it, but for two things: the checks are held against the slowest and the fastest meat that is published "
            "as well, and `curelab plan` keeps the dates that you planned; its days to check take the log up."
        )
    for number, matter in enumerate(outcome.matters):
        stage = "" if len(outcome.matters) == 1 else f"Cure {number + 1}: "
        told = matter.advice if outcome.learned is None else f"Before your readings, {matter.largest}."
        said.append(f"{stage}{told} ({matter.method_in_short}.)")
    return said


def often(outcome: Outcome, verdict: Verdict) -> str:
    """How often a check comes out how, where the draws do not agree."""
    told = outcome.chances[verdict.name].told if verdict.name in outcome.chances else ""
    return f" ({told})" if told else ""
