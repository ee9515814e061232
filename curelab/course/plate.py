"""Lesson 7: the uneven cut and the plate."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from random import Random

from ..engine.history import History
from ..engine.simulate import simulate
from ..forecast import slice_of
from ..forecast.root import root
from ..limits.exposure import exposures
from ..recipe.cook import BagCook, Cooking, Oven, Simmer
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine, Rest
from ..show.section import section
from ..sources import default_numbers
from ..spread import Spread
from ..units import DAY
from .kitchen import CURED, FRIDGE, SALT, brine, days_to_cure, kept_in_order, piece, tastes, warned
from .parts import (
    WITHOUT_NITRITE,
    Claim,
    Dial,
    Followed,
    Guess,
    Lesson,
    Live,
    Mistake,
    Question,
    Seen,
    Trouble,
    Values,
    Way,
)  # fmt: skip

WEIGHT, SHOWN = 1.35, 40.0  # kg, d
THIN, THICK_CM = 2.0, 4.5  # cm at the ends of the cut
STATIONS = (
    {"at": "0 cm", "thickness": "2 cm", "width": "14 cm"},
    {"at": "12 cm", "thickness": "3 cm", "width": "16 cm"},
    {"at": "22 cm", "thickness": "4.5 cm", "width": "16 cm"},
    {"at": "28 cm", "thickness": "3.5 cm", "width": "12 cm"},
)
WHOLE = "average salt >= 90 % of equilibrium"
FLAT, IN_BRINE = 4.0, 13.0  # cm, d: the flat piece that is cooked
DONE = 72.0  # degC in the middle; the food code of the place goes first
OVEN, POT = 120.0, 85.0  # degC
WAYS: dict[str, Cooking] = {
    "oven": Oven(
        temperature=f"{OVEN:g} degC", humidity="5 %", until=f"core temperature >= {DONE:g} degC", at_most="12 h"
    ),
    "pot": Simmer(
        water="4 kg", temperature=f"{POT:g} degC", until=f"core temperature >= {DONE:g} degC", at_most="12 h"
    ),
    "bag": BagCook(temperature=f"{POT:g} degC", until=f"core temperature >= {DONE:g} degC", at_most="12 h"),
}
PLATE_CAUTION = (
    "Oven, pot and bag show here where the salt goes: they are no plan for cooking. This library cannot judge a dry oven or a bag, so "
    f"your food code does. Eat the meat hot, or chill it within 2 hours. {WITHOUT_NITRITE}"
)


@lru_cache(maxsize=32)
def uneven(grams: float = SALT, celsius: float = FRIDGE, days: float = SHOWN) -> History:
    """An uneven cut in a brine of so many g of salt in each kg of water, with as much water as meat."""
    cut = Piece(name="the cut", shape="cut", stations=STATIONS, weight=f"{WEIGHT:g} kg")
    bath = Bath(water=f"{WEIGHT:g} kg", salt=f"{grams * WEIGHT:g} g")
    return simulate(cut, Brine(bath=bath, temperature=f"{celsius:g} degC", lasts=f"{days:g} d", lying=False))


def slowest_day(grams: float = SALT, celsius: float = FRIDGE) -> float:
    """Day on which the slowest spot of the cut is cured."""
    return uneven(grams, celsius).first_time(CURED) / DAY


def whole_day(grams: float = SALT, celsius: float = FRIDGE) -> float:
    """Day on which the cut has its salt on the whole."""
    return uneven(grams, celsius).first_time(WHOLE) / DAY


@lru_cache(maxsize=64)
def cooked(way: str, grams: float = SALT) -> History:
    """A flat piece out of its brine, rested for a day, and cooked."""
    return simulate(piece(FLAT), [brine(grams, IN_BRINE), Rest(temperature=f"{FRIDGE:g} degC", lasts="1 d"), WAYS[way]])


def before(grams: float = SALT) -> float:
    """% salt of the flat piece before it is cooked."""
    found = cooked("bag", grams)
    return 100 * found.average("salt", found.begin(2))


def on_the_plate(way: str, grams: float = SALT) -> float:
    """% salt of the slice."""
    return 100 * slice_of(cooked(way, grams)).salt


def kept(way: str) -> float:
    """Parts in 100 of the raw weight that are left."""
    return 100 * slice_of(cooked(way)).kept


def _draw(dials: Mapping[str, float]) -> Seen:
    grams, celsius = dials["salt"], dials["fridge"]
    history = uneven(grams, celsius)
    end = 100 * history.average("salt")
    said = (
        f"On the whole the cut has its salt on day **{whole_day(grams, celsius):.0f}**. Its slowest spot is cured on day **{slowest_day(grams, celsius):.0f}**. It ends at "
        f"**{end:.1f} %**, and that tastes {tastes(end)}."
    )
    cured = uneven(grams, celsius, slowest_day(grams, celsius))
    drawn = section([(Spread.single(history), "the cut", "the cut")], ("salt",))
    return Seen(warned(said, cured), drawn, whole_day(grams, celsius))


def _in_the_pot(random: Random) -> Values:
    grams = random.choice((38.0, 40.0, 50.0, 55.0))
    return {"grams": grams, "before": before(grams)}


def _thinned(random: Random) -> Values:
    thick = random.choice((4.0, 4.5, 5.0))
    return {"thin": random.choice((2.0, 2.5)), "thick": thick, "long": days_to_cure(thick)}


def _wanted(random: Random) -> Values:
    return {"wanted": random.choice((1.7, 1.8, 1.9, 2.0, 2.1))}


def _may_have(values: Values) -> float:
    grams = root(lambda each: on_the_plate("oven", round(each, 3)) - values["wanted"], 20.0, 70.0, 0.01)
    return before(round(grams, 3))


def _whole_today() -> Followed:
    share = 100 * uneven().core("salt", whole_day() * DAY, basis="equilibrium")
    said = f"On the whole it has its salt. But the slowest spot has {share:.0f} parts in 100 of its own salt. A slice from there is bland in its middle."
    return Followed(said, share >= 85)


def _left_in() -> Followed:
    day = whole_day() + 14
    history = uneven(days=day)
    share = 100 * history.core("salt", basis="equilibrium")
    used = exposures(history)[0].cold
    said = (
        f"On day {day:.0f} the slowest spot has {share:.0f} parts in 100 of its salt. The thin end waited, and the whole ends at {100 * history.average('salt'):.1f} %. Its "
        f"cold days used up {100 * used:.0f} parts in 100 of the time that lesson 6 gives: keep it at {FRIDGE:.0f} °C or below."
    )
    return Followed(said, share >= 90 and kept_in_order(history))


def _more_salt() -> Followed:
    grams = 2 * SALT
    now, then = (100 * uneven(each).core("salt", whole_day() * DAY, basis="equilibrium") for each in (SALT, grams))
    end = 100 * uneven(grams).average("salt")
    said = f"The slowest spot still has {then:.0f} parts in 100 of its end, as before ({now:.0f}). But now the whole cut ends at {end:.1f} %: it tastes {tastes(end)}."
    return Followed(said, then >= 85 and end < 100 * default_numbers().si("taste.salty"))


PLATE = Lesson(
    name="plate",
    short="Plate",
    title="The uneven cut and the plate",
    opening=(
        "A real cut is thick at one end and thin at the other. And it is not eaten raw. What counts is the slice on the plate."
    ),
    words=(
        "to cure",
        "brine",
        "percent",
        "on the whole",
        "middle",
        "slowest spot",
        "cured",
        "rest",
        "soak",
        "simmer",
        "equilibrium",
        "nitrite",
        "botulism",
    ),
    guess=Guess(
        "Meat has {before:.1f} % salt. It simmers in {pot:.0f} kg of fresh water, until its middle has {done:.0f} °C. How many percent of salt has the slice on the plate?",
        lambda: {"before": before(), "pot": 4.0, "done": DONE},
        Dial("salt", "My guess", "%", 0, 6, 0.1, 6),
        lambda: on_the_plate("pot"),
        "You guessed **{guess:.1f} %**. The slice has **{answer:.1f} %**. The pot took the rest.",
        near=0.08,
    ),
    live=Live(
        "This is a cut from thin to thick. Move the slider under it, day by day. Where does the salt come last? Then change the brine.",
        (
            Dial("salt", "Salt in each kg of water", "g", 30, 90, 5, SALT),
            Dial("fridge", "Fridge", "°C", 1, 4, 1, FRIDGE),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "Thin and thick are not done together. A flat piece as thin as the thin end is cured on day {thin:.0f}. One as thick as the thick part needs {thick:.0f} days.",
            lambda: {"thin": days_to_cure(THIN), "thick": days_to_cure(THICK_CM)},
            lambda found: found["thick"] > 4 * found["thin"],
        ),
        Claim(
            "So measure where it is thickest, and plan for that. The slowest spot of this cut is cured on day {spot:.0f}, though the whole has its salt on day {whole:.0f}.",
            lambda: {"spot": slowest_day(), "whole": whole_day()},
            lambda found: found["spot"] > 1.8 * found["whole"],
        ),
        Claim(
            "In an equilibrium brine the thin end can wait. While the thick part catches up, the whole goes from {early:.2f} to {late:.2f} %.",
            lambda: {
                "early": 100 * uneven().average("salt", whole_day() * DAY),
                "late": 100 * uneven().average("salt", slowest_day() * DAY),
            },
            lambda found: found["late"] < 1.12 * found["early"],
        ),
        Claim(
            "A low oven makes it saltier. In dry air of {oven:.0f} °C {before:.1f} % becomes {after:.1f} %: water leaves as steam for hours, and salt stays.",
            lambda: {"before": before(), "oven": OVEN, "after": on_the_plate("oven")},
            lambda found: found["after"] > 1.15 * found["before"],
        ),
        Claim(
            "Simmering makes it milder: {before:.1f} % becomes {pot:.1f} %. The pot takes salt, as a soak does.",
            lambda: {"before": before(), "pot": on_the_plate("pot")},
            lambda found: found["pot"] < 0.95 * found["before"],
        ),
        Claim(
            "In a closed bag it changes least: {before:.1f} % becomes {bag:.1f} %. Juice leaves, and takes its salt along.",
            lambda: {"before": before(), "bag": on_the_plate("bag")},
            lambda found: (
                abs(found["bag"] - found["before"])
                < 0.5 * min(abs(on_the_plate(way) - found["before"]) for way in ("oven", "pot"))
            ),
        ),
    ),
    questions=(
        Question(
            "Meat out of another brine has {before:.2f} % salt. It simmers as the meat of this lesson did. How many percent of salt has the slice?",
            "%",
            _in_the_pot,
            lambda values: on_the_plate("pot", values["grams"]),
            (
                Mistake(
                    lambda values, answer: values["before"],
                    "It does not stay so. Fresh water takes salt, hot water too.",
                ),
                Mistake(
                    lambda values, answer: values["before"] ** 2 / answer,
                    "You went the wrong way. The pot takes salt out.",
                ),
            ),
            "Look how the pot changed the meat above. Change this one by as much.",
            "The library says {answer:.2f} %.",
            tolerance=0.06,
        ),
        Question(
            "A cut is {thin:g} cm at one end and {thick:g} cm at the other. Its thick part needs {long:.0f} days, until its middle is cured. How many days does the thin end need alone?",
            "days",
            _thinned,
            lambda values: days_to_cure(values["thin"]),
            (
                Mistake(
                    lambda values, answer: values["long"] * values["thin"] / values["thick"],
                    "You counted so many days for each centimetre. Multiply the thickness by itself, as in lesson 1.",
                ),
                Mistake(lambda values, answer: values["long"], "The thin end is done long before the thick part."),
            ),
            "Multiply the thickness by itself, for both ends, and compare.",
            "The library says {answer:.1f} days. It waits for the thick part.",
            tolerance=0.12,
        ),
        Question(
            "A slice from the low oven is to have {wanted:.1f} % salt. How many percent may the meat have before it is roasted?",
            "%",
            _wanted,
            _may_have,
            (
                Mistake(
                    lambda values, answer: values["wanted"],
                    "In the oven water leaves, and it gets saltier. Begin lower.",
                ),
                Mistake(
                    lambda values, answer: values["wanted"] ** 2 / answer,
                    "You went the wrong way. The oven makes it saltier, so begin lower.",
                ),
            ),
            "Look how the low oven changed the meat above. Go the same way back.",
            "The library says {answer:.2f} %. Who roasts takes less salt in the brine.",
            tolerance=0.07,
        ),
    ),
    trouble=Trouble(
        "It is day {day:.0f}. On the whole the cut of this lesson has its salt. But its slowest spot has only {share:.0f} parts in 100 of its own salt. There are two weeks "
        "until the feast. What would you do now?",
        lambda: {"day": whole_day(), "share": 100 * uneven().core("salt", whole_day() * DAY, basis="equilibrium")},
        (
            Way("Cook it today, for on the whole it is right.", _whole_today),
            Way("Leave it in its brine, cold, for the two weeks.", _left_in),
            Way("Next time take twice the salt, so that the thick part gets enough by this day.", _more_salt),
        ),
    ),
    tries=Claim(
        "Take a cut that is thick at one end. Measure it with a ruler at four places. Write them down. Take 500 g of flat pork and 500 g of water. Cure the pork with {grams:.0f} g of salt in each kg of "
        "water. After {days:.0f} days halve it. Weigh both halves. Roast one in a low oven, cook one in a closed bag, both as your food code says. Weigh again. Of {flat:.0f} cm meat the oven leaves "
        "about {oven:.0f} parts in 100, the bag {bag:.0f}. Taste both: the roast is the saltier one.",
        lambda: {"grams": SALT, "days": IN_BRINE, "flat": FLAT, "oven": kept("oven"), "bag": kept("bag")},
        lambda found: found["oven"] < found["bag"] and on_the_plate("oven") > 1.1 * on_the_plate("bag"),
    ),
    caution=PLATE_CAUTION,
    kept=lambda: {"left in": uneven(days=whole_day() + 14), **{f"cooked: {way}": cooked(way) for way in WAYS}},
)
