"""The plotly figure of a result: what `history.plot("salt")` gives. A new sort of result registers its picture here."""

from __future__ import annotations

from functools import singledispatch
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from ..engine.history import History, Profile
from ..recipe.piece import Piece
from ..spread import Spread
from . import cut_section, pictures

if TYPE_CHECKING:
    import plotly.graph_objects as go


@singledispatch
def draw(result: Any, *what: Any, **more: Any) -> go.Figure:
    """The figure of a result. Of a history or a spread: `quantity`, "salt" if none is named, at the surface, on average and at the core over
    the days, with bands for a spread; with `time`, across the piece at that time; with `depth=True` (a history), as a map of depth
    against days; with `section=True` (a history), in the section along a piece with a length, at `time` or at the end. piece, basis and system ("metric" or "us") as readings take them. Of a profile: its lines. Of a piece with a
    length: its section along the middle, or across `at` a place from its head. Raises TypeError for a
    result that has no picture.

    >>> import curelab
    >>> cure = curelab.Brine(bath=curelab.Bath(water="1 kg", salt="45 g"), temperature="3 degC", lasts="7 d")
    >>> history = curelab.simulate(curelab.Piece(thickness="4 cm", weight="1 kg"), cure)
    >>> [line.name for line in history.plot("salt").data]
    ['surface', 'average', 'core']
    """
    raise TypeError(f"a {type(result).__name__} has no picture; what has one is {', '.join(sorted(_drawn()))}")


def _drawn() -> list[str]:
    return [sort.__name__ for sort in draw.registry if sort is not object]


@draw.register
def _(
    result: Spread,
    quantity: str = "salt",
    *,
    time: Any = None,
    piece: int | str = 0,
    basis: str | None = None,
    system: str = "metric",
):
    from . import figures

    if time is None:
        return figures.lines(pictures.over_time(result, quantity, piece, basis))
    return figures.lines(pictures.profile(result, units.seconds(time), (quantity,), piece, system, basis))


@draw.register
def _(result: History, quantity: str = "salt", *, depth: bool = False, section: bool = False, **more: Any):
    from . import figures

    if section:
        when = more.pop("time", None)
        return figures.section(
            cut_section.filled(result, quantity, None if when is None else units.seconds(when), **more)
        )
    if depth:
        return figures.depth_map(pictures.depth_map(result, quantity, **more))
    return draw(Spread.single(result.of(0) if result.drawn else result), quantity, **more)


@draw.register
def _(result: Piece, *, at: Any = None, system: str = "metric"):
    from . import figures

    return figures.section(
        cut_section.along(result, system)
        if at is None
        else cut_section.across(result, units.read(at, "length"), system)
    )


@draw.register
def _(result: Profile, *, system: str = "metric"):
    from . import figures

    factor, unit = pictures.scale(result.quantity, result.basis)
    along, length = pictures.depth_scale(system)
    values = result.values.reshape(-1, len(result.depth))
    times = [None] if result.times is None else np.resize(result.times, len(values)).tolist()
    series = tuple(
        pictures.Series(
            result.quantity if time is None else units.hour_or_day(time), along * result.depth, factor * row,
            pictures.COLOURS[result.quantity], list(pictures.PIECE_DASHES)[n % len(pictures.PIECE_DASHES)],
        )
        for n, (time, row) in enumerate(zip(times, values, strict=True))
    )  # fmt: skip
    return figures.lines(pictures.Lines(result.lines()[0], f"depth, {length}", f"{result.quantity}, {unit}", series))
