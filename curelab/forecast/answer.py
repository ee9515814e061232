"""What an answer is: a number with its band and a sentence; and the two corners that make the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.simulate import CELLS, SEGMENTS, simulate
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers, default_numbers

LOOK_AHEAD = 400 * units.DAY  # the longest that a question of time looks ahead in one case (judgement)
# What makes meat take up salt and keep nitrite slowly (first value) or fast: which end of the published range.
CORNERS = {
    "obstruction.lean": ("low", "high"),
    "fat.relative_diffusivity": ("low", "high"),
    "ratio.nitrite": ("low", "high"),
    "nitrite.loss_multiplier": ("high", "low"),
    "nitrite.first_day.left": ("low", "high"),
}
# What makes a piece heat and cool slowly or fast, beside the film of its setting.
HEAT_CORNERS = {"heat.parallel": ("low", "high")}
HEAT_RESTS_ON = "published ranges of how fast water, air and meat carry heat"
RESTS_ON = "the published range of salt diffusion in lean meat (a factor of three), of nitrite's pace and of its loss"


@dataclass(frozen=True, repr=False)
class Answer(Shown):
    """A number with its band. value, low, high in SI (None: not reached); kind: a key of `curelab.units.KINDS`."""

    question: str
    value: float | None
    low: float | None
    high: float | None
    kind: str
    criterion: str
    sentence: str
    rests_on: str = RESTS_ON

    @property
    def reached(self) -> bool:
        return self.value is not None

    def lines(self) -> list[str]:
        return [self.sentence]

    def rows(self) -> list[dict[str, Any]]:
        return [{name: getattr(self, name) for name in ("question", "criterion", "value", "low", "high", "kind")}]


def corners(numbers: Numbers | None = None) -> tuple[Numbers, Numbers]:
    """(slow, fast): the numbers at the two ends of what is published."""
    base = numbers or default_numbers()
    return tuple(  # type: ignore[return-value]
        base.with_values({key: getattr(base[key], ends[side]) for key, ends in CORNERS.items()}) for side in (0, 1)
    )


def ends_of(stages: Stage | Sequence[Stage]) -> dict[str, tuple[str, str]]:
    """CORNERS and, where stages heat or cool, those of heat: which end of its range each number has in slow and in fast meat."""
    settings = {
        stretch.heating.setting
        for stage in in_order(stages) for stretch in stage.stretches if stretch.heating is not None
    }  # fmt: skip
    films = {f"heat.film.{setting}": ("low", "high") for setting in sorted(settings)}
    return CORNERS | (HEAT_CORNERS | films if settings else {})


def in_corners(
    pieces: Piece | Sequence[Piece], stages: Stage | Sequence[Stage], *, loss: str = "nordin", numbers: Numbers | None = None, usual: bool = True, few: bool = False, cells: int = CELLS,
    checked: bool = True,
) -> History:  # fmt: skip
    """The history of a batch in usual, slow and fast meat, as three draws; `usual` False: in slow and fast meat alone. Choices as in
    `simulate`.
    """
    base = numbers or default_numbers()
    columns = {
        key: np.array([base[key].value] * usual + [getattr(base[key], end) for end in ends])
        for key, ends in ends_of(stages).items()
    }
    return simulate(
        pieces, stages, draws=columns, few=few, loss=loss, numbers=base, segments=SEGMENTS, cells=cells, checked=checked
    )


def reached_or_none(value: float) -> float | None:
    """A time that is inf where it is not reached, as a number or None."""
    return float(value) if np.isfinite(value) else None


def span_words(
    kind: str, slow: float | None, fast: float | None, value: float | None = None, system: str = "metric"
) -> str:
    """The two ends in words; where the usual `value` lies outside of them, the three in order."""
    ends = [end for end in (slow, fast) if end is not None]
    if not ends:
        return "not reached by the slowest meat nor by the fastest"
    if len(ends) == 1:
        side = "fastest" if slow is None else "slowest"
        return f"{units.show(ends[0], kind, system, digits=2)} for the {side} meat known, not reached by the other end"
    if value is not None and not min(ends) <= value <= max(ends):
        low, high = (units.show(end, kind, system, digits=2) for end in (min(value, *ends), max(value, *ends)))
        return f"{low} to {high} over the meat that is known"
    return f"{units.show(ends[0], kind, system, digits=2)} in the slowest meat known, {units.show(ends[1], kind, system, digits=2)} in the fastest"


def ordered(value: float | None, *ends: float | None) -> tuple[float | None, float | None]:
    """(low, high) of a value and the corners that are reached; the usual value counts too, for a band need not be in order of pace:
    slow meat takes longer to cure, and has less to soak out."""
    known = [each for each in (value, *ends) if each is not None]
    if not known:
        return None, None
    return min(known), max(known) if len(known) == len(ends) + 1 else None


def reaching(criterion: Criterion, piece: str | None = None) -> str:
    verb = "reaches" if criterion.sign == ">=" else "is down to"
    place = {"core": "The core", "average": "The whole piece", "surface": "The surface"}[criterion.place]
    if piece is not None:
        place = {"core": f"The core of {piece}", "average": piece.capitalize(), "surface": f"The surface of {piece}"}[
            criterion.place
        ]
    basis = {
        "equilibrium": f"of its equilibrium {criterion.quantity}",
        "water phase": f"{criterion.quantity} in its water",
    }.get(criterion.basis, criterion.quantity)
    return f"{place} {verb} {units.show(criterion.target, criterion.kind)}{'' if criterion.kind == 'temperature' else f' {basis}'}"
