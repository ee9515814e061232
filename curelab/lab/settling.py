"""What a page does while no hand moves its controls: draws behind the bands, a new shape beside the page, and what can wait."""

from __future__ import annotations

import asyncio
import time
from abc import ABC, abstractmethod
from collections.abc import Coroutine, Iterator
from typing import Any

from ..bodies.kept import NotKept, known_only
from . import state as pages
from .beside import in_a_loop
from .boxes import row
from .controls import Press
from .nav import Nav
from .new_shape import STOPPED_SHAPE, WORKING_SHAPE, made_beside
from .say import Say

SOON = 0.12  # s without a change, after which the first ranges are worked out
REST = 0.35  # s without a change, after which the sliders are taken to rest
LOADING = 2.0  # s that a new page is given to be shown before anything is worked out beside it
GAP = 0.002  # s left between two steps for what the user does meanwhile
STEP = 0.015  # s: steps that are shorter together count as one
UNSEEN = 0.5  # s of computing before the page says so
RANGES = "Working out the ranges from more draws. Until then they rest on a few."
STOPPED_RANGES = "Stopped before it was known how sure this is. Press Go on, or change something."
STOPPED_MORE = "Stopped. The ranges rest on a few draws."
STOP, GO_ON = "Stop", "Go on"


class Settling(ABC):
    """The part of a bench that works while it is at rest. Whatever is changed breaks it off, and it begins anew."""

    state: pages.State
    nav: Nav
    waits = False  # whether the outcome that a page shows is not there yet

    def __init__(self) -> None:
        self._given_up = time.monotonic() + LOADING if in_a_loop() else 0.0
        self._settling: asyncio.Task | None = None
        self._tried: tuple | None = None  # the shape that was made beside the page last

    @abstractmethod
    def draw_all(self) -> None:
        """Show what the state says now, and what is open of what is folded."""

    @abstractmethod
    def redraw(self) -> None:
        """The same, truthful when something fails."""

    @abstractmethod
    def put_by(self) -> None:
        """Do what can wait until the hand has long rested."""

    @abstractmethod
    def say_assumed(self) -> None:
        """Say under every picture what was assumed."""

    @abstractmethod
    def fail(self, message: str) -> None:
        """Take every answer and picture away and say why."""

    def make_at_work(self) -> None:
        """The line that says what is being computed, and its button."""
        self.running, self.stop = Say("", "note"), Press(STOP)
        self.stop.on_press(lambda pressed: self._stop())
        # Keeps its room while it is hidden, so that the page does not jump: beside the button that saves the picture.
        self.at_work = row(self.running, self.stop, share=(4, 1), at_least=90)
        self.at_work.layout.margin = "-38px 130px 0 0"
        self.at_work.layout.width = "auto"
        self.at_work.layout.visibility = "hidden"
        self.at_work.add_class("cl-at-work")

    def settle(self, count: int | None = None) -> Iterator[None]:
        """Draw once more, with so many draws behind the bands (None: all); steps are short, and nothing changes before the last."""
        if self.state.problems:
            return
        if count is None and self.state.bare:  # what is asked of draws is known once there are some
            yield from self.settle(pages.FEW)
        new = count is None
        for _ in self.settled(count):
            new = True
            yield
        if new:
            self.draw_all()
        if count is None:
            self.say_assumed()

    def settled(self, count: int | None) -> Iterator[None]:
        """Compute what is shown in so many draws, in short steps."""
        yield from self.state.settled(count)

    def settle_when_at_rest(self) -> None:
        """While a slider moves the usual case stands alone; few draws follow as soon as it rests, and then all of them."""
        if in_a_loop():  # else there is no kernel behind it: a script or a test settles by itself
            self.when_at_rest(self._at_rest())
        else:
            self.say_assumed()

    def when_at_rest(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something while the page is at rest, in the place of what was done before."""
        self.stop_settling()
        self._settling = asyncio.get_running_loop().create_task(work)

    async def _at_rest(self) -> None:
        """First the ranges of what has none yet, then all that can wait until the hand has long rested."""
        try:
            await asyncio.sleep(SOON)
            await self._loaded()
            await self._first_ranges()
            await asyncio.sleep(REST - SOON)
            self.put_by()
            await self._in_steps(self.settle())
        except NotKept as missing:  # the usual case did without
            await self.make_beside(missing.key)
        except Exception as error:
            self.fail(f"This could not be computed: {error}")
        finally:
            if self._settling is asyncio.current_task():
                self.at_work.layout.visibility = "hidden"

    async def _loaded(self) -> None:
        """Until the page is shown, or late: what it asks for while it loads would have to wait between the steps."""
        while not self.nav.seen and time.monotonic() < self._given_up:
            await asyncio.sleep(GAP)

    async def put_by_at_rest(self) -> None:
        """Where nothing is to be computed."""
        await asyncio.sleep(REST)
        self.put_by()

    async def _first_ranges(self) -> None:
        """Few draws. Raises NotKept where they need terms that nobody has made; those that were made beside and are not kept are made here."""
        try:
            with known_only():
                await self._in_steps(self.settle(pages.FEW))
        except NotKept as missing:
            if missing.key != self._tried:
                raise
            await self._in_steps(self.settle(pages.FEW))

    async def _in_steps(self, steps: Iterator[None]) -> None:
        """Take all steps, and let the user in between; say so where that lasts."""
        begun = rested = time.monotonic()
        for _ in steps:
            if time.monotonic() - rested < STEP:
                continue
            if time.monotonic() - begun > UNSEEN and self.at_work.layout.visibility == "hidden":
                self._say_at_work(RANGES)
            await asyncio.sleep(GAP)
            rested = time.monotonic()

    def _stop(self) -> None:
        """What the button asks: to stop, and then to go on."""
        if self._settling is None or self._settling.done():
            self.redraw()
            return
        why = ""
        if self.running.text == WORKING_SHAPE:
            self.fail(STOPPED_SHAPE)
        elif self.state.bare or self.waits:  # what was said to follow does not
            self.fail(STOPPED_RANGES)
        else:
            why = STOPPED_MORE
        self.stop_settling()
        self.put_by()  # what was changed is kept all the same
        self._say_at_work(why, GO_ON)

    def _say_at_work(self, words: str, button: str = STOP) -> None:
        self.running.text, self.stop.label = words, button
        self.at_work.layout.visibility = "visible"

    def stop_settling(self) -> None:
        """Leave the bands as they are, with the draws that stand behind them now; the next change begins anew."""
        if self._settling is not None:
            self._settling.cancel()
            self._settling = None
        self.at_work.layout.visibility = "hidden"

    async def make_beside(self, key: tuple) -> None:
        """Have the terms of a shape made by a process of its own, and draw."""
        await asyncio.sleep(REST)
        self.put_by()
        self._say_at_work(WORKING_SHAPE)
        await made_beside(key)
        self._tried = key
        self._settling = None
        self.redraw()  # the line stays until that is drawn, too


__all__ = ["Settling"]
