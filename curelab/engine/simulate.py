"""The one front door: pieces and stages in, a History out, for the usual case or for many cases at once.

Salt, sugar, nitrate and nitrite-as-added are conserved tracers on one network, each on its own diffusion clock. Free nitrite is a fifth
solute on the same network with a first-order loss in the meat. A stage is a row of stretches with one bath each; within a stretch every
turn starts a leg on the mirrored network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..fields import InputError, Problem, refuse
from ..matter import solutes
from ..recipe.piece import Piece
from ..recipe.stages import STAGES, Stage, in_order
from ..sources import Numbers, default_numbers
from ..threads import on_one_thread
from .cases import OF_PIECES, Cases
from .history import History
from .meat import meat_of
from .size import check_size
from .walk import State, walk

CELLS = 60
LEAST_CELLS = 4
SEGMENTS = 8  # a fridge log is cut into at most so many parts for the loss of nitrite, each with its exact mean rate
SEGMENTS_DRAWN = 4  # the same, where there are many cases


@on_one_thread
def simulate(
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    draws: Mapping[str, np.ndarray] | None = None,
    loss: str = "nordin",
    cells: int = CELLS,
    few: bool | None = None,
    segments: int | None = None,
    numbers: Numbers | None = None,
    after: History | None = None,
    checked: bool = True,
) -> History:
    """What happens inside the pieces, stage after stage.

    Parameters: `pieces` that share every bath; `stages` in order; `draws`, values (d,) of what is uncertain, in printed units, by the key of
    a published number, by a condition such as "temperature", or by a measure such as "thickness of NAME" (see `engine.cases`): None for the usual case alone;
    `loss`, a key of `curelab.matter.solutes.LOSS_MODELS`, the named choice for the loss of nitrite; `cells` from a face to the middle;
    `few`: carry them by a dozen terms (default: where there are draws), which costs up to 6e-3 of the driving force at the core, 4e-4 on
    average; `segments`, for a temperature that changes: at most so many mean losses of free nitrite in a stretch (None: 8, or 4 with
    draws); `numbers`, published numbers (default: the printed values as shipped, which are not the usual case of a report: that has each uncertain
    number at the middle of what is possible, see `spread.draws.usual_case`); `after`: a history to go on from, whose pieces and choices are taken over
    (the others are then not used), and whose stages come before these; `checked` False: for a case that was drawn from a batch that was
    checked, which may lie beyond what a person may type.
    Returns a History whose values can be read at any time. Raises InputError for what cannot be simulated, all problems at once.

    >>> from curelab import Bath, Brine, Piece, simulate
    >>> point = Piece(thickness="8 cm", weight="2 kg")
    >>> cure = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="10 d", lying=False)
    >>> history = simulate(point, cure)
    >>> bool(history.core("salt", 10 * 86400.0) < history.surface("salt", 10 * 86400.0))
    True
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    line = in_order(stages)
    if after is not None:
        return _extended(after, line)
    if not isinstance(cells, int) or cells < LEAST_CELLS:
        raise refuse(
            "cells", f"{cells!r} cells cannot carry a profile; give a whole number from {LEAST_CELLS} on, like {CELLS}"
        )
    if segments is not None and (not isinstance(segments, int) or segments < 1):
        raise refuse("segments", f"{segments!r} stretches cannot share a loss; give a whole number from 1 on, or None")
    if checked:
        check(pieces, line, loss)
    tracked = (numbers or default_numbers()).tracked()
    cases = Cases(tracked, draws)
    # A measure that a piece does not have moves nothing: a slab in the place of a block is asked in the same draws.
    names = {f"{stem}{piece.name}" for piece in pieces for stem in OF_PIECES}
    strange = [key for key in cases.columns if key.startswith(OF_PIECES) and key not in names]
    if strange:
        known = ", ".join(sorted(f"{OF_PIECES[0]}{piece.name}" for piece in pieces))
        raise refuse("draws", f"{', '.join(strange)}: there is no such piece; there is {known}")
    most = segments or (SEGMENTS if draws is None else SEGMENTS_DRAWN)
    terms = draws is not None if few is None else few
    check_size(pieces, line, cells, terms)
    state = State.fresh([meat_of(piece, cells, terms, cases) for piece in pieces])
    walk(line, state, cases, loss, most)
    return History(pieces, line, state, cases, loss, cells, most, drawn=draws is not None)


def extend(history: History, stages: Stage | Sequence[Stage]) -> History:
    """The same history with more stages after its end; what is known already is not computed again.

    Raises InputError as `simulate` does. Equal to simulating all stages at once.
    """
    return simulate(history.pieces, stages, after=history)


def _extended(history: History, more: tuple[Stage, ...]) -> History:
    check(history.pieces, more, history.loss, history.stages)
    tracked = history.numbers.tracked()
    for key in history.numbers.used:
        tracked.si(key)
    cases = Cases(tracked, history.cases.columns)
    state = history.state.copied()
    walk(more, state, cases, history.loss, history.segments, first=len(history.stages))
    every = (*history.stages, *more)
    return History(
        history.pieces, every, state, cases, history.loss, history.cells, history.segments, drawn=history.drawn
    )


def check(pieces: Sequence[Piece], stages: Sequence[Stage], loss: str, before: Sequence[Stage] = ()) -> None:
    """Raises InputError for what cannot be simulated as it was typed, all problems at once; `before`: stages that were simulated already."""
    problems = []
    for what, items, sort, kinds in (("pieces", pieces, Piece, (Piece,)), ("stages", stages, Stage, STAGES)):
        wrong = [item for item in items if not isinstance(item, sort)]
        if wrong:
            sorts = ", ".join(kind.__name__ for kind in kinds)
            raise refuse(what, f"{wrong[0]!r} is not one of {sorts}; make it one first")
    if not pieces:
        problems.append(Problem("pieces", "there is no piece; give at least one"))
    names = [piece.name for piece in pieces]
    problems += [
        Problem("pieces", f'two pieces are called "{name}"; give each its own name')
        for name in sorted({n for n in names if names.count(n) > 1})
    ]
    if not stages:
        problems.append(Problem("stages", "there is no stage; give at least one"))
    if loss not in solutes.LOSS_MODELS:
        problems.append(Problem("loss", f'"{loss}" is not one of {", ".join(solutes.LOSS_MODELS)}'))
    for number, stage in enumerate(stages, 1):
        strange = [name for name in stage.named if name not in names]
        found = stage.problems(sum(piece.weight for piece in pieces if piece.name in (stage.named or names)))
        if strange:
            there = ", ".join(names)
            found = [Problem("pieces", f'there is no piece "{strange[0]}"; there is {there}')]
        found += _warmed_already(stage, [*before, *stages[: number - 1]], names)
        if found:
            problems += InputError(found).under(f"stages[{number}]")
    if problems:
        raise InputError(problems)


def _warmed_already(stage: Stage, earlier: Sequence[Stage], names: Sequence[str]) -> list[Problem]:
    """A stage that says how warm its pieces are, though they were heated or cooled before: what lies between would be counted nowhere."""
    says = stage.heats and any(each.heating and each.heating.begins_at is not None for each in stage.stretches)
    about = [name for name in names if stage.is_about(name)]
    last = next((each for each in reversed(earlier) if each.heats and any(map(each.is_about, about))), None)
    if not says or last is None:
        return []
    said = f"the {last.tag} before says how warm the meat is; leave this out, and write what lies between as a stage"
    return [Problem("begins_at", said)]
