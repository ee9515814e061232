"""What earlier batches taught, put into the file of another batch as its prior, with all else in the file kept."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from ..batch import Batch
from ..fields import refuse, to_plain
from ..learn.fit import known_before
from ..learn.update import priors
from ..learn.words import columns, in_words
from ..recipe.meat_and_fridge import MeatAndFridge
from ..spread.uncertain import Uncertain
from ..tomlfile import to_toml
from .logbook import WAIT, change

TABLE = "meat_and_fridge"
COUNTS_FROM_THE_PLAN = (
    "The temperature counts from the plan: plan with what the fridge is set to, not with what was measured."
)
# The table as this module writes it: heads, lines of one key, blank lines; and the first entry of a log with what is said above it.
_MINE = re.compile(rf"(?:^\[\[?{TABLE}\b[^\]\n]*\]\]?\n(?:(?:[a-z_]+ = [^\n]*)?\n)*)+", re.MULTILINE)
_LOG = re.compile(r"^(?:[ \t]*#[^\n]*\n)*[ \t]*\[\[[ \t]*log[ \t]*\]\]", re.MULTILINE)


def carry(
    path: str | Path, profile: MeatAndFridge, *, replace: bool = False, wait: float = WAIT
) -> tuple[Batch, Batch]:
    """Put it into a batch file as the prior of that batch. Returns the batch as it was and as it is.

    The rest of the file stays as it is, comments too. Raises InputError when the file is no good, may not be written, holds another one
    already and `replace` is not said, or is one of the batches that this was learned from; nothing is changed then.
    """

    def begun(batch: Batch, words: str) -> tuple[Batch, str]:
        after = begun_with(batch, profile)
        if after != batch and batch.meat_and_fridge is not None and not replace:
            raise refuse(
                TABLE, f'the batch holds "{batch.meat_and_fridge.name}" already; say --replace to put this in its place'
            )
        return after, _with(words, to_toml({TABLE: to_plain(profile)}))

    return change(path, begun, wait)


def begun_with(batch: Batch, profile: MeatAndFridge) -> Batch:
    """The batch with what earlier batches taught as its prior, in the place of what was carried into it before.

    Raises InputError when it is one of the batches that this was learned from.
    """
    if f"({batch.known_by})" in profile.learned_from:
        raise refuse(
            TABLE,
            f'"{profile.name}" was learned from this very batch ({batch.known_by}), and its readings would count twice; if these are '
            "two batches of one name, give each an id",
        )
    return batch.but(meat_and_fridge=profile)


def _with(words: str, table: str) -> str:
    """The text with this table in the place of the former one, else before the log, else at the end. Whether that was right is for
    the caller to see: brackets may also stand in a text.
    """
    plain = words.replace("\r\n", "\n")
    plain += "" if plain.endswith("\n") else "\n"
    place = _MINE.search(plain) or _LOG.search(plain)
    if place is None:
        plain = f"{plain}\n{table}"
    else:
        end = place.end() if place.re is _MINE else place.start()
        plain = f"{plain[: place.start()]}{table}\n{plain[end:]}"
    return plain.replace("\n", "\r\n") if "\r\n" in words else plain


def changes(before: Batch, after: Batch) -> list[str]:
    """What this changes, one row for every input: before, now (middle, and in brackets 9 times in 10)."""
    pairs, left = changed(before, after)
    return [*(columns(change_rows(pairs, after.units)) if pairs else []), *left]


def change_rows(pairs: Sequence[tuple[Uncertain, Uncertain]], system: str) -> list[list[str]]:
    """Inputs as they were and as they are, in a cook's words, under a head."""
    rows = [["", "before", "now"]]
    for was, now in pairs:
        label, words = in_words(now, system)
        rows.append([label, words(known_before(was)), words(known_before(now))])
    return rows


def changed(before: Batch, after: Batch) -> tuple[list[tuple[Uncertain, Uncertain]], list[str]]:
    """The inputs that another meat and fridge (None: none) changes in a batch, each as it was and as it is; and a sentence for each that
    this batch does not depend on.
    """
    was, now = ({row.key: row for row in priors(batch)} for batch in (before, after))
    keys = dict.fromkeys(
        known.key
        for batch in (after, before)
        if batch.meat_and_fridge is not None
        for known in batch.meat_and_fridge.known
    )
    brought = {known.key for known in after.meat_and_fridge.known} if after.meat_and_fridge is not None else set()
    left = [f"{key}: this batch does not depend on it." for key in keys if key in brought and key not in now]
    return [(was[key], now[key]) for key in keys if key in now], left
