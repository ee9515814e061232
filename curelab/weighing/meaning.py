"""Backwards: what the grams of a recipe mean for the meat, and what a spoon may hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .. import units
from ..fields import refuse
from ..matter import brine, cures
from ..matter.tissue import drawn_by, partition
from ..recipe.piece import Piece
from ..sources import Numbers, default_numbers
from .methods import Ingoing, Solutes, ingoing_table, moved_water, salt_of_raw
from .weigh import on_scale

COLD = 277.15  # K, the fridge at which a brine must stay dissolved
_USUAL_MIX = 0.0625  # of nitrite: an example beside the rule that goes by the label (judgement)


@dataclass(frozen=True)
class Meaning:
    """What the grams of a recipe mean for these pieces, fractions kg per kg; at rest, that is after long
    enough.

    strength: salt of salt and water in the bath, of_water: salt per water, salometer: degrees (60 degF
    scale); None for a dry cure. salt_water_phase: salt / (salt + water) in the meat at rest; salt_green:
    per green weight; salt_meat: of the meat as it then is; all with the meat's own salt, which is salt_own per green weight
    while it is raw, and own_left of it at rest. nitrite: rows of `ingoing_table`.
    """

    strength: float | None
    of_water: float | None
    salometer: float | None
    salt_water_phase: float
    salt_green: float
    salt_meat: float
    salt_own: float
    own_left: float
    nitrite: tuple[Ingoing, ...]

    def lines(self) -> tuple[str, ...]:
        """The same in words."""
        said = []
        if self.strength is not None:
            said.append(
                f"The brine is {100 * self.strength:.1f} % salt by weight, {100 * (self.of_water or 0):.1f} "
                f"% of its water, {self.salometer:.0f} degrees salometer."
            )
        said.append(
            f"If you waited until nothing moves any more, the meat would hold {100 * self.salt_meat:.1f} % salt "
            f"({100 * self.salt_green:.1f} % of the green weight, {100 * self.salt_water_phase:.1f} % in its water): only the "
            "water in meat takes up salt, so this is less than the share of meat and water together."
        )
        said.append(
            f"What you weigh is what is added. The meat's own salt, about {100 * self.salt_own:.2f} % of it when raw, comes on top, and finished salt "
            "counts it."
        )
        said += [f"Nitrite put in (ingoing), counted by {row}" for row in self.nitrite]
        return tuple(said)


def explain(
    made: Solutes,
    pieces: Piece | Sequence[Piece],
    pick_up: float | None = None,
    numbers: Numbers | None = None,
) -> Meaning:
    """Backwards: from the grams of a recipe to strength, salt at rest and ingoing nitrite by each method.

    `made`: a Weighed, a Bath or a SealedCure. Water taken up holds salt too, and water given off
    takes its own away (known to +-6 points of weight; a sealed cure gives off its purge). Raises InputError for a bath
    stronger than any brine can be, or a sealed cure not yet weighed out.

    >>> from curelab import Bath
    >>> meaning = explain(Bath(water="1 kg", salt="50 g"), Piece(thickness="6 cm", weight="1 kg"))
    >>> round(meaning.strength, 4), round(meaning.of_water, 4), round(meaning.salt_green, 4)
    (0.0476, 0.05, 0.0222)
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    numbers = numbers or default_numbers()
    green = sum(piece.weight for piece in pieces)
    if not pieces:
        raise refuse("pieces", "there is no piece; give at least one")
    if made.salt is None:
        raise refuse("salt", "this cure has not been weighed out; give its grams")
    water = getattr(made, "water", 0.0)
    strength = of_water = salometer = None
    purge = 0.0
    if water:
        strength, of_water = made.salt / (made.salt + water), made.salt / water
        limit = float(brine.solubility(COLD))
        if strength > limit:
            raise refuse(
                "salt",
                f"{units.show(strength, 'fraction')} salt in the brine is more than water holds "
                f"({units.show(limit, 'fraction')}); use more water or less salt",
            )
        salometer = float(brine.to_strength(strength, "salometer"))
    else:
        share = getattr(made, "purge", None)
        purge = green * share if share is not None else float(drawn_by(made.salt, green, numbers))
    own = salt_of_raw(pieces, numbers)
    inside, held, moved, part = _at_rest(made.salt + own, water, purge, pieces, numbers)
    weight = green - own + moved + inside * held + part * (made.sugar + made.nitrate + made.nitrite)
    phase = inside * partition(numbers)
    return Meaning(
        strength,
        of_water,
        salometer,
        phase / (1 + phase),
        inside * held / green,
        inside * held / weight,
        own / green,
        part * own / green,
        ingoing_table(made, pieces, pick_up, numbers),
    )


def _at_rest(salt: float, water: float, purge: float, pieces: Sequence[Piece], numbers: Numbers) -> tuple[float, ...]:
    """Salt per water of the bath, kg/kg; kg of water, brine side, in the meat; kg that it took up; the part of every solute that it holds."""
    held = partition(numbers) * (sum(piece.water(numbers) for piece in pieces) - purge)
    every = held + water + purge
    inside = salt / every
    if purge:  # what does not dissolve lies dry in the bag
        most = float(brine.solubility(COLD))
        return min(inside, most / (1 - most)), held, -purge, held / every
    moved = moved_water(inside, pieces, numbers)
    held += partition(numbers) * moved
    return inside, held, moved, held / every


def by_label(nitrite: float) -> str:
    """How much of a cure mix of unknown strength holds so much nitrite [kg], so that nobody weighs that mass itself.

    >>> by_label(0.006)
    '600 g divided by the % of nitrite on its label; at 6.25 % that is 96 g'
    """
    mix = on_scale(nitrite / _USUAL_MIX).partition(" (")[0]
    return f"{1e5 * nitrite:.3g} g divided by the % of nitrite on its label; at {100 * _USUAL_MIX:g} % that is {mix}"


def spooned(volume: str | float, crystal: str) -> cures.Spooned:
    """Mass of spoons or cups of a named crystal, with its range [kg] and the warning that must stand beside
    it: weigh it instead.

    Raises InputError for an unknown crystal (see `curelab.matter.cures.CRYSTALS`) or a volume that is none.

    >>> spooned("1 tbsp", "fine salt").warning[:41]
    'fine salt by the spoon may be anything fr'
    """
    try:
        return cures.from_volume(units.read(volume, "volume"), crystal)
    except KeyError as error:
        raise refuse("crystal", str(error.args[0])) from None
    except ValueError as error:
        raise refuse("volume", str(error)) from None
