"""A history and its draws, read side by side: what every picture and sentence with a band is made from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..forecast import Window, first_time, window_of
from ..recipe.criterion import Criterion
from .answers import Band, Windows, ordered
from .draws import Request, Spread

Three = tuple[np.ndarray, np.ndarray | None, np.ndarray | None]


@dataclass(frozen=True)
class Banded:
    """`usual`: the history at the usual value of everything; `many`: the same in many draws, None for no bands.

    Every reading is (middle, low, high): the 50, 10 and 90 % points of the draws; without draws the usual history, None, None. A time
    after the end of a history is its end.
    """

    usual: History
    many: Spread | None = None

    @property
    def meaning(self) -> str:
        """What line and band mean; with bands off, that nothing is shown of how sure it is."""
        if self.many is None:
            return "Bands are off: one curve at the usual value of everything, and nothing of how sure it is."
        return self.many.meaning

    def number(self, piece: int | str) -> int:
        """Number of a piece, from 0."""
        names = [each.name for each in self.usual.pieces]
        return names.index(piece) if isinstance(piece, str) else range(len(names))[piece]

    def at(self, place: str, quantity: str, times, piece: int | str = 0, basis: str | None = None) -> Three:
        """Fraction (t,) at "core", "average", "surface" or "first bite" (the outermost 5 mm, of the meat)."""
        if self.many is not None:
            if place == "first bite":
                return self._band("first_bite", quantity=quantity, times=times, piece=self.number(piece))
            return self._band("at", place=place, quantity=quantity, times=times, piece=self.number(piece), basis=basis)
        when = np.minimum(times, self.usual.length)
        if place == "first bite":
            return self.usual.first_bite(quantity, when, piece), None, None
        return self.usual.at(place, quantity, when, piece, basis), None, None

    def bath(self, quantity: str, times) -> Three:
        """Mass fraction (t,) in the bath."""
        if self.many is not None:
            return self._band("bath", quantity=quantity, times=times)
        return self.usual.bath(quantity, np.minimum(times, self.usual.length)), None, None

    def profile(
        self, quantity: str, time: float, piece: int | str = 0, basis: str | None = None
    ) -> tuple[np.ndarray, Three]:
        """(depth [m] of the piece as planned, values (x,)) from face to face at one time [s]."""
        if self.many is not None:
            band: Band = self.many.profile(quantity, (time,), self.number(piece), basis)
            assert band.depth is not None
            thickness = self.usual.pieces[self.number(piece)].thickness
            return band.depth * thickness, (band.middle[0], band.low[0], band.high[0])
        found = self.usual.profile(quantity, min(time, self.usual.length), piece, basis)
        return found.depth, (found.values, None, None)

    def until(
        self, criterion: str | Criterion, piece: int | str | None = None, stage: int = 0, where: str = "every"
    ) -> tuple[float, float | None, float | None]:
        """(middle, early, late) seconds since the start at which a criterion first holds from the beginning of a stage on, in one piece or
        in "every" or "any" of them; inf: not within what was simulated; early and late None without draws.
        """
        wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
        asked: int | str = where if piece is None else self.number(piece)
        if self.many is not None:
            request = Request.of("first_time", criterion=wanted, index=stage, where=asked)
            early, middle, late = ordered(self.many.readings([request])[0])
            return middle, early, late
        found = first_time(self.usual, wanted, self.usual.span(stage)[0], asked)
        return (np.inf if found is None else found), None, None

    def window(self, cured: str, too_salty: str = "average salt >= 3 %") -> Windows | Window:
        """From cured in the middle to too salty on the whole, within what was simulated: in every draw, or at the usual value alone."""
        if self.many is None:
            return window_of([self.usual], cured, too_salty)
        ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)
        opens, closes = self.many.readings(
            [
                Request.of("first_time", criterion=ready, index=0, where="every"),
                Request.of("first_time", criterion=salty, index=0, where="any"),
            ]
        )
        return Windows(opens, closes, str(ready), str(salty), self.many.rests_on)

    def chance(self, criterion: str | Criterion, time: float, piece: int | str | None = None) -> float | None:
        """Share of the draws in which a criterion holds at a time [s], in one piece or in all; None without draws."""
        return None if self.many is None else self.many.chance(criterion, time, piece)

    def _band(self, name: str, **given) -> Three:
        assert self.many is not None
        given["times"] = np.atleast_1d(np.asarray(given["times"], dtype=float))
        band = self.many.band(Request.of(name, **given))
        return band.middle, band.low, band.high
