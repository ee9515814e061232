"""Lean, fat and cooked tissue: composition, density, obstruction to diffusion, and uptake of water."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab import units
from curelab.fields import (
    Choice,
    InputError,
    Problem,
    Record,
    Rule,
    Words,
    from_plain,
    quantity,
    refuse,
    ruled,
    to_plain,
)
from curelab.matter.ranges import ZERO_CELSIUS, plain, within
from curelab.matter.solutes import water_diffusivity
from curelab.sources import Numbers, default_numbers, read_table

KINDS = ("lean", "fat", "cooked lean")
SPECIES = ("beef", "pork")
MEASURED_AT = ZERO_CELSIUS + 3.0  # where a diffusivity holds unless another temperature is said
GAS_CONSTANT = 8.314462618  # J/(mol K), exact by definition of the kelvin and the mole
_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*")


@dataclass(frozen=True)
class Measured(Rule):
    """A number in a unit that no cook uses: `units` maps how it may be written to its factor, the first is the one it is kept in."""

    what: str
    units: tuple[tuple[str, float], ...]
    low: float
    high: float
    example: str

    def read(self, given: Any, strict: bool) -> float:
        unit, like = self.units[0][0], f'write it like "{self.example}"'
        factors = dict(self.units)
        if hasattr(given, "to") and hasattr(given, "magnitude"):
            try:
                given = given.to(unit.replace("2/", "**2/")).magnitude
            except Exception:  # of pint, which is not loaded here
                raise refuse("", f"{given} is not {self.what}; {like}") from None
        if isinstance(given, str):
            found = _NUMBER.fullmatch(given)
            if found is None or found[2] not in factors:
                raise refuse("", f'"{given}" is not {self.what}; {like}')
            value = float(found[1]) * factors[found[2]]
        elif strict or isinstance(given, bool) or not isinstance(given, (int, float, np.number)):
            raise refuse("", f"{given!r} is not {self.what} with its unit; {like}")
        else:
            value = float(given)
        if not (math.isfinite(value) and self.low <= value <= self.high):
            raise refuse(
                "", f"{value:.4g} {unit} is out of range ({self.low:g} to {self.high:g} {unit}); check number and unit"
            )
        return value

    def write(self, value: float, system: str) -> str:
        return f"{value!r} {self.units[0][0]}"


_DIFFUSIVITY = Measured(
    "a diffusivity",
    (("m2/s", 1.0), ("m^2/s", 1.0), ("m²/s", 1.0), ("cm2/s", 1e-4), ("mm2/s", 1e-6)),
    1e-13,
    5e-9,
    "2.2e-10 m2/s",
)
_ENERGY = Measured("an activation energy", (("kJ/mol", 1.0), ("J/mol", 1e-3)), 0.0, 100.0, "22 kJ/mol")


class Tissue(Record):
    """What a region of meat is made of, and how fast salt moves in it if that was measured.

    water, protein, fat: kg per kg of tissue. ph: None takes the usual one of the species. diffusivity [m2/s]: of salt in this tissue at
    `measured_at` [K, 3 degC if not said]; None takes the published obstruction times the diffusivity in water. activation_energy [kJ/mol]:
    how it grows with temperature; None lets it grow as the diffusivity in water does. The other solutes keep their ratio to salt.
    Raises InputError with every problem at once.

    >>> loin = Tissue(name="my loin", species="pork", water="72 %", protein="22 %", fat="5 %",
    ...               diffusivity="2.2e-10 m2/s", measured_at="5 degC")
    >>> loin.diffusivity, round(loin.density)
    (2.2e-10, 1057)
    """

    name: str = ruled(Words(60))
    kind: str = ruled(Choice(KINDS), "lean")
    species: str = ruled(Choice(SPECIES), "beef")
    water: float = quantity("fraction", "1 %", "100 %", "take it from a table of foods; raw lean has near 73 %")
    protein: float = quantity("fraction", "0 %", "100 %", "take it from a table of foods; raw lean has near 21 %")
    fat: float = quantity("fraction", "0 %", "100 %", "take it from a table of foods")
    ph: float | None = quantity("plain", "4.5", "7.5", "raw meat lies near 5.6", default=None)
    diffusivity: float | None = ruled(_DIFFUSIVITY, None)
    measured_at: float | None = quantity("temperature", "-5 degC", "100 degC", "say how warm it was", default=None)
    activation_energy: float | None = ruled(_ENERGY, None)

    def conflicts(self):
        total = self.water + self.protein + self.fat
        if total > 1.0 + 1e-6:
            yield Problem(
                "water", f"water, protein and fat add up to {100 * total:.4g} %, more than the whole; check the table"
            )
        if self.diffusivity is None:
            for name in ("measured_at", "activation_energy"):
                if getattr(self, name) is not None:
                    yield Problem(name, "only goes with a diffusivity; give that too, or leave this out")
        elif self.diffusivity > (most := float(water_diffusivity(self.reference))):
            yield Problem(
                "diffusivity",
                f"{self.diffusivity:.3g} m2/s is more than in free water at {units.show(self.reference, 'temperature')} ({most:.2g}); "
                "check the power of ten and `measured_at`",
            )

    @cached_property
    def density(self) -> float:
        """kg/m3 at 4 degC, from the composition."""
        return tissue_density(self.water, self.protein, self.fat)

    @property
    def reference(self) -> float:
        """K at which the diffusivity holds."""
        return MEASURED_AT if self.measured_at is None else self.measured_at

    def own(self, kelvin: Any, water: Callable[[Any], Any]) -> Any:
        """m2/s of salt at `kelvin` (any shape), for a tissue with a diffusivity; `water`: that in free water as a function of K."""
        if self.activation_energy is None:
            return self.diffusivity * (water(kelvin) / water(np.full_like(kelvin, self.reference)))
        slope = 1e3 * self.activation_energy / GAS_CONSTANT
        return self.diffusivity * np.exp(-slope * (1.0 / np.asarray(kelvin) - 1.0 / self.reference))

    def __str__(self) -> str:
        return self.name


class TissueRule(Choice):
    """The name of a published tissue, or a Tissue (in a file a table of its fields); a piece is not made of fat alone."""

    def read(self, given, strict):
        if isinstance(given, str):
            return super().read(given, strict)
        made = given if isinstance(given, Tissue) else from_plain(Tissue, given)
        if made.kind == "fat":
            raise InputError([Problem("kind", "a piece is made of lean; give its fat as fat_cap")])
        return made

    def write(self, value, system):
        return value if isinstance(value, str) else to_plain(value, system)


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


def tissue(name: str | Tissue, numbers: Numbers | None = None) -> Tissue:
    """The tissue of that name, with composition and pH from published numbers and density computed from them; a Tissue as it is.

    Raises KeyError listing the names for an unknown one. Sources: rows `tissue.*` and `ph.*`.

    >>> tissue("brisket flat").water
    0.6989
    """
    if isinstance(name, Tissue):
        return name
    if name not in _KINDS:
        raise KeyError(f"no tissue {name!r}; choose from {', '.join(_KINDS)}")
    numbers = numbers or default_numbers()
    kind, species = _KINDS[name]
    key = f"tissue.{name.replace(' ', '_')}"
    water, protein, fat = (numbers.si(f"{key}.{part}") for part in ("water", "protein", "fat"))
    return _made(name, kind, species, water, protein, fat, numbers.si(f"ph.{species}"))


@lru_cache(maxsize=256)
def _made(name: str, kind: str, species: str, water: float, protein: float, fat: float, ph: float) -> Tissue:
    """Made once: a piece asks for its tissue many times."""
    return Tissue(name=name, kind=kind, species=species, water=water, protein=protein, fat=fat, ph=ph)


TISSUES: dict[str, Tissue] = {name: tissue(name) for name in _KINDS}


def obstruction(tissue: Tissue, numbers: Numbers | None = None, frozen_thawed: bool = False) -> float:
    """Diffusivity of salt in the tissue over that in free water at the same temperature (no unit).

    Wide: for raw lean the published values leave a factor of three open. Beef and pork share one value, and
    fibre direction is not distinguished, since no paired measurement was found. `frozen_thawed` applies to
    raw tissue only, and not to one with a diffusivity of its own. Sources: rows `obstruction.*`, `fat.relative_diffusivity`, `frozen_thawed.multiplier`.

    >>> obstruction(TISSUES["lean beef"])
    0.33
    """
    numbers = numbers or default_numbers()
    if tissue.diffusivity is not None:
        return tissue.diffusivity / float(water_diffusivity(tissue.reference, numbers))
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
MOST_DRAWN = 0.2  # of the green weight: the most water that a cook may say was drawn, and that salt draws here
CHANGE_NODES = ("2", "5", "10", "15", "17.7", "25")  # % by weight of brine; one row of numbers.csv each


def water_change(brine_strength: ArrayLike, numbers: Numbers | None = None) -> float | NDArray[np.float64]:
    """Net water taken up (+) or given off (-) at equilibrium, kg per kg green weight.

    `brine_strength` is the mass fraction of salt in the brine at equilibrium, 0 to 0.265, scalar or array.
    Piecewise linear from none at the salt of raw meat through the rows `water_change.at_*`, held level above 25 %; the band is
    +-`water_change.band`. A piece that has gone only part of the way to salt equilibrium has gone about the
    same part of this. Raises ValueError out of range.

    >>> round(water_change(0.10), 3)  # the row water_change.at_10
    0.008
    """
    numbers = numbers or default_numbers()
    advice = "give kg salt per kg brine, at most saturation"
    strength = within(brine_strength, 0.0, 0.265, "brine strength", advice)
    return plain(np.interp(strength, *water_curve(numbers)))


def own_salt(numbers: Numbers | None = None) -> float:
    """Salt per water of raw meat, kg/kg: its sodium, counted as salt; fat has as much in its water (belly: 0.87 mg of sodium per g of water,
    lean ham 0.75).

    Sources: rows `meat.own_sodium`, `tissue.lean_beef.water`, `molar.*`.

    >>> round(own_salt(), 5)
    0.00208
    """
    numbers = numbers or default_numbers()
    as_salt = 1 + numbers.si("molar.Cl") / numbers.si("molar.Na")
    return as_salt * numbers.si("meat.own_sodium") / numbers.si("tissue.lean_beef.water")


def water_curve(numbers: Numbers) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The corners of `water_change`: strengths from that of raw meat up, and the water change there, kg per kg green weight."""
    raw = own_salt(numbers)
    nodes = [raw / (1 + raw)] + [float(node) / 100.0 for node in CHANGE_NODES]
    values = [0.0] + [numbers.si(f"water_change.at_{node}") for node in CHANGE_NODES]
    return np.array(nodes), np.array(values)


def most_swollen(numbers: Numbers | None = None) -> float:
    """Salt per water, kg/kg, at which lean holds most water: the row of `water_change` with the greatest value."""
    numbers = numbers or default_numbers()
    values = {float(node) / 100.0: numbers.si(f"water_change.at_{node}") for node in CHANGE_NODES}
    strength = max(values, key=lambda node: values[node])
    return strength / (1 - strength)


def drawn_by(salt: ArrayLike, green: ArrayLike, numbers: Numbers | None = None) -> Any:
    """kg of water that dry salt draws out of meat in a sealed cure, from kg of salt and kg of raw meat (scalars or arrays).

    In proportion to the salt, so that three thirds draw what the whole does; at most MOST_DRAWN of the meat. Source: row `purge.per_salt`.

    >>> round(float(drawn_by(0.03, 1.0)), 3)
    0.045
    """
    per_salt = (numbers or default_numbers()).si("purge.per_salt")
    return np.minimum(per_salt * np.asarray(salt), MOST_DRAWN * np.asarray(green))[()]


def water_change_band(numbers: Numbers | None = None) -> float:
    """Half-width of the band on `water_change`, kg per kg green weight."""
    return (numbers or default_numbers()).si("water_change.band")
