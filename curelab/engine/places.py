"""Readings at a place of a piece: a probe, the slowest spot, a section, all of it.

Places count as a cook measures them, in m: `along` from the head, `across` from the middle of the width to the left (-) or right (+),
`depth` from the first face there. They are those of the piece as it was measured; a draw whose ruler was off has them in proportion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from ..bodies import Solid
from ..recipe.criterion import TEMPERATURE
from ..recipe.piece import Piece
from ..results import Shown
from .run import Run

if TYPE_CHECKING:
    from .history import History


@dataclass(frozen=True, repr=False)
class Field(Shown):
    """A quantity on a grid: along, across, depth (...) [m]; values (t?, ...), fractions on `basis`, with draws (d, t, ...); times [s] as
    they were asked for, None: at the end. mirrored: they are of the right half of the width, and the left one is alike; rows have both.
    """

    quantity: str
    basis: str
    along: np.ndarray
    across: np.ndarray
    depth: np.ndarray
    values: np.ndarray
    times: Any = None
    mirrored: bool = False

    def lines(self) -> list[str]:
        kind = "temperature" if self.quantity == TEMPERATURE else "fraction"
        least, most = (units.show(float(each), kind) for each in (self.values.min(), self.values.max()))
        shape = " x ".join(map(str, self.along.shape))
        return [f"{units.capital(self.quantity)} ({self.basis}) at {shape} places: {least} to {most}"]

    def rows(self) -> list[dict[str, Any]]:
        """One for each (draw,) time and place."""
        lead = self.values.shape[: self.values.ndim - self.along.ndim]
        times = None if self.times is None or not lead else np.broadcast_to(self.times, lead)
        other = np.flatnonzero(self.across.ravel() > 0) if self.mirrored else np.zeros(0, dtype=int)
        which = np.append(np.arange(self.across.size), other)
        along, across, depth = (each.ravel()[which] for each in (self.along, self.across, self.depth))
        across[self.across.size :] *= -1
        found = []
        for number in np.ndindex(lead):
            head = {"draw": number[0]} if len(lead) > 1 else {}
            when = self.times if times is None else times[number]
            head |= {} if when is None else {"time_s": float(when)}
            values = self.values[number].ravel()[which]
            for a, b, c, value in zip(*(each.tolist() for each in (along, across, depth, values)), strict=True):
                found.append(head | {"along_m": a, "across_m": b, "depth_m": c, "fraction": value})
        return found


def probe(history: History, name: str, basis: str, times: Any, number: int, place: tuple[Any, Any, Any]) -> Any:
    """Fraction at a place (along, across, depth) [m or texts], at times. Raises ValueError for one that is not in the piece."""
    piece, body = history.pieces[number], history.body(number)
    along, across, depth = (None if each is None else units.read(each, "length") for each in place)
    if not isinstance(body, Solid):
        if along or across:
            raise ValueError(f"the {piece.name} is a {piece.shape} without a length, so a probe in it has a depth only")
        share = _inside(piece, "depth", depth, 0.0, piece.thickness) / piece.thickness
        share = share if body.two_sided else 0.5 + abs(share - 0.5)
        return _interpolated(history, name, basis, times, number, share)
    outline = body.grid.outline
    start = _inside(piece, "along", along, 0.0, outline.length * piece.thickness) / piece.thickness
    wide, thick = (
        float(np.interp(start, outline.at, each)) * piece.thickness for each in (outline.width, outline.thickness)
    )
    aside = _inside(piece, "across", across or 0.0, -0.5 * wide, 0.5 * wide) / (0.5 * wide)
    deep = _inside(piece, "depth", depth, 0.0, thick) / thick
    row, tissue = body.at(start / outline.length, aside, deep)
    read = _reader(name, basis, number, row[None], np.array([tissue]))
    found = history.reading(
        ("probe", name, basis, number, start, aside, deep), times, lambda run, t: read(run, t)[..., 0]
    )
    return found


def slowest(history: History, name: str, times: Any, number: int) -> tuple[Any, Any]:
    """(along, depth) [m] of the slowest spot at times."""
    piece, meat = history.pieces[number], history.state.meats[number]
    if not isinstance(meat.body, Solid):
        rows = meat.spots.rows[:, 0] @ np.linalg.pinv(meat.body.rows)
        depth = float((rows[0] @ meat.body.depth) * piece.thickness)
        return 0.0, depth
    outline = meat.body.grid.outline

    def one(which: int) -> Callable[[Run, np.ndarray], np.ndarray]:
        return lambda run, t: run.slowest_place(name, t, number)[which]

    along = history.reading(("slowest along", name, number), times, one(0))
    centre = history.reading(("slowest depth", name, number), times, one(1))
    thick = np.interp(along, outline.at, outline.thickness)
    depth = centre + 0.5 * thick
    return along * piece.thickness, depth * piece.thickness


def aside(history: History, along: Any, number: int) -> Any:
    """m across from the middle of the width (left -, right +) of the plane in which the slowest spots lie, at places along [m]; 0 where both
    sides are alike.
    """
    body = history.body(number)
    if not isinstance(body, Solid):
        return 0.0 * np.asarray(along)
    points, thick = body.grid.elements.points[body.middle[:, 0]], history.pieces[number].thickness
    return np.interp(np.asarray(along) / thick, points[:, 0], points[:, 1]) * thick


def section(history: History, name: str, basis: str, times: Any, number: int, at: Any = None) -> Field:
    """The plane along the middle of the width, or across the piece `at` a place along it, on the nodes there."""
    return _field(history, name, basis, times, number, None if at is None else units.read(at, "length"), whole=False)


def field(history: History, name: str, basis: str, times: Any, number: int) -> Field:
    """Every node of a piece."""
    return _field(history, name, basis, times, number, None, whole=True)


def plane(history: History, name: str, basis: str, number: int) -> Callable[[Run, np.ndarray], np.ndarray]:
    """Reads (d, t, k) at the nodes of the `section` along a piece with a length, one after the other."""
    body = history.body(number)
    assert isinstance(body, Solid)
    nodes = body.middle.ravel()
    return _reader(name, basis, number, body.values[nodes], body.tissue_of_nodes[nodes])


def _field(history: History, name: str, basis: str, times: Any, number: int, at: float | None, whole: bool) -> Field:
    piece, body = history.pieces[number], history.body(number)
    if not isinstance(body, Solid):
        raise ValueError(f"the {piece.name} is a {piece.shape} without a length; read its profile")
    outline = body.grid.outline
    if whole:
        nodes = np.arange(len(body.values)).reshape(body.grid.elements.shape)
    elif at is None:
        nodes = body.middle
    else:
        share = _inside(piece, "at", at, 0.0, outline.length * piece.thickness) / (outline.length * piece.thickness)
        nodes = np.arange(len(body.values)).reshape(body.grid.elements.shape)[
            int(np.argmin(np.abs(body.grid.along - share)))
        ]
    points = body.grid.elements.points[nodes.ravel()]
    thick = np.interp(points[:, 0], outline.at, outline.thickness)
    aside = points[:, 1] if not outline.turned else np.zeros(len(points))
    if name == TEMPERATURE:
        wide = np.interp(points[:, 0], outline.at, outline.width)
        sides = np.clip(2 * aside / wide, -1.0, 1.0)
        shares = np.stack(
            [points[:, 0] / outline.length, sides, np.clip(points[:, -1] / thick + 0.5, 0.0, 1.0)], axis=1
        )
        read = _warmth_reader(number, shares)
    else:
        read = _reader(name, basis, number, body.values[nodes.ravel()], body.tissue_of_nodes[nodes.ravel()])
    key = ("field", name, basis, number, at, whole)
    values = history.reading(key, times, read)
    along, across, depth = (
        piece.thickness * each.reshape(nodes.shape) for each in (points[:, 0], aside, points[:, -1] + 0.5 * thick)
    )
    shown, halved = values.reshape(*values.shape[:-1], *nodes.shape), outline.halved and (whole or at is not None)
    return Field(name, basis, along, across, depth, shown, units.seconds(times), halved)


def _reader(name: str, basis: str, number: int, rows: np.ndarray, tissues: np.ndarray):
    return lambda run, t: run.places(name, basis, t, number, rows, tissues)


def _warmth_reader(number: int, shares: np.ndarray):
    """K (d, t, k) at places (k, 3) of a piece: along as a share of its length, across from -1 to 1, deep as a share of its thickness there."""

    def read(run: Run, t: np.ndarray) -> np.ndarray:
        if run.heat is None:
            return np.repeat(run.temperature("core", t, number)[..., None], len(shares), axis=-1)
        warmth = run.heat.through[number].warmth
        body = warmth.meat.body  # heat has terms of its own where tissues or a skin ask for them
        assert isinstance(body, Solid)
        return warmth.read(np.stack([body.at(*place)[0] for place in shares]), t)

    return read


def _interpolated(history: History, name: str, basis: str, times: Any, number: int, share: float) -> Any:
    depth = history.depths(number)

    def one(run: Run, t: np.ndarray) -> np.ndarray:
        values = run.profile(name, basis, t, number)
        after = int(np.clip(np.searchsorted(depth, share), 1, len(depth) - 1))
        weight = (share - depth[after - 1]) / (depth[after] - depth[after - 1])
        return values[..., after - 1] * (1 - weight) + values[..., after] * weight

    return history.reading(("probe", name, basis, number, share), times, one)


def _inside(piece: Piece, what: str, given: float | None, low: float, high: float) -> float:
    if given is None or not low - 1e-9 <= given <= high + 1e-9:
        told = "missing" if given is None else f"{1e3 * given:.4g} mm is outside the {piece.name}"
        raise ValueError(f"{what}: {told}; give {1e3 * low:.4g} to {1e3 * high:.4g} mm")
    return given
