"""Lesson 4: nitrite, its measure, its limits, its fading."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

import numpy as np

from ..engine.history import FREE
from ..engine.simulate import simulate
from ..limits.checks import check_ingoing
from ..recipe.stages import Bath, Brine
from ..sources import default_numbers
from ..units import DAY
from ..weighing import ingoing
from .drawn import curves
from .kitchen import FRIDGE, MEAT, piece, warned
from .nitrite_sums import CM, LABEL, SHOWN, WANTED, colour, half_life, in_brine, left, left_after, limit, most, weighed
from .parts import CAUTION, Claim, Dial, Followed, Guess, Lesson, Live, Mistake, Question, Seen, Trouble, Values, Way

TO_TRY = 20.0  # days of such a brine, cold, that are in order for 6 cm
WEAK, TENFOLD = 0.6, 10.0  # % nitrite on the label of a weak mix; a slip of the point
NITRITE_CAUTION = (
    "Nitrite poisons when it is over-measured, and a small child needs little. Weigh the mix on a fine scale, never by spoon. Read the label, for "
    f"mixes differ tenfold. Keep it marked, away from table salt, and locked away from children. {CAUTION}"
)


def _draw(dials: Mapping[str, float]) -> Seen:
    cm, wanted, celsius, day = dials["thick"], dials["wanted"], dials["fridge"], dials["day"]
    history = in_brine(cm, wanted, celsius)
    times = np.linspace(0.0, SHOWN * DAY, 181)
    said = (
        f"On day {day:.0f} the outside has **{left(day, 'surface', cm, wanted, celsius):.0f} mg/kg** of nitrite left, the middle "
        f"**{left(day, 'core', cm, wanted, celsius):.0f} mg/kg**. Half of what is there is gone every {half_life(celsius):.0f} days."
    )
    lines = [
        (words, times[1:] / DAY, 1e6 * history.at(place, FREE, times)[1:])
        for words, place in (("outside", "surface"), ("middle", "core"))
    ]
    marks = [("x", day, f"day {day:.0f}"), ("y", colour(), "pink from here")]
    return Seen(
        warned(said, in_brine(cm, wanted, celsius, day)),
        curves(said, "days since the start", "nitrite that is left, mg/kg", lines, marks),
    )


def _mix(random: Random) -> Values:
    meat = random.choice((2.0, 3.0, 4.0))
    return {
        "meat": meat,
        "water": meat * random.choice((0.5, 1.5)),
        "wanted": random.choice((100.0, 120.0, 150.0)),
        "label": random.choice((5.0, 6.25)),
    }


def _grams(values: Values) -> float:
    return 1000 * weighed(values["wanted"], values["label"], values["meat"], values["water"], salt=3).cure_mix


def _rubbed(random: Random) -> Values:
    return {
        "meat": random.choice((1.5, 2.0, 3.0)),
        "grams": random.choice((2.5, 3.0, 4.0)),
        "label": random.choice((5.0, 6.25)),
    }


def _counted(values: Values) -> float:
    pure = values["grams"] * values["label"] / 100
    return 1e6 * ingoing("dry", nitrite=pure, green=1000 * values["meat"])


def _fades(random: Random) -> Values:
    celsius = random.choice((2.0, 3.0, 4.0))
    return {
        "celsius": celsius,
        "half": half_life(celsius),
        "begin": random.choice((60.0, 80.0, 100.0, 120.0)),
        "days": random.choice((2, 3)) * round(half_life(celsius)),
    }


def _after(values: Values) -> float:
    return left_after(values["begin"], values["days"], values["celsius"])


def _tenfold() -> Bath:
    made = weighed()
    return made.bath().but(nitrite=f"{1000 * TENFOLD * made.nitrite:g} g")


def _counted_tenfold() -> float:
    """mg/kg of meat and water of ten times the mix."""
    made = weighed()
    return 1e6 * TENFOLD * made.nitrite / (MEAT + MEAT)


def _go_on() -> Followed:
    allowed = limit("US", "max_ingoing")
    said = (
        f"Now {_counted_tenfold():.0f} mg are put in for each kg. The rule allows {allowed:.0f}. That can poison whoever eats it, and a child first. No "
        "check passes it."
    )
    verdict = next(each for each in check_ingoing(_tenfold(), piece(CM)) if each.name == "US nitrite, most")
    return Followed(said, verdict.outcome == "pass")


def _pour_off() -> Followed:
    found = simulate(piece(CM), Brine(bath=_tenfold(), temperature=f"{FRIDGE:g} degC", lasts="1 d", lying=False))
    whole, outer = 1e6 * found.average("nitrite"), 1e6 * found.first_bite("nitrite")
    allowed = limit("US", "max_ingoing")
    said = (
        f"In one day the meat took in {whole:.0f} mg/kg on the whole, and {outer:.0f} in its outer half centimetre. The rule allows {allowed:.0f}. In a "
        "kitchen nobody can measure what a soak would leave. Throw it away."
    )
    return Followed(said, outer <= allowed)


def _begin_anew() -> Followed:
    made = weighed()
    passed = all(
        each.outcome == "pass"
        for each in check_ingoing(made.bath(), piece(CM), method="meat and water")
        if "nitrite" in each.name
    )
    said = (
        f"That costs {MEAT:.0f} kg of meat and no more. The new brine gets {1000 * made.cure_mix:.1f} g of the mix, weighed twice: {WANTED:.0f} mg in each kg. "
        "Write the label and the grams on the vessel."
    )
    return Followed(said, passed)


NITRITE = Lesson(
    name="nitrite",
    short="Nitrite",
    title="Nitrite: its measure, its limits, its fading",
    opening=(
        "Nitrite keeps meat pink and holds back botulism. Very little does that, and too much poisons. So it is weighed, and never guessed. And it "
        "does not stay: it fades."
    ),
    words=(
        "to cure",
        "brine",
        "nitrite",
        "curing mix",
        "mg/kg",
        "percent",
        "middle",
        "botulism",
        "soak",
        "on the whole",
    ),
    guess=Guess(
        "You have {meat:.0f} kg of meat and {meat:.0f} kg of water. You want {wanted:.0f} mg of nitrite in each kg of both. The bag of curing mix says {label:g} % "
        "nitrite. How many grams of the mix do you need?",
        lambda: {"meat": MEAT, "wanted": WANTED, "label": LABEL},
        Dial("grams", "My guess", "g", 0, 100, 0.5, 100),
        lambda: 1000 * weighed().cure_mix,
        "You guessed **{guess:.1f} g**. It takes **{answer:.1f} g** of the mix.",
    ),
    live=Live(
        "Watch the outside fall and the middle rise, then fade. Make the piece thicker. Does the middle ever get its share?",
        (
            Dial("thick", "Thickness", "cm", 2, 10, 1, CM),
            Dial("wanted", "Nitrite put in", "mg/kg", 60, 200, 10, WANTED),
            Dial("fridge", "Fridge", "°C", 1, 4, 1, FRIDGE),
            Dial("day", "Day", "", 1, SHOWN, 1, 7),
        ),
        _draw,
    ),
    claims=(
        Claim(
            "It is very little. {wanted:.0f} mg in each of {both:.0f} kg is {grams:.2f} g of pure nitrite. A kitchen scale cannot weigh that, so it is sold mixed "
            "with salt.",
            lambda: {"wanted": WANTED, "both": 2 * MEAT, "grams": 1000 * weighed().nitrite},
            lambda found: found["grams"] < 1,
        ),
        Claim(
            "Mixes differ. The same brine takes {strong:.1f} g of a mix with {label:g} %, but {weak:.0f} g of one with {other:g} %. Read the label each time.",
            lambda: {
                "strong": 1000 * weighed().cure_mix,
                "label": LABEL,
                "weak": 1000 * weighed(label=WEAK).cure_mix,
                "other": WEAK,
            },
            lambda found: found["weak"] > 9 * found["strong"],
        ),
        Claim(
            "There are limits. A rule of the United States asks for {least:.0f} to {high:.0f} mg/kg in a brine. Britain allows {britain:.0f}. Look up yours: it "
            "goes first.",
            lambda: {
                "least": limit("US", "min_ingoing"),
                "high": limit("US", "max_ingoing"),
                "britain": limit("GB", "max_ingoing"),
            },
            lambda found: found["least"] < found["high"] and found["britain"] < found["high"],
        ),
        Claim(
            "Ten times too much mix is {much:.0f} mg/kg, {times:.0f} times what the rule allows. A slip of the point is enough.",
            lambda: {"much": _counted_tenfold(), "times": _counted_tenfold() / limit("US", "max_ingoing")},
            lambda found: found["times"] > 5,
        ),
        Claim(
            "Nitrite fades. In meat at {fridge:.0f} °C half of it is gone after about {half:.0f} days, in warmer meat sooner. Nobody knows that well: it may be "
            "{quick:.0f} days or {slow:.0f}.",
            lambda: _fading(),
            lambda found: (
                found["quick"] < 0.5 * found["half"]
                and found["slow"] > 2 * found["half"]
                and half_life(4) < found["half"]
            ),
        ),
        Claim(
            "So it may never fill a thick piece. At most {much:.0f} mg/kg come to the middle of {thin:.0f} cm, and {few:.0f} to that of 10 cm. It fades "
            "while it moves.",
            lambda: {"thin": 3.0, "much": most(3.0)[0], "few": most(10.0)[0]},
            lambda found: found["few"] < 0.35 * found["much"],
        ),
        Claim(
            "Little is enough for the colour: about {pink:.0f} mg/kg. In the middle of {cm:.0f} cm that is there from day {first:.0f} on. Until then only cold protects it.",
            lambda: {
                "pink": colour(),
                "cm": CM,
                "first": in_brine(CM).first_time(f"core free nitrite >= {colour():g} ppm") / DAY,
            },
            lambda found: 3 < found["first"] < 15,
        ),
    ),
    questions=(
        Question(
            "You have {meat:g} kg of meat and {water:g} kg of water. You want {wanted:.0f} mg of nitrite in each kg of both. The label says {label:g} % nitrite. "
            "How many grams of the mix do you weigh?",
            "g",
            _mix,
            _grams,
            (
                Mistake(
                    lambda values, answer: answer * values["label"] / 100,
                    "That is the pure nitrite. The mix is mostly salt: divide by its share of nitrite.",
                ),
                Mistake(
                    lambda values, answer: answer * values["meat"] / (values["meat"] + values["water"]),
                    "You reckoned with the meat alone. The water holds nitrite too.",
                ),
                Mistake(
                    lambda values, answer: answer * values["water"] / (values["meat"] + values["water"]),
                    "You reckoned with the water alone. Add the meat.",
                ),
                Mistake(
                    lambda values, answer: 10 * answer,
                    "You are off by ten. Here that poisons. Reckon once more, and let somebody check it.",
                ),
                Mistake(
                    lambda values, answer: answer / 10,
                    "You are off by ten. Reckon once more, and let somebody check it.",
                ),
            ),
            "Milligrams for each kg, times all the kg, is the pure nitrite. Divide by the share on the label.",
            "The library weighs {answer:.1f} g.",
            tolerance=0.03,
        ),
        Question(
            "Somebody rubs {grams:g} g of a mix on {meat:g} kg of meat, without water. Its label says {label:g} % nitrite. How many mg of nitrite is that for each kg?",
            "mg",
            _rubbed,
            _counted,
            (
                Mistake(
                    lambda values, answer: 100 * answer / values["label"],
                    "You counted the whole mix as nitrite. Only the share on the label is.",
                ),
                Mistake(
                    lambda values, answer: answer * values["meat"], "That is for all the meat. Share it over the kg."
                ),
                Mistake(lambda values, answer: answer / 10, "You are off by ten. One gram is 1000 mg."),
                Mistake(lambda values, answer: answer * 10, "You are off by ten. One gram is 1000 mg."),
            ),
            "Take the share on the label of the grams. Make it mg, then divide by the kg of meat.",
            "The library counts {answer:.0f} mg for each kg.",
            tolerance=0.03,
        ),
        Question(
            "Meat at {celsius:.0f} °C has {begin:.0f} mg/kg of nitrite, and gets no more. Half of what is there goes every {half:.1f} days. How many mg/kg are left after "
            "{days:.0f} days?",
            "mg/kg",
            _fades,
            _after,
            (
                Mistake(
                    lambda values, answer: max(0.0, values["begin"] * (1 - values["days"] / (2 * values["half"]))),
                    "You took the same amount away each time. Half of what is left goes, so less each time.",
                ),
                Mistake(
                    lambda values, answer: max(0.0, values["begin"] * (1 - round(values["days"] / values["half"]) / 2)),
                    "You took the same amount away each time. Half of what is left goes, so less each time.",
                ),
                Mistake(
                    lambda values, answer: values["begin"] / 2,
                    "That is after the first {half:.0f} days. More days have passed.",
                ),
                Mistake(lambda values, answer: values["begin"], "That is what was there at first. It fades."),
            ),
            "Halve it once for every {half:.1f} days.",
            "The library says {answer:.0f} mg/kg.",
            tolerance=0.1,
        ),
    ),
    trouble=Trouble(
        "The recipe wants {right:.1f} g of a mix with {label:g} %. An apprentice reads {wrong:.0f} g and puts that in. After one day somebody sees it in the book. "
        "What would you do now?",
        lambda: {"right": 1000 * weighed().cure_mix, "wrong": 10_000 * weighed().cure_mix, "label": LABEL},
        (
            Way("Go on. It will be cooked anyway.", _go_on),
            Way("Pour the brine away, soak the meat and use it.", _pour_off),
            Way("Throw meat and brine away, and begin anew.", _begin_anew),
        ),
    ),
    tries=Claim(
        "Weigh without the mix first. Take 1 kg of meat and 1 kg of water. Reckon how much of your mix they need at {wanted:.0f} mg/kg. With {label:g} % on the label it "
        "is {grams:.2f} g. Weigh that much table salt five times, each on a fresh paper. Write down what the scale shows. If it moves by more than {off:.1f} g, it is too "
        "coarse for the mix. That weight is for 2 kg of meat and water together, never for one slice. Your teacher weighs the mix anew for what is cured.",
        lambda: {
            "wanted": WANTED,
            "label": LABEL,
            "grams": 1000 * weighed(meat=1, water=1).cure_mix,
            "off": 50 * weighed(meat=1, water=1).cure_mix,
        },
        lambda found: 3 < found["grams"] < 5 and found["off"] < 0.06 * found["grams"],
    ),
    kept=lambda: {"brined anew": in_brine(CM, days=TO_TRY)},
    caution=NITRITE_CAUTION,
)


def _fading() -> Values:
    row = default_numbers()["nitrite.loss_multiplier"]
    half = half_life(FRIDGE)
    assert row.low is not None and row.high is not None
    return {"fridge": FRIDGE, "half": half, "quick": half / row.high, "slow": half / row.low}
