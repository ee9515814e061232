"""How strong a brine must be for a given number of days."""

from __future__ import annotations

from collections.abc import Sequence

from .. import units
from ..engine.simulate import simulate
from ..fields import refuse
from ..matter import brine as brine_properties
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Brine, require_bath
from ..sources import Numbers, default_numbers
from .answer import Answer, corners, ordered, reaching, span_words
from .root import root


def strength_needed(
    criterion: str | Criterion,
    pieces: Piece | Sequence[Piece],
    brine: Brine,
    *,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Answer:
    """Salt strength (of salt and water) that makes `criterion` hold at the end of `brine`, whose water and duration are kept."""
    wanted = Criterion.of(criterion)
    if wanted.quantity != "salt" or wanted.sign != ">=" or wanted.basis == "equilibrium":
        raise refuse("criterion", f'"{wanted}" does not ask for an amount of salt; write it like "core salt >= 2 %"')
    if brine.lasts is None:
        raise refuse("lasts", "the strength is found for a given number of days; give the brine a duration")
    bath = require_bath(brine)
    top = float(brine_properties.solubility(max(brine.coldest, 273.25)))
    most = top / (1 - top) * bath.water * (1 - 1e-9)

    def margin(salt: float, these: Numbers) -> float:
        return simulate(pieces, brine.but(bath=bath.but(salt=salt)), loss=loss, numbers=these).margin(wanted)

    def ask(these: Numbers) -> float | None:
        if margin(most, these) < 0:
            return None
        salt = root(lambda kg: margin(kg, these), 0.0, most, 1e-6 * most)
        return salt / (salt + bath.water)

    value, slow, fast = (ask(each) for each in (numbers or default_numbers(), *corners(numbers)))
    low, high = ordered(value, fast, slow)
    days = units.show(brine.lasts, "time")
    if value is not None:
        grams = units.show(value / (1 - value) * bath.water, "mass")
        sentence = (
            f"{reaching(wanted)} in {days} with a brine of {units.show(value, 'fraction')} salt, {grams} in "
            f"{units.show(bath.water, 'mass')} of water ({span_words('fraction', slow, fast)})."
        )
    else:
        history = simulate(pieces, brine.but(bath=bath.but(salt=most)), loss=loss, numbers=numbers)
        reach = min(history.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in history.pieces)
        sentence = (
            f"{reaching(wanted)}: not in {days} with any brine. Even a saturated one ({units.show(top, 'fraction')}) brings it to "
            f"{units.show(reach, 'fraction')}; give it more days, or a thinner piece."
        )
    return Answer("how strong", value, low, high, "fraction", str(wanted), sentence)
