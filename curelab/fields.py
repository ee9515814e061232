"""Plain records whose fields say what they may hold.

One mechanism serves the Python API, the batch file and the controls: a field carries a rule (kind, range, what to do when it is
broken); a record reads all its fields when it is made and complains about every broken one at once; `from_plain` and `to_plain`
walk nested records to and from the dictionaries of a TOML file. Records are frozen, hold SI floats, and know no solver.

Longer than others because the rules of fields are read beside the records that ask them.
"""

from __future__ import annotations

import copy
import dataclasses
import difflib
import functools
import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar, Self, TypeVar

from . import units
from .letters import LONGEST_QUOTE, clipped, quoted, refused_letter, shown, visible

MOST_PROBLEMS = 50  # that a message lists; a file with more has one cause, or is no batch
LONGEST_SENTENCE = 600  # letters
LONGEST_NAME = 200  # letters; a longer text is a note, and may have lines


@dataclass(frozen=True)
class Problem:
    """One thing wrong with what was given: where, what, and what to do, in one sentence."""

    where: str
    sentence: str

    def __post_init__(self):
        """Whoever made it, it can be printed: no control letter is left in it."""
        object.__setattr__(self, "where", visible(clipped(self.where, 2 * LONGEST_QUOTE)))
        object.__setattr__(self, "sentence", visible(self.sentence))

    def __str__(self) -> str:
        sentence = clipped(self.sentence, LONGEST_SENTENCE)
        return f"{self.where}: {sentence}" if self.where else sentence


class InputError(ValueError):
    """What was given cannot be used; `problems` holds every reason, one sentence each, and its words list the first of them."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = tuple(problems)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        """One line a problem, at most MOST_PROBLEMS of them."""
        more = len(self.problems) - MOST_PROBLEMS
        return [str(problem) for problem in self.problems[:MOST_PROBLEMS]] + ([f"and {more} more"] if more > 0 else [])

    def said(self) -> str:
        """The same as sentences, one behind the other."""
        return sentences(self.lines())

    def under(self, where: str) -> list[Problem]:
        """The same problems seen from the record that holds this one."""
        return [
            Problem(f"{where}{p.where if p.where.startswith('[') else '.' + p.where}" if p.where else where, p.sentence)
            for p in self.problems
        ]


def sentences(problems: Iterable[str | Problem]) -> str:
    """Problems as sentences, one behind the other."""
    return " ".join(f"{str(problem).rstrip('.')}." for problem in problems)


def refuse(where: str, sentence: str) -> InputError:
    return InputError([Problem(where, sentence)])


class Rule(ABC):
    """How a field is read, checked and written; `strict` refuses what a file must not leave open (a number without its unit)."""

    lines: ClassVar[bool] = False  # whether a text may have new lines and tabs

    @property
    def like(self) -> str:
        """How it may look, behind "give it" where it is missing."""
        return ""

    @abstractmethod
    def read(self, given: Any, strict: bool) -> Any:
        """The value to keep. Raises InputError with what is wrong."""

    def take(self, given: Any, strict: bool) -> Any:
        """`read`, as every record asks it: no rule sees a text with control letters, and none repeats what was given at length."""
        for each in given if isinstance(given, (list, tuple)) else (given,):
            if isinstance(each, str) and (letter := refused_letter(each, self.lines)):
                raise refuse("", f"{quoted(each)} holds the control letter {letter}; take it out")
        try:
            return self.read(given, strict)
        except InputError as error:
            raise InputError(_short(error.problems, given)) from None

    def write(self, value: Any, system: str) -> Any:
        return value

    def entry(self, value: Any, system: str) -> str:
        """How the value stands in a text box."""
        return str(self.write(value, system))


def _short(problems: tuple[Problem, ...], given: Any) -> Iterable[Problem]:
    """The problems, with what was given (or an entry of it) cut to LONGEST_QUOTE letters where a sentence repeats it."""
    try:
        entries = [
            each
            for each in (given if isinstance(given, (list, tuple)) else [given])
            if isinstance(each, (str, list, tuple))
        ]
        long = [words for each in entries for words in (visible(str(each)), repr(each)) if len(words) > LONGEST_QUOTE]
    except ValueError:  # a number too long to be written
        return problems
    return [
        Problem(
            each.where, functools.reduce(lambda said, words: said.replace(words, clipped(words)), long, each.sentence)
        )
        for each in problems[:MOST_PROBLEMS]
    ] + list(problems[MOST_PROBLEMS:])


@dataclass(frozen=True)
class Quantity(Rule):
    """A number with a unit, inside a range; the limits are written as a cook would ("2 mm"), and so is the `example` of this very field."""

    kind: str
    low: str
    high: str
    remedy: str = ""
    above_low: bool = False
    example: str = ""  # default: that of the kind

    @property
    def like(self) -> str:
        return f', like "{self._example}"'

    @property
    def _example(self) -> str:
        return self.example or units.KINDS[self.kind].example

    def read(self, given, strict):
        try:
            value = units.read(given, self.kind, self._example)
            # A share of 0 is none in any unit; of other numbers nobody knows whether percent or a share was meant.
            bare = (
                units.bare(given) if isinstance(given, str) and self.kind == "fraction" else not isinstance(given, str)
            )
            if strict and bare and self.kind != "plain" and (value or self.kind != "fraction"):
                raise ValueError(units.needs_unit(given, self._example))
        except ValueError as error:
            raise refuse("", str(error)) from None
        low, high = units.read(self.low, self.kind), units.read(self.high, self.kind)
        if low <= value <= high and not (self.above_low and value == low):
            return value
        said = quoted(given) if isinstance(given, str) else units.show(value, self.kind)
        from_ = "above" if self.above_low else "from"
        hint = self._fahrenheit(value, low, high) or self.remedy or "check the number and its unit"
        raise refuse("", f"{said} is out of range ({from_} {self.low} to {self.high}); {hint}")

    def _fahrenheit(self, value: float, low: float, high: float) -> str:
        if self.kind != "temperature" or not math.isfinite(value):
            return ""
        number = round(units.convert(value, "temperature", "degC"), 3)
        meant = units.read(f"{number!r} degF", "temperature")
        if low <= meant <= high:
            return f'if it was read in Fahrenheit, write "{number:g} degF" ({units.show(meant, "temperature")})'
        return ""

    def write(self, value, system):
        return float(value) if self.kind == "plain" else units.text(value, self.kind, system)

    def entry(self, value, system):
        return f"{value:g}" if self.kind == "plain" else units.entry(value, self.kind, system)


@dataclass(frozen=True)
class Choice(Rule):
    options: tuple[Any, ...]

    def read(self, given, strict):
        for option in self.options:
            if isinstance(given, type(option)) and not isinstance(given, bool) and given == option:
                return option
        near = nearest(given, self.options)
        raise refuse(
            "", f"{quoted(given)} is not one of {', '.join(map(str, self.options))}{f'; {near}' if near else ''}"
        )


def nearest(given: Any, known: Iterable[Any]) -> str:
    """'did you mean "cylinder"?', or nothing where nothing is near."""
    return _nearest(clipped(str(given)), tuple(map(str, known)))


@functools.lru_cache(maxsize=1024)
def _nearest(word: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(word, known, 1)
    return f'did you mean "{near[0]}"?' if near else ""


@dataclass(frozen=True)
class Words(Rule):
    """A text: a name on one line, or a note (longer than LONGEST_NAME), which may have lines and tabs."""

    longest: int = LONGEST_NAME

    @property
    def lines(self) -> bool:  # type: ignore[override]
        return self.longest > LONGEST_NAME

    def read(self, given, strict):
        if not isinstance(given, str):
            raise refuse("", f"{shown(given)} is not a text; put it between quotes")
        if len(given) > self.longest:
            raise refuse("", f"the text has {len(given)} characters, at most {self.longest} are kept; shorten it")
        return given


@dataclass(frozen=True)
class Flag(Rule):
    def read(self, given, strict):
        if isinstance(given, bool):
            return given
        raise refuse("", f"{shown(given)} is neither true nor false; write true or false")


@dataclass(frozen=True)
class Part(Rule):
    """One nested record."""

    record: type[Record]

    def read(self, given, strict):
        return given if isinstance(given, self.record) else from_plain(self.record, given)

    def write(self, value, system):
        return to_plain(value, system)


@dataclass(frozen=True)
class Several(Rule):
    """A list of nested records; when there is more than one sort, each says which by its `tag`."""

    sorts: tuple[type[Record], ...]
    tag: str = ""
    most: int = 500
    least: int = 0

    def read(self, given, strict):
        if isinstance(given, self.sorts):
            given = (given,)  # a single one needs no list around it
        if isinstance(given, (Mapping, str, bytes)) or not isinstance(given, Iterable):
            raise refuse("", f"{shown(given)} is not a list; give one entry for each")
        given = list(given)
        if not self.least <= len(given) <= self.most:
            raise refuse("", f"there are {len(given)} entries; give {self.least} to {self.most}")
        problems, result = [], []
        for number, item in enumerate(given, 1):
            try:
                result.append(item if isinstance(item, self.sorts) else self._one(item))
            except InputError as error:
                problems += error.under(f"[{number}]")
        if problems:
            raise InputError(problems)
        return tuple(result)

    def _one(self, item):
        if not isinstance(item, Mapping):
            raise refuse("", f"{shown(item)} is not a table of fields")
        if not self.tag:
            return from_plain(self.sorts[0], item)
        table = dict(item)
        given = table.pop(self.tag, None)
        names = {sort.tag: sort for sort in self.sorts}
        if given is None:
            raise refuse(self.tag, f"missing; say one of {', '.join(names)}")
        try:
            Choice(tuple(names)).read(given, True)
        except InputError as error:
            raise InputError(error.under(self.tag)) from None
        return from_plain(names[given], table)

    def write(self, value, system):
        head = (lambda item: {self.tag: item.tag}) if self.tag else (lambda item: {})
        return [head(item) | to_plain(item, system) for item in value]


def ruled(rule: Rule, default: Any = MISSING) -> Any:
    """A dataclass field that follows `rule`. A default of None means: may be left out."""
    return field(default=default, metadata={"rule": rule}) if default is not MISSING else field(metadata={"rule": rule})


def quantity(
    kind: str,
    low: str,
    high: str,
    remedy: str = "",
    default: Any = MISSING,
    above_low: bool = False,
    example: str = "",
) -> Any:
    return ruled(Quantity(kind, low, high, remedy, above_low, example), default)


class Record:
    """Base of every plain record: subclasses become frozen keyword-only dataclasses whose fields are read when made."""

    tag: ClassVar[str] = ""

    if TYPE_CHECKING:

        def __init__(self, **given: Any) -> None:
            """Fields by name: texts as a cook writes them, or SI."""

    def __init_subclass__(cls, **kwargs):
        super().__init_subclass__(**kwargs)
        dataclass(frozen=True, kw_only=True, repr=False)(cls)

    def __post_init__(self):
        problems = []
        for spec in fields(self):  # type: ignore[arg-type]
            value = getattr(self, spec.name)
            if value is None and spec.default is None:
                continue
            try:
                object.__setattr__(self, spec.name, spec.metadata["rule"].take(value, False))
            except InputError as error:
                problems += error.under(spec.name)
        given = {spec.name: getattr(self, spec.name) for spec in fields(self)}  # type: ignore[arg-type]
        problems += [
            missing(type(self), name) for name in self.lacking({k: v for k, v in given.items() if v is not None})
        ]
        if not problems:
            for name, value in self.follows().items():
                if given[name] is not None and not math.isclose(given[name], value, rel_tol=1e-9):
                    problems.append(Problem(name, "follows from other fields, which say something else; leave it out"))
                object.__setattr__(self, name, value)
        if not problems:
            problems = list(self.conflicts())
        if problems:
            raise InputError(problems)

    @classmethod
    def lacking(cls, given: Mapping[str, Any]) -> Iterable[str]:
        """Names of fields that may be left out of some records and are missing from this one."""
        return ()

    def follows(self) -> Mapping[str, float]:
        """Values of fields that follow from others: set when the record is made, and not written."""
        return {}

    def conflicts(self) -> Iterable[Problem]:
        """Problems between fields that are each fine alone."""
        return ()

    def but(self, **changes) -> Self:
        """The same record with some fields changed, checked again."""
        return dataclasses.replace(self, **dict.fromkeys(self.follows()) | changes)  # type: ignore[type-var]

    def __repr__(self) -> str:
        inner = ", ".join(f"{key}={value!r}" for key, value in to_plain(self).items())
        return f"{type(self).__name__}({inner})"


R = TypeVar("R", bound=Record)


def from_plain(record: type[R], table: Any) -> R:
    """The record a table describes. Raises InputError with every unknown, missing or broken field at once."""
    if not isinstance(table, Mapping):
        raise refuse("", f"{shown(table)} is not a table of fields")
    specs = {spec.name: spec for spec in fields(record)}  # type: ignore[arg-type]
    problems: list[Problem] = []
    values, known = {}, ", ".join(specs)
    for name, given in table.items():
        if name not in specs:
            # Looking for the nearest takes time; what is beyond the problems that are listed goes without.
            hint = nearest(name, specs) if len(problems) < MOST_PROBLEMS else ""
            problems.append(Problem(clipped(str(name)), f"no such field; {hint or f'known here: {known}'}"))
            continue
        try:
            values[name] = specs[name].metadata["rule"].take(given, True)
        except InputError as error:
            problems += error.under(name)
    lacking = tuple(record.lacking(table))
    for name, spec in specs.items():
        if name in lacking or (spec.default is MISSING and name not in table):
            problems.append(missing(record, name))
    if problems:
        raise InputError(problems)
    return record(**values)


def missing(record: type[Record], name: str) -> Problem:
    """That a field was not given."""
    rule = next(spec.metadata["rule"] for spec in fields(record) if spec.name == name)  # type: ignore[arg-type]
    return Problem(name, f"missing; give it{rule.like}")


def to_plain(record: Record, system: str = "metric") -> dict[str, Any]:
    """The dictionary that `from_plain` reads back to an equal record; fields at their default are left out."""
    table, follows = {}, record.follows()
    for spec in fields(record):  # type: ignore[arg-type]
        value = getattr(record, spec.name)
        if (spec.default is not MISSING and value == spec.default) or spec.name in follows:
            continue
        table[spec.name] = spec.metadata["rule"].write(value, system)
    return table


def unchecked(record: R, **changes: Any) -> R:
    """The record with other values, not read again: a sampled batch may step over what a cook may type."""
    other = copy.copy(record)
    for name, value in changes.items():
        object.__setattr__(other, name, value)
    return other
