"""The pages of the course without a browser: what they keep, what they say, and what they do when something fails."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from handful import handful

from curelab.course import LESSONS, printed, progress
from curelab.lab.lessons import PAGES, LessonPage
from curelab.lab.teaching import CoursePage, TeacherPage

NAMES = [lesson.name for lesson in LESSONS]


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", handful(NAMES, [name for name in NAMES if name != "plate"]))
def test_a_lesson_from_the_guess_to_the_notes(name):
    page = LessonPage(name, strict=True)
    assert page.shown.layout.display == "none" and page.says["seen"].text == ""  # nothing is shown before the guess
    page.guess.value = page.guess.max
    page.keep_guess.press()
    assert page.shown.layout.display == "flex" and f"{page.guess.max:g}" in page.says["guessed"].text
    assert page.picture.revision == 1 and not page.picture.problem
    for number, question in enumerate(page.asked):
        wrong = question.wrong(question.question.mistakes[0])
        page.answers[number].value = f"{wrong:.6g}"
        page.checks[number].press()
        assert page.replies[number].text.startswith("Not yet") and number not in progress.read().of(name).right
        page.answers[number].value = f"{question.answer:.4g} {question.question.unit}"
        page.checks[number].press()
        assert page.replies[number].text.startswith("Right.")
    assert not progress.read().of(name).met
    for number, way in enumerate(page.lesson.trouble.ways):
        page.way.value = number
        page.do.press()
        assert way.follow().said in page.says["followed"].text
    sent = []
    page.print.hand_over = lambda *given, **more: sent.append(given[1])
    page.print.press()
    assert page.lesson.caution[:20] in sent[0] and "My own notes" in sent[0]
    assert progress.read().of(name).whole and not page.trouble.text

    again = LessonPage(name, strict=True)  # opened anew, the guess stands beside the answer
    assert again.says["guessed"].text == page.says["guessed"].text and again.guess.disabled
    assert all(reply.text == "You have answered this one." for reply in again.replies)
    assert again.back.layout.display == "none"
    again.reset.press()
    assert again.shown.layout.display == "none" and not progress.read().of(name).whole
    assert progress.BEFORE in again.says["aside"].text
    again.back.press()  # a press too many loses nothing
    assert again.shown.layout.display == "flex" and progress.read().of(name).whole
    again.back.press()
    assert again.shown.layout.display == "none" and not progress.read().of(name).whole


def test_a_number_of_ones_own_asks_other_questions():
    page = LessonPage("thick", strict=True)
    page.keep_guess.press()
    before = [say.text for say in page.asks]
    page.seed.value = "17"
    assert [say.text for say in page.asks] != before and progress.read().seed == 17
    page.back.press()
    assert [say.text for say in page.asks] == before and progress.read().seed == 1
    page.back.press()
    assert page.seed.value == "17"
    page.seed.value = "many"
    assert page.seed.problem and progress.read().seed == 17
    page.seed.value = "18"
    assert not page.seed.problem


def test_an_answer_that_is_no_number_is_told_at_its_line():
    page = LessonPage("thick", strict=True)
    page.keep_guess.press()
    page.answers[0].value = "a few"
    page.checks[0].press()
    assert "no number" in page.answers[0].problem and page.replies[0].text == ""


def test_while_its_file_is_broken_a_page_works_and_keeps_nothing(here):
    (here / progress.FILE).write_text("seed = ")
    page = LessonPage("thick", strict=True)
    assert "not kept" in page.trouble.text
    page.keep_guess.press()
    assert page.shown.layout.display == "flex" and (here / progress.FILE).read_text() == "seed = "
    page.reset.press()
    assert page.trouble.text == "" and progress.read().of("thick").guess is None


def test_a_fault_takes_the_picture_and_its_sentence_away():
    def broken(dials):
        raise RuntimeError("no salt")

    page = LessonPage("thick")
    page.keep_guess.press()
    page.lesson = replace(page.lesson, live=replace(page.lesson.live, draw=broken))
    page.dials["thick"].value = 9.0
    assert "no salt" in page.trouble.text and page.picture.problem and page.says["seen"].text == ""


def test_the_first_page_tells_how_far_one_has_come():
    page = CoursePage(strict=True)
    assert page.list.text.count("not begun") == len(LESSONS)
    LessonPage("thick", strict=True).keep_guess.press()
    page.tell()  # as a running kernel does every few seconds
    assert "begun, 0 of 3" in page.list.text and page.nav.batch == f"0 of {len(LESSONS)} lessons done"


def test_the_teachers_sheet_answers_what_two_apprentices_are_asked():
    page = TeacherPage(strict=True)
    sent = []
    page.sheet.hand_over = lambda *given, **more: sent.append(given[1])
    page.sheet.press()
    assert "1, 2" in page.told.text
    for seed in page.seeds:
        progress.change(lambda kept, seed=seed: kept.with_seed(seed))
        for lesson in LESSONS:
            for question in LessonPage(lesson.name, strict=True).asked:
                assert printed.plain(question.text) in sent[0]
                assert f"{printed.figure(question.answer)} " in sent[0] and "e+0" not in sent[0]
    one, two = sent[0].split("Answers for number 2")
    assert re.sub(r"\D", "", one) != re.sub(r"\D", "", two)


def test_the_line_of_pages_names_every_notebook():
    from curelab.lab.folder import notebooks_folder

    there = {path.name for path in (notebooks_folder() / "course").glob("*.ipynb")}
    assert {file for file, _ in PAGES} == there


def test_curelab_teach_opens_the_course_in_a_folder_of_its_own(here, monkeypatch):
    from curelab.__main__ import main
    from curelab.lab import launcher

    asked = []
    monkeypatch.setattr(launcher, "_serve", lambda work, start, live, *more: asked.append((work, start, live)))
    assert main(["teach", "--no-browser", "--folder", str(here)]) == 0
    ((work, start, live),) = asked
    assert work == here / "course" and start == "course.ipynb" and live == {file for file, _ in PAGES}
    assert {path.name for path in work.glob("*.ipynb")} == live and not (work / "batches").exists()


def test_where_numbers_can_hurt_the_caution_stands_first():
    for name in ("nitrite", "cold"):
        page = LessonPage(name, strict=True)
        places = [place for place, each in enumerate(page.box.children) if getattr(each, "kind", "") == "caution"]
        assert places and places[0] < page.box.children.index(page.guess)
