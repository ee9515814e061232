"""Of many cases of one claim a handful is tried in every run; the others are repeats, for which `.ci/run` asks after it."""

from collections.abc import Collection, Iterable

import pytest


def handful(cases: Iterable, kept: Collection) -> list:
    """All cases for `parametrize`, a tuple for several names; those that are not kept under the marker `repeats`. Raises ValueError for a kept
    one that is no case.
    """
    cases = list(cases)
    gone = [each for each in kept if each not in cases]
    if gone:
        raise ValueError(f"{gone} are no cases; mend what is kept")
    several = [case if isinstance(case, tuple) else (case,) for case in cases]
    return [
        pytest.param(*each, marks=() if case in kept else pytest.mark.repeats)
        for case, each in zip(cases, several, strict=True)
    ]
