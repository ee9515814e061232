"""What earlier batches taught about a cook's own meat and fridge, as plain data: a file of its own, or a part of a batch.

Learning fills it (`learn`), `spread.uncertain.with_known` turns it into the priors of another batch.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from pathlib import Path

from .. import files
from ..fields import Choice, Problem, Record, Several, Words, from_plain, quantity, ruled, to_plain
from ..sources import default_numbers
from ..sources import read_table as read_dataset
from ..tomlfile import read_table, to_toml

SCHEMA = 1
MOST_LETTERS = 2000  # letters of `learned_from`


class Known(Record):
    """What was learned of one uncertain input, in the unit of its row in uncertain.csv: value, and the 5 and 95 % points.

    key: that of the row, or "thickness of ..." (or another measure) and a piece. Raises InputError for a key that no row has, values out of order, and a
    factor that is not above zero.
    """

    key: str = ruled(Words(100))
    low: float = quantity("plain", "-1e6", "1e6", "take it from a fit")
    value: float = quantity("plain", "-1e6", "1e6", "take it from a fit")
    high: float = quantity("plain", "-1e6", "1e6", "take it from a fit")

    def conflicts(self):
        rows = {row["key"]: row for row in read_dataset("uncertain.csv")}
        of_pieces = {key for key, row in rows.items() if row["kind"] == "piece"}
        stem = self.key.partition(" of ")[0]
        key = stem if stem in of_pieces and self.key.removeprefix(f"{stem} of ").strip() else self.key
        if key not in rows or (key in of_pieces and key == self.key):
            near = difflib.get_close_matches(self.key, [*(set(rows) - of_pieces), "thickness of"], 1)
            hint = f'; did you mean "{near[0]}{" (a piece)" if near[0].endswith(" of") else ""}"?' if near else ""
            yield Problem("key", f'"{self.key}" is no uncertain input that this curelab knows{hint or "; take it out"}')
        elif rows[key]["distribution"].startswith("log") and self.low <= 0:
            yield Problem("low", f"{self.low:g} is not above zero, and this input is a factor; take it from a fit")
        else:
            least, most = _possible(rows[key])
            for name, value in (("low", self.low), ("high", self.high)):
                if not least <= value <= most:
                    told = f"{value:g} is far from what meat and kitchens show ({least:.3g} to {most:.3g} {rows[key]['unit']})"
                    yield Problem(name, f"{told}; take it from a fit")
        if not self.low <= self.value <= self.high or not self.low < self.high:
            yield Problem("low", "low, value and high are not in order; take them from a fit")


def _possible(row: Mapping[str, str]) -> tuple[float, float]:
    """Least and most that can be learned of an input: thrice its range in `uncertain.csv` (judgement), within the bounds of its number."""
    low, high = float(row["low"]), float(row["high"])
    least, most = (
        (low**2 / high, high**2 / low) if row["distribution"].startswith("log") else (2 * low - high, 2 * high - low)
    )
    bounds = default_numbers().bounds(row["key"])
    return max(least, bounds[0]), min(most, bounds[1])


class MeatAndFridge(Record):
    """A cook's own meat and fridge: what fits have told, as the prior of the next batch. Kept as a TOML file, or in a batch.

    learned_from: the batches behind it, in words, each with its id. Raises InputError with every problem at once.

    >>> pace = Known(key="obstruction.lean", low=0.35, value=0.41, high=0.48)
    >>> MeatAndFridge(schema=1, name="my butcher", known=[pace]).known[0].value
    0.41
    """

    schema: int = ruled(Choice((SCHEMA,)))  # type: ignore[arg-type]
    name: str = ruled(Words(120))
    note: str = ruled(Words(2000), "")
    learned_from: str = ruled(Words(MOST_LETTERS), "")
    known: tuple[Known, ...] = ruled(Several((Known,), least=1, most=60))

    def conflicts(self):
        keys = [row.key for row in self.known]
        for key in sorted({key for key in keys if keys.count(key) > 1}):
            yield Problem("known", f'"{key}" stands there {keys.count(key)} times; leave one')


def save_profile(profile: MeatAndFridge, path: str | Path, *, overwrite: bool = False) -> None:
    """Write it to a TOML file, whole or not at all. Raises InputError for a file that is there, unless `overwrite`."""
    files.write(path, to_toml(to_plain(profile)), overwrite=overwrite)


def load_profile(path: str | Path) -> MeatAndFridge:
    """What a file holds. Raises InputError with every problem at once."""
    return from_plain(MeatAndFridge, read_table(path))
