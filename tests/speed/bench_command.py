"""What the words of the command take, over the time of importing numpy, pandas and scipy.linalg: alone, and beside a busy process.

python tests/speed/bench_command.py                       # of the demo brisket, the least of seven runs each, in one round after the other
python tests/speed/bench_command.py demo_plate template_*  # of other batches in datasets/, by name or pattern
Processor time, so that others on the machine count little; all words of a batch, and the imports, take turns, so that they count alike.
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
    """s of the processor that a command takes. Compiled files are kept, as they are where it is installed, and the terms of bodies."""
    given = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    given |= {"PYTHONPATH": str(ROOT), "CURELAB_CACHE": str(Path(folder) / "bodies")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, env=given, cwd=folder, check=False, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


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
    asked = sys.argv[1:] or ["demo_brisket"]
    files = [path for name in asked for path in sorted((ROOT / "datasets").glob(f"{name.removesuffix('.toml')}.toml"))]
    print(f"{'batch':32}{'word':8}{'beside':>14}{'s':>8}{'times the imports':>20}{'allowed':>10}")
    with tempfile.TemporaryDirectory() as folder:
        for file in files:
            words = {
                word: (
                    sys.executable,
                    "-m",
                    "curelab",
                    word,
                    str(file),
                    *(("-o", "out.html", "--replace") if word == "sheet" else ()),
                )
                for word in ALLOWED
            }
            for beside in (False, True):
                with busy(beside):
                    rounds = [
                        {word: spent(each, folder) for word, each in {"": IMPORTS, **words}.items()}
                        for _ in range(RUNS)
                    ]
                least = {word: min(each[word] for each in rounds) for word in rounds[0]}
                name = "busy process" if beside else "nothing"
                print(f"{file.stem:32}{'imports':8}{name:>14}{least['']:8.2f}{1:20.2f}")
                for word, allowed in ALLOWED.items():
                    took = least[word]
                    print(
                        f"{file.stem:32}{word:8}{name:>14}{took:8.2f}{took / least['']:20.2f}{allowed:10.1f}",
                        flush=True,
                    )


if __name__ == "__main__":
    main()
