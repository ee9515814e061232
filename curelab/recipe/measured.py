"""The weight of a piece held against its measures and the density of meat."""

from __future__ import annotations

from ..fields import Problem
from .stations import Solid

NEAR = 0.15  # relative: a ruler on soft meat and a scale agree so well; beyond it is said
FAR = 2.0  # a factor: beyond it one of the two is a slip, and nothing is computed from it (judgement)


def weight_problem(weight: float, solid: Solid) -> Problem | None:
    """Says so when a weight [kg] cannot be that of the measures."""
    by_ruler = solid.weight
    if 1 / FAR <= weight / by_ruler <= FAR:
        return None
    return Problem(
        "weight",
        f"{weight:.3g} kg cannot be: by its measures the piece weighs {by_ruler:.3g} kg; check the weight, the measures and their units",
    )
