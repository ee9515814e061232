"""What a cook waits for, as one line of words: "core salt >= 90 % of equilibrium", "average salt <= 2.4 %, "core nitrite >= 100 ppm",
"core temperature >= 88 degC".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from .. import units
from ..fields import Choice, InputError, Problem, Rule, refuse
from ..letters import quoted
from ..matter.solutes import SOLUTES

PLACES = ("core", "average", "surface")
QUANTITIES = ("free nitrite", *SOLUTES)
TEMPERATURE = "temperature"  # a quantity of a place that is no fraction, and has no basis
BASES = {
    "equilibrium": "of equilibrium",
    "water phase": "of the water phase",
    "meat": "of the meat",
    "green weight": "of the green weight",
}
DIRECTIONS = (">=", "<=")
WARMTH = ("-1 degC", "120 degC")  # which temperatures of the meat can be waited for
_ALSO = {"middle": "core"}  # a reader's word for a place
_PATTERN = re.compile(
    rf"^({'|'.join((*PLACES, *_ALSO))}) ({'|'.join((*QUANTITIES, TEMPERATURE))}) ({'|'.join(DIRECTIONS)}) (.+?)(?: ({'|'.join(BASES.values())}))?$",
    re.IGNORECASE,
)
_MOST_LETTERS = 200  # letters


def place_of(word: str, places: tuple[str, ...] = PLACES) -> str:
    """The place that a word names; "middle" is the core. `places`: which are known where it is asked. Raises InputError for any other.

    >>> place_of("middle"), place_of("surface")
    ('core', 'surface')
    """
    return _one_of("place", _ALSO.get(word, word) if isinstance(word, str) else word, places)


def quantity_of(word: str) -> str:
    """The quantity that a word names. Raises InputError for any other."""
    return TEMPERATURE if word == TEMPERATURE else _one_of("quantity", word, QUANTITIES)


def basis_of(word: str) -> str:
    """What a fraction is a fraction of, a key of BASES. Raises InputError for any other."""
    return _one_of("basis", word, tuple(BASES))


def sign_of(word: str) -> str:
    """ ">=" or "<=". Raises InputError for any other."""
    return _one_of("sign", word, DIRECTIONS)


def target_of(given: str | float) -> float:
    """A fraction above 0 and at most 1, from words ("90 %") or a number. Raises InputError for any other."""
    try:
        value = units.read(given, "fraction")
    except ValueError as error:
        raise refuse("target", str(error)) from None
    if not 0 < value <= 1:
        raise refuse("target", f"{quoted(given)} is a target outside 0 to 100 %")
    return value


def warmth_of(given: str | float) -> float:
    """A temperature [K] that meat may have, from words ("88 degC") or a number. Raises InputError for any other."""
    try:
        value = units.read(given, "temperature")
    except ValueError as error:
        raise refuse("target", str(error)) from None
    low, high = (units.read(each, "temperature") for each in WARMTH)
    if not low <= value <= high:
        raise refuse("target", f"{quoted(given)} is a temperature outside {WARMTH[0]} to {WARMTH[1]}")
    return value


def _one_of(where: str, word: str, known: tuple[str, ...]) -> str:
    try:
        return Choice(known).read(word, True)
    except InputError as error:
        raise InputError(error.under(where)) from None


@dataclass(frozen=True)
class Criterion:
    """A place, a quantity, a direction and a target (a fraction, or K of a temperature) on a basis.

    basis: "meat" = of the meat as it is then (default for salt and sugar), "green weight" = of the raw weight (default for nitrite
    and nitrate, as rules count them), "water phase" = solute / (solute + water), "equilibrium" = of where this stage would end.
    Raises InputError, however it is made, with every word that is not known and a target outside 0 to 1.

    >>> str(Criterion.parse("core salt >= 90 % of equilibrium"))
    'core salt >= 90 % of equilibrium'
    >>> Criterion.parse("core nitrite >= 100 ppm").basis
    'green weight'
    """

    place: str
    quantity: str
    sign: str
    target: float
    basis: str

    def __post_init__(self):
        problems: list[Problem] = []
        readers = _READERS | ({"target": warmth_of} if self.quantity == TEMPERATURE else {})
        for name, read in readers.items():
            try:
                object.__setattr__(self, name, read(getattr(self, name)))
            except InputError as error:
                problems += error.problems
        if problems:
            raise InputError(problems)

    @classmethod
    def parse(cls, words: str) -> Criterion:
        """Raises ValueError with one sentence when the words say something else."""
        said = " ".join(str(words)[: _MOST_LETTERS + 1].split())
        match = _PATTERN.match(said) if len(said) <= _MOST_LETTERS else None
        if not match:
            raise ValueError(
                f'{quoted(words)} is not a criterion; write it like "core salt >= 90 % of equilibrium" or "average salt <= 2.4 %"'
            )
        place, quantity, sign, target, basis = match.groups()
        quantity = quantity.lower()
        if quantity == TEMPERATURE:
            return cls._of_warmth(words, place.lower(), sign, target, basis)
        value = units.read(target, "fraction")
        if not 0 < value <= 1:
            raise ValueError(f"{quoted(words)} has a target outside 0 to 100 %")
        names = {phrase: name for name, phrase in BASES.items()}
        return cls(place.lower(), quantity, sign, value, names[basis.lower()] if basis else default_basis(quantity))

    @classmethod
    def _of_warmth(cls, words: str, place: str, sign: str, target: str, basis: str | None) -> Criterion:
        if basis:
            raise ValueError(f'{quoted(words)} has a temperature "{basis}"; leave that out')
        try:
            return cls(place, TEMPERATURE, sign, warmth_of(target), default_basis(TEMPERATURE))
        except InputError as error:
            raise ValueError(error.problems[0].sentence) from None

    @classmethod
    def of(cls, given: Criterion | str) -> Criterion:
        """A criterion, or its words."""
        return given if isinstance(given, Criterion) else cls.parse(given)

    @property
    def kind(self) -> str:
        """The kind of its target, a key of `units.KINDS`."""
        return "temperature" if self.quantity == TEMPERATURE else "fraction"

    def margin(self, value: Any) -> Any:
        """How far a value, or an array of them, meets the criterion: not negative where it holds."""
        return value - self.target if self.sign == ">=" else self.target - value

    def words(self, system: str) -> str:
        """The line that `parse` reads back, a temperature in the units of `system`."""
        basis = "" if self.basis == default_basis(self.quantity) else f" {BASES[self.basis]}"
        return f"{self.place} {self.quantity} {self.sign} {units.text(self.target, self.kind, system)}{basis}"

    def __str__(self) -> str:
        return self.words("metric")


_READERS = {"place": place_of, "quantity": quantity_of, "sign": sign_of, "target": target_of, "basis": basis_of}


def default_basis(quantity: str) -> str:
    return "meat" if quantity in ("salt", "sugar") else "green weight"


class CriterionRule(Rule):
    """A field that holds a criterion."""

    def read(self, given, strict):
        if isinstance(given, Criterion):
            return given
        try:
            return Criterion.parse(given)
        except ValueError as error:
            raise refuse("", str(error)) from None

    def write(self, value, system):
        return value.words(system)
