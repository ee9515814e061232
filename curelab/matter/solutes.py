"""What dissolves and moves: salt, sugar, nitrate and nitrite. Diffusivity in water, ratios, nitrite loss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS, kelvin, plain, within
from curelab.sources import Numbers, default_numbers
from curelab.units import HOUR

if TYPE_CHECKING:
    from curelab.matter.tissue import Tissue

WATER_NODES = (3, 5, 10, 20, 25, 40, 65, 80, 100)  # degC; one row of numbers.csv each
STORAGE_RANGE = (ZERO_CELSIUS, ZERO_CELSIUS + 20.0)
"""Temperatures (K) over which the nitrite loss models rest on anything measured."""


@dataclass(frozen=True)
class Solute:
    """A dissolved substance: formula as weighed and molar mass in kg/mol."""

    name: str
    formula: str
    molar_mass: float
    label: str


def molar_mass(formula: str, numbers: Numbers | None = None) -> float:
    """Molar mass (kg/mol) of a formula such as "NaNO2" or "C12H22O11", from standard atomic weights.

    Raises KeyError for an element that has no row in the published numbers.

    >>> round(1000 * molar_mass("NaNO2"), 3)
    68.995
    """
    numbers = numbers or default_numbers()
    total, position = 0.0, 0
    while position < len(formula):
        end = position + 1
        while end < len(formula) and formula[end].islower():
            end += 1
        digits = end
        while digits < len(formula) and formula[digits].isdigit():
            digits += 1
        total += numbers.si(f"molar.{formula[position:end]}") * int(formula[end:digits] or 1)
        position = digits
    return total


SOLUTES: dict[str, Solute] = {
    name: Solute(name, formula, molar_mass(formula), label)
    for name, formula, label in (
        ("salt", "NaCl", "salt"),
        ("sugar", "C12H22O11", "sugar (sucrose)"),
        ("nitrate", "NaNO3", "nitrate (as sodium nitrate)"),
        ("nitrite", "NaNO2", "nitrite (as sodium nitrite)"),
    )
}


def water_diffusivity(temperature: ArrayLike, numbers: Numbers | None = None) -> float | NDArray[np.float64]:
    """Diffusivity of NaCl in free water, m2/s, at `temperature` (K, scalar or any shape; result has the same
    shape).

    Linear in log D against 1/T between nine published nodes at 3 to 100 degC; the first segment is carried
    down to -5 degC. Infinite dilution: strong brine is up to 8 % slower. Raises ValueError outside -5 to 100
    degC. Source: rows `water.salt_diffusivity.*` (ion conductivities, scaled with the viscosity of water).

    >>> f"{water_diffusivity(276.15):.3g}"
    '8.2e-10'
    """
    numbers = numbers or default_numbers()
    kelvins = kelvin(temperature, -5.0, 100.0)
    inverse = 1.0 / (np.array(WATER_NODES) + ZERO_CELSIUS)
    logs = np.log([numbers.si(f"water.salt_diffusivity.{node}C") for node in WATER_NODES])
    wanted = 1.0 / kelvins
    result = np.interp(wanted, inverse[::-1], logs[::-1])
    slope = (logs[1] - logs[0]) / (inverse[1] - inverse[0])
    result = np.where(wanted > inverse[0], logs[0] + slope * (wanted - inverse[0]), result)
    return plain(np.exp(result))


def ratio(solute: str, numbers: Numbers | None = None) -> float:
    """Diffusivity of a solute over that of salt in the same medium (no unit; salt is 1).

    Raises KeyError for a name that is not in SOLUTES. Sources: rows `ratio.*`.
    """
    if solute not in SOLUTES:
        raise KeyError(f"no solute {solute!r}; choose from {', '.join(SOLUTES)}")
    return 1.0 if solute == "salt" else (numbers or default_numbers()).si(f"ratio.{solute}")


def diffusivity(
    solute: str,
    temperature: ArrayLike,
    tissue: str | Tissue,
    numbers: Numbers | None = None,
    frozen_thawed: bool = False,
) -> float | NDArray[np.float64]:
    """Diffusivity of a solute in a tissue, m2/s, at `temperature` (K, scalar or any shape; result has the same shape).

    The ratio of the solute times the tissue's own diffusivity where it has one, else times the obstruction of the tissue and the
    diffusivity in free water. Raises KeyError for an unknown solute or tissue, ValueError outside -5 to 100 degC.

    >>> f"{diffusivity('salt', 276.15, 'lean beef'):.3g}"
    '2.71e-10'
    >>> from curelab.matter.tissue import Tissue
    >>> loin = Tissue(name="loin", water="72 %", protein="22 %", fat="5 %", diffusivity="2.2e-10 m2/s", measured_at="5 degC")
    >>> f"{diffusivity('salt', 278.15, loin):.3g}", f"{diffusivity('salt', 283.15, loin):.3g}"
    ('2.2e-10', '2.6e-10')
    """
    from .tissue import obstruction
    from .tissue import tissue as named  # which needs the diffusivity in water from here

    kelvins, part = kelvin(temperature, -5.0, 100.0), named(tissue, numbers)
    if part.diffusivity is not None:
        return plain(ratio(solute, numbers) * part.own(kelvins, lambda t: np.asarray(water_diffusivity(t, numbers))))
    pace = ratio(solute, numbers) * obstruction(part, numbers, frozen_thawed)
    return plain(pace * np.asarray(water_diffusivity(kelvins, numbers)))


@dataclass(frozen=True)
class LossModel:
    """A named choice of nitrite loss kinetics, with what it rests on."""

    name: str
    summary: str
    how: str
    source: str
    keys: tuple[str, ...]


LOSS_MODELS: dict[str, LossModel] = {
    model.name: model
    for model in (
        LossModel(
            "nordin",
            "First-order loss; half-life falls with temperature and rises with pH. Fitted to heat-processed "
            "ham in storage. A faster loss in the first day is not in it.",
            "memory",
            "Nordin 1969, Can Inst Food Technol J 2:79",
            ("nitrite.nordin.constant", "nitrite.nordin.per_degC", "nitrite.nordin.per_ph"),
        ),
        LossModel(
            "takagi",
            "First-order loss with one half-life of four to five days in raw refrigerated meat, whatever the "
            "temperature and pH.",
            "derived",
            "Takagi et al. 1970, equal colour after different waits",
            ("nitrite.takagi.half_life",),
        ),
        LossModel(
            "first day",
            "A part is lost within a day of going in, here at once, and from then on as by Nordin; in a brine as well, where it is not known. "
            "Read of factory products that were cooked within that day, so it is a bound for whole pieces, and no choice of ours.",
            "second-hand",
            "Merino et al. 2016, Food Addit Contam A 33:186, by a summary of its figure 1",
            ("nitrite.first_day.left", "nitrite.nordin.constant", "nitrite.nordin.per_degC", "nitrite.nordin.per_ph"),
        ),
        LossModel(
            "none",
            "No loss: nitrite is carried as added.",
            "judgement",
            "a bound, not a description of meat",
            (),
        ),
    )
}


def _loss_model(name: str) -> LossModel:
    if name not in LOSS_MODELS:
        raise KeyError(f"no nitrite loss model {name!r}; choose from {', '.join(LOSS_MODELS)}")
    return LOSS_MODELS[name]


def nitrite_loss_rate(
    temperature: ArrayLike, ph: ArrayLike, model: str = "nordin", numbers: Numbers | None = None
) -> float | NDArray[np.float64]:
    """First-order rate, 1/s, at which free nitrite disappears in lean meat (scalars or arrays that
    broadcast).

    `temperature` in K, -5 to 100 degC; `ph` 4.5 to 7.5. Loss kinetics are poorly known: the choices in
    LOSS_MODELS differ threefold, and `nitrite.loss_multiplier` carries that spread. Away from storage
    temperatures the answer is extrapolated; `loss_caution` says so in words. Raises KeyError for an unknown
    model, ValueError out of range.

    >>> import math
    >>> round(math.log(2) / nitrite_loss_rate(277.15, 5.6) / 86400, 1)  # half-life in days
    13.5
    """
    numbers = numbers or default_numbers()
    chosen = _loss_model(model).name
    kelvins, acidity = np.broadcast_arrays(
        kelvin(temperature, -5.0, 100.0), within(ph, 4.5, 7.5, "pH", "meat lies between 5.3 and 6.8")
    )
    if chosen == "none":
        return plain(np.zeros(kelvins.shape))
    if chosen == "takagi":
        half_life = np.full(kelvins.shape, numbers.si("nitrite.takagi.half_life"))
    else:
        exponent = (
            numbers.si("nitrite.nordin.constant")
            + numbers.si("nitrite.nordin.per_degC") * (kelvins - ZERO_CELSIUS)
            + numbers.si("nitrite.nordin.per_ph") * acidity
        )
        half_life = HOUR * 10.0**exponent
    return plain(numbers.si("nitrite.loss_multiplier") * np.log(2.0) / half_life)


def left_at_first(model: str, numbers: Numbers | None = None) -> float:
    """Share of the nitrite that goes in which outlasts the first day, by a loss model: 1 where it has no fast first day.

    >>> left_at_first("nordin"), left_at_first("first day")
    (1.0, 0.35)
    """
    name = _loss_model(model).name
    return (numbers or default_numbers()).si("nitrite.first_day.left") if name == "first day" else 1.0


def loss_caution(temperature: float, ph: float, model: str) -> str | None:
    """One sentence if the loss model is used outside what it rests on, else None (temperature in K)."""
    chosen = _loss_model(model).name
    if chosen == "none":
        return "Nitrite loss is switched off, so free nitrite is the most it could be, not what to expect."
    low, high = STORAGE_RANGE
    if not low <= temperature <= high:
        return (
            f"The {chosen} nitrite loss is extrapolated to {temperature - ZERO_CELSIUS:.0f} degC; it "
            f"rests on refrigerated and room storage, 0 to 20 degC, and underrates the loss in cooking."
        )
    if chosen != "takagi" and not 5.3 <= ph <= 6.8:
        return f"The {chosen} nitrite loss is extrapolated to pH {ph:.1f}; meat lies between 5.3 and 6.8."
    return None


_NITRITE_FORMULAS = {"NO2 ion": "NO2", "NaNO2": "NaNO2", "KNO2": "KNO2"}


def nitrite_as(
    amount: ArrayLike, given: str = "NO2 ion", wanted: str = "NaNO2", numbers: Numbers | None = None
) -> float | NDArray[np.float64]:
    """Re-express a nitrite amount (any mass unit, kept) between "NO2 ion", "NaNO2" and "KNO2" by molar mass.

    Raises KeyError for another name. European limits are on the ion, United States limits on the sodium salt.

    >>> round(nitrite_as(80.0))
    120
    """
    for name in (given, wanted):
        if name not in _NITRITE_FORMULAS:
            raise KeyError(f"no nitrite basis {name!r}; choose from {', '.join(_NITRITE_FORMULAS)}")
    numbers = numbers or default_numbers()
    factor = molar_mass(_NITRITE_FORMULAS[wanted], numbers) / molar_mass(_NITRITE_FORMULAS[given], numbers)
    return plain(np.asarray(amount, dtype=float) * factor)
