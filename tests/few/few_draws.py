"""Few draws behind every page of a lab, in this process or in a kernel: what is said and drawn runs through the same lines with few."""

from collections.abc import Callable
from importlib import import_module

COUNTS = {
    "curelab.lab.state": {"FEW": 8, "QUICK": 8, "SHORT": 4, "PAGE_DRAWS": 16},
    "curelab.outcome": {"REPORT_DRAWS": 16, "CHECKED": 8},
    "curelab.lab.benches.plate": {"CHECKED": 8},
}


def few(put: Callable[[object, str, int], None] = setattr) -> None:
    """Set the counts by `put`. The benches are loaded first: learning keeps its own counts, which it took from elsewhere when it was loaded."""
    import_module("curelab.lab.benches")
    for module, counts in COUNTS.items():
        for name, count in counts.items():
            put(import_module(module), name, count)
