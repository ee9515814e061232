"""How forgiving a cure is, against histories read one by one."""

import numpy as np
import pytest

from curelab import Bath, Brine, Piece
from curelab.show.answer import TOO_WARM, how_forgiving, slowest_spot
from curelab.show.how_often import of_ten
from curelab.sources import default_numbers
from curelab.spread import spread
from curelab.spread.forgiving import forgiving, taste_around
from curelab.units import DAY

FLAT = Piece(name="flat", thickness="5 cm", weight="2 kg")
CALM = Brine(
    bath=Bath(water="2 kg", salt="80 g", nitrite="0.4 g"), temperature="3 degC", lasts="60 d", turn_every="2 d"
)
HARD = CALM.but(bath=Bath(water="4 kg", salt="900 g", nitrite="0.8 g"))


@pytest.fixture(scope="module")
def both():
    many = [spread(FLAT, cure, count=128) for cure in (CALM, HARD)]
    taste = taste_around(many[0].usual.resting("salt", 0), default_numbers())
    return many, taste, [forgiving(each, *taste) for each in many]


def test_the_taste_is_as_wide_as_the_usual_one(both):
    _, (low, high), _ = both
    numbers = default_numbers()
    assert high / low == pytest.approx(numbers.si("taste.normal_high") / numbers.si("taste.normal_low"), rel=1e-12)


def test_slope_days_and_chances_are_those_of_the_draws(both):
    many, (low, high), found = both
    for each, kind in zip(many, found, strict=True):
        day = [each.at("average", "salt", [kind.out + step]).middle[0] for step in (-0.02 * DAY, 0.02 * DAY)]
        assert kind.slope == pytest.approx((day[1] - day[0]) / (0.04 * DAY), rel=0.15, abs=3e-10)
        draws = each.case.solve(each.draws.columns).average("salt", [kind.out])[:, 0]
        assert kind.chance == pytest.approx(np.mean((draws >= low) & (draws <= high)), abs=0.02)
        assert kind.lands(kind.out) == pytest.approx(kind.chance, abs=1e-9)
        for when in (kind.out - kind.early, kind.out + kind.late):
            if np.isfinite(when) and when > 0:  # at the ends the middle draw stands on an end of the taste
                middle = each.at("average", "salt", [when]).middle[0]
                assert min(abs(middle - low), abs(middle - high)) < 0.03 * low


def test_an_equilibrium_brine_forgives_and_a_strong_one_does_not(both):
    _, _, (calm, hard) = both
    assert np.isinf(calm.late) and calm.slope * DAY < 5e-4 and calm.chance > 0.95 and calm.early > 5 * DAY
    assert hard.late < 2 * DAY and hard.slope * DAY > 2e-3 and hard.chance < calm.chance
    assert hard.known is not None and hard.known > hard.chance
    assert calm.lands(30 * DAY) > 0.9 and hard.lands(30 * DAY) == 0.0
    said = how_forgiving(hard, 30 * DAY)
    assert (
        "On day 30, as planned, it is right in no batch." in said
        and of_ten(hard.chance) in said
        and "adds about nothing" not in said
    )


def test_no_day_is_called_sure_that_the_answer_calls_too_late(both):
    """A brine so warm that no cure helps: the answer says so, and nothing beside it says how many days late are forgiven."""
    _, taste, _ = both
    for kelvin, told in (("3 degC", True), ("12 degC", False)):
        many = spread(FLAT.but(thickness="2 cm"), HARD.but(temperature=kelvin), count=32)
        ready = many.ready(0, at_most="10 d")[0]
        said = slowest_spot(ready, default_numbers())
        assert (said == TOO_WARM) == (not told)
        assert bool(how_forgiving(forgiving(many, *taste), 2 * DAY, ready)) == told
