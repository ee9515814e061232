"""The course on paper: notes of a lesson, the sheet of answers, ten questions for before and after. One HTML page each, without script or request."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from .. import __version__
from .asked import Asked, asked
from .lessons import number_of
from .parts import Lesson
from .progress import Done
from .ten import TEN
from .words import WORDS

STYLE = """
html { font: 12pt/1.45 "Source Sans 3", "Segoe UI", Arial, sans-serif; color: #1c1a17; background: #fff; }
body { max-width: 68ch; margin: 12mm auto; padding: 0 4mm; }
h1 { font-size: 1.7em; margin: 0 0 .3em; } h2 { font-size: 1.1em; margin: 1.1em 0 .3em; border-bottom: 1px solid #7a2418; color: #7a2418; }
li, dd, p { margin: .25em 0; } dt { font-weight: 700; } dd { margin-left: 0; }
table { border-collapse: collapse; width: 100%; } td, th { text-align: left; vertical-align: top; padding: .25em .7em .25em 0; border-bottom: 1px solid #cfc9be; }
.caution { border-left: 4px solid #b35000; padding-left: .8em; } .line { border-bottom: 1px solid #8a857c; height: 2.1em; }
.number { white-space: nowrap; font-weight: 700; }
@media print { body { margin: 0; max-width: none; } h2 { break-after: avoid; } tr, li { break-inside: avoid; } .new { break-before: page; } }
"""
LINES = 6  # to write on


def html_page(title: str, body: str) -> str:
    """A whole HTML page."""
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>{body}</body></html>"
    )


def plain(words: str) -> str:
    """A text as HTML, its **strong** words as such."""
    parts = escape(words).split("**")
    return "".join(f"<b>{part}</b>" if place % 2 else part for place, part in enumerate(parts)).replace("\n", "<br>")


def notes(lesson: Lesson, done: Done) -> str:
    """What a lesson comes to, on a page to print, with room to write."""
    words = "".join(f"<dt>{escape(word)}</dt><dd>{escape(WORDS[word])}</dd>" for word in lesson.words)
    said = "".join(f"<li>{plain(each.text)}</li>" for each in lesson.claims)
    guess = (
        ""
        if done.guess is None
        else f"<h2>Your guess</h2><p>{plain(lesson.guess.text)}</p><p>{plain(lesson.guess.beside(done.guess))}</p>"
    )
    body = (
        f"<h1>{number_of(lesson)}. {escape(lesson.title)}</h1><p>{plain(lesson.opening)}</p><h2>Words</h2><dl>{words}</dl>{guess}"
        f"<h2>What it comes to</h2><ul>{said}</ul><h2>Try it with meat, salt and a scale</h2><p>{plain(lesson.tries.text)}</p>"
        f'<p class="caution"><b>Caution.</b> {plain(lesson.caution)}</p><h2>My own notes</h2>{"<div class=line></div>" * LINES}'
    )
    return html_page(lesson.title, body)


def answers(lessons: Sequence[Lesson], seeds: Sequence[int]) -> str:
    """The sheet of answers: for each number of an apprentice, every question of the lessons with its answer and the answers that give a mistake away."""
    parts = []
    for place, seed in enumerate(seeds):
        rows = []
        for lesson in lessons:
            rows.append(f'<tr><th colspan="3">{number_of(lesson)}. {escape(lesson.title)}</th></tr>')
            rows += [_answer_row(number, asked(lesson, number, seed)) for number in range(len(lesson.questions))]
        head = f"<h1{' class=new' if place else ''}>Answers for number {seed}</h1>"
        parts.append(
            f"{head}<table><tr><th>Question</th><th>Answer</th><th>A mistake shows as</th></tr>{''.join(rows)}</table>"
        )
    computed = f"<p>Worked out by curelab {__version__} when this sheet was printed.</p>"
    return html_page("Sheet of answers", "".join(parts) + computed)


def _answer_row(number: int, question: Asked) -> str:
    unit = escape(question.question.unit)
    wrong = [
        f"{figure(question.wrong(each))} {unit}: {plain(each.hint.format(**question.values, answer=question.answer))}"
        for each in question.question.mistakes
    ]
    told = "<br>".join(dict.fromkeys(wrong))  # two ways of thinking may come to one answer
    return f'<tr><td>{number + 1}. {plain(question.text)}</td><td class="number">{figure(question.answer)} {unit}</td><td>{told}</td></tr>'


def figure(value: float) -> str:
    """A number as one would write it.

    >>> figure(2000.4), figure(7.2), figure(0.4567)
    ('2000', '7.2', '0.457')
    """
    return f"{value:.0f}" if abs(value) >= 999.5 else f"{value:.3g}"


def ten_questions() -> str:
    """The ten questions to ask before and after lessons 2, 3 and 6, and on a page of their own the right options."""
    asks = "".join(
        f"<li>{plain(each.ask)}<br>{' &nbsp; '.join(f'<span class=number>☐</span> {plain(option)}' for option in each.options)}</li>"
        for each in TEN
    )
    rights = "".join(f"<li>{plain(each.options[each.right()])}</li>" for each in TEN)
    body = (
        f"<h1>Ten questions</h1><p>Name: ____________________ &nbsp; before / after the lessons</p><ol>{asks}</ol>"
        f'<h1 class="new">The right answers</h1><p>Worked out by curelab {__version__} when this sheet was printed.</p><ol>{rights}</ol>'
    )
    return html_page("Ten questions", body)
