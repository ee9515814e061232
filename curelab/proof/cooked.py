"""Cooked and cooled meat beside what was measured, and the federal table beside what our checks ask for."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from ..forecast import in_corners, time_to
from ..limits.curve import Curve
from ..limits.lethality import check_lethality, fitted, table
from ..matter.juice import cook_loss, juice_lost
from ..matter.tissue import tissue
from ..recipe.piece import Piece
from ..recipe.stages import Chill, Simmer, Stage
from ..sources import read_table
from ..units import HOUR
from .case import Case, Table

READINGS = 3000  # of a curve


def cooking_table(logs: float = 6.5) -> Case:
    """Minutes at every printed temperature that our check asks for, found by halving, against the printed ones."""
    rows = [row for row in table(logs) if row.seconds > 0]

    def asked(kelvin: float) -> float:
        low, high = 1.0, 3 * HOUR
        while high - low > 1e-3:
            half = 0.5 * (low + high)
            passes = check_lethality(Curve([0.0, half], [kelvin, kelvin]), [logs])[0].counts_as_pass
            low, high = (low, half) if passes else (half, high)
        return high

    ours = [asked(row.kelvin) for row in rows]
    error = max(abs(mine / row.seconds - 1) for mine, row in zip(ours, rows, strict=True))
    first = read_table("lethality.csv")[0]
    return Case(
        f"Cooking by the federal table, {logs:g} log", first["source"], first["how"], tuple(f"{row.kelvin - 273.15:.1f}" for row in rows),
        tuple(row.seconds / 60 for row in rows), tuple(each / 60 for each in ours), "degC, minutes", error, 1e-3, "the printed time",
        remark=f"Limits are met to 5 parts in 10 000. {fitted(logs).sentence} Between two rows the colder one holds.",
    )  # fmt: skip


def cook_losses() -> Table:
    """Weight lost in cooking: printed, and the model with what had to be assumed."""
    rows = []
    for row in read_table("cook_loss.csv"):
        if row["role"] != "compare":
            continue
        printed = float(row["loss_percent"])
        if not row["assumed_C"]:
            rows.append((row["row_id"], row["what"], _percent(row), "not computed", row["note"], "cannot be compared"))
            continue
        found = cook_loss(_held(row))
        inside = 100 * found.low <= printed <= 100 * found.high
        assumed = f"{row['assumed_C']} degC for {row['assumed_h']} h, {100 * float(row['assumed_water']):.0f} % water"
        model = f"{100 * found.value:.0f} ({100 * found.low:.0f} to {100 * found.high:.0f})"
        rows.append((row["row_id"], row["what"], _percent(row), model, assumed, "inside" if inside else "outside"))
    return Table(
        "Weight lost in cooking, % of raw weight", ("row", "meat", "printed", "juice in the model", "assumed", "in our band"), tuple(rows),
        "Temperatures and hours inside the meat were not printed and are assumed. Smoked briskets and roast ribs lost fat and vapour beside juice; pork loins lost less than "
        "beef. Nothing was tuned to these rows.",
    )  # fmt: skip


def _percent(row: Mapping[str, str]) -> str:
    return f"{float(row['loss_percent']):.0f}" + (f" ({row['low']} to {row['high']})" if row["low"] else "")


def _held(row: Mapping[str, str]) -> float:
    warm, hours, water, warming = (float(row[f"assumed_{name}"]) for name in ("C", "h", "water", "warming_h"))
    times = HOUR * np.array([0.0, warming, warming + hours])
    return float(juice_lost(times, 273.15 + np.array([5.0, warm, warm]), water)[-1])


def measured_cooling() -> Table:
    """Hours to 50 and 10 degC, and the temperature at the end, in the middle of cooked hams and joints; hours to a temperature in water."""
    found: list[tuple[str, ...]] = []
    for row in read_table("measured_cooling.csv"):
        own = _cooked(row) if not row["air"] else _cooled(row)
        found += [each if not number else (*each[:-1], "the same") for number, each in enumerate(own)]
    return Table(
        "Cooked hams and joints, in the middle", ("row", "what", "printed", "model, fast to slow", "in our band", "assumed"), tuple(found),
        "Pieces are cylinders of the printed diameter and weight; how still the air was, and where the thermometer sat, is known badly. Most cooled faster than "
        "the model has it, some faster than any conduction from so far inside allows. So the model errs to the side of too slow a chill. Nothing was tuned.",
    )  # fmt: skip


def _cooled(row: Mapping[str, str]) -> list[tuple[str, ...]]:
    many = in_corners(_piece(row), _stages(row))
    end = float(np.min(many.ends(len(many.stages) - 1)))
    times = np.linspace(0.0, end, READINGS)
    kelvin = many.temperature(times, "core")
    found = []
    for name, warm in (("hours_to_50", 323.15), ("hours_to_10", 283.15)):
        if row[name]:
            first = [times[np.argmax(own <= warm)] / HOUR if (own <= warm).any() else np.inf for own in kelvin]
            found.append(_beside(row, f"h to {warm - 273.15:.0f} degC", float(row[name]), first))
    last = np.ravel(many.temperature(min(end, HOUR * float(row["last_hours"])), "core")) - 273.15
    found.append(_beside(row, f"degC at {row['last_hours']} h", float(row["last_C"]), last.tolist()))
    return found


def _cooked(row: Mapping[str, str]) -> list[tuple[str, ...]]:
    """A ball of the printed weight, in water of the temperature that stands in the note."""
    if not row["start_C"]:
        what, printed = f"{row['what']}: h to {row['last_C']} degC", f"{float(row['last_hours']):g}"
        return [(row["row_id"], what, printed, "not computed", "cannot be compared", row["note"])]
    (bath,) = re.findall(r"(?:held at|taken as) (\d+) degC", row["note"])[:1]
    density = tissue("lean pork").density
    ball = Piece(
        shape="sphere",
        thickness=2 * (0.75 * float(row["kg"]) / density / np.pi) ** (1 / 3),
        weight=float(row["kg"]),
        tissue="lean pork",
    )
    pot = Simmer(water=3 * ball.weight, temperature=f"{bath} degC", lasts="1 h", begins_at=f"{row['start_C']} degC")
    answer = time_to(f"core temperature >= {row['last_C']} degC", ball, pot, at_most="40 h")
    hours = [each / HOUR if each is not None else np.inf for each in (answer.value, answer.high, answer.low)]
    return [_beside(row, f"h to {row['last_C']} degC", float(row["last_hours"]), hours)]


def _beside(row: Mapping[str, str], what: str, printed: float, model: list[float]) -> tuple[str, ...]:
    usual, *ends = model
    low, high = min(ends), max(ends)
    inside = low <= printed <= high
    told = f"{usual:.1f} ({low:.1f} to {high:.1f})".replace("inf", "later")
    verdict = "inside" if inside else "model slower" if printed < low else "model faster"
    return row["row_id"], f"{row['what']}: {what}", f"{printed:g}", told, verdict, row["note"]


def _piece(row: Mapping[str, str]) -> Piece:
    wide, weight = float(row["diameter_mm"]) / 1e3, float(row["kg"])
    if row["length_mm"]:
        long = float(row["length_mm"]) / 1e3
        return Piece(shape="block", thickness=wide, width=wide, length=long, weight=weight, tissue="lean pork")
    long = weight / tissue("lean pork").density / (0.25 * np.pi * wide**2)
    return Piece(shape="cylinder", thickness=wide, length=long, weight=weight, tissue="lean pork")


def _stages(row: Mapping[str, str]) -> list[Stage]:
    """The chills of a row: "medium from-to in hours", joined by semicolons."""
    found: list[Stage] = []
    for part in row["air"].split("; "):
        match = re.fullmatch(r"(.*?) (-?[\d.]+)(?:-(-?[\d.]+))? in ([\d.]+)", part)
        assert match is not None, part
        medium, begin, end, hours = match.groups()
        program = [["0 h", f"{begin} degC"], [f"{hours} h", f"{end} degC"]] if end else f"{begin} degC"
        first = {} if found else {"begins_at": f"{row['start_C']} degC"}
        found.append(Chill(medium=medium, temperature=program, lasts=f"{hours} h", **first))
    return found
