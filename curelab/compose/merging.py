"""Two changes of one batch brought together, so that neither is lost: field by field against what both began with."""

from __future__ import annotations

from dataclasses import fields

from ..batch import Batch
from ..fields import InputError, Problem


def merged(begun: Batch, ours: Batch, theirs: Batch) -> Batch:
    """`theirs` with what we changed since `begun`. The log is always theirs: it is only ever written to the file.

    Raises InputError, one sentence for each field that both changed in different ways, or where both together are no batch.
    """
    changes, problems = {}, []
    for spec in fields(Batch):  # type: ignore[arg-type]
        name = spec.name
        was, mine, other = (getattr(each, name) for each in (begun, ours, theirs))
        if name == "log" or mine in (was, other):
            continue
        if other != was:
            said = "was changed here and, in another way, in the file"
            problems.append(Problem(name, f"{said}; press Undo until it is saved, then change it again"))
        changes[name] = mine
    if problems:
        raise InputError(problems)
    return theirs.but(**changes) if changes else theirs


__all__ = ["merged"]
