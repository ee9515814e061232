"""How a lab is asked to end: by Ctrl-C, by a polite request, by a terminal that is closed. One handler from the first line to the last."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Callable, Iterator
from typing import Any

LONGEST = 3.0  # s for what is broken off to end; judgement: a file is read by then


class Asked(BaseException):
    """A lab that is still starting ends, because somebody asked it to.

    No KeyboardInterrupt: where one has passed through code that was made from text, as each namedtuple and dataclass is while it is
    imported, Python ends itself by the signal in the end, although it was caught.
    """


class Ending:
    """The handler of all signals that ask a program to end. `count`: how often it was asked.

    Only the second, of somebody who will not wait, breaks into what is being done while the lab starts: an exception from anywhere is lost
    or told where a library catches it. From `serve` on none does, and `then` is called with the count.
    """

    def __init__(self) -> None:
        self.count = 0
        self.then: Callable[[int], Any] | None = None

    def __call__(self, number: int, frame: Any) -> None:
        self.count += 1
        if number == getattr(signal, "SIGHUP", None):  # the terminal is gone, and nothing can be said there any more
            for stream in (1, 2):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
        if self.then is not None:
            self.then(self.count)
        elif self.count == 2:
            raise Asked

    def here(self) -> None:
        """A place between two steps of the start, where it can be left. Raises Asked where it was asked to end."""
        if self.count:
            raise Asked

    def serve(self, then: Callable[[int], Any]) -> None:
        """Call `then` from now on; at once, where it was asked already."""
        self.then = then
        if self.count:
            then(1)


@contextlib.contextmanager
def polite_end() -> Iterator[Ending]:
    """Take every signal that asks to end, so that nothing is left behind, and give them back at the end."""
    ending = Ending()
    before = {number: signal.getsignal(number) for number in asking_to_end()}
    try:
        try:
            for number in before:
                signal.signal(number, ending)
            yield ending
        finally:
            ending.then = lambda count: None
    except Asked:
        pass
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def asking_to_end() -> list[signal.Signals]:
    """Ctrl-C, a polite request, and a terminal that is closed, unless whoever started us (nohup) wants us to outlive it."""
    asking = [signal.SIGINT, signal.SIGTERM]
    hung_up = getattr(signal, "SIGHUP", None)
    if hung_up is not None and signal.getsignal(hung_up) != signal.SIG_IGN:
        asking.append(hung_up)
    return asking


def ask_no_more() -> None:
    """For a program that has ended its work: who asks once more, while Python puts itself away, is answered by its end."""
    for number in asking_to_end():
        signal.signal(number, signal.SIG_IGN)


def keep_quiet(loop: asyncio.AbstractEventLoop, ending: Ending) -> None:
    """Say nothing of messages to a page that was closed, and nothing at all of what is broken off by the end."""
    from tornado.websocket import WebSocketClosedError

    def heard(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        if not ending.count and not isinstance(context.get("exception"), WebSocketClosedError):
            loop.default_exception_handler(context)

    loop.set_exception_handler(heard)


def finish(loop: asyncio.AbstractEventLoop) -> None:
    """Break off what is left on a loop that was stopped, as asyncio.run does: a thread that reads a file for it waits for ever else."""
    left = asyncio.all_tasks(loop)
    for task in left:
        task.cancel()
    if left:
        loop.run_until_complete(asyncio.wait(left, timeout=LONGEST))
