"""What a cook waits for, as one line of words: "core salt >= 90 % of equilibrium", "average salt <= 2.4 %, "core nitrite >= 100 ppm"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from .. import units
from ..fields import Rule, refuse

PLACES = ("core", "average", "surface")
QUANTITIES = ("free nitrite", "salt", "sugar", "nitrate", "nitrite")
BASES = {
    "equilibrium": "of equilibrium",
    "water phase": "of the water phase",
    "meat": "of the meat",
    "green weight": "of the green weight",
}
_PATTERN = re.compile(
    rf"^({'|'.join(PLACES)}) ({'|'.join(QUANTITIES)}) (>=|<=) (.+?)(?: ({'|'.join(BASES.values())}))?$", re.IGNORECASE
)


@dataclass(frozen=True)
class Criterion:
    """A place, a quantity, a direction and a target (a fraction) on a basis.

    basis: "meat" = of the meat as it is then (default for salt and sugar), "green weight" = of the raw weight (default for nitrite
    and nitrate, as rules count them), "water phase" = solute / (solute + water), "equilibrium" = of where this stage would end.

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

    @classmethod
    def parse(cls, words: str) -> Criterion:
        """Raises ValueError with one sentence when the words say something else."""
        match = _PATTERN.match(" ".join(str(words).split()))
        if not match:
            raise ValueError(
                f'"{words}" is not a criterion; write it like "core salt >= 90 % of equilibrium" or "average salt <= 2.4 %"'
            )
        place, quantity, sign, target, basis = match.groups()
        quantity = quantity.lower()
        value = units.read(target, "fraction")
        if not 0 < value <= 1:
            raise ValueError(f'"{words}" has a target outside 0 to 100 %')
        names = {phrase: name for name, phrase in BASES.items()}
        return cls(place.lower(), quantity, sign, value, names[basis.lower()] if basis else default_basis(quantity))

    @classmethod
    def of(cls, given: Criterion | str) -> Criterion:
        """A criterion, or its words."""
        return given if isinstance(given, Criterion) else cls.parse(given)

    def margin(self, value: Any) -> Any:
        """How far a value, or an array of them, meets the criterion: not negative where it holds."""
        return value - self.target if self.sign == ">=" else self.target - value

    def __str__(self) -> str:
        basis = "" if self.basis == default_basis(self.quantity) else f" {BASES[self.basis]}"
        return f"{self.place} {self.quantity} {self.sign} {units.text(self.target, 'fraction')}{basis}"


def place_of(word: str) -> str:
    """A place by its name; "middle" is the core. Raises ValueError for another."""
    return _known("place", "core" if word == "middle" else word, PLACES)


def quantity_of(word: str) -> str:
    """A quantity by its name. Raises ValueError for another."""
    return _known("quantity", word, QUANTITIES)


def basis_of(word: str) -> str:
    """A basis by its name. Raises ValueError for another."""
    return _known("basis", word, tuple(BASES))


def _known(what: str, word: str, known: tuple[str, ...]) -> str:
    if word not in known:
        raise ValueError(f'{what} "{word}" is not one of {", ".join(known)}')
    return word


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
        return str(value)
