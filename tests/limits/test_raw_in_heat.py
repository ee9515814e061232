"""Meat that is still raw while something is chilled, held or cooked beside it is on the clock; cooked meat is not vouched for for ever."""

import pytest

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.limits import UNPROTECTED, WARM, check_all
from curelab.limits.exposure import exposures
from curelab.recipe.stages import BagCook, Chill, Hold, Simmer, Smoke

FLAT = Piece(name="flat", thickness="3 cm", weight="1.2 kg")
OTHER = Piece(name="other", thickness="3 cm", weight="1.2 kg")
CURE = Brine(bath=Bath(water="2 kg", salt="70 g", nitrite="0.4 g"), temperature="3 degC", lasts="8 d")
COOK = Simmer(water="4 kg", temperature="85 degC", lasts="3 h")
COOL = Chill(medium="ice water", temperature="1 degC", lasts="2 h")


def outcomes(pieces, *stages):
    return {each.name: each for each in check_all(simulate(pieces, stages))}


@pytest.mark.parametrize(
    "warm", [Chill(medium="fridge air", temperature="25 degC", lasts="24 h"), Hold(medium="oven air", temperature="30 degC", lasts="24 h")],
    ids=["chill", "hold"],
)  # fmt: skip
def test_a_warm_day_before_the_cook_counts_whatever_the_stage_is_called(warm):
    found = outcomes(FLAT, CURE, warm, COOK, COOL)
    assert "fail" in (found[UNPROTECTED].outcome, found[WARM].outcome)
    calm = outcomes(FLAT, CURE, Rest(temperature="3 degC", lasts="24 h"), COOK, COOL)
    assert calm[UNPROTECTED].outcome == calm[WARM].outcome == "pass"


def test_a_day_in_a_chill_is_a_day_in_a_fridge_as_cold():
    (chilled,) = exposures(simulate(FLAT, [CURE, Chill(medium="fridge air", temperature="4 degC", lasts="10 d")]))
    (rested,) = exposures(simulate(FLAT, [CURE, Rest(temperature="4 degC", lasts="10 d")]))
    assert chilled.cold == pytest.approx(rested.cold, rel=0.05)


def test_a_cool_smoke_is_on_the_clock_as_a_fridge_would_be():
    """Below 10 degC no come-up counts, so the clocks of raw meat do."""
    smoke = Smoke(temperature="9 degC", humidity="90 %", lasts="6 d")
    (smoked,), (rested,) = (
        exposures(simulate(FLAT, [CURE, each, COOK])) for each in (smoke, Rest(temperature="9 degC", lasts="6 d"))
    )
    assert smoked.warm == pytest.approx(rested.warm, rel=0.3) and smoked.warm > 1


def test_a_piece_that_waits_for_another_is_on_the_clock_and_a_cooked_one_is_not():
    waits = Chill(medium="fridge air", temperature="3 degC", lasts="40 d", pieces=("flat",))
    cook = BagCook(temperature="75 degC", lasts="3 h", pieces=("flat",))
    flat, other = exposures(simulate((FLAT, OTHER), [CURE, cook, waits]))
    alone, _ = exposures(simulate((FLAT, OTHER), [CURE]))
    assert flat.cold == pytest.approx(alone.cold, rel=1e-6) and other.cold > 2 * flat.cold


def test_cooked_meat_that_is_kept_long_is_asked_whatever_the_stage_is_called():
    for kept in (
        Chill(medium="fridge air", temperature="3 degC", lasts="40 d"),
        Rest(temperature="3 degC", lasts="40 d"),
    ):
        assert outcomes(FLAT, CURE, COOK, COOL, kept)["kept after cooking"].outcome == "unknown"
    assert "kept after cooking" not in outcomes(FLAT, CURE, COOK, COOL)


def test_a_cook_that_ends_too_cool_is_not_told_a_number_to_stop_at():
    found = outcomes(FLAT, CURE, Simmer(water="4 kg", temperature="52 degC", lasts="3 h"), COOL)["lethality, 6.5 log"]
    assert (
        found.outcome == "fail"
        and "Not cooked: do not eat it so." in found.sentence
        and "alone is not enough" in found.sentence
    )
