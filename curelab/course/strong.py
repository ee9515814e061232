"""Lesson 3: the strong brine and the clock."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

import numpy as np

from ..engine.history import History
from ..engine.simulate import simulate
from ..recipe.stages import Rest, Soak, Water
from ..sources import default_numbers
from ..units import DAY
from .drawn import curves
from .kitchen import FRIDGE, SALT, brine, brined, in_slow_and_quick, kept_in_order, piece, tastes, warned
from .parts import Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way

CM, STRONG = 6.0, 140.0  # g of salt in each kg of water
SHOWN = 30.0
HOURS = 12.0  # of soak


def right() -> float:
    """% salt at which meat is to come out: the upper end of the usual taste."""
    return 100 * default_numbers().si("taste.normal_high")


def too_salty() -> float:
    """% salt from which meat is too salty."""
    return 100 * default_numbers().si("taste.too_salty")


def day_of(percent: float, cm: float = CM, grams: float = STRONG, place: str = "average") -> float:
    """Day on which a place of the meat comes to so much salt."""
    return brined(cm, grams, days=120).first_time(f"{place} salt >= {percent:g} %") / DAY


def on_day(day: float, cm: float = CM, grams: float = STRONG, place: str = "average") -> float:
    """% salt at a place on a day."""
    return 100 * brined(cm, grams, days=120).at(place, "salt", day * DAY)


def _draw(dials: Mapping[str, float]) -> Seen:
    cm, grams, day = dials["thick"], dials["salt"], dials["day"]
    history = brined(cm, grams, days=SHOWN)
    taken_out = brined(cm, grams, days=day)
    times = np.linspace(0.0, SHOWN * DAY, 181)
    first, last = day_of(right(), cm, grams), day_of(too_salty(), cm, grams)
    whole, middle = on_day(day, cm, grams), on_day(day, cm, grams, "core")
    said = f"On day {day:g} the meat has **{whole:.1f} %** salt on the whole, and {middle:.1f} % in the middle. "
    if np.isinf(last):
        said += f"It never comes to {too_salty():.0f} %. The clock does not matter here."
    else:
        said += f"On the whole it is right, {right():.1f} %, on day **{first:.1f}**, and too salty, {too_salty():.0f} %, from day **{last:.1f}**."
    picture = curves(
        said,
        "days since the start",
        "salt, % of the meat",
        [
            (words, times / DAY, 100 * history.at(place, "salt", times))
            for words, place in (("on the whole", "average"), ("middle", "core"))
        ],
        [("x", day, f"day {day:g}"), ("y", right(), "right"), ("y", too_salty(), "too salty")],
    )
    return Seen(warned(said, taken_out), picture)


def _read_off(random: Random) -> Values:
    return {"thick": random.choice((4.0, 5.0, 7.0)), "salt": random.choice((120.0, 150.0, 160.0)), "limit": too_salty()}


def _late(random: Random) -> Values:
    thick = random.choice((5.0, 6.0, 7.0))
    first = day_of(right(), thick)
    return {"thick": thick, "first": first, "more": random.choice((2.0, 3.0)), "right": right()}


def _stronger(random: Random) -> Values:
    salt = random.choice((90.0, 100.0, 110.0))
    return {"salt": salt, "double": 2 * salt, "first": day_of(right(), CM, salt), "right": right()}


def _late_day() -> float:
    return float(np.ceil(day_of(too_salty())))


def _left() -> Followed:
    day = _late_day() + 3
    whole, middle = on_day(day), on_day(day, place="core")
    said = f"Three days later the middle has {middle:.1f} % salt. But on the whole the meat has {whole:.1f} %, and that tastes {tastes(whole)}."
    return Followed(said, whole < too_salty())


def _wrapped() -> Followed:
    whole = on_day(_late_day())
    said = f"Salt spreads inside, and the middle gets some. But none leaves: on the whole it stays {whole:.1f} %, and that tastes {tastes(whole)}."
    return Followed(said, whole < too_salty())


def _late_and_soaked() -> History:
    water = Water(amount="4 kg", lasts=f"{HOURS:g} h", temperature=f"{FRIDGE:g} degC")
    return simulate(piece(CM), [brine(STRONG, _late_day()), Soak(waters=(water,))])


def _soaked() -> Followed:
    day = _late_day()
    found = _late_and_soaked()
    whole = 100 * found.average("salt")
    said = f"{HOURS:.0f} hours in 4 kg of fresh cold water bring it from {on_day(day):.1f} % to {whole:.1f} % on the whole. That tastes {tastes(whole)}."
    return Followed(
        f"{said} Lesson 5 says more.", whole < 100 * default_numbers().si("taste.salty") and kept_in_order(found)
    )


def _kept() -> dict[str, History]:
    rest = Rest(temperature=f"{FRIDGE:g} degC", lasts="3 d")
    return {
        "out when it is right": brined(CM, STRONG, days=day_of(right())),
        "late and soaked": _late_and_soaked(),
        "tried with real meat": simulate(piece(3), [brine(STRONG, 1.5), rest]),
    }


STRONG_BRINE = Lesson(
    name="strong",
    short="Strong brine",
    title="The strong brine and the clock",
    opening=(
        "Many old recipes use a strong brine and few days. That is quick. But now somebody must watch the clock. See why."
    ),
    words=(
        "to cure",
        "brine",
        "strong brine",
        "percent",
        "on the whole",
        "middle",
        "equilibrium",
        "rest",
        "soak",
        "nitrite",
        "botulism",
        "bare",
    ),
    guess=Guess(
        "Meat of {cm:.0f} cm lies in a strong brine: {salt:.0f} g of salt in each kg of water. There is as much water as meat. From {limit:.0f} % salt on it "
        "is too salty to eat. On which day is that?",
        lambda: {"cm": CM, "salt": STRONG, "limit": too_salty()},
        Dial("days", "My guess", "days", 0.5, 30, 0.5, 30),
        lambda: day_of(too_salty()),
        "You guessed day **{guess:.1f}**. It is too salty from day **{answer:.1f}** on.",
    ),
    live=Live(
        "Move the day. Watch the line of the whole piece go up past both marks, and the middle lag behind. Then try a weak brine.",
        (
            Dial("salt", "Salt in each kg of water", "g", 40, 250, 10, STRONG),
            Dial("thick", "Thickness", "cm", 2, 8, 1, CM),
            Dial("day", "Taken out on day", "", 0.5, SHOWN, 0.5, 2),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "Left alone, this brine would bring the meat to {end:.1f} % salt. Its equilibrium is far too salty, so only the clock saves it.",
            lambda: {"end": on_day(120)},
            lambda found: found["end"] > 1.5 * too_salty(),
        ),
        Claim(
            "On the whole the meat is right on day {first:.1f} and too salty on day {last:.1f}. Between them is all the time there is.",
            lambda: {"first": day_of(right()), "last": day_of(too_salty())},
            lambda found: 0.5 < found["last"] - found["first"] < 4,
        ),
        Claim(
            "A day late adds salt: {right:.1f} % become {late:.1f} %. In the weak brine of lesson 2 a day late changes nothing: {then:.1f} % stay {weak:.1f} %.",
            lambda: {
                "right": right(),
                "late": on_day(day_of(right()) + 1),
                "then": on_day(20, 3, SALT),
                "weak": on_day(21, 3, SALT),
            },
            lambda found: found["late"] - found["right"] > 0.3 and found["weak"] - found["then"] < 0.02,
        ),
        Claim(
            "When the whole is right, the middle has only {middle:.2f} %. It must rest afterwards, wrapped and cold, until the salt has spread. Until then it is "
            "bare there, and only cold protects it. Lesson 5 shows that.",
            lambda: {"middle": on_day(day_of(right()), place="core")},
            lambda found: found["middle"] < 0.3,
        ),
        Claim(
            "Wait until the middle has 1.5 %, and it is day {core:.1f}. The whole then has {whole:.1f} %. No day is right for both.",
            lambda: {"core": day_of(1.5, place="core"), "whole": on_day(day_of(1.5, place="core"))},
            lambda found: found["whole"] > too_salty(),
        ),
        Claim(
            "Twice as strong does not halve the time. It leaves less than a quarter: {strong:.1f} days in place of {weak:.1f}. In lesson 1 more salt was no quicker. There we waited for the end, here for {right:.1f} %.",
            lambda: {"strong": day_of(right(), CM, 200), "weak": day_of(right(), CM, 100), "right": right()},
            lambda found: 0.15 < found["strong"] / found["weak"] < 0.25,
        ),
        Claim(
            "You cannot see which meat you have. Quick meat is right after {quick:.1f} days, slow meat after {slow:.1f}.",
            lambda: in_slow_and_quick(f"average salt >= {right():g} %", piece(CM), brine(STRONG, 30)),
            lambda found: found["slow"] > 2 * found["quick"],
        ),
    ),
    questions=(
        Question(
            "Meat of {thick:.0f} cm lies in a brine of {salt:.0f} g salt in each kg of water. From which day on is it too salty on the whole ({limit:.0f} %)?",
            "days",
            _read_off,
            lambda values: day_of(values["limit"], values["thick"], values["salt"]),
            (
                Mistake(
                    lambda values, answer: day_of(1.5, values["thick"], values["salt"], "core"),
                    "That is when the middle has its salt. The whole is too salty long before.",
                ),
                Mistake(
                    lambda values, answer: day_of(right(), values["thick"], values["salt"]),
                    "That is when it is right. The next mark says too salty.",
                ),
            ),
            "Set salt and thickness in the picture and read the sentence over it.",
            "The library says day {answer:.1f}.",
            tolerance=0.12,
        ),
        Question(
            "Meat of {thick:.0f} cm in the brine of this lesson is right on day {first:.1f}: {right:.1f} % on the whole. You forget it for {more:.0f} more days. "
            "How many percent has it then?",
            "%",
            _late,
            lambda values: on_day(values["first"] + values["more"], values["thick"]),
            (
                Mistake(
                    lambda values, answer: values["right"],
                    "That would be so in a weak brine at its end. A strong brine goes on giving salt.",
                ),
                Mistake(
                    lambda values, answer: values["right"] * (values["first"] + values["more"]) / values["first"],
                    "It does not go on as fast as at first. The outside is full, and the way in gets longer.",
                ),
            ),
            "Set thickness and day in the picture and read the sentence over it.",
            "The library says {answer:.1f} %. Late is saltier here.",
            tolerance=0.08,
        ),
        Question(
            "A brine has {salt:.0f} g of salt in each kg of water. Meat of 6 cm is right in it after {first:.1f} days, at {right:.1f} % on the whole. Now you "
            "take {double:.0f} g in each kg. After how many days is it right?",
            "days",
            _stronger,
            lambda values: day_of(right(), CM, values["double"]),
            (
                Mistake(
                    lambda values, answer: values["first"] / 2,
                    "Half is still too long. The first salt goes in fastest, so strong brines are quicker than you think.",
                ),
                Mistake(lambda values, answer: values["first"], "A stronger brine brings the same salt sooner."),
            ),
            "Set the salt in the picture. Look for the day on which the whole is right.",
            "The library says {answer:.1f} days. That leaves little time to be late.",
            tolerance=0.2,
        ),
    ),
    trouble=Trouble(
        "Meat of {cm:.0f} cm was to come out on day {first:.0f}. The cook was ill and comes back on day {late:.0f}. On the whole the meat now has {whole:.1f} % "
        "salt, and only {middle:.1f} % in the middle. What would you do now?",
        lambda: {
            "cm": CM,
            "first": day_of(right()),
            "late": _late_day(),
            "whole": on_day(_late_day()),
            "middle": on_day(_late_day(), place="core"),
        },
        (
            Way("Leave it in for three more days, for the middle.", _left),
            Way("Take it out, wrap it and let it rest in the fridge.", _wrapped),
            Way("Take it out and lay it in fresh cold water, in the fridge.", _soaked),
        ),
    ),
    tries=Claim(
        "Cut two slices of lean pork, 3 cm thick, 250 g each. Give each slice its own box, with 250 g of water and {grams:.0f} g of salt, in the fridge. Take one out "
        "after {early:.0f} hours, the other after {late:.0f}. Wrap each and let it rest in the fridge for three days. Roast both through, then taste. The "
        "first should have about {first:.1f} % salt, the other {then:.1f} %.",
        lambda: {
            "grams": STRONG / 4,
            "early": 12.0,
            "late": 36.0,
            "first": on_day(0.5, 3.0),
            "then": on_day(1.5, 3.0),
        },
        lambda found: found["first"] < right() + 0.1 and found["then"] > too_salty(),
    ),
    kept=_kept,
)
