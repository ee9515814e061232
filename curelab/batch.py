"""A batch: the pieces, the weigh-out, the stages and the log of one cure, as plain data and as a TOML file.

The file and the sliders write the same records, so what was seen on a bench can be saved, reopened and run without a browser, to the
last digit. Reading and writing lose nothing: batch -> file -> batch gives an equal batch.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

from . import files
from .fields import (
    Choice,
    Flag,
    InputError,
    Part,
    Problem,
    Quantity,
    Record,
    Several,
    Words,
    from_plain,
    quantity,
    refuse,
    ruled,
    to_plain,
)
from .letters import quoted, shown
from .limits import RULE_SETS
from .matter.brine import STRONGEST
from .matter.solutes import LOSS_MODELS
from .recipe.meat_and_fridge import MeatAndFridge
from .recipe.piece import Piece
from .recipe.plan import LocalTimeRule, Plan
from .recipe.stages import STAGES, Stage
from .tomlfile import read_table, to_toml
from .units import needs_unit, read
from .weighing import WEIGH_OUTS, Weighed, WeighOut, weigh
from .weighing.vessel import Vessel, fits

SCHEMA = 1

READINGS = {
    "weight": "mass",
    "brine strength": "fraction",
    "salometer": "plain",
    "core salt": "fraction",
    "average salt": "fraction",
    "taste": "word",
    "temperature": "temperature",
    "core temperature": "temperature",
    "acidity": "plain",
    "turned": "",
    "note": "",
}
_LIKE = {"mass": '"2.4 kg"', "fraction": '"4.1 %"', "plain": '"38"', "word": '"right"', "temperature": '"3 degC"'}
# Salt that a reading can hold at most: a saturated brine, and meat far saltier than any ham (judgement).
MOST_SALT = {"brine strength": STRONGEST, "core salt": 0.15, "average salt": 0.15}
# What an instrument in a kitchen can show (judgement): what is beyond was written wrongly.
CAN_SHOW = {
    "weight": Quantity("mass", "1 g", "2000 kg"),
    "temperature": Quantity("temperature", "-40 degC", "300 degC"),
    "core temperature": Quantity("temperature", "-40 degC", "300 degC"),
    "acidity": Quantity("plain", "3", "9", "meat lies near 5.6"),
}
MOST_OFF = {
    "weight": 100.0,
    "temperature": 50.0,
    "core temperature": 50.0,
    "acidity": 3.0,
    "salometer": 50.0,
}  # kg, K, plain (judgement)
YEARS = (1900, 2199)  # in which a batch may stand; at both ends of the calendar no clock can be told
_BARE = re.compile(r"\s*[-+]?[\d.,]+\s*")
TASTE_WORDS = ("bland", "right", "salty", "too salty")
_DEGREES = re.compile(r"\s*([^\s%°a-z][^%°a-z]*?)\s*(?:°|deg(?:rees?)?)?\s*", re.IGNORECASE)
_DIFFERENCE = re.compile(r"(.*?)\s*(K|°?C|degC|°?F|degF)?\s*")


class _What(Choice):
    @property
    def like(self) -> str:
        return ', like "brine strength"; or delete this empty [[log]]'


class Reading(Record):
    """One line of the log: when (since the start of the first stage), what was measured or done, and its value with a unit.

    A salometer shows degrees, a plain number from 0 to 100 (made for 60 degF); a taste is one of TASTE_WORDS.
    A "core salt" has no place: it is held against the slowest spot where that lies then, so of a cut against the place
    that `run` names. A probe elsewhere is no reading; write it into the note.
    `error`: how far off the reading may be, in the same unit.
    """

    at: float = quantity("time", "0 s", "400 d", 'say how long after the start, like "4 d"')
    what: str = ruled(_What(tuple(READINGS)))
    value: str = ruled(Words(120), "")
    error: str = ruled(Words(40), "")
    piece: str = ruled(Words(60), "")
    note: str = ruled(Words(500), "")

    def conflicts(self):
        kind = READINGS[self.what]
        for name in ("value", "error"):
            given = getattr(self, name)
            if given and (not kind or (kind == "word" and name == "error")):
                yield Problem(name, f'"{self.what}" has no {name}; put words into the note')
            elif kind and (given or name == "value"):
                try:
                    if name == "value" and not given.strip():
                        yield Problem(name, f'"{self.what}" has no value; write it like {_LIKE[kind]}')
                    elif name == "value":
                        self._value()
                    elif not (off := self._off()) > 0:
                        yield Problem(name, f"{quoted(given)} is not above zero; leave it out if you do not know it")
                    elif off > MOST_OFF.get(self.what, off):
                        yield Problem(
                            name, f"{quoted(given)} is more than any instrument is off; check the number and its unit"
                        )
                except ValueError as error:
                    yield Problem(name, str(error))

    @property
    def number(self) -> float | None:
        """The value in SI, None for what has no value or is a word."""
        value = self._value() if READINGS[self.what] else None
        return None if isinstance(value, str) else value

    @property
    def word(self) -> str:
        """The word of a taste, as TASTE_WORDS has it; "" for all else."""
        value = self._value() if READINGS[self.what] == "word" else ""
        return value if isinstance(value, str) else ""

    @property
    def off(self) -> float | None:
        """How far off it may be, in SI (a difference of temperatures in K), None where that was not said."""
        return self._off() if self.error else None

    def _value(self) -> float | str:
        """The value in SI, or the word. Raises ValueError with one sentence."""
        if self.what == "taste":
            word = " ".join(self.value.lower().split())
            if word not in TASTE_WORDS:
                raise ValueError(
                    f"{quoted(self.value)} is not one of {', '.join(TASTE_WORDS)}; a taste is logged as one of these"
                )
            return word
        if self.what in MOST_SALT:
            return self._salt(self.value, MOST_SALT[self.what])
        if self.what in CAN_SHOW:
            return CAN_SHOW[self.what].read(self.value, False)
        shown = self._degrees(self.value)
        if not 0 <= shown <= 100:
            raise ValueError(
                f"{quoted(self.value)} is out of range (0 to 100 degrees of a salometer); check the number"
            )
        return shown

    def _off(self) -> float:
        if self.what == "salometer":
            return self._degrees(self.error)
        if self.what in MOST_SALT:
            return self._salt(self.error, MOST_SALT[self.what])
        if READINGS[self.what] != "temperature":
            return read(self.error, READINGS[self.what])
        # A difference of temperatures, which no offset may touch: "0.5", "0.5 K" or "1 degF".
        found = _DIFFERENCE.fullmatch(self.error)
        assert found is not None  # it matches every text
        unit = found[2] or ("F" if self.value.rstrip().endswith("F") else "K")
        try:
            return read(found[1], "plain") * (5 / 9 if unit.endswith("F") else 1.0)
        except ValueError:
            raise ValueError(
                f'{quoted(self.error)} is not a difference of temperatures; write it like "0.5 K"'
            ) from None

    @staticmethod
    def _salt(words: str, most: float) -> float:
        """A share of salt; a number alone would be read a hundred times too large."""
        if _BARE.fullmatch(words):
            raise ValueError(needs_unit(words, f"{words.strip()} %"))
        share = read(words, "fraction")
        if share > most:
            raise ValueError(
                f"{quoted(words)} is more salt than there can be ({100 * most:.3g} %); check the decimal point"
            )
        return share

    @staticmethod
    def _degrees(words: str) -> float:
        found = _DEGREES.fullmatch(words)
        if found is None:  # "40 degrees" would be an angle, and "40 %" a share
            raise ValueError(f'{quoted(words)} is not a number of salometer degrees; write it like "40"')
        return read(found[1], "plain")


class OneOf(Several):
    """One nested record of several sorts, told apart by its tag."""

    def read(self, given, strict):
        return given if isinstance(given, self.sorts) else self._one(given)

    def write(self, value, system):
        return super().write([value], system)[0]


class Batch(Record):
    """One cure, from the raw pieces to the log. Raises InputError with every problem at once.

    id: what sheet, label and calendar know the batch by; left out, it follows from the name. start: local time at which the first stage
    begins (the zero of the log); or the plan says when to serve. meat_and_fridge: what earlier batches taught, the prior of this one.
    """

    schema: int = ruled(Choice((SCHEMA,)))
    id: str = ruled(Words(40), "")
    name: str = ruled(Words(120))
    note: str = ruled(Words(2000), "")
    invented: bool = ruled(Flag(), False)
    start: str | None = ruled(LocalTimeRule(), None)
    units: str = ruled(Choice(("metric", "us")), "metric")
    rules: str = ruled(Choice(tuple(RULE_SETS)), "US")
    product: str = ruled(Words(60), "cured meat")
    loss: str = ruled(Choice(tuple(LOSS_MODELS)), "nordin")
    pieces: tuple[Piece, ...] = ruled(Several((Piece,), least=1, most=20))
    vessel: Vessel | None = ruled(Part(Vessel), None)
    weigh_out: WeighOut | None = ruled(OneOf(WEIGH_OUTS, tag="method"), None)
    stages: tuple[Stage, ...] = ruled(Several(STAGES, tag="do", least=1, most=60))
    plan: Plan | None = ruled(Part(Plan), None)
    meat_and_fridge: MeatAndFridge | None = ruled(Part(MeatAndFridge), None)
    log: tuple[Reading, ...] = ruled(Several((Reading,), most=20000), ())

    def conflicts(self):
        try:
            Choice(tuple(RULE_SETS[self.rules].products)).read(self.product, True)
        except InputError as error:
            yield from error.under("product")
        names = [piece.name for piece in self.pieces]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Problem("pieces", f'two pieces are called "{name}"; give each its own name')
        for number, entry in enumerate(self.log, 1):
            if entry.piece and entry.piece not in names:
                yield Problem(f"log[{number}].piece", f'there is no piece "{entry.piece}"; there is {", ".join(names)}')
        if self.plan is not None and (self.start is None) == (self.plan.serve is None):
            told = "neither is given" if self.start is None else "both are given"
            yield Problem(
                "plan",
                f'the dates hang on "start" of the batch or on "serve" in the plan, and {told}; give exactly one',
            )
        for where, moment in (("start", self.start), ("plan.serve", self.plan.serve if self.plan else None)):
            yield from year_problems(moment, where)
        waiting = [number for number, stage in enumerate(self.stages, 1) if not stage.weighed]
        if waiting and self.weigh_out is None:
            yield Problem(
                f"stages[{waiting[0]}]",
                "has no amounts, and there is no weigh_out to take them from; give one of the two",
            )
        if self.weigh_out is not None:
            if not waiting:
                yield Problem(
                    "weigh_out", "no stage uses it, because every cure has its own amounts; remove one of the two"
                )
            try:
                filled = self.filled()
                if self.vessel is not None:
                    for bath in (stage.put_in for stage in filled if stage.cures and stage.wet):
                        try:
                            found = fits(self.vessel, self.pieces, bath)
                        except InputError as error:
                            yield from (Problem("vessel", str(problem)) for problem in error.problems)
                        else:
                            if not found.fits:
                                yield Problem("vessel", found.sentence)
            except InputError as error:
                yield from error.problems

    @property
    def known_by(self) -> str:
        """The id, or eight letters and digits that follow from the name: two batches of one name need an id each."""
        return self.id or hashlib.sha256(self.name.encode()).hexdigest()[:8]

    @property
    def weighed(self) -> Weighed | None:
        """The grams of the weigh-out."""
        if self.weigh_out is None:
            return None
        try:
            return weigh(self.weigh_out, self.pieces)  # type: ignore[arg-type]
        except InputError as error:
            raise InputError(error.under("weigh_out")) from None

    def filled(self) -> tuple[Stage, ...]:
        """The stages with the weighed amounts in them, ready to simulate."""
        weighed = self.weighed
        result = []
        for number, stage in enumerate(self.stages, 1):
            if weighed is not None:
                try:
                    stage = stage if stage.weighed else stage.filled(weighed)
                except InputError as error:
                    raise InputError(error.under(f"stages[{number}]")) from None
            result.append(stage)
        return tuple(result)


def year_problems(moment: str | None, where: str) -> list[Problem]:
    """What is wrong with the year of a local time ("2026-11-25 08:00"); nothing for None."""
    if moment is None or YEARS[0] <= int(moment[:4]) <= YEARS[1]:
        return []
    return [Problem(where, f"{quoted(moment)} is out of range (years {YEARS[0]} to {YEARS[1]}); check the year")]


def load(path: str | Path) -> Batch:
    """The batch in a file. Raises InputError with every problem at once."""
    return from_table(read_table(path))


def from_table(table: dict[str, Any]) -> Batch:
    """The batch in a table read from TOML. Raises InputError with every problem at once."""
    if "schema" in table and table["schema"] != SCHEMA:
        raise refuse(
            "schema",
            f"this file has schema {shown(table['schema'])}, and this curelab reads schema {SCHEMA}; use a matching version",
        )
    return from_plain(Batch, table)


def dumps(batch: Batch) -> str:
    """The TOML text of a batch, in its own units where they are exact."""
    return to_toml(to_plain(batch, batch.units))


def save(batch: Batch, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a batch to a file, whole or not at all."""
    files.write(path, dumps(batch), overwrite=overwrite)
