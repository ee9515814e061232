"""What a lesson says is so; its questions can be answered, and every known mistake gets the hint that fits it."""

from __future__ import annotations

import re
from functools import cache

import pytest
from handful import handful

from curelab.course import LESSONS, cold, lesson_called
from curelab.course.asked import asked, number_in
from curelab.course.kitchen import RAW_TOO_LONG, kept_in_order, until_cured
from curelab.course.rest_and_soak import until_even
from curelab.course.words import WORDS
from curelab.limits import check_all
from curelab.show.check_names import INFORMS

SEEDS = (1, 2, 3, 17, 9999)
EACH = pytest.mark.parametrize("lesson", LESSONS, ids=lambda lesson: lesson.name)


@cache
def texts(lesson) -> list[str]:
    """All that a person reads in a lesson, as it is with the numbers of the first seed."""
    questions = [asked(lesson, number, 1) for number in range(3)]
    fields = [{**each.values, "answer": each.answer} for each in questions]
    return [
        lesson.title,
        lesson.opening,
        *(WORDS[word].capitalize() + "." for word in lesson.words),
        lesson.guess.text,
        lesson.guess.beside(lesson.guess.dial.start),
        lesson.live.lead,
        lesson.live.draw({dial.key: dial.start for dial in lesson.live.dials}).sentence,
        *(claim.text for claim in lesson.claims),
        *(each.text for each in questions),
        *(
            words.format(**own)
            for each, own in zip(questions, fields, strict=True)
            for words in (each.question.hint, each.question.because, *(m.hint for m in each.question.mistakes))
        ),
        lesson.trouble.text,
        *(words for way in lesson.trouble.ways for words in (way.words, way.follow().said)),
        lesson.tries.text,
        lesson.caution,
    ]


@EACH
def test_every_claim_is_so(lesson):
    for claim in (*lesson.claims, lesson.tries):
        assert claim.holds(claim.numbers()), claim.text


@EACH
@pytest.mark.parametrize("seed", handful(SEEDS, (1, 17)))
@pytest.mark.parametrize("number", range(3))
def test_the_library_answers_and_mistakes_get_their_hint(lesson, number, seed):
    question = asked(lesson, number, seed)
    right = question.judge(f"{question.answer:.4g} {question.question.unit}")
    assert right.right and right.said.startswith("Right."), (question.text, question.answer)
    for mistake in question.question.mistakes:
        wrong = question.wrong(mistake)
        assert not question.accepts(wrong), (question.text, question.answer, wrong)
        judged = question.judge(f"{wrong:.6g}")
        assert not judged.right
        nearest = min(question.question.mistakes, key=lambda each: abs(question.wrong(each) - wrong))
        fields = {**question.values, "answer": question.answer}
        assert judged.said.endswith(nearest.hint.format(**fields)), (judged.said, mistake.hint)
    unit = re.escape(question.question.unit)
    told = re.findall(rf"(\d+(?:\.\d+)?) ?{unit}", question.question.ask.format(**question.values))
    assert not any(question.accepts(float(number)) for number in told), "a question must not tell its own answer"
    far = question.judge(f"{question.answer * 7.3 + 1000:.6g}")
    assert not far.right and far.said.startswith("Not yet")


@EACH
def test_the_answer_changes_with_the_seed_and_not_with_the_day(lesson):
    for number in range(3):
        told = {asked(lesson, number, seed).text for seed in range(1, 40)}
        assert len(told) > 2, told
        assert asked(lesson, number, 5).text == asked(lesson, number, 5).text


@EACH
def test_a_guess_is_told_from_the_answer(lesson):
    guess, answer = lesson.guess, lesson.guess.answer()
    assert guess.dial.low < answer < guess.dial.high
    assert guess.beside(answer).endswith("That is close.")
    assert guess.beside(guess.dial.low).endswith(("too little.", "close."))
    assert guess.beside(guess.dial.high).endswith(("too much.", "close."))
    assert not guess.beside(guess.dial.start).endswith("close."), "the slider must not give the answer away"


@EACH
def test_the_picture_follows_every_dial(lesson):
    start = {dial.key: dial.start for dial in lesson.live.dials}
    told = lesson.live.draw(start).sentence
    for dial in lesson.live.dials:
        ends = {lesson.live.draw(start | {dial.key: end}).sentence for end in (dial.low, dial.high)}
        assert ends != {told}, dial.key


# Checks of the library that meat of a lesson does not pass, and where the lesson says so.
SAID = {
    "US nitrite, least": "have no nitrite",
    "nitrite in the cure": "have no nitrite|bare meat",
    "US nitrite, least, as simulated": "may never fill a thick piece",
    "cure at the slowest spot": "only (the )?cold protects",
    "moist while cooking": "cannot judge a dry oven",
    "bag, pasteurised": "cannot judge a dry oven or a bag",
    "bag, kept in the cold": "cannot judge a dry oven or a bag",
    "cooling": "chill it within 2 hours",
}


@EACH
def test_what_a_lesson_finds_in_order_or_asks_for_passes_the_checks_or_it_says_why_not(lesson):
    told = " ".join(texts(lesson))
    for name, history in lesson.kept().items():
        for verdict in check_all(history, method="meat and water"):
            if verdict.outcome != "pass" and verdict.name not in INFORMS:
                assert verdict.name in SAID and re.search(SAID[verdict.name], told, re.IGNORECASE), (name, verdict.name)


@pytest.mark.parametrize("seed", range(1, 13))
def test_no_question_has_raw_meat_wait_too_long(seed):
    cut, rest, uneven = (
        asked(lesson_called("thick"), 1, seed),
        asked(lesson_called("rest_and_soak"), 0, seed),
        asked(lesson_called("plate"), 1, seed),
    )
    assert kept_in_order(until_cured(round(cut.answer, 2)))
    assert kept_in_order(until_even(rest.values["thick"])) and kept_in_order(until_cured(uneven.values["thick"]))


@pytest.mark.parametrize(
    "name, dials",
    [("thick", {"thick": 10}), ("equilibrium", {"day": 30}), ("strong", {"day": 30, "thick": 8, "salt": 40}), ("nitrite", {"day": 60}),
     ("rest_and_soak", {"thick": 8, "days": 8, "hours": 48}), ("plate", {"fridge": 4})],
)  # fmt: skip
def test_a_picture_of_meat_that_is_raw_too_long_says_so(name, dials):
    live = lesson_called(name).live
    start = {dial.key: dial.start for dial in live.dials}
    assert RAW_TOO_LONG not in live.draw(start).sentence and live.draw(start | dials).sentence.endswith(RAW_TOO_LONG)


def test_what_is_in_order_ends_where_no_day_is():
    """Points on the lower line pass the checks of cold and time, points over it do not, and beyond its end none does."""
    lesson = lesson_called("cold")
    start = {dial.key: dial.start for dial in lesson.live.dials}
    harm, line = lesson.live.draw(start).picture.series
    for celsius, days in zip(line.x[:-1:8], line.y[:-1:8], strict=True):
        assert kept_in_order(cold.lying(celsius, 0.99 * days)) and not kept_in_order(cold.lying(celsius, 1.02 * days))
    assert (
        line.y[-1] == 0 and harm.x[-1] == 12 and line.x[-1] == pytest.approx((40 - 32) / 1.8, abs=0.1)
    )  # 40 degF, Farmers' Bulletin 2265
    for celsius in (line.x[-1] + 0.1, 5.0, 7.0, 9.0, 12.0):
        assert not kept_in_order(cold.lying(celsius, cold.LEAST_DAYS))
        assert "in order. **That is in order" not in lesson.live.draw(start | {"fridge": celsius, "days": 2}).sentence


# Number of the way that a careful cook would take (our judgement, held against what the library works out).
IN_ORDER = {"thick": 1, "equilibrium": 2, "strong": 2, "nitrite": 2, "rest_and_soak": 1, "cold": 2, "plate": 1}


@EACH
def test_trouble_has_a_way_out_and_ways_that_make_it_worse(lesson):
    good = [place for place, way in enumerate(lesson.trouble.ways) if way.follow().good]
    assert good == [IN_ORDER[lesson.name]], "what the library finds in order is what we would do"
    assert all(re.search(r"\d", way.follow().said) for way in lesson.trouble.ways), "a consequence is computed"


@EACH
def test_cautions_stand_in_every_lesson(lesson):
    assert "licensed practice" in lesson.caution and "food code" in lesson.caution and "4 °C" in lesson.caution


# -- how it reads ------------------------------------------------------------------------------------------------------

GRADE = 3.0  # Flesch-Kincaid grade at most: a reader of eight or nine years
LONGEST = 20  # words in a sentence
MOST = 1200  # words in all, hints and ways out of trouble that nobody needs included: ten minutes with the questions
# Words that a newcomer cannot know, and the term that explains each. A lesson that uses one lists the term, and shows it first.
JARGON = {
    "brine": "brine", "cured?": "to cure", "slowest spot": "slowest spot", "nitrite": "nitrite", "mg/kg": "mg/kg", "botulism": "botulism",
    "equilibrium": "equilibrium", "strong brine": "strong brine", "curing mix": "curing mix", "on the whole": "on the whole", "soaks?": "soak",
    "simmers?": "simmer", "rests?": "rest", "bare": "bare", "%": "percent", "in order": "in order",
}  # fmt: skip
NEVER = (
    "ppm",
    "core",
    "diffus",
    "ingoing",
    "water phase",
    "lethality",
    "purge",
    "salometer",
    "green weight",
    "draw",
    "residual",
    "free nitrite",
)


def sentences(lesson) -> list[str]:
    """All sentences of a lesson, one a piece."""
    return [part for words in texts(lesson) for part in re.split(r"(?<=[.:?!])\s", words.replace("**", ""))]


@EACH
def test_the_prose_can_be_read_by_a_child(lesson):
    import textstat

    whole = [
        re.sub(r"(\d)[.,](\d)", r"\1\2", each) for each in sentences(lesson)
    ]  # a point in a number ends no sentence
    assert textstat.flesch_kincaid_grade(" ".join(whole)) <= GRADE
    assert (
        textstat.flesch_kincaid_grade("Equilibration of nitrite necessitates considerable refrigeration.") > 2 * GRADE
    )


@EACH
def test_sentences_are_short_and_the_lesson_too(lesson):
    assert [each for each in sentences(lesson) if len(each.split()) > LONGEST] == []
    assert sum(len(each.split()) for each in sentences(lesson)) <= MOST


@EACH
def test_no_jargon_that_the_lesson_has_not_introduced(lesson):
    said = " ".join(texts(lesson)).casefold()
    assert all(word in WORDS for word in lesson.words)
    used = {term for word, term in JARGON.items() if re.search(rf"(?<!\w){word}(?!\w)", said)}
    assert used - set(lesson.words) == set(), "say first what these mean"
    own = " ".join(words for words in texts(lesson) if "(ppm)" not in words and "write ppm" not in words).casefold()
    assert [word for word in NEVER if re.search(rf"(?<!\w){word}", own)] == []


# -- the parts themselves ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "typed, said",
    [("", "Type a number"), ("twelve", "is no number"), ("12 cm", "is not the unit here"), ("1e99", "unit"), ("9" * 40, "too large")],
)  # fmt: skip
def test_what_is_no_answer_is_one_sentence(typed, said):
    assert said in number_in(typed, "days")


def test_answers_may_be_typed_in_several_ways():
    assert [number_in(words, "days") for words in ("12", "12.0 days", "12,0 day", " 12 Days. ")] == [12.0] * 4
