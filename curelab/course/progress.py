"""What a person has done of the course, in a plain file beside the lessons."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from pathlib import Path

from ..fields import Flag, InputError, Problem, Record, Several, Words, from_plain, quantity, refuse, ruled, to_plain
from ..files import write
from ..tomlfile import read_table, to_toml

FILE = "my-course.toml"
BEFORE = "my-course-before.toml"  # what was there when somebody began anew
HEAD = "# What you have done of the course. The course writes this file; its reset button begins a new one.\n"
QUESTIONS = ("first", "second", "third")
MOST_SEED = 9999


class Done(Record):
    """One lesson: the guess that was kept, which questions were answered rightly, and whether the trouble was met in a good way.

    >>> Done(lesson="thick", guess=30, second=True).right
    (1,)
    """

    lesson: str = ruled(Words(40))
    guess: float | None = quantity("plain", "-1000000", "1000000", "a number", default=None)
    first: bool = ruled(Flag(), False)
    second: bool = ruled(Flag(), False)
    third: bool = ruled(Flag(), False)
    met: bool = ruled(Flag(), False)

    @property
    def right(self) -> tuple[int, ...]:
        """Numbers, from 0, of the questions that were answered rightly."""
        return tuple(number for number, name in enumerate(QUESTIONS) if getattr(self, name))

    @property
    def whole(self) -> bool:
        """Whether nothing is left to do."""
        return self.guess is not None and len(self.right) == len(QUESTIONS) and self.met


class Progress(Record):
    """seed: the number from the teacher, from which the questions take theirs; lessons: what was done of each that was begun."""

    seed: float = quantity("plain", "1", str(MOST_SEED), "the number that your teacher gave you", default=1.0)
    lessons: tuple[Done, ...] = ruled(Several((Done,), least=0, most=60), ())

    def conflicts(self):
        names = [each.lesson for each in self.lessons]
        for name in sorted({each for each in names if names.count(each) > 1}):
            yield Problem("lessons", f'"{name}" stands there twice; keep one of them')
        if self.seed != int(self.seed):
            yield Problem("seed", f"{self.seed:g} is no whole number; give one from 1 to {MOST_SEED}")

    def of(self, lesson: str) -> Done:
        """What was done of a lesson; nothing yet, if it was not begun."""
        return next((each for each in self.lessons if each.lesson == lesson), Done(lesson=lesson))

    def with_done(self, done: Done) -> Progress:
        """The same with what was done of one lesson in its place."""
        others = [each for each in self.lessons if each.lesson != done.lesson]
        return self.but(lessons=(*others, done))

    def with_seed(self, seed: float) -> Progress:
        """The same with other numbers in the questions, so their answers are open again."""
        cleared = tuple(each.but(first=False, second=False, third=False) for each in self.lessons)
        return self if seed == self.seed else self.but(seed=seed, lessons=cleared)


def read(path: str | Path = FILE) -> Progress:
    """What a file holds; nothing done where there is none. Raises InputError for one that cannot be read, which is left as it is."""
    if not os.path.lexists(path):
        return Progress()
    return from_plain(Progress, read_table(path))


def change(edit: Callable[[Progress], Progress], path: str | Path = FILE) -> Progress:
    """Read the file, change what it holds, write it whole. Raises InputError where it cannot be read or written; it is left as it was then."""
    before = read(path)
    after = edit(before)
    if after != before or not os.path.lexists(path):
        write(path, HEAD + to_toml(to_plain(after)), overwrite=True)
    return after


def set_aside(path: str | Path = FILE) -> None:
    """Keep what is there (nothing done, where no file is) beside it, under the name BEFORE; so it is where it could not be read. Raises InputError where that fails."""
    path = Path(path)
    there = os.path.lexists(path)
    if there and not os.path.isfile(path):
        raise refuse(path.name, "is no file, and was left as it is; move it away first")
    words = path.read_bytes() if there else (HEAD + to_toml(to_plain(Progress()))).encode("utf-8")
    write(path.with_name(BEFORE), words, overwrite=True)


def take_back(path: str | Path = FILE) -> Progress:
    """What was set aside, in its place again; what stood there meanwhile is set aside. Raises InputError where it cannot be read or written."""
    path = Path(path)
    aside = path.with_name(BEFORE)
    if not os.path.isfile(aside):
        raise refuse(BEFORE, "is not there, so nothing was changed")
    found = read(aside)
    words = aside.read_bytes()
    set_aside(path)
    write(path, words, overwrite=True)
    return found


def reset(path: str | Path = FILE) -> Progress:
    """Begin anew with the same seed. What was there is set aside.

    Raises InputError where something cannot be written; nothing is lost then.
    """
    path = Path(path)
    set_aside(path)
    seed = 1.0
    if os.path.lexists(path):
        with contextlib.suppress(InputError):
            seed = read(path).seed
    fresh = Progress(seed=seed)
    write(path, HEAD + to_toml(to_plain(fresh)), overwrite=True)
    return fresh
