"""The slice on the plate: its salt, how salty that is, its sodium, what is kept of the raw weight and what it costs; and what brings a slice to a wanted
salt: a soak before cooking, or the water to simmer in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.simulate import extend, simulate
from ..fields import refuse
from ..matter import taste
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Soak, Stage, Water, constant, in_order
from ..results import Shown
from ..sources import Numbers, default_numbers
from .answer import Answer, corners, ordered, span_words
from .root import root

SLICES = 12  # across the cut, from face to face
LONGEST_SOAK = 72 * units.HOUR
LEAST_POT, MOST_POT = 0.3, 40.0  # kg of water per kg of raw meat: less does not cover it, more is no pot (judgement)
RESTS_ON = "published ranges of salt's pace and of nitrite's, and on the juice of the usual piece"


@dataclass(frozen=True, repr=False)
class Slice(Shown):
    """What is cut from a piece at the end of a history. salt: of the slice, fraction on average; across (n,): from face to face; kept: weight over raw
    weight, with its band; sodium: kg per kg; cost: of a kg as it is eaten, with its band, if that of a kg raw was given; juice: kg of it in bags
    that keep it, and the share of salt in it.
    """

    piece: str
    salt: float
    across: tuple[float, ...]
    kept: float
    kept_low: float
    kept_high: float
    sodium: float
    cost: float | None
    saltiness: taste.Saltiness
    juice: tuple[float, float] = (0.0, 0.0)

    @property
    def cost_span(self) -> tuple[float, float] | None:
        """(least, most) of `cost`, by the band on what is kept."""
        return None if self.cost is None else (
            self.cost * self.kept / self.kept_high, self.cost * self.kept / self.kept_low,
        )  # fmt: skip

    @cached_property
    def sentence(self) -> str:
        return self.told()

    def told(self, system: str = "metric") -> str:
        """The slice in words, in the units of `system`. Its average is that of the whole piece, rims and fat with it, which the cut need not hold."""
        least, most = min(self.salt, *self.across), max(self.salt, *self.across)
        cost = ""
        if self.cost_span is not None:
            of, by = ("pound", units.read("1 lb", "mass")) if system == "us" else ("kilogram", 1.0)
            usual, low, high = (by * each for each in (self.cost or 0.0, *self.cost_span))
            cost = f" A {of} costs {usual:.2f} as it is eaten ({low:.2f} to {high:.2f}), for the meat alone."
        if self.juice[0] > 0:
            cost += (
                f" {units.show(self.juice[0], 'mass', system, digits=2)} of juice with {100 * self.juice[1]:.1f} % salt stay in the bag: "
                "taste a sauce of it before you salt it."
            )
        return (
            f"{units.capital(self.piece)}: {self.saltiness.sentence}, with {100 * self.salt:.1f} % salt ({100 * least:.1f} to {100 * most:.1f} across the cut) "
            f"and {1e5 * self.sodium:.0f} mg of sodium in 100 g. {100 * self.kept:.0f} % of the raw weight is left "
            f"({100 * self.kept_low:.0f} to {100 * self.kept_high:.0f}).{cost}"
        )

    def lines(self) -> list[str]:
        return [self.sentence, f"The word rests on {taste.RESTS_ON}."]

    def rows(self) -> list[dict[str, Any]]:
        return [
            {"piece": self.piece, "slice": number, "salt": salt, "saltiness": taste.saltiness(salt).word}
            for number, salt in enumerate(self.across, 1)
        ]


def slice_of(history: History, piece: int | str = 0, price: float | None = None) -> Slice:
    """The slice of a piece at the end of a history, cooked or not. `price`: of a kg raw, in any money; None: that of the piece, if it has one.

    The band on what is kept is that of the juice (row `juice.width`) and of nothing else. Raises InputError for a price that is none.
    """
    if price is not None and not (np.isfinite(price) and price >= 0):
        raise refuse("price", f"{price:g} is no price of a kilogram; give nothing or more")
    numbers, number = history.numbers, history.piece_number(piece)
    own = history.pieces[number]
    price = own.price_per_kg if price is None else price
    kept = float(history.weight(None, number)) / own.weight
    hot = [n for n, stage in enumerate(history.stages) if stage.heats and history.has(n)]
    lost = float(history.weight(history.begin(hot[0]), number)) / own.weight - kept if hot else 0.0
    row = numbers["juice.width"]
    less, more = (lost * ((end or row.si) / row.si - 1.0) for end in (row.si_low, row.si_high))
    profile = history.profile("salt", None, number, "meat")
    across = np.interp((np.arange(SLICES) + 0.5) / SLICES * profile.depth[-1], profile.depth, profile.values)
    salt = float(history.average("salt", None, number, "meat"))
    juice_salt = float(history.juice_kept("salt", number))
    juice = juice_salt + float(history.juice_kept("water", number))
    return Slice(
        own.name, salt, tuple(float(each) for each in across), kept, kept - more, kept - less, taste.sodium(salt, 0.0, numbers),
        None if price is None else taste.cost_per_kg(price, kept), taste.saltiness(min(salt, 0.3), numbers),
        (juice, juice_salt / juice if juice > 0 else 0.0),
    )  # fmt: skip


# -- what brings the slice to a wanted salt ------------------------------------------------------------------------------------------


def _asked(target: str | Criterion) -> Criterion:
    wanted = Criterion.of(target)
    if wanted.quantity != "salt" or wanted.sign != "<=" or wanted.basis not in ("meat", "water phase"):
        raise refuse("target", f'"{wanted}" is not what is wanted of a slice; write it like "average salt <= 2 %"')
    return wanted


def _first_hot(stages: Sequence[Stage]) -> int:
    """Number of the first stage that heats. Raises InputError for none."""
    found = next((n for n, stage in enumerate(stages) if stage.heats), None)
    if found is None:
        raise refuse("stages", "no stage cooks, so there is no plate to aim at; add a simmer, a bag cook or another")
    return found


def soak_for_the_plate(
    target: str | Criterion,
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    water: float | str,
    temperature: str | float = "4 degC",
    at_most: float | str = LONGEST_SOAK,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    system: str = "metric",
) -> Answer:
    """How long to soak in one water of `water` kg right before the first stage that heats, so that at the end of all stages `target` holds.

    Answer in s, with the band over slow and fast meat; 0 where no soak is needed. Raises InputError for a target that is none and where nothing cooks.
    """
    wanted, line = _asked(target), list(in_order(stages))
    hot, most, each = _first_hot(line), units.read(at_most, "time"), units.read(water, "water")
    log = constant(temperature)

    def one(numbers: Numbers) -> tuple[float | None, float]:
        cured = simulate(pieces, line[:hot], loss=loss, numbers=numbers) if hot else None

        def margin(seconds: float) -> float:
            soak = [Soak(waters=(Water(amount=each, lasts=seconds, temperature=log),))] if seconds else []
            more = [*soak, *line[hot:]]
            last = extend(cured, more) if cured else simulate(pieces, more, loss=loss, numbers=numbers)
            return float(last.margin(wanted))

        return _least(margin, 0.0, most, 60.0)

    base = numbers or default_numbers()
    (value, short), (slow, _), (fast, _) = (one(each) for each in (base, *corners(base)))
    plate = f"{units.show(wanted.target, 'fraction')} salt on the plate"
    if value == 0.0:
        said = f"No soak is needed for {plate}."
    elif value is None:
        said = (
            f"No soak of {units.show(most, 'time', system)} in {units.show(each, 'water', system)} brings it to {plate}: "
            f"{units.show(wanted.target - short, 'fraction')} is the least. Take more water, or change it."
        )
    else:
        said = (
            f"Soak it for {units.roughly(value)} before cooking, in {units.show(each, 'water', system)}, for {plate} "
            f"({span_words('time', slow, fast, value)})."
        )
    low, high = ordered(value, fast, slow)
    return Answer("how much soak before cooking", value, low, high, "time", str(wanted), said, RESTS_ON)


def simmer_water_for_the_plate(
    target: str | Criterion,
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    system: str = "metric",
) -> Answer:
    """How much water the first simmer must have, so that at the end of all stages `target` holds. Answer in kg, with its band.

    Raises InputError for a target that is none, and where nothing simmers.
    """
    wanted, line = _asked(target), list(in_order(stages))
    number = next((n for n, stage in enumerate(line) if stage.heats and stage.stretches[0].water), None)
    if number is None:
        raise refuse("stages", "nothing simmers, so no water takes salt; add a simmer, or soak before cooking")
    several = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    named = line[number].named
    green = sum(piece.weight for piece in several if piece.name in named or not named)

    def one(numbers: Numbers) -> tuple[float | None, float]:
        cured = simulate(several, line[:number], loss=loss, numbers=numbers) if number else None

        def margin(log_water: float) -> float:
            more = [line[number].but(water=float(np.exp(log_water))), *line[number + 1 :]]
            last = extend(cured, more) if cured else simulate(several, more, loss=loss, numbers=numbers)
            return float(last.margin(wanted))

        found, short = _least(margin, float(np.log(LEAST_POT * green)), float(np.log(MOST_POT * green)), 1e-3)
        return None if found is None else float(np.exp(found)), short

    base = numbers or default_numbers()
    (value, short), (slow, _), (fast, _) = (one(each) for each in (base, *corners(base)))
    plate = f"{units.show(wanted.target, 'fraction')} salt on the plate"
    if value is None:
        said = (
            f"No pot brings it to {plate}: {units.show(wanted.target - short, 'fraction')} is the least. Soak it first, or change the water of "
            "the simmer."
        )
    elif value <= LEAST_POT * green * 1.001:
        said = f"As little water as covers the meat is enough for {plate}."
    else:
        said = f"Simmer in {units.show(value, 'water', system, digits=2)} of water for {plate} ({span_words('water', slow, fast, value, system)})."
    low, high = ordered(value, fast, slow)
    return Answer("how much simmer water", value, low, high, "water", str(wanted), said, RESTS_ON)


def _least(margin: Callable[[float], float], low: float, high: float, near: float) -> tuple[float | None, float]:
    """(the least value between low and high at which `margin`, which grows, is not negative, to `near`; None: nowhere; the margin at high)."""
    if margin(low) >= 0:
        return low, 0.0
    short = margin(high)
    if short < 0:
        return None, short
    return root(margin, low, high, near), short
