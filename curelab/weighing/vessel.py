"""Whether the pieces and their brine fit the vessel, and whether the brine covers them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .. import units
from ..fields import Choice, InputError, Problem, Record, quantity, ruled
from ..matter import brine
from ..recipe.piece import Piece
from ..recipe.stages import Bath
from ..sources import Numbers, default_numbers

COLD = 277.15  # K; brine shrinks by less than half a percent between here and a warm kitchen


class Vessel(Record):
    """A pot, tub or box by its inside measures [m]: "round" with a `diameter`, or "rectangular" with `length`
    and `width`.

    Raises InputError when the measures do not belong to the shape.

    >>> Vessel(shape="round", diameter="28 cm", height="20 cm").floor < 0.062
    True
    """

    shape: str = ruled(Choice(("round", "rectangular")))
    diameter: float | None = quantity("length", "4 cm", "3 m", "measure inside, rim to rim", default=None)
    length: float | None = quantity("length", "4 cm", "5 m", "measure inside", default=None)
    width: float | None = quantity("length", "4 cm", "5 m", "measure inside", default=None)
    height: float = quantity("length", "2 cm", "3 m", "measure inside, floor to rim")

    def conflicts(self):
        wanted = ("diameter",) if self.shape == "round" else ("length", "width")
        for name in ("diameter", "length", "width"):
            if name in wanted and getattr(self, name) is None:
                yield Problem(name, f"missing; a {self.shape} vessel has {' and '.join(wanted)}")
            elif name not in wanted and getattr(self, name) is not None:
                yield Problem(name, f"a {self.shape} vessel has {' and '.join(wanted)} only; leave it out")

    @property
    def sides(self) -> tuple[float, float]:
        """The two inside measures across, m; twice the diameter when round."""
        first, second = (self.diameter, self.diameter) if self.shape == "round" else (self.length, self.width)
        return first or 0.0, second or 0.0

    @property
    def floor(self) -> float:
        """Area of the floor, m2."""
        first, second = self.sides
        return first * second * (math.pi / 4 if self.shape == "round" else 1.0)

    @property
    def narrowest(self) -> float:
        """The smaller inside measure across, m."""
        return min(self.sides)

    def holds(self, length: float, width: float) -> bool:
        """Whether a rectangle [m] lies flat on the floor, slantwise too.

        Slantwise by W. B. Carver, Solution to problem E1225, American Mathematical Monthly 64 (1957), from memory; a test tries every angle.
        """
        long, short = max(length, width), min(length, width)
        if self.shape == "round":
            return math.hypot(long, short) <= self.narrowest
        side, other = max(self.sides), self.narrowest
        if long <= side:
            return short <= other
        square = long**2 + short**2
        return (2 * long * short * side + (long**2 - short**2) * math.sqrt(square - side**2)) / square <= other


@dataclass(frozen=True)
class Fit:
    """How pieces and brine stand in a vessel.

    fits: nothing runs over and every piece has room; covered: every piece lies under at least the least
    cover. Volumes in m3; depth: of the brine with the meat in it, m; cover: brine above the highest piece,
    m (negative: it sticks out); headroom: from the brine to the rim, m; layers: 1 when the pieces lie side
    by side, else all stacked. sentence: the same in words.
    """

    fits: bool
    covered: bool
    meat_volume: float
    brine_volume: float
    depth: float
    cover: float
    headroom: float
    layers: int
    sentence: str


def footprint(piece: Piece) -> float:
    """Area [m2] a piece takes when it lies flat, by its measures; where only the thickness is known, from the weight too."""
    volume, solid = piece.volume(), piece.solid()
    if solid is not None:
        return solid.floor
    if piece.shape == "slab":
        return volume / piece.thickness
    if piece.shape == "sphere":
        return piece.thickness**2
    return volume / (math.pi / 4 * piece.thickness**2) * piece.thickness


def goes_in(vessel: Vessel, piece: Piece) -> bool:
    """Whether a piece can lie flat on the floor: by its length and width, or by its area where it has none."""
    solid = piece.solid()
    return footprint(piece) <= vessel.floor if solid is None else vessel.holds(solid.length, max(solid.width))


def brine_volume(bath: Bath, numbers: Numbers | None = None) -> float:
    """m3 of the bath at 4 degC; salt water by its measured density, sugar by the density of its crystal (good
    to 1 % of the brine).

    Raises ValueError for a bath stronger than 26.4 % salt, which cannot exist.
    """
    salted = (bath.water + bath.salt) / float(brine.density(bath.strength, COLD))
    return salted + bath.sugar / (numbers or default_numbers()).si("sugar.crystal_density")


def water_to_cover(vessel: Vessel, pieces: Sequence[Piece], numbers: Numbers | None = None) -> float:
    """kg of water that covers the pieces, lying flat side by side or stacked as `fits` takes them; what salt adds to it is left out.

    >>> pot = Vessel(shape="round", diameter="26 cm", height="20 cm")
    >>> round(water_to_cover(pot, (Piece(thickness="6 cm", weight="1.5 kg"),)), 2)
    2.83
    """
    numbers = numbers or default_numbers()
    deep = _top(vessel, pieces)[0] + numbers.si("vessel.least_cover")
    meat = sum(piece.volume(numbers) for piece in pieces)
    return max(0.0, deep * vessel.floor - meat) * float(brine.density(0.0, COLD))


def _top(vessel: Vessel, pieces: Sequence[Piece]) -> tuple[float, bool]:
    """(height [m] of the highest piece, whether they lie side by side)."""
    beside = sum(footprint(piece) for piece in pieces) <= vessel.floor
    return (max if beside else sum)(piece.thickness for piece in pieces), beside


def fits(vessel: Vessel, pieces: Piece | Sequence[Piece], bath: Bath, numbers: Numbers | None = None) -> Fit:
    """Whether the pieces, lying flat, and the bath fit the vessel and the brine covers them.

    The least cover above the meat is row `vessel.least_cover` (judgement). Meat floats in strong brine, so
    a weight is assumed. Raises InputError for a piece that is thicker than the vessel is high, or wide where the
    thickness is all that was measured: it is the smallest measure, so no way of laying it helps.

    >>> pot = Vessel(shape="round", diameter="26 cm", height="20 cm")
    >>> result = fits(pot, Piece(thickness="6 cm", weight="1.5 kg"), Bath(water="3 kg", salt="120 g"))
    >>> result.fits, result.covered, round(100 * result.depth, 1)
    (True, True, 8.4)
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    problems = []
    for piece in pieces:
        for size, word in ((vessel.height, "high"), (vessel.narrowest, "wide"))[: 1 if piece.solid() else 2]:
            if piece.thickness > size:
                problems.append(
                    Problem(
                        piece.name,
                        f"{_cm(piece.thickness)} thick does not go into a vessel {_cm(size)} {word}; "
                        "take a larger vessel or cut the piece",
                    )
                )
    if problems:
        raise InputError(problems)
    numbers = numbers or default_numbers()
    meat = sum(piece.volume(numbers) for piece in pieces)
    liquid = brine_volume(bath, numbers)
    depth = (meat + liquid) / vessel.floor
    top, beside = _top(vessel, pieces)
    too_broad = [piece.name for piece in pieces if not goes_in(vessel, piece)]
    least = numbers.si("vessel.least_cover")
    cover, headroom = depth - top, vessel.height - depth
    good, covered = headroom >= 0 and not too_broad, cover >= least * (1 - 1e-9)
    said = [f"{units.show(liquid, 'volume')} of brine and {units.show(meat, 'volume')} of meat stand {_cm(depth)} deep"]
    if headroom >= 0:
        said.append(f"{_cm(headroom)} below the rim")
    else:
        said.append(f"{_cm(-headroom)} above the rim, so it runs over: take a larger vessel")
    if too_broad:
        said.append(f"{' and '.join(too_broad)} cannot lie flat on the floor: take a broader vessel")
    if not beside and len(pieces) > 1:
        said.append("the pieces do not lie side by side, so they are taken as stacked: keep brine between them")
    if covered:
        said.append(f"{_cm(cover)} of brine covers the meat")
    else:
        more = max(0.0, (least - cover) * vessel.floor)
        lies = f"only {_cm(cover)} of brine covers the meat" if cover > 0 else f"the meat sticks out by {_cm(-cover)}"
        said.append(
            f"{lies}, and at least {_cm(least)} is wanted (judgement): make {units.show(more, 'volume')} "
            "more brine of the same strength and weigh out anew, or take a narrower vessel"
        )
    layers = 1 if beside else len(pieces)
    return Fit(good, covered, meat, liquid, depth, cover, headroom, layers, "; ".join(said) + ".")


def _cm(metres: float) -> str:
    return f"{100 * metres:.1f} cm"
