"""What comes to the plate, in words: the slice of every piece that was cooked, and how tender it may be."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..engine.history import History
from ..forecast import slice_of
from ..limits.cooked import NITRITE
from ..limits.verdict import in_degrees
from ..matter.taste import RESTS_ON
from ..matter.tenderness import tenderness
from ..recipe.piece import Piece
from ..units import capital, listed

TOUGH = ("brisket flat", "brisket point", "cooked brisket")  # tissues for which tenderness was published
READINGS = 400


def plate_rows(history: History) -> list[dict[str, Any]]:
    """The slice of each piece that was cooked, as plain data: fractions, and kg per kg."""
    cuts = [slice_of(history, piece.name) for piece in history.pieces if _cooked(history, piece)]
    return [
        {
            "piece": cut.piece, "salt": cut.salt, "salt across": list(cut.across), "saltiness": cut.saltiness.word, "sodium": cut.sodium,
            "kept": cut.kept, "kept low": cut.kept_low, "kept high": cut.kept_high, "sodium mg in 100 g": 1e5 * cut.sodium,
            "cost per kg": cut.cost, "juice kept_kg": cut.juice[0], "salt in juice": cut.juice[1],
        }
        for cut in cuts
    ]  # fmt: skip


# Lowe, Experimental Cookery (rows LOWE-01 and LOWE-02 of cook_loss.csv, seen): boiled 20.6 %, roasted 25.6 %
JUICE_OF_PORK = (
    "What the cook takes in weight rests on beef. Printed hams lost a fifth to a quarter, often less than here."
)


def _cooked(history: History, piece: Piece) -> list[int]:
    """Numbers of the stages that cooked a piece."""
    return [
        number for number, stage in enumerate(history.stages)
        if stage.aim == "cook" and history.has(number) and stage.is_about(piece.name)
    ]  # fmt: skip


def plate_sentences(history: History, system: str = "metric") -> list[str]:
    """One sentence on the slice of each piece, one on tenderness where rows were published for its cut, and what the word for salt rests on; empty for a
    batch that is not cooked.
    """
    found = []
    for piece in history.pieces:
        cooked = _cooked(history, piece)
        if not cooked:
            continue
        found.append(slice_of(history, piece.name).told(system))
        if piece.tissue in TOUGH:
            begin, end = history.begin(cooked[0]), history.ends(cooked[-1])
            times = np.linspace(begin, end, READINGS)
            told = tenderness(times, history.temperature(times, "core", piece.name))
            found.append(f"{capital(piece.name)}: {in_degrees(told.sentence, system)}")
    pork = any(piece.species == "pork" and _cooked(history, piece) for piece in history.pieces)
    found += [JUICE_OF_PORK] if found and pork else []
    return [*found, *juice_caution(history), f"The word for the salt rests on {RESTS_ON}."] if found else []


def juice_caution(history: History) -> list[str]:
    """What to mind of juice that stays in a bag, and of the broth of a pot: it is as cooked as the meat, and holds what the meat held."""
    hot = [n for n, stage in enumerate(history.stages) if stage.heats and history.has(n)]
    kept = [f"juice of the {piece.name}" for piece in history.pieces if history.juice_kept("water", piece.name) > 0]
    broth = ["broth"] if any(history.stages[n].wet for n in hot) else []
    if not kept and not broth:
        return []
    what = capital(listed([*kept, *broth]))
    said = f"{what}: cooked as far as the meat, and no further. Chill it as fast, keep it no longer, and boil it before you use it."
    nitrite = max(float(history.average("nitrite", history.begin(hot[0]), piece.name)) for piece in history.pieces)
    if nitrite > NITRITE:
        said += " It holds curing salt: use little of it, and none for a small child."
    return [said]
