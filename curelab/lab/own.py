"""What the benches set that is not part of a batch: values to compare with, kept in a small file beside the batch file."""

from __future__ import annotations

import os
from pathlib import Path

from ..fields import InputError, Record, Words, from_plain, quantity, ruled, to_plain
from ..files import write
from ..recipe.plan import LocalTimeRule
from ..tomlfile import read_table, to_toml


class Own(Record):
    """target: salt wanted after a soak, or on the plate, of the meat. strong: strength of the brine that is compared, salt of brine. serve: when a
    cooked batch is to be on the table, by the kitchen's clock. piece: whose cook is set; none: that of the first. other: the batch file that this one is compared with.

    >>> Own(target="2.5 %").target, Own().strong
    (0.025, 0.12)
    """

    target: float = quantity("fraction", "0 %", "26 %", "slices taste right near 2 %", default=0.022)
    strong: float = quantity("fraction", "1 %", "26 %", "a strong brine has 10 to 20 %", default=0.12)
    serve: str | None = ruled(LocalTimeRule(), None)
    piece: str = ruled(Words(60), "")
    other: str = ruled(Words(200), "")


def home(batch_file: str | Path) -> Path:
    """The file that holds the values of the benches for this batch file.

    >>> home("cures/my-batch.toml").name
    '.my-batch.bench.toml'
    """
    path = Path(batch_file)
    return path.with_name(f".{path.stem}.bench.toml")


def kept(batch_file: str | Path) -> Own:
    """What was kept beside a batch file; the usual values if nothing was, or if it cannot be read any more."""
    try:
        return from_plain(Own, read_table(home(batch_file)))
    except InputError:
        return Own()


def keep(own: Own, batch_file: str | Path) -> None:
    """Keep them beside a batch file; values that are the usual ones make no new file. Raises InputError if it cannot be written."""
    path = home(batch_file)
    if os.path.lexists(path) or own != Own():
        write(path, to_toml(to_plain(own)), overwrite=True)
