"""Terms are made on one thread also by what is loaded only then: with its own threads it took thrice the time beside busy processes."""

import os
import subprocess
import sys

SCRIPT = """
from threadpoolctl import threadpool_info
import importlib
solid = importlib.import_module("curelab.bodies.solid")
from curelab import Bath, Brine, Piece, simulate
bath = Brine(bath=Bath(water="1 kg", salt="40 g"), temperature="3 degC", lasts="2 d")
simulate(Piece(thickness="4 cm", weight="1 kg"), bath)
def made(*given):
    print(sorted({each["num_threads"] for each in threadpool_info() if each["user_api"] == "blas"}))
    raise SystemExit
import curelab.bodies.kept as kept
kept.get = lambda key, make: make()
solid.problem = made
simulate(Piece(shape="block", thickness="4 cm", width="5 cm", length="6 cm", weight="120 g"), bath)
"""


def test_terms_are_made_on_one_thread():
    env = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}
    ran = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, text=True, timeout=120, env=env | {"CURELAB_CACHE": "off"}
    )
    assert ran.stdout == "[1]\n", ran.stdout + ran.stderr
