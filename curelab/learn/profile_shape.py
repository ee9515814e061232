"""How a solute lies across a body after a time, for any diffusivity: what a measured depth profile is fitted with.

The modes are those of a body of one tissue, one unit large, so one eigenproblem serves every diffusivity, through the clock
D t / length^2. A half-space is that body, many diffusion lengths deep.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

from .. import units
from ..bodies import Body, layered
from ..fields import refuse
from ..matter.tissue import partition, tissue
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Stage
from ..sources import Numbers
from ..transport.modes import Modes, modes_of
from ..transport.network import Contact, Part, assemble

CELLS = 120  # from the face inwards
FAR = 8.0  # diffusion lengths after which a half-space ends: erfc of half of it is 1e-8
CLOCKS = (
    1e-4,
    3.0,
)  # D t / length^2 between which a finite piece is looked for: salt at the face alone, and salt everywhere alike

Shape = Callable[[float], np.ndarray]


def shape_of(
    depth: np.ndarray, spent: float, piece: Piece | None, wet: str, bath: Any, numbers: Numbers | None
) -> tuple[Shape, tuple[float, float], str]:
    """(D -> share (n,) of the level at the face at every depth, ends of ln D, what it is in words)."""
    days = units.show(spent, "time")
    if piece is None:
        at = _reader(*_solved("half slab", np.inf), 1.0 / FAR**2)
        deep, near = float(depth.max()), float(depth[depth > 0].min())
        ends = (2 * np.log(near / 10) - np.log(spent), 2 * np.log(20 * deep) - np.log(spent))
        return lambda d: at(1.0 - depth / (FAR * np.sqrt(d * spent))), ends, f"{days}, half-space"
    length = piece.thickness * (1.0 if piece.shape == "slab" and wet == "one face" else 0.5)
    water = np.inf if bath is None else _bath(bath)[0]
    ratio = water / (partition(numbers) * piece.water(numbers))
    solved = _solved("half slab" if piece.shape == "slab" else piece.shape, float(ratio))
    least, most = (float(np.log(clock * length**2 / spent)) for clock in CLOCKS)
    place = 1.0 - np.where(depth > length, 2 * length - depth, depth) / length
    return (
        lambda d: _reader(*solved, d * spent / length**2)(place),
        (least, most),
        f"{days}, {piece.shape} of {units.show(piece.thickness, 'length')}",
    )


@lru_cache(maxsize=16)
def _solved(shape: str, ratio: float) -> tuple[Body, Modes]:
    """A body one unit from middle to face, and its modes in a bath of `ratio` times its own capacity (inf: held); its face is bare."""
    body = layered((1.0,), (0,), shape, CELLS)
    one = np.ones(1)
    (face,) = body.faces
    led = face.conductance(np.full(1, np.inf), one[:, None], one)[0]
    part = Part(np.ones((1, body.count)), body.inner(one[:, None]), body.mean, body.sign)
    contact = Contact(0, led * np.outer(face.row, face.row)[None], led * face.row[None], np.array([led]))
    return body, modes_of(assemble([part], np.array([ratio * body.volumes[0]]), [contact]))


def _reader(body: Body, modes: Modes, clock: float) -> Callable[[np.ndarray], np.ndarray]:
    """Reads the profile at a clock, over the level of the bath at the start, at distances from the middle (0) to the face (1)."""
    from scipy.interpolate import CubicSpline

    start = np.zeros((1, 1, body.count + 1))
    start[..., -1] = 1.0
    rows = np.zeros((len(body.depth), body.count + 1))
    rows[:, :-1] = body.rows
    rows[-1] = 0.0
    rows[-1, -1] = 1.0  # the bare face has the level of the bath
    values = modes.at(start, np.full((1, 1, 1), clock), rows)[0, 0, 0]
    place = 2 * body.depth - 1
    spline = CubicSpline(
        np.concatenate([-place[1::-1], place]), np.concatenate([values[1::-1], values])
    )  # level in the middle
    return lambda x: spline(np.clip(x, 0.0, 1.0))


def linear(basis: str):
    """(to, back): to what diffuses, solute per water or per meat without solute, and back."""
    if basis in ("water phase", "meat"):
        return (lambda v: v / (1 - v)), (lambda w: w / (1 + w))
    return (lambda v: v), (lambda w: w)


def _bath(bath: Bath | Stage) -> tuple[float, float]:
    """(kg of water, inf where it never changes; salt per water) of a bath, or of the first one of a stage."""
    if isinstance(bath, Bath):
        return bath.water, bath.salt / bath.water
    first = bath.stretches[0]
    if first.water is None:
        raise refuse("bath", f"the {first.label} has no bath of known water; give the level at the face as surface")
    return np.inf if first.endless else first.water, first.brings["salt"] / first.water


def level_at_face(
    bath: Any, surface: Any, basis: str, to: Any, piece: Piece | None, numbers: Numbers | None
) -> float | None:
    """What stands at the face at the start, as it diffuses; None: to be fitted."""
    if surface is not None:
        return float(to(units.si(surface, "fraction")))
    if bath is None:
        return None
    inside = partition(numbers) * _bath(bath)[1]
    lean = tissue(piece.tissue if piece is not None else "lean beef", numbers)
    return float(inside if basis == "water phase" else inside * lean.water)
