"""How a stretch heats or cools the pieces, as plain data, and the temperatures that a cook may set."""

from __future__ import annotations

from dataclasses import dataclass

from .. import units
from ..fields import Quantity, Rule, Words, refuse
from ..letters import shown
from .times import LogRule

FREEZES = 272.15  # K: what is colder is taken as frozen (judgement; lean begins to freeze near -1 to -2 °C)
MOST_POINTS = 500  # of a program


@dataclass(frozen=True)
class Heating:
    """What heats or cools the pieces in a stretch.

    setting: which film coefficient, a row `heat.film.*`. humidity (fraction) or wet_bulb [K] of air that dries the bare skin; None of
    either: nothing evaporates. catches: juice goes into the "bath", is "poured off" or "kept". begins_at [K]: the pieces all through as it
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


class Program(LogRule):
    """What a cook sets a pot or an oven to, from `low` to `high`: a temperature, or straight lines between several."""

    noun, longest, example, most = "program", "30 d", '["1 h", "88 degC"]', MOST_POINTS

    def __init__(self, low: str, high: str, remedy: str) -> None:
        self.one = Quantity("temperature", low, high, remedy)


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
