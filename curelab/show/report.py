"""An outcome in words, as JSON, and as CSV files. Words first: what to weigh, how long, how salty, what the rules say, what it rests on."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from .. import __version__, units
from ..engine.run import FREE, QUANTITIES
from ..fields import InputError, Problem, to_plain
from ..forecast import Answer
from ..limits import CAUTIONS, Verdict
from ..outcome import DO_NOT_WAIT, Cured, Outcome
from ..recipe.criterion import PLACES
from ..spread import Band, Chance, Windows
from ..spread.answers import in_ten, ordered
from ..spread.sensitivity import Importance
from ..tomlfile import write_text
from ..weighing import WHY_METHODS_DIFFER, Weighed

WIDTH = 96
MOST_FAILED = 4  # checks that are told in short; the others stand among the checks


# One set of words for a verdict, on paper and on every page.
SIGNS = {"fail": "NOT IN ORDER", "unknown": "LOOK", "pass": "in order"}


def words(outcome: Outcome, long: bool = False) -> str:
    """The report a cook reads: what to know first, then what to weigh and do, how sure it is, and what it rests on. `long` adds sources
    and methods.
    """
    batch, system = outcome.batch, outcome.batch.units
    out = [batch.name, "=" * min(len(batch.name), WIDTH)]
    if batch.invented:
        out.append("(An invented example, to learn from.)")
    if batch.note:
        out += _wrapped(batch.note)
    out += ["", f"IN SHORT  (in brackets: 8 cases of 10, of {outcome.draws} draws; see HOW SURE)"]
    for sentence in in_short(outcome):
        out += _wrapped(sentence, "    ", "  - ")
    out += ["", "THE MEAT"]
    for piece in batch.pieces:
        cap = f", {units.show(piece.fat_cap, 'length', system)} of fat on {piece.capped}" if piece.fat_cap else ""
        out.append(
            f"  {piece.name}: {piece.tissue}, {units.show(piece.weight, 'mass', system)} raw, "
            f"{units.show(piece.thickness, 'length', system)} thick ({piece.shape}){cap}"
        )
    if outcome.weighed is not None:
        out += ["", "WEIGH OUT"]
        out += [f"  {line}" for line in outcome.weighed.lines(system)]
        for caution in outcome.weighed.cautions:
            out += _wrapped(f"CAUTION  {caution}")
    if outcome.vessel is not None:
        out += ["", "THE VESSEL"]
        out += _wrapped(outcome.vessel.sentence)
    out += ["", f"STAGE BY STAGE  (in brackets: 8 cases of 10, of {outcome.draws} draws; see HOW SURE)"]
    out += _stage_lines(outcome)
    for answer in outcome.answers:
        if not isinstance(answer, Windows):  # the window stands at the top
            out += _wrapped(answer.sentence)
    out += [
        "",
        f"CHECKS  (rules: {batch.rules}; a guide, not a permit: your local code and licensed practice go first)",
        *_wrapped(
            f"In brackets: how often, of {_checked(outcome.chances)} draws (see HOW SURE); nothing where all draws agree."
        ),
    ]
    for verdict in outcome.verdicts:
        if verdict.outcome != "pass" or long:
            source = f" [{verdict.source}]" if long else ""
            out += _wrapped(
                f"{SIGNS[verdict.outcome]}: {verdict.sentence}{_often(outcome, verdict)}{source}", "      ", "  "
            )
    passed = [verdict for verdict in outcome.verdicts if verdict.outcome == "pass"]
    if passed and not long:
        always = [verdict.name for verdict in passed if not _often(outcome, verdict)]
        if always:
            out += _wrapped(f"in order: {'; '.join(dict.fromkeys(always))}.", "      ", "  ")
        some = [f"{verdict.name}{_often(outcome, verdict)}" for verdict in passed if _often(outcome, verdict)]
        if some:
            out += _wrapped(
                f"in order as planned, not in every case: {'; '.join(dict.fromkeys(some))}.", "      ", "  "
            )
    out += ["", "CAUTIONS"]
    for caution in CAUTIONS:
        out += _wrapped(caution, "    ", "  - ")
    if long:
        for index, meaning in outcome.meanings:
            out += ["", f"WHAT THE GRAMS MEAN  (stage {index + 1}, {outcome.history.stages[index].tag})"]
            for line in meaning.lines():
                out += _wrapped(line, "    ")
            if len(meaning.nitrite) > 1 and any(row.value for row in meaning.nitrite):
                out += _wrapped(WHY_METHODS_DIFFER, "    ")
    out += ["", "HOW SURE"]
    for sentence in how_sure(outcome):
        out += _wrapped(sentence, "    ", "  - ")
    if outcome.said:
        out += ["", "WHAT THE LOG SAYS"]
        for sentence in outcome.said:
            out += _wrapped(sentence, "    ", "  - ")
    out += ["", "WHAT IT RESTS ON"]
    for sentence in outcome.history.assumptions:
        out += _wrapped(sentence, "    ", "  - ")
    uncertain = [number for number in outcome.history.sources if number.how in ("memory", "judgement")]
    told = f": {', '.join(number.key for number in uncertain)}" if long else ""
    out += _wrapped(
        f"{len(outcome.history.sources)} published numbers were used; {len(uncertain)} of them rest on memory or judgement{told}. "
        f"They stand in the tables of datasets/ with their sources.{'' if long else ' --long prints sources and ways of counting.'}",
        "    ",
        "  - ",
    )
    out.append(f"  curelab {__version__}")
    return "\n".join(out) + "\n"


def in_short(outcome: Outcome, chances: Mapping[str, Chance] | None = None) -> list[str]:
    """What a cook must know before all else. `chances`: of the checks, default those of the outcome."""
    logged = next((verdict for verdict in outcome.verdicts if verdict.name == "temperature in the log"), None)
    warm = logged is not None and logged.outcome == "fail"
    said = []
    if logged is not None and logged.outcome != "pass":
        said.append(f"{SIGNS[logged.outcome]}: {logged.sentence}")
    if outcome.said and not warm:
        taken = "What follows takes it up." if outcome.learned is not None else "What follows is without your readings."
        said.append(f"From your log: {outcome.said[0]} {taken}")
    if outcome.cured and not warm:  # no day is worth saying for meat that was warm
        said += [each.sentence(outcome.batch.units) for each in outcome.cured]
        said += [DO_NOT_WAIT] if any(each.waiting_is_wrong for each in outcome.cured) else []
        said.append(
            "Cured here means salted through. Pink and protection need nitrite too: see the lines on nitrite. It is still raw."
        )
    counts = {sign: sum(verdict.outcome == sign for verdict in outcome.verdicts) for sign in SIGNS}
    failed = [verdict.sentence for verdict in outcome.verdicts if verdict.outcome == "fail" and verdict is not logged]
    said += [f"NOT IN ORDER: {sentence}" for sentence in failed[:MOST_FAILED]]
    if not warm:
        said += [found.told for found in outcome.windows]
        said += _watch(outcome, outcome.chances if chances is None else chances)
    raw = " None of them asks whether the middle is cured." if any(not each.enough for each in outcome.cured) else ""
    said.append(
        f"Of {len(outcome.verdicts)} checks {counts['fail']} are not in order, {counts['unknown']} want a look, {counts['pass']} are in order.{raw}"
    )
    return said


def _watch(outcome: Outcome, chances: Mapping[str, Chance]) -> list[str]:
    """The checks that are in order as planned and are missed, or unknown, in a case of ten and more."""
    some = []
    for name in dict.fromkeys(verdict.name for verdict in outcome.verdicts if verdict.outcome == "pass"):
        chance = chances.get(name)
        if chance is not None and round(10 * (1 - chance.passes)) >= 1:
            some.append(f"{name} (not {in_ten(1 - chance.passes)})")
    if not some:
        return []
    return [
        f"WATCH: in order as planned, but not in every case: {'; '.join(some)}, of {_checked(chances)} draws. Where it is about cold, set the fridge "
        "colder and put a thermometer into the vessel."
    ]


def _checked(chances: Mapping[str, Chance]) -> int:
    """In how many draws the checks were run again."""
    return max((chance.count for chance in chances.values()), default=0)


def brackets(outcome: Outcome) -> str:
    """What the numbers in brackets mean: of how many draws, and of what."""
    many = outcome.spread
    log = "" if outcome.learned is None else ", as far as your log leaves them open"
    return (
        f"What stands in brackets holds 8 cases of 10, the number before it is the middle case, of {many.count} draws (seed "
        f"{many.draws.seed}) of {', '.join(row.label for row in many.inputs)}{log}. It says nothing about what the model leaves out."
    )


def how_sure(outcome: Outcome) -> list[str]:
    """What the bands mean, and what the days hang on."""
    said = [brackets(outcome)]
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


def _often(outcome: Outcome, verdict: Verdict) -> str:
    """How often a check comes out how, where the draws do not agree."""
    told = outcome.chances[verdict.name].told if verdict.name in outcome.chances else ""
    return f" ({told})" if told else ""


def _wrapped(sentence: str, later: str = "  ", first: str = "  ") -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=False) or [
        first
    ]


def _stage_lines(outcome: Outcome) -> list[str]:
    history, system = outcome.history, outcome.batch.units
    out = []
    every = [n for n in range(len(history.stages)) if history.has(n)]
    read = [("average", "salt"), ("core", "salt"), ("surface", "salt"), ("average", "nitrite"), ("core", FREE)]
    outcome.look_ahead(((*each, n, piece.name) for n in every for piece in outcome.batch.pieces for each in read), True)
    for index in every:
        begin, end = history.span(index)
        days = f"day {begin / 86400:.2g} to {end / 86400:.2g}" if end - begin > 43200 else f"on day {begin / 86400:.2g}"
        if end - begin < 1.0:
            out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: not needed.")
            continue
        waits = outcome.waits(index)
        ended = f"ended {history.ending(index)}{f' ({waits})' if waits else ''}"
        out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: {ended}")
        for piece in outcome.batch.pieces:
            salt = "; ".join(
                f"{place} {_band(outcome, key, 'salt', index, piece.name)}"
                for place, key in (("overall", "average"), ("middle", "core"), ("outside", "surface"))
            )
            out += _wrapped(f"{piece.name}: salt, % of the meat: {salt}.", "         ", "     ")
            if history.average("nitrite", end, piece.name) > 0:
                taken = _band(outcome, "average", "nitrite", index, piece.name, ppm=True)
                free = _band(outcome, "core", FREE, index, piece.name, ppm=True)
                out += _wrapped(
                    f"nitrite, mg per kg of raw weight: taken in {taken}; left in the middle {free}.",
                    "         ",
                    "         ",
                )
            weighs = outcome.spread.weight((end,), piece.name)
            middle, low, high = (
                units.show(part[0], "mass", system, digits=2) for part in (weighs.middle, weighs.low, weighs.high)
            )
            out += _wrapped(f"weighs {middle} ({low} to {high}).", "         ", "         ")
    return out


def _band(outcome: Outcome, place: str, quantity: str, stage: int, piece: str, ppm: bool = False) -> str:
    value, low, high = outcome.band(place, quantity, stage, piece)
    if ppm:
        return f"{1e6 * value:.0f} ({1e6 * low:.0f} to {1e6 * high:.0f})"
    return f"{100 * value:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def plain(outcome: Outcome) -> dict[str, Any]:
    """Everything in SI, for machines; the same floats the benches show."""
    history = outcome.history
    rows = []
    every = [n for n in range(len(history.stages)) if history.has(n)]
    read = [(place, quantity) for quantity in QUANTITIES for place in PLACES]
    outcome.look_ahead(((*each, n, piece.name) for n in every for piece in outcome.batch.pieces for each in read), True)
    for index in every:
        begin, end = history.span(index)
        for piece in outcome.batch.pieces:
            row: dict[str, Any] = {
                "stage": index + 1, "do": history.stages[index].tag, "piece": piece.name,
                "begin_s": begin, "end_s": end, "ended": history.ending(index),
                "weight_kg": history.weight(end, piece.name), "weight band_kg": _three(outcome.spread.weight((end,), piece.name)),
            }  # fmt: skip
            for place, quantity in read:
                middle, low, high = outcome.band(place, quantity, index, piece.name)
                usual = history.at(place, quantity, end, piece.name)
                row[f"{quantity} {place}"] = {"usual": usual, "middle": middle, "low": low, "high": high}
            rows.append(row)
    return {
        "curelab": __version__,
        "batch": to_plain(outcome.batch),
        "weighed": None if outcome.weighed is None else _weighed(outcome.weighed),
        "in_short": in_short(outcome),
        "stages": rows,
        "draws": {
            "count": outcome.draws,
            "seed": outcome.spread.draws.seed,
            "inputs": [row.key for row in outcome.spread.inputs],
        },
        "how_sure": how_sure(outcome),
        "what_matters": [_matters(each) for each in outcome.matters],
        "cured": [_cured(each) for each in outcome.cured],
        "answers": [_answer(answer) for answer in outcome.answers],
        "verdicts": [asdict(verdict) | {"chance": _chance(outcome, verdict)} for verdict in outcome.verdicts],
        "budget": [dict(row) for row in history.budget],
        "assumptions": list(history.assumptions),
        "sources": [
            {"key": n.key, "value": n.value, "unit": n.unit, "how": n.how, "source": n.source} for n in history.sources
        ],
        "cautions": list(CAUTIONS),
        "learned": list(outcome.said),
    }


def _three(band: Band) -> dict[str, float]:
    return {"middle": float(band.middle[0]), "low": float(band.low[0]), "high": float(band.high[0])}


def _weighed(weighed: Weighed) -> dict[str, Any]:
    grams = {
        name: getattr(weighed, name)
        for name in ("green", "water", "plain_salt", "cure_mix", "sugar", "salt", "nitrite", "nitrate")
    }
    return {f"{name}_kg": value for name, value in grams.items()} | {"cautions": list(weighed.cautions)}


def _answer(answer: Answer | Windows) -> dict[str, Any]:
    if isinstance(answer, Windows):
        when, share = answer.best
        return {
            "question": "window", "opens_s": _quantiles(answer.opens), "closes_s": _quantiles(answer.closes), "empty": answer.empty,
            "best_s": when, "open_then": share, "cured": answer.cured, "too_salty": answer.too_salty, "sentence": answer.told,
            "rests_on": answer.rests_on,
        }  # fmt: skip
    return {
        "question": answer.question, "value": answer.value, "low": answer.low, "high": answer.high, "kind": answer.kind,
        "criterion": answer.criterion, "sentence": answer.sentence, "rests_on": answer.rests_on,
    }  # fmt: skip


def _chance(outcome: Outcome, verdict: Verdict) -> dict[str, float] | None:
    """Shares of the draws; null where a check comes up in usual meat only."""
    chance = outcome.chances.get(verdict.name)
    return (
        None
        if chance is None
        else {"draws": chance.count, "pass": chance.passes, "fail": chance.fails, "unknown": chance.unknown}
    )


def _cured(each: Cured) -> dict[str, Any]:
    return {
        "stage": each.stage + 1, "piece": each.piece.name, "lasted_s": each.lasted, "share": each.share, "chance": each.chance,
        "needs_s": _quantiles(each.needs.values), "criterion": each.needs.criterion, "rests_on": each.needs.rests_on,
    }  # fmt: skip


def _matters(each: Importance) -> dict[str, Any]:
    return {
        "answer": each.answer, "method": each.method, "evaluations": each.evaluations, "seen": each.seen,
        "inputs": [{"key": row.input.key, "first": row.first, "error": row.error, "remedy": row.remedy} for row in each.rows],
    }  # fmt: skip


def _quantiles(seconds: np.ndarray) -> dict[str, float | None]:
    """10, 50 and 90 % points; null: not within what was simulated."""
    values = ordered(seconds)
    return {
        name: value if np.isfinite(value) else None
        for name, value in zip(("low", "middle", "high"), values, strict=True)
    }


def as_json(outcome: Outcome) -> str:
    """`plain` as text."""
    return json.dumps(plain(outcome), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_csv(outcome: Outcome, folder: Path) -> list[Path]:
    """places.csv, bands.csv, profiles.csv, budget.csv, verdicts.csv in `folder`; files that are there already are not touched. Bands are
    those of the draws; the others are the batch at usual values.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = {
        "places.csv": outcome.history.to_frame().to_csv(index=False, lineterminator="\n"),
        "bands.csv": outcome.spread.to_frame(outcome.history.times).to_csv(index=False, lineterminator="\n"),
        "profiles.csv": outcome.history.profiles_frame().to_csv(index=False, lineterminator="\n"),
        "budget.csv": _rows_csv([dict(row) for row in outcome.history.budget]),
        "verdicts.csv": _rows_csv([asdict(verdict) for verdict in outcome.verdicts]),
    }
    taken = [name for name in tables if (folder / name).exists()]
    if taken:  # all or none
        raise InputError(
            [Problem(name, "is there already and was left as it was; name another folder") for name in taken]
        )
    written = []
    for name, text in tables.items():
        write_text(folder / name, text, overwrite=False)
        written.append(folder / name)
    return written


def _rows_csv(rows: list[dict[str, Any]]) -> str:
    file = io.StringIO()
    if rows:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return file.getvalue()
