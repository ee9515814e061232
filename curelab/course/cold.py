"""Lesson 6: cold, time and botulism."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from random import Random

import numpy as np

from ..engine.history import History
from ..engine.simulate import simulate
from ..forecast.root import root
from ..limits import keeping
from ..limits.exposure import Exposure, exposures
from ..limits.protection import DISCARD
from ..matter.tissue import tissue
from ..recipe.stages import Rest
from ..sources import default_numbers
from ..units import DAY, HOUR
from .drawn import curves
from .kitchen import days_in_order, how_kept, kept_in_order, piece
from .parts import CAUTION, Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way
from .strong import too_salty

ZERO = 273.15
SPELL = 15.0  # degC of a warm night
MINUTE = 60.0
LEAST_DAYS = 2.0
VERDICTS = {
    "pass": "That is in order.",
    "unknown": "That cannot be judged: throw it away.",
    "fail": "Throw it away.",
}
TOO_WARM = "That is not in order: a fridge above {most:.1f} °C is too warm for any day."
COLD_CAUTION = (
    "Botulism has no smell and no taste, and it kills. If meat was too warm or too long without its cure, throw it away: do not taste it, and do not cook it to save it. "
    f"These days come from few experiments, and are no promise. {CAUTION}"
)


def harm(celsius: float) -> float:
    """Days after which poison was found in bare food at a temperature, by what is printed."""
    return keeping.days_to_harm(default_numbers(), ZERO + celsius)


def allowed() -> float:
    """Parts in 100 of that time that this library takes to be in order."""
    return 100 * default_numbers().si("protection.share")


@lru_cache(maxsize=256)
def lying(celsius: float, days: float, hours: float = 0.0) -> History:
    """Bare raw meat in a fridge, with a warm spell of so many hours in the middle of it."""
    kelvin, length, half = ZERO + celsius, days * DAY, days * DAY / 2
    log = [(0.0, kelvin)]
    if hours:
        end = min(half + hours * HOUR, length - 2 * MINUTE)
        log += [(half, kelvin), (half + MINUTE, ZERO + SPELL), (end, ZERO + SPELL), (end + MINUTE, kelvin)]
    return simulate(piece(4), Rest(temperature=tuple(log), lasts=length))


def bare(celsius: float, days: float, hours: float = 0.0) -> Exposure:
    """What it goes through there."""
    return exposures(lying(celsius, days, hours))[0]


@lru_cache(maxsize=1)
def warmest_fridge() -> float:
    """degC up to which a fridge is cold enough, as the library judges: warmer, no day is in order."""
    tenths = range(30, 120)
    return next(tenth - 1 for tenth in tenths if not kept_in_order(lying(tenth / 10, LEAST_DAYS))) / 10


def used(celsius: float, days: float) -> float:
    """Parts in 100 of the time until poison was found that bare meat has used up."""
    return 100 * bare(celsius, days).cold


def _draw(dials: Mapping[str, float]) -> Seen:
    celsius, days, hours = dials["fridge"], dials["days"], dials["hours"]
    found = bare(celsius, days, hours)
    cold, warm = 100 * found.cold, 100 * found.warm
    outcome, too_warm = how_kept(lying(celsius, days, hours)), celsius > warmest_fridge()
    verdict = (
        VERDICTS[outcome] if max(cold, warm) > allowed() or not too_warm else TOO_WARM.format(most=warmest_fridge())
    )
    said = (
        f"Bare meat lies at {celsius:g} °C for {days:.0f} days. That uses up **{cold:.0f} parts in 100** of the time until poison was found. Of the time that it may be warm it used "
        f"{warm:.0f} parts. Up to {allowed():.0f} is in order. **{verdict}**"
    )
    at = np.linspace(1.0, 12.0, 111)
    until = np.array([harm(each) for each in at])
    fridge = (
        at <= warmest_fridge() + 1e-9
    )  # in a warmer one no day is in order, so there the line falls to none and ends
    days_of = np.append(until[fridge] * allowed() / 100, 0.0)
    lines = [("poison was found", at, until), ("in order until here", np.append(at[fridge], warmest_fridge()), days_of)]
    return Seen(
        said,
        curves(
            said,
            "fridge, °C",
            "days of bare meat",
            lines,
            [("x", celsius, f"{celsius:g} °C"), ("y", days, f"{days:.0f} days")],
        ),
    )


def _one_fridge(random: Random) -> Values:
    celsius = random.choice((3.0, 4.0, 5.0))
    return {"celsius": celsius, "harm": harm(celsius), "days": float(random.choice((4, 5, 7, 9)))}


def _two_fridges(random: Random) -> Values:
    return {
        "first": 3.0,
        "second": 5.0,
        "days": float(random.choice((7, 10, 12))),
        "more": float(random.choice((2, 3))),
        "harm": harm(3.0),
    } | {}


def _added(values: Values) -> float:
    return used(values["first"], values["days"]) + used(values["second"], values["more"])


def _how_cold(random: Random) -> Values:
    return {"days": float(random.choice((14, 15, 16, 17, 18, 19, 20))), "allowed": allowed()}


def _warmest(days: float, parts: float) -> float:
    return root(lambda celsius: used(round(celsius, 4), days) - parts, 2.9, 12.0, 0.002)


NIGHT, DAYS = 14.0, 3.0  # hours of the warm night; days in the cure


def _night() -> Exposure:
    return bare(3.0, DAYS, NIGHT)


def _smells_good() -> Followed:
    parts = 100 * _night().warm
    return Followed(
        f"It used {parts:.0f} parts in 100 of the time that raw meat may be warm. Germs grew all night, and botulism has no smell. A good smell tells nothing.",
        parts <= 100,
    )


def _cook_it() -> Followed:
    parts = 100 * _night().warm
    return Followed(f"It used {parts:.0f} parts in 100 of the time that raw meat may be warm. {DISCARD}", parts <= 100)


def _throw_away() -> Followed:
    parts = 100 * _night().warm
    return Followed(
        f"It used {parts:.0f} parts in 100 of the time that raw meat may be warm, and {allowed():.0f} are in order. The meat is lost, and nobody is ill. Hang a thermometer "
        "where you see it, and write it down each day.",
        parts > 100,
    )


def _salt_that_stops() -> float:
    """% salt of lean meat whose water has as much salt as stops the botulism of the fridge."""
    share = default_numbers().si("growth.nonproteolytic.water_phase_salt")
    salt = tissue("lean beef").water * share / (1 - share)
    return 100 * salt / (1 + salt)


COLD = Lesson(
    name="cold",
    short="Cold",
    title="Cold, time and botulism",
    opening=(
        "Salt and nitrite need days or weeks to come to the middle. Until then that place is bare. Only the cold protects it. How long? Guess first."
    ),
    words=("to cure", "brine", "nitrite", "botulism", "bare", "middle", "mg/kg", "percent", "in order"),
    guess=Guess(
        "In an experiment food without air was kept at 5 °C. Poison was found after {days:.0f} days. How many days did it take at 3 °C?",
        lambda: {"days": harm(5)},
        Dial("days", "My guess", "days", 0, 60, 1, 0),
        lambda: harm(3),
        "You guessed **{guess:.0f} days**. At 3 °C it took **{answer:.0f} days**.",
    ),
    live=Live(
        "The upper line is when poison was found. The lower one is where you should stop. It falls to nothing where a fridge is too warm for any day. Set your fridge and your days. Then let it be warm for some hours.",
        (
            Dial("fridge", "Fridge", "°C", 1, 12, 0.5, 4),
            Dial("days", "Days of bare meat", "days", LEAST_DAYS, 40, 1, 7),
            Dial("hours", f"Hours at {SPELL:.0f} °C", "hours", 0, 12, 1, 0),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "Each degree counts. Poison was found after {three:.0f} days at 3 °C, after {five:.0f} at 5 °C and after {eight:.0f} at 8 °C.",
            lambda: {"three": harm(3), "five": harm(5), "eight": harm(8)},
            lambda found: found["three"] > 2 * found["five"] > 4 * found["eight"],
        ),
        Claim(
            "Do not wait until then. This library takes {allowed:.0f} parts in 100 of that time to be in order: {days:.0f} days at 3 °C, {warm:.0f} at 4 °C. That is its own "
            "line, and no law.",
            lambda: {"allowed": allowed(), "days": days_in_order(3), "warm": days_in_order(4)},
            lambda found: found["days"] < harm(3) and default_numbers()["protection.share"].how == "judgement",
        ),
        Claim(
            "All days add up. {first:.0f} parts from 7 days at 3 °C and {then:.0f} from 4 days at 5 °C are {both:.0f}. Cold afterwards takes nothing back.",
            lambda: {"first": used(3, 7), "then": used(5, 4), "both": used(3, 7) + used(5, 4)},
            lambda found: found["both"] < 60 and used(1, 5) > 0,
        ),
        Claim(
            "Colder than 3 °C is better still. But no experiment here says by how much, so this library counts it like 3 °C: {one:.0f} days at 1 °C too.",
            lambda: {"one": days_in_order(1)},
            lambda found: abs(found["one"] / days_in_order(3) - 1) < 0.01,
        ),
        Claim(
            "Nitrite and salt help, where they have come to. With {full:.0f} mg/kg of nitrite this library counts only {left:.0f} of each 100 parts.",
            lambda: {
                "full": 1e6 * default_numbers().si("protection.nitrite_full"),
                "left": 100
                * float(_hurdles().left_over(np.array(0.0), np.array(default_numbers().si("protection.nitrite_full")))),
            },
            lambda found: found["left"] < 70,
        ),
        Claim(
            "Salt alone would have to be {salt:.1f} % of the meat to stop the botulism of the fridge. That is too salty to eat. So cold, nitrite and salt work together.",
            lambda: {"salt": _salt_that_stops()},
            lambda found: found["salt"] > too_salty(),
        ),
        Claim(
            "Above {hopeless:.0f} °C no cure counts. There other germs grow too, in hours: a printed rule allows {hours:.0f} hours above 10 °C, and no more.",
            lambda: {"hopeless": _hurdles().hopeless - ZERO, "hours": _warm_hours(10)},
            lambda found: found["hours"] < 6,
        ),
    ),
    questions=(
        Question(
            "Bare meat lies at {celsius:.0f} °C. Poison was found there after {harm:.0f} days. {days:.0f} days have passed. How many parts in 100 of that time are used up?",
            "parts",
            _one_fridge,
            lambda values: used(values["celsius"], values["days"]),
            (
                Mistake(lambda values, answer: 100 - answer, "That is what is left. Tell what is used up."),
                Mistake(
                    lambda values, answer: values["days"],
                    "Those are the days. Divide by {harm:.0f}, and take that of 100.",
                ),
            ),
            "Divide the days that passed by {harm:.0f}. Take that of 100.",
            "The library says {answer:.0f} parts.",
            tolerance=0.06,
        ),
        Question(
            "Bare meat lay {days:.0f} days at {first:.0f} °C, then the fridge failed: {more:.0f} days at {second:.0f} °C. How many parts in 100 are used up in all?",
            "parts",
            _two_fridges,
            _added,
            (
                Mistake(
                    lambda values, answer: used(values["first"], values["days"]),
                    "That is the cold part alone. The warm days count too, and count more.",
                ),
                Mistake(
                    lambda values, answer: used(values["second"], values["more"]),
                    "That is the warm part alone. The days before count too.",
                ),
                Mistake(
                    lambda values, answer: used(values["first"], values["days"] + values["more"]),
                    "You counted all days as cold. The warm days count more.",
                ),
            ),
            "Work out each part by the picture, then add both.",
            "The library says {answer:.0f} parts. A fridge warmer than 4 °C is a fault: ask your teacher before you go on.",
            tolerance=0.09,
        ),
        Question(
            "The middle of a piece stays bare for {days:.0f} days, until the cure gets there. No more than {allowed:.0f} parts in 100 are to be used up. How warm may the fridge be, at "
            "most?",
            "°C",
            _how_cold,
            lambda values: _warmest(values["days"], values["allowed"]),
            (
                Mistake(
                    lambda values, answer: _warmest(values["days"], 100.0),
                    "There all 100 parts are used up: that is when poison was found. Stay at {allowed:.0f}.",
                ),
            ),
            "Set the days in the picture. Then move the fridge until the sentence says {allowed:.0f} parts.",
            "The library says {answer:.1f} °C. Set the fridge lower than that.",
            slack=0.1,
        ),
    ),
    trouble=Trouble(
        "On day {days:.0f} of a cure the door of the fridge stood open all night: {night:.0f} hours at {spell:.0f} °C. The middle of the meat has no salt yet. It looks and smells "
        "fresh. What would you do now?",
        lambda: {"days": DAYS, "night": NIGHT, "spell": SPELL},
        (
            Way("It smells good. Cool it down and go on.", _smells_good),
            Way("Cook it at once, well through.", _cook_it),
            Way("Throw it away.", _throw_away),
        ),
    ),
    tries=Claim(
        "Put 1 kg of water in a bottle in your fridge, with a thermometer in it. Read it every morning and every evening for "
        "a week, and once after the door stood open for ten minutes. Write down the warmest. How many days may bare meat lie there? At 3 °C it is {three:.0f} days at most, at 4 °C "
        "{four:.0f}. Warmer than 4 °C? Turn it down. Then weigh a piece of pork in its pack, as you buy it. Measure its thickness. Would its middle be cured in that time? Lesson 1 tells.",
        lambda: {"three": days_in_order(3), "four": days_in_order(4)},
        lambda found: found["three"] > 1.4 * found["four"],
    ),
    kept=lambda: {f"{celsius:g} degC": lying(celsius, days_in_order(celsius)) for celsius in (1, 3, 4)},
    caution=COLD_CAUTION,
)


def _hurdles() -> keeping.Hurdles:
    return keeping.hurdles(default_numbers())


def _warm_hours(celsius: float) -> float:
    """Hours that are allowed in print at a warm temperature."""
    numbers = default_numbers()
    pace = float(keeping.clock("warm", numbers).pace(np.array(ZERO + celsius)))
    return numbers.si("protection.share") / pace / HOUR
