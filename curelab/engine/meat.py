"""A piece in every case: its body, with what its water stores and how it conducts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np

from ..bodies import Body, Outline, Solid, layered, solid
from ..bodies.spots import Spots
from ..matter.tissue import Tissue
from ..recipe.piece import Piece
from ..recipe.stations import Solid as Shape
from ..transport.network import Contact, Part
from .cases import Cases
from .clock import Clock

USUAL_CELLS = 60  # from a face to the middle, where elements are as fine as usual
Films = tuple[
    np.ndarray, np.ndarray, np.ndarray
]  # (d,) at the first face, at the second, and at all that never lie on a wall


@dataclass(frozen=True, eq=False)
class Meat:
    """A piece in d cases.

    body: its geometry, one unit thick; lean (l,): which tissues are lean. amount (d,): the volume of the piece over that of the body;
    size (d,): its thickness in m, the factor on every length of the body; weight (d,): green kg. storage (d, l):
    kg of water, brine side, in a cubic metre of each tissue; conductivity (d, l): storage times obstruction; per_tissue (d, l): storage
    over density, kg per kg of green tissue; parts (l,): the tissues; own_salt (d,): kg of salt in it while it was raw; shared: what is the
    same whatever the amount, worked out once for it and for what it becomes when nothing but the amount changes.
    """

    piece: Piece
    body: Body | Solid
    lean: np.ndarray
    amount: np.ndarray
    size: np.ndarray
    weight: np.ndarray
    partition: np.ndarray
    storage: np.ndarray
    conductivity: np.ndarray
    per_tissue: np.ndarray
    parts: tuple[Tissue, ...]
    own_salt: np.ndarray
    shared: dict = field(default_factory=dict, repr=False, init=False)

    @cached_property
    def capacity(self) -> np.ndarray:
        """(d, r) kg of water, brine side, that each term stores."""
        if "capacity" not in self.shared:
            self.shared["capacity"] = self.body.capacity(self.storage)
        return self.amount[:, None] * self.shared["capacity"]

    @cached_property
    def held(self) -> np.ndarray:
        """(d,) kg of water, brine side, in the piece."""
        return self.amount * (self.storage @ self.body.volumes)

    @cached_property
    def swells(self) -> np.ndarray:
        """(l,) the tissues whose water changes when their lean takes some up: the lean, or all where terms run through all tissues."""
        return self.lean if self.body.apart else np.ones_like(self.lean)

    @cached_property
    def held_swelling(self) -> np.ndarray:
        """(d,) kg of water, brine side, in these."""
        return self.amount * (self.storage[:, self.swells] @ self.body.volumes[self.swells])

    @cached_property
    def total(self) -> np.ndarray:
        """Row (d, r): the terms of w to kg of solute in the piece."""
        return self.capacity * self.body.mean

    @cached_property
    def spots(self) -> Spots:
        """Where its core may lie."""
        return self.body.spots(self.conductivity, self.lean)

    @property
    def across(self) -> np.ndarray:
        """Thickness (d,) in m where its profile lies."""
        return self.body.across * self.size

    @cached_property
    def part(self) -> Part:
        """Its nodes, as a part of a network."""
        return Part(self.capacity, self._inner, self.body.mean, self.body.sign, self.shared)

    def _inner(self) -> np.ndarray:
        """(d, r, r) how its terms are linked."""
        return self.body.inner(self.conductivity) * (self.amount / self.size**2)[:, None, None]

    def contact(self, number: int, films: Films) -> Contact:
        """What links it to a bath as part `number` of a network; `films` (d,) at the first, the second and all other faces."""
        kind = "contact", *(film.tobytes() for film in films)
        if kind not in self.shared:
            self.shared[kind] = self._met(films)
        led, column, total = self.shared[kind]
        return Contact(number, partial(self._linked, led), self.amount[:, None] * column, self.amount * total, kind[1:])

    def _met(self, films: Films) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of its contact, for an amount of 1: conductance (d, f) of each face, column and total."""
        faces = self.body.faces
        led = np.stack([f.conductance(films[_lies(f.name)], self.conductivity, self.size) for f in faces], axis=1)
        return led, led @ np.stack([face.column for face in faces]), led @ np.array([face.total for face in faces])

    def _linked(self, led: np.ndarray) -> np.ndarray:
        """(d, r, r) what conductances (d, f) to the bath are to the terms."""
        matrices = np.stack([face.matrix for face in self.body.faces])
        found = (self.amount[:, None] * led) @ matrices.reshape(len(matrices), -1)
        return found.reshape(-1, self.body.count, self.body.count)

    def shares(self, films: Films) -> np.ndarray:
        """(d, f) weight of the bath in the value at each face; `films` as for `contact`."""
        found = [face.share(films[_lies(face.name)], self.conductivity, self.size) for face in self.body.faces]
        return np.stack(found, axis=1)

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

    def swollen(self, taken: np.ndarray) -> Meat:
        """After its lean took up `taken` (d,) kg of water, brine side: it keeps its thickness and grows in area."""
        more = 1 + taken / self.held_swelling
        if self.swells.all():
            return self.dried(more)
        grown = np.where(self.swells, more[:, None], 1.0)
        return replace(
            self,
            storage=self.storage * grown,
            conductivity=self.conductivity * grown,
            per_tissue=self.per_tissue * grown,
        )

    def dried(self, left: np.ndarray) -> Meat:
        """With `left` (d,) times the water it had: the piece keeps its thickness, and changes in area."""
        made = replace(self, amount=self.amount * left, per_tissue=self.per_tissue * left[:, None])
        made.__dict__["shared"] = self.shared
        return made


def _lies(face: str) -> int:
    """Which of `Films` a face has. A round piece touches the vessel along a line at most: its side is free."""
    return {"first": 0, "second": 1}.get(face, 2)


def meat_of(piece: Piece, cells: int, few: bool, cases: Cases) -> Meat:
    """A piece in every case: `cells` from a face to the middle, or `few` terms in their place."""
    shape = piece.solid(cases.base)
    tissues = (
        [part for part, _ in piece.layers(cases.base)]
        if shape is None
        else [part for row in shape.tissues for part in row]
    )
    # Lean first: a body in three dimensions counts what tissues store and how they conduct by the first one.
    parts = (
        list(dict.fromkeys(tissues))
        if shape is None
        else sorted(dict.fromkeys(tissues), key=lambda part: part.kind == "fat")
    )
    lean = np.array([part.kind != "fat" for part in parts])
    spread = cases.partition
    density, water = (np.array([getattr(part, name) for part in parts]) for name in ("density", "water"))
    led = np.stack([cases.obstruction(part, piece.frozen_before) for part in parts], axis=1)
    per_tissue = spread[:, None] * water
    storage = per_tissue * density
    body: Body | Solid
    if shape is None:
        # One unit thick, so that another thickness needs no new body.
        layers = piece.layers(cases.base)
        widths, numbers = (
            tuple(width / piece.thickness for _, width in layers),
            tuple(parts.index(part) for part in tissues),
        )
        body = layered(widths, numbers, piece.shape, cells, few, main=int(np.flatnonzero(lean)[0]))
    else:
        ratio = tuple(map(float, storage[0] / storage[0, 0]))
        outline = _outline(shape, parts, piece.thickness, turned=piece.shape == "cylinder")
        body = solid(
            outline,
            ratio,
            _paces(parts, storage[0] / storage[0, 0], piece, cases),
            cells / USUAL_CELLS,
            few,
            int(lean.sum()),
        )
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
        cases.own_salt * amount * (storage @ body.volumes),
    )


def _outline(shape: Shape, parts: Sequence[Tissue], unit: float, turned: bool) -> Outline:
    """A piece in three dimensions in units of its thickness [m], so that another size needs no new body."""

    def told(lengths: Iterable[float]) -> tuple[float, ...]:
        return tuple(round(length / unit, 9) for length in lengths)

    borders, numbers = tuple(map(told, shape.borders)), tuple(tuple(map(parts.index, row)) for row in shape.tissues)
    return Outline(
        told(place - shape.at[0] for place in shape.at), told(shape.thickness), told(shape.width), borders, numbers,
        shape.rounded, tuple(name for name in shape.closed), turned,
    )  # fmt: skip


def _paces(parts: Sequence[Tissue], held: np.ndarray, piece: Piece, cases: Cases) -> tuple[tuple[float, ...], ...]:
    """How the tissues may conduct, over the first: as is usual, and with fat at the ends of what is published; rounded, so that terms that
    are kept serve again.
    """
    middle = Cases(cases.base)
    usual = np.array([float(middle.obstruction(part, piece.frozen_before)[0]) for part in parts])
    ways = [held * usual / usual[0]]
    fat = np.array([part.kind == "fat" for part in parts])
    if fat.any():
        row = cases.base["fat.relative_diffusivity"]
        ways += [np.where(fat, way * end / row.value, way) for way in ways for end in (row.low, row.high)]
    return tuple(tuple(float(f"{each:.2g}") for each in way) for way in ways)
