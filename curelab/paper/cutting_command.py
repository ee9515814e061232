"""`curelab split`, `trim` and `fold`: a piece of a batch as it is or as a knife or a hand makes it, and what to write into the batch file then."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..units import WIDTH, read, show
from .learning_commands import CAUTION

# What records may write, and the units that a ruler and a scale show, the finer one for less than one of the other.
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "length": {"known": ("m", "cm", "mm", "inch", "ft"), "metric": ("mm", "cm"), "us": ("inch",)},
    "mass": {"known": ("kg", "g", "lb", "oz"), "metric": ("g", "kg"), "us": ("lb",)},
}


def add_cutting(actions) -> None:
    """The words of these commands."""
    split = _action(actions, "split", "compare a piece whole with the same piece in two: days, soak, water")
    where = split.add_mutually_exclusive_group(required=True)
    where.add_argument("--at", metavar="LENGTH", help='cut it across at this place from its head, like "12 cm"')
    where.add_argument("--along", choices=("seam",), help="take its two muscles apart along the seam of fat")
    trim = _action(actions, "trim", "compare a piece as it is with the same piece when its fat cap is trimmed")
    trim.add_argument("--to", metavar="LENGTH", required=True, help='leave so much of the cap, like "4 mm"')
    fold = _action(actions, "fold", "compare a piece laid flat with the same piece folded over")
    fold.add_argument("--at", metavar="LENGTH", required=True, help='fold it at this place from its head, like "12 cm"')


def _action(actions, name: str, words: str) -> argparse.ArgumentParser:
    action = actions.add_parser(name, help=words)
    action.add_argument("file", type=Path)
    action.add_argument("--piece", help="its name, where the batch has more than one that it can be done to")
    action.set_defaults(act=_both_ways, hand=name)
    return action


def _both_ways(given: argparse.Namespace) -> int:
    from ..batch import load
    from ..fields import refuse, to_plain
    from ..forecast import BothWays, folded_or_whole, split_or_whole, trimmed_or_whole
    from ..learn.update import heard
    from ..outcome import CHECKED_LARGE
    from ..recipe import cutting
    from ..recipe.measured import told
    from ..sources import default_numbers
    from ..spread.draws import usual_case
    from ..tomlfile import to_toml

    batch = load(given.file)
    trims = given.hand == "trim"
    known = {piece.name: piece for piece in batch.pieces if (piece.has_cap if trims else piece.solid() is not None)}
    has = "a fat cap" if trims else "a length"
    if given.piece is not None and given.piece not in known:
        there = ", ".join(known) or "none"
        raise refuse("--piece", f'there is no piece "{given.piece}" with {has}; there is {there}')
    if not known or (given.piece is None and len(known) > 1):
        none = f"no piece has {has}; write {'it in' if trims else 'one as a block or a cut'}"
        raise refuse("--piece", f"say which piece: {', '.join(known)}" if known else none)
    name = given.piece if given.piece is not None else next(iter(known))
    cures = [number for number, stage in enumerate(batch.stages) if stage.cures]
    if not cures:
        raise refuse("stages", "nothing cures in this batch, so there are no days to compare")
    compared: dict[str, Callable[..., BothWays]] = {
        "split": split_or_whole,
        "trim": trimmed_or_whole,
        "fold": folded_or_whole,
    }
    how = {name: getattr(given, name) for name in ("at", "along", "to") if hasattr(given, name)}
    # The same usual meat as in the report of the batch: the middle of what is possible, or what earlier batches and its log taught.
    # The fit hangs on no draws, and its forecast is not told here: few do.
    update, base = heard(batch, CHECKED_LARGE)[1], default_numbers()
    learned = update.taken_up if update is not None else None
    pieces, stages, usual = usual_case(batch.pieces, batch.filled(), base, batch.meat_and_fridge, learned)
    piece = next(each for each in pieces if each.name == name)
    found = compared[given.hand](
        piece, stages[: cures[0] + 1], **how, vessel=batch.vessel, loss=batch.loss, numbers=usual, system=batch.units
    )
    alone = f"The {name} was taken alone in the brine of the batch, without its other pieces."
    for sentence in (*found.lines(), *((alone,) if len(batch.pieces) > 1 else ()), f"Caution: {CAUTION}"):
        print(textwrap.fill(sentence, WIDTH, break_long_words=False))
    made = getattr(cutting, given.hand)(known[name], **how)  # as measured: what a log taught of its size is no cut
    parts = made if isinstance(made, tuple) else (made,)
    print(f"\nTHE PIECE {found.short.upper()}" if len(parts) == 1 else "\nTHE PARTS")
    for part in parts:
        words = f"{part.name}: {show(part.weight, 'mass', batch.units, digits=2)}, {told(part, batch.units)}"
        print(textwrap.fill(words, WIDTH, initial_indent="  ", subsequent_indent="      ", break_long_words=False))
    print("\nTo cure it so, put this into the batch file in the place of the piece:\n")
    print(to_toml({"pieces": [_rounded(to_plain(part, batch.units), batch.units) for part in parts]}), end="")
    return 0


def _rounded(value: Any, system: str) -> Any:
    """A record as plain data, its quantities no finer than a ruler and a scale show, each in the units of the batch."""
    if isinstance(value, dict):
        return {key: _rounded(each, system) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(each, system) for each in value]
    number, gap, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
    for kind, written in UNITS.items():
        if gap and unit in written["known"]:
            size = read(value, kind)
            *fine, coarse = written[system]
            unit = fine[0] if fine and 0 < size < read(f"1 {coarse}", kind) else coarse
            return f"{size / read(f'1 {unit}', kind):.4g} {unit}"
    try:
        return f"{float(number):.4g}{gap}{unit}" if gap else value
    except ValueError:
        return value
