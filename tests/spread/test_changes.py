"""The thickest cut that is enough, looked for with an invented answer for each thickness, against trying every one."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from curelab import Piece
from curelab.spread.changes import STEP, THINNEST, Change, _thinner


def found(thickness: float, whole: float, most: float, shape: str) -> tuple[dict[str, float], int]:
    """(thickness of each change by its kind, how many were tried) where just what is no thicker than `most` m is enough."""
    tried = []

    def cut(kind, value):
        tried.append(value)
        yield
        return Change(kind, value, SimpleNamespace(chance=1.0 if value <= most + 1e-9 else 0.0))

    more = {"width": "20 cm", "length": "30 cm"} if shape == "block" else {}
    piece = Piece(thickness=thickness, weight=64 * thickness, shape=shape, **more)
    made = [each for each in _thinner(piece, whole, cut) if each is not None]
    return {each.kind: each.value for each in made if each.enough}, len(tried)


@pytest.mark.parametrize("shape", ["slab", "block"])
@pytest.mark.parametrize("whole", STEP.values())
@pytest.mark.parametrize("thickness", [0.031, 0.04, 0.06, 0.075, 0.083, 0.12])
def test_the_thickest_cut_that_is_enough_is_found(thickness, whole, shape):
    steps = np.arange(np.ceil(THINNEST / whole), np.ceil(thickness / whole - 1e-9)) * whole
    for most in (0.0, *(steps + 0.3 * whole)):
        splits = {"split": thickness / 2} if shape == "slab" and thickness / 2 <= most + 1e-9 else {}
        best = max((step for step in steps if step <= most + 1e-9), default=None)
        expected = dict(splits)
        if best is not None and not (shape == "slab" and abs(best - thickness / 2) < 1e-9):
            expected["thinner"] = best
        made, tried = found(thickness, whole, most, shape)
        assert made == pytest.approx(expected) and tried <= 2 * np.log2(len(steps) + 1) + 3, most
