"""What every edit of a batch ends with: the batch is one that can be run, or each reason why not is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

from ..batch import Batch
from ..engine.simulate import check
from ..fields import refuse

Item = TypeVar("Item")


def sound(batch: Batch) -> Batch:
    """The batch itself, if it can be run. Raises InputError with every problem at once."""
    check(batch.pieces, batch.filled(), batch.loss)
    return batch


def chosen(items: Sequence[Item], number: int, what: str) -> Item:
    """Item `number`, counted from 0. Raises InputError where there is none; `what` names the list, "pieces" or "stages"."""
    if not 0 <= number < len(items):
        raise refuse(f"{what}[{number + 1}]", f"there is none; the batch has {len(items)} {what}")
    return items[number]


def replaced(items: tuple[Any, ...], number: int, *made: Any) -> tuple[Any, ...]:
    """The items with one replaced by others, by none to leave it out.

    >>> replaced(("brine", "rest", "soak"), 1, "smoke", "chill")
    ('brine', 'smoke', 'chill', 'soak')
    """
    return (*items[:number], *made, *items[number + 1 :])


def moved(items: tuple[Any, ...], number: int, to: int) -> tuple[Any, ...]:
    """The items with one at another place; beyond an end it stays at that end.

    >>> moved(("brine", "rest", "soak"), 2, 1)
    ('brine', 'soak', 'rest')
    """
    rest = [*replaced(items, number)]
    rest.insert(max(0, min(to, len(rest))), items[number])
    return tuple(rest)


__all__ = ["chosen", "moved", "replaced", "sound"]
