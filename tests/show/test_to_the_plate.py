"""When to begin and what comes to the plate, in two sentences; and the degrees of a US batch."""

import re
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from curelab import Bath, Brine, InputError, Piece, Soak, Water, simulate
from curelab.forecast import slice_of
from curelab.forecast.portion import alone
from curelab.forecast.serve import Lead
from curelab.limits import check_cooked
from curelab.limits.checks import check_cooked_in_all
from curelab.limits.verdict import in_degrees, in_draws
from curelab.paper.moments import serving
from curelab.recipe.cook import BagCook, Chill, Simmer
from curelab.show.dangers import failing
from curelab.show.fate import is_raw
from curelab.show.to_the_plate import begin, begin_to_cure, cautions, counted, never, on_the_plate, spent
from curelab.spread import Chance, spread
from curelab.spread.lead import lead_of

LOIN = Piece(name="loin", tissue="pork loin", thickness="5 cm", weight="1 kg")
FLAT = Piece(name="flat", tissue="brisket flat", thickness="4 cm", weight="3 kg")
CURE = Brine(bath=Bath(water="3 kg", salt="120 g", nitrite="0.6 g"), temperature="3 degC", lasts="9 d", lying=False)
POT = Simmer(water="6 kg", temperature="85 degC", until="core temperature >= 70 degC", at_most="12 h")
ICE = Chill(medium="ice water", temperature="1 degC", until="core temperature <= 4 degC", at_most="24 h")


def test_slow_meat_is_begun_for_and_the_unit_is_said_once():
    lead = Lead(39600.0, 36000.0, 43200.0, (), datetime(2026, 11, 29, 13, 0))
    assert (
        begin(lead) == "Begin on Sunday 29 November at 01:00 to serve on Sunday at 13:00: it takes 11 hours (10 to 12)."
    )
    assert spent(7200.0, 7200.0, 7200.0) == "2 hours"
    for high, hours in ((18100.0, "6 hours"), (18000.0, "5 hours"), (7300.0, "2.5 hours")):
        assert begin(Lead(7000.0, 6900.0, high, (), None)).startswith(
            f"Begin {hours} before"
        )  # never later than it takes
    assert spent(5400.0, 3600.0, 7200.0) == "90 minutes (60 minutes to 2 hours)"


def test_the_plate_names_what_is_cooked_and_nothing_else():
    history = simulate((LOIN, FLAT), [CURE, POT.but(pieces=["loin"]), ICE.but(pieces=["loin"])])
    salt = 100 * slice_of(history, "loin").salt
    assert re.fullmatch(rf"On the plate: loin [a-z ,]+, {salt:.1f} % salt\.", on_the_plate(history))
    assert on_the_plate(simulate((LOIN, FLAT), CURE)) == ""


def test_a_cook_that_never_gets_there_says_what_to_do():
    cool = simulate(LOIN, [CURE, POT.but(temperature="60 degC", at_most="3 h"), ICE])
    assert (
        never(cool) == "The middle does not come to 70 °C in 3 hours. Make it hotter, give it longer, or ask for less."
    )
    assert "158 °F" in never(cool, "us") and never(simulate(LOIN, [CURE, POT, ICE])) == ""
    warm = simulate(LOIN, [CURE, POT, ICE.but(at_most="20 min")])
    assert "Make it colder" in never(warm)


def test_meat_that_the_tables_do_not_call_cooked_is_raw():
    raw = check_cooked(simulate(LOIN, [CURE, POT.but(until="core temperature >= 52 degC"), ICE]))
    done = check_cooked(simulate(LOIN, [CURE, POT, ICE]))
    assert is_raw(raw) and not is_raw(done)
    oks = sum(each.counts_as_pass for each in done)
    assert counted(done).startswith(f"Checks of the cook and the chill: {oks} ok, ")


def test_a_pass_needs_slow_meat_too():
    usual = simulate(LOIN, [CURE, POT, ICE])
    raw = simulate(LOIN, [CURE, POT.but(until="core temperature >= 52 degC"), ICE])
    found = {each.name: each.outcome for each in check_cooked_in_all(usual, (raw, usual))}
    assert found["lethality, 7 log"] == "unknown"
    assert {each.name: each.outcome for each in check_cooked_in_all(usual, (usual, usual))}[
        "lethality, 7 log"
    ] == "pass"
    slow = next(each for each in check_cooked_in_all(usual, (raw, usual)) if each.name == "lethality, 7 log")
    assert slow.sentence.startswith("In meat that heats and cools slowly: ") and "nitrite" not in slow.sentence


def test_what_one_table_calls_raw_the_other_does_not_leave_open():
    raw = {
        each.name: each
        for each in check_cooked(simulate(LOIN, [CURE, POT.but(until="core temperature >= 40 degC"), ICE]))
    }
    one, other = (raw[f"lethality, {logs} log"] for logs in ("6.5", "7"))
    assert one.outcome == other.outcome == raw["come-up"].outcome == "fail"
    assert one.statistic == other.statistic and "7 log" in other.sentence and one.sentence != other.sentence
    assert (
        sum("Hottest at the middle" in said for said in failing(raw.values())) == 1
    )  # said once where it is said first


def test_no_check_that_is_left_open_begins_with_words_that_say_nothing():
    """A list of checks tells the first sentence of what cannot be judged: it names the thing, the figure and how often."""
    judged = check_cooked(simulate(LOIN, [CURE, POT, ICE]))
    fine = next(each for each in judged if each.name == "lethality, 6.5 log")
    missed = replace(
        fine, outcome="fail", sentence="Hottest at the middle of the loin: 52.7 °C, at least 54.4. Not cooked."
    )
    for passes, fails, outcome, lead in (
        (0.6, 0.2, "unknown", "Ok in only 6 of 10"),
        (0.6, 0.4, "fail", "Not ok in 4 of 10"),
    ):
        (held,) = in_draws([fine], {fine.name: Chance(fine.name, passes, fails, 1 - passes - fails, 64, "", missed)})
        first = held.sentence.partition(". ")[0]
        assert (
            held.outcome == outcome and first.startswith(lead) and "hottest at the middle of the loin: 52.7 °C" in first
        )
    old = check_cooked(simulate(LOIN, [CURE, POT, ICE.but(until=None, at_most=None, lasts="30 d")]))
    kept = next(each.sentence for each in old if each.name == "kept after cooking").partition(". ")[0]
    assert kept.startswith("Kept 30 days after cooking") and "printed rule is 3 to 4 days" in kept


def test_what_can_hurt_is_said_for_the_stages_that_are_there():
    bag = BagCook(temperature="75 degC", lasts="4 h")
    assert "bag" not in cautions((POT, ICE)) and "hot bag" in cautions((bag, ICE))
    assert "57.2 °C" in cautions((POT,)) and "135 °F" in cautions((POT,), "us")  # 135 °F: the food code, heat_rules.csv
    for word in ("burn", "weigh it", "licensed practice"):
        assert word in cautions((POT,))


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [
        (
            "Hottest: 75 °C, at least 70. More.",
            "Hottest: 167 °F, at least 158. More.",
        ),  # 158 °F: FSIS table 2, printed so
        (
            "from 57.2 °C to 21.1 °C: 0.49 h, at most 2.",
            "from 135 °F to 70 °F: 0.49 h, at most 2.",
        ),  # the food code's own
        ("between 4 °C (40 °F) and more", "between 4 °C (40 °F) and more"),
        ("at 71.5 °C", "at 160.7 °F"),
    ],
)
def test_degrees_are_those_of_the_batch(celsius, fahrenheit):
    assert in_degrees(celsius, "us") == fahrenheit and in_degrees(celsius, "metric") == celsius


def test_every_check_of_heat_speaks_fahrenheit_in_a_us_batch():
    history = simulate(LOIN, [CURE, POT, ICE])
    metric, us = check_cooked(history), check_cooked(history, "us")
    assert [each.outcome for each in metric] == [each.outcome for each in us]
    assert any("°C" in each.sentence for each in metric) and not any("°C" in each.sentence for each in us)


def test_a_piece_alone_has_its_share_of_the_brine_and_its_own_stages():
    stages = (CURE, POT.but(pieces=["loin"]), POT.but(pieces=["flat"]), ICE)
    own = alone(LOIN, (LOIN, FLAT), stages)
    assert [stage.tag for stage in own] == ["brine", "simmer", "chill"] and not any(stage.named for stage in own)
    assert own[0].bath.salt == pytest.approx(0.030) and own[0].bath.water == pytest.approx(0.75)
    assert own[1].water == pytest.approx(1.5)


def test_curing_begins_so_early_that_slow_meat_is_ready():
    """Counted by hand: to the table at 18:00 on 20 December, 4 h of cook, a soak of 45 minutes, and 9 days of the slowest tenth."""
    soak = Soak(waters=(Water(amount="4 kg", lasts="45 min", temperature="4 degC"),))
    history = simulate((LOIN,), [CURE, soak, POT, ICE])
    days = np.array([6.0, 7.0, 8.0, 8.0, 8.0, 8.0, 8.0, 9.0, 9.0, 9.5])
    many = spread(LOIN, [CURE], count=16).ready()[0]
    ones = np.ones(len(days))
    found = replace(many, ready=86400 * days, exposed=0 * ones, warmed=0 * ones)
    late = float(np.sort(days)[8])
    begin = datetime(2026, 12, 20, 18) - timedelta(days=late, hours=4, minutes=45)
    said = begin_to_cure((found,), history, 4 * 3600.0, datetime(2026, 12, 20, 18))
    assert said.startswith(f"Begin curing on {begin - timedelta(hours=18):%A %-d %B}: cure and rest take 8 days")
    assert begin_to_cure((found,), history, 0.0, None) == "" == begin_to_cure((), history, 0.0, begin)
    assert "No day" in begin_to_cure((replace(found, exposed=2 * ones),), history, 0.0, begin)
    assert "No day" in begin_to_cure((replace(found, ready=np.inf * ones),), history, 0.0, begin)


def test_the_first_draws_of_many_are_the_draws_of_fewer():
    many, few = (spread(LOIN, [CURE, POT, ICE], count=count) for count in (32, 16))
    for one, other in zip(lead_of(many, draws=16).parts, lead_of(few).parts, strict=True):
        assert one[1:] == pytest.approx(other[1:])
    assert lead_of(many).high != lead_of(few).high or lead_of(many).low != lead_of(few).low


@pytest.mark.parametrize(
    ("words", "usual", "meant"),
    [
        ("Sunday", "2026-01-01 17:30", "2026-11-29 17:30"),
        ("sun 18:00", None, "2026-11-29 18:00"),
        ("Saturday 12:00", None, "2026-12-05 12:00"),  # today is one: the next is meant
        ("2026-12-20", "2026-01-01 17:30", "2026-12-20 17:30"),
        ("2026-12-20 18:00", None, "2026-12-20 18:00"),
    ],
)
def test_a_day_to_serve_is_read_as_a_cook_says_it(words, usual, meant):
    """28 November 2026 is a Saturday."""
    assert serving(words, datetime(2026, 11, 28, 9), usual) == meant


def test_a_day_without_an_hour_asks_for_it():
    for words in ("Sunday", "2026-12-20"):
        with pytest.raises(InputError, match="At what hour"):
            serving(words, datetime(2026, 11, 28, 9))
    with pytest.raises(InputError, match="not a date and time"):
        serving("the 20th", datetime(2026, 11, 28, 9))
