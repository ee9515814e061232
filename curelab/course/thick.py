"""Lesson 1: why thick takes long."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from ..engine.history import History
from ..forecast.root import root
from ..limits import keeping
from ..show.section import section
from ..sources import default_numbers
from ..spread import Spread
from ..units import DAY
from .kitchen import (
    CURED,
    FRIDGE,
    SALT,
    brine,
    brined,
    days_in_order,
    days_to_cure,
    in_slow_and_quick,
    kept_in_order,
    piece,
    share_in_the_middle,
    until_cured,
    warned,
)  # fmt: skip
from .nitrite_sums import half_life
from .parts import Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way

THIN, THICK_CM = 2.0, 4.0
SHOWN = 120.0  # days in the picture
IN_TIME = 5.0  # cm: in whole cm the thickest that is cured before bare meat has lain too long
WARM = 10.0  # degC, of a fridge that somebody turned up


def _thin_and_thick() -> Values:
    return {"thin": THIN, "thick": THICK_CM, "days": days_to_cure(THIN), "long": days_to_cure(THICK_CM)}


def _draw(dials: Mapping[str, float]) -> Seen:
    thin, thick, celsius = dials["thin"], dials["thick"], dials["fridge"]
    pieces = [
        (Spread.single(brined(cm, days=SHOWN, celsius=celsius, name=name)), name, name)
        for cm, name in ((thin, "thin piece"), (thick, "thick piece"))
    ]
    days = days_to_cure(thin, celsius=celsius)
    share = 100 * brined(thick, celsius=celsius).core("salt", days * DAY, basis="equilibrium")
    sentence = (
        f"The middle of the thin piece is cured on day **{days:.0f}**, that of the thick one on day "
        f"**{days_to_cure(thick, celsius=celsius):.0f}**. On day {days:.0f} the middle of the thick one has **{share:.0f} parts in 100** of its salt."
    )
    return Seen(warned(sentence, until_cured(thick, celsius)), section(pieces, ("salt",)), days)


def _too_thick() -> Values:
    return {
        "fridge": FRIDGE,
        "keeps": days_in_order(FRIDGE),
        "in_time": IN_TIME,
        "late": IN_TIME + 1,
        "long": days_to_cure(IN_TIME + 1),
        "half": half_life(FRIDGE),
    }


def _kept() -> dict[str, History]:
    return {
        "both until the thick one is cured": until_cured(THICK_CM),
        "the thickest that is cured in time": until_cured(IN_TIME),
        "tried with real meat": brined(4.0, days=days_to_cure(2.0)),
    }


def _scaled(random: Random) -> Values:
    thin = random.choice((3.0, 4.0, 5.0))
    return {
        "thin": thin,
        "thick": thin * random.choice((1.5, 2.0)),
        "days": days_to_cure(thin),
        "keeps": days_in_order(FRIDGE),
    }


def _cut_down(random: Random) -> Values:
    thick = random.choice((6.0, 7.0, 8.0))
    return {
        "thick": thick,
        "long": days_to_cure(thick),
        "days": round(days_to_cure(thick) * random.choice((0.25, 0.35))),
    }


def _thickest(values: Values) -> float:
    return root(lambda cm: days_to_cure(round(cm, 3)) - values["days"], 1.0, values["thick"], 0.01)


def _on_that_day(random: Random) -> Values:
    thin = random.choice((3.0, 4.0))
    return {"thin": thin, "thick": thin * random.choice((2.0, 2.5)), "days": days_to_cure(thin)}


def _today() -> Followed:
    share = share_in_the_middle(THICK_CM, days_to_cure(THIN))
    said = (
        f"The thin piece is good. The middle of the thick one has {share:.0f} parts in 100 of its salt. Cooked through and eaten at "
        "once it is fit to eat, but it tastes of nothing there."
    )
    return Followed(said, share >= 90)


def _wait() -> Followed:
    long = days_to_cure(THICK_CM)
    share = share_in_the_middle(THICK_CM, long)
    thin = 100 * brined(THIN).average("salt", long * DAY) / brined(THIN).average("salt", days_to_cure(THIN) * DAY)
    said = (
        f"Both middles are cured on day {long:.0f}. The thin piece waited, and got hardly saltier: {thin:.0f} parts for each 100 that it had. "
        "The feast needs another roast, and both pieces are good."
    )
    return Followed(said, share >= 90 - 1e-6 and thin < 108 and kept_in_order(until_cured(THICK_CM)))


def _warmer() -> Followed:
    long = days_to_cure(THICK_CM, celsius=WARM)
    harm = keeping.days_to_harm(default_numbers(), 273.15 + WARM)
    said = (
        f"At {WARM:.0f} °C the thick piece still needs {long:.0f} days. Bare meat may be that warm for hours only, and in {harm:.0f} days it can carry poison. "
        "The middle has no salt for most of that time. Throw it away: cooking does not make it safe."
    )
    return Followed(said, long <= harm)


THICK = Lesson(
    name="thick",
    short="Thick",
    title="Why thick takes long",
    opening=(
        "Salt goes into meat from the outside. It moves slowly, and the middle gets it last. Nobody can see it in a real piece. Here you can. "
        "First guess, then look."
    ),
    words=("to cure", "brine", "middle", "cured", "slowest spot", "bare", "percent", "nitrite", "botulism"),
    guess=Guess(
        "A flat piece is {thin:g} cm thick. It lies in brine in the fridge. After {days:.0f} days its middle is cured. How many days does a "
        "piece of {thick:.0f} cm need?",
        _thin_and_thick,
        Dial("days", "My guess", "days", 1, 60, 1, 60),
        lambda: days_to_cure(THICK_CM),
        "You guessed **{guess:.0f} days**. The piece of {thick:.0f} cm needs about **{answer:.0f} days**.",
    ),
    live=Live(
        "Two pieces lie in the same brine. Move the slider under the picture from day to day. Then change how thick they are.",
        (
            Dial("thin", "Thin piece", "cm", 2, 6, 0.5, THIN),
            Dial("thick", "Thick piece", "cm", 2, 10, 0.5, THICK_CM),
            Dial("fridge", "Fridge", "°C", 1, 4, 1, FRIDGE),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "Twice as thick takes about {times:.0f} times as long. Multiply the thickness by itself: 2 times 2 is 4, and 4 times 4 is 16.",
            lambda: {"times": days_to_cure(THICK_CM) / days_to_cure(THIN)},
            lambda found: 3.8 < found["times"] < 4.2,
        ),
        Claim(
            "So cutting saves the most time. Cut the thick piece into two flat halves, and {long:.0f} days become {days:.0f}.",
            _thin_and_thick,
            lambda found: found["days"] < 0.28 * found["long"],
        ),
        Claim(
            "On day {days:.0f} the middle of the thick one has {share:.0f} parts in 100 of the salt it ends with.",
            lambda: {"days": days_to_cure(THIN), "share": share_in_the_middle(THICK_CM, days_to_cure(THIN))},
            lambda found: found["share"] < 45,
        ),
        Claim(
            "More salt does not make it quicker. With twice the salt the middle is cured after {strong:.0f} days, as before. It only "
            "ends saltier.",
            lambda: {"strong": days_to_cure(THIN, 2 * SALT), "weak": days_to_cure(THIN)},
            lambda found: abs(found["strong"] / found["weak"] - 1) < 0.02,
        ),
        Claim(
            "Warmth hardly helps, and it spoils the meat. A fridge at 6 °C saves {saved:.0f} of {cold:.0f} days. Never warm it up to save time.",
            lambda: {
                "saved": days_to_cure(THICK_CM) - days_to_cure(THICK_CM, celsius=6),
                "cold": days_to_cure(THICK_CM),
            },
            lambda found: 0 < found["saved"] < 0.15 * found["cold"],
        ),
        Claim(
            "Meat differs, and you cannot see how. Where usual meat of 4 cm needs {usual:.0f} days, quick meat needs {quick:.0f} and slow meat "
            "{slow:.0f}. Plan for slow meat.",
            lambda: in_slow_and_quick(CURED, piece(THICK_CM), brine()),
            lambda found: found["quick"] < 0.8 * found["usual"] and found["slow"] > 1.25 * found["usual"],
        ),
        Claim(
            "Longer is not safer. The middle is bare until the salt comes, and at {fridge:.0f} °C bare meat may lie {keeps:.0f} days. Usual meat of {in_time:.0f} cm is "
            "cured in time. With {late:.0f} cm it takes {long:.0f} days, and that is too long. Nitrite cannot wait either. It fades: half of it is gone every {half:.0f} days.",
            _too_thick,
            lambda found: (
                kept_in_order(until_cured(found["in_time"]))
                and not kept_in_order(until_cured(found["late"]))
                and found["half"] < found["long"]
            ),
        ),
    ),
    questions=(
        Question(
            "A piece of {thin:g} cm has a cured middle after {days:.0f} days. The brine and the fridge stay the same. How many days does a piece "
            "of {thick:g} cm need?",
            "days",
            _scaled,
            lambda values: days_to_cure(values["thick"]),
            (
                Mistake(
                    lambda values, answer: values["days"] * values["thick"] / values["thin"],
                    "You counted so many days for each centimetre. The way in gets longer and the salt slower. Multiply the thickness by itself.",
                ),
                Mistake(
                    lambda values, answer: values["days"],
                    "That is what the thin piece needs. The middle of the thick one lies deeper.",
                ),
                Mistake(
                    lambda values, answer: values["days"] * (values["thick"] / values["thin"]) ** 3,
                    "You multiplied three times. Twice is enough: thickness times thickness.",
                ),
            ),
            "Multiply the thickness by itself, for both pieces, and compare. Or set both in the picture.",
            "The library says {answer:.0f} days: thickness times thickness. What needs more than {keeps:.0f} days you cut thinner.",
        ),
        Question(
            "A piece of {thick:g} cm would need {long:.0f} days. You have {days:.0f} days. How thick may the piece be, at most, so that its middle "
            "is cured?",
            "cm",
            _cut_down,
            _thickest,
            (
                Mistake(
                    lambda values, answer: values["thick"] * values["days"] / values["long"],
                    "You cut the thickness as much as the days. That is thinner than it must be. Half as thick needs only a quarter of the time.",
                ),
                Mistake(
                    lambda values, answer: values["thick"], "That is as thick as before, and it needs {long:.0f} days."
                ),
            ),
            "Half as thick needs a quarter of the days. Try some thickness in the picture.",
            "The library says {answer:.1f} cm. Cutting saves more days than anything else.",
            tolerance=0.08,
        ),
        Question(
            "A piece of {thin:g} cm has a cured middle on day {days:.0f}. A piece of {thick:g} cm lies beside it. How many parts in 100 of its own "
            "salt has the middle of the thick one on that day?",
            "parts",
            _on_that_day,
            lambda values: share_in_the_middle(values["thick"], values["days"]),
            (
                Mistake(
                    lambda values, answer: 90.0, "That is the thin piece. The thick one is far behind on the same day."
                ),
                Mistake(
                    lambda values, answer: 90.0 * values["thin"] / values["thick"],
                    "You shared it out by thickness. The middle lags more than that: the first salt stays near the outside.",
                ),
            ),
            "Set both pieces in the picture and read the sentence over it.",
            "The library says {answer:.0f} parts in 100.",
            slack=3.0,
        ),
    ),
    trouble=Trouble(
        "A cook puts two pieces into one brine, {thin:g} cm and {thick:.0f} cm thick. On day {days:.0f} guests are coming. The thin piece is cured. "
        "The thick one feels firm outside. What would you do now?",
        _thin_and_thick,
        (
            Way("Cook both today.", _today),
            Way("Leave both in the cold brine until the thick one is done.", _wait),
            Way(f"Turn the fridge up to {WARM:.0f} °C, so that the thick one hurries.", _warmer),
        ),
    ),
    tries=Claim(
        "Take one piece of lean pork. Cut it into a slab of 2 cm and a slab of 4 cm. Weigh a brine of 45 g salt for each kg of water, and as much "
        "water as meat. Keep both slabs in it in the fridge. Take both out after {days:.0f} days. Roast both through, as your food code says. Then "
        "taste the very middle of each. The thin one tastes of salt. The thick one has {share:.0f} parts in 100 of its salt there.",
        lambda: {"days": days_to_cure(2.0), "share": share_in_the_middle(4.0, days_to_cure(2.0))},
        lambda found: found["share"] < 45 and 2.5 <= found["days"] < 3.5,
    ),
    kept=_kept,
)
