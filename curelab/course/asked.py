"""Questions as they are asked: their numbers from a seed, and what is said of an answer."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from random import Random

from .parts import Lesson, Mistake, Question, Values

_NUMBER = re.compile(r"^([+-]?\d+(?:[.,]\d+)?)\s*(.*)$")
LARGEST = 1e9


@dataclass(frozen=True)
class Judged:
    """What became of an answer: `right`, what is `said`, and whether it could be `read` as a number at all."""

    right: bool
    said: str
    read: bool = True


@dataclass(frozen=True)
class Asked:
    """One question of a lesson with its numbers. The answer is computed when it is first needed."""

    question: Question
    values: Values

    @property
    def text(self) -> str:
        """The question, and how near an answer must be."""
        return f"{self.question.ask.format(**self.values)} {self.tolerance}"

    @property
    def tolerance(self) -> str:
        """How far off an answer may be, in words."""
        share = f"{100 * self.question.tolerance:.0f} %"
        if not self.question.slack:
            return f"(Within {share} is right.)"
        return f"(Within {self.question.slack:g} {self.question.unit} is right.)"

    @cached_property
    def answer(self) -> float:
        """What the library says, in the unit of the question."""
        return float(self.question.answer(self.values))

    def accepts(self, given: float) -> bool:
        """Whether a number is near enough to the answer."""
        return self._near(given, self.answer)

    def _near(self, given: float, to: float) -> bool:
        question = self.question
        allowed = question.slack if question.slack else question.tolerance * abs(to)
        return abs(given - to) <= allowed * (1 + 1e-9)

    def mistake(self, given: float) -> Mistake | None:
        """The known mistake that leads to this answer; None where none does."""
        wrong = [
            (abs(given - at), each) for each in self.question.mistakes if self._near(given, at := self.wrong(each))
        ]
        return min(wrong, key=lambda pair: pair[0])[1] if wrong else None

    def wrong(self, mistake: Mistake) -> float:
        """The answer that a mistake leads to."""
        return float(mistake.leads_to(self.values, self.answer))

    def judge(self, words: str) -> Judged:
        """What to say of an answer as it was typed."""
        given = number_in(words, self.question.unit)
        if isinstance(given, str):
            return Judged(False, given, read=False)
        fields = {**self.values, "answer": self.answer}
        if self.accepts(given):
            return Judged(True, f"Right. {self.question.because.format(**fields)}")
        found = self.mistake(given)
        hint = self.question.hint if found is None else found.hint
        side = "too low" if given < self.answer else "too high"
        return Judged(False, f"Not yet: {given:g} is {side}. {hint.format(**fields)}")


def asked(lesson: Lesson, number: int, seed: int) -> Asked:
    """Question `number` (from 0) of a lesson, with the numbers of a seed: the same on every machine."""
    question = lesson.questions[number]
    return Asked(question, question.numbers(Random(f"{seed}/{lesson.name}/{number}")))


def number_in(words: str, unit: str) -> float | str:
    """The number in an answer such as "12", "12,5" or "12 days"; or a sentence that says why there is none.

    >>> number_in("12,5 days", "days"), number_in(" -3 ", "%")
    (12.5, -3.0)
    >>> number_in("a dozen", "days")
    '"a dozen" is no number; type one, like 12.5.'
    """
    typed = words.strip()
    if not typed:
        return "Type a number first."
    found = _NUMBER.match(typed)
    if found is None:
        return f'"{typed[:30]}" is no number; type one, like 12.5.'
    if found[2] and found[2].rstrip(".").casefold() not in _like(unit):
        return f'"{found[2][:20]}" is not the unit here; answer in {unit}.'
    number = float(found[1].replace(",", "."))
    return number if abs(number) <= LARGEST else f"{typed[:30]} is too large; type a smaller number."


def _like(unit: str) -> set[str]:
    return {unit.casefold(), unit.casefold().rstrip("s")}
