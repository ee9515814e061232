"""What is done to a piece: brine, sealed cure, rest, soak. Plain data; a stage knows no solver.

Every stage has exactly one end rule: `lasts` (a duration), or `until` (a criterion) with `at_most`; a soak is as long as its waters,
and may end earlier by `until`. There is no default duration. A temperature is constant, or a fridge log of (time, temperature).

A stage says what it is, so that nobody has to ask for its kind: its stretches with one bath each, whether it cures, what is put in, and
the same stage warmer, longer or with other amounts. A new kind of stage is a subclass of `Stage` with a `tag` and its `stretches`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Self

import numpy as np

from .. import units
from ..fields import (
    Flag,
    InputError,
    Part,
    Problem,
    Quantity,
    Record,
    Rule,
    Several,
    quantity,
    refuse,
    ruled,
    unchecked,
)  # fmt: skip
from ..matter import brine as brine_properties
from .criterion import Criterion, CriterionRule

_COLD = Quantity("temperature", "-3 degC", "25 degC", "keep the cure in a fridge, 1 to 4 degC")
_TIME = ("1 min", "400 d")


Log = tuple[tuple[float, float], ...]
SOLUTES = ("salt", "sugar", "nitrate", "nitrite")
MOST_SEALED = {"nitrite": 1e-3, "nitrate": 3e-3}  # of the green weight: far above anything that is cured


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


@dataclass(frozen=True)
class Stretch:
    """A part of a stage with one bath, as plain data: what the engine computes in one go.

    label: in words; longest [s]; temperature: ((s, K), ...). water [kg] of the bath at its beginning and `brings` [kg] of each solute in
    it; water None with `purge` None: no bath, nothing leaves the pieces. purge: the bath is water drawn from the meat, as a fraction of
    its green weight, in which the salt dissolves; "published" takes the published figure. endless: the bath never changes. stirred: the
    bath moves at the faces. lying: one broad face rests on the vessel, and the pieces are turned over at `turns` [s].
    """

    label: str
    longest: float
    temperature: Log
    water: float | None = None
    brings: Mapping[str, float] = field(default_factory=dict)
    purge: float | str | None = None
    endless: bool = False
    stirred: bool = False
    lying: bool = False
    turns: tuple[float, ...] = ()

    @property
    def sealed(self) -> bool:
        """Whether nothing can enter or leave the pieces."""
        return self.water is None and self.purge is None


class Stage(Record):
    """What all stages share.

    cures: salt goes into the meat. Its words, on a plan: noun, what the pieces come out of; begins, what is done first, and with every
    stretch after; hint, what to mind.
    """

    cures: ClassVar[bool] = False
    noun: ClassVar[str] = ""
    begins: ClassVar[tuple[str, str]] = ("", "")
    hint: ClassVar[str] = ""

    if TYPE_CHECKING:  # fields or properties of every kind

        @property
        def lasts(self) -> float | None:
            """The duration [s] of a stage that ends by the clock."""

        @property
        def until(self) -> Criterion | None:
            """What a stage waits for that does not end by the clock."""

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Its parts with one bath each, in order."""
        raise TypeError(f"a {type(self).__name__} does not say its stretches")

    @property
    def longest(self) -> float:
        """The duration [s], or the stated maximum."""
        return math.fsum(stretch.longest for stretch in self.stretches)

    @property
    def coldest(self) -> float:
        """Lowest temperature [K]."""
        return min(kelvin for log in self.logs for _, kelvin in log)

    @property
    def warmest(self) -> float:
        """Highest temperature [K]."""
        return max(kelvin for log in self.logs for _, kelvin in log)

    @property
    def logs(self) -> tuple[Log, ...]:
        """The temperatures of its stretches."""
        return tuple(stretch.temperature for stretch in self.stretches)

    @property
    def lengths(self) -> tuple[float, ...]:
        """How long [s] each stretch lasts at most."""
        return tuple(stretch.longest for stretch in self.stretches)

    @property
    def put_in(self) -> Any:
        """What the cook puts in, with the fields salt, sugar, nitrate, nitrite [kg]; None: nothing, or not weighed out yet."""
        return None

    @property
    def weighed(self) -> bool:
        """Whether its amounts are known, or it has none."""
        return True

    @property
    def wet(self) -> bool:
        """Whether the pieces lie in a vessel with water."""
        return any(stretch.water is not None for stretch in self.stretches)

    @property
    def lies(self) -> bool:
        """Whether the pieces rest on one face, so that its two faces are not alike."""
        return any(stretch.lying for stretch in self.stretches)

    def filled(self, weighed: Any) -> Self:
        """With the amounts of a weigh-out (`bath()`, `sealed()`); itself where it needs none."""
        return self

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        """With every amount times its factor: water, salt, sugar, nitrate, nitrite; 1 where none is given."""
        return self

    def warmed(self, by: float) -> Self:
        """By so many K warmer, not checked again: a sampled fridge may be colder than a cook may type."""
        raise TypeError(f"a {type(self).__name__} does not say how it is warmed")

    def lasting(self, seconds: float) -> Self:
        """The same for another time, by the clock."""
        raise TypeError(f"a {type(self).__name__} does not say how it is made longer")

    def held(self, spent: Sequence[float]) -> Self:
        """As long as its stretches were in a history, by the clock."""
        return self.lasting(max(math.fsum(spent), 60.0))

    def turned(self, seconds: float) -> tuple[float, ...]:
        """When the pieces are turned over in so many s, since it began."""
        return ()

    def problems(self, green: float) -> list[Problem]:
        """What keeps it from being computed for this green weight [kg]."""
        return []


def _warmed(log: Log, by: float) -> Log:
    return tuple((time, kelvin + by) for time, kelvin in log)


def _several_times(record: Record, names: Iterable[str], factors: Mapping[str, float], checked: bool) -> Any:
    changes = {
        name: getattr(record, name) * factors.get("water" if name == "amount" else name, 1.0)
        for name in names
        if getattr(record, name) is not None
    }
    return record.but(**changes) if checked else unchecked(record, **changes)


class _Ending(Stage):
    """A stage that ends by `lasts`, or by `until` with `at_most`."""

    temperature: Log = _temperature()
    lasts: float | None = quantity("time", *_TIME, "give days or hours", default=None)
    until: Criterion | None = ruled(CriterionRule(), None)
    at_most: float | None = quantity("time", *_TIME, "give the longest you would wait", default=None)

    @property
    def longest(self) -> float:
        """The duration [s], or the stated maximum."""
        return self.lasts if self.lasts is not None else self.at_most or 0.0

    @property
    def logs(self) -> tuple[Log, ...]:
        return (self.temperature,)

    @property
    def lengths(self) -> tuple[float, ...]:
        return (self.longest,)

    def warmed(self, by: float) -> Self:
        return unchecked(self, temperature=_warmed(self.temperature, by)) if by else self

    def lasting(self, seconds: float) -> Self:
        return self.but(lasts=seconds, until=None, at_most=None)

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
    noun: ClassVar[str] = "brine"
    begins: ClassVar[tuple[str, str]] = ("into the brine", "")
    hint: ClassVar[str] = "weigh the pieces down, so that brine covers them"
    cures: ClassVar[bool] = True
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

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        made = require_bath(self)
        return (
            Stretch(
                self.tag, self.longest, self.temperature, made.water, {name: getattr(made, name) for name in SOLUTES},
                endless=self.running, stirred=self.stirred, lying=self.lying, turns=self.turned(self.longest),
            ),
        )  # fmt: skip

    @property
    def wet(self) -> bool:
        return True

    @property
    def lies(self) -> bool:
        return self.lying

    @property
    def put_in(self) -> Any:
        return self.bath

    @property
    def weighed(self) -> bool:
        return self.bath is not None

    def filled(self, weighed: Any) -> Self:
        return self.but(bath=weighed.bath())

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        if self.bath is None:
            return self
        bath = _several_times(self.bath, ("water", *SOLUTES), factors, checked)
        return self.but(bath=bath) if checked else unchecked(self, bath=bath)

    def turned(self, seconds: float) -> tuple[float, ...]:
        """When the pieces are turned over in so many s, since the brine began."""
        if self.turn_every and self.lying:
            return tuple(np.arange(self.turn_every, seconds, self.turn_every).tolist())
        return tuple(time for time in self.turns if time < seconds)

    def problems(self, green: float) -> list[Problem]:
        return [] if self.bath is not None else [Problem("bath", NOT_WEIGHED.format("brine", "water and salt"))]


class SealedCure(_Ending):
    """Dry salt and cure rubbed on, the piece sealed in a bag; the bath is the purge the salt draws.

    salt, sugar, nitrate, nitrite [kg]; all None means "as weighed out". purge: water drawn, as a fraction of the green weight; None
    takes the published figure with its range. The bag is turned over, so both faces count alike.
    """

    tag: ClassVar[str] = "sealed cure"
    noun: ClassVar[str] = "bag"
    begins: ClassVar[tuple[str, str]] = ("rub with salt and cure, seal", "")
    hint: ClassVar[str] = "turn the bag when you pass by"
    cures: ClassVar[bool] = True
    salt: float | None = quantity("mass", "0.1 g", "50 kg", "weigh the salt", default=None)
    sugar: float = quantity("mass", "0 g", "50 kg", "weigh the sugar", default=0.0)
    nitrate: float = quantity("mass", "0 g", "1 kg", "weigh the cure mix and take the share on its label", default=0.0)
    nitrite: float = quantity("mass", "0 g", "1 kg", "weigh the cure mix and take the share on its label", default=0.0)
    purge: float | None = quantity(
        "fraction", "0.2 %", "20 %", "a few percent of the green weight is usual", default=None
    )

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        brings = {name: getattr(self, name) or 0.0 for name in SOLUTES}
        purge = "published" if self.purge is None else self.purge
        return (Stretch(self.tag, self.longest, self.temperature, brings=brings, purge=purge),)

    @property
    def put_in(self) -> Any:
        return self if self.weighed else None

    @property
    def weighed(self) -> bool:
        return self.salt is not None

    def filled(self, weighed: Any) -> Self:
        return self.but(**weighed.sealed())

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        return _several_times(self, SOLUTES, factors, checked) if self.weighed else self

    def problems(self, green: float) -> list[Problem]:
        found = [] if self.weighed else [Problem("salt", NOT_WEIGHED.format("cure", "grams"))]
        for name, most in MOST_SEALED.items():
            share = getattr(self, name) / green if green else 0.0
            if share > most:
                found.append(
                    Problem(
                        name,
                        f"{units.show(getattr(self, name), 'mass')} on {units.show(green, 'mass')} of meat is {1e6 * share:,.0f} mg per kg, "
                        f"above anything that is cured ({1e6 * most:,.0f}); too much nitrite poisons: check the decimal point",
                    )
                )
        return found


class Rest(_Ending):
    """The piece waits, wrapped and sealed, so that nothing leaves and what is inside evens out."""

    tag: ClassVar[str] = "rest"
    noun: ClassVar[str] = "rest"
    begins: ClassVar[tuple[str, str]] = ("wrap and rest", "")

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        return (Stretch(self.tag, self.longest, self.temperature),)


class Water(Record):
    """One water of a soak: how much, for how long, how cold."""

    amount: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    lasts: float = quantity("time", *_TIME, "give hours")
    temperature: Log = _temperature()


class Soak(Stage):
    """The piece lies in fresh water, changed as listed, to take salt out.

    until: ends the soak early; the waters are then the stated maximum. lying, stirred: as in a brine.
    """

    tag: ClassVar[str] = "soak"
    noun: ClassVar[str] = "water"
    begins: ClassVar[tuple[str, str]] = ("into fresh water", "change to fresh water")
    waters: tuple[Water, ...] = ruled(Several((Water,), least=1, most=60))
    until: Criterion | None = ruled(CriterionRule(), None)
    lying: bool = ruled(Flag(), False)
    stirred: bool = ruled(Flag(), False)

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        return tuple(
            Stretch(
                f"{self.tag}, water {number} of {len(self.waters)}", water.lasts, water.temperature, water.amount,
                stirred=self.stirred, lying=self.lying,
            )
            for number, water in enumerate(self.waters, 1)
        )  # fmt: skip

    @property
    def lasts(self) -> float | None:
        return self.longest if self.until is None else None

    @property
    def logs(self) -> tuple[Log, ...]:
        return tuple(water.temperature for water in self.waters)

    @property
    def lengths(self) -> tuple[float, ...]:
        return tuple(water.lasts for water in self.waters)

    def times(self, factors: Mapping[str, float], checked: bool = True) -> Self:
        waters = tuple(_several_times(water, ("amount",), factors, checked) for water in self.waters)
        return self.but(waters=waters) if checked else unchecked(self, waters=waters)

    def warmed(self, by: float) -> Self:
        if not by:
            return self
        return unchecked(
            self, waters=tuple(unchecked(water, temperature=_warmed(water.temperature, by)) for water in self.waters)
        )

    def lasting(self, seconds: float) -> Self:
        """The waters keep their proportion."""
        by = seconds / self.longest
        return self.but(waters=tuple(water.but(lasts=water.lasts * by) for water in self.waters), until=None)

    def held(self, spent: Sequence[float]) -> Self:
        """A soak that was not needed becomes so short that nothing moves: it keeps its number among the stages."""
        waters = [water.but(lasts=time) for water, time in zip(self.waters, spent, strict=False) if time > 1.0]
        if waters:
            return self.but(waters=waters, until=None)
        return unchecked(self, waters=(unchecked(self.waters[0], lasts=1e-3),), until=None)


AnyStage = Stage
STAGES = (Brine, SealedCure, Rest, Soak)
NOT_WEIGHED = "this {} has not been weighed out; give its {}, or run it from a batch"


def in_order(stages: Stage | Iterable[Stage]) -> tuple[Stage, ...]:
    """One stage, or several, as a tuple."""
    return (stages,) if isinstance(stages, Stage) else tuple(stages)


def constant(temperature: str | float) -> Log:
    """A temperature that does not change."""
    return TemperatureRule().read(temperature, False)


def require_bath(stage: Brine) -> Bath:
    """The bath of a brine that has been weighed out; refuses one that has not."""
    if stage.bath is None:
        raise refuse("bath", NOT_WEIGHED.format("brine", "water and salt"))
    return stage.bath
