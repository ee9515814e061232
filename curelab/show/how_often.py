"""A share of the simulated batches, in words."""

from __future__ import annotations


def of_ten(share: float, down: bool = False) -> str:
    """A share of the simulated batches: "7 of 10", "nearly all", "none"; `down`: no more than it is."""
    if share <= 0.02:
        return "hardly any" if share > 0 else "none"
    if share >= 0.98:
        return "nearly all" if share < 1 else "all"
    return f"{min(max(int(10 * share) if down else round(10 * share), 1), 9)} of 10"


def in_batches(share: float, down: bool = False) -> str:
    """A share of the simulated batches: "in 7 of 10 batches", "in no batch"; `down`: no more than it is."""
    said = of_ten(share, down)
    return {"none": "in no batch", "hardly any": "in hardly any batch"}.get(said, f"in {said} batches")
