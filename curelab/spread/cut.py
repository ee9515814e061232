"""One piece in every draw: its cells carried by few terms, and how draws of thickness, weight and diffusivity change them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..bodies.terms import Terms, terms_of
from ..engine.assembly import Body, body_of
from ..matter.tissue import obstruction, partition
from ..recipe.piece import Piece
from ..sources import Numbers

# Against as many terms as cells these cost, from an hour on, up to 6e-3 of the driving force (the strongest bath) where salt is just
# arriving, 5e-4 on average, and next to nothing later; a test holds them to that.
TERMS = 14  # across a slab; half of them are even
TERMS_ROUND = 13  # from the middle of a cylinder or a sphere outwards
TERMS_CAP = 6  # in a layer of fat
POINTS = 41  # places across a slab at which a profile is read


@dataclass(frozen=True)
class Cut:
    """One piece in d draws.

    body: the piece as planned; terms: what carries a state along its n cells. held (d,): kg of water times partition, of the whole
    piece; inner (d, r, r): stiffness of the terms; half (d, 2), area (d, 2): as in a Chain; per (d, l): kg of brine-side water that a kg
    of each layer counts for; weight, partition, size (d,): green kg, partition, and factor on every length; core (d or 1, r): reads the
    core; points (p,): the cells at which a profile is read.
    """

    body: Body
    terms: Terms
    held: np.ndarray
    inner: np.ndarray
    half: np.ndarray
    area: np.ndarray
    per: np.ndarray
    weight: np.ndarray
    partition: np.ndarray
    size: np.ndarray
    core: np.ndarray
    points: np.ndarray

    @property
    def count(self) -> int:
        """Number of terms."""
        return self.terms.values.shape[1]

    @property
    def faces(self) -> tuple[int, ...]:
        """The faces that there are: both of a slab, the outer one of a round piece."""
        return (0, 1) if self.body.chain.area[0] > 0 else (1,)

    def dried(self, left: np.ndarray) -> Cut:
        """After giving up water, with `left` (d,) of it left."""
        column = left[:, None]
        return replace(
            self, held=self.held * left, inner=self.inner * column[:, :, None], half=self.half * column,
            area=self.area * column, per=self.per * column,
        )  # fmt: skip


def cut(
    piece: Piece,
    cells: int,
    few: bool,
    base: Numbers,
    numbers: Any,
    size: np.ndarray,
    meat: np.ndarray,
    full: Callable[[Any], np.ndarray],
) -> Cut:
    """A piece in d draws: `size`, `meat` (d,) factors on its lengths and its weight; `numbers` with columns in the place of drawn values,
    which `full` makes (d,). `few`: False carries it in as many terms as cells.
    """
    body = body_of(piece, cells, False, base)
    chain = body.chain
    layers = [part for part, _ in piece.layers(base)]
    counts = [TERMS_CAP if part.kind == "fat" else TERMS if chain.area[0] > 0 else TERMS_ROUND for part in layers]
    cells_in = np.bincount(chain.layer)
    terms = terms_of(chain, [min(pair) for pair in zip(counts, cells_in, strict=True)] if few else None)
    spread, planned = full(partition(numbers)), partition(base)
    led = np.array([full(obstruction(part, numbers, piece.frozen_before)) for part in layers]).T
    led_planned = np.array([obstruction(part, base, piece.frozen_before) for part in layers])
    more = (spread / planned)[:, None] * led / led_planned  # (d, l) factor on the conductivity of each layer
    pace = meat / size**2
    inner = np.einsum("dl,lrs->drs", more * pace[:, None], terms.stiffness)
    conductivity = led_planned * [part.density * part.water for part in layers]
    joints = _joints(body, conductivity, more) * pace[:, None]
    inner += np.einsum("dj,jr,js->drs", joints, terms.joints, terms.joints)
    per = np.array(
        [chain.capacity[cell] / body.tissue_mass[cell] for cell in np.searchsorted(chain.layer, range(len(layers)))]
    )
    made = Cut(
        body,
        terms,
        chain.capacity.sum() * spread / planned * meat,
        inner,
        chain.half * more[:, [0, -1]] * pace[:, None],
        chain.area * (meat / size)[:, None],
        per * (spread / planned)[:, None],
        piece.weight * meat,
        spread,
        size,
        body.core[None] @ terms.values,
        np.unique(np.linspace(0, len(chain.centres) - 1, POINTS if chain.area[0] > 0 else POINTS // 2 + 1).round().astype(int))
        if few
        else np.arange(len(chain.centres)),
    )  # fmt: skip
    if chain.area[0] > 0 and not piece.symmetric and np.ptp(more[:, 0] / more[:, -1]) > 0:
        return replace(made, core=_cores(body, more, joints / pace[:, None]) @ terms.values)
    return made


def _joints(body: Body, conductivity: np.ndarray, more: np.ndarray) -> np.ndarray:
    """(d, l - 1) conductance from the last cell of a layer to the first of the next: two half cells in series, the planned
    `conductivity` (l,) of each layer times `more` (d, l).
    """
    chain = body.chain
    borders = np.flatnonzero(np.diff(chain.layer))
    found = np.empty((len(more), len(borders)))
    for number, cell in enumerate(borders):
        edge = chain.edges[cell + 1]
        here = (edge - chain.centres[cell]) / conductivity[number]
        there = (chain.centres[cell + 1] - edge) / conductivity[number + 1]
        found[:, number] = chain.inner[cell] * (here + there) / (here / more[:, number] + there / more[:, number + 1])
    return found


def _cores(body: Body, more: np.ndarray, joints: np.ndarray) -> np.ndarray:
    """Weights (d, n) that read the core of a slab capped on one face, as `assembly` places and reads it."""
    chain, lean = body.chain, np.flatnonzero(body.lean)
    rows = np.arange(len(more))[:, None]
    inner = chain.inner * more[:, chain.layer[1:]]
    inner[:, np.flatnonzero(np.diff(chain.layer))] = joints
    ends = chain.half * more[:, [0, -1]]
    steps = np.concatenate([1 / ends[:, :1], 1 / inner, 1 / ends[:, 1:]], axis=1)
    reached = np.cumsum(steps, axis=1)[:, :-1]
    goal = 0.5 * steps.sum(axis=1)
    cell = np.clip((reached < goal[:, None]).sum(axis=1), 1, reached.shape[1] - 1)[:, None]
    share = (goal[:, None] - reached[rows, cell - 1]) / (reached[rows, cell] - reached[rows, cell - 1])
    place = chain.centres[cell - 1] + np.clip(share, 0.0, 1.0) * (chain.centres[cell] - chain.centres[cell - 1])
    x = chain.centres[lean]
    place = np.clip(place, chain.edges[lean[0]], chain.edges[lean[-1] + 1])
    weights = np.zeros((len(more), len(chain.centres)))
    near = np.sort(np.argsort(np.abs(x - place), axis=1, kind="stable")[:, :4], axis=1)
    for i in range(4):
        others = [j for j in range(4) if j != i]
        parts = [(place[:, 0] - x[near[:, j]]) / (x[near[:, i]] - x[near[:, j]]) for j in others]
        weights[rows[:, 0], lean[near[:, i]]] = np.prod(parts, axis=0)
    for outside, (first, second) in ((place <= x[0], lean[:2]), (place >= x[-1], lean[:-3:-1])):
        chosen = np.flatnonzero(outside)
        weights[chosen] = 0.0
        a, b = ((chain.centres[node] - place[chosen, 0]) ** 2 for node in (first, second))
        weights[chosen, first], weights[chosen, second] = b / (b - a), -a / (b - a)
    return weights
