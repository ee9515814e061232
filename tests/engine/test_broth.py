"""A simmer's water takes the juice with its salt: what the meat meets is the broth, and salt out of the meat is salt in it."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.engine import broth
from curelab.engine.simulate import simulate
from curelab.forecast import slice_of
from curelab.recipe.piece import Piece
from curelab.recipe.stages import BagCook, Bath, Brine, Simmer

CURE = Brine(bath=Bath(water="2 kg", salt="120 g", nitrite="0.5 g"), temperature="3 degC", lasts="6 d", lying=False)


def cooked(thickness: str, water: str, lasts: str, **more):
    pot = Simmer(water=water, temperature="90 degC", lasts=lasts, **more)
    return simulate(Piece(thickness=thickness, weight="1 kg", tissue="lean beef"), (CURE, pot))


def test_thin_meat_ends_as_salty_as_its_broth():
    """Once nothing moves any more, salt per water is the same on both sides: in little water, of which a third came out of the meat."""
    history = cooked("6 mm", "500 g", "10 h")
    run = history.runs[-1]
    end = run.length[:, None]
    inside, outside = run.local("salt", "average", end, 0)[0, 0], run.bath_level("salt", end)[0, 0]
    assert run._juice(end)[0, 0] > 0.3 * 0.5
    assert inside == pytest.approx(outside, rel=2e-3)
    whole = history.runs[0].amount("salt", history.runs[0].length[:, None], 0)[0, 0]
    water = run.meats[0].held[0] + run.water[0]
    assert outside == pytest.approx(whole / water, rel=2e-3)  # of all the water there is, wherever it is by now


def test_salt_out_of_the_meat_is_salt_in_the_broth():
    history = cooked("5 cm", "1 kg", "4 h", fresh_at=["2 h"])
    rows = [row for row in history.budget if row["run"].startswith("simmer")]
    assert len({row["run"] for row in rows}) == 2
    for row in rows:
        if row["quantity"] in ("salt", "nitrite", "sugar"):
            given = row["in meat before"] - row["in meat"]
            assert row["in bath"] == pytest.approx(given, rel=1e-9, abs=1e-15)
        assert abs(row["residual"]) < 1e-9
    run = history.runs[-1]
    for share in (0.0, 0.3, 0.7, 1.0):
        at = share * run.length[:, None]
        held = run.bath_level("salt", at) * (run.water[:, None] + run._juice(at))
        before = sum(run.amount("salt", 0 * at, n) for n in range(1))
        assert held + run.amount("salt", at, 0) == pytest.approx(before, rel=1e-9)


def test_more_legs_say_the_same(monkeypatch):
    usual = cooked("5 cm", "500 g", "4 h")
    monkeypatch.setattr(broth, "LEGS", 96)
    finer = cooked("5 cm", "500 g", "4 h")
    monkeypatch.setattr(broth, "LEGS", 1)
    blind = cooked("5 cm", "500 g", "4 h")  # as if the juice's salt were nowhere
    end = finer.length
    of = [each.average("salt", end) for each in (usual, finer, blind)]
    assert of[0] == pytest.approx(of[1], rel=1e-3)
    assert of[2] < of[1] * 0.97
    bath = [each.bath("salt", np.linspace(0.1, 1.0, 9) * 4 * 3600 + usual.begin(1)) for each in (usual, finer)]
    assert bath[0] == pytest.approx(bath[1], rel=2e-2)


@pytest.mark.parametrize("juice", ["kept", "poured off"])
def test_juice_is_kept_or_poured_off(juice):
    bag = BagCook(temperature="75 degC", lasts="6 h", juice=juice)
    piece = Piece(thickness="4 cm", weight="1 kg", tissue="lean beef", price_per_kg=12)
    history = simulate(piece, (CURE, bag))
    assert ("keep the juice" if juice == "kept" else "pour off the juice") in bag.hint
    row = next(row for row in history.budget if row["run"] == "bag cook" and row["quantity"] == "salt")
    cut = slice_of(history)
    lost = history.weight(history.begin(1)) - history.weight()
    if juice == "kept":
        assert history.juice_kept("salt") == pytest.approx(row["in meat before"] - row["in meat"], rel=1e-9)
        assert cut.juice[0] == pytest.approx(lost, rel=2e-2)  # nitrite and sugar are in it too
        assert cut.juice[1] == pytest.approx(history.average("salt", basis="water phase"), rel=1e-2)
        assert "of juice with" in cut.sentence and "before you salt it" in cut.sentence
    else:
        assert cut.juice == (0.0, 0.0) and "juice" not in cut.sentence
    assert cut.cost == pytest.approx(12 / cut.kept) and cut.cost_span[0] < cut.cost < cut.cost_span[1]
    assert f"A kilogram costs {12 / cut.kept:.2f} as it is eaten" in cut.sentence
    # 39.34 % of salt is sodium (atomic masses), and the salt counts the meat's own.
    assert cut.sodium == pytest.approx(0.3934 * history.average("salt"), rel=1e-3)
    assert f"{1e5 * cut.sodium:.0f} mg of sodium in 100 g" in cut.sentence
