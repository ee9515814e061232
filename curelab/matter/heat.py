"""Heat in meat: what a volume stores and how it conducts, from composition and temperature; water vapour at a wet skin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS
from curelab.matter.tissue import Tissue
from curelab.sources import default_numbers, read_table

if TYPE_CHECKING:
    from curelab.sources import Numbers

COMPONENTS = ("water", "protein", "fat", "ash")
DRY_AIR = (
    1006.0  # J/(kg K), of air; with VAPOUR and LATENT from the psychrometric relations of the ASHRAE handbook (memory)
)
VAPOUR = 1860.0  # J/(kg K), of water vapour
LATENT, LATENT_SLOPE = 2.501e6, 2326.0  # J/kg at 0 degC, and how much less for each K
LIQUID = 4186.0  # J/(kg K), of water
PRESSURE = 101325.0  # Pa
LIGHTER = 0.621945  # kg of vapour over kg of air at the same pressure and temperature
# Hyland and Wexler 1983, ln of the pressure in Pa against K (memory; tests hold it against steam tables).
_SATURATION = (-5800.2206, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)


def _terms(relation: str) -> dict[str, NDArray[np.float64]]:
    rows = [row for row in read_table("coefficients.csv") if row["relation"].startswith(f"component_{relation}.")]
    return {
        name: np.array([float(row["value"]) for row in rows if row["relation"].endswith(f".{name}")])
        for name in COMPONENTS
    }


_DENSITY, _CONDUCTIVITY, _HEAT = (_terms(relation) for relation in ("density", "conductivity", "heat"))


def thermal(
    part: Tissue, kelvin: ArrayLike, numbers: Numbers | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(conductivity in W/(m K), heat stored in J/(m3 K)) of unfrozen tissue at `kelvin` (any shape).

    Density and heat add up over the components; conductivity lies between its two bounds, components side by side and one behind the
    other, at the share `heat.parallel`. What is neither water, protein nor fat counts as ash. Source: Choi & Okos 1986
    (`coefficients.csv`), for -40 to 150 degC.

    >>> from curelab.matter.tissue import TISSUES
    >>> conductivity, stored = thermal(TISSUES["lean beef"], 293.15)
    >>> f"{float(conductivity):.3f} {float(conductivity / stored):.3g}"
    '0.466 1.22e-07'
    """
    numbers = numbers or default_numbers()
    celsius = np.asarray(kelvin, dtype=float) - ZERO_CELSIUS
    powers = np.stack([np.ones_like(celsius), celsius, celsius**2], axis=-1)
    shares = {"water": part.water, "protein": part.protein, "fat": part.fat}
    shares["ash"] = max(0.0, 1.0 - sum(shares.values()))
    volume = {name: share / (powers @ _DENSITY[name]) for name, share in shares.items()}
    whole = np.sum(list(volume.values()), axis=0)
    heat = sum(share * 1e3 * (powers @ _HEAT[name]) for name, share in shares.items())
    led = {name: powers @ _CONDUCTIVITY[name] for name in COMPONENTS}
    along = sum(volume[name] / whole * led[name] for name in COMPONENTS)
    across = 1.0 / sum(volume[name] / whole / led[name] for name in COMPONENTS)
    share = np.asarray(numbers.si("heat.parallel"))
    return share * along + (1 - share) * across, heat * sum(shares.values()) / whole


def saturation(kelvin: ArrayLike) -> Any:
    """Pressure of saturated water vapour, Pa, 0 to 200 degC.

    >>> round(float(saturation(373.15)), -2)
    101400.0
    """
    warm = np.asarray(kelvin, dtype=float)
    over, constant, first, second, third, log = _SATURATION
    return np.exp(over / warm + constant + first * warm + second * warm**2 + third * warm**3 + log * np.log(warm))


def moisture(pressure: ArrayLike) -> Any:
    """kg of vapour per kg of dry air where the vapour has this pressure [Pa]; capped just below pure steam."""
    partial = np.minimum(np.asarray(pressure, dtype=float), 0.98 * PRESSURE)
    return LIGHTER * partial / (PRESSURE - partial)


def latent(kelvin: ArrayLike) -> Any:
    """Heat of evaporation of water, J/kg."""
    return LATENT - LATENT_SLOPE * (np.asarray(kelvin, dtype=float) - ZERO_CELSIUS)


def moisture_of(dry: ArrayLike, *, humidity: float | None = None, wet: float | None = None) -> Any:
    """kg of vapour per kg of dry air in air of dry-bulb temperature `dry` [K], from its relative humidity or its wet bulb [K]; neither: dry air."""
    warm = np.asarray(dry, dtype=float)
    if humidity is not None:
        return moisture(humidity * saturation(warm))
    if wet is None:
        return np.zeros_like(warm)
    top = moisture(saturation(wet))
    gained = latent(wet) * top - DRY_AIR * (warm - wet)
    return np.maximum(
        gained / (latent(ZERO_CELSIUS) + VAPOUR * (warm - ZERO_CELSIUS) - LIQUID * (wet - ZERO_CELSIUS)), 0.0
    )


def wet_skin(dry: ArrayLike, held: ArrayLike, bare: ArrayLike = 0.0) -> Any:
    """K at which a wet surface settles in air at `dry` [K] that holds `held` kg of vapour per kg of dry air, when a share `bare` of the heat
    transfer takes no vapour along, for it is radiation or meets dry skin; with none it is close to the wet bulb.

    Heat and vapour are taken to leave the same layer of air (Lewis number 1).

    >>> round(float(wet_skin(273.15 + 95, 0.03)) - 273.15, 0)
    42.0
    """
    warm, moist, share = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (dry, held, bare)))
    low, high = np.full(warm.shape, ZERO_CELSIUS - 20.0), np.minimum(warm, ZERO_CELSIUS + 99.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        gains = (warm - middle) > cooling(middle, moist, share)
        low, high = np.where(gains, middle, low), np.where(gains, high, middle)
    return 0.5 * (low + high)


def cooling(skin: ArrayLike, held: ArrayLike, bare: ArrayLike) -> Any:
    """K: heat that evaporation takes from a wet skin [K], over the heat transfer coefficient; negative where vapour condenses on it."""
    air = DRY_AIR + VAPOUR * np.asarray(held, dtype=float)
    rises = moisture(saturation(skin)) - held
    return (1 - np.asarray(bare)) * latent(skin) / air * rises
