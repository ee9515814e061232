"""Solutes against ion conductivities, viscosity tables, printed limits and their own refusals."""

import math

import numpy as np
import pytest

from curelab.matter.solutes import (
    LOSS_MODELS,
    SOLUTES,
    loss_caution,
    molar_mass,
    nitrite_as,
    nitrite_loss_rate,
    ratio,
    water_diffusivity,
)
from curelab.sources import default_numbers, read_table

ION = {
    entry["solute"]: float(entry["D_m2_s"])
    for entry in read_table("diffusivity.csv")
    if entry["basis"] == "tracer, infinite dilution"
}


def nernst_hartley(cation: str, anion: str) -> float:
    return 2.0 * ION[cation] * ION[anion] / (ION[cation] + ION[anion])


def test_salt_diffusivity_at_25_degc_follows_from_the_ions() -> None:
    """Nernst-Hartley on ion diffusivities from Landolt 1960 conductivities (Kirk, table 2.3): 1.607e-9
    m2/s."""
    assert nernst_hartley("Na+", "Cl-") == pytest.approx(1.607e-9, rel=1e-3)
    assert water_diffusivity(298.15) == pytest.approx(nernst_hartley("Na+", "Cl-"), rel=5e-3)


@pytest.mark.parametrize("celsius", [0.0, 10.0, 20.0])
def test_salt_diffusivity_scales_with_temperature_over_viscosity(celsius: float) -> None:
    """Stokes-Einstein scaling with water viscosities of viscosity.csv (petroleum engineering handbook)."""
    water = {
        float(entry["temperature_C"]): float(entry["viscosity_mPa_s"])
        for entry in read_table("viscosity.csv")
        if float(entry["mass_percent"]) == 0.0
    }
    kelvin = celsius + 273.15
    expected = 1.607e-9 * kelvin / 298.15 * water[25.0] / water[celsius]
    assert water_diffusivity(kelvin) == pytest.approx(expected, rel=0.01)


def test_water_diffusivity_takes_arrays_and_is_smooth_and_rising() -> None:
    kelvin = np.linspace(268.15, 373.15, 211).reshape(211, 1)
    values = water_diffusivity(kelvin)
    assert values.shape == (211, 1)
    steps = np.diff(np.log(values[:, 0]))
    assert np.all(steps > 0.0)
    assert np.all(np.diff(steps) < 0.1 * steps[:-1])  # no jump where one segment meets the next
    assert isinstance(water_diffusivity(280.0), float)


@pytest.mark.parametrize("kelvin", [4.0, 267.0, 374.0, math.nan])
def test_water_diffusivity_refuses_what_it_does_not_cover(kelvin: float) -> None:
    with pytest.raises(ValueError, match="kelvin"):
        water_diffusivity(kelvin)


def test_nitrite_and_nitrate_ratios_stay_below_free_water() -> None:
    """In free water the sodium salts go at 0.976 and 0.974 of NaCl; meat cannot favour them over that."""
    for name, anion in (("nitrite", "NO2-"), ("nitrate", "NO3-")):
        free = nernst_hartley("Na+", anion) / nernst_hartley("Na+", "Cl-")
        assert free == pytest.approx(0.975, rel=5e-3)
        assert 0.3 <= ratio(name) <= free
    assert ratio("salt") == 1.0
    assert ratio("sugar") < ratio("nitrite")
    with pytest.raises(KeyError, match="sugar"):
        ratio("pepper")


def test_lean_default_lies_among_the_measured_diffusivities() -> None:
    """Pork loin at 5 degC 1.62e-10 to 2.18e-10 (Springer 2015 ch. 47), pork 3e-10 to 7e-10 (Hansen 2008)."""
    value = default_numbers().si("obstruction.lean") * water_diffusivity(278.15)
    numbers = default_numbers()
    assert numbers["rival.lean_diffusivity.springer"].si_high < value
    assert value < numbers["rival.lean_diffusivity.hansen"].si_low


@pytest.mark.parametrize(
    "formula, grams",
    # standard atomic weights summed by hand; NaCl 58.4428 is printed by the Salt Institute, sucrose 342.30
    # on labels
    [("NaCl", 58.4428), ("NaNO2", 68.995), ("NaNO3", 84.994), ("KNO2", 85.103), ("C12H22O11", 342.30)],
)
def test_molar_masses(formula: str, grams: float) -> None:
    assert 1000.0 * molar_mass(formula) == pytest.approx(grams, rel=2e-5)


def test_solute_table() -> None:
    assert list(SOLUTES) == ["salt", "sugar", "nitrate", "nitrite"]
    assert SOLUTES["nitrite"].molar_mass == pytest.approx(0.068995, rel=1e-6)
    with pytest.raises(KeyError):
        molar_mass("XeF4")


def test_nitrite_bases_agree_with_printed_limits() -> None:
    """EU 2023/2108: 80 and 55 mg/kg of ion are 120 and 82.5 of NaNO2; 9 CFR 424.22(b): 120 NaNO2 is 148
    KNO2."""
    assert round(nitrite_as(80.0)) == 120
    assert round(nitrite_as(55.0), 1) == 82.5
    assert round(nitrite_as(120.0, "NaNO2", "KNO2")) == 148
    assert nitrite_as(nitrite_as(7.0, "KNO2", "NO2 ion"), "NO2 ion", "KNO2") == pytest.approx(7.0, rel=1e-12)
    with pytest.raises(KeyError, match="NaNO2"):
        nitrite_as(1.0, "NO3 ion")


def test_nordin_rate_doubles_as_the_paper_is_quoted() -> None:
    """Nordin 1969 as quoted: the rate doubles per 12 degC or per 0.86 pH unit."""
    base = nitrite_loss_rate(277.15, 5.6)
    assert nitrite_loss_rate(289.15, 5.6) / base == pytest.approx(2.0, rel=5e-3)
    assert base / nitrite_loss_rate(277.15, 6.46) == pytest.approx(2.0, rel=5e-3)


def test_nordin_half_life_is_in_hours() -> None:
    """Nordin's relation gives hours: at 0 degC, log10 of them is the constant plus the pH term, by hand."""
    constant, per_ph = (default_numbers()[f"nitrite.nordin.{name}"].value for name in ("constant", "per_ph"))
    hours = math.log(2.0) / nitrite_loss_rate(273.15, 6.0) / 3600.0
    assert math.log10(hours) == pytest.approx(constant + 6.0 * per_ph, rel=1e-9)


def test_takagi_half_life_agrees_with_the_equal_colour_doses() -> None:
    """Takagi 1970: 0.025 % needed after 7 d for the colour of 0.010 % at once; 0.015 to 0.018 % after 3 d."""
    rate = nitrite_loss_rate(277.15, 5.6, "takagi")
    assert pytest.approx(math.exp(-rate * 7 * 86400), rel=0.2) == 0.010 / 0.025
    assert 0.010 / 0.018 < math.exp(-rate * 3 * 86400) < 0.010 / 0.015


def test_loss_models_differ_as_much_as_their_spread_says() -> None:
    numbers = default_numbers()["nitrite.loss_multiplier"]
    apart = nitrite_loss_rate(277.15, 5.6, "takagi") / nitrite_loss_rate(277.15, 5.6, "nordin")
    assert numbers.low is not None and numbers.high is not None
    assert 1.0 < apart <= 1.02 * numbers.high
    assert numbers.low * numbers.high == pytest.approx(1.0, rel=0.02)


def test_loss_rate_broadcasts_and_every_parameter_moves_it() -> None:
    assert nitrite_loss_rate(np.full((3, 1), 277.15), np.array([5.4, 5.8])).shape == (3, 2)
    assert nitrite_loss_rate(277.15, 5.6, "none") == 0.0
    for name, model in LOSS_MODELS.items():
        moved = [key for key in model.keys if key != "nitrite.first_day.left"]  # which is lost before any rate
        for key in (*moved, *(["nitrite.loss_multiplier"] if model.keys else [])):
            shifted = default_numbers().with_values({key: 1.1 * default_numbers()[key].value})
            assert nitrite_loss_rate(277.15, 5.6, name, shifted) != nitrite_loss_rate(277.15, 5.6, name), key


def test_loss_refusals_and_cautions() -> None:
    with pytest.raises(KeyError, match="takagi"):
        nitrite_loss_rate(277.15, 5.6, "magic")
    with pytest.raises(ValueError, match="pH"):
        nitrite_loss_rate(277.15, 2.0)
    assert loss_caution(277.15, 5.6, "nordin") is None
    assert "70 degC" in str(loss_caution(343.15, 5.6, "takagi"))
    assert "pH 7.0" in str(loss_caution(277.15, 7.0, "nordin"))
    assert "switched off" in str(loss_caution(277.15, 5.6, "none"))
