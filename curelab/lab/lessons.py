"""One lesson of the course on a page: a guess, the picture that answers it, questions, a batch that goes wrong, notes. It computes nothing."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from html import escape
from typing import Any

import ipywidgets

from ..course import lesson_called, progress
from ..course.asked import Asked, asked
from ..course.lessons import LESSONS, number_of
from ..course.parts import WITHOUT_NITRITE
from ..course.printed import notes
from ..course.progress import QUESTIONS, Done, Progress
from ..course.words import WORDS
from ..fields import InputError
from ..show.section import Section
from .boxes import column, row
from .controls import Line, Pick, Press
from .fold import Fold
from .knob import Knob
from .nav import Nav
from .picture import Picture
from .say import Say
from .section import SectionPicture
from .workbench import show_lines, show_section

COURSE, TEACHER = "course.ipynb", "teacher.ipynb"
PAGES = (
    (COURSE, "The course"),
    *((f"{number}_{each.name}.ipynb", f"{number} {each.short}") for number, each in enumerate(LESSONS, 1)),
    (TEACHER, "Teacher"),
)
CANNOT_KEEP = "What you do here is not kept until that is mended: {}"


def heading(words: str, level: int = 2) -> ipywidgets.HTML:
    """A heading that a screen reader can find."""
    return ipywidgets.HTML(f"<h{level}>{escape(words)}</h{level}>")


class Page:
    """What all pages of the course share: the line of pages, what is kept of the course, and truth when something fails."""

    def __init__(self, here: str, strict: bool = False) -> None:
        self.strict = strict
        self.nav = Nav(here, PAGES)
        self.nav.observe(lambda change: setattr(self.nav, "kept", change["new"]), "left")  # each step is kept at once
        self.trouble = Say("", "alert")
        self.done = Progress()
        self.kept = True  # whether the file can be read
        self.read()

    def read(self) -> None:
        """Take up what the file holds."""
        try:
            self.done, self.kept, self.trouble.text = progress.read(), True, ""
        except InputError as error:
            self.kept = False
            self.trouble.text = CANNOT_KEEP.format(error.said())

    def keep(self, edit: Callable[[Progress], Progress]) -> None:
        """Change what is kept; while the file cannot be read, on this page alone."""
        self.done = progress.change(edit) if self.kept else edit(self.done)

    def guarded(self, work: Callable[..., Any]) -> Callable[..., None]:
        """The same, with what goes wrong said on the page. With `strict` (tests) an error goes on to the caller."""

        @wraps(work)
        def safely(*given: Any) -> None:
            try:
                if self.kept:
                    self.trouble.text = ""
                work(*given)
            except InputError as error:
                self.trouble.text = error.said()
            except Exception as error:
                self.trouble.text = f"This could not be computed: {error}"
                if self.strict:
                    raise

        return safely

    def _ipython_display_(self) -> None:
        from IPython.display import display

        display(self.box)

    box: Any


class LessonPage(Page):
    """The page of one lesson."""

    def __init__(self, name: str, strict: bool = False) -> None:
        self.lesson = lesson_called(name)
        self.number = number_of(self.lesson)
        super().__init__(f"{self.number}_{name}.ipynb", strict)
        self.says = {key: Say("", "answer") for key in ("guessed", "seen", "followed")}
        self.says |= {"claims": Say("", "answer"), "progress": Say("", "note"), "aside": Say("", "note")}
        self.picture: Picture | SectionPicture | None = None
        self.shown = column()  # what comes after the guess
        self.shown.layout.display = "none"
        self._build_guess()
        self._build_live()
        self._build_questions()
        self._build_trouble()
        self._build_rest()
        lesson = self.lesson
        words = "\n".join(f"**{word}**: {WORDS[word]}" for word in lesson.words)
        caution = (
            [] if lesson.caution == WITHOUT_NITRITE else [Say(lesson.caution, "caution")]
        )  # where numbers can hurt, it stands first
        self.box = column(
            self.nav, self.trouble, heading(f"{self.number}. {lesson.title}", 1), Say(lesson.opening), *caution, Say(words, "note"),
            heading("Guess first"), Say(lesson.guess.text), self.guess, self.keep_guess, self.says["guessed"],
            self.shown, self.own,
        )  # fmt: skip
        self.guarded(self._take_up)()

    # -- what is on the page -------------------------------------------------------------------------------------------

    def _build_guess(self) -> None:
        dial = self.lesson.guess.dial
        self.guess = Knob(dial.words, dial.start, dial.low, dial.high, dial.step, unit=dial.unit)
        self.keep_guess = Press("This is my guess", main=True)
        self.keep_guess.on_press(self.guarded(self._guessed))

    def _build_live(self) -> None:
        dials = self.lesson.live.dials
        self.dials = {
            dial.key: Knob(dial.words, dial.start, dial.low, dial.high, dial.step, unit=dial.unit) for dial in dials
        }
        for knob in self.dials.values():
            knob.observe(self.guarded(lambda change: self.draw()), "value")
        self.drawn = column()

    def _build_questions(self) -> None:
        self.asks = [Say() for _ in QUESTIONS]
        self.answers = [
            Line(f"Answer {number}, in {each.unit}") for number, each in enumerate(self.lesson.questions, 1)
        ]
        self.checks = [Press(f"Check answer {number}") for number in range(1, len(QUESTIONS) + 1)]
        self.replies = [Say() for _ in QUESTIONS]
        for line in self.answers:
            line.layout.max_width = "340px"  # a number needs no more
        for number, check in enumerate(self.checks):
            check.on_press(self.guarded(lambda pressed, number=number: self._checked(number)))

    def _build_trouble(self) -> None:
        ways = self.lesson.trouble.ways
        self.way = Pick("What would you do now?", list(enumerate(each.words for each in ways)), 0, radio=True)
        self.do = Press("Do it")
        self.do.on_press(self.guarded(self._followed))

    def _build_rest(self) -> None:
        self.print = Press("Print the notes")
        self.print.on_press(self.guarded(self._print))
        self.seed = Line(
            "The number from your teacher", help="It gives you questions of your own. Another number asks them anew."
        )
        self.seed.observe(self.guarded(self._seeded), "value")
        self.reset = Press("Begin the whole course anew")
        self.reset.on_press(self.guarded(self._reset))
        self.back = Press("Take that back")
        self.back.layout.display = "none"
        self.back.on_press(self.guarded(self._back))
        self.own = Fold("My number, and what I have done")
        self.own.hold([self.says["progress"], row(self.seed, self.reset, at_least=200), self.says["aside"], self.back])

    # -- what it shows -------------------------------------------------------------------------------------------------

    def _take_up(self) -> None:
        """Show what the progress says."""
        mine = self._mine
        self.asked: list[Asked] = [asked(self.lesson, number, int(self.done.seed)) for number in range(len(QUESTIONS))]
        self.seed.value = f"{self.done.seed:g}"
        if mine.guess is not None:
            self._reveal(mine.guess)
        else:
            self.guess.disabled, self.keep_guess.layout.display = False, "block"
            self.shown.layout.display, self.says["guessed"].text = "none", ""
        for number, say in enumerate(self.replies):
            say.text = "You have answered this one." if number in mine.right else ""
        self.says["followed"].text = "You have met this one." if mine.met else ""
        self._tell_progress()

    def _reveal(self, guess: float) -> None:
        lesson, dial = self.lesson, self.lesson.guess.dial
        self.guess.value = min(max(guess, dial.low), dial.high)
        self.guess.disabled, self.keep_guess.layout.display = True, "none"
        self.says["guessed"].text = lesson.guess.beside(guess)
        if not self.shown.children:
            questions = []
            for parts in zip(self.asks, self.answers, self.checks, self.replies, strict=True):
                questions.append(column(*parts, gap=4))
            self.shown.children = [
                heading("Look"), Say(lesson.live.lead), self.says["seen"],
                row(self.drawn, column(*self.dials.values(), gap=2), share=(2.5, 1), at_least=250),
                heading("What it comes to"), self.says["claims"],
                heading("Three questions"), *questions,
                heading("A batch goes wrong"), Say(lesson.trouble.text), self.way, self.do, self.says["followed"],
                heading("Try it with meat, salt and a scale"), Say(lesson.caution, "caution"), Say(lesson.tries.text),
                heading("Notes"), self.print,
            ]  # fmt: skip
        for number, (say, each) in enumerate(zip(self.asks, self.asked, strict=True), 1):
            say.text = f"**{number}.** {each.text}"
        self.says["claims"].text = "\n".join(f"• {each.text}" for each in lesson.claims)
        self.shown.layout.display = "flex"
        self.draw()

    def draw(self) -> None:
        """The live picture, as its dials stand."""
        try:
            seen = self.lesson.live.draw({key: knob.value for key, knob in self.dials.items()})
        except Exception:
            self.says["seen"].text = ""
            if self.picture is not None:
                self.picture.fail("This could not be computed.")
            raise
        if self.picture is None:
            self.picture = SectionPicture() if isinstance(seen.picture, Section) else Picture()
            self.picture.follow(*self.dials.values())
            self.drawn.children = [self.picture]
        if isinstance(seen.picture, Section):
            show_section(self.picture, seen.picture, seen.day, "metric")
        else:
            show_lines(self.picture, seen.picture)
        self.says["seen"].text = seen.sentence

    def _tell_progress(self) -> None:
        mine, whole = self._mine, sum(each.whole for each in self.done.lessons)
        parts = [
            "guess kept" if mine.guess is not None else "no guess yet",
            f"{len(mine.right)} of {len(QUESTIONS)} questions",
            "trouble met" if mine.met else "trouble open",
        ]
        self.nav.batch = f"Lesson {self.number}: {', '.join(parts)}"
        self.says["progress"].text = (
            f"Lessons done: {whole} of {len(LESSONS)}. This is kept in {progress.FILE}, in the folder of the course."
            if self.kept
            else "Nothing is kept."
        )

    # -- what a person does --------------------------------------------------------------------------------------------

    @property
    def _mine(self) -> Done:
        return self.done.of(self.lesson.name)

    def _note(self, **changes: Any) -> None:
        self.keep(lambda kept: kept.with_done(kept.of(self.lesson.name).but(**changes)))
        self._tell_progress()

    def _guessed(self, pressed: Press) -> None:
        self._note(guess=self.guess.value)
        self._reveal(self.guess.value)

    def _checked(self, number: int) -> None:
        judged = self.asked[number].judge(self.answers[number].value)
        self.answers[number].problem = "" if judged.read else judged.said
        self.replies[number].text = judged.said if judged.read else ""
        if judged.right:
            self._note(**{QUESTIONS[number]: True})

    def _followed(self, pressed: Press) -> None:
        followed = self.lesson.trouble.ways[self.way.value].follow()
        verdict = "**That is in order.**" if followed.good else "**That goes wrong.** Read why, and choose again."
        self.says["followed"].text = f"{followed.said} {verdict}"
        if followed.good:
            self._note(met=True)

    def _print(self, pressed: Press) -> None:
        pressed.hand_over(f"{self.lesson.name}.html", notes(self.lesson, self._mine), "text/html", new_tab=True)

    def _seeded(self, change: Any) -> None:
        if self.seed.value.strip() == f"{self.done.seed:g}":
            return
        try:
            Progress(seed=self.seed.value)
        except InputError as error:
            self.seed.problem = error.said()
            return
        self.seed.problem = ""
        progress.set_aside()
        self.keep(lambda kept: kept.with_seed(Progress(seed=self.seed.value).seed))
        self._anew("Another number asks anew, so your right answers were taken out.")

    def _reset(self, pressed: Press) -> None:
        self.done, self.kept = progress.reset(), True
        self._anew("The course begins anew.")

    def _back(self, pressed: Press) -> None:
        self.done, self.kept = progress.take_back(), True
        self._anew("That was taken back.")

    def _anew(self, said: str) -> None:
        """Show a course that is another than before, and that it can be taken back."""
        self.trouble.text = ""
        for line in self.answers:
            line.value = ""
        self._take_up()
        self.says["aside"].text = f"{said} What stood there before is kept in {progress.BEFORE}."
        self.back.layout.display = "block"

    def __repr__(self) -> str:
        return f"LessonPage({self.lesson.name!r})"


def lesson(name: str) -> LessonPage:
    """The page of the lesson of that name. Raises KeyError naming the lessons."""
    return LessonPage(name)
