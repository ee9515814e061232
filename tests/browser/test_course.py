"""A lesson of the course in a real browser, answered wrongly and rightly; the teacher's sheet; a reset.

The seven pages are made by one class from plain data, and tests/lab makes this journey through each without a browser. So in every run a browser makes
it through one of them.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from handful import handful

from curelab.course import LESSONS, progress
from curelab.course.asked import asked

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def school(stage, tmp_path_factory):
    """(address of the first page, folder) of a course started as `curelab teach` does."""
    folder = tmp_path_factory.mktemp("school")
    with stage.running_lab(None, folder, inside="course") as (address, _):
        yield address, Path(folder) / "course"


def said(page) -> str:
    return re.sub(r"\s+", " ", page.inner_text("body"))


def open_page(page, address: str, name: str) -> None:
    page.goto(address.replace("course.ipynb", f"{name}.ipynb"))
    page.wait_for_selector(".cl-nav", timeout=60_000)


def take_pictures(page, name: str) -> None:
    """Into the folder that CURELAB_SHOTS names, for eyes."""
    folder = os.environ.get("CURELAB_SHOTS")
    if folder:
        before = page.viewport_size
        for width in (1280, 400):
            page.set_viewport_size({"width": width, "height": 800})
            page.wait_for_timeout(700)
            high = page.evaluate(
                "() => Math.max(...[...document.querySelectorAll('.jp-WindowedPanel-outer, .jp-Notebook')].map(e => e.scrollHeight))"
            )
            page.set_viewport_size({"width": width, "height": min(int(high) + 60, 6000)})
            page.wait_for_timeout(700)
            page.screenshot(path=f"{folder}/{name}-{width}.png")
        page.set_viewport_size(before)


@pytest.mark.parametrize(
    "number", handful(range(1, len(LESSONS) + 1), [1]), ids=lambda number: LESSONS[number - 1].name
)
def test_a_lesson_answered_wrongly_and_rightly(stage, school, number):
    lesson, (address, folder) = LESSONS[number - 1], school
    with stage.watched_page(width=1280) as page:
        open_page(page, address, f"{number}_{lesson.name}")
        guess = page.get_by_role("slider", name=lesson.guess.dial.words, exact=True)
        guess.wait_for(timeout=60_000)
        assert not page.get_by_role("heading", name="Three questions").is_visible()
        guess.focus()
        page.keyboard.press("End")
        page.get_by_role("button", name="This is my guess").click()
        page.get_by_text("You guessed too much").or_(page.get_by_text("That is close")).first.wait_for(timeout=60_000)
        page.wait_for_function(
            "() => [...document.querySelectorAll('[data-revision]')].some(e => +e.dataset.revision > 0)", timeout=60_000
        )
        for place in range(3):
            question = asked(lesson, place, 1)
            line = page.get_by_label(f"Answer {place + 1}, in {question.question.unit}", exact=True)
            wrong = f"{question.wrong(question.question.mistakes[0]):.6g}"
            for words, reply in (
                (wrong, f"Not yet: {float(wrong):g} is"),
                (f"{question.answer:.4g}", question.judge(f"{question.answer:.4g}").said),
            ):
                line.fill(words)
                line.press("Enter")
                page.get_by_role("button", name=f"Check answer {place + 1}", exact=True).click()
                page.get_by_text(reply).first.wait_for(timeout=30_000)
        for way in lesson.trouble.ways:
            page.get_by_label(way.words, exact=True).check()
            page.get_by_role("button", name="Do it", exact=True).click()
            page.get_by_text(way.follow().said.replace("**", "")).first.wait_for(timeout=30_000)
        assert "licensed practice" in said(page)
        take_pictures(page, lesson.name)
        assert page.problems == [] and page.outside == []
    assert progress.read(folder / progress.FILE).of(lesson.name).whole


def test_the_first_page_the_teachers_sheet_and_a_new_beginning(stage, school):
    address, folder = school
    with stage.watched_page(width=400) as page:
        open_page(page, address, "course")
        page.get_by_text("lessons done").first.wait_for(timeout=60_000)
        all_done = dict(guess=1, first=True, second=True, third=True, met=True)
        kept = progress.change(lambda kept: kept.with_done(kept.of("plate").but(**all_done)), folder / progress.FILE)
        page.get_by_text(f"{sum(each.whole for each in kept.lessons)} of {len(LESSONS)} lessons done").first.wait_for(
            timeout=60_000
        )
        for lesson in LESSONS:
            assert (
                page.get_by_role("link", name=f"{LESSONS.index(lesson) + 1}. {lesson.title}", exact=True).count() == 1
            )
        take_pictures(page, "course")
        open_page(page, address, "teacher")
        sheet = page.get_by_role("button", name="Print the sheet of answers")
        sheet.wait_for(timeout=60_000)
        take_pictures(page, "teacher")
        with page.expect_popup() as opened:
            sheet.click()
        opened.value.get_by_text("Answers for number 2").wait_for(timeout=60_000)
        open_page(page, address, f"1_{LESSONS[0].name}")
        page.get_by_role("button", name="My number").click()
        page.get_by_role("button", name="Begin the whole course anew").click()
        page.get_by_role("button", name="This is my guess").wait_for(timeout=30_000)
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= 400
        assert page.problems == [] and page.outside == []
    assert progress.read(folder / progress.FILE).lessons == ()
