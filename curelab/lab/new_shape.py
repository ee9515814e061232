"""The terms of a shape that nobody has computed yet, made beside the page, so that it can be used and the work can be stopped."""

from __future__ import annotations

import asyncio
import contextlib
import os
import pickle
import sys

_MAKE = "import pickle, sys; from curelab.bodies.solid import _basis; _basis(*pickle.load(sys.stdin.buffer))"
_ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")


async def made_beside(key: tuple) -> None:
    """Until a process of its own has put the terms of a key (`kept.NotKept`) on disk, or could not. To break this off ends the process."""
    process = None
    try:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", _MAKE, env=os.environ | _ONE_THREAD,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
        )  # fmt: skip
        await process.communicate(pickle.dumps(key))
    except OSError:  # no process can be had: whoever draws then makes the terms
        return
    finally:
        if process is not None and process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()


__all__ = ["made_beside"]
