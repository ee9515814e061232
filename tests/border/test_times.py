"""Times in whatever way an engineer has them, read by one converter at every border; and one record where a list is expected."""

from __future__ import annotations

import warnings
from datetime import timedelta

import numpy as np
import pandas
import pint
import pytest

from curelab import Bath, Brine, InputError, Piece, Soak, Water, extend, simulate
from curelab.batch import Batch
from curelab.forecast import reached, time_to, window
from curelab.learn.fit import fit
from curelab.learn.readings import Measurement, measure
from curelab.limits import check_all
from curelab.spread import spread
from curelab.units import read, seconds

DAY = 86400.0
UNIT = pint.get_application_registry()
PIECE = Piece(thickness="4 cm", weight="1 kg")
CURE = Brine(bath=Bath(water="1 kg", salt="45 g"), temperature="3 degC", lasts="7 d", lying=False)
HISTORY = simulate(PIECE, CURE, cells=12)
MANY = spread(PIECE, CURE, count=8)
FIVE = ["5 d", "120 h", timedelta(days=5), UNIT.Quantity(5, "day"), UNIT.Quantity(7200, "min"), np.timedelta64(5, "D"), 432000, 432000.0,
        np.float64(432000), np.array(432000.0)]  # fmt: skip


@pytest.mark.parametrize("given", FIVE, ids=repr)
def test_five_days_are_five_days(given):
    assert seconds(given) == 5 * DAY
    assert np.ndim(seconds(given)) == 0
    assert HISTORY.core("salt", given) == HISTORY.core("salt", 5 * DAY)
    assert MANY.at("core", "salt", given).middle == MANY.at("core", "salt", 5 * DAY).middle


@pytest.mark.parametrize(
    "given",
    [
        ["1 d", "2 d"], [timedelta(days=1), "48 h"], np.array([1, 2]) * UNIT.day, np.array([1, 2], "m8[D]"), [86400, 172800.0],
        pandas.to_timedelta([1, 2], unit="D"), pandas.Series([86400.0, 172800.0]), (UNIT.Quantity(1, "day"), 172800),
    ],
    ids=repr,
)  # fmt: skip
def test_arrays_and_lists_of_them(given):
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # pint warns where a unit is lost
        assert seconds(given).tolist() == [DAY, 2 * DAY]
        assert HISTORY.average("salt", given).tolist() == HISTORY.average("salt", [DAY, 2 * DAY]).tolist()


def test_an_array_of_floats_is_passed_on_as_it_is():
    given = np.linspace(0, 1, 1000)
    assert seconds(given) is given and seconds(None) is None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("5", '"5" needs a unit, like "10 d"'), ("5 kg", '"kg" does not measure a time'), (True, "True is not a time"),
        (UNIT.Quantity(5, "kg"), "5 kilogram is not a time"), (["1 d", "2 kg"], '"kg" does not measure a time'), (object(), "is not a time"),
        ({"a": 1}, "is not a time"),
    ],
)  # fmt: skip
def test_what_is_no_time_gets_one_sentence(given, said):
    with pytest.raises(ValueError, match=said):
        seconds(given)
    with pytest.raises(ValueError, match=said):
        HISTORY.core("salt", given)


def test_every_reading_takes_a_text():
    for reading in (HISTORY.bath, HISTORY.first_bite, HISTORY.amount, HISTORY.surface):
        assert reading("salt", "5 d") == reading("salt", 5 * DAY)
    assert HISTORY.weight("5 d") == HISTORY.weight(5 * DAY) and HISTORY.temperature("5 d") == 276.15
    assert HISTORY.margin("core salt >= 1 %", "5 d") == HISTORY.margin("core salt >= 1 %", 5 * DAY)
    assert (HISTORY.profile("salt", "5 d").values == HISTORY.profile("salt", 5 * DAY).values).all()
    assert (HISTORY.picture("salt", ["5 d"]) == HISTORY.picture("salt", [5 * DAY])).all()
    assert (HISTORY.lean_profile("salt", "5 d") == HISTORY.lean_profile("salt", 5 * DAY)).all()
    assert HISTORY.ran_at("5 d").stage == 0
    assert HISTORY.to_frame(["5 d"]).equals(HISTORY.to_frame([5 * DAY]))
    assert HISTORY.profiles_frame("5 d").equals(HISTORY.profiles_frame(5 * DAY))
    assert (
        HISTORY.first_bite("salt", depth="8 mm") == HISTORY.first_bite("salt", depth=0.008) < HISTORY.first_bite("salt")
    )


def test_every_reading_of_a_spread_does():
    assert (MANY.weight(["5 d"]).low == MANY.weight([5 * DAY]).low).all()
    assert (MANY.bath("salt", ["5 d"]).high == MANY.bath("salt", [5 * DAY]).high).all()
    assert (MANY.profile("salt", ["5 d"]).middle == MANY.profile("salt", [5 * DAY]).middle).all()
    assert (MANY.across("salt", "5 d").middle == MANY.across("salt", 5 * DAY).middle).all()
    assert MANY.to_frame(["5 d"]).equals(MANY.to_frame([5 * DAY]))
    assert MANY.chance("core salt >= 1 %", "5 d") == MANY.chance("core salt >= 1 %", 5 * DAY)
    times = MANY.time_to("core salt >= 60 % of equilibrium", at_most="20 d")
    assert (times.values == MANY.time_to("core salt >= 60 % of equilibrium", at_most=20 * DAY).values).all()
    assert times.chance("4 d") == times.chance(4 * DAY)
    assert MANY.window(at_most="20 d").open_at("10 d") == MANY.window(at_most=20 * DAY).open_at(10 * DAY)


def test_questions_do():
    asked = "core salt >= 90 % of equilibrium"
    assert time_to(asked, PIECE, CURE, at_most="60 d") == time_to(asked, PIECE, CURE, at_most=timedelta(days=60))
    assert "not within 6 h" in time_to(asked, PIECE, CURE.lasting(7200), at_most=6 * UNIT.hour).sentence
    assert window(PIECE, CURE, at_most="60 d") == window(PIECE, CURE, at_most=60 * DAY)
    assert reached(PIECE, CURE, ["3 d", timedelta(days=5)]) == reached(PIECE, CURE, [3 * DAY, 5 * DAY])
    assert Measurement("core salt", "5 d", 0.01, 0.001).at == 5 * DAY


def test_records_take_quantities_of_pint_and_timedelta():
    assert Piece(thickness=UNIT.Quantity(4, "cm"), weight=UNIT.Quantity(1, "kg")) == PIECE
    assert CURE.but(lasts=timedelta(days=7), temperature=UNIT.Quantity(276.15, "K")) == CURE
    assert read(UNIT.Quantity(4.5, "percent"), "fraction") == pytest.approx(0.045, rel=1e-12)
    with pytest.raises(InputError, match="thickness: 4 kilogram is not a length"):
        Piece(thickness=UNIT.Quantity(4, "kg"), weight="1 kg")


def test_one_brine_where_a_list_is_expected():
    water = Water(amount="3 kg", lasts="6 h", temperature="4 degC")
    assert Soak(waters=water) == Soak(waters=[water])
    one = Batch(schema=1, name="one", pieces=PIECE, stages=CURE)
    assert one == Batch(schema=1, name="one", pieces=[PIECE], stages=[CURE])
    assert extend(HISTORY, Soak(waters=water)).length == 7 * DAY + 21600
    reading = Measurement("core salt", "5 d", 0.01, 0.001)
    assert fit(PIECE, CURE, [reading])["obstruction.lean"] == fit([PIECE], [CURE], [reading])["obstruction.lean"]
    assert measure(HISTORY, reading) == HISTORY.core("salt", 5 * DAY)
    assert check_all(simulate(PIECE, CURE)) == check_all(simulate([PIECE], [CURE]))
