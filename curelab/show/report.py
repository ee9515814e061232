"""An outcome in words, as JSON, and as CSV files. Words first: what to weigh, how long, how salty, what the rules say, what it rests on."""

from __future__ import annotations

import csv
import io
import json
import os
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from .. import __version__, files, units
from ..engine.assumptions import ALWAYS
from ..engine.run import FREE, QUANTITIES
from ..fields import InputError, Problem, refuse, to_plain
from ..forecast import Answer
from ..limits import Verdict
from ..limits.verdict import SIGNS
from ..outcome import Cured, Outcome
from ..recipe.criterion import PLACES
from ..recipe.measured import told, weight_note
from ..spread import Band, Windows
from ..spread.answers import ordered
from ..spread.sensitivity import Importance
from ..units import WIDTH
from ..weighing import WHY_METHODS_DIFFER, Weighed
from .in_short import brackets, checked, how_sure, in_short, often
from .warm_lines import ahead, cautions_of, warm_line, warm_row


def words(outcome: Outcome, long: bool = False) -> str:
    """The report a cook reads: what to know first, then what to weigh and do, how sure it is, and what it rests on. `long` adds sources
    and methods.
    """
    batch = outcome.batch
    out = [batch.name, "=" * min(len(batch.name), WIDTH)]
    if batch.invented:
        out.append("(An invented example, to learn from.)")
    if batch.note:
        out += _wrapped(batch.note)
    drawn = f"(in brackets: 8 cases of 10, of {outcome.draws} draws; see HOW SURE)"
    out += ["", f"IN SHORT  {drawn}", *_points(in_short(outcome))]
    out += _what_to_do(outcome)
    out += ["", f"STAGE BY STAGE  {drawn}", *_stage_lines(outcome)]
    for answer in outcome.answers:
        if not isinstance(answer, Windows):  # the window stands at the top
            out += _wrapped(answer.sentence)
    out += _check_lines(outcome, long)
    out += ["", "CAUTIONS", *_points(cautions_of(outcome))]
    if long:
        out += _meaning_lines(outcome)
    out += ["", "HOW SURE", *_points(how_sure(outcome))]
    if outcome.said:
        out += ["", "WHAT THE LOG SAYS", *_points(outcome.said)]
    out += ["", "WHAT IT RESTS ON", *_points((*_rests_on(outcome, long), _numbers_used(outcome, long)))]
    out.append(f"  curelab {__version__}")
    return "\n".join(out) + "\n"


def _points(sentences: Sequence[str]) -> list[str]:
    return [line for sentence in sentences for line in _wrapped(sentence, "    ", "  - ")]


def _what_to_do(outcome: Outcome) -> list[str]:
    """The meat, what to weigh, and the vessel."""
    system, out = outcome.batch.units, ["", "THE MEAT"]
    for piece in outcome.batch.pieces:
        raw = units.show(piece.weight, "mass", system)
        out.append(f"  {piece.name}: {piece.tissue}, {raw} raw, {told(piece, system)}")
        note = weight_note(piece, system)
        out += _wrapped(note) if note else []
    if outcome.weighed is not None:
        out += ["", "WEIGH OUT", *(f"  {line}" for line in outcome.weighed.lines(system))]
        for caution in outcome.weighed.cautions:
            out += _wrapped(f"CAUTION  {caution}")
    if outcome.vessel is not None:
        out += ["", "THE VESSEL", *_wrapped(outcome.vessel.sentence)]
    return out


def _check_lines(outcome: Outcome, long: bool) -> list[str]:
    """What the checks came to: all of them with their sources when `long`, else in full only those that want a look."""
    drawn = (
        f"In brackets: how often, of {checked(outcome.chances)} draws (see HOW SURE); nothing where all draws agree."
    )
    rules = (
        f"CHECKS  (rules: {outcome.batch.rules}; a guide, not a permit: your local code and licensed practice go first)"
    )
    out = ["", rules, *_wrapped(drawn)]
    for verdict in outcome.verdicts:
        if verdict.outcome != "pass" or long:
            source = f" [{verdict.source}]" if long else ""
            said = f"{SIGNS[verdict.outcome]}: {verdict.sentence}{often(outcome, verdict)}{source}"
            out += _wrapped(said, "      ", "  ")
    if long:
        return out
    passed = [verdict for verdict in outcome.verdicts if verdict.outcome == "pass"]
    always = dict.fromkeys(verdict.name for verdict in passed if not often(outcome, verdict))
    some = dict.fromkeys(f"{each.name}{often(outcome, each)}" for each in passed if often(outcome, each))
    for names, what in ((always, "in order"), (some, "in order as planned, not in every case")):
        if names:
            out += _wrapped(f"{what}: {'; '.join(names)}.", "      ", "  ")
    return out


def _meaning_lines(outcome: Outcome) -> list[str]:
    """What the grams of each cure mean, by every way of counting."""
    out = []
    for index, meaning in outcome.meanings:
        out += ["", f"WHAT THE GRAMS MEAN  (stage {index + 1}, {outcome.history.stages[index].tag})"]
        for line in meaning.lines():
            out += _wrapped(line, "    ")
        if len(meaning.nitrite) > 1 and any(row.value for row in meaning.nitrite):
            out += _wrapped(WHY_METHODS_DIFFER, "    ")
    return out


def _rests_on(outcome: Outcome, long: bool) -> tuple[str, ...]:
    return (*outcome.history.assumptions, *(ALWAYS if long else ()))


def _numbers_used(outcome: Outcome, long: bool) -> str:
    """How many published numbers were used, and how many of them are not well known."""
    sources = outcome.history.sources
    uncertain = [number for number in sources if number.how in ("memory", "judgement")]
    told = f": {', '.join(number.key for number in uncertain)}" if long else ""
    return (
        f"{len(sources)} published numbers were used; {len(uncertain)} of them rest on memory or judgement{told}. "
        f"They stand in the tables of datasets/ with their sources.{'' if long else ' --long prints sources and ways of counting.'}"
    )


def _wrapped(sentence: str, later: str = "  ", first: str = "  ") -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=False) or [
        first
    ]


def _stage_lines(outcome: Outcome) -> list[str]:
    history, system = outcome.history, outcome.batch.units
    out = []
    every = [n for n in range(len(history.stages)) if history.has(n)]
    read = [("average", "salt"), ("core", "salt"), ("surface", "salt"), ("average", "nitrite"), ("core", FREE)]
    ahead(outcome, every, read)
    for index in every:
        begin, end = history.span(index)
        days = (
            f"{units.day(begin, 2)} to {units.day_number(end, 2)}"
            if end - begin > 12 * units.HOUR
            else f"on {units.day(begin, 2)}"
        )
        if end - begin < 1.0:
            out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: not needed.")
            continue
        waits = outcome.waits(index)
        ended = f"ended {history.ending(index)}{f' ({waits})' if waits else ''}"
        out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: {ended}")
        for piece in outcome.batch.pieces:
            if told := warm_line(outcome, index, piece.name):
                out += _wrapped(told, "         ", "     ")
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
    ahead(outcome, every, read)
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
            row |= warm_row(outcome, index, piece.name)
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
        "assumptions": list(_rests_on(outcome, long=True)),
        "sources": [
            {"key": n.key, "value": n.value, "unit": n.unit, "how": n.how, "source": n.source} for n in history.sources
        ],
        "cautions": list(cautions_of(outcome)),
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


TABLES = ("places.csv", "bands.csv", "profiles.csv", "budget.csv", "verdicts.csv")


def refuse_folder(folder: Path) -> None:
    """Raises InputError where the tables cannot go into `folder`: it is a file, cannot be written, or holds one of them already."""
    there = next(each for each in (folder.absolute(), *folder.absolute().parents) if each.exists())
    if not there.is_dir():
        raise refuse("--csv", f'"{there}" is a file; name a folder')
    if not os.access(there, os.W_OK | os.X_OK):
        raise refuse("--csv", f'"{folder}" cannot be written; name another folder')
    taken = [name for name in TABLES if (folder / name).exists()]
    if taken:
        raise InputError(
            [Problem(name, "is there already and was left as it was; name another folder") for name in taken]
        )


def write_csv(outcome: Outcome, folder: Path) -> list[Path]:
    """TABLES in `folder`, all of them or none. Bands are those of the draws; the others are the batch at usual values.

    Raises InputError where one is there already, or cannot be written; a folder that was made for them is taken away again.
    """
    refuse_folder(folder)
    history = outcome.history
    tables = (
        history.to_frame().to_csv(index=False, lineterminator="\n"),
        outcome.spread.to_frame(history.times).to_csv(index=False, lineterminator="\n"),
        history.profiles_frame().to_csv(index=False, lineterminator="\n"),
        _rows_csv([dict(row) for row in history.budget]),
        _rows_csv([asdict(verdict) for verdict in outcome.verdicts]),
    )
    contents = dict(zip((folder / name for name in TABLES), tables, strict=True))
    files.write_new(contents, folders=True)
    return list(contents)


def _rows_csv(rows: list[dict[str, Any]]) -> str:
    file = io.StringIO()
    if rows:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return file.getvalue()


__all__ = ["WIDTH", "as_json", "brackets", "how_sure", "in_short", "plain", "words", "write_csv"]
