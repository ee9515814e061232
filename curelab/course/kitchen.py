"""The pieces and cures that the lessons are about, and how long they need. Invented, and the same in every lesson."""

from __future__ import annotations

from functools import lru_cache

from ..engine.history import History
from ..engine.simulate import simulate
from ..forecast import time_to
from ..limits import UNPROTECTED, WARM, check_process, keeping, worst_first
from ..matter.taste import saltiness
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine
from ..sources import default_numbers
from ..units import DAY
from .parts import Values

MEAT = 2.0  # kg of each piece
LONG = 250.0  # days that are looked at
SALT = 45.0  # g of salt in a kg of water, of the weak brine
FRIDGE = 2.0  # degC
CURED = "core salt >= 90 % of equilibrium"
KEEPING = ("kept cold", UNPROTECTED, WARM)  # the checks of cold and time
RAW_TOO_LONG = "**Raw meat lies too long here. Do not do this: lesson 6 says why.**"


def piece(cm: float, name: str = "piece") -> Piece:
    """A flat piece of lean beef, so thick."""
    return Piece(name=name, thickness=f"{cm:g} cm", weight=f"{MEAT:g} kg")


def brine(grams: float = SALT, days: float = LONG, celsius: float = FRIDGE, water: float = MEAT) -> Brine:
    """A brine of so many g of salt in each kg of water, around a piece that hangs free in it."""
    bath = Bath(water=f"{water:g} kg", salt=f"{grams * water:g} g")
    return Brine(bath=bath, temperature=f"{celsius:g} degC", lasts=f"{days:g} d", lying=False)


@lru_cache(maxsize=256)
def brined(
    cm: float,
    grams: float = SALT,
    days: float = LONG,
    celsius: float = FRIDGE,
    water: float = MEAT,
    name: str = "piece",
) -> History:
    """What happens in one such piece."""
    return simulate(piece(cm, name), brine(grams, days, celsius, water))


@lru_cache(maxsize=256)
def days_to_cure(cm: float, grams: float = SALT, celsius: float = FRIDGE) -> float:
    """Days until the middle of a piece so thick is cured."""
    return brined(cm, grams, celsius=celsius).first_time(CURED) / DAY


def until_cured(cm: float, celsius: float = FRIDGE) -> History:
    """A piece so thick in the weak brine, until its middle is cured."""
    return brined(cm, days=days_to_cure(cm, celsius=celsius), celsius=celsius)


def share_in_the_middle(cm: float, day: float) -> float:
    """How many parts in 100 of its salt the middle has on a day."""
    return 100 * brined(cm).core("salt", day * DAY, basis="equilibrium")


def days_in_order(celsius: float) -> float:
    """Days that bare raw meat may lie at a temperature, as this library judges: a share of the shortest time to harm that is printed."""
    numbers = default_numbers()
    return numbers.si("protection.share") * keeping.days_to_harm(numbers, 273.15 + celsius)


def in_slow_and_quick(criterion: str, meat: Piece, cure: Brine) -> Values:
    """Days until a criterion is met, in usual, quick and slow meat."""
    found = time_to(criterion, meat, cure)
    assert found.value is not None and found.low is not None and found.high is not None
    return {"usual": found.value / DAY, "quick": found.low / DAY, "slow": found.high / DAY}


def how_kept(history: History) -> str:
    """The worst that the library's checks of cold and time find: "pass", "unknown" or "fail"."""
    return worst_first(each for each in check_process(history) if each.name in KEEPING)[0].outcome


def kept_in_order(history: History) -> bool:
    """Whether the library finds nothing against how cold and how long raw meat was kept."""
    return how_kept(history) == "pass"


def warned(said: str, *histories: History) -> str:
    """A sentence over a picture, and a warning with it where meat is raw too long in what it shows."""
    return said if all(kept_in_order(each) for each in histories) else f"{said} {RAW_TOO_LONG}"


def tastes(percent: float) -> str:
    """How meat with so much salt tastes, in a word."""
    word = saltiness(percent / 100).word
    return "right" if word == "as usual" else word
