"""How a stretch heats or cools the pieces, as plain data, and the temperatures that a cook may set."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from .. import units
from ..fields import InputError, Problem, Quantity, Rule, Words, refuse
from ..letters import shown
from .times import Log

FREEZES = 272.15  # K: what is colder is taken as frozen (judgement; lean begins to freeze near -1 to -2 °C)
MOST_POINTS = 500  # of a program


@dataclass(frozen=True)
class Heating:
    """What heats or cools the pieces in a stretch.

    setting: which film coefficient, a row `heat.film.*`. humidity (fraction) or wet_bulb [K] of air that dries the bare skin; None of
    either: nothing evaporates. catches: juice goes into the "bath", or is "poured off". begins_at [K]: the pieces all through as it
    begins; None: as they are.
    """

    setting: str
    humidity: float | None = None
    wet_bulb: float | None = None
    catches: str = "poured off"
    begins_at: float | None = None

    @property
    def dries(self) -> bool:
        """Whether bare skin gives water to the air."""
        return self.humidity is not None or self.wet_bulb is not None


@dataclass(frozen=True)
class Program(Rule):
    """ "85 degC", or straight lines [["0 h", "20 degC"], ["1 h", "88 degC"]], between two temperatures; kept as ((s, K), ...)."""

    low: str
    high: str
    remedy: str

    def read(self, given, strict) -> Log:
        one = Quantity("temperature", self.low, self.high, self.remedy)
        if not isinstance(given, (list, tuple)):
            return ((0.0, one.read(given, strict)),)
        problems, points = [], []
        for number, entry in enumerate(given, 1):
            try:
                time, temperature = entry
                points.append((Quantity("time", "0 s", "30 d").read(time, strict), one.read(temperature, strict)))
            except InputError as error:
                problems += error.under(f"[{number}]")
            except (TypeError, ValueError):
                problems.append(Problem(f"[{number}]", f'{entry!r} is not a pair like ["1 h", "88 degC"]'))
        if not problems and (not points or any(b[0] <= a[0] for a, b in itertools.pairwise(points))):
            problems.append(
                Problem("", "the times of a program must grow from entry to entry, and one entry is the least")
            )
        if len(points) > MOST_POINTS:
            problems.append(
                Problem("", f"the program has {len(points)} entries; at most {MOST_POINTS} are read, so thin it out")
            )
        if problems:
            raise InputError(problems)
        return tuple(points)

    def write(self, value, system):
        if len(value) == 1 and value[0][0] == 0.0:
            return units.text(value[0][1], "temperature", system)
        return [[units.text(time, "time", system), units.text(kelvin, "temperature", system)] for time, kelvin in value]


class NamesRule(Rule):
    """A list of names of pieces; kept as a tuple."""

    def read(self, given, strict):
        if (
            isinstance(given, str)
            or not isinstance(given, (list, tuple))
            or not all(isinstance(one, str) for one in given)
        ):
            raise refuse("", f'{shown(given)} is not a list of pieces; write it like ["flat"]')
        return tuple(dict.fromkeys(Words(60).read(one, strict) for one in given))

    def write(self, value, system):
        return list(value)


class Unfrozen(Quantity):
    """A temperature of the meat; frozen meat is refused."""

    def read(self, given, strict):
        kelvin = super().read(given, strict)
        if kelvin < FREEZES:
            raise refuse("", frozen(kelvin))
        return kelvin


def frozen(kelvin: float) -> str:
    """Why a frozen piece is not computed."""
    return (
        f"the meat is frozen at {units.show(kelvin, 'temperature')}, and thawing is not computed; thaw it through in the "
        "fridge first"
    )
