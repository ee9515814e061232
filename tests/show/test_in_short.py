"""What a cook is told first about a batch."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from curelab.batch import from_table
from curelab.forecast import Answer
from curelab.limits import DISCARD
from curelab.outcome import run
from curelab.paper.moments import elapsed
from curelab.show.in_short import BRINE_OR_SLICE, _to_measure, in_short
from curelab.show.out_of_reach import out_of_reach
from curelab.show.report import words
from curelab.spread import Chance
from curelab.spread.uncertain import uncertain_inputs

pytestmark = pytest.mark.usefixtures("few_reports")

TABLE = {
    "schema": 1,
    "name": "made up",
    "pieces": [{"name": "loin", "thickness": "4 cm", "weight": "1 kg"}],
    "weigh_out": {
        "method": "equilibrium brine",
        "water": "2 kg",
        "salt": "2.4 %",
        "nitrite": "125 ppm",
        "cure": {"name": "mix", "nitrite": "6.25 %"},
    },
}
CURE = {"do": "brine", "temperature": "3 degC", "lasts": "8 d"}


def made(*stages):
    return run(from_table({**TABLE, "stages": [CURE, *stages]}), draws=16)


@pytest.fixture(scope="module")
def plain():
    return made()


def watched(outcome, *names) -> str:
    """The line on checks that are missed in half of the cases."""
    half = {name: Chance(name, 0.5, 0.5, 0.0, 64, "") for name in names}
    return next((said for said in in_short(outcome, half) if said.startswith("Not ok in some batches")), "")


def test_cold_both_ways_has_one_advice_that_serves_both(plain):
    for names in (("kept cold",), ("not too cold",), ("kept cold", "not too cold")):
        said = watched(plain, *names)
        assert said.count("Set the fridge to 2 °C, not below 1 °C") == 1 and "colder" not in said
        assert "nitrite" not in said


def test_too_little_nitrite_has_its_own_advice(plain):
    said = watched(plain, "US nitrite, least")
    assert "weigh more cure" in said and "not above the limit" in said and "fridge" not in said
    assert "weigh less cure" in watched(plain, "US nitrite, most")


def test_the_brine_is_not_to_be_logged_where_there_is_none_or_where_it_was():
    bag = {**TABLE["weigh_out"], "method": "sealed dry cure"}
    del bag["water"]
    sealed = {**TABLE, "weigh_out": bag, "stages": [{**CURE, "do": "sealed cure"}]}
    logged = [
        {"at": "2 d", "what": "brine strength", "value": "3.4 %"},
        {"at": "5 d", "what": "brine strength", "value": "5 %"},
    ]
    advice = "Log how the brine weakens day by day, or have a slice tested for salt before anything else."
    brine = {**TABLE, "stages": [CURE]}
    assert _to_measure(run(from_table(brine), draws=16), advice) == advice
    for table in (sealed, {**brine, "log": logged}):
        said = _to_measure(run(from_table(table), draws=16), advice)
        assert said == "Have a slice tested for salt before anything else."
    remedy = next(row.remedy for row in uncertain_inputs() if row.key == "obstruction.lean")
    assert BRINE_OR_SLICE.search(remedy)


def test_meat_that_was_warm_is_thrown_away_before_all_else():
    outcome = made({"do": "rest", "temperature": "20 degC", "lasts": "3 d"})
    failed = [said for said in in_short(outcome) if said.startswith("NOT OK")]
    assert failed[0].startswith(f"NOT OK: {DISCARD}")
    assert not any(DISCARD in said for said in failed[1:])


def test_what_is_assumed_of_every_batch_stands_in_the_long_report(plain):
    short, long = (" ".join(words(plain, each).split()) for each in (False, True))
    for said in ("mixed and equally strong", "along and across the fibre", "Swelling does not change the thickness"):
        assert said in long and said not in short
    assert "Chill it through before it goes in." in long


def test_what_a_stage_never_comes_to_is_said_before_it_is_waited_for():
    """A body cools towards what is around it and never quite to it (Newton's law of cooling); raw meat has salt of its own."""
    air = {"do": "chill", "medium": "fridge air", "temperature": "4 degC", "at_most": "24 h"}
    water = [{"amount": "2 kg", "lasts": "6 h", "temperature": "4 degC"}]
    hot = {"do": "oven", "temperature": "70 degC", "humidity": "50 %", "at_most": "9 h"}
    for stage, until, word in (
        (air, "core temperature <= 4 degC", "colder"),
        (hot, "core temperature >= 71 degC", "hotter"),
        ({"do": "soak", "waters": water}, "average salt <= 0.1 %", "raw meat has 0.15 % of its own"),
    ):
        never = from_table({**TABLE, "stages": [CURE, stage | {"until": until}]})
        (said,) = out_of_reach(never.stages)
        assert word in said
    fine = (
        (air, "core temperature <= 5 degC"),
        (hot, "core temperature >= 65 degC"),
        ({"do": "soak", "waters": water}, "average salt <= 1.6 %"),
    )
    for stage, until in fine:
        assert not out_of_reach(from_table({**TABLE, "stages": [CURE, stage | {"until": until}]}).stages)
    cold = from_table(
        {
            **TABLE,
            "stages": [
                CURE,
                hot | {"until": "core temperature >= 65 degC"},
                air | {"until": "core temperature <= 4 degC"},
            ],
        }
    )
    assert any("it never comes there" in said for said in in_short(run(cold, draws=16)))


def test_more_soak_is_offered_for_the_piece_that_needs_it_to_its_own_aim_and_not_once_it_was_heated():
    water = [{"amount": "2 kg", "lasts": "1 h", "temperature": "4 degC"}]
    pieces = [*TABLE["pieces"], {"name": "slice", "thickness": "1 cm", "weight": "0.1 kg"}]
    strong = {
        **TABLE,
        "pieces": pieces,
        "weigh_out": {**TABLE["weigh_out"], "method": "strong brine", "strength": "20 %"},
    }
    del strong["weigh_out"]["salt"]
    line = [{**CURE, "lasts": "4 h"}, {"do": "soak", "waters": water, "until": "average salt <= 2.9 %"}]
    said = [
        answer.sentence
        for answer in run(from_table({**strong, "stages": line}), draws=16).answers
        if isinstance(answer, Answer)
    ]
    assert len(said) == 1 and said[0].startswith("Soak the slice ") and "down to 2.9 % salt" in said[0]
    smoked = [*line, {"do": "smoke", "temperature": "25 degC", "humidity": "70 %", "lasts": "6 h"}]
    told = run(from_table({**strong, "stages": smoked}), draws=16).answers
    assert not any(isinstance(answer, Answer) for answer in told)


def test_a_hole_in_the_fridge_log_is_told_once_and_days_to_come_are_none():
    """Three checks cannot be judged for it, and each of them still says so in a table."""
    log = [[f"{hour} h", "2 degC"] for hour in range(0, 73, 12)]
    batch = from_table({**TABLE, "start": "2026-11-24 18:00", "stages": [{**CURE, "temperature": log}]})
    asked = {now: run(batch, draws=16, now=now * 3600) for now in (72, 100)}
    told = {now: [each for each in in_short(found) if "uncovered" in each] for now, found in asked.items()}
    assert told[72] == [] and len(told[100]) == 1 and "leaves 28 h uncovered" in told[100][0]
    assert "uncovered" not in words(asked[72]) and words(asked[100]).count("uncovered") == 2  # the head, and the checks
    assert sum("uncovered" in each.sentence for each in asked[100].verdicts) == 3
    began = datetime(2026, 11, 24, 18, tzinfo=ZoneInfo("Europe/Berlin"))
    planned = batch.but(plan={"zone": "Europe/Berlin"})
    assert elapsed(planned, began.astimezone(UTC) + timedelta(hours=72)) == 72 * 3600
    assert elapsed(batch, datetime(2026, 11, 24, 19).astimezone()) == 3600 and elapsed(made().batch, began) is None
