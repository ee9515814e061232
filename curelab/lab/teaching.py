"""The first page of the course, and the page of who teaches it: questions of one's own for each apprentice, and a sheet of answers."""

from __future__ import annotations

import asyncio
import contextlib

from ..course import printed
from ..course.lessons import LESSONS
from ..course.progress import FILE, MOST_SEED
from .boxes import column, row
from .controls import Pick, Press
from .knob import Knob
from .lessons import COURSE, TEACHER, Page, heading
from .say import Say

MOST_APPRENTICES = 12


LOOK = 3.0  # s between two looks at what was done on the other pages


class CoursePage(Page):
    """What the course is, and how far this person has come; it follows what is done on the other pages."""

    def __init__(self, strict: bool = False) -> None:
        super().__init__(COURSE, strict)
        self.list = Say()
        self.box = column(self.nav, self.trouble, self.list)
        self.tell()
        with contextlib.suppress(RuntimeError):  # no kernel behind it: a script or a test looks by itself
            self._following = asyncio.get_running_loop().create_task(self._follow())

    def tell(self) -> None:
        """Say what the file says now."""
        self.read()
        lines = []
        for number, each in enumerate(LESSONS, 1):
            mine = self.done.of(each.name)
            begun = mine.guess is not None
            state = "done" if mine.whole else f"begun, {len(mine.right)} of 3 questions" if begun else "not begun"
            lines.append(f"{number}. **{each.title}**: {state}")
        self.nav.batch = f"{sum(each.whole for each in self.done.lessons)} of {len(LESSONS)} lessons done"
        self.list.text = "\n".join(lines)

    async def _follow(self) -> None:
        while True:
            await asyncio.sleep(LOOK)
            self.tell()


class TeacherPage(Page):
    """Numbers for apprentices, and the sheets to print."""

    def __init__(self, strict: bool = False) -> None:
        super().__init__(TEACHER, strict)
        self.first = Knob("First number", 1, 1, MOST_SEED - MOST_APPRENTICES, 1)
        self.count = Knob("Apprentices", 2, 1, MOST_APPRENTICES, 1)
        options = [(None, "all lessons"), *((each.name, each.title) for each in LESSONS)]
        self.which = Pick("Lesson", options, None)
        self.sheet = Press("Print the sheet of answers", main=True)
        self.sheet.on_press(self.guarded(self._print))
        self.ten = Press("Print ten questions for before and after")
        self.ten.on_press(self.guarded(self._print_ten))
        self.told = Say()
        for control in (self.first, self.count):
            control.observe(self.guarded(lambda change: self._tell()), "value")
        self.box = column(
            self.nav, self.trouble, heading("For who teaches", 1),
            Say(
                "Give each apprentice a number. Each types it on a lesson, under **My number**. The questions then have other numbers, and other "
                "answers. The same number gives the same questions on every machine. The answers are worked out when you print."
            ),
            row(self.first, self.count, self.which, at_least=220), self.told, self.sheet,
            Say("Ten short questions on lessons 2, 3 and 6. Ask them before these lessons, and again after them. The right answers are on a page of their own."),
            self.ten,
        )  # fmt: skip
        self._tell()

    @property
    def seeds(self) -> list[int]:
        """The numbers that are given out."""
        return [int(self.first.value) + step for step in range(int(self.count.value))]

    def _tell(self) -> None:
        self.told.text = f"Give out: **{', '.join(map(str, self.seeds))}**. What each has done is in {FILE}, in the folder of that person's course."

    def _print(self, pressed: Press) -> None:
        lessons = [each for each in LESSONS if self.which.value in (None, each.name)]
        pressed.hand_over("answers.html", printed.answers(lessons, self.seeds), "text/html", new_tab=True)

    def _print_ten(self, pressed: Press) -> None:
        pressed.hand_over("ten-questions.html", printed.ten_questions(), "text/html", new_tab=True)


def course() -> CoursePage:
    """The first page of the course."""
    return CoursePage()


def teacher() -> TeacherPage:
    """The page of who teaches."""
    return TeacherPage()
