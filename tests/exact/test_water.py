"""Water that moves, held against a fully nonlinear solve by scipy, and its balances."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from handful import handful

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, simulate
from curelab.matter import solutes, tissue
from curelab.proof.nonlinear import Slab, stretch
from curelab.recipe.stages import BagCook, Simmer, Smoke
from curelab.sources import default_numbers

DAY = 86400.0
HALF, COLD = 0.03, 276.15
NUMBERS = default_numbers().with_values({"film.stirred": 1e3})  # the solve has bare faces
LEAN = Piece(thickness=f"{2000 * HALF} mm", weight="1 kg", tissue="lean beef")
WATER = LEAN.water(NUMBERS)
OWN = (
    60e-5 * 58.443 / 22.99 / 0.7343
)  # salt per water of raw lean: 60 mg of sodium in 100 g, 73.43 g of it water (USDA, eye of round)


def curve(points: float):
    """What a cell takes up, of its raw water, with so many points of the green weight more in every brine."""

    raw = OWN / (1 + OWN)

    def held(w):
        strength = np.minimum(w / (1 + w), 0.26)
        return np.asarray(tissue.water_change(strength)) + 0.01 * points * np.clip(
            (strength - raw) / (0.02 - raw), 0, 1
        )

    most = 0.05 / 0.95  # most in 5 % of salt, by the rows
    return lambda w, first: (held(np.maximum(w, np.minimum(most, first))) - held(first)) / WATER


def soak() -> Soak:
    return Soak(waters=[{"amount": f"{1.5 * WATER} kg", "lasts": "6 h", "temperature": "3 degC"}] * 2, stirred=True)


# Weak and strong, brief and long; the published middle, and the ends of its width, where the meat moves three times the water.
CASES = [
    (0.045, 2.5, 4.0, 0.0, 0.01), (0.08, 1.0, 10.0, 0.0, 0.01), (0.17, 2.0, 4.0, 0.0, 0.01), (0.2, np.inf, 3.0, 0.0, 0.01),
    (0.08, 1.0, 10.0, 6.0, 0.02), (0.17, 2.0, 4.0, 6.0, 0.02), (0.045, 2.5, 4.0, -6.0, 0.02),
]  # fmt: skip


@pytest.mark.parametrize(("strength", "ratio", "days", "points", "error"), handful(CASES, [CASES[0], CASES[6]]))
def test_finished_salt_and_weight_are_those_of_the_nonlinear_solve(strength, ratio, days, points, error):
    """After brine, rest and two waters of a soak. In the middle of what is published within 1 % of the salt; weight within 0.4 %."""
    water = WATER * (1.0 if np.isinf(ratio) else ratio)
    brine = Brine(
        bath=Bath(water=water, salt=strength * water), running=bool(np.isinf(ratio)), lasts=days * DAY,
        temperature="3 degC", lying=False, stirred=True,
    )  # fmt: skip
    stages = [brine, Rest(temperature="3 degC", lasts="2 d"), soak()]
    ours = simulate(LEAN, stages, numbers=NUMBERS, draws={"water uptake": np.array([points])}, few=False)
    pace, change, slab = solutes.diffusivity("salt", COLD, "lean beef", NUMBERS), curve(points), Slab.raw(OWN)
    baths = [(ratio, strength), None, (1.5, 0.0), (1.5, 0.0)]
    ends = np.cumsum([days, 2.0, 0.25, 0.25]) * DAY
    for bath, begin, end in zip(baths, [0.0, *ends[:-1]], ends, strict=True):
        slab = stretch(slab, HALF, pace, end - begin, bath, change)
        weight = LEAN.weight + WATER * (slab.water.sum() - 1 + slab.salt - OWN)
        assert ours.weight(end)[0, 0] == pytest.approx(weight, rel=4e-3)
        assert ours.average("salt", end)[0, 0] == pytest.approx(WATER * slab.salt / weight, rel=error)
    assert abs(slab.water.sum() - 1) > 0.008  # it moved, and nothing of this is idle


def test_the_nonlinear_solve_keeps_its_salt():
    """In a bath of its own water: what the slab has is what the bath has lost, here by the sum at rest."""
    slab = stretch(Slab.raw(), HALF, 2.7e-10, 400 * DAY, (2.0, 0.05), curve(0.0))
    assert slab.w == pytest.approx(np.full(len(slab.w), 2.0 * 0.05 / 3.0), rel=1e-4)


STAGES = [
    SealedCure(salt="10 g", temperature="3 degC", lasts="3 d"),
    Brine(bath=Bath(water="1.2 kg", salt="200 g", nitrite="0.4 g", sugar="20 g"), temperature="3 degC", lasts="5 d"),
    Rest(temperature="3 degC", lasts="2 d"),
    soak(),
]


@pytest.mark.parametrize("few", [False, True])
def test_water_and_every_solute_are_kept(few):
    """What one stretch leaves, the next begins with; what the meat takes up, the bath has lost; to 1e-9 of what is there."""
    pieces = (LEAN, LEAN.but(name="capped", fat_cap="8 mm", weight="1.4 kg"))
    history = simulate(pieces, STAGES, draws={"water uptake": np.array([-5.0, 0.0, 5.0])}, few=few)
    rows = {}
    for row in history.budget:
        assert np.abs(row["residual"]).max() < 1e-9
        rows.setdefault(row["quantity"], []).append(row)
    for name, each in rows.items():
        for before, after in pairwise(each):
            np.testing.assert_allclose(after["in meat before"], before["in meat"], rtol=1e-9, atol=1e-15, err_msg=name)
    assert np.ptp(rows["water"][1]["in meat"]) > 0.02
    salt, own = rows["salt"], OWN * sum(each.water() for each in pieces)
    assert salt[0]["in meat before"] == pytest.approx(own, rel=1e-6)
    end = salt[-1]["in meat"] + sum(row["in bath"] for row in salt)
    np.testing.assert_allclose(end, own + 0.01 + 0.2, rtol=1e-9)  # own salt and put in, by hand
    np.testing.assert_allclose(end, salt[0]["in meat before"] + sum(row["added"] for row in salt), rtol=1e-9)


def test_weight_is_dry_matter_water_and_solutes():
    """Water of the budget and solutes of the budget make the weight, counted apart from it."""
    history = simulate(LEAN, STAGES)
    inside = sum(row["in meat"] for row in history.budget[-6:] if row["quantity"] != "free nitrite")
    assert history.weight() == pytest.approx(LEAN.weight - (1 + OWN) * WATER + inside, rel=1e-9)


def test_three_thirds_of_a_dry_cure_draw_no_more_than_the_whole():
    whole = simulate(LEAN, SealedCure(salt="30 g", temperature="3 degC", lasts="21 d"))
    thirds = simulate(LEAN, [SealedCure(salt="10 g", temperature="3 degC", lasts="7 d")] * 3)
    taken = [
        history.weight() - LEAN.weight - history.amount("salt") + history.amount("salt", 0.0)
        for history in (whole, thirds)
    ]
    assert taken[0] == pytest.approx(-0.03 * default_numbers().si("purge.per_salt"), rel=1e-9)
    assert taken[1] == pytest.approx(taken[0], rel=1e-9)


def test_a_soak_keeps_water_or_takes_it_up():
    for salt in ("50 g", "400 g"):
        brine = Brine(bath=Bath(water="1.5 kg", salt=salt), temperature="3 degC", lasts="12 d")
        history = simulate(LEAN, [brine, Soak(waters=[{"amount": "3 kg", "lasts": "1 d", "temperature": "3 degC"}])])
        times = history.begin(1) + np.linspace(0, DAY, 9)
        water = history.weight(times) - history.amount("salt", times)
        assert np.all(np.diff(water) > -1e-9) and history.amount("salt") < 0.9 * history.amount("salt", times[0])
    assert water[-1] - water[0] > 0.002  # out of a strong brine it takes up


BLOCK = Piece(shape="block", thickness="4 cm", width="6 cm", length="6 cm", weight="150 g", fat_cap="5 mm")


def test_at_rest_a_block_holds_the_water_and_salt_of_the_closed_balance():
    """In three dimensions terms run through lean and fat: all of it is counted drier or wetter together, and nothing is lost by that."""
    brine = Brine(bath=Bath(water="200 g", salt="8 g"), temperature="3 degC", lasts="300 d", lying=False)
    history = simulate(BLOCK, brine)
    level = float(history.bath("salt") / (1 - history.bath("salt")))
    lean = BLOCK.lean_weight()
    moved = lean * float(tissue.water_change(level / (1 + level)))
    assert moved > 0.01 * lean
    held = tissue.partition() * (BLOCK.water() + moved)
    assert history.amount("salt") == pytest.approx(level * held, rel=2e-3)
    assert history.weight() == pytest.approx(
        BLOCK.weight + moved + level * held - history.amount("salt", 0.0), rel=1e-4
    )


COOKED = [
    Brine(bath=Bath(water="800 g", salt="60 g", nitrite="0.2 g"), temperature="3 degC", lasts="3 d"),
    BagCook(temperature="70 degC", lasts="3 h"),
    Simmer(water="3 kg", temperature="80 degC", lasts="1 h"),
    Smoke(temperature="80 degC", humidity="20 %", lasts="2 h"),
    soak(),
]


@pytest.mark.parametrize("piece", handful([LEAN, BLOCK], [LEAN]), ids=["slab", "block"])
def test_water_of_a_cure_that_is_cooked_is_kept(piece):
    """Juice in the bag or the pot, and vapour, are counted; what heat leaves, a soak begins with."""
    rows = {}
    for row in simulate(piece, COOKED).budget:
        assert abs(row["residual"]) < 1e-9, row
        rows.setdefault(row["quantity"], []).append(row)
    for name in ("water", "salt"):
        for before, after in pairwise(rows[name]):
            assert after["in meat before"] == pytest.approx(before["in meat"], rel=1e-9), name
    given = [row["lost"] for row in rows["water"]]
    assert given[3] > 0.01 * piece.weight and rows["water"][1]["in juice"] > 0.05 * piece.weight
