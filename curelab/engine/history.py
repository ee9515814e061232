"""What happened: by quantity, place and time, with the budget, the assumptions and the sources it rests on."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from ..recipe.criterion import default_basis
from ..recipe.piece import Piece
from ..recipe.stages import AnyStage
from ..sources import Number, Numbers
from .assumptions import assumptions
from .runs import FREE, QUANTITIES, TRACERS, Run

if TYPE_CHECKING:
    import pandas

RESIDUAL = 1e-9  # a budget that misses by more than this is an error, not a result

Times = float | Sequence[float] | np.ndarray | None

FIRST_BITE = 0.005  # m: the edge of a slice that is tasted first (judgement)


@dataclass(frozen=True)
class Profile:
    """Values across a piece: depth (d,) in m from one face to the other; values (d,) or (t, d), fractions on `basis`."""

    quantity: str
    basis: str
    depth: np.ndarray
    values: np.ndarray


class History:
    """The result of `simulate`. Every reading takes times in seconds since the start (None: at the end) and may be any array of them.

    A time on the border of two stages belongs to the earlier one. Quantities: salt, sugar, nitrate, nitrite (as added, a conserved
    tracer: what rules call ingoing) and free nitrite (with its loss). Bases: "meat" (of the meat as it then is; default for salt and
    sugar), "green weight" (default for nitrite and nitrate), "water phase" (solute / (solute + water)), "equilibrium".
    """

    def __init__(
        self,
        pieces: tuple[Piece, ...],
        stages: tuple[AnyStage, ...],
        runs: tuple[Run, ...],
        loss: str,
        cells: int,
        numbers: Numbers,
        segments: int | None = None,
    ):
        self.pieces, self.stages, self.runs = pieces, stages, runs
        self.loss, self.cells, self.numbers, self.segments = loss, cells, numbers, segments

    # -- time ------------------------------------------------------------------------------------------------------------------

    @property
    def length(self) -> float:
        """s from the start to the end of the last stage."""
        return self.runs[-1].end

    @cached_property
    def _ends(self) -> np.ndarray:
        return np.array([run.end for run in self.runs])

    @cached_property
    def times(self) -> np.ndarray:
        """A grid for pictures and tables (t,): 40 times in each run, dense after its beginning, borders included."""
        steps = np.linspace(0.0, 1.0, 41) ** 1.5
        grids = [run.begin + run.length * steps[1:] for run in self.runs if run.length > 0]
        return np.concatenate([[0.0], *grids])

    def span(self, stage: int) -> tuple[float, float]:
        """(begin, end) in s of the stage with this number, from 0."""
        runs = [run for run in self.runs if run.index == stage]
        if not runs:
            raise ValueError(
                f"stage {stage} was not run; there are {len(self.stages)} and the last one run is {self.runs[-1].index}"
            )
        return runs[0].begin, runs[-1].end

    def _read(self, times: Times, one) -> Any:
        """Gather `one(run, seconds in run)` over the runs that own `times`; a scalar in gives a scalar out."""
        asked = np.asarray(self.length if times is None else times, dtype=float)
        flat = np.atleast_1d(asked)
        latest = self.length * (1 + 1e-12) + 1e-6
        if flat.size and not (flat.min() >= 0 and flat.max() <= latest):  # written so that nan is refused too
            raise ValueError(f"times must lie between 0 and {self.length:g} s, the end of this history")
        owner = np.minimum(np.searchsorted(self._ends, flat - 1e-6, side="left"), len(self.runs) - 1)
        result: np.ndarray | None = None
        for number in sorted(set(owner.tolist())):
            run, chosen = self.runs[number], owner == number
            value = one(run, np.minimum(np.maximum(flat[chosen] - run.begin, 0.0), run.length))
            if result is None:
                result = np.empty((len(flat), *value.shape[1:]))
            result[chosen] = value
        assert result is not None
        return result if asked.ndim else (float(result[0]) if result.ndim == 1 else result[0])

    def _piece(self, piece: int | str) -> int:
        if isinstance(piece, str):
            names = [p.name for p in self.pieces]
            if piece not in names:
                raise ValueError(f'there is no piece "{piece}"; there is {", ".join(names)}')
            return names.index(piece)
        return range(len(self.pieces))[piece]

    # -- readings --------------------------------------------------------------------------------------------------------------

    def at(self, place: str, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None):
        """Fraction at a place: "core", "average" or "surface" (the saltier face)."""
        number, on = self._piece(piece), basis or default_basis(quantity)
        return self._read(times, lambda run, t: run.read(_known(quantity), place, on, t, number))

    def core(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None):
        """Fraction at the core, the place that both faces reach with equal resistance."""
        return self.at("core", quantity, times, piece, basis)

    def average(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None):
        """Fraction in the whole piece."""
        return self.at("average", quantity, times, piece, basis)

    def surface(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None):
        """Fraction at the saltier face of the lean."""
        return self.at("surface", quantity, times, piece, basis)

    def resting(self, quantity: str, stage: int, piece: int | str = 0) -> float:
        """Fraction of the meat that a stage is heading for: where it would come to rest if it never ended (in a soak: its last water)."""
        self.span(stage)
        last = [run for run in self.runs if run.index == stage][-1]
        return last.resting(_known(quantity), self._piece(piece))

    def first_bite(self, quantity: str, times: Times = None, piece: int | str = 0, depth: float = FIRST_BITE):
        """Fraction, of the meat, averaged over the outermost `depth` [m]: what the edge of a slice tastes of."""
        number = self._piece(piece)

        def one(run: Run, t):
            where, values = run.profile(_known(quantity), "meat", t, number)
            return mean_within(where, values, depth)

        return self._read(times, one)

    def profile(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Profile:
        """Values across the piece; with an array of times, one row for each."""
        number, on = self._piece(piece), basis or default_basis(quantity)
        values = self._read(times, lambda run, t: run.profile(_known(quantity), on, t, number)[1])
        depth = self.runs[0].profile(_known(quantity), on, np.zeros(1), number)[0]
        return Profile(quantity, on, depth, values)

    def amount(self, quantity: str, times: Times = None, piece: int | str = 0):
        """kg in a piece."""
        number = self._piece(piece)
        return self._read(times, lambda run, t: run.amount(_known(quantity), t, number))

    def bath(self, quantity: str, times: Times = None):
        """Mass fraction in the bath, solute / (solute + water); zero while the pieces rest."""
        name = _known(quantity)

        def one(run: Run, t):
            w = np.zeros(len(t)) if run.sealed else run.bath_w(name, t)
            return w / (1 + w)

        return self._read(times, one)

    def weight(self, times: Times = None, piece: int | str = 0):
        """kg of a piece: green weight, water taken up or given off (a rough regression, +-6 points), and what it took up."""
        number = self._piece(piece)
        return self._read(times, lambda run, t: run.weight(number, t))

    def temperature(self, times: Times = None):
        """K."""
        return self._read(times, lambda run, t: run.clock.temperature(t))

    # -- what it rests on --------------------------------------------------------------------------------------------------------

    @cached_property
    def budget(self) -> tuple[dict[str, Any], ...]:
        """One row per run and quantity, kg: in meat before + added + supplied = in meat + in bath + lost; then the bath is discarded.

        Raises ArithmeticError when the relative residual of any row exceeds 1e-9.
        """
        rows = []
        for run in self.runs:
            for name in QUANTITIES:
                row: dict[str, Any] = {"stage": run.index, "run": run.label, "quantity": name, **run.budget(name)}
                if abs(row["residual"]) > RESIDUAL:
                    raise ArithmeticError(
                        f"the {name} budget of {run.label} misses by {row['residual']:.2e} of what was there"
                    )
                rows.append(row)
        return tuple(rows)

    @cached_property
    def assumptions(self) -> tuple[str, ...]:
        """What was taken for granted, one sentence each."""
        run = {run.index for run in self.runs}
        spans = [self.span(number) if number in run else None for number in range(len(self.stages))]
        return assumptions(self.pieces, self.stages, self.numbers, self.loss, spans)

    @property
    def sources(self) -> tuple[Number, ...]:
        """Every published number that was looked up to make this history."""
        return tuple(self.numbers[key] for key in self.numbers.used)

    @property
    def version(self) -> str:
        from .. import __version__

        return __version__

    def ending(self, stage: int) -> str:
        """Why a stage stopped, in words."""
        runs = [run for run in self.runs if run.index == stage]
        plan, last = self.stages[stage], runs[-1]
        spent = units.show(last.end - runs[0].begin, "time")
        if plan.until is None:
            return f"after {spent}, as planned"
        if last.reached:
            return f"after {spent}, when {plan.until}"
        return f"after {spent}, the most allowed; not reached: {plan.until} (missing {units.show(-last.shortfall, 'fraction')})"

    # -- tables and looks --------------------------------------------------------------------------------------------------------

    def to_frame(self, times: Times = None) -> pandas.DataFrame:
        """Tidy table: one row per time, piece, quantity and place, with the fraction on each basis. Default times: `self.times`."""
        import pandas

        when = self.times if times is None else np.atleast_1d(np.asarray(times, dtype=float))
        parts = []
        for piece in self.pieces:
            for quantity in QUANTITIES:
                for place in ("core", "average", "surface"):
                    columns = {
                        basis.replace(" ", "_"): self.at(place, quantity, when, piece.name, basis)
                        for basis in ("meat", "green weight", "water phase")
                    }
                    parts.append(
                        pandas.DataFrame(
                            {"time_s": when, "piece": piece.name, "quantity": quantity, "place": place, **columns}
                        )
                    )
        return pandas.concat(parts, ignore_index=True)

    def profiles_frame(self, times: Times = None) -> pandas.DataFrame:
        """Tidy table of profiles: time, piece, quantity, depth and fraction on its default basis."""
        import pandas

        when = self.times if times is None else np.atleast_1d(np.asarray(times, dtype=float))
        parts = []
        for piece in self.pieces:
            for quantity in QUANTITIES:
                profile = self.profile(quantity, when, piece.name)
                parts.append(
                    pandas.DataFrame(
                        {
                            "time_s": np.repeat(when, len(profile.depth)),
                            "piece": piece.name,
                            "quantity": quantity,
                            "depth_m": np.tile(profile.depth, len(when)),
                            "fraction": profile.values.ravel(),
                            "basis": profile.basis,
                        }
                    )
                )
        return pandas.concat(parts, ignore_index=True)

    def summary(self) -> list[dict[str, str]]:
        """Per stage and piece, for reading: how long, why it ended, salt and nitrite at its end."""
        rows = []
        for number in sorted({run.index for run in self.runs}):
            _begin, end = self.span(number)
            for piece in self.pieces:
                rows.append(
                    {
                        "stage": self.stages[number].tag,
                        "piece": piece.name,
                        "ended": self.ending(number),
                        "salt, average": units.show(self.average("salt", end, piece.name), "fraction"),
                        "salt, core": units.show(self.core("salt", end, piece.name), "fraction"),
                        "salt, surface": units.show(self.surface("salt", end, piece.name), "fraction"),
                        "nitrite in, average": _ppm(self.average("nitrite", end, piece.name)),
                        "free nitrite, core": _ppm(self.core(FREE, end, piece.name)),
                        "weight": units.show(self.weight(end, piece.name), "mass"),
                    }
                )
        return rows

    def __repr__(self) -> str:
        lines = [f"History of {', '.join(piece.name for piece in self.pieces)}: {units.show(self.length, 'time')}"]
        for row in self.summary():
            lines.append(
                f"  {row['stage']}, {row['piece']}: {row['ended']}; salt {row['salt, average']} (core {row['salt, core']}), "
                f"nitrite in {row['nitrite in, average']}, free at the core {row['free nitrite, core']}"
            )
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        rows = self.summary()
        head = "".join(f'<th scope="col">{html.escape(key)}</th>' for key in rows[0])
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(value)}</td>" for value in row.values()) + "</tr>" for row in rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _ppm(fraction: float) -> str:
    return f"{1e6 * fraction:.0f} mg/kg"


def _known(quantity: str) -> str:
    if quantity not in QUANTITIES:
        raise ValueError(f'"{quantity}" is not one of {", ".join(QUANTITIES)}')
    return quantity


def mean_within(depth: np.ndarray, values: np.ndarray, within: float | np.ndarray) -> np.ndarray:
    """Mean (t,) of values (t, d) over the outermost `within`, a number or (t,), at the face where it is higher; straight between places."""
    least = np.minimum(np.broadcast_to(within, (len(values),)), depth[-1] / 2)[:, None]
    means = []
    for x, v in ((depth, values), (depth[-1] - depth[::-1], values[:, ::-1])):
        steps = 0.5 * np.diff(x) * (v[:, 1:] + v[:, :-1])
        before = np.concatenate([np.zeros((len(v), 1)), np.cumsum(steps, axis=1)], axis=1)
        last = np.clip(np.searchsorted(x, least) - 1, 0, len(x) - 2)  # the last place before the border
        here, there = (np.take_along_axis(v, last + k, axis=1) for k in (0, 1))
        part = least - x[last]
        edge = here + (there - here) * part / (x[last + 1] - x[last])
        means.append(((np.take_along_axis(before, last, axis=1) + 0.5 * part * (here + edge)) / least)[:, 0])
    return np.max(means, axis=0)


__all__ = ["FREE", "QUANTITIES", "TRACERS", "History", "Profile"]
