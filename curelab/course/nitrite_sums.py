"""What lesson 4 works out of nitrite: what to weigh, what is left of it, what rules allow."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from ..engine.history import FREE, History
from ..engine.simulate import simulate
from ..limits.rule_sets import find, picks
from ..matter.solutes import nitrite_loss_rate
from ..recipe.stages import Brine
from ..sources import default_numbers
from ..units import DAY
from ..weighing import CureLabel, EquilibriumBrine, Weighed, weigh
from .kitchen import FRIDGE, MEAT, piece

CM, WANTED, LABEL = 6.0, 120.0, 6.25  # cm; mg/kg; % nitrite on the label of a mix, as an example
SHOWN = 60.0  # days
PH = 5.55  # of beef and pork, in the middle of what is published


def weighed(
    wanted: float = WANTED, label: float = LABEL, meat: float = MEAT, water: float = MEAT, salt: float = 2.2
) -> Weighed:
    """What to weigh for so many mg of nitrite in each kg of meat and water, and so much % salt, from a mix with so much % nitrite."""
    cure = CureLabel(name="mix", nitrite=f"{label:g} %")
    plan = EquilibriumBrine(water=f"{water:g} kg", salt=f"{salt:g} %", nitrite=f"{wanted:g} ppm", cure=cure)
    return weigh(plan, piece(CM).but(weight=f"{meat:g} kg"))


@lru_cache(maxsize=64)
def in_brine(cm: float, wanted: float = WANTED, celsius: float = FRIDGE, days: float = SHOWN) -> History:
    """A piece in such a brine."""
    bath = weighed(wanted).bath()
    return simulate(piece(cm), Brine(bath=bath, temperature=f"{celsius:g} degC", lasts=f"{days:g} d", lying=False))


def left(day: float, place: str = "core", cm: float = CM, wanted: float = WANTED, celsius: float = FRIDGE) -> float:
    """mg of nitrite in each kg that is left at a place on a day."""
    return 1e6 * in_brine(cm, wanted, celsius).at(place, FREE, day * DAY)


def most(cm: float) -> tuple[float, float]:
    """(mg/kg, day): the most nitrite that ever is in the middle, and when."""
    times = np.linspace(0.5, SHOWN, 240)
    found = 1e6 * in_brine(cm).core(FREE, times * DAY)
    return float(found.max()), float(times[found.argmax()])


def half_life(celsius: float) -> float:
    """Days in which half of the nitrite in lean meat is gone."""
    return math.log(2) / float(nitrite_loss_rate(273.15 + celsius, PH)) / DAY


def limit(rule_set: str, kind: str) -> float:
    """mg/kg of a rule on nitrite in meat cured in a brine."""
    rows = [pick for pick in picks(rule_set, "cured meat") if pick.agent == "nitrite" and pick.kind == kind]
    return find(next(pick for pick in rows if pick.process in ("", "immersion"))).value


def colour() -> float:
    """mg/kg of nitrite that keep meat pink."""
    return 1e6 * default_numbers().si("colour.nitrite_minimum")


def left_after(begin: float, days: float, celsius: float) -> float:
    """mg/kg that are left of what was there at the beginning, where no more comes."""
    rate = float(nitrite_loss_rate(273.15 + celsius, PH))
    return begin * math.exp(-rate * days * DAY)
