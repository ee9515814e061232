"""`fit_profile` against exact solutions that it does not use: erfc and Crank's series, with noise; and what it says where it cannot tell."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erfc

from curelab import Bath, Brine, InputError, Piece, SealedCure, fit_profile
from curelab.matter.tissue import partition
from curelab.proof import series
from curelab.sources import default_numbers

DAY = 86400.0
D, TIME = 2.4e-10, 3 * DAY
DEPTH = np.array([1, 3, 5, 8, 11, 15, 20]) * 1e-3
TIGHT = default_numbers().with_values(
    {"partition.water_phase": 0.9}
)  # meat that holds less salt per water than its bath
RNG = np.random.default_rng(7)


def half_space(depth=DEPTH, level=0.05, d=D):
    return level * erfc(depth / np.sqrt(4 * d * TIME))


def held(found, value) -> bool:
    return found.low is not None and found.low <= value <= found.high


def share_held(profile, noise, repeats=200, **how) -> float:
    """Share of noisy repeats in which the interval of D holds the true one."""
    fits = [fit_profile(DEPTH, profile + noise * RNG.standard_normal(len(DEPTH)), TIME, **how) for _ in range(repeats)]
    return float(np.mean([held(each.diffusivity, D) for each in fits]))


def test_exact_half_space_is_read_back():
    found = fit_profile(DEPTH, half_space(), TIME, surface=0.05, basis="relative", error=5e-4)
    assert found.diffusivity.value == pytest.approx(D, rel=5e-4)
    both = fit_profile(DEPTH, half_space(), TIME, basis="relative", error=5e-4)
    assert both.diffusivity.value == pytest.approx(D, rel=1e-3)
    assert both["surface level"].value == pytest.approx(0.05, rel=1e-3)
    assert both.correlation[0, 1] < -0.5  # a higher level or a quicker salt, both lift the profile
    assert both.diffusivity.high / both.diffusivity.low > found.diffusivity.high / found.diffusivity.low


@pytest.mark.parametrize("shape", ["half slab", "cylinder", "sphere"])
@pytest.mark.parametrize("ratio", [np.inf, 1.5])
def test_exact_finite_bodies_are_read_back(shape, ratio):
    """Crank's series, in a bath that is held and in one that falls; deep enough that the middle counts."""
    radius = 0.025
    exact = series.constant(shape) if np.isinf(ratio) else series.limited(shape, ratio)
    fo = np.array([2e-10 * 12 * DAY / radius**2])
    rest = 0.08 if np.isinf(ratio) else 0.08 * ratio / (1 + ratio)  # where the series ends, as salt per water
    inside = rest * exact.profile(1 - DEPTH / radius, fo)[0]
    piece = Piece(shape="slab" if shape == "half slab" else shape, thickness=2 * radius, weight="2 kg")
    water = 4.0 if np.isinf(ratio) else ratio * partition(TIGHT) * piece.water()
    bath = Brine(
        bath=Bath(water=water, salt=0.08 / partition(TIGHT) * water),
        temperature="3 degC",
        lasts="12 d",
        running=bool(np.isinf(ratio)),
    )
    found = fit_profile(DEPTH, inside / (1 + inside), "12 d", piece=piece, bath=bath, error=2e-4, numbers=TIGHT)
    assert found.diffusivity.value == pytest.approx(2e-10, rel=2e-3)


def test_one_wet_face_and_depths_beyond_the_middle():
    exact = series.constant("half slab")
    piece = Piece(thickness="3 cm", weight="1 kg")
    one = exact.profile(1 - DEPTH / 0.03, np.array([D * TIME / 0.03**2]))[0]
    two = exact.profile(np.abs(1 - DEPTH / 0.015), np.array([D * TIME / 0.015**2]))[0]
    for values, wet in ((one, "one face"), (two, "both faces")):
        found = fit_profile(DEPTH, values, TIME, piece=piece, wet=wet, surface=1.0, basis="relative", error=1e-3)
        assert found.diffusivity.value == pytest.approx(D, rel=1e-3)


@pytest.mark.parametrize("how", [{"surface": 0.05, "error": 1.5e-3}, {"surface": 0.05}, {"error": 1.5e-3}, {}], ids=str)
@pytest.mark.repeats
def test_the_interval_holds_the_truth_in_nine_cases_of_ten(how):
    assert 0.85 <= share_held(half_space(), 1.5e-3, basis="relative", **how) <= 0.97


@pytest.mark.repeats
def test_it_does_so_in_a_slab_and_a_bath_that_falls():
    piece = Piece(thickness="4 cm", weight="1.2 kg")
    water = 1.2 * partition(TIGHT) * piece.water()
    inside = (
        0.08 * 1.2 / 2.2 * series.limited("half slab", 1.2).profile(1 - DEPTH / 0.02, np.array([D * TIME / 0.02**2]))[0]
    )
    bath = Bath(water=water, salt=0.08 / partition(TIGHT) * water)
    assert share_held(inside / (1 + inside), 1e-3, piece=piece, bath=bath, error=1e-3, numbers=TIGHT) >= 0.85


def test_bases_and_a_level_before():
    """What diffuses is salt per water: on another basis the same profile gives the same D, if the level stands on it too."""
    w = 0.01 + half_space(level=0.07)
    for basis, values, surface, before in (
        ("water phase", w / (1 + w), 0.08 / 1.08, 0.01 / 1.01), ("green weight", 0.7 * w, 0.7 * 0.08, 0.007),
        ("meat", 0.7 * w / (1 + 0.7 * w), 0.056 / 1.056, 0.007 / 1.007),
    ):  # fmt: skip
        found = fit_profile(DEPTH, values, TIME, surface=surface, basis=basis, initial=before, error=1e-4)
        assert found.diffusivity.value == pytest.approx(D, rel=1e-3), basis


def test_texts_and_one_error_for_each():
    plain = fit_profile(DEPTH, half_space(), TIME, surface=0.05, basis="relative", error=np.full(7, 1e-3))
    words = fit_profile([f"{1e3 * x:g} mm" for x in DEPTH], [f"{100 * v!r} %" for v in half_space().tolist()], "3 d", surface="5 %",
                        basis="relative", error="0.1 %")  # fmt: skip
    assert words.diffusivity.value == pytest.approx(plain.diffusivity.value, rel=1e-9)


def test_how_it_is_printed():
    found = fit_profile(DEPTH, half_space() + 1e-3 * RNG.standard_normal(7), TIME, basis="relative", error=1e-3)
    said = str(found)
    assert said.startswith("Fit of a profile: 7 values, 3 d, half-space\ndiffusivity: ") and "9 times in 10" in said
    assert (
        "chi square" in said
        and "5 degrees of freedom" in said
        and "correlation of diffusivity and surface level: -0." in said
    )
    assert list(found.to_frame()["name"]) == ["diffusivity", "surface level"]
    assert "<table>" in found._repr_html_()
    assert "estimated from how they scatter" in str(
        fit_profile(DEPTH, half_space(), TIME, surface=0.05, basis="relative")
    )


def test_it_says_why_there_is_no_interval():
    how = {"surface": 0.05, "basis": "relative", "error": 1e-3}
    level = fit_profile(DEPTH, np.full(7, 0.05), "90 d", piece=Piece(thickness="4 cm", weight="1 kg"), **how)
    assert level.diffusivity.low is None and "the profile is level" in str(level)
    empty = fit_profile(DEPTH, np.zeros(7), TIME, **how)
    assert empty.diffusivity.low is None and "nothing has come to these depths" in str(empty)
    alone = fit_profile(["5 mm"], [0.03], TIME, surface=0.05, basis="relative")
    assert alone.diffusivity.low is None and "1 value for 1 unknown leave" in str(alone)
    assert held(
        fit_profile(["5 mm"], half_space(np.array([0.005])), TIME, **how).diffusivity, D
    )  # with an error one is enough
    rough = fit_profile(DEPTH, half_space(), TIME, **(how | {"error": 0.2}))
    assert rough.diffusivity.low is None and "leave the diffusivity open by a factor" in str(rough)
    for each in (level, empty, alone, rough):
        assert "no interval" in str(each).splitlines()[1]


def test_values_that_do_not_fit_are_told_and_the_interval_widened():
    odd = half_space() + np.array([0, 0, 0.01, 0, -0.008, 0.006, 0])
    found = fit_profile(DEPTH, odd, TIME, surface=0.05, basis="relative", error=1e-3)
    plain = fit_profile(DEPTH, half_space(), TIME, surface=0.05, basis="relative", error=1e-3)
    assert "times as widely as their errors allow" in str(found)
    assert found.diffusivity.high / found.diffusivity.low > (plain.diffusivity.high / plain.diffusivity.low) ** 3


@pytest.mark.parametrize(
    ("changes", "where", "sentence"),
    [
        ({"values": [0.1]}, "values", "there are 1 values at 7 depths"), ({"depths": -DEPTH}, "depths", "none below zero"),
        ({"time": "3 kg"}, "time", '"kg" does not measure a time'), ({"time": 0.0}, "time", "not one time above zero"),
        ({"basis": "dry"}, "basis", '"dry" is not one of'), ({"values": np.full(7, np.nan)}, "values", "all of them finite"),
        ({"error": 0.0}, "error", "above zero"), ({"bath": Bath(water="1 kg", salt="50 g")}, "surface", "both a bath and a level"),
        ({"wet": "top"}, "wet", '"top" is not one of'),
        ({"piece": Piece(thickness="5 cm", weight="1 kg", fat_cap="5 mm")}, "piece", "a fat cap makes two tissues"),
        ({"surface": None, "bath": SealedCure(salt="20 g", temperature="3 degC", lasts="3 d")}, "bath", "has no bath of known water"),
        ({"depths": ["1 mm"] * 6 + ["1 kg"]}, "depths", '"kg" does not measure a length'),
    ],
)  # fmt: skip
def test_bad_input_gets_one_sentence_each(changes, where, sentence):
    given = {"depths": DEPTH, "values": half_space(), "time": TIME, "surface": 0.05} | changes
    with pytest.raises(InputError) as refused:
        fit_profile(given.pop("depths"), given.pop("values"), given.pop("time"), **given)
    assert [problem.where for problem in refused.value.problems] == [where] and sentence in str(refused.value)


def test_one_value_tells_no_error_and_faster_than_water_is_told():
    one = str(fit_profile(["3 mm"], ["3 %"], "1 d", surface="5 %", basis="relative"))
    assert (
        "1 value, 24 h" in one
        and "nan" not in one
        and "1 value for 1 unknown leaves nothing" in one
        and "free water" not in one
    )
    fast = fit_profile(["10 mm", "20 mm"], ["3 %", "2 %"], "10 h", surface="5 %", basis="relative")
    assert fast.diffusivity.value > 1.6e-9 and fast.notes[-1].startswith("Faster than salt in free water")
