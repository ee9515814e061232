"""How long bare raw meat keeps at a temperature by what is printed, and how far salt and nitrite at a place slow that down.

Two clocks: "cold", the botulism that grows in a fridge; "warm", what grows from 6.5 degC up and heeds no cure. The cold one is read twice. What
passes is held against the strict reading: nitrite leaves no less than `protection.share`, so that what passes has not come to harm by time, cold and
salt alone. What fails is held against the lenient one: with all that nitrite was seen to do. What lies between cannot be judged. By either, meat keeps
no longer below the coldest printed time of safety, 3 degC, than there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..sources import Numbers, read_table, to_si
from ..units import DAY


@dataclass(frozen=True)
class Hurdles:
    """What slows the cold clock. `salt_felt`, `salt_stops`: fractions of the water phase; `nitrite`: kg/kg beside which `left` of the exposure
    remains; `hopeless`: K above which none of it counts.
    """

    salt_felt: float
    salt_stops: float
    nitrite: float
    left: float
    hopeless: float

    def left_over(self, salt: np.ndarray, free: np.ndarray) -> np.ndarray:
        """Exposure over that of bare meat (0 to 1) at places with so much salt [of the water phase] and free nitrite [of the green weight]."""
        by_salt = np.clip(
            (self.salt_stops - salt) / (self.salt_stops - min(self.salt_felt, self.salt_stops - 1e-9)), 0.0, 1.0
        )
        by_nitrite = 1 - (1 - self.left) * np.clip(free / self.nitrite, 0.0, 1.0)
        return by_salt * by_nitrite


@dataclass(frozen=True)
class Clock:
    """Nodes of a table: `kelvin` (n,) growing, `seconds` (n,) to harm there. `begins`: K below which nothing counts; `ramp`: whether the pace
    falls from the first node to nothing there as growth does near its least temperature (square of the distance; Ratkowsky 1982), or stays.
    """

    kelvin: np.ndarray
    seconds: np.ndarray
    begins: float
    ramp: bool

    def pace(self, kelvin: np.ndarray) -> np.ndarray:
        """Harm per second, 1 at harm: between the nodes in a straight line of its logarithm, before the first and beyond the last as there."""
        found = np.exp(-np.interp(kelvin, self.kelvin, np.log(self.seconds)))
        first = self.kelvin[0]
        if self.ramp:
            found = found * np.clip((kelvin - self.begins) / (first - self.begins), 0.0, 1.0) ** 2
        return np.where(kelvin > self.begins, found, 0.0)


def hurdles(numbers: Numbers, lenient: bool = False) -> Hurdles:
    """From the rows `growth.*` and `protection.*`. `lenient`: nitrite does all that it was seen to do, in two studies that are not one."""
    left = numbers.si("protection.nitrite_left")
    return Hurdles(
        numbers.si("protection.salt_felt"), numbers.si("growth.nonproteolytic.water_phase_salt"), numbers.si("protection.nitrite_full"),
        left if lenient else max(left, numbers.si("protection.share")), numbers.si("growth.proteolytic.temperature"),
    )  # fmt: skip


def clock(name: str, numbers: Numbers) -> Clock:
    """The clock "cold" or "warm" of keeping.csv; a time that is printed as allowed is `protection.share` of the time to harm. Rows of
    spoilage are no time of safety and do not count.
    """
    cold = name == "cold"
    begins = numbers.si("freezing.meat") if cold else numbers.si("growth.salmonella.temperature")
    return _clock(name, max(numbers.si("protection.share"), 1e-9), begins)


@lru_cache(64)  # draw after draw asks for the same
def _clock(name: str, share: float, begins: float) -> Clock:
    nodes = sorted(
        (
            to_si(float(row["temperature_C"]), "degC"),
            to_si(float(row["time"]), row["unit"]) / (share if row["kind"] == "allowed" else 1.0),
        )
        for row in read_table("keeping.csv")
        if row["clock"] == name and row["kind"] != "spoilage"
    )
    kelvin, seconds = np.array(nodes).T
    return Clock(kelvin, seconds, min(begins, kelvin[0] - 1e-9), name != "cold")


def days_to_harm(numbers: Numbers, kelvin: float) -> float:
    """Days of bare raw meat until harm was seen, on the cold clock."""
    return 1 / float(clock("cold", numbers).pace(np.array(kelvin))) / DAY


def source(name: str, kelvin: float) -> tuple[str, str]:
    """(source, how) of the node that lies nearest to a temperature."""
    rows = [row for row in read_table("keeping.csv") if row["clock"] == name]
    near = min(rows, key=lambda row: abs(to_si(float(row["temperature_C"]), "degC") - kelvin))
    return near["source"], near["how"]


def longest() -> float:
    """s: the longest time in the cold table, spoilage too, beyond which no source here reaches."""
    return max(to_si(float(row["time"]), row["unit"]) for row in read_table("keeping.csv") if row["clock"] == "cold")
