"""One piece by itself after a stretch that it shared with others: where nothing enters or leaves pieces, they need not be computed together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .clock import Clock
from .heat import Heat
from .meat import Meat
from .run import Run
from .track import Track


@dataclass(frozen=True, eq=False)
class Alone:
    """What piece number `piece` brings out of a run that is over into what follows, as its only piece. It cannot be read itself."""

    run: Run
    piece: int
    found: None = None

    @property
    def index(self) -> int:
        return self.run.index

    @property
    def begin(self) -> np.ndarray:
        return self.run.begin

    @property
    def length(self) -> np.ndarray:
        return self.run.length

    @property
    def end(self) -> np.ndarray:
        return self.run.end

    @property
    def clock(self) -> Clock:
        return self.run.clock

    @property
    def heat(self) -> Heat | None:
        return self.run.heat

    @cached_property
    def left(self) -> tuple[Meat, ...]:
        return (self.run.left_of(self.piece),)

    @property
    def slices(self) -> tuple[slice, ...]:
        return (slice(0, self.left[0].body.count),)

    def water_ended(self) -> tuple[np.ndarray, ...]:
        return (self.run.water_ended_of(self.piece),)

    def home(self, name: str) -> tuple[Track, int] | None:
        return self.run.home(name)

    def handed(self, name: str) -> np.ndarray:
        """Terms of w (d, r), without a bath."""
        return self.run.handed_by(self.piece, name)

    def between_ended(self) -> np.ndarray:
        return self.run.between_ended()
