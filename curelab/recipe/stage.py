"""What a stage is: its stretches with one bath each, and what all stages can say of themselves.

A stage says what it is, so that nobody has to ask for its kind: its stretches, whether it cures, what is put in, and the same stage
warmer, longer or with other amounts. A new kind of stage is a subclass of `Stage` with a `tag` and its `stretches`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Self

from ..fields import Problem, Record, quantity, ruled, unchecked
from .criterion import Criterion, CriterionRule
from .heating import Heating
from .times import TIME, Log, TemperatureRule, warmed


@dataclass(frozen=True)
class Stretch:
    """A part of a stage with one bath, as plain data: what the engine computes in one go.

    label: in words; longest [s]; temperature: ((s, K), ...). water [kg] of the bath at its beginning and `brings` [kg] of each solute in
    it; water None with `purge` None: no bath, nothing leaves the pieces. purge: the bath is water drawn from the meat, as a fraction of
    its green weight, in which the salt dissolves; "published" takes the published figure. endless: the bath never changes. stirred: the
    bath moves at the faces. lying: one broad face rests on the vessel, and the pieces are turned over at `turns` [s]. heating: how the
    pieces are heated or cooled by it, whose temperature is then `temperature`; None: they are as cold as their fridge.
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
    heating: Heating | None = None

    @property
    def sealed(self) -> bool:
        """Whether nothing can enter or leave the pieces."""
        return self.water is None and self.purge is None


class Stage(Record):
    """What all stages share.

    cures: salt goes into the meat. heats: the meat is cooked or cooled, and is no longer as cold as a fridge. Its words, on a plan: noun,
    what the pieces come out of; begins, what is done first, and with every stretch after; hint, what to mind; cautions.
    """

    cures: ClassVar[bool] = False
    heats: ClassVar[bool] = False
    aim: ClassVar[str] = ""  # of a stage that heats: "cook", "chill", "reheat" or "hold", by which it is checked
    cautions: ClassVar[tuple[str, ...]] = ()
    noun: ClassVar[str] = ""
    begins: ClassVar[tuple[str, str]] = ("", "")
    hint: ClassVar[str] = ""
    bagged: ClassVar[bool] = False  # whether the pieces leave it in a closed bag

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
    def named(self) -> tuple[str, ...]:
        """Names of the pieces that it is about; none: all of them. The others wait in the fridge."""
        return ()

    def is_about(self, name: str) -> bool:
        """Whether a piece of this name is in it; the others wait."""
        return not self.named or name in self.named

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
    def desalts(self) -> bool:
        """Whether it takes salt out: water, and nothing put in to cure."""
        return self.wet and not self.cures and not self.heats

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


def several_times(record: Record, names: Iterable[str], factors: Mapping[str, float], checked: bool) -> Any:
    changes = {
        name: getattr(record, name) * factors.get("water" if name == "amount" else name, 1.0)
        for name in names
        if getattr(record, name) is not None
    }
    return record.but(**changes) if checked else unchecked(record, **changes)


class Ending(Stage):
    """A stage that ends by `lasts`, or by `until` with `at_most`."""

    temperature: Log = ruled(TemperatureRule())
    lasts: float | None = quantity("time", *TIME, "give days or hours", default=None)
    until: Criterion | None = ruled(CriterionRule(), None)
    at_most: float | None = quantity("time", *TIME, "give the longest you would wait", default=None)

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
        return unchecked(self, temperature=warmed(self.temperature, by)) if by else self

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
