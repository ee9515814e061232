"""Large but legal batches: time, memory, and how both grow; each case in a process of its own. Nothing is asserted here.

OPENBLAS_NUM_THREADS=1 python tests/speed/bench_large.py          # the curve
OPENBLAS_NUM_THREADS=1 python tests/speed/bench_large.py 20 60 500  # one case: pieces, stages, readings, and how often turned
"""

from __future__ import annotations

import contextlib
import io
import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import large

CASES = (
    *((pieces, 12, 50, "2 d") for pieces in (2, 5, 10, 20)),  # pieces
    *((10, stages, 50, "2 d") for stages in (6, 12, 24, 48)),  # stages
    *((10, 6, 50, turn) for turn in ("2 d", "1 d", "12 h", "6 h")),  # turns
    *((4, 6, 20, turn) for turn in ("15 min", "10 min")),  # turns that are averaged
    (20, 60, 500, "2 d"),
)


def run(pieces: int, stages: int, readings: int, turn_every: str) -> str:
    """One row: what `curelab run` does with such a batch, from the file on."""
    from curelab.engine.turning import legs_of
    from curelab.outcome import run as outcome_of
    from curelab.show import report

    batch = large.large(pieces, stages, readings, turn_every)
    begin, wall = time.process_time(), time.perf_counter()
    outcome = outcome_of(batch)
    with contextlib.redirect_stdout(io.StringIO()):
        report.words(outcome)
    took, wall = time.process_time() - begin, time.perf_counter() - wall
    legs = legs_of(batch.pieces, batch.filled())
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return (
        f"{pieces:7}{stages:8}{readings:10}{turn_every:>8}{legs:7}{outcome.draws:7}{took:9.1f}{wall:9.1f}"
        f"{1e3 * took / (pieces * legs):22.1f}{most:9.0f}"
    )


def main() -> None:
    if len(sys.argv) > 1:
        counts = [int(given) for given in sys.argv[1:4]]
        print(run(*counts, turn_every=" ".join(sys.argv[4:]) or "2 d"), flush=True)
        return
    print(
        f"{'pieces':>7}{'stages':>8}{'readings':>10}{'turned':>8}{'legs':>7}{'draws':>7}{'s':>9}{'s, wall':>9}"
        f"{'ms per piece and leg':>22}{'MB':>9}"
    )
    for case in CASES:
        subprocess.run([sys.executable, __file__, *map(str, case)], check=True)


if __name__ == "__main__":
    main()
