"""The benches: one view each on the shared state. They arrange and show; what they show is computed in the library."""

from collections.abc import Callable

from ..state import State, opened
from ..workbench import Bench
from .batch import BatchBench
from .compare import CompareBench
from .equilibrium_or_strong import EquilibriumOrStrong
from .learning import LearningBench
from .plate import PlateBench
from .soak import SoakBench
from .thick_point import ThickPoint

BENCHES: dict[str, Callable[[State], Bench]] = {
    "thick point": ThickPoint,
    "equilibrium or strong": EquilibriumOrStrong,
    "soak": SoakBench,
    "to the plate": PlateBench,
    "batch": BatchBench,
    "learning": LearningBench,
    "compare": CompareBench,
}


def bench(name: str, state: State | None = None, here: str = "") -> Bench:
    """The bench of that name, on `state` or on the working batch of this folder. here: the notebook it stands in, where that is not its own.
    Raises KeyError naming the benches.
    """
    if name not in BENCHES:
        raise KeyError(f'no bench "{name}"; there is {", ".join(BENCHES)}')
    made = BENCHES[name](state or opened())
    made.nav.here = here or made.here
    return made


__all__ = [
    "BENCHES",
    "BatchBench",
    "CompareBench",
    "EquilibriumOrStrong",
    "LearningBench",
    "PlateBench",
    "SoakBench",
    "ThickPoint",
    "bench",
]
