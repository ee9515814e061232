"""The teacher's set: the picture of every lesson at the size of a slide, with its numbers. `curelab figures FOLDER` writes it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from .. import __version__, files, progress
from ..fields import InputError
from ..paper.pages import png
from ..paper.slides import DOTS, HIGH, WIDE, numbers, slide
from ..show.caption import NOT_A_PERMIT
from .kitchen import brined
from .lessons import LESSONS
from .parts import Lesson

SHOWN = 6.0  # cm, of a piece in the course's brine; what was assumed of it was assumed of all


def pictures(lessons: Sequence[Lesson] = LESSONS, done: Callable[[], Any] = lambda: None) -> dict[str, str]:
    """File names and contents: of each lesson a slide (SVG) and its numbers (CSV), as the picture stands before a dial is moved. done: called after each."""
    made = {}
    for number, lesson in enumerate(lessons, 1):
        seen = lesson.live.draw({dial.key: dial.start for dial in lesson.live.dials})
        said = seen.sentence.replace("**", "")
        words = caption(lesson)
        name = _name(number, lesson)
        made[f"{name}.svg"] = slide(f"{number}. {lesson.title}", seen.picture, said, words, seen.day)
        made[f"{name}.csv"] = numbers(seen.picture, said, words)
        done()
    return made


def _name(number: int, lesson: Lesson) -> str:
    return f"{number}-{lesson.name.replace('_', '-')}"


def caption(lesson: Lesson) -> str:
    """What is set in the picture of a lesson, what was assumed, and the version."""
    dials = "; ".join(f"{dial.words}: {dial.start:g} {dial.unit}".strip() for dial in lesson.live.dials)
    taken = " ".join(brined(SHOWN).assumptions)
    return f"Invented pieces in usual meat. {dials}. Assumed: {taken} {NOT_A_PERMIT} curelab {__version__}."


def write(folder: Path) -> list[str]:
    """Write the set into a folder, made if it is missing; all of it or none. What to say of it, in sentences.

    Raises InputError where the folder is a file, cannot be written, or holds one of the files already; before anything is computed.
    """
    names = [_name(number, lesson) for number, lesson in enumerate(LESSONS, 1)]
    files.refuse_folder("FOLDER", folder, [f"{name}.{end}" for name in names for end in ("svg", "csv", "png")])
    problem = ""
    with progress.counted("drawing the slides", 2 * len(LESSONS)) as done:
        made: dict[str, str | bytes] = dict(pictures(done=done))
        slides = {name: content for name, content in made.items() if name.endswith(".svg")}
        try:
            for name, content in slides.items():
                made[name.replace(".svg", ".png")] = png(str(content), round(DOTS * WIDE), round(DOTS * HIGH))
                done()
        except InputError as error:  # the drawings are there without them
            problem = error.problems[0].sentence
            made = {name: content for name, content in made.items() if not name.endswith(".png")}
    files.write_new({folder / name: content for name, content in made.items()}, folders=True)
    said = [f"Wrote {len(made)} files into {folder}: {len(slides)} slides, one for each lesson, and their numbers."]
    return said + ([f"The slides are SVG only, not PNG: {problem}."] if problem else [])
