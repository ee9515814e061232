"""Lesson 2: what equilibrium means."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

import numpy as np

from ..engine.history import History
from ..sources import default_numbers
from ..units import DAY
from ..weighing import EquilibriumBrine, weigh
from .drawn import curves
from .kitchen import FRIDGE, MEAT, SALT, brined, days_in_order, piece, tastes, warned
from .parts import Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way

CM = 3.0
LATE = 20.0  # days: a cook forgot it, and it is cold enough all the same
SHOWN = 30.0


def end(salt: float, water: float, cm: float = CM) -> float:
    """% salt that the meat ends with, in so many g of salt and kg of water."""
    return 100 * brined(cm, salt / water, water=water).average("salt")


def on_day(day: float, grams: float = SALT) -> float:
    """% salt of the meat, on the whole, on a day in a brine of so many g in each kg of water."""
    return 100 * brined(CM, grams).average("salt", day * DAY)


def _draw(dials: Mapping[str, float]) -> Seen:
    salt, water, day = dials["salt"], dials["water"], dials["day"]
    history = brined(CM, salt / water, days=SHOWN, water=water)
    times = np.linspace(0.0, SHOWN * DAY, 121)
    inside = 100 * history.average("salt", times, basis="water phase")
    outside = 100 * history.bath("salt", times)
    now = 100 * history.average("salt", day * DAY)
    sentence = (
        f"On day {day:.0f} the meat has **{now:.1f} %** salt. In the end it has **{end(salt, water):.1f} %**, and no more. "
        f"That tastes {tastes(end(salt, water))}."
    )
    picture = curves(
        sentence,
        "days since the start",
        "salt in the water, %",
        [("brine", times[1:] / DAY, outside[1:]), ("water in the meat", times / DAY, inside)],
        [("x", day, f"day {day:.0f}")],
    )
    return Seen(warned(sentence, brined(CM, salt / water, days=day, water=water)), picture)


def _recipe(random: Random) -> Values:
    meat = random.choice((2.0, 3.0, 4.0))
    return {"share": random.choice((2.0, 2.2, 2.4)), "meat": meat, "water": meat * random.choice((0.5, 1.5))}


def _salt(values: Values) -> float:
    plan = EquilibriumBrine(water=f"{values['water']:g} kg", salt=f"{values['share']:g} %")
    return 1000 * weigh(plan, piece(CM).but(weight=f"{values['meat']:g} kg")).salt


def _forgotten(random: Random) -> Values:
    early = random.choice((2.0, 3.0, 4.0))
    return {"early": early, "late": random.choice((12.0, 16.0, 20.0)), "then": on_day(early)}


def _more_water(random: Random) -> Values:
    salt, water = random.choice((80.0, 90.0, 100.0)), random.choice((1.5, 2.0))
    return {"meat": MEAT, "salt": salt, "water": water, "more": 2 * water, "before": end(salt, water)}


def _tells(percent: float) -> Followed:
    word, salty = tastes(percent), default_numbers().si("taste.salty")
    bland = default_numbers().si("taste.bland")
    return Followed(f"The meat ends at {percent:.1f} % salt. That tastes {word}.", 100 * bland < percent < 100 * salty)


def _kept() -> dict[str, History]:
    return {
        "forgotten": brined(CM, days=LATE),
        "water added": brined(CM, SALT, days=LATE, water=2 * MEAT),
        "tried with real meat": brined(CM, days=10),
    }


def _cook_now() -> Followed:
    history = brined(CM, 2 * SALT)
    whole, middle = (100 * history.at(place, "salt", 3 * DAY) for place in ("average", "core"))
    good = whole < 100 * default_numbers().si("taste.salty") and middle > 100 * default_numbers().si("taste.bland")
    said = f"On day 3 the meat has {whole:.1f} % salt on the whole. The outside is saltier still, the middle has {middle:.1f} %. That tastes "
    return Followed(f"{said}{tastes(whole)}.", good)


EQUILIBRIUM = Lesson(
    name="equilibrium",
    short="Equilibrium",
    title="What equilibrium means",
    opening=(
        "Salt goes from where it is strong to where it is weak. In a brine it goes into the meat, and the brine gets weaker. What happens if you "
        "just leave it?"
    ),
    words=("to cure", "brine", "percent", "equilibrium", "on the whole", "nitrite", "botulism"),
    guess=Guess(
        "You have {meat:.0f} kg of meat, {meat:.0f} kg of water and {salt:.0f} g of salt. The meat is {cm:.0f} cm thick. It lies in the fridge, and you "
        "forget it for {late:.0f} days. How much salt is in each 100 g of the meat?",
        lambda: {"meat": MEAT, "salt": SALT * MEAT, "cm": CM, "late": LATE},
        Dial("salt", "My guess", "g", 0, 10, 0.1, 0),
        lambda: on_day(LATE),
        "You guessed **{guess:.1f} g**. In each 100 g of the meat there are about **{answer:.1f} g** of salt.",
    ),
    live=Live(
        "One line is the brine, one is the water in the meat. Watch where they meet. Then change the salt and the water.",
        (
            Dial("salt", "Salt in all", "g", 40, 250, 10, SALT * MEAT),
            Dial("water", "Water", "kg", 1, 5, 0.5, MEAT),
            Dial("day", "Day", "", 1, SHOWN, 1, 5),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "At first the brine gives salt fast, then slowly. On day {late:.0f} its water and that in the meat are alike: {inside:.1f} % and "
            "{outside:.1f} %. Nothing moves any more. That end is the equilibrium.",
            lambda: {
                "late": LATE,
                "inside": 100 * brined(CM).average("salt", LATE * DAY, basis="water phase"),
                "outside": 100 * brined(CM).bath("salt", LATE * DAY),
            },
            lambda found: abs(found["inside"] / found["outside"] - 1) < 0.01,
        ),
        Claim(
            "So the recipe sets the end, and not the clock. On day 10 the meat has {early:.2f} % salt, on day {late:.0f} {then:.2f} %.",
            lambda: {"early": on_day(10), "late": LATE, "then": on_day(LATE)},
            lambda found: found["then"] < 1.03 * found["early"],
        ),
        Claim(
            "Cooks reckon: {salt:.0f} g of salt in {both:.0f} kg of meat and water is {share:.2f} %. The meat ends a little lower, at {end:.2f} %: only "
            "the water in it takes salt.",
            lambda: {"salt": SALT * MEAT, "both": 2 * MEAT, "share": SALT / 20, "end": end(SALT * MEAT, MEAT)},
            lambda found: 0.75 * found["share"] < found["end"] < found["share"],
        ),
        Claim(
            "The same salt in twice the water ends lower: {more:.1f} % in place of {end:.1f} %. It is not half, for the meat brings water too.",
            lambda: {"more": end(SALT * MEAT, 2 * MEAT), "end": end(SALT * MEAT, MEAT)},
            lambda found: 0.55 * found["end"] < found["more"] < 0.75 * found["end"],
        ),
        Claim(
            "Thick meat ends where thin meat ends, at {thick:.1f} %. It only takes longer.",
            lambda: {"thick": end(SALT * MEAT, MEAT, cm=6), "thin": end(SALT * MEAT, MEAT)},
            lambda found: abs(found["thick"] / found["thin"] - 1) < 0.01,
        ),
        Claim(
            "The taste can wait. Safety cannot: raw meat without salt may lie {keeps:.0f} days at {fridge:.0f} °C at most. Lesson 6 says why.",
            lambda: {"keeps": days_in_order(FRIDGE), "fridge": FRIDGE},
            lambda found: LATE < found["keeps"] < 40,
        ),
    ),
    questions=(
        Question(
            "A recipe wants {share:g} % salt, of meat and water together. You have {meat:g} kg of meat and {water:g} kg of water. How many grams of "
            "salt do you weigh?",
            "g",
            _recipe,
            _salt,
            (
                Mistake(
                    lambda values, answer: 10 * values["share"] * values["meat"],
                    "You reckoned with the meat alone. The water takes its share of the salt too.",
                ),
                Mistake(
                    lambda values, answer: 10 * values["share"] * values["water"],
                    "You reckoned with the water alone. The meat takes its share of the salt too.",
                ),
                Mistake(
                    lambda values, answer: answer / 10,
                    "You are off by ten. One percent of 1 kg is 10 g. Check the point.",
                ),
                Mistake(
                    lambda values, answer: answer * 10,
                    "You are off by ten. One percent of 1 kg is 10 g. Check the point.",
                ),
            ),
            "Add the weights of meat and water. One percent of each kg is 10 g.",
            "The library weighs {answer:.0f} g.",
            tolerance=0.03,
        ),
        Question(
            "Meat of 3 cm lies in the brine of this lesson. On day {early:.0f} it has {then:.1f} % salt on the whole. You forget it until day {late:.0f}. How "
            "many percent has it then?",
            "%",
            _forgotten,
            lambda values: on_day(values["late"]),
            (
                Mistake(
                    lambda values, answer: values["then"] * values["late"] / values["early"],
                    "You let it go on as at first. But it slows down, until the lines meet.",
                ),
                Mistake(
                    lambda values, answer: values["then"],
                    "It does not stop so soon. On day {early:.0f} the brine is still stronger than the water in the meat.",
                ),
                Mistake(
                    lambda values, answer: 100 * SALT / (1000 + SALT),
                    "That is how strong the brine was on the first day. It has given salt away since.",
                ),
            ),
            "Set the day in the picture and read the sentence over it.",
            "The library says {answer:.2f} %. In an equilibrium brine late is not saltier.",
            tolerance=0.06,
        ),
        Question(
            "You have {meat:g} kg of meat, {water:g} kg of water and {salt:.0f} g of salt. The meat ends at {before:.1f} %. Now you take {more:g} kg of water "
            "and the same salt. Where does the meat end, in percent?",
            "%",
            _more_water,
            lambda values: end(values["salt"], values["more"]),
            (
                Mistake(
                    lambda values, answer: values["before"], "More water takes more of the salt. The meat gets less."
                ),
                Mistake(
                    lambda values, answer: values["before"] / 2,
                    "The water is twice as much, but meat and water together are not. Share the salt over both.",
                ),
            ),
            "Set salt and water in the picture and read the sentence over it.",
            "The library says {answer:.2f} %: the salt is shared over all the water there is.",
            tolerance=0.08,
        ),
    ),
    trouble=Trouble(
        "A cook reads the scale wrong. Twice the salt goes into {meat:.0f} kg of water, {twice:.0f} g in all. On day 3 the cook finds out. What would you do "
        "now?",
        lambda: {"meat": MEAT, "twice": 2 * SALT * MEAT},
        (
            Way("Leave it. In the end it stops by itself.", lambda: _tells(end(2 * SALT * MEAT, MEAT))),
            Way("Take the meat out now and cook it.", _cook_now),
            Way(
                f"Add {MEAT:.0f} kg of cold water, so that the same salt is shared over more.",
                lambda: _tells(end(2 * SALT * MEAT, 2 * MEAT)),
            ),
        ),
    ),
    tries=Claim(
        "Take 500 g of lean pork, not over 3 cm thick. Weigh 500 g of water and 22 g of salt. Weigh the meat first, then put it under the brine in "
        "the fridge. Wipe and weigh it on day 5 and on day 10. From the first day to day 5 it gains about {first:.0f} g. From day 5 to day 10 it "
        "gains about {then:.0f} g: it has nearly stopped. Your meat may differ. Never taste raw meat or its brine. Cook it through, then taste it.",
        lambda: _gains(),
        lambda found: 5 < found["first"] < 30 and found["then"] < 0.4 * found["first"],
    ),
    kept=_kept,
)


def _gains() -> Values:
    start, five, ten = (250 * brined(CM).weight(day * DAY) for day in (0.0, 5.0, 10.0))
    return {"first": five - start, "then": ten - five}
