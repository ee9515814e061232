"""Plans: elapsed time across clock changes, hours of the kitchen, impossible plans and their nearest, days to check."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import Piece
from curelab.batch import Batch, dumps, from_table
from curelab.engine.simulate import simulate
from curelab.fields import InputError
from curelab.outcome import REPORT_DRAWS, run
from curelab.paper.kitchen_clock import KitchenClock, intersect, later, merge, nearest
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.timeline import GIVES, Impossible, Link, lay
from curelab.recipe.plan import Hours, Plan
from curelab.recipe.stages import Bath, Brine
from curelab.show.warm_lines import cautions_of
from curelab.sources import default_numbers
from curelab.spread import spread
from curelab.spread.draws import in_the_middle
from curelab.spread.uncertain import uncertain_inputs

pytestmark = pytest.mark.usefixtures("few_draws")

DAY = 1440
USUAL = in_the_middle(default_numbers(), uncertain_inputs())
SLAB = {"name": "slab", "thickness": "4 cm", "weight": "1 kg"}


def batch(start="2026-03-03 09:00", brine=None, plan=None, stages=None, pieces=(SLAB,), **more):
    cure = {
        "do": "brine",
        "bath": {"water": "1 kg", "salt": "40 g", "nitrite": "0.2 g"},
        "temperature": "3 degC",
        "lasts": "6 d",
    }
    table = {"schema": 1, "name": "test", "pieces": list(pieces), "stages": stages or [cure | (brine or {})]}
    table |= {"start": start} if start else {}
    return from_table(table | ({"plan": {"zone": "Europe/Berlin"} | plan} if plan is not None else {}) | more)


def at(found, key):
    return next(task for task in found.tasks if task.key == key).at


def wall(moment):
    return moment.strftime("%Y-%m-%d %H:%M")


# -- the clock -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "start, end",
    [
        # Directive 2000/84/EC: summer time begins on the last Sunday of March and ends on the last of October, each at 01:00 UTC.
        ("2026-03-28 09:00", "2026-03-30 10:00"),
        ("2026-10-24 09:00", "2026-10-26 08:00"),
        ("2026-06-01 09:00", "2026-06-03 09:00"),
        # Gregorian calendar: 2028 has a 29 February, 2027 and 2100 have none.
        ("2028-02-28 09:00", "2028-03-01 09:00"),
        ("2027-02-28 09:00", "2027-03-02 09:00"),
        ("2100-02-28 09:00", "2100-03-02 09:00"),
    ],
)
def test_lengths_are_elapsed_time(start, end):
    found = schedule(batch(start, {"lasts": "2 d"}, plan={}))
    assert wall(found.end) == end
    assert found.end.timestamp() - found.start.timestamp() == 2 * 86400


def test_the_american_clock_changes_on_another_day():
    # 15 USC 260a: daylight time begins on the second Sunday of March at 02:00.
    found = schedule(batch("2026-03-07 09:00", {"lasts": "2 d"}, plan={"zone": "America/Chicago"}))
    assert wall(found.end) == "2026-03-09 10:00"


def test_a_time_that_never_comes_is_refused_and_its_neighbours_work():
    with pytest.raises(InputError, match=r"does not exist in Europe/Berlin.*take 01:30 or 03:30"):
        schedule(batch("2026-03-29 02:30", plan={}))
    for words in ("2026-03-29 01:30", "2026-03-29 03:30"):
        assert wall(schedule(batch(words, plan={})).start) == words


def test_a_time_that_comes_twice_is_the_first_and_said():
    found = schedule(batch("2026-10-25 02:30", plan={}))
    assert found.start.utcoffset() == timedelta(hours=2)  # still summer time
    assert any("happens twice" in remark for remark in found.remarks)


def test_without_a_zone_the_clock_floats_and_says_so():
    found = schedule(batch("2026-03-28 09:00", {"lasts": "2 d"}))
    assert wall(found.end) == "2026-03-30 09:00" and found.end.tzinfo is None
    assert any("No time zone" in remark for remark in found.remarks)


def test_without_dates_there_are_days():
    found = schedule(batch(None))
    assert found.start is None and all(task.at is None for task in found.tasks)
    assert [(task.day, task.title[:8]) for task in found.tasks[:3]] == [
        ("day 0", "Into the"), ("day 2", "Read the"), ("day 4", "Read the"),
    ]  # fmt: skip
    assert found.tasks[-1].day == "day 6" and len(found.tasks) == 4  # day 7 lies beyond the cure
    assert "day 6" in plan_words(found)


@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 9)), max_size=6),
    st.integers(-5, 70),
    st.integers(-9, 9),
    st.integers(0, 9),
)
def test_sets_of_spans_agree_with_sets_of_minutes(pairs, wanted, least, more):
    spans = merge([(first, first + length) for first, length in pairs])
    minutes = {m for first, length in pairs for m in range(first, first + length + 1)}
    flat = lambda found: {m for first, last in found for m in range(first, last + 1)}  # noqa: E731
    assert flat(spans) == minutes
    assert flat(later(spans, least, least + more)) == {m + d for m in minutes for d in range(least, least + more + 1)}
    assert flat(intersect(spans, [(10, 20), (22, 40)])) == minutes & ({*range(10, 21)} | {*range(22, 41)})
    best = min(minutes, key=lambda m: (abs(m - wanted), -m), default=None)
    assert nearest(spans, wanted) == best


# -- the kitchen's hours ---------------------------------------------------------------------------


def test_open_hours_pass_midnight_and_skip_closed_days():
    clock = KitchenClock("Europe/Berlin", Hours(16 * 60, 2 * 60), ("sunday", "2026-03-10"))
    sat = clock.instant("2026-03-07 12:00", "")
    spans = [tuple(wall(clock.local(end)) for end in span) for span in clock.open(sat, sat + 5 * DAY)]
    assert spans == [
        ("2026-03-07 16:00", "2026-03-08 02:00"),  # Saturday's evening ends on Sunday, which is closed itself
        ("2026-03-09 16:00", "2026-03-10 02:00"),
        ("2026-03-11 16:00", "2026-03-12 02:00"),
    ]


def test_no_turn_at_three_in_the_morning_and_the_effect_is_computed():
    brine = {"turn_every": "18 h", "lasts": "6 d"}
    free, kept = (schedule(batch(brine=brine, plan=plan)) for plan in ({}, {"hours": "07:00-22:00"}))
    assert wall(at(free, "stage-1-turn-1")) == "2026-03-04 03:00"
    assert wall(at(kept, "stage-1-turn-1")) == "2026-03-04 07:00"  # 4 h later; 22:00 would be 5 h earlier
    assert all(7 * 60 <= task.at.hour * 60 + task.at.minute <= 22 * 60 for task in kept.tasks)
    moved = [task for task in kept.tasks if task.moved]
    assert moved and all(task.wanted is not None for task in moved) and not free.moves
    # The effect is that of a brine turned at just these moments, told in the sentence.
    turns = tuple(60.0 * task.minutes for task in kept.tasks if "turn" in task.key)
    written = kept.batch.filled()[0]
    again = simulate(Piece(**SLAB), written.but(turn_every=None, turns=turns), numbers=USUAL)
    value = again.core("salt")
    assert kept.planned.history.core("salt") == pytest.approx(value, rel=1e-12)
    assert abs(value / kept.wished.history.core("salt") - 1) > 1e-6
    assert f"{100 * value:.2f}" in " ".join(kept.effects)


def test_turns_by_the_list_are_turns_by_the_rule():
    rule = Brine(bath=Bath(water="1 kg", salt="40 g"), temperature="3 degC", lasts="6 d", turn_every="1 d")
    names = rule.but(turn_every=None, turns=["1 d", "2 d", "3 d", "4 d", "5 d", "7 d"])  # the last lies beyond the end
    never = rule.but(turn_every=None)
    piece = Piece(**SLAB)
    whole = [simulate(piece, stage).average("salt") for stage in (rule, names, never)]
    assert whole[1] == pytest.approx(whole[0], rel=1e-13) and abs(whole[2] / whole[0] - 1) > 1e-4
    with pytest.raises(InputError, match="both are given"):
        rule.but(turns=["1 d"])
    with pytest.raises(InputError, match="must grow"):
        never.but(turns=["2 d", "1 d"])
    assert from_table({"schema": 1, "name": "n", "pieces": [SLAB], "stages": [
        {"do": "brine", "bath": {"water": "1 kg", "salt": "40 g"}, "temperature": "3 degC", "lasts": "6 d", "turns": ["1 d", "30 h"]}
    ]}).stages[0].turns == (86400.0, 108000.0)  # fmt: skip


def test_a_turn_that_falls_on_another_is_left_out_and_said():
    found = schedule(batch(brine={"turn_every": "3 h", "lasts": "2 d"}, plan={"hours": "07:00-22:00"}))
    assert found.left_out and all("left out" in words for words in found.left_out)
    turns = [task.minutes for task in found.tasks if "turn" in task.key]
    assert len(turns) + len(found.left_out) == 15 and min(b - a for a, b in pairwise(turns)) >= 45
    assert set(found.left_out) <= set(found.moves)


def test_stages_shift_by_as_little_as_can_be_and_are_computed_anew():
    stages = [
        {
            "do": "brine",
            "bath": {"water": "1 kg", "salt": "60 g"},
            "temperature": "3 degC",
            "lasts": "5 d 18 h",
        },  # ends at 03:00
        {"do": "soak", "waters": [{"amount": "2 kg", "lasts": "2 h", "temperature": "8 degC"}] * 2},
    ]
    found = schedule(batch(stages=stages, plan={"hours": "07:00-22:00"}))
    assert wall(at(found, "stage-2")) == "2026-03-09 07:00"
    assert [task.takes for task in found.tasks if task.wanted is None] == [5 * DAY + 22 * 60, 120, 120, 0]
    assert (
        found.planned.batch.stages[0].lasts == (5 * DAY + 22 * 60) * 60
        and found.planned.batch.stages[1] == found.batch.stages[1]
    )
    direct = simulate(found.batch.pieces, found.planned.batch.filled(), numbers=USUAL)
    assert found.planned.history.average("salt") == pytest.approx(direct.average("salt"), rel=1e-12)
    assert any("instead of 5 d 18 h" in words for words in found.moves)
    new, old = (f"{100 * each.history.average('salt'):.2f}" for each in (found.planned, found.wished))
    assert new != old and f"{new} instead of {old} % salt on the whole" in found.effects[0]


LINKS = st.lists(
    st.builds(
        lambda nominal, more, gives, waits: Link("x", nominal, nominal + more, gives, waits),
        st.integers(20, 4000), st.integers(0, 1500), st.booleans(), st.booleans(),
    ),
    min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    links=LINKS,
    opens=st.integers(0, 900),
    hours=st.integers(60, 1439),
    start=st.integers(0, 20000),
    border=st.integers(0, 6),
    free=st.booleans(),
)
def test_every_border_lies_in_the_hours_and_every_length_in_its_bounds(links, opens, hours, start, border, free):
    clock = KitchenClock("Europe/Berlin", Hours(opens, (opens + hours) % DAY or DAY), ("wednesday",))
    border = min(border, len(links))
    anchor = clock.instant("2026-03-20 00:00", "") + start
    try:
        borders = lay(links, anchor, border, clock, free)
    except Impossible as fault:
        if fault.best is None:
            return
        assert fault.best != anchor
        borders = lay(links, fault.best, border, clock, free)  # what is named as possible is possible
        anchor = fault.best
    assert borders[border] == anchor
    for n, instant in enumerate(borders):
        assert clock.open(instant, instant) or (free and n == len(links))
    for link, a, b in zip(links, borders, borders[1:], strict=False):
        least, most = link.bounds(GIVES[-1])
        assert least <= b - a <= most


def test_a_chain_without_hours_keeps_every_length():
    links = [Link("a", 100, gives=True), Link("b", 50), Link("c", 70, gives=True)]
    assert lay(links, 1000, 1, KitchenClock()) == [900, 1000, 1050, 1120]


# -- forward, backward, impossible -----------------------------------------------------------------


AFTER = [{"name": "cook", "lasts": "4 h"}, {"name": "chill", "lasts": "8 h", "at_most": "20 h"}]


def test_backward_from_serving_is_forward_from_its_start():
    steps = {"before": [{"name": "thaw", "lasts": "2 d"}], "after": AFTER}
    back = schedule(batch(None, plan=steps | {"serve": "2026-03-31 18:00"}))
    assert wall(back.end) == "2026-03-31 18:00" and back.tasks[-1].title == "Serve"
    # 12 h of steps, 6 d of brine, over the night the clocks went forward: 09:00 of summer time less one hour lost.
    assert wall(back.start) == "2026-03-25 05:00" and wall(back.tasks[0].at) == "2026-03-23 05:00"
    forth = schedule(batch("2026-03-25 05:00", plan=steps))
    assert [task.at for task in forth.tasks] == [task.at for task in back.tasks]


def test_an_impossible_plan_names_the_nearest_possible():
    steps = {"hours": "08:00-20:00", "after": [{"name": "cook", "lasts": "4 h"}]}
    with pytest.raises(InputError, match="nearest that works is Tue 31 Mar 2026 12:00"):
        schedule(batch(None, plan=steps | {"serve": "2026-03-31 11:00"}))
    assert schedule(batch(None, plan=steps | {"serve": "2026-03-31 12:00"})).tasks[-2].title.endswith("cook")
    with pytest.raises(InputError, match=r"^start: .*nearest that works is Tue 3 Mar 2026 08:00"):
        schedule(batch("2026-03-03 07:00", plan={"hours": "08:00-20:00"}))
    with pytest.raises(InputError, match='"cook" does not fit'):
        schedule(batch(None, plan={"hours": "08:00-10:00", "after": AFTER, "serve": "2026-03-31 18:00"}))


def test_a_plan_that_should_have_begun_names_the_next_chance():
    late = batch(None, plan={"hours": "08:00-20:00", "serve": "2026-03-31 18:00"})
    now = datetime(2026, 3, 30, 21, 0, tzinfo=UTC)
    early = schedule(late, now=now - timedelta(days=20)).remarks
    assert not any("should have begun" in each for each in early)
    said = " ".join(schedule(late, now=now).remarks)
    assert "should have begun" in said and "served on Mon 6 Apr 2026 08:00" in said  # 6 d after Tuesday 08:00


@pytest.mark.usefixtures("all_draws")
def test_what_waits_for_a_criterion_waits_in_the_plan_too():
    cure = {"lasts": None, "until": "core salt >= 70 % of equilibrium", "at_most": "40 d"}
    stages = [{k: v for k, v in (batch_stage() | cure).items() if v is not None}]
    found = schedule(batch(stages=stages, plan={"hours": "07:00-22:00"}))
    reached = found.wished.history.length
    assert 0 <= found.planned.history.length - reached <= 9 * 3600 + 300
    assert found.planned.history.core("salt", None, 0, "equilibrium") >= 0.7
    assert 7 <= found.end.hour <= 22
    check = found.checks[0]
    many = spread(found.batch, count=REPORT_DRAWS).time_to("core salt >= 70 % of equilibrium", 0)
    early, late = (many.quantile(level) for level in (0.1, 0.9))
    assert (
        check.earliest == first_open(found, early)
        and check.latest == first_open(found, late)
        and early < reached < late
    )


def batch_stage():
    return {"do": "brine", "bath": {"water": "1 kg", "salt": "40 g"}, "temperature": "3 degC"}


def first_open(found, seconds) -> date:
    moment = found.start.astimezone(UTC) + timedelta(seconds=seconds)
    local = moment.astimezone(found.start.tzinfo)
    return local.date() if local.hour < 22 else local.date() + timedelta(days=1)


@pytest.mark.usefixtures("all_draws")
def test_days_to_check_are_those_of_the_forecast():
    strong = {"bath": {"water": "3 kg", "salt": "250 g"}, "lasts": "12 d", "lying": False}
    found = schedule(batch(brine=strong, plan={}))
    stage, piece = found.batch.filled()[0], found.batch.pieces
    ready, salty = found.checks
    many = spread(piece, stage, count=REPORT_DRAWS)
    early, late = np.quantile(many.ready()[0].pull, [0.1, 0.9], method="inverted_cdf")
    assert ready.kind == "take out" and ready.earliest == (found.start + timedelta(seconds=early)).date()
    assert ready.latest == (found.start + timedelta(seconds=late)).date()
    closes = np.quantile(many.window().closes, [0.1, 0.5], method="inverted_cdf")
    assert salty.kind == "too salty" and salty.latest == (found.start + timedelta(seconds=closes[0])).date()
    assert (
        found.start + timedelta(seconds=closes[1])
    ).date() > salty.latest and "1 in 10 simulated batches is by" in salty.sentence
    mild = schedule(batch(brine={"lasts": "3 d", "bath": {"water": "1 kg", "salt": "30 g"}}, plan={}))
    assert all(check.kind == "take out" for check in mild.checks)


@pytest.mark.usefixtures("all_draws")
def test_a_day_that_was_not_found_is_told_plainly(monkeypatch):
    monkeypatch.setattr("curelab.paper.schedule.no_day", lambda verdicts: False)  # so long a cure is thrown away
    point = {"name": "point", "thickness": "7 cm", "weight": "2.1 kg"}
    for most, ending in (
        ("26 d", "half not within the time looked at."),
        ("35 d", "9 in 10 not within the time looked at."),
    ):
        cure = batch_stage() | {
            "bath": {"water": "5 kg", "salt": "150 g"},
            "until": "core salt >= 1.2 %",
            "at_most": most,
        }
        said = schedule(batch(start=None, stages=[cure], pieces=[point])).checks[0].sentence
        assert "1 in 10 after" in said and ending in said and "no day" not in said and "by after" not in said


def test_what_is_not_there_is_not_told_of():
    """No bag, no sugar, no cure and no other water: only what this batch has."""
    hot = {"do": "bag cook", "temperature": "70 degC", "lasts": "8 h"}
    oven = {"do": "oven", "temperature": "110 degC", "humidity": "30 %", "lasts": "2 h"}
    cold = {"do": "chill", "medium": "fridge air", "temperature": "2 degC", "lasts": "12 h"}
    rest = {"do": "rest", "temperature": "3 degC", "lasts": "1 d"}
    soak = {
        "do": "soak",
        "until": "average salt <= 0.2 %",
        "waters": [{"amount": "1 kg", "lasts": "2 h", "temperature": "4 degC"}],
    }
    for cook, bagged in ((hot, True), (oven, False)):
        made = batch(start=None, stages=[batch_stage() | {"lasts": "3 d"}, soak, cook, cold, rest])
        found = schedule(made, run(made, draws=16))
        said = plan_words(found)
        flat = " ".join(said.split())
        assert ("leave the bag closed" in flat.lower()) == bagged and ("rest it in its closed bag" in flat) == bagged
        assert ("wrap and rest" in flat) != bagged and "First dissolve salt in the water" in flat
        assert "not in 9 of 10 simulated batches within 2 hours in this water." in flat
        assert "cure mix" not in " ".join(cautions_of(found.told))
        assert found.wished.waits(1) == "2 hours, not reached in time in any simulated batch"


def test_the_last_task_is_told_in_the_units_of_the_batch():
    ends = [schedule(batch(units=system)).tasks[-1].detail for system in ("metric", "us")]
    assert "1 to 3 °C" in ends[0] and "34 to 37 °F" in ends[1] and "°C" not in ends[1]


# -- the record ------------------------------------------------------------------------------------


def test_a_plan_survives_the_file():
    plan = {
        "hours": "16:00-02:00",
        "closed": ["Sunday", "2026-12-25"],
        "before": [{"name": "thaw", "lasts": "2 d"}],
        "after": AFTER,
    }
    made = batch(plan=plan)
    import tomllib

    assert from_table(tomllib.loads(dumps(made))) == made
    assert made.plan.closed == ("sunday", "2026-12-25") and made.plan.hours == Hours(960, 120)


@pytest.mark.parametrize(
    "field, value, said",
    [
        ("zone", "Europe/Berlim", 'did you mean "Europe/Berlin"'),
        ("zone", "../etc", "not a time zone"),
        ("hours", "7-22", "write them like"),
        ("hours", "07:00-07:00", "opens and closes at once"),
        ("closed", ["sundy"], 'did you mean "sunday"'),
        (
            "closed",
            ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"],
            "every day",
        ),
        ("serve", "2026-04-05", "not a date and time"),
        ("serve", "2026-04-05 18:00+02:00", "its own offset"),
        ("after", [{"name": "cook", "lasts": "4 h", "at_most": "2 h"}], "shorter than lasts"),
    ],
)
def test_what_a_plan_refuses(field, value, said):
    with pytest.raises(InputError, match=said):
        Plan(**{"zone": "Europe/Berlin", field: value})


def test_exactly_one_of_start_and_serve():
    with pytest.raises(InputError, match="both are given"):
        batch(plan={"serve": "2026-04-05 18:00"})
    with pytest.raises(InputError, match="neither is given"):
        batch(None, plan={})


def test_the_plan_in_words_has_every_task_with_its_time():
    found = schedule(batch(brine={"turn_every": "18 h"}, plan={"hours": "07:00-22:00", "after": AFTER}))
    words = " ".join(plan_words(found).split())
    for task in found.tasks:
        assert task.title in words and f"{task.at:%H:%M}" in words
    for sentence in (*found.moves, *found.effects, *(check.sentence for check in found.checks)):
        assert sentence in words
    assert Batch is type(found.batch)
