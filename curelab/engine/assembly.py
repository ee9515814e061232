"""From meat on the table to nodes and links: the only place where pieces and stages meet the network.

The unknown of every node is w, kg of solute per kg of water on the brine side, so that w is equal everywhere at equilibrium. A cell
of meat stores `partition * water * w`. The clock of the network is the diffusion clock of the solute in free water,
`ratio(solute) * integral of D_water(T) dt` in m2: obstruction, films and geometry then belong to the network, and every solute and
every temperature runs on the same one.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..bodies.chain import Chain, Layer, build
from ..matter import solutes
from ..matter.tissue import obstruction, partition
from ..recipe.piece import Piece
from ..recipe.stages import Log
from ..sources import Numbers
from ..transport.network import Contact, Network, assemble, face_share

WATER_PER_VOLUME = 1000.0  # kg of water in a cubic metre of the still layer at a face
FILM_TEMPERATURE = 276.15  # K at which the published film coefficients are taken


@dataclass(frozen=True)
class Body:
    """One piece cut into cells.

    chain: its cells, capacities in kg of water times partition; lean (n,): which cells are lean; tissue_mass (n,): kg of green meat
    in each; place: depth [m] of the core from the first face (slab) or from the middle; core (n,): weights that read the core.
    """

    piece: Piece
    chain: Chain
    lean: np.ndarray
    tissue_mass: np.ndarray
    partition: float
    place: float
    core: np.ndarray
    mirrored: bool

    def dried(self, share: float) -> Body:
        """The same body after it has given up this share of its water."""
        chain = self.chain.scaled(self.chain.capacity.sum() * (1 - share))
        return Body(
            self.piece, chain, self.lean, self.tissue_mass, self.partition, self.place, self.core, self.mirrored
        )


def body_of(piece: Piece, cells: int, halves_alike: bool, numbers: Numbers) -> Body:
    """Cut a piece into `cells` from a face to the middle: as many for a half slab or a round piece, twice as many for a whole slab."""
    layers = piece.layers(numbers)
    spread = partition(numbers)
    mirrored = halves_alike and piece.symmetric and piece.shape == "slab"
    shape = "half slab" if mirrored else piece.shape
    widths = [width for _, width in layers]
    parts = [part for part, _ in layers]
    if mirrored:
        # From the middle outwards: half of the lean, then the cap if there is one.
        middle = len(layers) // 2
        parts, widths = parts[middle:], [widths[middle] / 2, *widths[middle + 1 :]]
    counts = _share_out(cells if shape != "slab" else 2 * cells, widths, [part.kind != "fat" for part in parts])
    chain = build(
        [
            Layer(
                width,
                spread * part.density * part.water,
                spread * part.density * part.water * obstruction(part, numbers, piece.frozen_before),
                count,
            )
            for part, width, count in zip(parts, widths, counts, strict=True)
        ],
        shape,
    )
    chain = chain.scaled(spread * piece.water(numbers))
    lean = np.array([part.kind != "fat" for part in parts])[chain.layer]
    density = np.array([part.density * part.water for part in parts])[chain.layer]
    mass = chain.capacity / spread / density * np.array([part.density for part in parts])[chain.layer]
    place = _core(chain, lean, shape)
    return Body(piece, chain, lean, mass, spread, place, _read_at(chain, lean, place), mirrored)


def _share_out(cells: int, widths: list[float], lean: list[bool]) -> list[int]:
    """Cells for each layer: a sixth, at least six, for a cap; the rest for the lean."""
    cap = min(max(6, cells // 6), (cells - 2) // len(widths))  # few cells are shared out evenly
    return [cells - cap * (len(widths) - 1) if is_lean else cap for is_lean in lean]


def _core(chain: Chain, lean: np.ndarray, shape: str) -> float:
    """The place in the lean that both faces reach with equal resistance: the middle, or nearer to a face that is capped."""
    if shape != "slab":
        return 0.0
    steps = np.concatenate([[1 / chain.half[0]], 1 / chain.inner, [1 / chain.half[1]]])
    from_first = np.cumsum(steps)[:-1]
    inside = np.flatnonzero(lean)
    place = float(np.interp(0.5 * steps.sum(), from_first, chain.centres))
    return float(np.clip(place, chain.edges[inside[0]], chain.edges[inside[-1] + 1]))


def _read_at(chain: Chain, lean: np.ndarray, place: float) -> np.ndarray:
    """Weights (n,) that read the value at `place` from the lean cells near it: a parabola, level at a middle or a blocked face."""
    inside = np.flatnonzero(lean)
    x = chain.centres[inside]
    weights = np.zeros(len(lean))
    if place <= x[0] or place >= x[-1]:
        near = inside[:2] if place <= x[0] else inside[-1:-3:-1]
        # Level there, so a parabola in the squared distance through the two nearest cells.
        a, b = (chain.centres[near] - place) ** 2
        weights[near] = b / (b - a), -a / (b - a)
        return weights
    nearest = np.sort(np.argsort(np.abs(x - place), kind="stable")[:4])
    for i in nearest:
        others = [j for j in nearest if j != i]
        weights[inside[i]] = np.prod([(place - x[j]) / (x[i] - x[j]) for j in others])
    return weights


@dataclass(frozen=True)
class Wiring:
    """A network of bodies, in order, and one bath; and how the value at each face mixes bath and outermost cell."""

    network: Network
    slices: tuple[slice, ...]
    bath: int
    face_shares: tuple[tuple[float, float], ...]


def film(kind: str, numbers: Numbers) -> float:
    """Conductance per area and clock of the layer at a face: "still", "stirred" or "contact" (lying on a wall).

    A film coefficient is a layer of water, `D_water / thickness`, so it moves with temperature and solute as diffusion does.
    """
    return WATER_PER_VOLUME * numbers.si(f"film.{kind}") / float(solutes.water_diffusivity(FILM_TEMPERATURE, numbers))


def wire(bodies: tuple[Body, ...], bath_water: float, faces: tuple[float, float] | None) -> Wiring:
    """Bodies in one bath. `faces`: conductance per area at the first and second face; None: sealed, every piece alone."""
    contacts = []
    for number, body in enumerate(bodies):
        if faces is not None:
            round_body = body.chain.area[0] == 0  # it touches the vessel along a line at most: its one face is free
            contacts += [
                Contact(number, face, 0, max(faces) if round_body else faces[face])
                for face in (0, 1)
                if body.chain.area[face] > 0
            ]
    network = assemble([body.chain for body in bodies], [bath_water], contacts)
    starts = np.cumsum([0] + [len(body.chain.capacity) for body in bodies])
    shares = {(contact.chain, contact.face): face_share(bodies[contact.chain].chain, contact) for contact in contacts}
    return Wiring(
        network,
        tuple(slice(int(a), int(b)) for a, b in itertools.pairwise(starts)),
        int(starts[-1]),
        tuple((shares.get((n, 0), 0.0), shares.get((n, 1), 0.0)) for n in range(len(bodies))),
    )


@dataclass(frozen=True)
class Clock:
    """Diffusion clock of salt in free water, m2, against time, for a temperature that may change."""

    knots: np.ndarray
    kelvin: np.ndarray
    readings: np.ndarray
    numbers: Numbers

    @classmethod
    def of(cls, log: Log, length: float, numbers: Numbers) -> Clock:
        """Straight lines between the points of the log, level before the first and after the last; 0 to `length` s."""
        times = np.array([time for time, _ in log])
        kelvin = np.array([value for _, value in log])
        inside = times[(times > 0) & (times < length)]
        ends = np.concatenate([[0.0], inside, [length]])
        steps = np.maximum(1, np.ceil(np.abs(np.diff(np.interp(ends, times, kelvin))) / 0.5)).astype(int)
        knots = np.concatenate(
            [[0.0], *[np.linspace(a, b, n + 1)[1:] for a, b, n in zip(ends, ends[1:], steps, strict=False)]]
        )
        at_knots = np.interp(knots, times, kelvin)
        middle = solutes.water_diffusivity(0.5 * (at_knots[1:] + at_knots[:-1]), numbers)
        edge = np.asarray(solutes.water_diffusivity(at_knots, numbers))
        readings = np.concatenate([[0.0], np.cumsum(np.diff(knots) * (edge[1:] + edge[:-1] + 4 * middle) / 6)])
        return cls(knots, at_knots, readings, numbers)

    def __call__(self, time: np.ndarray) -> np.ndarray:
        """Reading [m2] at times [s]; between knots (at most 0.5 K apart) the rate is taken as even."""
        if self.steady:  # the same reading however long the clock was made for
            return self.rate * np.asarray(time)
        return np.interp(time, self.knots, self.readings)

    def temperature(self, time: np.ndarray) -> np.ndarray:
        return np.interp(time, self.knots, self.kelvin)

    @cached_property
    def steady(self) -> bool:
        return bool(np.ptp(self.kelvin) == 0)

    @cached_property
    def rate(self) -> float:
        """m2/s at the first temperature."""
        return float(solutes.water_diffusivity(float(self.kelvin[0]), self.numbers))
