"""Published numbers with their provenance: where each came from, how sure it is, and its value in SI.

`datasets/numbers.csv` holds one row per number that the model uses, value and unit as printed. This module
reads the rows, converts them once, and hands them out. Nothing else in the library holds a published number
of its own.
"""

from __future__ import annotations

import csv
import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType

HOW = {
    "second-hand": "read in a text that restates the source",
    "seen": "stood in the text that was read",
    "derived": "computed from a number that was seen",
    "computed": "returned by a named library, or fitted to numbers that were seen",
    "memory": "recalled and not confirmed",
    "judgement": "a considered choice among sources that disagree",
    "given": "set by the caller in place of the published number",
}

# unit as printed -> (factor, offset): SI = value * factor + offset, in decimal arithmetic, so that 12 ppm is
# exactly the float 0.000012. Deliberately small: the cook's own units are read elsewhere.
_UNITS = """
ratio 1, kg/kg 1, pH 1, % 0.01, ppm 1e-6, mg/kg 1e-6, g/mol 1e-3, kJ/mol 1e3, kg/m3 1, m2/s 1, m/s 1, mPa_s 1e-3,
s 1, min 60, h 3600, d 86400, mm 1e-3, m 1, K 1, log10_h 1, log10_h_per_degC 1, log10_h_per_pH 1, W/m2K 1, kg/m2 1
"""
UNITS: dict[str, tuple[Decimal, Decimal]] = {
    name.replace("_", " "): (Decimal(factor), Decimal(0))
    for name, factor in (entry.split() for entry in _UNITS.split(","))
}
UNITS["degC"] = (Decimal(1), Decimal("273.15"))


@cache
def _unit(unit: str) -> tuple[Decimal, str]:
    """Split a printed unit such as "1e-10 m2/s" into its power of ten and the bare unit."""
    power, bare = Decimal(1), unit
    head, _, tail = unit.partition(" ")
    if tail and head.startswith("1e"):
        power, bare = Decimal(head), tail
    if bare not in UNITS:
        raise ValueError(
            f"unit {unit!r} is not known; known units are {', '.join(UNITS)}, each with an optional "
            f"power of ten as in '1e-10 m2/s'"
        )
    return power, bare


def behind(unit: str) -> str:
    """A printed unit as it stands behind a number: nothing for a ratio or a pH.

    >>> behind("%"), behind("ratio")
    (' %', '')
    """
    return "" if unit in ("ratio", "pH") else f" {unit}"


@lru_cache(4096)  # the rows of a table are read again in each draw that is checked
def to_si(value: float, unit: str) -> float:
    """A value in a printed unit as the nearest SI float. Raises ValueError for a unit that is not in UNITS.

    >>> to_si(2.7, "1e-10 m2/s"), to_si(4.0, "degC")
    (2.7e-10, 277.15)
    """
    power, bare = _unit(unit)
    factor, offset = UNITS[bare]
    return float(Decimal(repr(float(value))) * power * factor + offset)


@dataclass(frozen=True)
class Number:
    """One published number.

    `value`, `low` and `high` are in `unit`, as printed; `si`, `si_low` and `si_high` are kg, m, s, K, mol. A
    missing range is None. `least` and `most`, in `unit`, are hard bounds: nothing physical lies outside them, so a
    value that does is a slip. `how` is one of the keys of `HOW`.

    >>> default_numbers()["obstruction.lean"].describe()[:35]
    '0.33 (0.183 to 0.61), derived: Rati'
    """

    key: str
    quantity: str
    value: float
    unit: str
    low: float | None
    high: float | None
    conditions: str
    source: str
    locator: str
    how: str
    note: str
    least: float = -math.inf
    most: float = math.inf

    @property
    def si(self) -> float:
        """The value in SI."""
        return to_si(self.value, self.unit)

    @property
    def si_low(self) -> float | None:
        """The low end of the published range in SI, or None."""
        return None if self.low is None else to_si(self.low, self.unit)

    @property
    def si_high(self) -> float | None:
        """The high end of the published range in SI, or None."""
        return None if self.high is None else to_si(self.high, self.unit)

    def describe(self) -> str:
        """One line: value, unit, range, how it was obtained, and the source."""
        power, bare = _unit(self.unit)
        unit = behind(bare)
        text = f"{self.value * float(power):.6g}{unit}"
        if self.low is not None and self.high is not None:
            text += f" ({self.low * float(power):.6g} to {self.high * float(power):.6g})"
        return f"{text}, {self.how}: {self.source}"


class Numbers(Mapping[str, Number]):
    """A set of published numbers, looked up by key. Read only; `with_values` makes a changed copy.

    `numbers[key]` is the whole record, `numbers.si(key)` the bare SI value. A tracked set (see `tracked`)
    remembers which keys were looked up through either, so that a result can list what it rests on.
    """

    def __init__(self, rows: Mapping[str, Number], *, _si: dict[str, float] | None = None) -> None:
        self._rows = dict(rows)
        self._si = {key: row.si for key, row in self._rows.items()} if _si is None else _si
        self._used: dict[str, None] | None = None

    def __getitem__(self, key: str) -> Number:
        self.si(key)
        return self._rows[key]

    def __contains__(self, key: object) -> bool:
        return key in self._rows

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def __repr__(self) -> str:
        return f"<Numbers: {len(self)} rows>"

    # A set of numbers is a thing, not a value: two sets are the same only if they are one object. That keeps
    # it hashable, so that results can be cached per set.
    __hash__ = object.__hash__

    def __eq__(self, other: object) -> bool:
        return self is other

    def si(self, key: str) -> float:
        """The SI value of `key`. Raises KeyError naming similar keys if there is none."""
        try:
            value = self._si[key]
        except KeyError:
            raise KeyError(self._unknown(key)) from None
        if self._used is not None:
            self._used[key] = None
        return value

    def with_values(self, values: Mapping[str, float], *, published: bool = False) -> Numbers:
        """A copy in which some values are replaced; each is in its row's printed unit. Not tracked.

        The published range stays, `how` becomes "given", and the source tells what was replaced; or, where the values are
        `published` too, as the middle of a range is, `how` and source stay. Raises
        KeyError for an unknown key, and ValueError with one sentence for each value that is not finite or lies
        outside the hard bounds of its row.

        >>> default_numbers().with_values({"obstruction.lean": 5})
        Traceback (most recent call last):
        ValueError: obstruction.lean: 5 lies outside 0.01 to 1; give a value within these bounds
        """
        rows, si = dict(self._rows), dict(self._si)
        for key in values:
            if key not in rows:
                raise KeyError(self._unknown(key))
        problems = [problem for key, value in values.items() if (problem := _out_of_bounds(rows[key], value))]
        if problems:
            raise ValueError("\n".join(problems))
        for key, value in values.items():
            old = rows[key]
            source = f"set by the caller in place of {old.value:g} ({old.how}: {old.source})"
            how, source = (old.how, old.source) if published else ("given", source)
            rows[key] = replace(old, value=float(value), how=how, source=source)
            si[key] = rows[key].si
        return Numbers(rows, _si=si)

    def bounds(self, key: str) -> tuple[float, float]:
        """(least, most) of a number in its printed unit; without bounds for a key that has no row. Not tracked.

        >>> default_numbers().bounds("obstruction.lean"), default_numbers().bounds("temperature")
        ((0.01, 1.0), (-inf, inf))
        """
        row = self._rows.get(key)
        return (-math.inf, math.inf) if row is None else (row.least, row.most)

    def tracked(self) -> Numbers:
        """The same numbers with a fresh, empty record of what is looked up (`used`)."""
        copy = Numbers(self._rows, _si=self._si)
        copy._used = {}
        return copy

    @property
    def used(self) -> tuple[str, ...]:
        """Keys looked up so far, in order of first use; empty for a set that is not tracked."""
        return tuple(self._used or ())

    def _unknown(self, key: str) -> str:
        near = difflib.get_close_matches(str(key), self._rows, n=4, cutoff=0.5)
        hint = f"; near keys: {', '.join(near)}" if near else ""
        return f"no published number {key!r}{hint}"


def _out_of_bounds(row: Number, value: float) -> str | None:
    """What is wrong with a value in place of this row's, in one sentence, or None."""
    if not math.isfinite(value):
        return f"{row.key}: {value!r} is not a finite number; give a value in {row.unit}"
    if row.least <= value <= row.most:
        return None
    return (
        f"{row.key}: {value:g}{behind(row.unit)} lies outside {row.least:g} to {row.most:g}{behind(row.unit)}; "
        "give a value within these bounds"
    )


def datasets_folder() -> Path:
    """The folder of literature tables: inside the package when installed, else beside it in a checkout."""
    here = Path(__file__).resolve().parent
    found = next((each for each in (here / "datasets", here.parent / "datasets") if each.is_dir()), None)
    if found is None:
        raise FileNotFoundError("the curelab datasets folder is missing; reinstall curelab or use a full checkout")
    return found


@cache
def _table(name: str) -> tuple[Mapping[str, str], ...]:
    path = datasets_folder() / name
    if not path.is_file():
        raise FileNotFoundError(f"no dataset {name!r} in {datasets_folder()}")
    text = path.read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines(keepends=True), strict=True))
    for line, row in enumerate(rows, start=1):
        if None in row or None in row.values():
            raise ValueError(f"{name}: data row {line} has a different number of fields than the header")
    return tuple(map(MappingProxyType, rows))


def read_table(name: str) -> list[Mapping[str, str]]:
    """All rows of one dataset file, such as "solubility.csv", as text, which nobody can change. Raises FileNotFoundError."""
    return list(_table(name))


def printed_rule(table: str, rule_id: str) -> Mapping[str, str]:
    """The row of a table of printed rules that has this id. Raises StopIteration for one that is not there."""
    return next(row for row in read_table(table) if row["rule_id"] == rule_id)


def load_numbers(rows: Sequence[Mapping[str, str]]) -> Numbers:
    """Build Numbers from text rows (columns as in numbers.csv), refusing anything malformed.

    Raises ValueError naming the key: duplicate or empty key, unknown unit or `how`, a value that is not
    finite, a range that does not enclose its value, or hard bounds that do not enclose the range. Bounds left empty
    are none.
    """
    found: dict[str, Number] = {}
    for row in rows:
        key = row["key"]
        if not key or key in found:
            raise ValueError(f"numbers: key {key!r} is {'duplicated' if key else 'empty'}")
        try:
            number = Number(
                key=key,
                quantity=row["quantity"],
                value=float(row["value"]),
                unit=row["unit"],
                low=float(row["low"]) if row["low"] else None,
                high=float(row["high"]) if row["high"] else None,
                conditions=row["conditions"],
                source=row["source"],
                locator=row["locator"],
                how=row["how"],
                note=row["note"],
                least=float(row["least"] or -math.inf),
                most=float(row["most"] or math.inf),
            )
            _unit(number.unit)
        except ValueError as error:
            raise ValueError(f"numbers: {key}: {error}") from error
        values = [value for value in (number.low, number.value, number.high) if value is not None]
        if not all(math.isfinite(value) for value in values):
            raise ValueError(f"numbers: {key}: a value is not finite")
        if values != sorted(values):
            raise ValueError(f"numbers: {key}: low, value and high are not in order")
        if not number.least <= values[0] <= values[-1] <= number.most:
            raise ValueError(f"numbers: {key}: least and most do not enclose low, value and high")
        if number.how not in HOW:
            raise ValueError(f"numbers: {key}: how = {number.how!r}; it must be one of {', '.join(HOW)}")
        found[key] = number
    return Numbers(found)


@cache
def default_numbers() -> Numbers:
    """The published numbers of this release, read once."""
    return load_numbers(read_table("numbers.csv"))
