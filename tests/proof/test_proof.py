"""Every case of the proof holds; the exact answers are right in themselves; and a case fails when something is wrong.

The sources of the exact answers stand in the cases. What is checked here beside them is derived: equations, limits and sums that an
answer must obey whoever wrote it.
"""

from __future__ import annotations

import sys

import numpy as np
import pytest
from handful import handful
from scipy.integrate import quad

from curelab import proof
from curelab.proof import (
    balances,
    case,
    convergence,
    crank,
    elements,
    federal,
    layered,
    meat,
    published,
    reaction,
    series,
)
from curelab.sources import read_table
from curelab.units import DAY

SHAPES = tuple(meat.SHAPES)
DIFFUSION = {
    **{f"{name} {shape}": (lambda f=function, s=shape: f(s)) for shape in SHAPES for name, function in {
        "constant surface": proof.constant_surface, "limited bath": proof.limited_bath, "surface resistance": proof.surface_resistance,
        "loss": proof.loss_against_diffusion,
    }.items()},
    "limited bath, small": lambda: proof.limited_bath("half slab", 0.25),
    "limited bath, large": lambda: proof.limited_bath("sphere", 4.0),
    "fat on lean": proof.fat_on_lean,
    "sealed rest": proof.sealed_rest,
    "changed waters": proof.changed_waters,
    "finite elements": proof.finite_elements,
}  # fmt: skip
OTHERS = {
    "half spaces": proof.half_spaces,
    **{f"exact in time {shape}": (lambda s=shape: proof.exact_in_time(s)) for shape in SHAPES},
    "order": proof.falling_picture,
    "density, CoolProp": proof.density_by_coolprop,
    "density, CoolProp, 30 degC": lambda: proof.density_by_coolprop(30.0),
    "freezing, CoolProp": proof.freezing_by_coolprop,
    "activity, phreeqc": proof.activity_by_phreeqc,
    "density, printed": proof.handbook_density,
    "density, fitted": proof.fitted_density,
    "federal amounts": proof.amounts,
    "cover pickle": proof.cover_pickle,
    "water that moves": proof.moving_water,
}

CASES = {**DIFFUSION, **OTHERS}
# Of water that moves tests/exact/test_water.py tries a handful.
QUICKER = [make for make in CASES.values() if make is not proof.moving_water]


@pytest.mark.parametrize("make", handful(CASES.values(), QUICKER), ids=CASES)
def test_every_case_holds(make):
    found = make()
    assert isinstance(found, proof.Case), found  # a missing peer is a failure here: the test extra installs it
    assert found.holds, found
    assert found.error >= 0 and found.source and len(found.labels) >= 1


@pytest.mark.parametrize("make", DIFFUSION.values(), ids=DIFFUSION)
def test_one_percent_in_the_pace_of_salt_is_seen(make, monkeypatch):
    """Every case of diffusion turns red if the exact side moves by a hundredth against ours: its tolerance is no blanket."""
    one_off = meat.salt_diffusivity() * 1.01
    monkeypatch.setattr(meat, "salt_diffusivity", lambda: one_off)
    for module in (layered, elements):
        real = module.obstruction
        monkeypatch.setattr(module, "obstruction", lambda part, f=real: 1.01 * f(part))
    assert not make().holds


@pytest.mark.parametrize("change", [0.97, 1.03])
@pytest.mark.parametrize("shape", SHAPES)
def test_three_percent_in_the_loss_are_seen(shape, change, monkeypatch):
    right = meat.nitrite_loss()
    monkeypatch.setattr(meat, "nitrite_loss", lambda: change * right)
    assert not proof.loss_against_diffusion(shape).holds
    if shape == "half slab":
        assert not proof.finite_elements().holds


# -- the exact answers in themselves ------------------------------------------------------------------------------------------------

LAYERS = layered.two_layers((0.01, 0.04), (110.0, 780.0), (3.6, 257.0))


def test_no_root_of_the_two_layers_is_missing():
    """The n-th root lies near n pi over the sum of slownesses times widths, and an empty start is the whole sum (Parseval)."""
    across = sum(w * np.sqrt(c / k) for w, c, k in zip(LAYERS.widths, LAYERS.storage, LAYERS.conductivity, strict=True))
    number = LAYERS.roots * across / np.pi
    assert np.all(np.abs(number - np.arange(1, 1 + len(number))) < 0.6)
    parts = LAYERS.sums**2 / LAYERS.norms / np.dot(LAYERS.storage, LAYERS.widths)
    tails = 1 - np.cumsum(parts)
    assert np.all(parts >= 0) and 0 < tails[-1] < 4e-3
    assert tails[-1] == pytest.approx(
        0.5 * tails[len(tails) // 2 - 1], rel=0.1
    )  # falls as one over the number of terms, as it must


def test_two_layers_obey_the_border_and_the_faces():
    border, small, when = LAYERS.widths[0], 1e-7, np.array([1e-3, 4e-3])
    (k1, k2), x = LAYERS.conductivity, np.array([0.0, sum(LAYERS.widths)])
    np.testing.assert_allclose(LAYERS.profile(x, when), 1.0, rtol=1e-9)
    left, right = (LAYERS.profile(np.array([border + side * small]), when)[:, 0] for side in (-1, 1))
    at = LAYERS.profile(np.array([border]), when)[:, 0]
    np.testing.assert_allclose(k1 * (at - left), k2 * (right - at), rtol=1e-3)


def test_alike_layers_are_one_sheet():
    """Two layers of one kind, both faces held: Crank's plane sheet of half the thickness."""
    same = layered.two_layers((0.3, 1.7), (2.0, 2.0), (2.0, 2.0))
    fo, x = np.array([0.05, 0.2, 0.7]), np.linspace(0, 2, 9)
    sheet = series.constant("half slab")
    np.testing.assert_allclose(same.profile(x, fo), sheet.profile(np.abs(x - 1), fo), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(same.held(fo), sheet.uptake(fo), rtol=1e-9)


@pytest.mark.parametrize("phi", [0.3, 2.1, 8.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_the_steady_profile_obeys_its_equation(shape, phi):
    """w'' + (d - 1) / x w' = phi^2 w, level in the middle, 1 at the face; its mean is the effectiveness."""
    d, h, x = series.DIMENSION[shape], 1e-4, np.array([0.2, 0.5, 0.9])
    below, here, above = (reaction.steady(shape, phi, x + step) for step in (-h, 0, h))
    left = (above - 2 * here + below) / h**2 + (d - 1) / x * (above - below) / (2 * h)
    np.testing.assert_allclose(left, phi**2 * here, rtol=1e-5)
    assert reaction.steady(shape, phi, np.array([1.0]))[0] == pytest.approx(1.0, rel=1e-12)
    assert reaction.steady(shape, phi, np.array([0.0]))[0] == pytest.approx(
        reaction.steady(shape, phi, np.array([1e-5]))[0], rel=1e-8
    )
    mean = d * quad(lambda r: reaction.steady(shape, phi, np.array([r]))[0] * r ** (d - 1), 0, 1)[0]
    assert reaction.effectiveness(shape, phi) == pytest.approx(mean, rel=1e-10)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_way_to_the_steady_profile(shape):
    """Empty at first; steady at last; between, Danckwerts' rule: loss-free level times exp(-k t), plus k times its integral."""
    x, phi = np.array([0.1, 0.5, 0.9]), 2.1
    assert np.abs(reaction.on_the_way(shape, phi, x[:2], np.array([3e-3]))).max() < 1e-6
    np.testing.assert_allclose(
        reaction.on_the_way(shape, phi, x, np.array([5.0]))[0], reaction.steady(shape, phi, x), rtol=1e-12
    )
    fo, free = 0.2, series.constant(shape)
    for place in x:
        level = lambda t, p=place: float(free.profile(np.array([p]), np.array([t]))[0, 0]) * np.exp(-(phi**2) * t)  # noqa: E731
        expected = level(fo) + phi**2 * quad(level, 1e-3, fo, limit=200)[0]
        got = reaction.on_the_way(shape, phi, np.array([place]), np.array([fo]))[0, 0]
        assert got == pytest.approx(expected, rel=1e-3)  # the quadrature leaves out the first thousandth


def test_a_rest_begins_where_the_brine_ended_and_ends_even():
    x, cured = np.array([0.0, 0.3, 0.6, 0.9]), 0.15
    sheet = series.constant("half slab")
    start = balances.evened(cured, np.array([0.0]), x, terms=4000)[0]
    np.testing.assert_allclose(start, sheet.profile(x, np.array([cured]))[0], rtol=2e-3)
    np.testing.assert_allclose(
        balances.evened(cured, np.array([9.0]), x)[0], sheet.uptake(np.array([cured]))[0], rtol=1e-12
    )


# -- what is said -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("library", "make"),
    [("skfem", elements.finite_elements), ("CoolProp.CoolProp", proof.density_by_coolprop), ("CoolProp.CoolProp", proof.freezing_by_coolprop),
     ("phreeqc", proof.activity_by_phreeqc)],
)  # fmt: skip
def test_a_missing_library_is_said(library, make, monkeypatch):
    monkeypatch.setitem(sys.modules, library, None)
    found = make()
    assert isinstance(found, proof.Missing) and "NOT RUN" in repr(found) and "has no number" in repr(found)


def test_a_case_that_fails_says_so():
    made = case.Case("what", "who", "seen", ("a",), (1.0,), (2.0,), "kg", 1.0, 0.5, "the amount")
    assert not made.holds and "FAILS" in repr(made) and "FAILS" in made._repr_html_()
    assert "1.0e+00 of the amount; allowed 5.0e-01" in made.verdict
    with pytest.raises(ValueError, match="must be one of seen"):
        case.Case("what", "who", "guessed", (), (), (), "kg", 0.0, 0.5, "the amount")
    with pytest.raises(ValueError, match="not finite"):
        case.Case("what", "who", "seen", ("a",), (float("nan"),), (1.0,), "kg", 0.0, 0.5, "the amount")
    with pytest.raises(ValueError, match="1 labels"):
        case.Case("what", "who", "seen", ("a",), (), (1.0,), "kg", 0.0, 0.5, "the amount")


def test_every_published_data_set_has_its_say():
    said = published.experiments()
    assert [each.dataset for each in said] == list(
        dict.fromkeys(row["dataset_id"] for row in read_table("validation_data.csv"))
    )
    assert {each.verdict for each in said} <= {
        "agrees",
        "agrees in part",
        "disagrees",
        "not independent",
        "cannot be compared",
    } and all(each.missing for each in said)
    by_name = {each.dataset: each for each in said}
    assert (
        "so 1.98 % of its water phase" in by_name["aykin2021"].measured
    )  # the same figure stands in the note of the row
    assert "hence 0.266 kg" in by_name["cod_gudjon2015"].measured  # the note of its row: 26.6 %
    assert "0.263" in by_name["cod_gudjon2015"].model  # Salt Institute: 26.33 % at 4.44 degC
    # 21 h and Fo 0.848 of Crank's plane sheet at nine tenths taken up (a standard figure, from memory; evaluated here)
    assert published._ninety() == pytest.approx(np.log(8 / np.pi**2 / 0.1) / (np.pi / 2) ** 2, rel=1e-6)
    assert by_name["bertram2005"].verdict == "agrees in part"


def test_rules_of_thumb_say_where_they_come_from():
    case, rows = published.rules_of_thumb(), read_table("rules_of_thumb.csv")
    assert case.labels == tuple(row["cut"] for row in rows) and "common practice, no source" in case.source
    assert {row["how_days"] for row in rows if row["cut"].startswith("brisket")} == {"common practice"}
    # Days to a well-salted whole are what the trade means: their mean ratio lies in 0.8 to 1.25, and no number of the model was tuned to it.
    ratios = np.array(case.ours) / np.array(case.exact)
    assert case.holds and 0.8 < np.exp(np.mean(np.log(ratios))) < 1.25
    printed = {row["rule_id"]: row for row in read_table("trade_rules.csv")}
    for row in rows:
        if row["how_days"] == "seen":
            assert float(printed[row["rule_id"]]["value"]) == float(row["days_low"]) == float(row["days_high"])


def test_printed_federal_numbers_are_not_from_memory():
    rows = {row["example_id"]: row for row in read_table("federal_amounts.csv")}
    for name in federal.PRINTED:
        assert rows[name]["how"] != "memory"


def test_times_shown_lie_in_the_part_that_is_judged():
    assert crank.SHOWN.min() >= crank.LATE.min() and crank.LATE.min() == pytest.approx(2 * DAY, rel=1e-12)
    assert convergence.TIMES.min() >= crank.LATE.min()
