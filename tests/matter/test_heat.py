"""Heat in meat against the component equations evaluated elsewhere, measured rows, and moist air of an independent library (`thermal.csv`)."""

from __future__ import annotations

import re

import numpy as np
import pytest

from curelab.matter import heat, juice
from curelab.matter.tissue import TISSUES, Tissue
from curelab.sources import default_numbers, read_table

ROWS = read_table("thermal.csv")
ZERO = 273.15
MIXTURES = [row for row in ROWS if row["category"] == "mixture"]
WET = [row for row in ROWS if row["category"].startswith("evaporative") and row["how"] == "computed"]


def numbers_in(words: str) -> list[float]:
    return [float(each) for each in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", words)]


def mixture(words: str) -> Tissue:
    """The tissue of a row: "75% water 22% protein 2% fat 1% ash", "70/20/9/1", normalised where that is said."""
    found = re.search(r"([\d.]+)/([\d.]+)/([\d.]+)/([\d.]+)", words)
    parts = [float(each) for each in found.groups()] if found else numbers_in(words)[:4]
    water, protein, fat, _ = (part / sum(parts) for part in parts)
    return Tissue(name="mixture", water=water, protein=protein, fat=fat)


@pytest.mark.parametrize("row", MIXTURES, ids=lambda row: f"{row['item'][:12]} {row['conditions']}")
def test_component_equations(row):
    """The rows were computed apart from this module, to six digits."""
    density, capacity, along, across, *_ = numbers_in(row["value"])
    kelvin, part = float(row["conditions"].split()[0]) + ZERO, mixture(row["item"])
    for share, expected in ((1.0, along), (0.0, across)):
        led, stored = heat.thermal(part, kelvin, default_numbers().with_values({"heat.parallel": share}))
        assert led == pytest.approx(expected, rel=3e-5)
        assert stored == pytest.approx(density * capacity * 1e3, rel=2e-5)


@pytest.mark.parametrize(("item", "water", "warm"), [("Beef, round", 0.71, 52.5), ("Beef, chuck", 0.66, 52.5)])
def test_measured_diffusivity_lies_between_the_bounds(item, water, warm):
    """And near the middle that is used: within 8 % of what was measured."""
    measured = float(next(row["value"] for row in ROWS if row["item"] == item))
    part = Tissue(name="m", water=water, protein=0.21, fat=1 - water - 0.21 - 0.01)
    low, middle, high = (
        np.divide(*heat.thermal(part, warm + ZERO, default_numbers().with_values({"heat.parallel": share})))
        for share in (0.0, default_numbers().si("heat.parallel"), 1.0)
    )
    assert low < measured < high and middle == pytest.approx(measured, rel=0.08)


def test_specific_heat_of_measured_rows():
    """Morley 1972: lean of 74.5 % water 3.6 kJ/(kg K); the equations are within 3 %."""
    part = Tissue(name="m", water=0.745, protein=0.22, fat=0.025)
    density = part.density
    assert heat.thermal(part, 278.15)[1] / density == pytest.approx(3600, rel=0.03)


@pytest.mark.parametrize("row", WET, ids=lambda row: row["item"])
def test_a_wet_skin_without_radiation_settles_at_the_wet_bulb(row):
    dry, moist = numbers_in(row["item"])[:2]
    expected = float(row["value"])
    assert float(heat.wet_skin(dry + ZERO, moist)) - ZERO == pytest.approx(expected, abs=0.15)
    assert float(heat.moisture_of(dry + ZERO, wet=expected + ZERO)) == pytest.approx(moist, rel=0.01)


def test_vapour_pressure_at_the_boiling_point():
    """101.325 kPa at 99.974 degC, by the definition of the normal boiling point (ITS-90)."""
    assert float(heat.saturation(99.974 + ZERO)) == pytest.approx(101325, rel=5e-4)


def test_radiation_warms_a_wet_skin():
    bare = heat.wet_skin(380.0, 0.03, np.array([0.0, 0.5, 0.9, 1.0]))
    assert np.all(np.diff(bare) > 0) and bare[-1] == pytest.approx(min(380.0, ZERO + 99), abs=0.1)


def test_moisture_of_air_that_is_full_is_its_wet_bulb():
    assert float(heat.moisture_of(330.0, humidity=1.0)) == pytest.approx(float(heat.moisture_of(330.0, wet=330.0)))


def test_juice():
    warm = np.linspace(20, 100, 81) + ZERO
    assert np.all(np.diff(juice.limit(warm)) >= 0) and juice.limit(ZERO + 30) == 0
    assert juice.pace(ZERO + 60) == pytest.approx(1 / default_numbers().si("juice.time.60C"))
    assert juice.pace(ZERO + 80) == pytest.approx(1 / default_numbers().si("juice.time.80C"))
    assert np.all(np.diff(juice.opened(warm)) >= 0) and juice.opened(ZERO + 45) == 0 and juice.opened(ZERO + 75) == 1


def test_own_composition_conducts_less_when_fatter():
    lean, fat = (heat.thermal(TISSUES[name], 300.0)[0] for name in ("lean beef", "beef fat"))
    assert fat < 0.6 * lean
