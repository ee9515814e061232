"""The lessons in their order."""

from __future__ import annotations

from .cold import COLD
from .equilibrium import EQUILIBRIUM
from .nitrite import NITRITE
from .parts import Lesson
from .plate import PLATE
from .rest_and_soak import REST_AND_SOAK
from .strong import STRONG_BRINE
from .thick import THICK

LESSONS: tuple[Lesson, ...] = (THICK, EQUILIBRIUM, STRONG_BRINE, NITRITE, REST_AND_SOAK, COLD, PLATE)


def lesson_called(name: str) -> Lesson:
    """The lesson of that name. Raises KeyError naming those there are.

    >>> lesson_called("thick").title
    'Why thick takes long'
    """
    for lesson in LESSONS:
        if lesson.name == name:
            return lesson
    raise KeyError(f'no lesson "{name}"; there is {", ".join(each.name for each in LESSONS)}')


def number_of(lesson: Lesson) -> int:
    """Which lesson of the course it is, from 1."""
    return [each.name for each in LESSONS].index(lesson.name) + 1
