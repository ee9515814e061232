"""Work that takes long, done by a process of its own: the page can be used meanwhile, and the work can be stopped."""

from __future__ import annotations

import asyncio
import contextlib
import os
import pickle
import sys
from collections.abc import Callable
from typing import Any

from ..fields import InputError

_ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")

AT_WORK = "{}: at work. Stop"


async def beside(work: Callable[..., Any], *given: Any) -> Any:
    """What `work(*given)` gives, a function of a module. To break this off ends the process.

    Raises InputError as the work does, OSError where no process can be had, and RuntimeError with its last words where it failed.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", f"from curelab.lab.beside import answer; answer()  # {work.__name__}", env=os.environ | _ONE_THREAD,
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    try:
        said, told = await process.communicate(pickle.dumps((work, given)))
    finally:
        if process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
    if process.returncode:
        raise RuntimeError((told.decode(errors="replace").strip().splitlines() or ["it ended early"])[-1])
    made, problems = pickle.loads(said)
    if problems:
        raise InputError(problems)
    return made


def answer() -> None:
    """The other side: read what is to be done, do it, and write (what came of it, the problems)."""
    work, given = pickle.load(sys.stdin.buffer)
    problems: tuple[Any, ...] = ()
    made = None
    with contextlib.redirect_stdout(sys.stderr):
        try:
            made = work(*given)
        except InputError as error:
            problems = error.problems
    sys.stdout.buffer.write(pickle.dumps((made, problems)))


class Aside:
    """What buttons ask for, each worked out beside the page while the button says so."""

    def __init__(self) -> None:
        self._tasks: dict[Any, asyncio.Task] = {}

    def ask(
        self,
        button: Any,
        take: Callable[[Any], Any],
        refuse: Callable[[str], Any],
        work: Callable[..., Any],
        *given: Any,
    ) -> None:
        """Hand `take` what `work(*given)` gives, or tell `refuse` why it cannot be; asked once more by the same button, break it off. Without a
        kernel it is done at once.
        """
        if button in self._tasks:
            self._tasks[button].cancel()
        elif in_a_loop():
            words, button.label = button.label, AT_WORK.format(button.label)
            self._tasks[button] = asyncio.get_running_loop().create_task(_answered(words, take, refuse, work, given))
            # Not by the task itself: one that is broken off before it began comes by none of its own lines.
            self._tasks[button].add_done_callback(lambda task: self._over(button, words))
        else:
            try:
                take(work(*given))
            except InputError as error:
                refuse(error.said())

    def _over(self, button: Any, words: str) -> None:
        button.label = words
        del self._tasks[button]


async def _answered(
    words: str, take: Callable[[Any], Any], refuse: Callable[[str], Any], work: Callable[..., Any], given: tuple
) -> None:
    try:
        take(await beside(work, *given))
    except InputError as error:
        refuse(error.said())
    except (OSError, RuntimeError) as error:
        refuse(f"{words}: this could not be computed: {error}")


def in_a_loop() -> bool:
    """Whether a kernel is behind the page, and not a script or a test."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True


__all__ = ["Aside", "answer", "beside", "in_a_loop"]
