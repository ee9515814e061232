"""How much of everything: from targets and green weight to grams, and from grams back to what they mean.

The bag of cure mix in the cook's hand decides: no composition is ever assumed. Everything is in kg; fractions are kg per kg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from .. import units
from ..fields import Choice, InputError, Part, Problem, Record, Words, quantity, refuse, ruled
from ..matter import brine, cures
from ..matter.tissue import partition
from ..recipe.piece import Piece
from ..recipe.stages import Bath
from ..sources import Numbers
from .methods import held_at_rest, ingoing_table

COLD = 277.15  # K, the fridge at which a brine must stay dissolved
NITRITE_LIMIT = "1000 ppm"
_POISON = "too much nitrite poisons: check the decimal point and the unit (cured meat is near 120 ppm)"


class CureLabel(Record):
    """What the bag of cure mix says: mass fractions of NaNO2 and NaNO3; the rest is taken as salt.

    >>> CureLabel(name="my bag", nitrite="6.25 %").mix().salt
    0.9375
    """

    name: str = ruled(Words(60))
    nitrite: float = quantity(
        "fraction", "0 %", "20 %", "read the label; pure nitrite kills by the gram", above_low=True, example="6.25 %"
    )
    nitrate: float = quantity("fraction", "0 %", "20 %", "read the label; most mixes have none", default=0.0)

    def mix(self) -> cures.CureMix:
        """The mix by composition."""
        return cures.CureMix(self.name, self.nitrite, self.nitrate)


def _nitrite():
    return quantity("fraction", "0 ppm", NITRITE_LIMIT, _POISON, default=0.0, example="120 ppm")


def _share(most: str, default: object, remedy: str):
    return quantity("fraction", "0 %", most, remedy, default=default, example="1 %")


class WeighOut(Record):
    """What all weigh-outs share: the label of the cure mix (left out only without nitrite) and the nitrite
    wanted, as NaNO2.
    """

    cure: CureLabel | None = ruled(Part(CureLabel), None)
    nitrite: float = _nitrite()

    def conflicts(self):
        if self.nitrite and self.cure is None:
            yield Problem(
                "cure",
                "nitrite is wanted but no cure mix is named; give its name and the nitrite on its label, as mixes differ tenfold",
            )


class EquilibriumBrine(WeighOut):
    """A brine whose recipe bounds the end point: however long it is left, it gets no saltier than that.

    water [kg]; salt, nitrite, sugar: targets, by `basis`. "meat and water": grams per kg of green weight
    and water together, the sum of the trade. "water phase": kg in the meat at rest per kg of green weight,
    from the shares of water in meat and bath.

    >>> plan = EquilibriumBrine(
    ...     water="1 kg", salt="2.5 %", nitrite="120 ppm", cure=CureLabel(name="my bag", nitrite="6.25 %")
    ... )
    >>> made = weigh(plan, Piece(thickness="6 cm", weight="1 kg"))
    >>> round(1000 * made.cure_mix, 2), round(1000 * made.plain_salt, 2)
    (3.84, 46.4)
    """

    tag: ClassVar[str] = "equilibrium brine"
    water: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    salt: float = quantity("fraction", "0 %", "15 %", 'salt in cured meat is near "2.2 %"', above_low=True)
    sugar: float = _share("15 %", 0.0, "one percent is usual")
    basis: str = ruled(Choice(("meat and water", "water phase")), "meat and water")


class StrongBrine(WeighOut):
    """A brine far saltier than the meat should become; the clock ends it.

    water [kg]; `strength`, kg salt per kg of salt and water, or `salometer`, degrees on the usual 60 degF
    scale: one of the two. nitrite: target in the meat, counted by `counted`: "equilibrium" or "pick-up",
    the latter with `pick_up`, the weight gained as a fraction of the green weight. sugar: kg per kg of
    salt and water.
    """

    tag: ClassVar[str] = "strong brine"
    water: float = quantity("water", "10 g", "2000 kg", "weigh the water (1 L is 1 kg)")
    strength: float | None = quantity(
        "fraction", "0 %", "100 %", "give salt as a share of the brine", default=None, above_low=True, example="12 %"
    )
    salometer: float | None = quantity(
        "plain", "0", "100", "a salometer reads 0 to 100 degrees", default=None, above_low=True
    )
    counted: str = ruled(Choice(("equilibrium", "pick-up")), "equilibrium")
    pick_up: float | None = quantity(
        "fraction", "0 %", "50 %", "a piece gains a tenth of its weight or less", default=None, above_low=True
    )
    sugar: float = _share("50 %", 0.0, "a few percent is usual")

    def conflicts(self):
        yield from super().conflicts()
        if (self.strength is None) == (self.salometer is None):
            told = "neither is given" if self.strength is None else "both are given"
            yield Problem("strength", f'say how strong by "strength" or by "salometer", and {told}; give exactly one')
        else:
            limit = float(brine.solubility(COLD))
            if self.brine_strength > limit:
                yield Problem(
                    "strength" if self.salometer is None else "salometer",
                    f"a brine of {units.show(self.brine_strength, 'fraction', digits=4)} salt cannot exist "
                    f"at {units.show(COLD, 'temperature')}: water holds at most "
                    f"{units.show(limit, 'fraction', digits=4)}; make it weaker",
                )
        if (self.counted == "pick-up") != (self.pick_up is not None):
            need = (
                "counting by pick-up needs pick_up"
                if self.pick_up is None
                else "pick_up only goes with counting by pick-up"
            )
            yield Problem("pick_up", f"{need}; add or remove it")

    @property
    def brine_strength(self) -> float:
        """kg salt per kg of salt and water."""
        if self.strength is not None:
            return self.strength
        return float(brine.from_strength(self.salometer or 0.0, "salometer"))


class SealedDryCure(WeighOut):
    """Dry salt and cure for a sealed piece; salt, nitrite and sugar are kg per kg of green weight."""

    tag: ClassVar[str] = "sealed dry cure"
    salt: float = quantity("fraction", "0 %", "15 %", '"2.5 %" of the green weight is usual', above_low=True)
    sugar: float = _share("15 %", 0.0, "one percent is usual")


AnyWeighOut = EquilibriumBrine | StrongBrine | SealedDryCure
WEIGH_OUTS = (EquilibriumBrine, StrongBrine, SealedDryCure)


@dataclass(frozen=True)
class Weighed:
    """What to put on the scale [kg]: water, plain_salt, cure_mix, sugar; and what that brings: salt, nitrite
    (NaNO2), nitrate (NaNO3).
    """

    weigh_out: AnyWeighOut
    green: float
    water: float
    plain_salt: float
    cure_mix: float
    sugar: float
    salt: float
    nitrite: float
    nitrate: float
    cautions: tuple[str, ...]

    def bath(self) -> Bath:
        """The bath for a `Brine` stage. Raises InputError for a dry cure."""
        if isinstance(self.weigh_out, SealedDryCure):
            raise refuse("", "a sealed dry cure has no bath; use sealed() for its stage")
        return Bath(water=self.water, salt=self.salt, sugar=self.sugar, nitrate=self.nitrate, nitrite=self.nitrite)

    def sealed(self) -> dict[str, float]:
        """Fields [kg] for a `SealedCure`: salt, sugar, nitrate, nitrite. Raises InputError for a brine."""
        if not isinstance(self.weigh_out, SealedDryCure):
            raise refuse("", f"a {self.weigh_out.tag} is no sealed cure; use bath() for its stage")
        return {name: getattr(self, name) for name in ("salt", "sugar", "nitrate", "nitrite")}

    def lines(self, system: str = "metric") -> tuple[str, ...]:
        """One line for each thing to weigh, rounded to what the scale named in it shows; water by volume too where that is usual."""
        label = self.weigh_out.cure
        mix = f"{label.name}, {units.text(label.nitrite, 'fraction')} nitrite" if label else "cure mix"
        things = (
            (self.water, "water"),
            (self.plain_salt, "plain salt"),
            (self.cure_mix, mix),
            (self.sugar, "sugar"),
        )
        said = [f"{name}: {on_scale(mass)}" for mass, name in things if mass > 0]
        if system == "us" and self.water:
            said[0] = f"water: {units.show(self.water, 'water', 'us')} ({units.show(self.water, 'mass', 'us')})"
        return tuple(said)


def scale_step(mass: float) -> float:
    """Step [kg] of the coarsest kitchen scale that is still within 2 % of `mass` [kg]: 0.01, 0.1, 1 or 5 g
    (common practice, no source).

    >>> scale_step(0.0077), scale_step(0.09)
    (0.0001, 0.001)
    """
    steps = [step for step in (5e-3, 1e-3, 1e-4, 1e-5) if step <= 0.02 * mass]
    return steps[0] if steps else 1e-5


OVER_MEASURED = "Nitrite is toxic when over-measured: weigh the cure mix, never spoon it; throw away a batch that was over-measured."


def on_scale(mass: float) -> str:
    """A mass [kg] in words, rounded to the scale it needs, which is named when it is a fine one.

    >>> on_scale(0.00768)
    '7.7 g (use a 0.1 g scale)'
    """
    step = scale_step(mass)
    places = {1e-4: 1, 1e-5: 2}.get(step, 0)
    grams = round(mass / step) * step * 1e3
    words = f"{grams / 1e3:.3f}".rstrip("0").rstrip(".") + " kg" if grams >= 1000 else f"{grams:.{places}f} g"
    fine = f" (use a {step * 1e3:g} g scale)" if places else ""
    return words + fine


def weigh(weigh_out: AnyWeighOut, pieces: Piece | Sequence[Piece], numbers: Numbers | None = None) -> Weighed:
    """Grams of everything for these pieces together.

    Equilibrium brine: target x (green weight + water), or by water phase the target x green / meat water,
    carried to all water. Strong brine: salt from the strength; nitrite by the handbook formula named in
    the weigh-out, the pickle counted with all that is in it. Dry: target x green weight. The salt in the
    cure mix counts as salt. Raises InputError, all problems at once: no pieces, more salt in the cure mix
    than is wanted, a brine that cannot hold its salt, nitrite above any curing brine.
    """
    pieces = _all(pieces)
    green = sum(piece.weight for piece in pieces)
    label, ppm = weigh_out.cure, weigh_out.nitrite
    nitrate_per_nitrite = label.nitrate / label.nitrite if label else 0.0
    water = 0.0
    if isinstance(weigh_out, SealedDryCure):
        salt, sugar, nitrite = weigh_out.salt * green, weigh_out.sugar * green, ppm * green
    elif isinstance(weigh_out, EquilibriumBrine):
        water = weigh_out.water
        per = green + water
        if weigh_out.basis == "water phase":
            held = partition(numbers) * sum(piece.water(numbers) for piece in pieces)
            per = green * (held + water) / held_at_rest(weigh_out.salt * green, water, pieces, numbers)
        salt, sugar, nitrite = weigh_out.salt * per, weigh_out.sugar * per, ppm * per
    else:
        water = weigh_out.water
        salt = water * weigh_out.brine_strength / (1 - weigh_out.brine_strength)
        sugar = weigh_out.sugar * (water + salt)
        # The nitrite (and the nitrate it brings) is part of the pickle whose weight it is a share of.
        if weigh_out.counted == "pick-up":
            need, base = ppm / (weigh_out.pick_up or 1.0), water + salt + sugar
        else:
            need, base = ppm, green + water + salt + sugar
        room = 1 - need * (1 + nitrate_per_nitrite)
        nitrite = need * base / room if room > 0 else float("inf")
    cure_mix = nitrite / label.nitrite if label else 0.0
    nitrate = nitrite * nitrate_per_nitrite
    plain_salt = salt - cure_mix * (label.mix().salt if label else 0.0)
    problems = _problems(weigh_out, water, salt, plain_salt, nitrite, nitrate)
    if problems:
        raise InputError(problems)
    made = Weighed(weigh_out, green, water, max(plain_salt, 0.0), cure_mix, sugar, salt, nitrite, nitrate, ())
    return Weighed(**{**made.__dict__, "cautions": _cautions(made, pieces, numbers)})


def _all(pieces) -> tuple[Piece, ...]:
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    if not pieces:
        raise refuse("pieces", "there is no piece to weigh out for; give at least one")
    return pieces


def _problems(weigh_out, water, salt, plain_salt, nitrite, nitrate) -> list[Problem]:
    problems = []
    if plain_salt < -1e-9 * salt:
        got = salt - plain_salt
        would = got / (got + water) if isinstance(weigh_out, StrongBrine) else _target(weigh_out) * got / salt
        problems.append(
            Problem(
                "salt",
                f"the cure mix alone brings {units.show(got, 'mass')} of salt and only "
                f"{units.show(salt, 'mass')} is wanted, so the salt would be "
                f"{units.show(would, 'fraction')} instead of "
                f"{units.show(_target(weigh_out), 'fraction')}; ask for that much salt, for at most "
                f"{units.show(weigh_out.nitrite * salt / got, 'fraction')} of nitrite, or use a mix with "
                "more nitrite in it",
            )
        )
    if water:
        limit = float(brine.solubility(COLD))
        if salt / (salt + water) > limit:
            enough = salt * (1 - limit) / limit
            problems.append(
                Problem(
                    "water",
                    f"{units.show(salt, 'mass')} of salt does not dissolve in {units.show(water, 'mass')} "
                    f"of water at {units.show(COLD, 'temperature')} (at most "
                    f"{units.show(limit, 'fraction')} of the brine); use more than "
                    f"{units.show(enough, 'mass')} of water, or cure it sealed and dry",
                )
            )
        most = Bath.MOST_NITRITE
        for name, amount in (("nitrite", nitrite), ("nitrate", nitrate)):
            if amount > most * water:
                problems.append(
                    Problem(
                        name,
                        f"this asks for {1e6 * amount / water:,.0f} mg of {name} per kg of water, far above "
                        f"any curing brine (at most {1e6 * most:,.0f}); lower the target, or use more "
                        f"water, or check the pick-up; {_POISON}",
                    )
                )
    return problems


def _target(weigh_out: AnyWeighOut) -> float:
    return weigh_out.brine_strength if isinstance(weigh_out, StrongBrine) else weigh_out.salt


def _cautions(made: Weighed, pieces: tuple[Piece, ...], numbers: Numbers | None) -> tuple[str, ...]:
    if not made.nitrite:
        return ("There is no nitrite in this: salt and cold alone hold back botulism, and the meat stays grey.",)
    said = [
        OVER_MEASURED,
        "The grams hold for a mix with exactly the nitrite on this label; another bag can be ten times as strong.",
    ]
    if made.cure_mix < 0.5e-3:
        said.append(
            f"{1e3 * made.cure_mix:.2f} g of cure mix cannot be weighed well in a kitchen: cure more meat "
            "at once or use a weaker mix."
        )
    plan = made.weigh_out
    if isinstance(plan, StrongBrine) and plan.counted == "pick-up":
        most = max(row.value or 0.0 for row in ingoing_table(made, pieces, numbers=numbers))
        if most > plan.nitrite:
            said.append(
                f"Counted by pick-up this is {1e6 * plan.nitrite:.0f} mg/kg, but left to come to rest in "
                f"this brine the meat would take in up to {1e6 * most:.0f} mg/kg: take it out on time."
            )
    return tuple(said)
