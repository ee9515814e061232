"""The ten questions for before and after: the library answers them, a lesson settles them, and a reader was simulated.

Scores of the simulated reader, played by us and no person. Before: somebody who has never cured, thinks in proportion (twice as long is
twice as much), and trusts the nose and the oven. After: somebody who knows what the lesson says and nothing else, so an answer counts only
where a sentence of the lesson settles it. The first is a judgement of ours; the second is checked.
"""

from __future__ import annotations

import pytest

from curelab.course import lesson_called, printed
from curelab.course.ten import TEN
from curelab.lab.teaching import TeacherPage

RIGHT = (0, 0, 1, 2, 2, 0, 2, 2, 2, 1)  # what a careful cook would take, held against the library
BEFORE = (2, 2, 0, 0, 2, 1, 1, 1, 1, 0)  # the options that a newcomer would take (judgement)


def told(lesson) -> str:
    """What a reader of a lesson has read by its end."""
    parts = [claim.text for claim in lesson.claims] + [way.follow().said for way in lesson.trouble.ways]
    return " ".join((lesson.opening, *parts, lesson.guess.beside(lesson.guess.dial.start)))


@pytest.mark.parametrize("each", TEN, ids=lambda each: each.ask[:30])
def test_the_library_picks_an_option_and_the_lesson_settles_it(each):
    assert 0 <= each.right() < len(each.options)
    assert each.settled in told(lesson_called(each.lesson))


def test_ten_questions_on_three_lessons():
    assert len(TEN) == 10 and {each.lesson for each in TEN} == {"equilibrium", "strong", "cold"}
    assert tuple(each.right() for each in TEN) == RIGHT


def test_a_newcomer_gets_few_of_them_right_before():
    """1 of 10 before; 10 of 10 after, as the test above shows that each is settled by what was read."""
    assert sum(taken == each.right() for taken, each in zip(BEFORE, TEN, strict=True)) == 1


def test_the_sheet_has_the_questions_and_apart_from_them_the_answers():
    sent = []
    page = TeacherPage(strict=True)
    page.ten.hand_over = lambda *given, **more: sent.append(given[1])
    page.ten.press()
    questions, answers = sent[0].split("The right answers")
    for each in TEN:
        assert printed.plain(each.ask) in questions
        assert f"<li>{each.options[each.right()]}</li>" in answers
