"""The kinds of stages that heat or cool the pieces: simmer, bag cook, smoke, oven, chill, reheat, hold. Plain data.

Each has one end rule, as the stages before them: `lasts`, or `until` (such as "core temperature >= 88 degC") with `at_most`. A temperature
is constant, or a program of straight lines. `begins_at` says how warm the pieces are all through, where the stages before do not; `pieces`
names those that it is about: the others wait in the fridge, sealed.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any, ClassVar, Self

import numpy as np

from ..fields import Choice, Flag, Problem, quantity, ruled
from .heating import Heating, NamesRule, Program, Unfrozen
from .stage import Ending, Stage, Stretch, several_times
from .times import Log, TimesRule

BURNS = "Hot water, steam and hot fat burn. Keep children away, and lift meat with both hands and a fork or tongs."
BAGS = "A hot bag may spit when it is cut. Use bags made for cooking, and let it cool before you open it."
_BEGINS = Unfrozen("temperature", "-40 degC", "100 degC", "say how warm the middle is")


class Cooking(Ending):
    """What these stages share."""

    heats: ClassVar[bool] = True
    aim: ClassVar[str] = "cook"
    cautions: ClassVar[tuple[str, ...]] = (BURNS,)
    begins_at: float | None = ruled(_BEGINS, None)
    pieces: tuple[str, ...] = ruled(NamesRule(), ())

    @property
    def named(self) -> tuple[str, ...]:
        return self.pieces

    @property
    def heating(self) -> Heating:
        """How it heats or cools."""
        raise TypeError(f"a {type(self).__name__} does not say how it heats")

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        return (Stretch(self.tag, self.longest, self.temperature, heating=self.heating),)

    def warmed(self, by: float) -> Self:
        """As it is: a fridge that is warmer than planned says nothing of a pot."""
        return self


class Simmer(Cooking):
    """The pieces lie in hot water that moves and takes salt. water [kg]; fresh_at: times [s] at which the same amount of fresh water, as
    hot, takes its place.
    """

    tag: ClassVar[str] = "simmer"
    noun: ClassVar[str] = "pot"
    begins: ClassVar[tuple[str, str]] = ("into the pot, and simmer", "pour the water away, and refill with hot water")
    hint: ClassVar[str] = "keep the pieces covered, and push a thermometer into the thickest place"
    temperature: Log = ruled(Program("0 degC", "100 degC", "water does not get hotter than it boils"))
    water: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    fresh_at: tuple[float, ...] = ruled(TimesRule(), ())

    @property
    def heating(self) -> Heating:
        return Heating("simmer", catches="bath", begins_at=self.begins_at)

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        edges = [0.0, *(time for time in self.fresh_at if time < self.longest), self.longest]
        found = []
        for number, (begin, end) in enumerate(itertools.pairwise(edges)):
            label = self.tag if len(edges) == 2 else f"{self.tag}, water {number + 1} of {len(edges) - 1}"
            heating = self.heating if not number else Heating("simmer", catches="bath")
            log = _from(self.temperature, begin)
            found.append(Stretch(label, end - begin, log, self.water, stirred=True, heating=heating))
        return tuple(found)

    logs, lengths = Stage.logs, Stage.lengths  # those of its waters

    @property
    def wet(self) -> bool:
        return True

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        return several_times(self, ("water",), factors, checked)

    def problems(self, green: float) -> list[Problem]:
        least = LEAST_WATER * green
        if self.water >= least:
            return []
        return [
            Problem("water", f"is too little to cover the meat; take {1e3 * least:.0f} g or more, or use a bag cook")
        ]


LEAST_WATER = 0.3  # of the green weight: less does not cover a piece in the tightest pot (judgement)


class BagCook(Cooking):
    """The pieces are sealed in bags, in a water bath or in steam; juice stays in the bag until it is opened, and is then "poured off", or "kept"
    and eaten with the meat.
    """

    tag: ClassVar[str] = "bag cook"
    bagged: ClassVar[bool] = True
    noun: ClassVar[str] = "hot bath"
    begins: ClassVar[tuple[str, str]] = ("seal in a bag, and into the hot bath", "")
    cautions: ClassVar[tuple[str, ...]] = (BURNS, BAGS)
    temperature: Log = ruled(Program("0 degC", "100 degC", "water does not get hotter than it boils"))
    steam: bool = ruled(Flag(), False)
    juice: str = ruled(Choice(("poured off", "kept")), "poured off")

    @property
    def hint(self) -> str:  # type: ignore[override]
        juice = (
            "keep the juice as cold as the meat, and boil it before you use it"
            if self.juice == "kept"
            else "pour off the juice"
        )
        return f"keep the bag under water; leave it closed until it is chilled, then {juice}"

    @property
    def heating(self) -> Heating:
        return Heating("steam" if self.steam else "bag_in_water", catches=self.juice, begins_at=self.begins_at)


class InAir(Cooking):
    """Hot air with its moisture: relative `humidity`, or `wet_bulb` [K]."""

    humidity: float | None = quantity(
        "fraction", "0 %", "100 %", "read a hygrometer, or give wet_bulb", default=None, example="60 %"
    )
    wet_bulb: float | None = quantity(
        "temperature", "0 degC", "99 degC", "read a thermometer in a wet wick", default=None
    )

    def conflicts(self):
        yield from super().conflicts()
        if (self.humidity is None) == (self.wet_bulb is None):
            both = "both are given" if self.humidity is not None else "neither is given"
            yield Problem(
                "humidity", f'the moisture of the air is "humidity" or "wet_bulb", and {both}; say exactly one'
            )
        elif self.wet_bulb is not None and self.wet_bulb > self.coldest:
            yield Problem("wet_bulb", "a wet thermometer cannot be warmer than the dry one; check which is which")

    @property
    def heating(self) -> Heating:
        return Heating(self.tag, self.humidity, self.wet_bulb, begins_at=self.begins_at)


class Smoke(InAir):
    """Smoked: hot air dries the skin, which is cool while it is wet. What smoke leaves on the meat is not computed."""

    tag: ClassVar[str] = "smoke"
    noun: ClassVar[str] = "smoke"
    begins: ClassVar[tuple[str, str]] = ("into the smoke", "")
    hint: ClassVar[str] = "push a thermometer into the thickest place"
    temperature: Log = ruled(Program("0 degC", "150 degC", "smoke is not hotter"))


class Oven(InAir):
    """In an oven, bare."""

    tag: ClassVar[str] = "oven"
    noun: ClassVar[str] = "oven"
    begins: ClassVar[tuple[str, str]] = ("into the oven", "")
    hint: ClassVar[str] = "push a thermometer into the thickest place"
    temperature: Log = ruled(Program("0 degC", "260 degC", "no oven for meat is hotter; check the number"))


COLD_IN = {"ice water": "ice_water", "fridge air": "fridge_air", "moving air": "moving_air"}
WARM_IN = {"water bath": "bag_in_water", "steam": "steam", "oven air": "oven"}


class Chill(Cooking):
    """The pieces are cooled in their bag, or covered."""

    tag: ClassVar[str] = "chill"
    aim: ClassVar[str] = "chill"
    noun: ClassVar[str] = "cold"
    hint: ClassVar[str] = "keep the pieces apart, so that the cold reaches them all around"
    cautions: ClassVar[tuple[str, ...]] = (
        "Cool cooked meat fast: germs that outlive cooking grow between 54 and 4 °C (130 and 40 °F).",
    )
    temperature: Log = ruled(Program("-5 degC", "30 degC", "that does not chill"))
    medium: str = ruled(Choice(tuple(COLD_IN)))

    @property
    def begins(self) -> tuple[str, str]:  # type: ignore[override]
        return f"chill in {self.medium}", ""

    def conflicts(self):
        yield from super().conflicts()
        if self.medium == "ice water" and self.coldest < 273.15:
            yield Problem("temperature", "ice water is not colder than 0 °C; correct it, or chill in air")

    @property
    def heating(self) -> Heating:
        return Heating(COLD_IN[self.medium], begins_at=self.begins_at)


class _Warming(Cooking):
    """Warmed in a bag or covered."""

    temperature: Log = ruled(Program("0 degC", "200 degC", "meat is not warmed in more"))
    medium: str = ruled(Choice(tuple(WARM_IN)), "water bath")

    def conflicts(self):
        yield from super().conflicts()
        if self.medium != "oven air" and self.warmest > 373.15:
            yield Problem("temperature", "water and steam do not get hotter than 100 °C; correct it, or use oven air")

    @property
    def heating(self) -> Heating:
        return Heating(WARM_IN[self.medium], begins_at=self.begins_at)


class Reheat(_Warming):
    """Chilled meat is warmed again."""

    tag: ClassVar[str] = "reheat"
    aim: ClassVar[str] = "reheat"
    noun: ClassVar[str] = "heat"
    begins: ClassVar[tuple[str, str]] = ("warm it up again", "")


class Hold(_Warming):
    """Cooked meat is held hot until it is served."""

    tag: ClassVar[str] = "hold"
    aim: ClassVar[str] = "hold"
    noun: ClassVar[str] = "heat"
    begins: ClassVar[tuple[str, str]] = ("hold it hot", "")


def _from(log: Log, begin: float) -> Log:
    """A program as it goes on from `begin` [s]."""
    if not begin:
        return log
    later = tuple((time - begin, kelvin) for time, kelvin in log if time > begin)
    return ((0.0, _at(log, begin)), *later)


def _at(log: Log, time: float) -> float:
    times, kelvin = (np.array(each) for each in zip(*log, strict=True))
    return float(np.interp(time, times, kelvin))


COOKING: tuple[Any, ...] = (Simmer, BagCook, Smoke, Oven, Chill, Reheat, Hold)
