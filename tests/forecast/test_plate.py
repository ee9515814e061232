"""Questions asked backwards from the plate: each answer is put back into the batch and must bring what was asked for."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from pytest import approx

from curelab import Bath, Brine, Piece, Soak, Water, simulate
from curelab.fields import InputError
from curelab.forecast import lead, portion_that_cools, simmer_water_for_the_plate, slice_of, soak_for_the_plate, time_to
from curelab.limits import check_cooked
from curelab.matter import taste
from curelab.proof.meat import UNSALTED
from curelab.recipe.stages import BagCook, Chill, Hold, Simmer
from curelab.sources import default_numbers

FLAT = Piece(name="flat", thickness="4 cm", weight="1.6 kg", tissue="brisket flat")
POINT = Piece(name="point", thickness="8 cm", weight="2 kg", tissue="brisket point")
CURE = Brine(bath=Bath(water="4 kg", salt="250 g", nitrite="1.2 g"), temperature="3 degC", lasts="14 d", lying=False)
SIMMER = Simmer(water="6 kg", temperature="88 degC", until="core temperature >= 85 degC", at_most="12 h")
BAG = BagCook(temperature="75 degC", lasts="8 h")
ICE = Chill(medium="ice water", temperature="1 degC", until="core temperature <= 4 degC", at_most="24 h")
FRIDGE = Chill(medium="fridge air", temperature="2 degC", until="core temperature <= 4 degC", at_most="60 h")


# -- the slice -------------------------------------------------------------------------------------------------------------------------


def test_a_slice_by_hand():
    history = simulate(FLAT, [CURE, SIMMER, ICE])
    cut = slice_of(history, "flat", price=12.0)
    assert cut.salt == approx(history.average("salt", None, "flat")) and cut.kept == approx(history.weight() / 1.6)
    assert cut.cost == approx(12.0 / cut.kept) and cut.saltiness == taste.saltiness(cut.salt)
    assert min(cut.across) < cut.salt < max(cut.across) and np.mean(cut.across) == approx(cut.salt, rel=0.02)
    # Sodium is 0.39337 of the salt (Salt Institute), and the salt of the slice counts the meat's own.
    before = history.weight(history.begin(1)) / 1.6
    assert cut.sodium == approx(0.39337 * cut.salt, rel=1e-4)
    bare = slice_of(simulate(FLAT, [CURE, SIMMER, ICE], numbers=default_numbers().with_values(UNSALTED)), "flat")
    assert 0.1 * 60e-5 < cut.sodium - bare.sodium < 60e-5 / cut.kept  # some of 60 mg in 100 g stayed in brine and pot
    # The band is that of the juice: 25 % to either side of what the pot took.
    assert cut.kept_high - cut.kept == approx(0.25 * (before - cut.kept)) == approx(cut.kept - cut.kept_low)
    for words in ("% salt", "mg of sodium in 100 g", "of the raw weight is left", "A kilogram costs"):
        assert words in cut.sentence
    assert "Ruusunen" in str(cut) and len(cut.rows()) == len(cut.across)
    assert slice_of(history).cost is None
    # A pound is 0.45359237 kg by definition.
    assert f"A pound costs {0.45359237 * cut.cost:.2f}" in cut.told("us") and "kilogram" not in cut.told("us")
    capped = replace(
        cut, salt=0.018, across=(0.019, 0.0192)
    )  # the cap and the rims hold less than the cut in the middle
    assert "1.8 % salt (1.8 to 1.9 across" in capped.sentence


def test_a_slice_of_a_raw_cure_has_no_band():
    cut = slice_of(simulate(FLAT, CURE))
    assert cut.kept_low == cut.kept == cut.kept_high and cut.kept > 1


@pytest.mark.parametrize("price", [-1.0, float("nan"), float("inf")])
def test_a_price_is_a_price(price):
    with pytest.raises(InputError, match="no price of a kilogram"):
        slice_of(simulate(FLAT, CURE), price=price)


def test_common_practice_in_numbers():
    """Common practice, no source: simmering takes salt out, bag cooking hardly does. Kept weight against braised yields of 62 to 81 % (rules.md, section 8)."""
    raw = simulate(FLAT, CURE).average("salt")
    simmered, bagged = (simulate(FLAT, [CURE, stage, ICE]) for stage in (SIMMER, BAG))
    # In a bag salt leaves with its juice only: the slice is less salty because it is drier, per water it stays as strong as it was.
    assert simmered.average("salt") < 0.85 * bagged.average("salt") < 0.85 * raw
    wet = lambda history, time=None: history.average("salt", time, basis="water phase")  # noqa: E731
    assert wet(bagged) == approx(wet(bagged, bagged.begin(1)), rel=1e-6) and wet(simmered) < 0.85 * wet(bagged)
    assert simmered.amount("salt") < bagged.amount("salt") < simulate(FLAT, CURE).amount("salt")
    assert 0.62 < slice_of(simmered).kept < 0.85


# -- salt of the plate -------------------------------------------------------------------------------------------------------------------


def test_soak_for_the_plate():
    answer = soak_for_the_plate("average salt <= 1.6 %", FLAT, [CURE, BAG, ICE], water="5 kg")
    assert answer.reached and answer.low <= answer.value <= answer.high and answer.high > 1.1 * answer.low
    soak = lambda seconds: Soak(waters=(Water(amount=5.0, lasts=seconds, temperature="4 degC"),))  # noqa: E731
    assert simulate(FLAT, [CURE, soak(answer.value), BAG, ICE]).average("salt") == approx(0.016, rel=1e-3)
    assert simulate(FLAT, [CURE, soak(0.8 * answer.value), BAG, ICE]).average("salt") > 0.016
    assert "before cooking" in answer.sentence and "1.6 % salt on the plate" in answer.sentence
    # Aiming at the raw meat would soak it too long: juice takes its salt along.
    assert simulate(FLAT, [CURE, soak(answer.value)]).average("salt") > 0.016


def test_no_soak_and_no_way():
    none = soak_for_the_plate("average salt <= 6 %", FLAT, [CURE, BAG, ICE], water="5 kg")
    assert none.value == 0.0 and none.sentence.startswith("No soak is needed")
    never = soak_for_the_plate("average salt <= 0.1 %", FLAT, [CURE, BAG], water="2 kg", at_most="3 h")
    assert not never.reached and "is the least" in never.sentence


def test_simmer_water_for_the_plate():
    answer = simmer_water_for_the_plate("average salt <= 2.0 %", FLAT, [CURE, SIMMER, ICE])
    assert answer.reached and answer.kind == "water"
    at = lambda water: simulate(FLAT, [CURE, SIMMER.but(water=water), ICE]).average("salt")  # noqa: E731
    assert at(answer.value) == approx(0.02, rel=2e-3) and at(0.7 * answer.value) > 0.02
    assert "Simmer in" in answer.sentence
    little = simmer_water_for_the_plate("average salt <= 6 %", FLAT, [CURE, SIMMER])
    assert little.value == approx(0.3 * 1.6) and "As little water as covers" in little.sentence
    never = simmer_water_for_the_plate("average salt <= 0.1 %", FLAT, [CURE, SIMMER])
    assert not never.reached and "Soak it first" in never.sentence


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: soak_for_the_plate("core salt >= 2 %", FLAT, [CURE, BAG], water="2 kg"), "average salt <= 2 %"),
        (
            lambda: soak_for_the_plate("average nitrite <= 10 ppm", FLAT, [CURE, BAG], water="2 kg"),
            "average salt <= 2 %",
        ),
        (lambda: soak_for_the_plate("average salt <= 2 %", FLAT, [CURE], water="2 kg"), "no stage cooks"),
        (lambda: simmer_water_for_the_plate("average salt <= 2 %", FLAT, [CURE, BAG]), "nothing simmers"),
        (lambda: lead(FLAT, [CURE]), "no stage cooks"),
        (lambda: lead(FLAT, [CURE, SIMMER], serve="Sunday"), "is not a date and time"),
        (lambda: lead(FLAT, [CURE, SIMMER], serve="2026-11-29"), "is not a date and time"),
        (lambda: lead(FLAT, [CURE, SIMMER.but(at_most="10 min")]), "is too short"),
        (lambda: portion_that_cools(FLAT, [CURE, SIMMER]), "no stage chills"),
    ],
)
def test_what_cannot_be_asked_is_one_sentence(ask, words):
    with pytest.raises(InputError, match=words) as caught:
        ask()
    assert len(caught.value.problems) == 1


# -- time ------------------------------------------------------------------------------------------------------------------------------


def test_time_to_a_temperature_has_the_band_of_heat():
    answer = time_to("core temperature >= 85 degC", POINT, [CURE, SIMMER.but(until=None, at_most=None, lasts="1 h")])
    history = simulate(POINT, [CURE, SIMMER])
    assert answer.value == approx(history.time_in([1]), rel=1e-3) and answer.low < answer.value < answer.high
    assert "85 °C" in answer.sentence and "heat" in answer.rests_on
    never = time_to(
        "core temperature >= 90 degC", POINT, [CURE, SIMMER.but(until=None, at_most=None, lasts="1 h")], at_most="20 h"
    )
    assert not never.reached and "no hotter" in never.sentence


def test_when_to_begin():
    stages = [CURE, SIMMER, ICE, Hold(temperature="62 degC", lasts="1 h")]
    found = lead((FLAT, POINT), stages, serve="2026-11-29 13:00")
    history = simulate((FLAT, POINT), stages)
    assert (
        found.value == approx(history.times[-1] - history.begin(1), rel=1e-3) and found.low < found.value < found.high
    )
    assert [name for name, *_ in found.parts] == ["simmer", "chill", "hold"] and found.parts[-1][1:] == approx(
        (3600, 3600, 3600)
    )
    assert found.begin == datetime(2026, 11, 29, 13) - timedelta(seconds=found.high)
    assert "To serve on Sunday 13:00, begin on" in found.sentence
    assert "before; if it is done early" in lead(POINT, [CURE, SIMMER]).sentence


def test_a_portion_that_cools():
    answer = portion_that_cools(POINT, [CURE, SIMMER, FRIDGE])
    assert answer.reached and answer.value < POINT.thickness

    def passes(thickness):
        cut = POINT.but(thickness=thickness, weight=POINT.weight * thickness / POINT.thickness)
        return any(
            v.counts_as_pass
            for v in check_cooked(simulate(cut, [CURE, SIMMER, FRIDGE]))
            if v.name.startswith("cooling, ")
        )

    assert passes(answer.value) and not passes(answer.value + 1.5e-3)
    assert "Cut point no thicker than" in answer.sentence and "licensed practice go first" in answer.sentence
    whole = portion_that_cools(FLAT, [CURE, SIMMER, ICE])
    assert whole.value == FLAT.thickness and "as thick as it is" in whole.sentence
    never = portion_that_cools(
        POINT,
        [
            CURE.but(bath=Bath(water="4 kg", salt="250 g")),
            SIMMER,
            FRIDGE.but(temperature="9 degC", until=None, at_most=None, lasts="20 h"),
        ],
    )
    assert not never.reached and "ice water" in never.sentence
