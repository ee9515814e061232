"""Questions asked backwards, held against closed forms and against the forward run."""

import math

import numpy as np
import pytest

from curelab import Bath, Brine, Criterion, InputError, Piece, Soak, Water, simulate
from curelab.forecast import corners, in_corners, least_water, reached, soak_needed, strength_needed, time_to, window
from curelab.forecast.practice import held_against_model
from curelab.matter.solutes import water_diffusivity
from curelab.sources import default_numbers

DAY = 86400.0
FLAT = Piece(name="flat", thickness="4 cm", weight="2 kg", tissue="lean beef")
POINT = Piece(name="point", thickness="8 cm", weight="2 kg", tissue="lean beef")


def brine(salt="90 g", water="2 kg", lasts="10 d", **more):
    return Brine(
        bath=Bath(water=water, salt=salt, nitrite="0.4 g"), temperature="3 degC", lasts=lasts, lying=False, **more
    )


def test_time_to_the_core_is_that_of_the_plane_sheet():
    """Constant surface: 1 - (4/pi) (1 - begun) exp(-pi^2 Fo/4) = 0.9 (Crank, first term; from memory, checked in tests/exact). It begins with
    the salt of raw meat: 60 mg of sodium in 100 g, 73.43 g of it water (USDA), against 45 g per kg of water in the brine.
    """
    endless = brine(running=True, stirred=True)
    answer = time_to("core salt >= 90 % of equilibrium", FLAT, endless)
    begun = 60e-5 * 58.443 / 22.99 / 0.7343 / 0.045
    fourier = 4 / math.pi**2 * math.log(40 / math.pi * (1 - begun))
    pace = 0.33 * water_diffusivity(276.15)
    assert answer.value == pytest.approx(fourier * 0.02**2 / pace, rel=0.005)  # the stirred film adds some 0.3 %
    low, high = default_numbers()["obstruction.lean"].low, default_numbers()["obstruction.lean"].high
    assert answer.low == pytest.approx(answer.value * 0.33 / high, rel=0.01)
    assert answer.high == pytest.approx(answer.value * 0.33 / low, rel=0.01)


def test_twice_as_thick_takes_four_times_as_long():
    endless = brine(running=True, stirred=True)
    ask = "core salt >= 90 % of equilibrium"
    ratio = time_to(ask, POINT, endless).value / time_to(ask, FLAT, endless).value
    assert ratio == pytest.approx(4.0, rel=0.005)


def test_the_answer_holds_in_the_forward_run():
    answer = time_to("core salt >= 1.2 %", FLAT, brine())
    assert simulate(FLAT, brine(lasts=answer.value)).core("salt") == pytest.approx(0.012, rel=1e-5)
    assert simulate(FLAT, brine(lasts=answer.value - 60)).core("salt") < 0.012


def test_until_stops_where_time_to_says():
    wanted = "average salt >= 1 %"
    stage = brine(lasts=None, until=wanted, at_most="40 d")
    assert simulate(FLAT, stage).length == pytest.approx(time_to(wanted, FLAT, brine()).value, abs=2.0)


def test_an_unreachable_target_says_what_is_reachable():
    answer = time_to("core salt >= 6 %", FLAT, brine())
    assert not answer.reached and "The most that flat comes to" in answer.sentence
    history = simulate(FLAT, brine(lasts="400 d"))
    assert f"{100 * history.core('salt'):.2f}" in answer.sentence


def test_strength_needed_brings_just_that():
    answer = strength_needed("core salt >= 1.5 %", FLAT, brine())
    grams = answer.value / (1 - answer.value) * 2.0
    assert simulate(FLAT, brine(salt=grams)).core("salt") == pytest.approx(0.015, rel=1e-4)
    hopeless = strength_needed("core salt >= 1.5 %", POINT, brine(lasts="1 d"))
    assert hopeless.value is None and "Even a saturated one" in hopeless.sentence
    with pytest.raises(InputError, match="does not ask for an amount of salt"):
        strength_needed("average salt <= 2 %", FLAT, brine())


def test_the_window_opens_and_closes_where_its_criteria_do():
    strong = brine(salt="300 g", water="4 kg")
    found = window(FLAT, strong)
    assert not found.empty
    long = simulate(FLAT, strong.but(lasts="60 d"))
    assert long.core("salt", found.opens) == pytest.approx(0.015, rel=1e-4)
    assert long.average("salt", found.closes) == pytest.approx(0.03, rel=1e-4)
    assert found.fast[0] < found.opens < found.slow[0]


def test_the_window_of_a_thick_piece_is_empty_and_says_so():
    strong = brine(salt="600 g", water="4 kg")
    found = window(POINT, strong)
    assert found.empty and "window is empty" in found.sentence


def test_the_window_of_an_equilibrium_cure_never_closes():
    found = window(FLAT, brine(salt="85 g"))
    assert math.isinf(found.closes) and "gets no saltier" in found.sentence and "spoil" in found.sentence


def test_of_two_pieces_the_window_names_the_late_and_the_early_one():
    found = window([FLAT, POINT], brine(salt="700 g", water="4 kg"))
    assert "the middle of the point" in found.sentence and "the flat" in found.sentence


CURED = simulate(FLAT, brine(salt="130 g", lasts="20 d"))


def test_the_soak_answer_holds_in_the_forward_run():
    answer, plans = soak_needed("average salt <= 2 %", CURED, water="4 kg", at_most="72 h")
    chosen = next(plan for plan in plans if plan.lasts is not None and plan.lasts == answer.value)
    waters = [Water(amount="4 kg", lasts=chosen.lasts / chosen.waters, temperature="4 degC")] * chosen.waters
    again = simulate(FLAT, [*CURED.stages, Soak(waters=waters)])
    assert again.average("salt") == pytest.approx(0.020, rel=1e-3)
    assert answer.low < answer.high and answer.low <= answer.value <= answer.high


def test_an_unreachable_soak_agrees_with_the_closed_mass_balance():
    """Given endless time, n waters of W kg leave (M / (M + W))^n of the salt, M the water of the meat."""
    held = FLAT.water()
    thin = Piece(name="slice", thickness="1 cm", weight="2 kg", tissue="lean beef")
    cured = simulate(thin, brine(salt="300 g", lasts="20 d"))
    answer, plans = soak_needed("average salt <= 0.3 %", cured, water="2 kg", changes=(1, 2, 3), at_most="20 d")
    assert not answer.reached
    start = cured.amount("salt")
    for plan in plans:
        left = start * (held / (held + 2.0)) ** plan.waters
        assert plan.best == pytest.approx(
            left / (left + 2.0), rel=0.15
        )  # the weight gained in water enters the percentage


def test_slow_meat_that_needs_less_soak_is_told_why():
    """In a short strong brine slow meat takes less salt; in one that ends by itself it has as much, and takes longer to lose it."""
    strong = simulate(FLAT, brine(salt="700 g", water="4 kg", lasts="1 d"))
    sentence = soak_needed("average salt <= 2.2 %", strong, water="8 kg", at_most="60 d")[0].sentence
    assert sentence.endswith("Slow meat took less salt, so it has less to lose.")
    even = soak_needed("average salt <= 2 %", CURED, water="4 kg", at_most="72 h")[0].sentence
    assert "Slow meat took less" not in even


def test_no_soak_where_none_is_needed():
    answer, plans = soak_needed("average salt <= 20 %", CURED, water="4 kg")
    assert answer.value == 0.0 and plans == () and "No soak is needed" in answer.sentence


def test_more_changes_use_less_water_and_the_plan_holds():
    sentence, plans = least_water("average salt <= 1.9 %", CURED, within="72 h", most_changes=4, cover=0.05)
    totals = [plan.water for plan in plans]
    assert totals == sorted(totals, reverse=True)
    last = plans[-1]
    waters = [Water(amount=last.each, lasts=last.lasts / last.waters, temperature="4 degC")] * last.waters
    assert simulate(FLAT, [*CURED.stages, Soak(waters=waters)]).average("salt") == pytest.approx(0.019, rel=1e-3)
    assert "waters" in sentence
    hopeless, none = least_water("core salt <= 0.5 %", CURED, within="1 h")
    assert none == () and "needs time" in hopeless


def test_no_water_is_so_little_that_it_cannot_cover_the_meat_and_only_what_was_soaked_is_soaked_more():
    strong = simulate(FLAT, brine(salt="400 g", water="4 kg", lasts="2 d"))
    for cover, least in ((None, FLAT.weight), (3.0, 3.0)):
        said, plans = least_water("average salt <= 2.2 %", strong, within="48 h", cover=cover)
        assert plans and min(plan.each for plan in plans) >= least * (1 - 1e-9)
        assert said.endswith("Less would not cover the meat.") == (min(plan.each for plan in plans) < 1.001 * least)
    once = simulate(FLAT, [*strong.stages, Soak(waters=[Water(amount="4 kg", lasts="1 h", temperature="4 degC")])])
    first, then = (soak_needed("average salt <= 2 %", each, water="4 kg")[0].sentence for each in (strong, once))
    assert " more, in" in then and " more, in" not in first


def test_first_time_in_any_piece_is_the_earliest_and_in_every_piece_the_latest():
    history = simulate([FLAT, POINT], brine(salt="300 g", lasts="60 d"))
    wanted = Criterion.parse("core salt >= 1 %")
    one, two = (history.first_time(wanted, where=number) for number in (0, 1))
    assert history.first_time(wanted, where="any") == pytest.approx(min(one, two), abs=2)
    assert history.first_time(wanted) == pytest.approx(max(one, two), abs=2)
    assert one < 0.5 * two


def test_three_corners_at_once_are_three_runs():
    """Usual, slow and fast meat as three draws of one history, against `simulate` with the numbers of each."""
    stages = (brine(turn_every=None), Soak(waters=[Water(amount="3 kg", lasts="9 h", temperature="4 degC")]))
    many = in_corners([FLAT, POINT], stages)
    times = [3 * DAY, 10 * DAY, many.length[0]]
    for number, numbers in enumerate((default_numbers(), *corners())):
        alone = simulate([FLAT, POINT], stages, numbers=numbers)
        for piece in ("flat", "point"):
            for place in ("core", "average", "surface"):
                for quantity in ("salt", "free nitrite"):
                    expected = alone.at(place, quantity, times, piece)
                    found = many.at(place, quantity, times, piece)[number]
                    assert found == pytest.approx(expected, rel=1e-8, abs=1e-12 * alone.bath(quantity, 0.0))


def test_corners_are_the_ends_of_the_published_ranges():
    slow, fast = corners()
    base = default_numbers()
    assert slow["obstruction.lean"].value == base["obstruction.lean"].low
    assert fast["obstruction.lean"].value == base["obstruction.lean"].high
    assert slow["nitrite.loss_multiplier"].value > fast["nitrite.loss_multiplier"].value


def test_what_five_ten_and_thirty_days_reach_in_a_flat_and_a_point():
    """Common practice, no source: a fridge brine for 5 to 10 days, turned every second day; traditional makers give a month.

    Outside check: Crank's plane sheet for a constant surface bounds the core from below in a finite bath of falling strength, since
    a falling bath is relatively sooner at its end value.
    """
    for piece, half in ((FLAT, 0.02), (POINT, 0.04)):
        rows = reached(piece, brine(turn_every=None), [5 * DAY, 10 * DAY, 30 * DAY])
        for row in rows:
            fourier = 0.33 * water_diffusivity(276.15) * row.time / half**2
            odd = 2 * np.arange(60) + 1
            sheet = 1 - np.sum(4 / np.pi * (-1.0) ** np.arange(60) / odd * np.exp(-(odd**2) * np.pi**2 * fourier / 4))
            assert row.value > sheet - 0.03
            assert row.low <= row.value <= row.high
    flat, point = (reached(piece, brine(), [10 * DAY])[0] for piece in (FLAT, POINT))
    assert flat.value > 0.6 and point.value < 0.35


@pytest.mark.parametrize("held", held_against_model("FB2265"), ids=lambda held: held.row["rule_id"])
def test_federal_sweet_pickle_days_lie_in_a_plausible_band(held):
    """USDA Farmers' Bulletin 2265, curing chapter (days seen; thickness assumed, judgement): the whole has its salt within a fourth of the
    printed days and three times them for every published pace, and the middle later."""
    assert held.days / 4 < held.pull.low / DAY < held.pull.value / DAY < held.pull.high / DAY < 3 * held.days
    assert held.pull.value < held.core.value
