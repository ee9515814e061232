"""Whether the pieces and their brine fit the vessel, and whether the brine covers them.

A piece counts as the box around it: as long, as broad and as thick as it is anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

from .. import units
from ..fields import Choice, InputError, Problem, Record, quantity, ruled
from ..matter import brine
from ..recipe.piece import Piece
from ..recipe.stages import Bath
from ..sources import Numbers, default_numbers

COLD = 277.15  # K; brine shrinks by less than half a percent between here and a warm kitchen
TRIES = 2000  # ways to lay pieces side by side, at most; they fill a floor corner by corner
TURNS = 200  # rectangles within a round floor that are tried
BY_AREA = "side by side, as far as their area tells"
BY_BOX = "an uneven piece counts as the box around it"


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
    m (negative: it sticks out); headroom: from the brine to the rim, m; layers: 1 when the stacks lie side
    by side, else how many lie on one another. sentence: the same in words.
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


def sides(piece: Piece) -> tuple[float, float] | None:
    """Length and width [m] of the box around a piece that lies flat; None where only the area is known: of a slab, and of a cylinder without a length."""
    solid = piece.solid()
    if solid is not None:
        return solid.length, max(solid.width)
    return (piece.thickness, piece.thickness) if piece.shape == "sphere" else None


def stacks(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Pieces that lie on one another, in the order given: those whose broad faces are said to touch, as `cutting.fold` and `touch` leave
    them; each of the others alone.
    """
    found: list[list[Piece]] = []
    bare = 0  # broad faces of the last stack that touch something and have nothing yet
    for piece in pieces:
        touching = [piece.faces.first, piece.faces.second].count("touching")
        if bare and touching:
            found[-1].append(piece)
            bare += touching - 2
        else:
            found.append([piece])
            bare = touching
    return found


def goes_in(vessel: Vessel, piece: Piece) -> bool:
    """Whether a piece can lie flat on the floor: by its length and width, or by its area where it has none."""
    box = sides(piece)
    return footprint(piece) <= vessel.floor if box is None else vessel.holds(*box)


def brine_volume(bath: Bath, numbers: Numbers | None = None) -> float:
    """m3 of the bath at 4 degC; salt water by its measured density, sugar by the density of its crystal (good
    to 1 % of the brine).

    Raises ValueError for a bath stronger than 26.4 % salt, which cannot exist.
    """
    salted = (bath.water + bath.salt) / float(brine.density(bath.strength, COLD))
    return salted + bath.sugar / (numbers or default_numbers()).si("sugar.crystal_density")


def water_to_cover(vessel: Vessel, pieces: Sequence[Piece], numbers: Numbers | None = None) -> float:
    """kg of water that covers the pieces, lying as `fits` takes them; what salt adds to it is left out. inf: the vessel is too low for it.

    >>> pot = Vessel(shape="round", diameter="26 cm", height="20 cm")
    >>> round(water_to_cover(pot, (Piece(thickness="6 cm", weight="1.5 kg"),)), 2)
    2.83
    """
    numbers = numbers or default_numbers()
    deep = _top(vessel, stacks(pieces))[0] + numbers.si("vessel.least_cover")
    if deep > vessel.height:
        return math.inf
    meat = sum(piece.volume(numbers) for piece in pieces)
    return max(0.0, deep * vessel.floor - meat) * float(brine.density(0.0, COLD))


def _top(vessel: Vessel, piled: list[list[Piece]]) -> tuple[float, bool]:
    """(height [m] of the highest stack, whether the stacks lie side by side)."""
    beside = len(piled) == 1 or _beside(vessel, piled)
    return (max if beside else sum)(map(_high, piled)), beside


def _high(stack: list[Piece]) -> float:
    """m."""
    return sum(piece.thickness for piece in stack)


def _beside(vessel: Vessel, piled: list[list[Piece]]) -> bool:
    """Whether a way was found to lay the stacks side by side, square to the walls."""
    if sum(max(map(footprint, stack)) for stack in piled) > vessel.floor:
        return False
    boxes = []
    for stack in piled:
        known = [box for box in map(sides, stack) if box is not None]
        if known:
            boxes.append(tuple(max(each) for each in zip(*(sorted(box, reverse=True) for box in known), strict=True)))
    boxes.sort(reverse=True)
    first, second = vessel.sides
    floors = [(first, second)]
    if vessel.shape == "round":
        angles = [0.5 * math.pi * turn / TURNS for turn in range(1, TURNS)]
        floors = [(first * math.cos(each), first * math.sin(each)) for each in angles]
    full = sum(long * wide for long, wide in boxes)
    return any(_laid([(x, y)], boxes, count()) for x, y in floors if full <= x * y)


def _laid(free: list[tuple[float, float]], boxes: list, tried) -> bool:
    """Whether the boxes go into the free rectangles [m]: each into a corner of one, what is left of that being cut in two either way."""
    if not boxes:
        return True
    (long, wide), *rest = boxes
    for number, (x, y) in enumerate(free):
        for a, b in ((long, wide), (wide, long)):
            if a > x or b > y or next(tried) > TRIES:
                continue
            others = free[:number] + free[number + 1 :]
            if _laid([*others, (x - a, y), (a, y - b)], rest, tried) or _laid(
                [*others, (x - a, b), (x, y - b)], rest, tried
            ):
                return True
    return False


def _check_thickness(vessel: Vessel, pieces: Sequence[Piece]) -> None:
    """Raises InputError as `fits`."""
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


def fits(vessel: Vessel, pieces: Piece | Sequence[Piece], bath: Bath, numbers: Numbers | None = None) -> Fit:
    """Whether the pieces, lying flat or as `stacks`, and the bath fit the vessel and the brine covers them.

    The least cover above the meat is row `vessel.least_cover` (judgement). Meat floats in strong brine, so
    a weight is assumed. Raises InputError for a piece that is thicker than the vessel is high, or wide where the
    thickness is all that was measured: it is the smallest measure, so no way of laying it helps.

    >>> pot = Vessel(shape="round", diameter="26 cm", height="20 cm")
    >>> result = fits(pot, Piece(thickness="6 cm", weight="1.5 kg"), Bath(water="3 kg", salt="120 g"))
    >>> result.fits, result.covered, round(100 * result.depth, 1)
    (True, True, 8.4)
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    _check_thickness(vessel, pieces)
    numbers = numbers or default_numbers()
    meat = sum(piece.volume(numbers) for piece in pieces)
    liquid = brine_volume(bath, numbers)
    depth, piled = (meat + liquid) / vessel.floor, stacks(pieces)
    top, beside = _top(vessel, piled)
    too_broad = [piece.name for piece in pieces if not goes_in(vessel, piece)]
    too_high = [stack for stack in piled if _high(stack) > vessel.height]
    least = numbers.si("vessel.least_cover")
    cover, headroom = depth - top, vessel.height - depth
    good, covered = headroom >= 0 and not too_broad and not too_high, cover >= least * (1 - 1e-9)
    said = [f"{units.show(liquid, 'volume')} of brine and {units.show(meat, 'volume')} of meat stand {_cm(depth)} deep"]
    if headroom >= 0:
        said.append(f"{_cm(headroom)} below the rim")
    else:
        said.append(f"{_cm(-headroom)} above the rim, so it runs over: take a larger vessel")
    if too_broad:
        said.append(f"{' and '.join(too_broad)} cannot lie flat on the floor: take a broader vessel")
    for stack in piled:
        if len(stack) > 1:
            high = f"{' on '.join(piece.name for piece in stack)}: {_cm(_high(stack))} high"
            said.append(
                high + (f" in a vessel {_cm(vessel.height)} high: take a higher one" if stack in too_high else "")
            )
    if not beside:
        said.append("no way was found to lay them side by side, so they are taken as stacked: keep brine between them")
    elif len(piled) > 1 and any(sides(piece) is None for piece in pieces):
        said.append(BY_AREA)
    if len(pieces) > 1 and any(piece.shape == "cut" for piece in pieces):
        said.append(BY_BOX)
    said.append(_covered(vessel, cover, top, least, beside))
    layers = 1 if beside else len(piled)
    return Fit(good, covered, meat, liquid, depth, cover, headroom, layers, "; ".join(said) + ".")


def _covered(vessel: Vessel, cover: float, top: float, least: float, beside: bool) -> str:
    """How far the brine stands above the meat, and what to do where that is not enough."""
    if cover >= least * (1 - 1e-9):
        return f"{_cm(cover)} of brine covers the meat"
    lies = f"only {_cm(cover)} of brine covers the meat" if cover > 0 else f"the meat sticks out by {_cm(-cover)}"
    if top + least > vessel.height:
        do = f"take a vessel at least {_cm(top + least)} high{'' if beside else ', or one in which they lie side by side'}"
    else:
        more = units.show((least - cover) * vessel.floor, "volume")
        do = f"make {more} more brine of the same strength and weigh out anew, or take a narrower vessel"
    return f"{lies}, and at least {_cm(least)} is wanted (judgement): {do}"


def _cm(metres: float) -> str:
    return f"{100 * metres:.1f} cm"
