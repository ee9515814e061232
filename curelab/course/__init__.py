"""The course: seven lessons for apprentices as plain data, their questions, and what a person has done of them.

A lesson is a record of `parts`; every number in it is computed by the library when it is asked for. `LESSONS` holds them in order. No widgets
in here: `lab.lesson` shows a lesson, `printed` puts it on paper.
"""

from .lessons import LESSONS, lesson_called
from .parts import Lesson
from .progress import Progress

__all__ = ["LESSONS", "Lesson", "Progress", "lesson_called"]
