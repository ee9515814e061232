"""What the geometry of a piece is, for whatever moves in it: terms, stiffness in each tissue, faces, joints and readouts.

A state is a sum of terms; each term lies in one tissue, and terms are orthonormal in the volume. So a quantity is put on a body by two
numbers for each tissue, what a volume stores and how it conducts; the body itself knows no solute, no temperature and no kitchen.
A larger body of the same shape needs no new terms: see `Body`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .cells import Cells, cut
from .spots import Spots
from .terms import terms_of

POINTS = 41  # places across a slab at which a profile is read
# Against as many terms as cells these cost, from an hour on, up to 6e-3 of the driving force (the strongest bath) where salt is just
# arriving, 4e-4 on average, and next to nothing later; a test holds them to that.
TERMS = 14  # across a slab; half of them are even
TERMS_ROUND = 13  # from the middle of a cylinder or a sphere outwards
TERMS_THIN = 6  # in a layer beside the main one
SPOTS = 32  # places in a tissue, half as many more in one of cells, at which something that is not linear is counted
REMEMBERED = 64  # bodies


def shares(number: int) -> np.ndarray:
    """(number + 1,) where so many places begin and end, from 0 to 1: small at both ends, where profiles are steep."""
    return 0.5 - 0.5 * np.cos(np.pi * np.linspace(0.0, 1.0, number + 1))


@dataclass(frozen=True)
class Face:
    """A face of a body: name; row (r,): the outermost value inside, as a sum over the terms; resistance: from there to the face for unit
    conductivity; area; tissue: the number of the tissue behind it.
    """

    name: str
    row: np.ndarray
    resistance: float
    area: float
    tissue: int

    def share(self, film: np.ndarray, conductivity: np.ndarray, size: np.ndarray) -> np.ndarray:
        """(d,) weight of the bath in the value at the face: `film` (d,) conductance per area outside, `conductivity` (d, l), `size` (d,)
        factor on every length.
        """
        half = conductivity[:, self.tissue] / (self.resistance * size)
        outside = film * self.area
        return np.where(np.isinf(outside), 1.0, outside / (half + np.where(np.isinf(outside), 0.0, outside)))

    def conductance(self, film: np.ndarray, conductivity: np.ndarray, size: np.ndarray) -> np.ndarray:
        """(d,) from the outermost value inside to the bath: inner half and film in series, for a volume that keeps its size."""
        return self.share(film, conductivity, size) * conductivity[:, self.tissue] / (self.resistance * size**2)

    @property
    def matrix(self) -> np.ndarray:
        """(r, r) what a conductance of 1 to the bath is to the terms."""
        return np.outer(self.row, self.row)

    @property
    def column(self) -> np.ndarray:
        """(r,) what it carries from the bath to each of them."""
        return self.row

    @property
    def total(self) -> float:
        """All that it carries."""
        return 1.0


@dataclass(frozen=True)
class Joint:
    """A border between two tissues: step (r,), the difference across it; the resistances on both sides for unit conductivity."""

    step: np.ndarray
    resistances: tuple[float, float]
    tissues: tuple[int, int]

    def conductance(self, conductivity: np.ndarray) -> np.ndarray:
        """(d,) both sides in series, for `conductivity` (d, l)."""
        here, there = self.resistances
        return 1.0 / (here / conductivity[:, self.tissues[0]] + there / conductivity[:, self.tissues[1]])


@dataclass(frozen=True, eq=False)
class Body:
    """The geometry of a piece in r terms over l tissues, for unit area of a slab, unit length of a cylinder, or one ball.

    tissue (r,): the tissue a term lies in; mean (r,): the volume integral of each term, and so also the terms of the state 1; volumes
    (l,) [m3]; stiffness (l, r, r) for unit conductivity of each tissue alone; joints; faces; sign (r,): what each term changes to when
    the body is turned over, None where it is not its own mirror image.
    depth (x,): places of a profile, as a share of the thickness; rows (x, r) read them; within (x,): their tissues; at_face: the number
    of the face that a place lies on, for those that do.

    In a body that is larger by a factor on every length and on its volume, stiffness grows with volume / length^2, faces with
    volume / length, storage with the volume.
    """

    tissue: np.ndarray
    mean: np.ndarray
    volumes: np.ndarray
    stiffness: np.ndarray
    joints: tuple[Joint, ...]
    faces: tuple[Face, ...]
    sign: np.ndarray | None
    depth: np.ndarray
    rows: np.ndarray
    within: np.ndarray
    at_face: dict[int, int]
    _cells: Cells
    _values: np.ndarray
    _owner: np.ndarray  # (n,) the tissue of each cell

    @property
    def count(self) -> int:
        """Number of terms."""
        return len(self.tissue)

    @property
    def along(self) -> float:
        """How far from the head the profile lies: a slab and an endless round have none."""
        return 0.0

    @property
    def across(self) -> float:
        """Thickness where the profile lies, over that of the body."""
        return 1.0

    def capacity(self, storage: np.ndarray) -> np.ndarray:
        """(d, r) what each term stores, of `storage` (d, l) in a volume of each tissue."""
        return storage[:, self.tissue]

    @property
    def two_sided(self) -> bool:
        """Whether it has two broad faces, so that it can be turned over, and is read from face to face; else from the middle outwards."""
        return len(self.faces) == 2

    def inner(self, conductivity: np.ndarray) -> np.ndarray:
        """Stiffness (d, r, r) of the terms for `conductivity` (d, l)."""
        size = self.count
        inner = (conductivity @ self.stiffness.reshape(len(self.stiffness), -1)).reshape(-1, size, size)
        for joint in self.joints:
            inner += joint.conductance(conductivity)[:, None, None] * np.outer(joint.step, joint.step)
        return inner

    def rims(self, counts: np.ndarray) -> tuple[tuple[int | None, np.ndarray], ...]:
        """(number of the face or None, row (r,)) of each outermost place in the tissues that count: the face itself, or the outermost
        value inside where another tissue lies before it.
        """
        cells, inside = self._cells, np.flatnonzero(np.asarray(counts)[self._owner])
        found: list[tuple[int | None, np.ndarray]] = []
        for number, face in enumerate(self.faces):
            own = inside[0] if face.name == "first" else inside[-1]
            outermost = 0 if face.name == "first" else len(cells.centres) - 1
            found.append((number if own == outermost else None, self._values[own]))
        return tuple(found)

    def shells(self, counts: np.ndarray, number: int) -> tuple[np.ndarray, np.ndarray]:
        """(rows (s, r) that read the mean of `number` parts of about equal volume, in order, of the tissues that count; the share (s,) of the
        whole volume that each is).
        """
        inside = np.flatnonzero(np.asarray(counts)[self._owner])
        volume = self._cells.volume[inside]
        middle = (np.cumsum(volume) - 0.5 * volume) / volume.sum()
        part = np.minimum((middle * number).astype(int), number - 1)
        chosen = [part == each for each in sorted({*part.tolist()})]
        rows = np.stack([volume[own] @ self._values[inside[own]] / volume[own].sum() for own in chosen])
        return rows, np.array([volume[own].sum() for own in chosen]) / self.volumes.sum()

    def spots(self, conductivity: np.ndarray, counts: np.ndarray) -> Spots:
        """Its core, as the one place where a slowest spot may lie."""
        return Spots(self.core(conductivity, counts)[:, None])

    @property
    def apart(self) -> bool:
        """Whether each term lies in one tissue, so that what one tissue stores can change alone."""
        return True

    def moved(self, tissues: np.ndarray) -> np.ndarray:
        """(r,) the terms that lie in these tissues (l,)."""
        return np.asarray(tissues)[self.tissue]

    def weighed(self, weights: np.ndarray) -> np.ndarray:
        """(r,) of each term, what is `weights` (l,) in each tissue."""
        return np.asarray(weights)[self.tissue]

    def integral(self, tissue: int) -> np.ndarray:
        """(r,) row that reads the volume integral over one tissue."""
        return np.where(self.tissue == tissue, self.mean, 0.0)

    def places(self, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(rows (q, r), volumes (q,), tissues (q,)) of places that share out the tissues that count: SPOTS groups of neighbouring cells in
        each, half as many more where the terms are the cells. A row reads the mean of its place.
        """
        most, groups = SPOTS if self.count < len(self._owner) else 3 * SPOTS // 2, []
        for tissue in np.flatnonzero(counts):
            inside = np.flatnonzero(self._owner == tissue)
            ends = shares(most)
            cuts = sorted({*np.round(len(inside) * ends).astype(int).tolist()})
            groups += np.split(inside, cuts[1:-1])
        volume = self._cells.volume
        rows = np.array([volume[group] @ self._values[group] / volume[group].sum() for group in groups])
        return rows, np.array([volume[group].sum() for group in groups]), self._owner[[group[0] for group in groups]]

    def core(self, conductivity: np.ndarray, counts: np.ndarray) -> np.ndarray:
        """Rows (d, r), or (1, r) where all are alike, that read the core: the place, within the tissues that count, that both faces reach
        with equal resistance: the middle, or nearer to a face that another tissue covers.
        """
        if not self.two_sided or self.sign is not None:
            conductivity = conductivity[:1]  # the middle, whatever the conductivities
        elif np.ptp(conductivity / conductivity[:, :1], axis=0).max() == 0:
            conductivity = conductivity[:1]
        cells = self._cells
        inside = np.flatnonzero(np.asarray(counts)[self._owner])
        place = np.zeros(len(conductivity))
        if self.two_sided:
            led = conductivity[:, self._owner]
            steps = np.concatenate(
                [cells.inward[:1] / led[:, :1], cells.outward[:-1] / led[:, :-1] + cells.inward[1:] / led[:, 1:],
                 cells.outward[-1:] / led[:, -1:]], axis=1,
            )  # fmt: skip
            reached = np.cumsum(steps, axis=1)
            place = np.array([np.interp(0.5 * row[-1], row[:-1], cells.centres) for row in reached])
            place = np.clip(place, cells.edges[inside[0]], cells.edges[inside[-1] + 1])
        return np.array([_reading(cells, inside, float(each)) for each in place]) @ self._values


def _reading(cells: Cells, inside: np.ndarray, place: float) -> np.ndarray:
    """Weights (n,) that read the value at `place` from the cells `inside` near it: a cubic, or a parabola that is level at a middle or a
    blocked face.
    """
    x = cells.centres[inside]
    weights = np.zeros(len(cells.centres))
    if place <= x[0] or place >= x[-1]:
        near = inside[:2] if place <= x[0] else inside[-1:-3:-1]
        a, b = (cells.centres[near] - place) ** 2  # a parabola in the squared distance through the two nearest cells
        weights[near] = b / (b - a), -a / (b - a)
        return weights
    nearest = np.sort(np.argsort(np.abs(x - place), kind="stable")[:4])
    for i in nearest:
        others = [j for j in nearest if j != i]
        weights[inside[i]] = np.prod([(place - x[j]) / (x[i] - x[j]) for j in others])
    return weights


@lru_cache(maxsize=REMEMBERED)
def layered(
    widths: tuple[float, ...],
    tissues: tuple[int, ...] = (0,),
    shape: str = "slab",
    cells: int = 60,
    few: bool = False,
    main: int = 0,
    counts: tuple[int, ...] | None = None,
) -> Body:
    """A slab, "half slab", cylinder or sphere of layers [m], listed from the first face or from the middle outwards.

    tissues: the number of the tissue of each layer, counted from 0; cells: from a face to the middle; few: carry them by a dozen terms in
    the place of as many terms as cells; main: the tissue that gets most of the cells; counts: cells of each layer, if that is to be said.
    Bodies are remembered by what is given.
    """
    mains = [tissue == main for tissue in tissues]
    counts = counts or tuple(_share_out(2 * cells if shape == "slab" else cells, len(widths), mains))
    made = cut(widths, counts, shape)
    if not few:
        return of_cells(made, tissues)
    most, points = (TERMS, POINTS) if made.area[0] > 0 else (TERMS_ROUND, POINTS // 2 + 1)
    wanted = [most if own else TERMS_THIN for own in mains]
    return of_cells(made, tissues, [min(pair) for pair in zip(wanted, counts, strict=True)], points)


def of_cells(
    cells: Cells, tissues: Sequence[int], terms: Sequence[int] | None = None, points: int | None = None
) -> Body:
    """The body of cells of any shape, whose layers are of these tissues, counted from 0; terms: so many in each layer; points: so many
    places to read a profile at. None of either: as many as cells.
    """
    values, tissue, sign = terms_of(cells, tissues, terms)
    steps = np.diff(values, axis=0)
    owner = np.array(tissues)[cells.layer]
    same = cells.layer[1:] == cells.layer[:-1]
    inner = 1.0 / (cells.outward[:-1] + cells.inward[1:])
    number = max(tissues) + 1
    stiffness = np.array(
        [(steps[own].T * inner[own]) @ steps[own] for own in (same & (owner[1:] == each) for each in range(number))]
    )
    joints = tuple(
        Joint(steps[at], (float(cells.outward[at]), float(cells.inward[at + 1])), (int(owner[at]), int(owner[at + 1])))
        for at in np.flatnonzero(~same)
    )
    two_sided = cells.area[0] > 0
    outer = "second" if two_sided else "side"
    faces = [Face(outer, values[-1], float(cells.outward[-1]), float(cells.area[1]), int(owner[-1]))]
    if two_sided:
        faces.insert(0, Face("first", values[0], float(cells.inward[0]), float(cells.area[0]), int(owner[0])))
    read = np.linspace(0, len(values) - 1, points or len(values)).round().astype(int)
    read = read[np.append(True, np.diff(read) > 0)]
    start, stop = cells.edges[[0, -1]]
    places = (np.concatenate([[start], cells.centres[read], [stop]]) - start) / (stop - start)
    every = np.concatenate([[0], read, [len(values) - 1]])
    at_face = {0: 0, len(every) - 1: 1}
    if not two_sided:
        places, every, at_face = 0.5 + 0.5 * places[1:], every[1:], {len(every) - 2: 0}
    mean = cells.volume @ values
    mean[np.abs(mean) < 1e-12 * np.abs(mean).max()] = 0.0  # the mean of an odd term, but for rounding
    return Body(
        tissue, mean, np.bincount(owner, cells.volume, number), stiffness, joints, tuple(faces), sign,
        places, values[every], owner[every], at_face, cells, values, owner,
    )  # fmt: skip


def _share_out(cells: int, layers: int, mains: Sequence[bool]) -> list[int]:
    """Cells for each layer: a sixth, at least six, for a thin one; the rest for the main one."""
    thin = min(max(6, cells // 6), (cells - 2) // layers)  # few cells are shared out evenly
    return [cells - thin * (layers - 1) if own else thin for own in mains]
