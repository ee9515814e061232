"""`curelab split`: a piece of a batch whole or in two, and what to write into the batch file for the parts."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import Any

from ..units import WIDTH, show
from .learning_commands import CAUTION


def add_cutting(actions) -> None:
    """The words of this command."""
    split = actions.add_parser("split", help="compare a piece whole with the same piece in two: days, soak, water")
    split.add_argument("file", type=Path)
    split.add_argument("--piece", help="its name, where the batch has more than one with a length")
    where = split.add_mutually_exclusive_group(required=True)
    where.add_argument("--at", metavar="LENGTH", help='cut it across at this place from its head, like "12 cm"')
    where.add_argument("--along", choices=("seam",), help="take its two muscles apart along the seam of fat")
    split.set_defaults(act=_split)


def _split(given: argparse.Namespace) -> int:
    from ..batch import load
    from ..fields import refuse, to_plain
    from ..forecast import split_or_whole
    from ..recipe.measured import told
    from ..tomlfile import to_toml

    batch = load(given.file)
    known = {piece.name: piece for piece in batch.pieces if piece.solid() is not None}
    if given.piece is not None and given.piece not in known:
        raise refuse(
            "--piece", f'there is no piece "{given.piece}" with a length; there is {", ".join(known) or "none"}'
        )
    if not known or (given.piece is None and len(known) > 1):
        raise refuse(
            "--piece",
            f"say which piece: {', '.join(known)}" if known else "no piece has a length; write one as a block or a cut",
        )
    piece = known[given.piece] if given.piece is not None else next(iter(known.values()))
    cures = [number for number, stage in enumerate(batch.stages) if stage.cures]
    if not cures:
        raise refuse("stages", "nothing cures in this batch, so there are no days to compare")
    found = split_or_whole(
        piece, batch.filled()[: cures[0] + 1], at=given.at, along=given.along, vessel=batch.vessel, loss=batch.loss, system=batch.units
    )  # fmt: skip
    alone = f"The {piece.name} was taken alone in the brine of the batch, without its other pieces."
    for sentence in (*found.lines(), *((alone,) if len(batch.pieces) > 1 else ()), f"Caution: {CAUTION}"):
        print(textwrap.fill(sentence, WIDTH, break_long_words=False))
    print("\nTHE PARTS")
    for part in found.parts.pieces:
        words = f"{part.name}: {show(part.weight, 'mass', batch.units, digits=2)}, {told(part, batch.units)}"
        print(textwrap.fill(words, WIDTH, initial_indent="  ", subsequent_indent="      ", break_long_words=False))
    print("\nTo cure the parts, put this into the batch file in the place of the piece:\n")
    print(to_toml({"pieces": [_rounded(to_plain(part, batch.units)) for part in found.parts.pieces]}), end="")
    return 0


def _rounded(value: Any) -> Any:
    """A record as plain data, its quantities no finer than a ruler and a scale show."""
    if isinstance(value, dict):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(each) for each in value]
    number, gap, unit = value.partition(" ") if isinstance(value, str) else ("", "", "")
    try:
        return f"{float(number):.4g}{gap}{unit}" if gap else value
    except ValueError:
        return value
