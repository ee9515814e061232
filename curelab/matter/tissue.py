"""Lean, fat and cooked tissue: composition, density, obstruction to diffusion, and uptake of water."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS, plain, within
from curelab.sources import Numbers, default_numbers, read_table

KINDS = ("lean", "fat", "cooked lean")


@dataclass(frozen=True)
class Tissue:
    """What a region of meat is made of. Fractions in kg per kg of tissue, density in kg/m3 at 4 degC.

    Raises ValueError, naming every fault at once, for fractions that are negative or exceed 1 in sum, an
    unknown kind, a density outside 800 to 1400 kg/m3 or a pH outside 4.5 to 7.5.
    """

    name: str
    kind: str
    species: str
    water: float
    protein: float
    fat: float
    density: float
    ph: float

    def __post_init__(self) -> None:
        faults = []
        if self.kind not in KINDS:
            faults.append(f"kind {self.kind!r} must be one of {', '.join(KINDS)}")
        if not 0.0 < self.water <= 1.0:
            faults.append(f"water {self.water} must be above 0 and at most 1 (kg/kg)")
        for field in ("protein", "fat"):
            if not 0.0 <= getattr(self, field) <= 1.0:
                faults.append(f"{field} {getattr(self, field)} must be 0 to 1 (kg/kg)")
        if not self.water + self.protein + self.fat <= 1.0 + 1e-6:
            faults.append(f"water + protein + fat = {self.water + self.protein + self.fat:.4f} exceeds 1")
        if not 800.0 <= self.density <= 1400.0:
            faults.append(f"density {self.density} must be 800 to 1400 kg/m3")
        if not 4.5 <= self.ph <= 7.5:
            faults.append(f"pH {self.ph} must be 4.5 to 7.5")
        if faults:
            raise ValueError(f"tissue {self.name!r}: " + "; ".join(faults))


def tissue_density(water: float, protein: float, fat: float, temperature: float = ZERO_CELSIUS + 4.0) -> float:
    """Density, kg/m3, of tissue from its composition (kg/kg); what is not water, protein or fat counts as
    ash.

    Volumes add: 1 / sum(fraction / component density). `temperature` in K, 0 to 100 degC. Good to about 3 %.
    Source: Choi & Okos 1986 component densities (`coefficients.csv`).

    >>> round(tissue_density(0.70, 0.20, 0.09))
    1048
    """
    celsius = (
        float(within(temperature, ZERO_CELSIUS, ZERO_CELSIUS + 100.0, "temperature (K)", "unfrozen tissue only"))
        - ZERO_CELSIUS
    )
    ash = max(0.0, 1.0 - water - protein - fat)
    volume = 0.0
    for component, fraction in (("water", water), ("protein", protein), ("fat", fat), ("ash", ash)):
        terms = _DENSITY_TERMS[component]
        volume += fraction / (terms["a"] + terms["b"] * celsius + terms["c"] * celsius**2)
    return 1.0 / volume


def _density_terms() -> dict[str, dict[str, float]]:
    terms: dict[str, dict[str, float]] = {}
    for row in read_table("coefficients.csv"):
        relation, _, component = row["relation"].partition(".")
        if relation == "component_density":
            terms.setdefault(component, {})[row["term"]] = float(row["value"])
    return terms


_DENSITY_TERMS = _density_terms()

# name -> (kind, species); composition comes from the rows tissue.<name>.*, acidity from ph.<species>
_KINDS = {
    "lean beef": ("lean", "beef"),
    "lean pork": ("lean", "pork"),
    "brisket flat": ("lean", "beef"),
    "brisket point": ("lean", "beef"),
    "pork loin": ("lean", "pork"),
    "beef fat": ("fat", "beef"),
    "pork fat": ("fat", "pork"),
    "cooked brisket": ("cooked lean", "beef"),
}


def tissue(name: str, numbers: Numbers | None = None) -> Tissue:
    """The tissue of that name, with composition and pH from published numbers and density computed from them.

    Raises KeyError listing the names for an unknown one. Sources: rows `tissue.*` and `ph.*`.

    >>> tissue("brisket flat").water
    0.6989
    """
    if name not in _KINDS:
        raise KeyError(f"no tissue {name!r}; choose from {', '.join(_KINDS)}")
    numbers = numbers or default_numbers()
    kind, species = _KINDS[name]
    key = f"tissue.{name.replace(' ', '_')}"
    water, protein, fat = (numbers.si(f"{key}.{part}") for part in ("water", "protein", "fat"))
    return Tissue(
        name,
        kind,
        species,
        water,
        protein,
        fat,
        tissue_density(water, protein, fat),
        numbers.si(f"ph.{species}"),
    )


TISSUES: dict[str, Tissue] = {name: tissue(name) for name in _KINDS}


def cooked(raw: Tissue) -> Tissue:
    """The same lean once cooked: composition kept, structure opened. Fat stays fat; no water loss here."""
    return replace(raw, kind="cooked lean") if raw.kind == "lean" else raw


def obstruction(tissue: Tissue, numbers: Numbers | None = None, frozen_thawed: bool = False) -> float:
    """Diffusivity of salt in the tissue over that in free water at the same temperature (no unit).

    Wide: for raw lean the published values leave a factor of three open. Beef and pork share one value, and
    fibre direction is not distinguished, since no paired measurement was found. `frozen_thawed` applies to
    raw tissue only. Sources: rows `obstruction.*`, `fat.relative_diffusivity`, `frozen_thawed.multiplier`.

    >>> obstruction(TISSUES["lean beef"])
    0.33
    """
    numbers = numbers or default_numbers()
    if tissue.kind == "cooked lean":
        return numbers.si("obstruction.cooked")
    value = numbers.si("obstruction.lean")
    if tissue.kind == "fat":
        value *= numbers.si("fat.relative_diffusivity")
    if frozen_thawed:
        value *= numbers.si("frozen_thawed.multiplier")
    return value


def partition(numbers: Numbers | None = None) -> float:
    """Salt per water in meat over salt per water in brine at equilibrium (no unit).

    Source: row `partition.water_phase`.
    """
    return (numbers or default_numbers()).si("partition.water_phase")


FULL_UPTAKE = 0.02  # strength from which a brine moves water as its row says; between it and water, in proportion
CHANGE_NODES = ("2", "5", "10", "15", "17.7", "25")  # % by weight of brine; one row of numbers.csv each


def water_change(brine_strength: ArrayLike, numbers: Numbers | None = None) -> float | NDArray[np.float64]:
    """Net water taken up (+) or given off (-) at equilibrium, kg per kg green weight.

    `brine_strength` is the mass fraction of salt in the brine at equilibrium, 0 to 0.265, scalar or array.
    Piecewise linear through the rows `water_change.at_*`, held level above 25 %; the band is
    +-`water_change.band`. A piece that has gone only part of the way to salt equilibrium has gone about the
    same part of this. Raises ValueError out of range.

    >>> round(water_change(0.10), 3)
    0.08
    """
    numbers = numbers or default_numbers()
    advice = "give kg salt per kg brine, at most saturation"
    strength = within(brine_strength, 0.0, 0.265, "brine strength", advice)
    nodes = [0.0] + [float(node) / 100.0 for node in CHANGE_NODES]
    values = [0.0] + [numbers.si(f"water_change.at_{node}") for node in CHANGE_NODES]
    return plain(np.interp(strength, nodes, values))


def water_change_band(numbers: Numbers | None = None) -> float:
    """Half-width of the band on `water_change`, kg per kg green weight."""
    return (numbers or default_numbers()).si("water_change.band")
