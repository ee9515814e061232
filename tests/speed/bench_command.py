"""What the words of the command take, over the time of importing numpy, pandas and scipy.linalg: alone, and beside a busy process.

python tests/speed/bench_command.py          # the least of seven runs each; processor time, so that others on the machine count little
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
IMPORTS = (sys.executable, "-c", "import numpy, pandas, scipy.linalg")
ALLOWED = {"run": 3.0, "plan": 3.0, "sheet": 3.0, "check": 1.2}
RUNS = 7


def spent(command: tuple[str, ...], folder: str) -> float:
    """s of the processor that a command takes, the least of RUNS. Compiled files are kept, as they are where it is installed."""
    given = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    given["PYTHONPATH"] = str(ROOT)
    found = []
    for _ in range(RUNS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, env=given, cwd=folder, check=False, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


@contextmanager
def busy(wanted: bool):
    """A process that computes without end, for each processor but one at least."""
    spinning = [sys.executable, "-c", "while True: pass"]
    begun = [subprocess.Popen(spinning) for _ in range(max(1, (os.cpu_count() or 1) - 1) * wanted)]
    try:
        yield
    finally:
        for each in begun:
            each.kill()
            each.wait()


def main() -> None:
    print(f"{'word':8}{'beside':>14}{'s':>8}{'times the imports':>20}{'allowed':>10}")
    with tempfile.TemporaryDirectory() as folder:
        batch = Path(folder) / "batch.toml"
        batch.write_bytes((ROOT / "datasets" / "demo_brisket.toml").read_bytes())
        for beside in (False, True):
            with busy(beside):
                unit, name = spent(IMPORTS, folder), "busy process" if beside else "nothing"
                print(f"{'imports':8}{name:>14}{unit:8.2f}{1:20.2f}")
                for word, allowed in ALLOWED.items():
                    took = spent((sys.executable, "-m", "curelab", word, str(batch)), folder)
                    print(f"{word:8}{name:>14}{took:8.2f}{took / unit:20.2f}{allowed:10.1f}", flush=True)


if __name__ == "__main__":
    main()
