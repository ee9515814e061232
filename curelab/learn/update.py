"""Learning from a batch: forecast it anew from its log, carry what was learned over to the next, and compare batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..batch import Batch
from ..fields import Choice, Problem, Record, Several, Words, from_plain, quantity, refuse, ruled, to_plain
from ..forecast import DAY
from ..outcome import CURED
from ..simulate import simulate
from ..sources import Numbers, default_numbers
from ..spread import Spread, Times, spread
from ..spread.uncertain import POINT_95, Uncertain, inputs_for
from ..stages import Brine, SealedCure
from ..tomlfile import read_table, to_toml, write_text
from .calibrate import Fit, Measurement, fit, from_log, learned

SCHEMA = 1
# Of the logarithm of obstruction, from one animal to the next: 0.28 over 1.90 in one study (row rival.lean_diffusivity.springer,
# seen in the abstract); that it holds between a cook's own pieces is a judgement.
BETWEEN_PIECES = 0.15
OF_THE_MEAT = ("obstruction.lean", "partition.water_phase", "fat.relative_diffusivity", "water uptake")


@dataclass(frozen=True)
class Update:
    """A batch forecast anew: the fit, how long before and after it, the inputs as they now stand, and one sentence."""

    fit: Fit
    before: Times
    after: Times
    inputs: tuple[Uncertain, ...]
    remarks: tuple[str, ...]
    sentence: str
    spread: Spread


def update(
    batch: Batch,
    *,
    criterion: str = CURED,
    parameters: Sequence[str] = ("obstruction.lean",),
    known: MeatAndFridge | None = None,
    numbers: Numbers | None = None,
    count: int = 256,
    seed: int = 0,
) -> Update:
    """Forecast a batch from its log: fit, then ask again when `criterion` holds in the first cure.

    `known`: a profile of earlier batches, taken as the prior. Raises InputError when the log holds nothing that can be fitted, or
    there is no cure.
    """
    readings, remarks = from_log(batch)
    if not readings:
        raise refuse(
            "log",
            'there is no reading to learn from; log one like at = "4 d", what = "brine strength", value = "3.1 %"',
        )
    stages = batch.filled()
    cure = next((n for n, stage in enumerate(stages) if isinstance(stage, (Brine, SealedCure))), None)
    if cure is None:
        raise refuse("stages", "there is no cure to forecast")
    base = numbers or default_numbers()
    usual = simulate(batch.pieces, stages, loss=batch.loss, cells=12, numbers=base)
    inputs = inputs_for(batch.pieces, stages, batch.loss, base, usual.numbers.used)
    if known is not None:
        inputs = known.applied(inputs)
    try:
        found = fit(batch.pieces, stages, readings, parameters=parameters, inputs=inputs, loss=batch.loss, numbers=base)
    except ValueError as error:
        raise refuse("log", str(error)) from None
    now = learned(inputs, found)
    many = [spread(batch, inputs=rows, count=count, seed=seed, numbers=base) for rows in (inputs, now)]
    before, after = (each.time_to(criterion, cure) for each in many)
    begin = usual.span(cure)[0] if usual.runs[-1].index >= cure else 0.0
    return Update(found, before, after, now, remarks, _words(found, readings, before, after, begin), many[1])


def _words(found: Fit, readings: Sequence[Measurement], before: Times, after: Times, begin: float) -> str:
    said = []
    for what, noun in (("salometer", "degrees"), ("brine strength", "%")):
        brine = sorted((reading for reading in readings if reading.what == what), key=lambda reading: reading.at)
        if len(brine) > 1:
            by = 100 if what == "brine strength" else 1
            verb = "fell" if brine[-1].value < brine[0].value else "went"
            said.append(
                f"your brine {verb} from {by * brine[0].value:.3g} to {by * brine[-1].value:.3g} {noun} by day {brine[-1].at / DAY:.3g}"
            )
    if not said:
        said.append(f"{len(readings)} reading{'s' if len(readings) > 1 else ''}")
    pace = next((row for row in found.estimates if row.input.key == "obstruction.lean"), None)
    if pace is None:
        verdict = "this batch is fitted"
    else:
        value, low, high = pace.ratio
        if (low <= 1 <= high and 0.9 < value < 1.1) or (found.notes and low <= 1 <= high):
            verdict = f"this meat takes salt about as fast as typical, as far as this tells ({value:.2g} times; {low:.2g} to {high:.2g})"
        else:
            word = "faster" if value > 1 else "slower"
            sure = "" if not low <= 1 <= high else " probably"
            verdict = f"this meat{sure} takes salt {word} than typical ({value:.2g} times; {low:.2g} to {high:.2g})"
    ends = []
    for times in (before, after):
        ends.append([(begin + times.quantile(level)) / DAY for level in (0.5, 0.1, 0.9)])
    was, now = ends
    if not np.isfinite(now[0]):
        ready = f"not ready within {after.at_most / DAY:.0f} days in half of all cases"
    else:
        late = f"{now[2]:.0f}" if np.isfinite(now[2]) else "later"
        moved = f" rather than {was[0]:.0f}" if np.isfinite(was[0]) and round(was[0]) != round(now[0]) else ""
        ready = f"ready on day {now[0]:.0f}{moved} ({now[1]:.0f} to {late})"
    sentence = f"{', '.join(said)}: {verdict}; {ready}."
    return " ".join([sentence[0].upper() + sentence[1:], *found.notes, after.rests_on])


# ---- carried over ----------------------------------------------------------------------------------------------------


class Known(Record):
    """What was learned of one uncertain input, in the unit of its row: value, and the 5 and 95 % points."""

    key: str = ruled(Words(100))
    low: float = quantity("plain", "-1e6", "1e6", "take it from a fit")
    value: float = quantity("plain", "-1e6", "1e6", "take it from a fit")
    high: float = quantity("plain", "-1e6", "1e6", "take it from a fit")

    def conflicts(self):
        if not self.low <= self.value <= self.high or not self.low < self.high:
            yield Problem("low", "low, value and high are not in order; take them from a fit")


class MeatAndFridge(Record):
    """A cook's own meat and fridge: what fits have told, as the prior of the next batch. Kept as a TOML file.

    learned_from: the batches behind it, in words.
    """

    schema: int = ruled(Choice((SCHEMA,)))  # type: ignore[arg-type]
    name: str = ruled(Words(120))
    note: str = ruled(Words(2000), "")
    learned_from: str = ruled(Words(2000), "")
    known: tuple[Known, ...] = ruled(Several((Known,), least=1, most=60))

    @classmethod
    def of(cls, name: str, found: Fit, learned_from: str = "", note: str = "") -> MeatAndFridge:
        """The profile that a fit leaves behind."""
        rows = tuple(Known(key=row.input.key, low=row.low, value=row.value, high=row.high) for row in found.estimates)
        return cls(schema=SCHEMA, name=name, note=note, learned_from=learned_from, known=rows)

    def applied(self, inputs: Sequence[Uncertain]) -> tuple[Uncertain, ...]:
        """The inputs of another batch with what is known here as priors; those of the meat are widened, as the next piece is
        another animal. What the other batch does not depend on is left out.
        """
        mine = {row.key: row for row in self.known}
        result = []
        for row in inputs:
            if row.key in mine:
                own = mine[row.key]
                logs = row.distribution.startswith("log")
                low, high = (np.log([own.low, own.high]) if logs else np.array([own.low, own.high])).tolist()
                if row.key in OF_THE_MEAT and logs:
                    more = np.hypot(0.5 * (high - low), POINT_95 * BETWEEN_PIECES)
                    low, high = 0.5 * (low + high) - more, 0.5 * (low + high) + more
                if logs:
                    low, high = float(np.exp(low)), float(np.exp(high))
                row = replace(
                    row, distribution="lognormal" if logs else "normal", low=low, mode=None, high=high,
                    meaning="low and high are the 5 and 95 % points", source=f"the profile {self.name}", how="derived",
                )  # fmt: skip
            result.append(row)
        return tuple(result)


def save_profile(profile: MeatAndFridge, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a profile to a TOML file, whole or not at all."""
    write_text(path, to_toml(to_plain(profile)), overwrite=overwrite)


def load_profile(path: str | Path) -> MeatAndFridge:
    """The profile in a file. Raises InputError with every problem at once."""
    table = read_table(path)
    return from_plain(MeatAndFridge, table)


def compare(batches: Sequence[Batch], *, numbers: Numbers | None = None) -> list[dict[str, Any]]:
    """One row for every batch and piece, SI: thickness, weight, days in cure, salt at the end, and, where its log tells, how fast its
    meat took salt over the typical (value, low, high). What a log does not tell is None.
    """
    rows = []
    for batch in batches:
        stages = batch.filled()
        history = simulate(batch.pieces, stages, loss=batch.loss, cells=24, numbers=numbers)
        cured = sum(run.length for run in history.runs if isinstance(run.stage, (Brine, SealedCure)))
        readings, _ = from_log(batch)
        pace = fit(batch.pieces, stages, readings, loss=batch.loss, numbers=numbers) if readings else None
        ratio = pace["obstruction.lean"].ratio if pace is not None and pace.told else (None, None, None)
        for piece in batch.pieces:
            rows.append(
                {
                    "batch": batch.name, "piece": piece.name, "thickness": piece.thickness, "weight": piece.weight,
                    "time in cure": cured, "salt, average": history.average("salt", None, piece.name),
                    "salt, core": history.core("salt", None, piece.name), "readings": len(readings),
                    "pace": ratio[0], "pace, low": ratio[1], "pace, high": ratio[2],
                }
            )  # fmt: skip
    return rows
