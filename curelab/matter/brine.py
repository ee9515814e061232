"""Properties of salt (NaCl) brine and the several ways of saying how strong it is.

Throughout, `x` is kg salt per kg of brine and `T` is in K; scalars or arrays that broadcast. Only NaCl is
counted: sugar and curing agents are left out of every relation here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS, kelvin, plain, within
from curelab.matter.solutes import SOLUTES
from curelab.sources import read_table

Result = float | NDArray[np.float64]

SIXTY_FAHRENHEIT = 288.7056
"""The temperature (K) at which salometers are read."""

_WATER_MOLAR_MASS = 0.0180153  # kg/mol, the value the osmotic coefficient is defined with


def _coefficients(relation: str) -> dict[str, float]:
    return {row["term"]: float(row["value"]) for row in read_table("coefficients.csv") if row["relation"] == relation}


def _nodes(table: str, x: str, y: str, keep: str = "model") -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rows = sorted((float(row[x]), float(row[y])) for row in read_table(table) if row["role"] == keep)
    array = np.array(rows)
    return array[:, 0], array[:, 1]


_DENSITY = _coefficients("brine_density")
_PITZER = _coefficients("osmotic_coefficient")
SALOMETER_SCALES: dict[str, float] = {
    name: percent / 100.0 for name, percent in _coefficients("salometer_full_scale").items()
}
"""Scale name -> mass fraction that reads 100 degrees. "60F" is the usual one; others must be named."""

_SOLUBILITY_T, _SOLUBILITY_PERCENT = _nodes("solubility.csv", "temperature_C", "mass_percent")
_FREEZING_PERCENT, _FREEZING_C = _nodes("freezing.csv", "mass_percent", "freezing_point_C")
EUTECTIC = float(_FREEZING_PERCENT[-1]) / 100.0
"""Mass fraction above which cooling a brine throws salt, not ice (Salt Institute: 23.31 % at -21.12 degC)."""

_BRINE_VISCOSITY = sorted(
    (float(row["mass_percent"]), float(row["viscosity_mPa_s"]))
    for row in read_table("viscosity.csv")
    if float(row["temperature_C"]) == 20.0
)
_WATER_VISCOSITY = sorted(
    (float(row["temperature_C"]), float(row["viscosity_mPa_s"]))
    for row in read_table("viscosity.csv")
    if float(row["mass_percent"]) == 0.0
)


STRONGEST = 0.264  # mass fraction up to which the relations hold: a hair above saturation at room temperature


def _fraction(x: ArrayLike, high: float = STRONGEST) -> NDArray[np.float64]:
    return within(x, 0.0, high, "salt mass fraction", "give kg salt per kg brine (5 % is 0.05)")


def molality(x: ArrayLike) -> Result:
    """mol NaCl per kg water, from the mass fraction (0 to 0.285). Raises ValueError out of range."""
    fraction = _fraction(x, 0.285)
    return plain(fraction / (1.0 - fraction) / SOLUTES["salt"].molar_mass)


def density(x: ArrayLike, T: ArrayLike) -> Result:
    """Density of brine, kg/m3, for x 0 to 0.264 and T 273.15 to 313.15 K. Raises ValueError out of range.

    Polynomial fitted to Rogers & Pitzer 1982 (within 1.2e-4) and a 1974 handbook (within 2.7e-4);
    coefficients in `coefficients.csv`.

    >>> round(density(0.10, 293.15), 1)
    1070.7
    """
    w = 100.0 * _fraction(x)
    t = kelvin(T, 0.0, 40.0) - ZERO_CELSIUS
    total = 0.0 * w * t
    for term, value in _DENSITY.items():
        power_w, power_t = term[1:].split("T")
        total = total + value * w ** int(power_w) * t ** int(power_t)
    return plain(total)


def water_activity(x: ArrayLike, T: ArrayLike = 298.15) -> Result:
    """Water activity (no unit) of brine, x 0 to 0.265, by the Pitzer & Mayorga 1973 osmotic coefficient at 25
    degC.

    T is accepted from 273.15 to 313.15 K and does not enter. By the phreeqc Pitzer database that costs
    little: at 5 degC the true activity is higher by less than 0.002 up to 10 % of salt and by less than
    0.004 at any strength; at 25 degC the two agree within 1e-3. In meat, other solutes lower it by another
    half percent or so. Raises ValueError out of range.

    >>> round(water_activity(0.10), 3)
    0.935
    """
    fraction, _ = np.broadcast_arrays(_fraction(x, 0.265), kelvin(T, 0.0, 40.0))
    m = np.asarray(molality(fraction))
    root = np.sqrt(m)
    p = _PITZER
    phi = (
        1.0
        - p["A_phi"] * root / (1.0 + p["b"] * root)
        + m * (p["beta0"] + p["beta1"] * np.exp(-p["alpha"] * root))
        + p["C_phi"] * m**2
    )
    return plain(np.exp(-2.0 * phi * m * _WATER_MOLAR_MASS))


def freezing_point(x: ArrayLike) -> Result:
    """Temperature, K, at which ice begins to form, x 0 to 0.2331 (the eutectic). Raises ValueError beyond.

    The depression per molality is interpolated in x between handbook nodes (`freezing.csv`, role "model"),
    which is smooth where the depression itself bends. Handbooks differ by some 5 % of the depression at the
    weak end.

    >>> round(freezing_point(0.10) - 273.15, 2)
    -6.56
    """
    fraction = within(
        x,
        0.0,
        EUTECTIC,
        "salt mass fraction",
        "a stronger brine throws salt before ice; ask solubility(T) instead",
    )
    nodes = _FREEZING_PERCENT[1:] / 100.0
    per_molality = -_FREEZING_C[1:] / np.asarray(molality(nodes))
    return plain(ZERO_CELSIUS - np.interp(fraction, nodes, per_molality) * np.asarray(molality(fraction)))


def solubility(T: ArrayLike) -> Result:
    """Mass fraction of salt in saturated brine, T 252.03 to 373.15 K. Raises ValueError out of range.

    Linear between the rows of `solubility.csv` (Salt Institute); below 0.1 degC the solid is the dihydrate
    and the straight line to the eutectic is an assumption.

    >>> round(solubility(277.15), 4)
    0.2633
    """
    celsius = kelvin(T, float(_SOLUBILITY_T[0]), 100.0) - ZERO_CELSIUS
    return plain(np.interp(celsius, _SOLUBILITY_T, _SOLUBILITY_PERCENT) / 100.0)


def viscosity(x: ArrayLike, T: ArrayLike) -> Result:
    """Dynamic viscosity, Pa s, x 0 to 0.264 and T 273.15 to 298.15 K. Raises ValueError out of range.

    The 20 degC handbook table (`viscosity.csv`; last segment carried from 25 to 26.4 %), scaled by the
    viscosity of water. At 20 degC good to 1.5 %; at 5 degC strong brine comes out up to 4 % too high, since
    the ratio to water falls a little in the cold.

    >>> round(1000 * viscosity(0.10, 293.15), 3)
    1.193
    """
    fraction = _fraction(x)
    inverse = 1.0 / kelvin(T, 0.0, 25.0)
    percent, brine = np.array(_BRINE_VISCOSITY).T
    celsius, water = np.array(_WATER_VISCOSITY).T
    slope = np.log(brine[-1] / brine[-2]) / (percent[-1] - percent[-2])
    log_brine = np.interp(100.0 * fraction, percent, np.log(brine))
    log_brine = log_brine + slope * np.maximum(100.0 * fraction - percent[-1], 0.0)
    log_water = np.interp(inverse, (1.0 / (celsius + ZERO_CELSIUS))[::-1], np.log(water)[::-1])
    return plain(1e-3 * np.exp(log_brine - np.log(brine[0]) + log_water))


# ---- strength: the several ways of saying it
# -------------------------------------------------------------------

STRENGTH_UNITS = ("% of brine", "% of water", "g/L of brine", "g/L of water", "salometer")


def _full_scale(scale: str) -> float:
    if scale not in SALOMETER_SCALES:
        raise KeyError(f"no salometer scale {scale!r}; choose from {', '.join(SALOMETER_SCALES)}")
    return SALOMETER_SCALES[scale]


def from_strength(value: ArrayLike, unit: str, T: ArrayLike = SIXTY_FAHRENHEIT, scale: str = "60F") -> Result:
    """Mass fraction x from a strength in one of STRENGTH_UNITS.

    "g/L" needs the temperature T (K, 273.15 to 313.15) at which the litre is measured; "salometer" needs the
    name of the scale (SALOMETER_SCALES), since instruments differ. "g/L of brine" counts litres of finished
    brine, "g/L of water" litres of water before the salt goes in. Raises KeyError for an unknown unit or
    scale, ValueError for a strength that is negative or above 28.5 % of brine (saturation at the boil).

    >>> round(from_strength(10.0, "% of water"), 4)
    0.0909
    """
    amount = np.asarray(value, dtype=float)
    if unit == "% of brine":
        x = amount / 100.0
    elif unit == "% of water":
        x = amount / (100.0 + amount)
    elif unit == "g/L of water":
        x = amount / (np.asarray(density(0.0, T)) + amount)
    elif unit == "salometer":
        x = amount / 100.0 * _full_scale(scale)
    elif unit == "g/L of brine":
        top = np.asarray(density(STRONGEST, T)) * STRONGEST
        within(amount / top, 0.0, 1.0, "grams per litre over the most brine can hold,", "use less salt")
        x = amount / np.asarray(density(0.0, T))
        for _ in range(60):  # x -> c / density(x) contracts about fivefold each time
            x = amount / np.asarray(density(np.minimum(x, STRONGEST), T))
    else:
        raise KeyError(f"no strength unit {unit!r}; choose from {', '.join(STRENGTH_UNITS)}")
    return plain(_fraction(x, 0.285))


def to_strength(x: ArrayLike, unit: str, T: ArrayLike = SIXTY_FAHRENHEIT, scale: str = "60F") -> Result:
    """A mass fraction x (0 to 0.285) in one of STRENGTH_UNITS; the inverse of `from_strength`, same errors.

    >>> round(to_strength(0.26395, "salometer"), 1)
    100.0
    """
    fraction = _fraction(x, 0.285)
    if unit == "% of brine":
        return plain(100.0 * fraction)
    if unit == "% of water":
        return plain(100.0 * fraction / (1.0 - fraction))
    if unit == "g/L of water":
        return plain(np.asarray(density(0.0, T)) * fraction / (1.0 - fraction))
    if unit == "g/L of brine":
        return plain(np.asarray(density(fraction, T)) * fraction)
    if unit == "salometer":
        return plain(100.0 * fraction / _full_scale(scale))
    raise KeyError(f"no strength unit {unit!r}; choose from {', '.join(STRENGTH_UNITS)}")
