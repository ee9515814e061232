"""An outcome for machines: everything in SI as JSON, and tables as CSV files."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from .. import __version__, files
from ..engine.run import QUANTITIES
from ..fields import to_plain
from ..forecast import Answer
from ..forecast.ready import Ready
from ..limits import Verdict
from ..outcome import Cured, Outcome
from ..recipe.criterion import PLACES
from ..recipe.piece import Piece
from ..spread import Band, Windows
from ..spread.answers import ordered
from ..spread.changes import Change
from ..spread.sensitivity import Importance
from ..weighing import Weighed
from . import fields
from .answer import Planned, answer
from .in_short import how_sure, in_short
from .plate import plate_rows
from .report import ahead, rests_on
from .warm_lines import cautions_of, warm_row


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
                "weight_kg": history.weight(end, piece.name), "weight band_kg": _three(outcome.spread.weight_at_end(index, piece.name)),
            }  # fmt: skip
            for place, quantity in read:
                middle, low, high = outcome.band(place, quantity, index, piece.name)
                usual = history.at(place, quantity, end, piece.name)
                row[f"{quantity} {place}"] = {"usual": usual, "middle": middle, "low": low, "high": high}
            row |= {"slowest spot": fields.slowest(history, end, piece.name)} if piece.solid() is not None else {}
            row |= warm_row(outcome, index, piece.name)
            rows.append(row)
    return {
        "curelab": __version__,
        "batch": to_plain(outcome.batch),
        "weighed": None if outcome.weighed is None else _weighed(outcome.weighed),
        "in_short": in_short(outcome),
        "stages": rows,
        "sections": fields.sections(history),
        "draws": {
            "count": outcome.draws,
            "seed": outcome.spread.draws.seed,
            "inputs": [row.key for row in outcome.spread.inputs],
        },
        "how_sure": how_sure(outcome),
        "what_matters": [_matters(each) for each in outcome.matters],
        "ready": [
            _ready(outcome, each, piece) for each, piece in zip(outcome.ready, outcome.batch.pieces, strict=False)
        ],
        "cured": [_cured(each) for each in outcome.cured],
        "answers": [_answer(each) for each in outcome.answers],
        "plate": plate_rows(history),
        "to the table": _lead(outcome),
        "verdicts": [asdict(verdict) | {"chance": _chance(outcome, verdict)} for verdict in outcome.verdicts],
        "budget": [dict(row) for row in history.budget],
        "assumptions": list(rests_on(outcome, long=True)),
        "sources": [
            {"key": n.key, "value": n.value, "unit": n.unit, "how": n.how, "source": n.source} for n in history.sources
        ],
        "cautions": list(cautions_of(outcome)),
        "learned": list(outcome.said),
    }


def _lead(outcome: Outcome) -> dict[str, Any] | None:
    """How long from the first heat to the end, of all and of each stage; None where nothing heats."""
    found = outcome.lead
    if found is None:
        return None
    return {
        "middle_s": found.value, "low_s": found.low, "high_s": found.high, "stages": found.rows(),
        "begin": found.begin.isoformat(" ", "minutes") if found.begin is not None else None,
    }  # fmt: skip


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


def _ready(outcome: Outcome, found: Ready, piece: Piece) -> dict[str, Any]:
    """The three lines of a piece: seconds since the start, null for never, and the sentences of the report."""
    stage, times = found.stage, ("pull", "rest", "ready", "first", "last")
    out = outcome.history.ends(stage)
    return {
        "piece": found.piece, "stage": stage + 1, "wanted": str(found.wanted), "in_the_bag": found.bag,
        **{f"{name}_s": _quantiles(getattr(found, name)) for name in times},
        "free_nitrite_most": _quantiles(found.most), "holds": found.chance if found.nitrite else None,
        "said": answer(
            found, piece, outcome.history.numbers, Planned(out, outcome.stands(piece.name)), outcome.batch.units, None,
            outcome.changes.get(piece.name), outcome.weighed,
        ),
        "changes": [_change(each) for each in outcome.changes.get(piece.name, ())],
        "stands": outcome.stands(piece.name),
    }  # fmt: skip


def _change(each: Change) -> dict[str, Any]:
    return {"kind": each.kind, "value": each.value, "holds": each.ready.chance, "ready_s": _quantiles(each.ready.ready)}


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
FIELDS = "fields.csv"  # for pieces in three dimensions, where there are any


def refuse_folder(folder: Path) -> None:
    """Raises InputError where the tables cannot go into `folder` (`files.refuse_folder`)."""
    files.refuse_folder("--csv", folder, (*TABLES, FIELDS))


def write_csv(outcome: Outcome, folder: Path) -> list[Path]:
    """TABLES in `folder`, and FIELDS where a piece has a length, all of them or none. Bands are those of the draws; the others are the batch at usual values.

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
    contents |= {folder / FIELDS: _rows_csv(found)} if (found := fields.rows(history)) else {}
    files.write_new(contents, folders=True)
    return list(contents)


def _rows_csv(rows: list[dict[str, Any]]) -> str:
    file = io.StringIO()
    if rows:
        names = list(
            dict.fromkeys(name for row in rows for name in row)
        )  # a stage that cooks has more to tell than one that cures
        writer = csv.DictWriter(file, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return file.getvalue()
