"""Lesson 5: rest and soak."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from random import Random

import numpy as np

from ..engine.history import History
from ..engine.simulate import simulate
from ..forecast.ready import first_even
from ..limits.exposure import exposures
from ..recipe.stages import Rest, Soak, Stage, Water
from ..show.section import section
from ..sources import default_numbers
from ..spread import Spread
from ..units import DAY, HOUR
from .kitchen import FRIDGE, MEAT, brine, brined, kept_in_order, piece, tastes, warned
from .parts import Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way
from .strong import STRONG, day_of, on_day, right, too_salty

CM = 6.0
RESTED = 14.0  # days
LATE = 5.0  # days in the brine: too long
POT = 4.0  # kg of soak water
WARM, HURRY = 25.0, 8.0  # degC of warm water, and hours in it
LEVEL = 1.5  # % salt from which a place tastes of salt


@lru_cache(maxsize=64)
def course(
    cm: float,
    days: float,
    hours: float = 0.0,
    waters: int = 1,
    rested: float = RESTED,
    pot: float = POT,
    celsius: float = FRIDGE,
) -> History:
    """Strong brine for so many days, a soak of so many hours in so many waters with `pot` kg of water in all, then a rest."""
    stages: list[Stage] = [brine(STRONG, days)]
    if hours:
        one = Water(amount=f"{pot / waters:g} kg", lasts=f"{hours / waters:g} h", temperature=f"{celsius:g} degC")
        stages.append(Soak(waters=(one,) * waters))
    if rested:
        stages.append(Rest(temperature=f"{FRIDGE:g} degC", lasts=f"{rested:g} d"))
    return simulate(piece(cm), stages)


@lru_cache(maxsize=64)
def even_days(cm: float) -> float:
    """Days of rest until a piece is even that came out of the strong brine when it was right on the whole."""
    out = np.array([day_of(right(), cm) * DAY])
    return float(first_even(brined(cm, STRONG, days=120).as_drawn(), 0, 0, out)[0] / DAY)


def until_even(cm: float) -> History:
    """A piece that comes out of the strong brine when it is right on the whole, and rests until it is even."""
    rest = Rest(temperature=f"{FRIDGE:g} degC", lasts=f"{even_days(cm):g} d")
    return simulate(piece(cm), [brine(STRONG, day_of(right(), cm)), rest])


def soaked(place: str, days: float, hours: float, waters: int = 1) -> float:
    """% salt at a place at the end of a soak."""
    return 100 * course(CM, days, hours, waters).at(place, "salt", days * DAY + hours * HOUR)


def hours_of_soak(days: float, percent: float, place: str = "average") -> float:
    """Hours of soak until a place has come down to so much salt."""
    hours = np.linspace(0.0, 72.0, 289)
    found = 100 * course(CM, days, 72.0, rested=0.0).at(place, "salt", days * DAY + hours * HOUR)
    return float(np.interp(-percent, -found, hours))


def soak_ends(percent: float, water: float) -> float:
    """% salt at which a piece with so much salt comes to rest in so many kg of fresh water."""
    days = round(day_of(percent), 3)
    return 100 * course(CM, days, 72.0, rested=0.0, pot=water).resting("salt", 1)


def _draw(dials: Mapping[str, float]) -> Seen:
    cm, days, hours = dials["thick"], dials["days"], dials["hours"]
    history = course(cm, days, hours)
    out = days * DAY + hours * HOUR
    before, after = (100 * history.average("salt", when) for when in (days * DAY, out))
    middle, last = (100 * history.core("salt", when) for when in (out, None))
    soaked_so = f"The soak brings it to **{after:.1f} %**. " if hours else "There is no soak. "
    said = (
        f"Out of the brine the meat has **{before:.1f} %** salt on the whole. {soaked_so}Then it rests: in {RESTED:.0f} days the middle goes from {middle:.1f} % "
        f"to **{last:.1f} %**."
    )
    drawn = section(
        [(Spread.single(history), "piece", "the piece")], ("salt",), wanted=(LEVEL / 100, f"{LEVEL:g} % from here")
    )
    return Seen(warned(said, history), drawn, out / DAY)


def _two_rests(random: Random) -> Values:
    thin = random.choice((2.0, 3.0))
    return {"thin": thin, "thick": thin * random.choice((1.5, 2.0)), "days": even_days(thin)}


def _to_the_end(random: Random) -> Values:
    return {"meat": MEAT, "before": random.choice((3.0, 3.2, 3.5)), "water": random.choice((2.0, 3.0, 4.0))}


def _how_long(random: Random) -> Values:
    days = random.choice((5.0, 5.5, 6.0))
    return {"cm": CM, "days": days, "before": on_day(days), "right": random.choice((2.2, 2.4)), "pot": POT}


def _rest_only() -> Followed:
    history = course(CM, LATE, rested=2.0)
    whole, middle = 100 * history.average("salt"), 100 * history.core("salt")
    said = f"After two days of rest the middle has {middle:.1f} %, but on the whole it stays {whole:.1f} %. Rest takes no salt away. It tastes {tastes(whole)}."
    return Followed(said, whole < too_salty())


def _cold_soak() -> Followed:
    hours = 24.0
    whole = soaked("average", LATE, hours, 2)
    history = course(CM, LATE, hours, 2, rested=1.0)
    said = (
        f"{hours:.0f} hours in two cold waters bring it to {whole:.1f} % on the whole. It tastes {tastes(whole)}. A day of rest lets the outside, "
        f"{soaked('first bite', LATE, hours, 2):.1f} %, even out with the rest of it. The middle is still at {100 * history.core('salt'):.1f} %."
    )
    return Followed(
        said,
        whole < 100 * default_numbers().si("taste.salty") and kept_in_order(history),
    )


def _warm_soak() -> Followed:
    history = course(CM, LATE, HURRY, 2, rested=1.0, celsius=WARM)
    whole, used = 100 * history.average("salt"), exposures(history)[0].warm
    said = (
        f"{HURRY:.0f} hours at {WARM:.0f} °C bring it to {whole:.1f} %. But so warm, germs grow. It used up {100 * used:.0f} parts in 100 of the time that raw meat may "
        "be warm. Throw it away: cooking does not make it safe."
    )
    return Followed(said, kept_in_order(history))


def _kept() -> dict[str, History]:
    return {
        "rested until it is even": until_even(CM),
        "two weeks of rest": _only_rest(),
        "soaked cold": course(CM, LATE, 24.0, 2, rested=1.0),
        "tried with real meat": course(3.0, 1.0, 6.0, rested=3.0),
    }


REST_AND_SOAK = Lesson(
    name="rest_and_soak",
    short="Rest and soak",
    title="Rest and soak",
    opening="Out of the brine, the outside is too salty and the middle has nothing. Two things help. A rest moves salt inward. A soak takes it out.",
    words=(
        "to cure",
        "brine",
        "strong brine",
        "percent",
        "on the whole",
        "middle",
        "rest",
        "soak",
        "slowest spot",
        "equilibrium",
        "nitrite",
        "botulism",
        "bare",
    ),
    guess=Guess(
        "Meat of {cm:.0f} cm comes out of a strong brine. On the whole it is right, with {whole:.1f} % salt. But its outside has {outside:.0f} % and its middle none. It "
        "rests in the fridge, wrapped. After how many days is it even, so that the slowest spot has nine tenths of the whole?",
        lambda: {"cm": CM, "whole": right(), "outside": on_day(day_of(right()), place="surface")},
        Dial("days", "My guess", "days", 0, 60, 1, 60),
        lambda: even_days(CM),
        "You guessed **{guess:.0f} days**. It takes about **{answer:.0f} days**.",
    ),
    live=Live(
        "The brine is that of lesson 3. Move the slider under the picture from brine to soak to rest. Then change the hours of soak.",
        (
            Dial("thick", "Thickness", "cm", 3, 8, 1, CM),
            Dial("days", "Days in the brine", "days", 1, 8, 0.5, LATE),
            Dial("hours", "Hours of soak", "hours", 0, 48, 2, 12),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "A rest moves salt, and takes none away. On the whole the meat has {before:.1f} % before the rest and {after:.1f} % after it.",
            lambda: {
                "before": 100 * _only_rest().average("salt", 2 * DAY),
                "after": 100 * _only_rest().average("salt"),
            },
            lambda found: abs(found["after"] / found["before"] - 1) < 0.01,
        ),
        Claim(
            "The outside gives to the middle. In {days:.0f} days the surface falls from {high:.1f} to {low:.1f} %, and the middle comes from nothing to {middle:.1f} %.",
            lambda: {
                "days": RESTED,
                "high": 100 * _only_rest().surface("salt", 2 * DAY),
                "low": 100 * _only_rest().surface("salt"),
                "middle": 100 * _only_rest().core("salt"),
            },
            lambda found: found["low"] < 0.5 * found["high"] and found["middle"] > 0.9 * found["low"],
        ),
        Claim(
            "Thick takes long here too: 3 cm needs {thin:.1f} days of rest, 6 cm needs {thick:.0f}.",
            lambda: {"thin": even_days(3.0), "thick": even_days(6.0)},
            lambda found: 3.4 < found["thick"] / found["thin"] < 4.6,
        ),
        Claim(
            "A soak takes from the outside first. In {hours:.0f} hours the outer half centimetre falls from {high:.1f} to {low:.1f} %. The middle even rises, from "
            "{before:.1f} to {after:.1f} %.",
            lambda: {
                "hours": 12.0,
                "high": 100 * course(CM, LATE, 12.0).at("first bite", "salt", LATE * DAY),
                "low": soaked("first bite", LATE, 12.0),
                "before": on_day(LATE, place="core"),
                "after": soaked("core", LATE, 12.0),
            },
            lambda found: found["low"] < 0.5 * found["high"] and found["after"] > found["before"],
        ),
        Claim(
            "Little water soon gets salty. In {hours:.0f} hours 1 kg brings {before:.1f} % down to {little:.2f} %, 4 kg to {more:.2f} %. Still more water "
            "helps little: with 8 kg it is {most:.2f} %. The salt needs time to come out.",
            lambda: {
                "hours": 24.0,
                "before": on_day(LATE),
                **{
                    key: 100 * course(CM, LATE, 24.0, rested=0.0, pot=pot).average("salt")
                    for key, pot in (("little", 1.0), ("more", 4.0), ("most", 8.0))
                },
            },
            lambda found: found["little"] - found["more"] > 1.5 * (found["more"] - found["most"]) > 0,
        ),
        Claim(
            "One water cannot take all. It gets salty, and there is an equilibrium again: in {pot:.0f} kg this meat would stop at {end:.1f} %.",
            lambda: {"pot": POT, "end": soak_ends(3.2, POT)},
            lambda found: 0.5 < found["end"] < 1.5,
        ),
    ),
    questions=(
        Question(
            "After a strong brine, a piece of {thin:g} cm is even after {days:.1f} days of rest. How many days of rest does a piece of {thick:g} cm need?",
            "days",
            _two_rests,
            lambda values: even_days(values["thick"]),
            (
                Mistake(
                    lambda values, answer: values["days"] * values["thick"] / values["thin"],
                    "You counted so many days for each centimetre. Multiply the thickness by itself, as in lesson 1.",
                ),
                Mistake(
                    lambda values, answer: values["days"],
                    "Thick takes longer here too: the salt has a longer way to the middle.",
                ),
            ),
            "Multiply the thickness by itself, for both pieces, and compare.",
            "The library says {answer:.1f} days: thickness times thickness again.",
            tolerance=0.12,
        ),
        Question(
            "A piece of {meat:.0f} kg has {before:.1f} % salt. It lies in {water:.0f} kg of fresh water until nothing moves any more. How many percent of salt has it then?",
            "%",
            _to_the_end,
            lambda values: soak_ends(values["before"], values["water"]),
            (
                Mistake(
                    lambda values, answer: 0.0, "The water gets salty too. It stops when water and meat are alike."
                ),
                Mistake(lambda values, answer: values["before"], "Fresh water takes salt out until both are alike."),
            ),
            "Share the salt over meat and water together.",
            "The library says {answer:.2f} %. To get lower, take more water, or change it.",
            tolerance=0.25,
        ),
        Question(
            "Meat of {cm:.0f} cm lay in the brine of this lesson for {days:g} days. It has {before:.1f} % salt on the whole. How many hours of soak in {pot:.0f} kg of cold water "
            "bring it down to {right:.1f} %?",
            "hours",
            _how_long,
            lambda values: hours_of_soak(values["days"], values["right"]),
            (
                Mistake(
                    lambda values, answer: hours_of_soak(values["days"], values["right"], "first bite"),
                    "After that time only the outside is right. The rest of the piece is saltier.",
                ),
                Mistake(lambda values, answer: answer / 24, "That is right in days. Answer in hours."),
            ),
            "Set the days and the hours in the picture. Read what the soak brings it to.",
            "The library says {answer:.0f} hours.",
            tolerance=0.15,
        ),
    ),
    trouble=Trouble(
        "A piece of {cm:.0f} cm stayed in the strong brine for {late:.0f} days. It has {whole:.1f} % salt on the whole. Guests come in two days. What would you do now?",
        lambda: {"cm": CM, "late": LATE, "whole": on_day(LATE)},
        (
            Way("Wrap it and let it rest for the two days.", _rest_only),
            Way("Soak it for a day in the fridge, change the water once, then let it rest.", _cold_soak),
            Way(f"Soak it in warm water of {WARM:.0f} °C, for that is quicker.", _warm_soak),
        ),
    ),
    tries=Claim(
        "Cut three slices of pork, 3 cm thick. Keep all in a strong brine for a day: {grams:.0f} g of salt in each kg of water, as much water as meat. Cook one through at "
        "once. Let one rest for {days:.0f} days, wrapped, in the fridge. Soak one for 6 hours in twice its weight of cold water, then let it rest as long. Cook both through, and taste. "
        "The first is salty outside and bland inside. The second is salty all through. The third is milder.",
        lambda: {"grams": STRONG, "days": even_days(3.0)},
        lambda found: _slices_differ(),
    ),
    kept=_kept,
)


def _only_rest() -> History:
    return course(CM, 2.0)


def _slices_differ() -> bool:
    fresh, wet = brined(3.0, STRONG, days=1), course(3.0, 1.0, 6.0, rested=3.0)
    uneven = fresh.surface("salt") > 3 * fresh.core("salt")
    return bool(uneven and wet.average("salt") < 0.85 * fresh.average("salt"))
