"""An outcome in words, as JSON, and as CSV files. Words first: what to weigh, how long, how salty, what the rules say, what it rests on."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import Any

from . import __version__, units
from .fields import InputError, Problem, to_plain
from .forecast import Answer, Window
from .limits import CAUTIONS
from .outcome import Outcome
from .runs import FREE
from .tomlfile import write_text
from .weighing.methods import WHY_METHODS_DIFFER

WIDTH = 96


def words(outcome: Outcome) -> str:
    """The report a cook reads."""
    batch, system = outcome.batch, outcome.batch.units
    out = [batch.name, "=" * min(len(batch.name), WIDTH)]
    if batch.invented:
        out.append("(An invented example, to learn from.)")
    if batch.note:
        out += _wrapped(batch.note)
    out += ["", "THE MEAT"]
    for piece in batch.pieces:
        cap = f", {units.show(piece.fat_cap, 'length', system)} of fat on {piece.capped}" if piece.fat_cap else ""
        out.append(
            f"  {piece.name}: {piece.tissue}, {units.show(piece.weight, 'mass', system)} green, "
            f"{units.show(piece.thickness, 'length', system)} thick ({piece.shape}){cap}"
        )
    if outcome.weighed is not None:
        out += ["", "WEIGH OUT"]
        out += [f"  {line}" for line in outcome.weighed.lines()]
        for caution in outcome.weighed.cautions:
            out += _wrapped(f"CAUTION  {caution}")
    for index, meaning in outcome.meanings:
        out += ["", f"WHAT THE GRAMS MEAN  (stage {index + 1}, {outcome.history.stages[index].tag})"]
        for line in meaning.lines():
            out += _wrapped(line, "    ")
        if len(meaning.nitrite) > 1 and any(row.value for row in meaning.nitrite):
            out += _wrapped(WHY_METHODS_DIFFER, "    ")
    if outcome.vessel is not None:
        out += ["", "THE VESSEL"]
        out += _wrapped(outcome.vessel.sentence)
    out += ["", "WHAT HAPPENS INSIDE  (in brackets: slow and fast meat, the two ends of published experiments)"]
    out += _stage_lines(outcome)
    out += ["", "ANSWERS"]
    for answer in outcome.answers:
        out += _wrapped(answer.sentence)
    if not outcome.answers:
        out.append("  Nothing to ask: the batch only rests and soaks, and ends at eating salt.")
    out += [
        "",
        f"CHECKS  (rules: {batch.rules}; a guide, not a permit: your local code and licensed practice go first)",
    ]
    for verdict in outcome.verdicts:
        out += _wrapped(f"{verdict.outcome.upper():8}{verdict.sentence} [{verdict.source}]", "          ", "  ")
    out += ["", "CAUTIONS"]
    for caution in CAUTIONS:
        out += _wrapped(caution, "    ", "  - ")
    out += ["", "WHAT IT RESTS ON"]
    for sentence in outcome.history.assumptions:
        out += _wrapped(sentence, "    ", "  - ")
    uncertain = [number for number in outcome.history.sources if number.how in ("memory", "judgement")]
    out += _wrapped(
        f"{len(outcome.history.sources)} published numbers were used; {len(uncertain)} of them rest on memory or judgement: "
        + ", ".join(number.key for number in uncertain)
        + ". All are in datasets/numbers.csv.",
        "    ",
        "  - ",
    )
    out.append(f"  curelab {__version__}")
    return "\n".join(out) + "\n"


def _wrapped(sentence: str, later: str = "  ", first: str = "  ") -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=False) or [
        first
    ]


def _stage_lines(outcome: Outcome) -> list[str]:
    history, system = outcome.history, outcome.batch.units
    wide = max(len(piece.name) for piece in outcome.batch.pieces)
    out = []
    for index in sorted({run.index for run in history.runs}):
        begin, end = history.span(index)
        out += _wrapped(
            f"{index + 1}. {history.stages[index].tag.capitalize()}, day {begin / 86400:.3g} to {end / 86400:.3g}: ended {history.ending(index)}"
        )
        out.append(
            f"     {'':{wide}}  {'salt, % of the meat':20}{'on the whole':>20}{'in the middle':>20}{'outside':>20}".rstrip()
        )
        for piece in outcome.batch.pieces:
            cells = "".join(
                f"{_band(outcome, place, 'salt', end, piece.name):>20}" for place in ("average", "core", "surface")
            )
            out.append(f"     {piece.name:{wide}}  {'':20}{cells}")
            if history.average("nitrite", end, piece.name) > 0:
                cells = "".join(
                    f"{_band(outcome, place, quantity, end, piece.name, ppm=True):>20}"
                    for place, quantity in (("average", "nitrite"), ("core", FREE))
                )
                out.append(f"     {'':{wide}}  {'nitrite, mg/kg green':20}{cells}  taken in; still free in the middle")
            weight = units.show(history.weight(end, piece.name), "mass", system)
            slack = units.show(0.06 * piece.weight, "mass", system)
            out.append(f"     {'':{wide}}  {'weight, about':20}{weight:>20}  give or take {slack}")
    return out


def _band(outcome: Outcome, place: str, quantity: str, time: float, piece: str, ppm: bool = False) -> str:
    value, low, high = outcome.band(place, quantity, time, piece)
    if ppm:
        return f"{1e6 * value:.0f} ({1e6 * low:.0f} to {1e6 * high:.0f})"
    return f"{100 * value:.2f} ({100 * low:.2f} to {100 * high:.2f})"


def plain(outcome: Outcome) -> dict[str, Any]:
    """Everything in SI, for machines; the same floats the benches show."""
    history = outcome.history
    rows = []
    for index in sorted({run.index for run in history.runs}):
        begin, end = history.span(index)
        for piece in outcome.batch.pieces:
            row: dict[str, Any] = {
                "stage": index + 1, "do": history.stages[index].tag, "piece": piece.name,
                "begin_s": begin, "end_s": end, "ended": history.ending(index),
                "weight_kg": history.weight(end, piece.name),
            }  # fmt: skip
            for quantity in ("salt", "sugar", "nitrate", "nitrite", FREE):
                for place in ("core", "average", "surface"):
                    value, low, high = outcome.band(place, quantity, end, piece.name)
                    row[f"{quantity} {place}"] = {"value": value, "low": low, "high": high}
            rows.append(row)
    return {
        "curelab": __version__,
        "batch": to_plain(outcome.batch),
        "stages": rows,
        "answers": [_answer(answer) for answer in outcome.answers],
        "verdicts": [asdict(verdict) for verdict in outcome.verdicts],
        "budget": [dict(row) for row in history.budget],
        "assumptions": list(history.assumptions),
        "sources": [
            {"key": n.key, "value": n.value, "unit": n.unit, "how": n.how, "source": n.source} for n in history.sources
        ],
        "cautions": list(CAUTIONS),
    }


def _answer(answer: Answer | Window) -> dict[str, Any]:
    if isinstance(answer, Window):
        return {
            "question": "window", "opens_s": _finite(answer.opens), "closes_s": _finite(answer.closes), "empty": answer.empty,
            "cured": answer.cured, "too_salty": answer.too_salty, "sentence": answer.sentence, "rests_on": answer.rests_on,
        }  # fmt: skip
    return {
        "question": answer.question, "value": answer.value, "low": answer.low, "high": answer.high, "kind": answer.kind,
        "criterion": answer.criterion, "sentence": answer.sentence, "rests_on": answer.rests_on,
    }  # fmt: skip


def _finite(seconds: float) -> float | None:
    return None if seconds == float("inf") else seconds


def as_json(outcome: Outcome) -> str:
    return json.dumps(plain(outcome), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_csv(outcome: Outcome, folder: Path) -> list[Path]:
    """places.csv, profiles.csv, budget.csv, verdicts.csv in `folder`; files that are there already are not touched."""
    folder.mkdir(parents=True, exist_ok=True)
    tables = {
        "places.csv": outcome.history.to_frame().to_csv(index=False, lineterminator="\n"),
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
