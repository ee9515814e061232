"""What is done to a piece: brine, sealed cure, rest, soak. Plain data; a stage knows no solver.

Every stage has exactly one end rule: `lasts` (a duration), or `until` (a criterion) with `at_most`; a soak is as long as its waters,
and may end earlier by `until`. There is no default duration. A temperature is constant, or a fridge log of (time, temperature).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from typing import ClassVar

from .. import units
from ..fields import Flag, InputError, Part, Problem, Quantity, Record, Rule, Several, quantity, refuse, ruled
from ..matter import brine as brine_properties
from .criterion import Criterion, CriterionRule

_COLD = Quantity("temperature", "-3 degC", "25 degC", "keep the cure in a fridge, 1 to 4 degC")
_TIME = ("1 min", "400 d")


Log = tuple[tuple[float, float], ...]


class TemperatureRule(Rule):
    """ "3 degC", or a log [["0 h", "3 degC"], ["9 h", "5 degC"], ...]; kept as ((s, K), ...), straight lines between the points."""

    def read(self, given, strict):
        if not isinstance(given, (list, tuple)):
            return ((0.0, _COLD.read(given, strict)),)
        problems, points = [], []
        for number, entry in enumerate(given, 1):
            try:
                time, temperature = entry
                points.append((Quantity("time", "0 s", "400 d").read(time, strict), _COLD.read(temperature, strict)))
            except InputError as error:
                problems += error.under(f"[{number}]")
            except (TypeError, ValueError):
                problems.append(Problem(f"[{number}]", f'{entry!r} is not a pair like ["9 h", "5 degC"]'))
        if not problems and (not points or any(b[0] <= a[0] for a, b in itertools.pairwise(points))):
            problems.append(
                Problem("", "the times of a fridge log must grow from entry to entry, and one entry is the least")
            )
        if len(points) > 20000:
            problems.append(
                Problem("", f"the fridge log has {len(points)} entries; at most 20000 are read, so thin it out")
            )
        if problems:
            raise InputError(problems)
        return tuple(points)

    def write(self, value, system):
        if len(value) == 1 and value[0][0] == 0.0:
            return units.text(value[0][1], "temperature", system)
        return [[units.text(time, "time", system), units.text(kelvin, "temperature", system)] for time, kelvin in value]


class TimesRule(Rule):
    """A list of times since the stage began, growing: ["2 d", "4 d 3 h"]; kept as seconds."""

    def read(self, given, strict):
        if isinstance(given, str) or not isinstance(given, (list, tuple)):
            raise refuse("", f'{given!r} is not a list of times; write it like ["2 d", "4 d"]')
        if len(given) > 2000:
            raise refuse("", f"there are {len(given)} times; at most 2000 are read, so leave some out")
        problems, times = [], []
        for number, time in enumerate(given, 1):
            try:
                times.append(Quantity("time", "0 s", "400 d", "give days or hours", above_low=True).read(time, strict))
            except InputError as error:
                problems += error.under(f"[{number}]")
        if not problems and any(b <= a for a, b in itertools.pairwise(times)):
            problems.append(Problem("", "the times must grow from entry to entry"))
        if problems:
            raise InputError(problems)
        return tuple(times)

    def write(self, value, system):
        return [units.text(time, "time", system) for time in value]


def _temperature():
    return ruled(TemperatureRule())


class Bath(Record):
    """What is in the vessel besides the meat at the start, in kg: water, salt (NaCl), sugar (sucrose), nitrate (as NaNO3), nitrite (as NaNO2)."""

    water: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    salt: float = quantity("mass", "0 g", "800 kg", "weigh the salt", default=0.0)
    sugar: float = quantity("mass", "0 g", "800 kg", "weigh the sugar", default=0.0)
    nitrate: float = quantity("mass", "0 g", "10 kg", "weigh the cure mix and take the share on its label", default=0.0)
    nitrite: float = quantity("mass", "0 g", "10 kg", "weigh the cure mix and take the share on its label", default=0.0)

    MOST_NITRITE: ClassVar[float] = 5e-3

    def conflicts(self):
        for name in ("nitrite", "nitrate"):
            share = getattr(self, name) / self.water
            if share > self.MOST_NITRITE:
                yield Problem(
                    name,
                    f"{units.show(getattr(self, name), 'mass')} in {units.show(self.water, 'mass')} of water is {1e6 * share:,.0f} mg per kg, "
                    f"far above any curing brine (at most {1e6 * self.MOST_NITRITE:,.0f}); too much nitrite poisons: check the decimal "
                    "point and weigh the cure mix, not pure nitrite",
                )

    @property
    def strength(self) -> float:
        """Salt as a mass fraction of salt and water."""
        return self.salt / (self.salt + self.water)


class Stage(Record):
    """What all stages share."""

    temperature: Log = _temperature()

    @property
    def coldest(self) -> float:
        """Lowest temperature [K]."""
        return min(kelvin for _, kelvin in self.temperature)

    @property
    def warmest(self) -> float:
        return max(kelvin for _, kelvin in self.temperature)


class _Ending(Stage):
    """A stage that ends by `lasts`, or by `until` with `at_most`."""

    lasts: float | None = quantity("time", *_TIME, "give days or hours", default=None)
    until: Criterion | None = ruled(CriterionRule(), None)
    at_most: float | None = quantity("time", *_TIME, "give the longest you would wait", default=None)

    @property
    def longest(self) -> float:
        """The duration [s], or the stated maximum."""
        return self.lasts if self.lasts is not None else self.at_most or 0.0

    def conflicts(self):
        if (self.lasts is None) == (self.until is None):
            both = "both are given" if self.lasts is not None else "neither is given"
            yield Problem("lasts", f'a stage ends by "lasts" or by "until", and {both}; say exactly one')
        elif (self.until is None) != (self.at_most is None):
            missing = (
                "until needs at_most, the longest you would wait" if self.until else "at_most only goes with until"
            )
            yield Problem("at_most", f"{missing}; add or remove it")


class Brine(_Ending):
    """The piece lies under brine in a vessel.

    bath: what the brine is made of; None means "as weighed out" and is filled in by the batch.
    lying: one broad face rests on the vessel, where little brine moves. Turning swaps the faces: `turn_every` so many seconds, or at
    the times in `turns` [s since the stage began]; neither: never.
    stirred: the brine is kept moving. running: the brine is endless, its strength never falls.
    """

    tag: ClassVar[str] = "brine"
    bath: Bath | None = ruled(Part(Bath), None)
    lying: bool = ruled(Flag(), True)
    turn_every: float | None = quantity("time", "10 min", "400 d", "every second day is usual", default=None)
    turns: tuple[float, ...] = ruled(TimesRule(), ())
    stirred: bool = ruled(Flag(), False)
    running: bool = ruled(Flag(), False)

    def conflicts(self):
        yield from super().conflicts()
        given = "turn_every" if self.turn_every else "turns"
        if (self.turn_every or self.turns) and not self.lying:
            yield Problem(
                given, "turning only matters for a piece that lies on the vessel; leave it out or set lying = true"
            )
        if self.turn_every and self.turns:
            yield Problem(
                "turns", 'pieces are turned by "turn_every" or at the times in "turns", and both are given; say one'
            )
        if self.bath is not None:
            limit = brine_properties.solubility(self.warmest)
            if self.bath.strength > limit:
                yield Problem(
                    "bath",
                    f"a brine of {units.show(self.bath.strength, 'fraction')} salt cannot exist at "
                    f"{units.show(self.warmest, 'temperature')}: water holds at most {units.show(float(limit), 'fraction')}; "
                    "use more water or less salt",
                )
            if self.bath.strength <= brine_properties.EUTECTIC:
                freezing = float(brine_properties.freezing_point(self.bath.strength))
                if self.coldest < freezing:
                    yield Problem(
                        "temperature",
                        f"this brine freezes at {units.show(freezing, 'temperature')}; curing stops in ice, so keep it warmer",
                    )


class SealedCure(_Ending):
    """Dry salt and cure rubbed on, the piece sealed in a bag; the bath is the purge the salt draws.

    salt, sugar, nitrate, nitrite [kg]; all None means "as weighed out". purge: water drawn, as a fraction of the green weight; None
    takes the published figure with its range. The bag is turned over, so both faces count alike.
    """

    tag: ClassVar[str] = "sealed cure"
    salt: float | None = quantity("mass", "0.1 g", "50 kg", "weigh the salt", default=None)
    sugar: float = quantity("mass", "0 g", "50 kg", "weigh the sugar", default=0.0)
    nitrate: float = quantity("mass", "0 g", "1 kg", "weigh the cure mix and take the share on its label", default=0.0)
    nitrite: float = quantity("mass", "0 g", "1 kg", "weigh the cure mix and take the share on its label", default=0.0)
    purge: float | None = quantity(
        "fraction", "0.2 %", "20 %", "a few percent of the green weight is usual", default=None
    )


class Rest(_Ending):
    """The piece waits, wrapped and sealed, so that nothing leaves and what is inside evens out."""

    tag: ClassVar[str] = "rest"


class Water(Record):
    """One water of a soak: how much, for how long, how cold."""

    amount: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    lasts: float = quantity("time", *_TIME, "give hours")
    temperature: Log = _temperature()


class Soak(Record):
    """The piece lies in fresh water, changed as listed, to take salt out.

    until: ends the soak early; the waters are then the stated maximum. lying, stirred: as in a brine.
    """

    tag: ClassVar[str] = "soak"
    waters: tuple[Water, ...] = ruled(Several((Water,), least=1, most=60))
    until: Criterion | None = ruled(CriterionRule(), None)
    lying: bool = ruled(Flag(), False)
    stirred: bool = ruled(Flag(), False)

    @property
    def longest(self) -> float:
        return math.fsum(water.lasts for water in self.waters)

    @property
    def lasts(self) -> float | None:
        return self.longest if self.until is None else None

    @property
    def coldest(self) -> float:
        return min(kelvin for water in self.waters for _, kelvin in water.temperature)

    @property
    def warmest(self) -> float:
        return max(kelvin for water in self.waters for _, kelvin in water.temperature)


AnyStage = Brine | SealedCure | Rest | Soak
STAGES = (Brine, SealedCure, Rest, Soak)


def in_order(stages: AnyStage | Iterable[AnyStage]) -> tuple[AnyStage, ...]:
    """One stage, or several, as a tuple."""
    return (stages,) if isinstance(stages, STAGES) else tuple(stages)


def constant(temperature: str | float) -> Log:
    """A temperature that does not change."""
    return TemperatureRule().read(temperature, False)


def require_bath(stage: Brine) -> Bath:
    """The bath of a brine that has been weighed out; refuses one that has not."""
    if stage.bath is None:
        raise refuse("bath", "this brine has not been weighed out; give its water and salt, or run it from a batch")
    return stage.bath
