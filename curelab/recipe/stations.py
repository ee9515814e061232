"""A piece in three dimensions as a ruler finds it: stations along its length, faces, layers from face to face. Plain data, no solver.

Places in a piece: `at` counts along the length from the head (the first station), `depth` from the first face (the one with the fat cap)
to the second, `across` from the middle of the width to the left (-) and right (+).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..fields import Choice, Problem, Record, Several, quantity, refuse, ruled
from ..matter.tissue import TISSUES, Tissue, TissueRule

FACES = ("first", "second", "left", "right", "head", "tail")
CONDITIONS = ("open", "skin", "cut off", "touching")
DEEP = ("thickness", "fat_cap", "seam", "seam_thickness")  # lengths of a station that run from face to face
FEWEST, MOST = 2, 40  # stations; a ruler laid on at every centimetre of the longest cut gives no more
ROUNDED = 1 - math.pi / 4  # of a square on the thickness: what both half round edges of a section leave out
STEPS = 8  # between two stations, each read at three places: sections are parabolas between them, so the sum is exact to rounding
LEAN = TissueRule(tuple(name for name, kind in TISSUES.items() if kind.kind != "fat"))


class Faces(Record):
    """What lies at each face: "open" (brine reaches it), or closed: "skin" (that no salt passes), "cut off" (the meat goes on in what is
    left out) or "touching" (another piece lies against it). first: the broad face with the fat cap; second: the other one; left, right:
    the long edges; head: the end at the first station; tail: the other end.
    """

    first: str = ruled(Choice(CONDITIONS), "open")
    second: str = ruled(Choice(CONDITIONS), "open")
    left: str = ruled(Choice(CONDITIONS), "open")
    right: str = ruled(Choice(CONDITIONS), "open")
    head: str = ruled(Choice(CONDITIONS), "open")
    tail: str = ruled(Choice(CONDITIONS), "open")

    def conflicts(self):
        if len(self.closed) == len(FACES):
            yield Problem("", "all six faces are closed, so no salt comes in; leave at least one open")

    @property
    def closed(self) -> tuple[str, ...]:
        """Names of the faces that no salt crosses."""
        return tuple(name for name in FACES if getattr(self, name) != "open")


class Station(Record):
    """One place along a cut where it was measured.

    at [m]: from the head; thickness [m]: from face to face there, fat included; width [m]. fat_cap [m]: on the faces that carry one, in the
    place of the cap of the piece. seam [m]: depth from the first face to where a seam of fat begins; seam_thickness [m].
    tissue: the lean there, in the place of that of the piece; it reaches half-way to the stations beside it. below: the lean under the seam.
    """

    at: float = quantity("length", "0 mm", "2 m", "measure along the cut from its head")
    thickness: float = quantity(
        "length",
        "2 mm",
        "40 cm",
        "a cut cannot end in nothing: lay the last station where it is a finger thick, or check the number and its unit",
    )
    width: float = quantity("length", "5 mm", "1 m", "measure across the cut at this station")
    fat_cap: float | None = quantity("length", "0 mm", "10 cm", "measure the fat at this station", default=None)
    seam: float | None = quantity("length", "1 mm", "40 cm", "measure from the first face to the seam", default=None)
    seam_thickness: float | None = quantity("length", "0.1 mm", "10 cm", "measure the fat of the seam", default=None)
    tissue: str | Tissue | None = ruled(LEAN, None)
    below: str | Tissue | None = ruled(LEAN, None)

    def conflicts(self):
        if (self.seam is None) != (self.seam_thickness is None):
            given, missing = ("seam", "seam_thickness") if self.seam is not None else ("seam_thickness", "seam")
            yield Problem(missing, f'missing; "{given}" is given, and a seam needs its depth and its thickness')
        elif self.below is not None and self.seam is None:
            yield Problem("below", 'is the lean under a seam, and there is none here; give "seam" or leave it out')

    def times(self, factor: float, lengths: Sequence[str] = ("at", "width", *DEEP)) -> dict[str, float]:
        """The lengths that were given, times a factor, by the names of their fields."""
        return {name: factor * getattr(self, name) for name in lengths if getattr(self, name) is not None}


class StationList(Several):
    """The stations of a cut, with a sentence of their own where there are too few or too many of them."""

    def read(self, given, strict):
        if given == ():  # a piece of another shape
            return ()
        if isinstance(given, (list, tuple)):
            if len(given) < self.least:
                found = {0: "there is no station", 1: "there is one station"}[len(given)]
                raise refuse("", f"{found}, and a cut needs one at each end; measure at least {self.least} places")
            if len(given) > self.most:
                raise refuse(
                    "",
                    f"there are {len(given)} stations, at most {self.most} are taken; keep those where the cut changes",
                )
        return super().read(given, strict)


@dataclass(frozen=True)
class Solid:
    """What a piece is in three dimensions, for whoever computes it; everything is linear between the k stations.

    at, thickness, width (k,) [m]; borders (k, b + 1) [m]: depths of the borders between b layers, from 0 to the thickness; a layer may be
    0 thick at a station. tissues (k, b): of each layer at each station; they reach half-way to the stations beside it. rounded: the long
    edges are half round (a section is a rectangle with half a circle at either end), else square; a layer then has the same share of the
    thickness all across. closed: faces that no salt crosses, of FACES.
    """

    at: tuple[float, ...]
    thickness: tuple[float, ...]
    width: tuple[float, ...]
    borders: tuple[tuple[float, ...], ...]
    tissues: tuple[tuple[Tissue, ...], ...]
    rounded: bool
    closed: tuple[str, ...] = ()

    @property
    def length(self) -> float:
        """m from head to tail."""
        return self.at[-1] - self.at[0]

    def section(self, at: float) -> tuple[float, float, tuple[float, ...]]:
        """(thickness, width, borders) [m] at a place along the length."""
        thick, wide = (float(np.interp(at, self.at, each)) for each in (self.thickness, self.width))
        return thick, wide, tuple(float(np.interp(at, self.at, each)) for each in zip(*self.borders, strict=True))

    def station(self, at: float) -> int:
        """The number of the station whose tissues hold at a place: the nearest one, of two the latter."""
        return int(np.searchsorted(self._halfway(), at, side="right"))

    def _halfway(self) -> np.ndarray:
        """Places where the tissues of one station end and those of the next begin."""
        return 0.5 * (np.array(self.at[1:]) + self.at[:-1])

    def layers(self) -> np.ndarray:
        """m3 (k, b) of each layer, as far as the tissues of each station reach."""
        places, weights = self._places()
        thick, wide = (np.interp(places, self.at, each) for each in (self.thickness, self.width))
        borders = np.stack([np.interp(places, self.at, each) for each in zip(*self.borders, strict=True)], axis=1)
        parts = (weights * area(thick, wide, self.rounded) / thick)[:, None] * np.diff(borders, axis=1)
        near = np.searchsorted(self._halfway(), places, side="right")
        return np.array([parts[near == number].sum(axis=0) for number in range(len(self.at))])

    def volumes(self) -> dict[Tissue, float]:
        """m3 of each tissue."""
        found: dict[Tissue, float] = {}
        for kinds, row in zip(self.tissues, self.layers().tolist(), strict=True):
            for tissue, part in zip(kinds, row, strict=True):
                found[tissue] = found.get(tissue, 0.0) + part
        return {tissue: part for tissue, part in found.items() if part > 0}

    def heavy(self) -> np.ndarray:
        """kg (b,) of each layer, by its measures."""
        dense = np.array([[tissue.density for tissue in kinds] for kinds in self.tissues])
        return (dense * self.layers()).sum(axis=0)

    def told_apart(self) -> Solid:
        """Without the layers that are nowhere thicker than nothing."""
        used = [
            number
            for number in range(len(self.borders[0]) - 1)
            if any(row[number + 1] > row[number] for row in self.borders)
        ]
        return replace(
            self,
            borders=tuple((0.0, *(row[number + 1] for number in used)) for row in self.borders),
            tissues=tuple(tuple(row[number] for number in used) for row in self.tissues),
        )

    @property
    def floor(self) -> float:
        """m2 that it takes when it lies flat."""
        return sum(0.5 * (b - a) * (u + v) for (a, u), (b, v) in pairwise(zip(self.at, self.width, strict=True)))

    @property
    def volume(self) -> float:
        """m3 by its measures."""
        return sum(self.volumes().values())

    @property
    def weight(self) -> float:
        """kg by its measures and the density of its tissues."""
        return float(self.heavy().sum())

    def _places(self) -> tuple[np.ndarray, np.ndarray]:
        """Places along the length, none at a border of tissues, and the length each stands for (Gauss, three to a step)."""
        at = np.array(self.at)
        ends = np.sort(np.concatenate([at, self._halfway()]))
        edges = np.concatenate([np.linspace(a, b, STEPS + 1)[:-1] for a, b in pairwise(ends)])
        half = 0.5 * np.diff(np.append(edges, ends[-1]))
        points, weights = np.polynomial.legendre.leggauss(3)
        return ((edges + half)[:, None] + half[:, None] * points).ravel(), (half[:, None] * weights).ravel()


def area(thickness: np.ndarray, width: np.ndarray, rounded: bool) -> np.ndarray:
    """m2 of a section."""
    return thickness * width - (ROUNDED * np.minimum(thickness, width) ** 2 if rounded else 0.0)


def order_problems(stations: Sequence[Station]) -> list[Problem]:
    """Stations that do not begin at the head, or do not follow each other along the cut."""
    begin = stations[0].at if stations else 0.0
    head = f"{100 * begin:.4g} cm is not the head; count from the first station, so that it lies at 0 cm"
    return [Problem("stations[1].at", head)] * (begin > 0) + [
        Problem(
            f"stations[{number}].at",
            f"{100 * now.at:.4g} cm does not lie behind the station before it ({100 * before.at:.4g} cm); list them from the head on",
        )
        for number, (before, now) in enumerate(pairwise(stations), 2)
        if now.at <= before.at
    ]


__all__ = [
    "CONDITIONS",
    "FACES",
    "FEWEST",
    "LEAN",
    "MOST",
    "Faces",
    "Solid",
    "Station",
    "StationList",
    "area",
    "order_problems",
]
