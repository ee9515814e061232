"""One thread for linear algebra: the matrices are small, and threads that compete for two cores make a run ten times longer."""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
