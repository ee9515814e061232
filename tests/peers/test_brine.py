"""Brine relations against independent libraries that compute them in the same run; federal amounts.

phreeqc (US Geological Survey, Pitzer database), CoolProp (incompressible brine INCOMP::MNA), aquasol
(published formulas for NaCl solutions). Each runs here; no stored answer of theirs is used.
"""

import json

import numpy as np
import pytest

from curelab.matter import brine
from curelab.matter.solutes import nitrite_as, water_diffusivity
from curelab.sources import read_table

PERCENTS = np.array([0.1, 0.5, 1.0, 2.0, 3.5, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5, 20.0, 22.5, 25.0, 26.0])


def phreeqc_rows(percents: np.ndarray, celsius: float) -> np.ndarray:
    """(n, 2): water activity and viscosity in mPa s of NaCl brines, from the Pitzer database."""
    import phreeqc  # here and below: each is loaded where it is asked, not by every worker that collects

    engine = phreeqc.Phreeqc()
    engine.SetErrorFileOn(False)
    assert engine.LoadBuiltInDatabase("pitzer.dat") == 0
    blocks = []
    for number, percent in enumerate(percents, start=1):
        molality = 1000.0 * percent / (100.0 - percent) / 58.4428
        blocks.append(
            f"SOLUTION {number}\n temp {celsius}\n units mol/kgw\n Na {molality:.10f}\n Cl {molality:.10f} charge\n"
        )
    punch = (
        "USER_PUNCH\n -headings aw eta\n 10 PUNCH ACT('H2O')\n 20 PUNCH VISCOS\n"
        "SELECTED_OUTPUT\n -reset false\n -user_punch true\n -high_precision true\n"
    )
    assert engine.RunString(punch + "".join(blocks) + "END\n") == 0, engine.GetErrorString()
    columns = engine.GetSelectedOutputColumnCount()
    names = [engine.GetSelectedOutputValue(0, column) for column in range(columns)]
    wanted = [names.index("aw"), names.index("eta")]
    rows = range(1, engine.GetSelectedOutputRowCount())
    return np.array([[float(engine.GetSelectedOutputValue(row, column)) for column in wanted] for row in rows])


def props(*asked: object) -> float:
    """What CoolProp says of a fluid."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI(*asked)


def test_water_activity_against_phreeqc() -> None:
    peer = phreeqc_rows(PERCENTS, 25.0)[:, 0]
    assert len(peer) == len(PERCENTS)
    np.testing.assert_allclose(brine.water_activity(PERCENTS / 100.0), peer, rtol=0.0, atol=1e-3)
    # the lowering 1 - aw is what matters in weak brine, where 1e-3 absolute would prove nothing
    np.testing.assert_allclose(1.0 - brine.water_activity(PERCENTS / 100.0), 1.0 - peer, rtol=5e-3)


def test_water_activity_hardly_moves_with_temperature() -> None:
    """The claim in the docstring: at 5 degC higher by less than 0.002 up to 10 %, by less than 0.004
    anywhere."""
    rise = phreeqc_rows(PERCENTS, 5.0)[:, 0] - phreeqc_rows(PERCENTS, 25.0)[:, 0]
    assert np.max(np.abs(rise[PERCENTS <= 10.0])) < 2e-3
    assert 2e-3 < np.max(rise) < 4e-3


@pytest.mark.parametrize("celsius, tolerance", [(20.0, 0.02), (5.0, 0.045)])
def test_viscosity_against_phreeqc(celsius: float, tolerance: float) -> None:
    peer = 1e-3 * phreeqc_rows(PERCENTS, celsius)[:, 1]
    np.testing.assert_allclose(brine.viscosity(PERCENTS / 100.0, celsius + 273.15), peer, rtol=tolerance)


@pytest.mark.parametrize("celsius", [0.5, 5.0, 10.0, 15.56, 20.0, 30.0, 39.5])
def test_density_against_coolprop(celsius: float) -> None:
    """INCOMP::MNA reaches to 23 % of salt."""
    for percent in PERCENTS[PERCENTS <= 22.5]:
        peer = props("D", "T", celsius + 273.15, "P", 101325.0, f"INCOMP::MNA[{percent / 100.0}]")
        assert brine.density(percent / 100.0, celsius + 273.15) == pytest.approx(peer, rel=5e-4), percent


@pytest.mark.parametrize("celsius", [10.0, 15.56, 20.0, 30.0, 40.0])
def test_density_against_aquasol(celsius: float) -> None:
    """Formula of Al Ghafri et al. 2012, in its own range: from 10 degC, to 6 mol/kg."""
    from aquasol.solutions import density as aquasol_density

    x = PERCENTS[PERCENTS <= 25.0] / 100.0
    peer = np.array([float(aquasol_density("NaCl", T=celsius, w=float(w), source="Al Ghafri")) for w in x])
    np.testing.assert_allclose(brine.density(x, celsius + 273.15), peer, rtol=5e-4)


def test_freezing_point_against_coolprop() -> None:
    """Depression within 3 %: CoolProp prints its own curve some 2 % above handbooks at the weak end."""
    for percent in (1.0, 2.0, 3.5, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5, 20.0, 22.5):
        peer = 273.15 - props("T_FREEZE", "T", 290.0, "P", 101325.0, f"INCOMP::MNA[{percent / 100.0}]")
        assert 273.15 - brine.freezing_point(percent / 100.0) == pytest.approx(peer, rel=0.03), percent


def test_salt_diffusivity_against_water_viscosity_of_coolprop() -> None:
    """D x viscosity / T is constant: 1.607e-9 m2/s at 25 degC (Nernst-Hartley) carried with IAPWS
    viscosities."""
    kelvin = np.array([3.0, 5.0, 7.0, 15.0, 25.0, 33.0, 50.0, 65.0, 90.0]) + 273.15
    viscosity = np.array([props("V", "T", float(t), "P", 101325.0, "Water") for t in kelvin])
    reference = props("V", "T", 298.15, "P", 101325.0, "Water")
    expected = 1.607e-9 * kelvin / 298.15 * reference / viscosity
    np.testing.assert_allclose(water_diffusivity(kelvin), expected, rtol=0.015)


# ---- federal amounts, exactly as printed


@pytest.mark.parametrize(
    "ounces, printed",
    # 9 CFR 424.21(c): 1/4 oz of nitrite to 100 lb comminuted, 1 oz to 100 lb dry cured; printed limits 156
    # and 625
    [(0.25, 156), (1.0, 625)],
)
def test_ounces_per_hundred_pounds(ounces: float, printed: int) -> None:
    assert int(ounces / 16.0 / 100.0 * 1e6) == printed


def test_ion_and_potassium_bases_as_printed() -> None:
    """EU 2023/2108: 80 mg/kg of ion stands for 120 of NaNO2; 9 CFR 424.22(b): 120 of NaNO2 is 148 of KNO2,
    and 200 is 246 (the law cuts 246.7; from memory, so only its whole number above is held)."""
    assert round(nitrite_as(80.0, "NO2 ion", "NaNO2")) == 120
    assert round(nitrite_as(120.0, "NaNO2", "KNO2")) == 148


def test_federal_table_arithmetic() -> None:
    """Every federal row that carries numbers must follow from its own inputs and formula, written out again
    here."""
    checked = 0
    for entry in read_table("federal_amounts.csv"):
        given = json.loads(entry["inputs"])
        if not given:
            continue
        if "pump" in given:
            agent = given.get("nitrite_lb", given.get("nitrate_lb"))
            found = agent * given["pump"] / (given["pickle_gal"] * given["pickle_lb_per_gal"]) * 1e6
        elif "meat_lb" in given:
            ounces = next(value for key, value in given.items() if key.endswith("oz"))
            found = ounces / 16.0 / given["meat_lb"] * 1e6
        elif "NO2_mg_per_kg" in given:
            found = nitrite_as(given["NO2_mg_per_kg"], "NO2 ion", "NaNO2")
        else:
            found = nitrite_as(given["NaNO2_ppm"], "NaNO2", "KNO2")
        assert found == pytest.approx(float(entry["answer"]), rel=5e-5), entry["example_id"]
        checked += 1
    assert checked == 12
