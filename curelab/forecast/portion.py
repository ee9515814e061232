"""How thick a portion may be, so that its cooling passes."""

from __future__ import annotations

from collections.abc import Sequence

from .. import units
from ..engine.simulate import simulate
from ..fields import refuse
from ..limits.cooked import check_cooked
from ..limits.lethality import DEFER
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..sources import Numbers, default_numbers
from .answer import HEAT_RESTS_ON, Answer, ends_of, ordered

THINNEST = 0.02  # m: nobody cuts a roast thinner than that before it is chilled (judgement)
NEAR = 5e-4  # m


def portion_that_cools(
    piece: Piece, stages: Stage | Sequence[Stage], *, loss: str = "nordin", numbers: Numbers | None = None, system: str = "metric",
) -> Answer:  # fmt: skip
    """The thickest cut of `piece`, up to what it is, whose cooling keeps to a limit that was read, with the band over slow and fast heat.

    A thinner cut has the same share of the weight. Answer in m; None where even THINNEST does not cool in time. Raises InputError where nothing is
    chilled after a cook.
    """
    line = list(in_order(stages))
    if not any(stage.aim == "chill" for stage in line):
        raise refuse("stages", "no stage chills, so there is no cooling to pass; add a chill")
    base = numbers or default_numbers()
    ends = ends_of(line)
    keys = [key for key in ends if key.startswith("heat.")]
    slow, fast = (base.with_values({key: getattr(base[key], ends[key][side]) for key in keys}) for side in (0, 1))
    (value, kept), (worst, _), (best, _) = (_thickest(piece, line, loss, each) for each in (base, slow, fast))
    criterion = "cooling keeps to a limit that was read"
    if value is None:
        said = f"Even {units.show(THINNEST, 'length')} thick it does not cool in time like this: chill it in ice water."
        return Answer("what portion cools", None, None, best, "length", criterion, said, HEAT_RESTS_ON)
    low, high = ordered(value, worst, best)
    if value >= piece.thickness:
        said = f"{units.capital(piece.name)} cools in time as thick as it is (check: {kept})."
    else:
        most = units.show(value, "length", system, digits=2)
        said = f"Cut {piece.name} no thicker than {most} before it is cured, and it cools in time (check: {kept})."
    if worst is None:
        said += " With slow air or water around it, not even thin cuts do: watch a thermometer."
    elif worst < value:
        said += f" To be sure, with slow air or water around it: {units.show(worst, 'length', digits=2)}."
    said += f" {DEFER}"
    return Answer(
        "what portion cools", value, low if worst is not None else None, high, "length", criterion, said, HEAT_RESTS_ON
    )


def alone(piece: Piece, pieces: Sequence[Piece], stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """The stages that are about one of several pieces, for it alone: with its share of what is in the vessel."""
    share = dict.fromkeys(
        ("water", "salt", "sugar", "nitrate", "nitrite"), piece.weight / sum(p.weight for p in pieces)
    )
    own = [stage.times(share, checked=False) for stage in stages if stage.is_about(piece.name)]
    return tuple(stage.but(pieces=()) if stage.named else stage for stage in own)


def _thickest(piece: Piece, line: Sequence[Stage], loss: str, numbers: Numbers) -> tuple[float | None, str]:
    """(m, name of the check that passes there); None: not even THINNEST."""

    def kept(thickness: float) -> str:
        share = thickness / piece.thickness
        cap = min(piece.fat_cap, 0.5 * thickness)
        cut = piece.but(thickness=thickness, weight=share * piece.weight, fat_cap=cap)
        verdicts = check_cooked(simulate(cut, line, loss=loss, numbers=numbers))
        return next((each.name for each in verdicts if each.name.startswith("cooling, ") and each.counts_as_pass), "")

    low, high = min(THINNEST, piece.thickness), piece.thickness
    if kept(high) or not kept(low):
        return (high, kept(high)) if kept(high) else (None, "")
    while high - low > NEAR:
        half = 0.5 * (low + high)
        low, high = (half, high) if kept(half) else (low, half)
    return low, kept(low)
