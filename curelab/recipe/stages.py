"""The kinds of stages: brine, sealed cure, rest, soak. Plain data; a stage knows no solver.

Every stage has exactly one end rule: `lasts` (a duration), or `until` (a criterion) with `at_most`; a soak is as long as its waters,
and may end earlier by `until`. There is no default duration. A temperature is constant, or a fridge log of (time, temperature).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar, Self

import numpy as np

from .. import units
from ..fields import Flag, Part, Problem, Record, Several, quantity, refuse, ruled, unchecked
from ..matter import brine as brine_properties
from ..matter.solutes import SOLUTES
from .cook import COOKING, BagCook, Chill, Hold, Oven, Reheat, Simmer, Smoke
from .criterion import Criterion, CriterionRule
from .stage import Ending, Stage, Stretch, several_times
from .times import TIME, Log, TemperatureRule, TimesRule, constant, warmed

MOST_SEALED = {"nitrite": 1e-3, "nitrate": 3e-3}  # of the green weight: far above anything that is cured


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


class Brine(Ending):
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
        bath = several_times(self.bath, ("water", *SOLUTES), factors, checked)
        return self.but(bath=bath) if checked else unchecked(self, bath=bath)

    def turned(self, seconds: float) -> tuple[float, ...]:
        """When the pieces are turned over in so many s, since the brine began."""
        if self.turn_every and self.lying:
            return tuple(np.arange(self.turn_every, seconds, self.turn_every).tolist())
        return tuple(time for time in self.turns if time < seconds)

    def problems(self, green: float) -> list[Problem]:
        return [] if self.bath is not None else [Problem("bath", NOT_WEIGHED.format("brine", "water and salt"))]


class SealedCure(Ending):
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
        "fraction", "0.2 %", "20 %", "a few percent of the green weight is usual", default=None, example="3 %"
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
        return several_times(self, SOLUTES, factors, checked) if self.weighed else self

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


class Rest(Ending):
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
    lasts: float = quantity("time", *TIME, "give hours")
    temperature: Log = ruled(TemperatureRule())


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
        waters = tuple(several_times(water, ("amount",), factors, checked) for water in self.waters)
        return self.but(waters=waters) if checked else unchecked(self, waters=waters)

    def warmed(self, by: float) -> Self:
        if not by:
            return self
        return unchecked(
            self, waters=tuple(unchecked(water, temperature=warmed(water.temperature, by)) for water in self.waters)
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


STAGES = (Brine, SealedCure, Rest, Soak, *COOKING)
NOT_WEIGHED = "this {} has not been weighed out; give its {}, or run it from a batch"


def in_order(stages: Stage | Iterable[Stage]) -> tuple[Stage, ...]:
    """One stage, or several, as a tuple."""
    return (stages,) if isinstance(stages, Stage) else tuple(stages)


def require_bath(stage: Brine) -> Bath:
    """The bath of a brine that has been weighed out; refuses one that has not."""
    if stage.bath is None:
        raise refuse("bath", NOT_WEIGHED.format("brine", "water and salt"))
    return stage.bath


__all__ = [
    "STAGES", "BagCook", "Bath", "Brine", "Chill", "Hold", "Log", "Oven", "Reheat", "Rest", "SealedCure", "Simmer", "Smoke", "Soak",
    "Stage", "Stretch", "Water", "constant", "in_order", "require_bath",
]  # fmt: skip
