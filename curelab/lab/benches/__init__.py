"""The benches: one view each on the shared state. They arrange and show; what they show is computed in the library."""

from .batch import BatchBench
from .equilibrium_or_strong import EquilibriumOrStrong
from .soak import SoakBench
from .thick_point import ThickPoint

__all__ = ["BatchBench", "EquilibriumOrStrong", "SoakBench", "ThickPoint"]
