"""A piece in every case: its body, with what its water stores and how it conducts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from ..bodies import Body, layered
from ..matter.tissue import Tissue
from ..recipe.piece import Piece
from ..transport.network import Contact, Part
from .cases import Cases
from .clock import Clock


@dataclass(frozen=True, eq=False)
class Meat:
    """A piece in d cases.

    body: its geometry, one unit thick; lean (l,): which tissues are lean. amount (d,): the volume of the piece over that of the body;
    size (d,): its thickness in m, the factor on every length of the body; weight (d,): green kg. storage (d, l):
    kg of water, brine side, in a cubic metre of each tissue; conductivity (d, l): storage times obstruction; per_tissue (d, l): storage
    over density, kg per kg of green tissue; parts (l,): the tissues.
    """

    piece: Piece
    body: Body
    lean: np.ndarray
    amount: np.ndarray
    size: np.ndarray
    weight: np.ndarray
    partition: np.ndarray
    storage: np.ndarray
    conductivity: np.ndarray
    per_tissue: np.ndarray
    parts: tuple[Tissue, ...]

    @cached_property
    def capacity(self) -> np.ndarray:
        """(d, r) kg of water, brine side, that each term stores."""
        return self.amount[:, None] * self.storage[:, self.body.tissue]

    @cached_property
    def held(self) -> np.ndarray:
        """(d,) kg of water, brine side, in the piece."""
        return self.amount * (self.storage @ self.body.volumes)

    @cached_property
    def total(self) -> np.ndarray:
        """Row (d, r): the terms of w to kg of solute in the piece."""
        return self.capacity * self.body.mean

    @cached_property
    def core(self) -> np.ndarray:
        """Rows (d or 1, r) that read the core."""
        return self.body.core(self.conductivity, self.lean)

    @cached_property
    def part(self) -> Part:
        """Its nodes, as a part of a network."""
        pace = (self.amount / self.size**2)[:, None, None]
        return Part(self.capacity, self.body.inner(self.conductivity) * pace, self.body.mean, self.body.sign)

    def _outside(self, films: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, ...]:
        """The film (d,) at each face. A piece with one face touches the vessel along a line at most: that face is free."""
        return films if self.body.two_sided else (np.maximum(*films),)

    def contact(self, number: int, films: tuple[np.ndarray, np.ndarray]) -> Contact:
        """What links it to a bath as part `number` of a network; `films` (d,) at the first and second face."""
        body = self.body
        matrix, column = np.zeros((len(self.amount), body.count, body.count)), np.zeros((len(self.amount), body.count))
        total = np.zeros(len(self.amount))
        for face, film in zip(body.faces, self._outside(films), strict=True):
            conductance = self.amount * face.conductance(film, self.conductivity, self.size)
            matrix += conductance[:, None, None] * np.outer(face.row, face.row)
            column += conductance[:, None] * face.row
            total = total + conductance
        return Contact(number, matrix, column, total)

    def shares(self, films: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """(d, f) weight of the bath in the value at each face; `films` as for `contact`."""
        outside = zip(self.body.faces, self._outside(films), strict=True)
        return np.stack([face.share(film, self.conductivity, self.size) for face, film in outside], axis=1)

    def over(self, clock: Clock, cases: Cases) -> Meat:
        """As it conducts in a stretch. A tissue whose diffusivity grows with temperature in its own way does so there at its mean, over that
        of free water, over the log of the stretch: exact at a constant temperature.
        """
        own = [number for number, part in enumerate(self.parts) if part.activation_energy is not None]
        if not own:
            return self
        conductivity = self.conductivity.copy()
        free = clock.mean(cases.water_diffusivity)
        for number in own:
            grown = partial(self.parts[number].own, water=cases.water_diffusivity)
            conductivity[:, number] = self.storage[:, number] * clock.mean(grown) / free
        return self if np.array_equal(conductivity, self.conductivity) else replace(self, conductivity=conductivity)

    def dried(self, left: np.ndarray) -> Meat:
        """After giving up water, with `left` (d,) of it left: the piece keeps its thickness and shrinks in area."""
        return replace(self, amount=self.amount * left, per_tissue=self.per_tissue * left[:, None])


def meat_of(piece: Piece, cells: int, few: bool, cases: Cases) -> Meat:
    """A piece in every case: `cells` from a face to the middle, or `few` terms in their place."""
    layers = piece.layers(cases.base)
    parts = list(dict.fromkeys(part for part, _ in layers))
    lean = np.array([part.kind != "fat" for part in parts])
    tissues = tuple(parts.index(part) for part, _ in layers)
    # One unit thick, so that another thickness needs no new body.
    body = layered(
        tuple(width / piece.thickness for _, width in layers),
        tissues,
        piece.shape,
        cells,
        few,
        main=int(np.flatnonzero(lean)[0]),
    )
    spread = cases.partition
    density, water = (np.array([getattr(part, name) for part in parts]) for name in ("density", "water"))
    led = np.stack([cases.obstruction(part, piece.frozen_before) for part in parts], axis=1)
    per_tissue = spread[:, None] * water
    storage = per_tissue * density
    heavy = cases.condition("meat weight")
    amount = heavy * (piece.water(cases.base) / float(density * water @ body.volumes))
    return Meat(
        piece,
        body,
        lean,
        amount,
        piece.thickness * cases.size(piece),
        piece.weight * heavy,
        spread,
        storage,
        storage * led,
        per_tissue,
        tuple(parts),
    )
