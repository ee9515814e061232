"""A body in three dimensions, carried by few terms over many nodes: what a layered body is for a slab, for a block, a cut or a round with
ends. Its terms run through all of its tissues, so that nothing jumps between them. Longer than others because
it is made and read in all the ways in which a layered body is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from ..fields import refuse
from ..progress import counted
from ..threads import one_thread_more
from . import kept
from .body import SPOTS, shares
from .kept import Basis
from .outline import Grid, Outline, grid
from .spots import DEEP, Spots

if TYPE_CHECKING:
    from .problem import Problem

BARE = 1e6  # of the conductivity over the thickness: a film so thin that the face is at the level of the bath
TINY = 1e-7  # of the thickness: on a border
SUB = 6  # places of a profile in each element
REMEMBERED = 16
STEPS = 60  # of working out a shape, as its progress is told: about so many for the demo of a cut and for two changes of it (measured)
MOST_BYTES = 900_000_000  # while terms are found; what would take more is refused


@dataclass(frozen=True, eq=False)
class Film:
    """A face whose film is spread over its nodes: name; matrix (r, r) and column (r,) for a film of 1; area. As `Face`."""

    name: str
    matrix: np.ndarray
    column: np.ndarray
    area: float

    def share(self, film: np.ndarray, conductivity: np.ndarray, size: np.ndarray) -> np.ndarray:
        """(d,) weight of the bath in the value at the face: none, for the nodes of the face are terms of their own."""
        return np.zeros(len(film))

    def conductance(self, film: np.ndarray, conductivity: np.ndarray, size: np.ndarray) -> np.ndarray:
        """(d,) of a unit of its area to the bath, for a volume that keeps its size; as `Face.conductance`."""
        return np.minimum(film, BARE * conductivity.max(axis=1) / size) / size

    @property
    def total(self) -> float:
        """All that a film of 1 carries."""
        return self.area


@dataclass(frozen=True, eq=False)
class Solid:
    """The geometry of a piece in r terms over l tissues, in three dimensions, in units of its thickness; as `Body`, whose members it has.

    mean (r,): the volume integral of each term, counted by what the tissues store, and so also the terms of the state 1; ratio (l,): what
    they store over what the first one stores; faces; sign (r,); stiffness (l, r, r). depth, rows, within: a profile through the deepest
    place, from face to face, which is `across` thick. lag (n,): how long each node follows a bath; values (n, r): the terms at the nodes
    of `grid`; error (4,): see `reduced.ASKED`; fine, few: as `solid` was asked. part (r,): the share of each term that lies in the tissues
    it was made `apart` for, None: for none.
    """

    grid: Grid
    volumes: np.ndarray
    mean: np.ndarray
    ratio: np.ndarray
    stiffness: np.ndarray
    faces: tuple[Film, ...]
    sign: np.ndarray | None
    values: np.ndarray
    lag: np.ndarray
    error: np.ndarray
    at_face: dict[int, int]
    fine: float = 1.0
    few: bool = False
    part: np.ndarray | None = None

    @property
    def count(self) -> int:
        """Number of terms."""
        return len(self.mean)

    @property
    def two_sided(self) -> bool:
        """Whether it has two broad faces, so that it can be turned over, and is read from face to face."""
        return not self.grid.outline.turned

    def capacity(self, storage: np.ndarray) -> np.ndarray:
        """(d, r) what each term stores, of `storage` (d, l) in a volume of each tissue: in the ratio the body was made for."""
        assert np.allclose(storage, storage[:, :1] * self.ratio, rtol=1e-9)
        return np.repeat(storage[:, :1], self.count, axis=1)

    def inner(self, conductivity: np.ndarray) -> np.ndarray:
        """Stiffness (d, r, r) of the terms for `conductivity` (d, l)."""
        return (conductivity @ self.stiffness.reshape(len(self.stiffness), -1)).reshape(-1, self.count, self.count)

    # -- readouts ------------------------------------------------------------------------------------------------------

    @cached_property
    def middle(self) -> np.ndarray:
        """Numbers (i, k) of the nodes in the plane along the length that lags most: the middle of the width, or nearer to a closed side."""
        numbers = np.arange(len(self.values)).reshape(self.grid.elements.shape)
        if numbers.ndim == 2:
            return numbers
        return numbers[:, int(np.argmax(self.lag[numbers].max(axis=(0, 2))))]

    @cached_property
    def tissue_of_nodes(self) -> np.ndarray:
        """Tissue (n,) of each node; at a border of several the one with the lowest number."""
        own = self.grid.elements.tissue
        wide = np.full(self.grid.elements.shape, len(self.volumes))
        for steps in product(range(3), repeat=own.ndim):
            part = wide[tuple(slice(step, step + 2 * size - 1, 2) for step, size in zip(steps, own.shape, strict=True))]
            np.minimum(part, own, out=part)
        return wide.ravel()

    @cached_property
    def _line(self) -> tuple[np.ndarray, ...]:
        """(nodes (k,), depth (x,), weights (x, k), tissue (x,)) of the profile through the node that lags most."""
        i = int(np.argmax(self.lag[self.middle].max(axis=1)))
        nodes = self.middle[i]
        depth = self.grid.depth if self.grid.depth.ndim == 1 else self.grid.depth[i]
        count = len(nodes)
        places = np.linspace(0, (count - 1) // 2, SUB * ((count - 1) // 2) + 1)
        element = np.minimum(places.astype(int), (count - 1) // 2 - 1)
        local = 2 * (places - element) - 1
        weights = np.zeros((len(places), count))
        for step, share in enumerate((0.5 * local * (local - 1), 1 - local**2, 0.5 * local * (local + 1))):
            np.put_along_axis(weights, (2 * element + step)[:, None], share[:, None], axis=1)
        own = self.grid.elements.tissue
        own = own if own.ndim == 2 else own[:, 0 if self.grid.outline.halved else own.shape[1] // 2]
        return nodes, weights @ depth, weights, own[min(i // 2, len(own) - 1)][element]

    @property
    def depth(self) -> np.ndarray:
        """Places (x,) of a profile, as a share of the thickness there."""
        return self._line[1]

    @cached_property
    def rows(self) -> np.ndarray:
        """(x, r) read a profile."""
        nodes, _, weights, _ = self._line
        return weights @ self.values[nodes]

    @property
    def within(self) -> np.ndarray:
        """(x,) tissue of each place of a profile."""
        return self._line[3]

    @cached_property
    def along(self) -> float:
        """How far from the head the profile lies."""
        return float(self.grid.elements.points[self._line[0][0], 0]) - self.grid.outline.at[0]

    @cached_property
    def across(self) -> float:
        """Thickness where the profile lies."""
        points = self.grid.elements.points[self._line[0], -1]
        return float(points[-1] - points[0]) if self.two_sided else float(2 * points[-1])

    def at(self, along: float, aside: float, depth: float) -> tuple[np.ndarray, int]:
        """(row (r,), tissue) of the value at a place: shares of the length, of half the width from the middle (-1 to 1) and of the thickness
        there, from the first face; in a round body of the diameter, in any direction.
        """
        made = self.grid
        i, x = _within(made.along, along)
        index: list[int] = [i]
        shares = [x]
        if made.outline.turned:
            k, z = _within(made.depth, 0.5 + abs(depth - 0.5))
        else:
            j, y = _within(made.aside, abs(aside) if made.outline.halved else aside)
            k, z = _within(x @ made.depth[2 * i : 2 * i + 3], depth)
            index, shares = [i, j], [x, y]
        index, shares = [*index, k], [*shares, z]
        numbers = np.arange(len(self.values)).reshape(made.elements.shape)
        nodes = numbers[tuple(slice(2 * each, 2 * each + 3) for each in index)].ravel()
        weights = shares[0]
        for share in shares[1:]:
            weights = np.multiply.outer(weights, share)
        planes = made.depth if made.outline.turned else shares[0] @ made.depth[2 * i : 2 * i + 3]
        beside = [_within(planes, planes[2 * k : 2 * k + 3] @ shares[-1] + side * TINY)[0] for side in (-1, 1)]
        tissue = min(
            int(made.elements.tissue[(*index[:-1], element)]) for element in beside
        )  # on a border that of the lean
        return weights.ravel() @ self.values[nodes], tissue

    def rims(self, counts: np.ndarray) -> tuple[tuple[int | None, np.ndarray], ...]:
        """(None, row (r,)) of each outermost place of a profile in the tissues that count."""
        inside = np.flatnonzero(np.asarray(counts)[self.within])
        ends = (inside[0], inside[-1]) if self.two_sided else (inside[-1],)
        return tuple((None, self.rows[end]) for end in ends)

    def shells(self, counts: np.ndarray, number: int) -> tuple[np.ndarray, np.ndarray]:
        """(rows (s, r) that read the mean of `number` parts of about equal volume, by how long they lag behind a bath, of the tissues that
        count; the share (s,) of the whole volume that each is).
        """
        volume = np.asarray(counts, dtype=float) @ self.grid.elements.volumes
        order = np.argsort(self.lag, kind="stable")
        middle = (np.cumsum(volume[order]) - 0.5 * volume[order]) / volume.sum()
        part = np.minimum((middle * number).astype(int), number - 1)
        chosen = [order[part == each] for each in np.unique(part)]
        rows = np.stack([volume[own] @ self.values[own] / volume[own].sum() for own in chosen])
        return rows, np.array([volume[own].sum() for own in chosen]) / self.volumes.sum()

    @property
    def apart(self) -> bool:
        """Whether each term lies in one tissue; here they run through all."""
        return False

    def moved(self, tissues: np.ndarray) -> np.ndarray:
        """(r,) the terms that lie in these tissues (l,): all, where all tissues count."""
        assert np.all(tissues)
        return np.ones(self.count, dtype=bool)

    def weighed(self, weights: np.ndarray) -> np.ndarray:
        """(r,) of each term, what is `weights` (l,) in each tissue: one weight in those it was made apart for, which stand first, and one in the
        others.
        """
        first, last = np.asarray(weights)[[0, -1]]
        return np.full(self.count, first) if self.part is None else first * self.part + last * (1 - self.part)

    def integral(self, tissue: int) -> np.ndarray:
        """(r,) row that reads the volume integral over one tissue."""
        return self.grid.elements.volumes[tissue] @ self.values

    def places(self, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(rows (q, r), volumes (q,), tissues (q,)) of places that share out the tissues that count, as `Body.places`: groups of nodes that
        follow a bath about as late, on each side of the middle.
        """
        depth = self.grid.elements.points[:, -1]
        sides = (depth <= 0, depth > 0) if self.two_sided else (depth >= 0,)
        groups = []
        for tissue in np.flatnonzero(counts):
            volume = self.grid.elements.volumes[tissue]
            for side in sides:
                own = np.flatnonzero(side & (volume > 0))
                own = own[np.argsort(self.lag[own], kind="stable")]
                until = (np.cumsum(volume[own]) - 0.5 * volume[own]) / volume[own].sum()
                part = np.searchsorted(shares(SPOTS // 2)[1:-1], until)
                groups += [(tissue, own[part == each]) for each in np.unique(part)]
        volumes = self.grid.elements.volumes
        rows = np.array(
            [volumes[tissue, own] @ self.values[own] / volumes[tissue, own].sum() for tissue, own in groups]
        )
        return (
            rows,
            np.array([volumes[tissue, own].sum() for tissue, own in groups]),
            np.array([tissue for tissue, _ in groups]),
        )

    def made_for(self, ratio: tuple[float, ...], pace: tuple[float, ...], closed: tuple[str, ...]) -> Solid:
        """The same piece for something else that its tissues store in this `ratio` (l,) and conduct at this `pace` (l,), over the first, and
        that does not cross the faces named in `closed`.
        """
        return solid(replace(self.grid.outline, closed=closed), ratio, (pace,), self.fine, self.few)

    def spots(self, conductivity: np.ndarray, counts: np.ndarray) -> Spots:
        """Where its core may lie: in the plane along the length, deep within the tissues that count, wherever that is."""
        lag = np.where(np.asarray(counts)[self.tissue_of_nodes[self.middle]], self.lag[self.middle], -1.0)
        deep = lag >= DEEP * lag.max()
        i, k = (np.flatnonzero(deep.any(axis=axis)) for axis in (1, 0))
        box = np.ix_(np.arange(i[0], i[-1] + 1), np.arange(k[0], k[-1] + 1))
        nodes = self.middle[box]
        points = self.grid.elements.points[nodes]
        volume = np.asarray(counts) @ self.grid.elements.volumes
        return Spots(
            np.concatenate([self.values[nodes.ravel()], (volume / volume.sum() @ self.values)[None]]),
            nodes.shape,
            lag[box].ravel(),
            points[..., 0],
            points[..., -1],
        )


def _within(planes: np.ndarray, place: float) -> tuple[int, np.ndarray]:
    """(number of the element, weights (3,) of its planes) at a place between planes of nodes."""
    place = float(np.clip(place, planes[0], planes[-1]))
    element = int(np.clip(np.searchsorted(planes[2::2], place), 0, (len(planes) - 3) // 2))
    begin, end = planes[2 * element], planes[2 * element + 2]
    local = 2 * (place - begin) / (end - begin) - 1
    return element, np.array([0.5 * local * (local - 1), 1 - local**2, 0.5 * local * (local + 1)])


@lru_cache(maxsize=REMEMBERED)
def solid(
    outline: Outline,
    ratio: tuple[float, ...] = (1.0,),
    paces: tuple[tuple[float, ...], ...] = ((1.0,),),
    fine: float = 1.0,
    few: bool = False,
    apart: int = 0,
) -> Solid:
    """The body of an outline: `ratio` (l,) of what its tissues store, over the first; paces (c, l): how they may conduct, the usual way
    first; `fine`: times as many elements along every axis as usual; few: carried by the fewer terms that serve draws; apart: so many tissues
    stand first in which something happens that does not in the others.

    Bodies are remembered by what is given, and the terms on disk (`bodies.kept`).
    """
    made = grid(outline, fine)
    basis = _basis(outline, tuple(float(f"{each:.2g}") for each in ratio), paces, fine)
    values, sign = (basis.fewer, basis.sign_fewer) if few else (basis.values, basis.sign)
    elements, faces = made.elements, made.faces
    mass = np.array(ratio) @ elements.volumes
    values = np.c_[
        np.ones(len(mass)), values[:, 1:].astype(float)
    ]  # the state that is 1 everywhere is a term, to the last digit
    values = np.linalg.solve(np.linalg.cholesky(values.T @ (mass[:, None] * values)), values.T).T
    mean = np.zeros(values.shape[1])
    mean[0] = np.sqrt(mass.sum())
    part = None
    slopes = elements.slopes(values)
    stiffness = np.array([sum(s.T @ (weight[:, None] * s) for s in slopes) for weight in elements.weights])
    stiffness[:, 0] = stiffness[:, :, 0] = 0.0
    met = {name: values.T @ (area[:, None] * values) for name, area in faces.items()}
    if outline.mirrored:  # what symmetry makes nothing is nothing, without rounding
        alike = np.outer(sign, sign)
        stiffness = np.where(alike > 0, stiffness, 0.0)
        met = {
            name: alike * met["first"] if name == "second" else np.where((alike > 0) | (name == "first"), each, 0.0)
            for name, each in met.items()
        }
    if 0 < apart < len(ratio):
        part, turn = _apart(values.T @ ((np.array(ratio)[:apart] @ elements.volumes[:apart])[:, None] * values), sign)
        values, mean, stiffness = values @ turn, mean @ turn, turn.T @ stiffness @ turn
        met = {name: turn.T @ each @ turn for name, each in met.items()}
    films = tuple(Film(name, each, each @ mean, float(faces[name].sum())) for name, each in met.items())
    return Solid(
        made, elements.volumes.sum(axis=1), mean, np.array(ratio), stiffness, films, sign if outline.mirrored else None, values, basis.lag,
        basis.error[int(few)], {}, fine, few, part,
    )  # fmt: skip


def _apart(inside: np.ndarray, sign: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(share (r,) of each new term that lies in some tissues; new terms (r, r) as sums of the old ones, of which `inside` (r, r) is the mass
    there): what happens in those tissues alone then acts on each term by itself. Even and odd terms stay what they are.
    """
    share, turn = np.zeros(len(sign)), np.zeros_like(inside)
    for side in np.unique(sign):
        own = np.flatnonzero(sign == side)
        share[own], turn[np.ix_(own, own)] = np.linalg.eigh(inside[np.ix_(own, own)])
    return np.clip(share, 0.0, 1.0), turn


def keep_terms(key: tuple) -> None:
    """Work out the terms of a key (`kept.NotKept.key`) and put them on disk, where there is room."""
    _basis(*key)


@lru_cache(maxsize=REMEMBERED)
def _basis(outline: Outline, ratio: tuple[float, ...], paces: tuple[tuple[float, ...], ...], fine: float) -> Basis:
    """The terms of an outline, from disk where they were made before."""

    def make() -> Basis:
        from .reduced import bytes_of, reduced  # takes scipy, which all else does without

        made = grid(outline, fine)
        takes = bytes_of(made.elements.shape, len(paces), outline.mirrored)
        if takes > MOST_BYTES:
            raise refuse(
                "stations",
                f"{' x '.join(map(str, made.elements.shape))} places are {made.elements.count}, and working them out takes "
                f"{takes / 1e9:.1f} GB, at most {MOST_BYTES / 1e9:g}; keep fewer stations, or fewer changes of tissue between them",
            )
        with one_thread_more(), counted("shape", about=STEPS) as step:
            return reduced(problem(made, ratio, paces), step)

    return kept.get((outline, ratio, paces, fine), make)


def problem(made: Grid, ratio: tuple[float, ...], paces: tuple[tuple[float, ...], ...]) -> Problem:
    """What a grid poses: the nodes that store, conduct and meet a bath."""
    from .problem import Problem

    elements, faces = made.elements, made.faces
    none = np.zeros(elements.count)
    numbers = np.arange(elements.count).reshape(elements.shape)
    longest_first = np.argsort([-size for size in elements.shape], kind="stable")
    return Problem(
        np.array(ratio) @ elements.volumes,
        tuple(elements.stiffness(np.array(pace)) for pace in paces),
        faces.get("first", none),
        faces.get("second", none),
        sum((area for name, area in faces.items() if name not in ("first", "second")), none),
        numbers[..., ::-1].ravel() if made.outline.mirrored else None,
        numbers.transpose(longest_first).ravel(),
    )
