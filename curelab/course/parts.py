"""What a lesson is made of, as plain data: words, a guess, a live picture, claims, questions, a batch that goes wrong.

Nothing here holds an answer. A guess, a claim, a question and the ways out of trouble hold functions that ask the library.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from ..engine.history import History

Values = dict[str, float]

CAUTION = (
    "The meat is still raw. Keep it below 4 °C (40 °F) at all times. The numbers here are estimates, and real meat differs. "
    "The food code of your place and licensed practice go first."
)
WITHOUT_NITRITE = (
    "The brines of this lesson have no nitrite, so that you see the salt alone. Then only cold protects the meat, for few days. Cook it well "
    f"through, and eat it soon. Lesson 4 adds nitrite. {CAUTION}"
)


@dataclass(frozen=True)
class Dial:
    """A slider: its key in what a picture is given, its words, its unit, from where to where in which steps, and where it starts."""

    key: str
    words: str
    unit: str
    low: float
    high: float
    step: float
    start: float


@dataclass(frozen=True)
class Told:
    """Words with numbers in them: `said` has fields such as {days:.0f} for the `numbers`."""

    said: str
    numbers: Callable[[], Values]

    @property
    def text(self) -> str:
        """The words with their numbers in them."""
        return self.said.format(**self.numbers())


@dataclass(frozen=True)
class Claim(Told):
    """A sentence and what makes it true: `holds` says whether it is so."""

    holds: Callable[[Values], bool]


@dataclass(frozen=True)
class Guess(Told):
    """A question asked before anything is shown. `told` has the fields {guess} and {answer}; within `near` of the answer a guess is close."""

    dial: Dial
    answer: Callable[[], float]
    told: str
    near: float = 0.2

    def beside(self, guess: float) -> str:
        """The guess and the answer, side by side."""
        answer = self.answer()
        close = abs(guess - answer) <= self.near * abs(answer)
        how = "That is close." if close else "You guessed too little." if guess < answer else "You guessed too much."
        return f"{self.told.format(guess=guess, answer=answer, **self.numbers())} {how}"


@dataclass(frozen=True)
class Seen:
    """A picture (`show.section.Section` or `show.pictures.Lines`), the sentence over it, and the day on which a section opens."""

    sentence: str
    picture: Any
    day: float | None = None


@dataclass(frozen=True)
class Live:
    """A picture that follows its dials. `lead` says what to do with it."""

    lead: str
    dials: tuple[Dial, ...]
    draw: Callable[[Mapping[str, float]], Seen]


@dataclass(frozen=True)
class Mistake:
    """A wrong way of thinking: the answer that it leads to, from the numbers and the right answer, and the hint that fits it."""

    leads_to: Callable[[Values, float], float]
    hint: str


@dataclass(frozen=True)
class Question:
    """A question whose numbers come from a seed. `ask`, `because` and hints have fields for the numbers, and {answer}.

    numbers: what the question tells; answer: asks the library, in `unit`; tolerance: share of the answer that it may be off; slack: the
    least that it may be off, in `unit`; hint: for a wrong answer that fits no known mistake.
    """

    ask: str
    unit: str
    numbers: Callable[[Random], Values]
    answer: Callable[[Values], float]
    mistakes: tuple[Mistake, ...]
    hint: str
    because: str
    tolerance: float = 0.1
    slack: float = 0.0


@dataclass(frozen=True)
class Followed:
    """What came of a way out of trouble; `good`: whether it was in order."""

    said: str
    good: bool


@dataclass(frozen=True)
class Way:
    """One thing to do when a batch goes wrong, and what follows from it."""

    words: str
    follow: Callable[[], Followed]


@dataclass(frozen=True)
class Trouble(Told):
    """A batch that goes wrong, and what one could do now."""

    ways: tuple[Way, ...]


@dataclass(frozen=True)
class Lesson:
    """A lesson of ten minutes. `short`: its title in a word or two; `words`: the terms it uses, keys of `words.WORDS`; `tries`: the thing to try
    with meat, salt and a scale; `kept`: what it finds in order or asks for, by name, each held against the library's checks in a test.
    """

    name: str
    short: str
    title: str
    opening: str
    words: tuple[str, ...]
    guess: Guess
    live: Live
    claims: tuple[Claim, ...]
    questions: tuple[Question, Question, Question]
    trouble: Trouble
    tries: Claim
    kept: Callable[[], Mapping[str, History]]
    caution: str = WITHOUT_NITRITE


def nothing() -> Values:
    """The numbers of a text that has none."""
    return {}


def always(values: Values) -> bool:
    """For a text that claims nothing that the library could deny."""
    return True
