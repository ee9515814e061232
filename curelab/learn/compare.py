"""Batches side by side: one row for every batch and piece, with the pace of salt where a log tells it."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .. import progress, units
from ..batch import Batch, load
from ..engine.simulate import simulate
from ..fields import InputError, Problem
from ..sources import Numbers, default_numbers
from ..spread.draws import usual_case
from ..units import DAY, WIDTH, capital
from .fit import Fit
from .readings import Measurement, as_planned, from_log
from .update import PACE, asked_for, fitted, priors
from .words import columns, typical_pace

SI = {"thickness": "m", "weight": "kg", "time in cure": "s"}  # the others are fractions and ratios


def compare(batches: Sequence[Batch], *, numbers: Numbers | None = None) -> list[dict[str, Any]]:
    """One row for every batch and piece, SI: thickness, weight, days in cure, salt at the end, and, where its log tells, how fast its
    meat took salt over the typical (value, low, high: 90 %). What a log does not tell is None, with the reason in `why`. Every batch
    is judged by its own readings and the published ranges, whatever was carried into it.
    """
    with progress.counted("comparing batches", len(batches)) as done:
        rows = []
        for batch in batches:
            rows += _rows(batch, numbers)
            done()
    return rows


def _rows(batch: Batch, numbers: Numbers | None) -> list[dict[str, Any]]:
    """The rows of one batch."""
    readings, _ = from_log(batch, numbers)
    found = _fitted(batch, readings, numbers)
    taught = found.learned if found is not None and found.believed else None
    pieces, stages, base = usual_case(batch.pieces, batch.filled(), numbers or default_numbers(), None, taught)
    history = simulate(pieces, stages, loss=batch.loss, cells=24, numbers=base, checked=False)
    cured = history.time_in([n for n, stage in enumerate(history.stages) if stage.cures])
    ratio, why = _pace(found)
    return [
        {
            "batch": batch.name, "piece": piece.name, "thickness": piece.thickness, "weight": piece.weight,
            "time in cure": cured, "salt, average": history.average("salt", None, piece.name),
            "salt, core": history.core("salt", None, piece.name), "readings": len(readings),
            "pace": ratio[0], "pace, low": ratio[1], "pace, high": ratio[2], "why": why,
        }
        for piece in batch.pieces
    ]  # fmt: skip


def _fitted(batch: Batch, readings: Sequence[Measurement], numbers: Numbers | None) -> Fit | None:
    """What its own readings say, beside the published ranges alone; None where there is nothing to fit."""
    parameters = asked_for(batch, readings)
    if not parameters:
        return None
    usual = as_planned(batch, numbers or default_numbers())
    published = priors(batch.but(meat_and_fridge=None), numbers=numbers, usual=usual)
    return fitted(batch, readings, parameters, published, usual, numbers)


def _pace(found: Fit | None) -> tuple[tuple[float | None, ...], str]:
    """(value, low, high) over the typical, and why there is none."""
    none = (None, None, None)
    pace = found.get(PACE) if found is not None else None
    if found is None or pace is None:
        return none, "its log holds no reading that tells the pace of salt"
    if pace.told and found.believed:
        typical = typical_pace()
        return (pace.value / typical, pace.low / typical, pace.high / typical), ""
    if not found.agree:
        return none, "its readings do not agree with each other, so its salt is that of the plan"
    return none, " ".join(found.notes).rstrip(".")


def load_all(paths: Sequence[str | Path]) -> list[Batch]:
    """The batches in several files; those that share a name get that of their file beside it.

    Raises InputError with every problem of every file at once, each with the name of its file.
    """
    batches, problems = [], []
    for path in map(Path, paths):
        try:
            batches.append(load(path))
        except InputError as error:
            problems += [
                Problem(f"{path.name}: {one.where}" if one.where != path.name else one.where, one.sentence)
                for one in error.problems
            ]
    if problems:
        raise InputError(problems)
    names = [batch.name for batch in batches]
    return [
        batch.but(name=f"{batch.name} ({path.name})"[:120]) if names.count(batch.name) > 1 else batch
        for batch, path in zip(batches, map(Path, paths), strict=True)
    ]


def side_by_side(
    batches: Sequence[Batch], rows: Sequence[dict[str, Any]], system: str
) -> tuple[list[list[str]], dict[int, str], list[str]]:
    """The rows of `compare` in words, in the units of `system`: cells under a head; the name of each batch by the number of its first
    row; and notes, reasons for what is missing among them.
    """
    cells = [["piece", "thick", "weight", "in cure", "salt", "core", "pace"]]
    reasons: list[str] = []
    heads: dict[int, str] = {}
    place = 0
    for batch in batches:
        heads[len(cells)] = batch.name
        for row in rows[place : place + len(batch.pieces)]:
            pace = "-"
            if row["pace"] is not None:
                pace = f"{row['pace']:.2f} ({row['pace, low']:.2f} to {row['pace, high']:.2f})"
            elif row["why"]:
                if row["why"] not in reasons:
                    reasons.append(row["why"])
                pace = f"- [{reasons.index(row['why']) + 1}]"
            cells.append(
                [
                    row["piece"], units.show(row["thickness"], "length", system), units.show(row["weight"], "mass", system),
                    f"{row['time in cure'] / DAY:.1f} d", f"{100 * row['salt, average']:.2f} %",
                    f"{100 * row['salt, core']:.2f} %", pace,
                ]
            )  # fmt: skip
        place += len(batch.pieces)
    notes = [
        "salt: on average of the whole piece at the end, as far as the log of that batch moves it; core: in the middle. pace: how fast the meat took salt, times the typical, "
        "from the readings of that batch alone (in brackets: 9 times in 10).",
        *(f"[{number}] {capital(why)}." for number, why in enumerate(reasons, 1)),
    ]
    return cells, heads, notes


def as_table(batches: Sequence[Batch], rows: Sequence[dict[str, Any]], system: str) -> str:
    """`side_by_side` as text, at most WIDTH columns wide, the notes below."""
    cells, heads, notes = side_by_side(batches, rows, system)
    short = [
        [line[0] if not number else f"  {textwrap.shorten(line[0], 28, placeholder='...')}", *line[1:]]
        for number, line in enumerate(cells)
    ]
    lines: list[str] = []
    for number, line in enumerate(columns(short, right=(1, 2, 3, 4, 5))):
        if number in heads:
            lines += textwrap.wrap(heads[number], WIDTH, subsequent_indent="  ")
        lines.append(line)
    folded = [
        line
        for note in notes
        for line in textwrap.wrap(note, WIDTH, subsequent_indent="    " if note[0] == "[" else "")
    ]
    return "\n".join([*lines, "", *folded]) + "\n"


def as_csv(rows: Sequence[dict[str, Any]]) -> str:
    """The rows as CSV in SI units, which stand in the names of the columns; numbers to the last digit, unknown ones left empty."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([f"{name} [{SI[name]}]" if name in SI else name for name in rows[0]])
    for row in rows:
        writer.writerow(
            ["" if value is None else repr(value) if isinstance(value, float) else value for value in row.values()]
        )
    return file.getvalue()
