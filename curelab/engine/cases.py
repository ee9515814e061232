"""What differs from one case to the next: published numbers and conditions of the kitchen, one value for each of d cases.

Without anything drawn there is one case, the usual one. Whatever depends on a number is asked for here and comes back as an array over
the cases, so that the rest of the engine is written once.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np

from ..matter import solutes, tissue
from ..matter.tissue import GAS_CONSTANT
from ..recipe.piece import Piece
from ..sources import Numbers, to_si

WATER_PER_VOLUME = 1000.0  # kg of water in a cubic metre of the still layer at a face
FILM_TEMPERATURE = 276.15  # K at which the published film coefficients and obstructions are taken
MOST_OFF = 0.4  # of the thickness: the most that a ruler can be wrong
KELVIN = (268.15, 373.15)  # range of the diffusivities and of the loss
FILMS = ("simmer", "bag_in_water", "steam", "ice_water", "fridge_air", "moving_air", "smoke", "oven")
CONDITIONS = (
    "activation energy", "water uptake", "temperature", "meat weight", "water weight", "salt weight", "cure weight",
)  # fmt: skip
NUMBERS = (
    "obstruction.lean", *(f"ratio.{name}" for name in solutes.SOLUTES if name != "salt"), "fat.relative_diffusivity",
    "frozen_thawed.multiplier", "partition.water_phase", "nitrite.loss_multiplier", "nitrite.takagi.half_life",
    "nitrite.first_day.left",
    "ph.beef", "ph.pork", "film.stirred", "film.still", "film.contact", "purge.per_salt",
    "obstruction.cooked", "heat.parallel", "heat.radiant", "heat.wet_skin", "heat.wetness", "juice.width",
    *(f"heat.film.{name}" for name in FILMS),
)  # fmt: skip
AT_ONCE = 40_000  # numbers that are worked on at once, so that they stay near the processor
THICKNESS = "thickness of "
OF_PIECES = (THICKNESS, "width of ", "ruler place of ")  # mm; each with the name of a piece behind it


class Cases:
    """d cases of a batch. `base`: the published numbers; `columns`: values (d,) of what is drawn, in printed units: numbers by their key,
    CONDITIONS, and those OF_PIECES. Raises ValueError for anything else.
    """

    def __init__(self, base: Numbers, columns: Mapping[str, np.ndarray] | None = None):
        self.base = base
        self.columns = {key: np.asarray(column, dtype=float) for key, column in (columns or {}).items()}
        unknown = [key for key in self.columns if key not in (*NUMBERS, *CONDITIONS) and not key.startswith(OF_PIECES)]
        if unknown:
            raise ValueError(
                f"{', '.join(unknown)} cannot differ from draw to draw; what can is {', '.join((*NUMBERS, *CONDITIONS))} and "
                f"{', '.join(f'{stem}...' for stem in OF_PIECES)}"
            )
        shapes = {column.shape for column in self.columns.values()} or {(1,)}
        if len(shapes) > 1 or len(next(iter(shapes))) != 1:
            raise ValueError(f"every input of a draw needs one value for each draw, and here are {sorted(shapes)}")
        self.count = next(iter(shapes))[0]
        self._drawn: dict[str, np.ndarray] = {}
        self._paces: dict[bytes, np.ndarray] = {}
        for key in NUMBERS:
            if key in self.columns:
                zero, one = (to_si(value, base[key].unit) for value in (0.0, 1.0))
                self._drawn[key] = zero + (one - zero) * self.columns[key]

    def full(self, value: Any) -> np.ndarray:
        """(d,) of a number or a column."""
        column = np.asarray(value, dtype=float)
        return column if column.shape == (self.count,) else np.full(self.count, column)

    def condition(self, key: str) -> np.ndarray:
        """(d,) of one of CONDITIONS: a factor of 1, or nothing added, where it is not drawn."""
        return self.full(self.columns.get(key, 1.0 if key.endswith(" weight") else 0.0))

    def si(self, key: str) -> Any:
        """A published number in SI, as a float or (d,): `Cases` can stand where functions of matter want `Numbers`."""
        value = self.base.si(key)
        # A copy, because callers written for floats multiply in place.
        return self._drawn[key].copy() if key in self._drawn else value

    def number(self, key: str) -> np.ndarray:
        """(d,) of a published number in SI."""
        return self.full(self.si(key))

    @cached_property
    def warmer(self) -> np.ndarray:
        """(d,) K above what was planned."""
        return self.condition("temperature")

    def water_diffusivity(self, kelvin: np.ndarray) -> np.ndarray:
        """(d, k) m2/s of salt in free water at `kelvin` (d, k)."""
        known = kelvin.tobytes()  # many stretches are as warm as another
        if known not in self._paces:
            self._paces[known] = self._water_diffusivity(np.clip(kelvin, *KELVIN))
        return self._paces[known].reshape(kelvin.shape)

    def _water_diffusivity(self, kelvin: np.ndarray) -> np.ndarray:
        found = np.asarray(solutes.water_diffusivity(kelvin, self.base))
        if "activation energy" not in self.columns:
            return found
        offset = self.columns["activation energy"][:, None]
        return found * np.exp(-1e3 * offset / GAS_CONSTANT * (1 / kelvin - 1 / FILM_TEMPERATURE))

    def ratio(self, solute: str) -> np.ndarray:
        """(d,) pace of a solute over that of salt."""
        return self.full(solutes.ratio(solute, self))  # type: ignore[arg-type]

    def film(self, kind: str) -> np.ndarray:
        """(d,) conductance per area and clock of the layer at a face: "still", "stirred" or "contact" (lying on a wall).

        A film coefficient is a layer of water, `D_water / thickness`, so it moves with temperature and solute as diffusion does.
        """
        return WATER_PER_VOLUME * self.number(f"film.{kind}") / self._water_at_film

    @cached_property
    def _water_at_film(self) -> float:
        return float(solutes.water_diffusivity(FILM_TEMPERATURE, self.base))

    def obstruction(self, part: tissue.Tissue, frozen_before: bool) -> np.ndarray:
        """(d,) pace of salt in a tissue over that in free water; of one with a diffusivity of its own, where that was measured."""
        if part.diffusivity is not None:
            return part.diffusivity / self.water_diffusivity(self.full(part.reference)[:, None])[:, 0]
        return self.full(tissue.obstruction(part, self, frozen_before))  # type: ignore[arg-type]

    @property
    def partition(self) -> np.ndarray:
        """(d,) salt per water in meat over salt per water in brine at equilibrium."""
        return self.full(tissue.partition(self))  # type: ignore[arg-type]

    def size(self, piece: Piece) -> np.ndarray:
        """(d,) factor on every length of a piece, from how far the ruler was off: that which moves its slowest pace as much as an error in
        its thickness, its width, and the place where it was measured do together.
        """
        off = sum(
            weight * self.full(self.columns[key]) * 1e-3
            for stem, weight in zip(OF_PIECES, piece.ruler(), strict=True)
            if weight and (key := f"{stem}{piece.name}") in self.columns
        )
        return 1.0 + np.clip(self.full(off), -MOST_OFF, MOST_OFF)

    def loss_rate(self, kelvin: np.ndarray, piece: Piece, model: str) -> np.ndarray:
        """1/s (d, k) at which free nitrite is lost in a piece at `kelvin` (d, k)."""
        acid = self.full(piece.acidity(self.base))
        if piece.known_ph is None:
            acid = self.number(f"ph.{piece.species}")
        rate = np.asarray(solutes.nitrite_loss_rate(np.clip(kelvin, *KELVIN), acid[:, None], model, self.base))
        for key, power in (("nitrite.loss_multiplier", 1), ("nitrite.takagi.half_life", -1)):
            if key in self._drawn and (power > 0 or model == "takagi"):
                rate = rate * ((self._drawn[key] / self.base.si(key)) ** power)[:, None]
        return rate

    def left_at_first(self, model: str) -> np.ndarray:
        """(d,) share of the nitrite that goes in which outlasts its first day."""
        return self.full(solutes.left_at_first(model, self))  # type: ignore[arg-type]

    @cached_property
    def own_salt(self) -> np.ndarray:
        """(d,) salt per water, brine side, of raw meat, kg/kg: what its sodium comes to."""
        return tissue.own_salt(self.base) / self.partition

    def water_held(self, w: np.ndarray) -> np.ndarray:
        """(d, ...) water that lean holds beyond what it held raw, of the green weight, where there is so much salt per water, w (d, ...); less
        than in raw meat takes away what as much more would bring.
        """
        raw, bends = self._water_bends
        found = np.empty(w.shape)
        if not w.size:
            return found
        ends = np.array([w.min(), w.max()])
        reach = np.abs(ends / (1 + ends) - raw).max()
        straight = sum(bend for node, bend in bends if node >= reach)  # nothing bends so near
        step = max(1, AT_ONCE * len(w) // w.size)
        for block in (slice(begin, begin + step) for begin in range(0, len(w), step)):

            def each(bend: Any, block: slice = block) -> Any:
                return bend if np.ndim(bend) == 0 else bend[block].reshape(-1, *(1,) * (w.ndim - 1))

            strength, held = w[block] / (1 + w[block]), found[block]
            strength -= raw
            np.multiply(strength, each(straight), out=held)
            part = np.empty_like(strength)
            for node, bend in bends:
                if node < reach:
                    np.clip(strength, -node, node, out=part)
                    part *= each(bend)
                    held += part
        return found

    @cached_property
    def _water_bends(self) -> tuple[float, list[tuple[float, Any]]]:
        """The strength of raw meat; how far beyond it the curve of water held bends, and by how much its slope falls there, a number or (d,):
        level beyond the last bend. A sum over bends is quicker than looking up.
        """
        strength, held = tissue.water_curve(self.base)
        beyond, slopes = strength - strength[0], np.append(np.diff(held) / np.diff(strength), 0.0)
        bends: dict[float, Any] = dict(zip(beyond[1:].tolist(), (-np.diff(slopes)).tolist(), strict=True))
        if "water uptake" in self.columns:
            full = tissue.FULL_UPTAKE - float(strength[0])
            bends[full] = bends.get(full, 0.0) + 0.01 / full * self.condition("water uptake")
        return float(strength[0]), list(bends.items())

    @cached_property
    def most_swollen(self) -> float:
        """Salt per water at which lean holds most water."""
        return tissue.most_swollen(self.base)

    def most_held(self) -> np.ndarray:
        """(d,) the most water that lean holds beyond what it held raw, of the green weight."""
        return self.water_held(self.full(self.most_swollen))

    def factors(self) -> dict[str, np.ndarray]:
        """Factors (d,) on what is weighed: water, salt, sugar, nitrate, nitrite."""
        salt, cure, water = (self.condition(f"{what} weight") for what in ("salt", "cure", "water"))
        return {"water": water, "salt": salt, "sugar": self.full(1.0), "nitrate": cure, "nitrite": cure}
