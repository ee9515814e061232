"""The same questions asked of many batches: every combination of some inputs, as one table."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import product
from numbers import Real
from typing import TYPE_CHECKING, Any

from .. import progress as shown
from .. import units
from ..engine.history import History
from ..engine.simulate import CELLS, simulate
from ..fields import InputError, Problem, Record, refuse
from ..recipe.criterion import BASES, PLACES, QUANTITIES, Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..sources import Numbers, default_numbers
from ..units import DAY

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas

Question = str | Criterion | Callable[[History], Any]
Case = tuple[tuple[Piece, ...], tuple[Stage, ...], Numbers]
MOST = 100_000  # combinations
_STAGE = re.compile(r"stage (\d+)\.(.+)")
_READING = re.compile(
    rf"(?:({'|'.join((*PLACES, 'first bite'))}) ({'|'.join(QUANTITIES)})|bath ({'|'.join(QUANTITIES)})|(weight))"
    rf"(?: ({'|'.join(BASES.values())}))?(?: at (.+))?"
)
READINGS = 'a criterion like "core salt >= 2 %", or a reading like "core salt", "bath salt", "weight" or "average salt of the meat at 5 d"'


def sweep(
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    over: Mapping[str, Iterable[Any]],
    ask: Question | Sequence[Question] | Mapping[str, Question],
    piece: int | str = 0,
    loss: str = "nordin",
    cells: int = CELLS,
    numbers: Numbers | None = None,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> pandas.DataFrame:
    """A tidy table (pandas): one row for every combination of the values in `over`, the last key fastest, with a column for each key, the
    values as they were given, and one for each question.

    over: what to change -> its values, as a cook writes them or in SI. A key is

    - a field of a piece ("thickness", "weight", "tissue", "fat_cap", ...), which changes every piece; nothing follows from it, so that a
      thicker piece keeps its weight;
    - "days": how many days the first cure lasts; "strength": the salt of its brine, of salt and water, the water kept;
    - another field of the first cure ("temperature", "turn_every", "lying", ...) or of a stage that is named by its number, from 1, with
      dots into its records: "stage 2.lasts", "stage 1.bath.nitrite";
    - the key of a published number ("obstruction.lean"), in its printed unit.

    ask: questions, or a name for each. A criterion gives the time [s] from the start at which it holds in every piece, inf where it does not
    within the batch; the text of a reading its value in SI, of `piece`, at the end or "at 5 d"; anything else is called with the History.
    executor: any `concurrent.futures.Executor`, with the same digits; what it sends to other processes must be picklable. progress: show a
    percentage on stderr after a second (None: in a command, on a terminal). loss, cells, numbers: as `simulate`.
    Raises InputError, before anything is computed, for a key or value that does not go, each with one sentence.

    >>> from curelab import Bath, Brine, Piece
    >>> cure = Brine(bath=Bath(water="1 kg", salt="45 g"), temperature="3 degC", lasts="7 d", lying=False)
    >>> table = sweep(Piece(thickness="4 cm", weight="1 kg"), cure,
    ...               over={"thickness": ["3 cm", "5 cm"], "days": [4, 8]}, ask=["core salt", "core salt >= 1 %"])
    >>> list(table.columns), len(table), bool(table["core salt"].is_monotonic_increasing)
    (['thickness', 'days', 'core salt', 'core salt >= 1 %'], 4, False)
    """
    import pandas

    start: Case = (
        (pieces,) if isinstance(pieces, Piece) else tuple(pieces),
        in_order(stages),
        numbers or default_numbers(),
    )
    values = {key: list(given) if not isinstance(given, (str, Record)) else [given] for key, given in over.items()}
    questions = _questions(ask)
    cases = _cases(start, values)
    work = _Work(tuple(questions.values()), piece, loss, cells)
    done = map(work, cases) if executor is None else executor.map(work, cases)
    rows = []
    with shown.counted("sweep", len(cases), progress) as step:
        for row in done:
            rows.append(row)
            step()
    inputs = pandas.DataFrame(list(product(*values.values())), columns=list(values))
    return pandas.concat([inputs, pandas.DataFrame(rows, columns=list(questions))], axis=1)


@dataclass(frozen=True)
class _Work:
    """What a worker needs to answer for one case."""

    questions: tuple[Callable[[History, int | str], Any], ...]
    piece: int | str
    loss: str
    cells: int

    def __call__(self, case: Case) -> list[Any]:
        pieces, stages, numbers = case
        history = simulate(pieces, stages, loss=self.loss, cells=self.cells, numbers=numbers)
        return [question(history, self.piece) for question in self.questions]


@dataclass(frozen=True)
class _Held:
    criterion: Criterion

    def __call__(self, history: History, piece: int | str) -> float:
        return history.first_time(self.criterion)


@dataclass(frozen=True)
class _Read:
    place: str
    quantity: str
    basis: str | None
    time: float | None

    def __call__(self, history: History, piece: int | str) -> float:
        if self.place == "weight":
            return history.weight(self.time, piece)
        if self.place == "bath":
            return history.bath(self.quantity, self.time)
        return history.at(self.place, self.quantity, self.time, piece, self.basis)


@dataclass(frozen=True)
class _Called:
    function: Callable[[History], Any]

    def __call__(self, history: History, piece: int | str) -> Any:
        return self.function(history)


def _questions(ask: Any) -> dict[str, Callable[[History, int | str], Any]]:
    """Name -> what answers it."""
    if isinstance(ask, Mapping):
        return {str(name): _question(one) for name, one in ask.items()}
    found: dict[str, Callable[[History, int | str], Any]] = {}
    for number, one in enumerate([ask] if isinstance(ask, (str, Criterion)) or callable(ask) else ask, 1):
        name = str(one) if isinstance(one, (str, Criterion)) else getattr(one, "__name__", "<lambda>")
        found[f"question {number}" if name == "<lambda>" or name in found else name] = _question(one)
    return found


def _question(one: Any) -> Callable[[History, int | str], Any]:
    if isinstance(one, Criterion):
        return _Held(one)
    if not isinstance(one, str):
        if callable(one):
            return _Called(one)
        raise refuse("ask", f"{one!r} is no question; give {READINGS}, or a function of a History")
    if ">=" in one or "<=" in one:
        try:
            return _Held(Criterion.parse(one))
        except ValueError as error:
            raise refuse("ask", str(error)) from None
    found = _READING.fullmatch(" ".join(one.split()).removesuffix(" at the end"))
    if found is None:
        raise refuse("ask", f'"{one}" is not a question; give {READINGS}')
    place, quantity, in_bath, weight, basis, when = found.groups()
    try:
        time = None if when is None else units.seconds(when)
    except ValueError as error:
        raise refuse("ask", str(error)) from None
    on = next((name for name, words in BASES.items() if words == basis), None)
    return _Read(place or weight or "bath", quantity or in_bath or "", on, time)


def _cases(start: Case, values: Mapping[str, list[Any]]) -> list[Case]:
    """Every combination, made before anything is computed. A value that does not go even alone is told once."""
    count = 1
    for given in values.values():
        count *= len(given)
    if not 0 < count <= MOST:
        raise refuse("over", f"these are {count} combinations; give 1 to {MOST}")
    problems: dict[Problem, None] = {}
    changes = {key: _change(start, key, problems) for key in values}
    if not problems:
        cases = []
        for chosen in product(*values.values()):
            case = start
            for key, value in zip(values, chosen, strict=True):
                try:
                    case = changes[key](case, value)
                except (InputError, ValueError) as error:
                    said = (
                        [problem.sentence for problem in error.problems]
                        if isinstance(error, InputError)
                        else [str(error)]
                    )
                    problems |= dict.fromkeys(Problem(f"over[{key!r}]", f"{value!r}: {words}") for words in said)
            cases.append(case)
    if problems:
        raise InputError(problems)
    return cases


def _change(start: Case, key: str, problems: dict[Problem, None]) -> Callable[[Case, Any], Case]:
    """(case, value) -> the case with the value in it. A key that does not go is told in `problems`."""
    first = next((number for number, stage in enumerate(start[1]) if stage.cures), 0)
    if key in {spec.name for spec in fields(Piece)} - {"name"}:  # type: ignore[arg-type]
        return lambda case, value: (tuple(piece.but(**{key: value}) for piece in case[0]), *case[1:])
    if key == "days":
        return lambda case, value: _staged(case, first, lambda stage: stage.lasting(_days(value)))
    if key == "strength":
        return lambda case, value: _staged(case, first, lambda stage: _of_strength(stage, value))
    if key in start[2]:
        return lambda case, value: (*case[:2], case[2].with_values({key: value}))
    named = _STAGE.fullmatch(key)
    number, path = (int(named[1]) - 1, named[2].split(".")) if named else (first, [key])
    if 0 <= number < len(start[1]) and hasattr(start[1][number], path[0]) and _is_field(start[1][number], path):
        return lambda case, value: _staged(case, number, lambda stage: _put(stage, path, value))
    known = ", ".join(spec.name for spec in fields(start[1][first]))  # type: ignore[arg-type]
    problems[Problem(f"over[{key!r}]", f'no such input; give a field of a piece, "days", "strength", one of {known}, '
                     '"stage 2.lasts" and the like, or the key of a published number')] = None  # fmt: skip
    return lambda case, value: case


def _days(value: Any) -> float:
    return float(value) * DAY if isinstance(value, Real) else units.seconds(value)


def _is_field(record: Any, path: Sequence[str]) -> bool:
    for name in path:
        if not isinstance(record, Record) or name not in {spec.name for spec in fields(record)}:  # type: ignore[arg-type]
            return False
        record = getattr(record, name)
    return True


def _staged(case: Case, number: int, change: Callable[[Any], Stage]) -> Case:
    stages = list(case[1])
    stages[number] = change(stages[number])
    return case[0], tuple(stages), case[2]


def _put(record: Any, path: Sequence[str], value: Any) -> Any:
    if len(path) > 1:
        value = _put(getattr(record, path[0]), path[1:], value)
    return record.lasting(units.seconds(value)) if path == ["lasts"] else record.but(**{path[0]: value})


def _of_strength(stage: Any, value: Any) -> Stage:
    bath, share = getattr(stage, "bath", None), units.read(value, "fraction")
    if bath is None:
        raise refuse("strength", "the first cure is no brine with known amounts; sweep its grams instead")
    if not 0 <= share < 1:
        raise refuse("strength", "a strength lies between 0 and 100 %")
    return stage.but(bath=bath.but(salt=bath.water * share / (1 - share)))
