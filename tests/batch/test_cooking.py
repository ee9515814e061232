"""A batch from the raw cut to the slice: its file, report, plan, sheet and log."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import numpy as np
import pytest

from curelab.batch import Batch, Reading, dumps, from_table, load
from curelab.outcome import run
from curelab.paper.calendar_file import calendar
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import sheet
from curelab.recipe.stages import STAGES
from curelab.show.data import plain
from curelab.show.report import words
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_draws")

DEMO = datasets_folder() / "demo_plate.toml"


@pytest.fixture(scope="module")
def batch() -> Batch:
    return load(DEMO)


@pytest.fixture(scope="module")
def outcome(batch):
    return run(batch, draws=64)


def test_the_file_is_read_and_written(batch):
    assert from_table(tomllib.loads(dumps(batch))) == batch
    assert {stage.tag for stage in batch.stages} <= {kind.tag for kind in STAGES}
    table = {"schema": 1, "name": "x", "pieces": [{"thickness": "4 cm", "weight": "1 kg"}], "stages": [
        {"do": "simmer", "water": "6 kg", "temperature": [["0 h", "20 degC"], ["1 h", "88 degC"]], "until": "core temperature >= 85 degC", "at_most": "8 h", "fresh_at": ["2 h"]},
        {"do": "smoke", "temperature": "75 degC", "wet_bulb": "50 degC", "lasts": "2 h"},
        {"do": "oven", "temperature": "120 degC", "humidity": "5 %", "lasts": "2 h"},
        {"do": "chill", "medium": "moving air", "temperature": "1 degC", "until": "core temperature <= 4 degC", "at_most": "24 h"},
        {"do": "reheat", "temperature": "70 degC", "lasts": "1 h"},
        {"do": "hold", "medium": "steam", "temperature": "65 degC", "lasts": "1 h"},
        {"do": "bag cook", "temperature": "60 degC", "lasts": "3 h", "steam": True, "begins_at": "20 degC", "pieces": ["piece"]},
    ]}  # fmt: skip
    made = from_table(table)
    assert from_table(tomllib.loads(dumps(made))) == made
    assert str(made.stages[0].until) == "core temperature >= 85 degC"


def test_the_report_says_how_warm_and_what_to_beware_of(outcome):
    said = " ".join(words(outcome).split())
    assert "point: the middle 88 °C" in said and "flat: the middle 75 °C" in said
    long = " ".join(words(outcome, long=True).split())
    assert (
        "point waits in the fridge: the middle 3 °C" in long
        and "Pot, bath and oven are taken to keep to their program" in long
    )
    assert "until core temperature" not in said and "36115" not in said
    assert "Hot water, steam and hot fat burn." in said and "A hot bag may spit" in said
    assert "It is still raw" not in said
    row = next(each for each in plain(outcome)["stages"] if each["do"] == "simmer" and each["piece"] == "point")
    assert row["temperature core"]["middle"] == pytest.approx(273.15 + 88, rel=1e-3)
    rows = {(each["stage"], each["piece"]): each["salt average"]["usual"] for each in plain(outcome)["stages"]}
    assert rows[5, "point"] < 0.7 * rows[2, "point"] and rows[6, "flat"] > 0.7 * rows[2, "flat"]


def test_plan_and_sheet(batch):
    found = schedule(batch)
    said = " ".join(plan_words(found).split())
    for sentence in (
        "End of the rest; the flat: seal in a bag, and into the hot bath. At 75 °C, 6 h. Keep the bag under water",
        "Out of the hot bath with the flat, chill in ice water.",
        "Out of the cold with the flat; the point: into the pot, and simmer. In 6 kg of water from 20 °C, to 92 °C by 1 h, then at 92 °C. Takes 1.5 hours to 2 hours in 8 of 10.",
        "Until the middle is at least 88 °C.",
        "Out of the cold with the point: serve it, or keep it cold. Keep it at 1 to 3 °C. Eat it by Sat 21 Mar: cooked meat keeps 3 days from the cook",  # the flat, cooked on Wed 18 Mar; FSIS-CB-03
        "The chill of the flat ends when the middle is at most 4 °C.",
        "The simmer of the point ends when the middle is at least 88 °C.",
    ):
        assert sentence in said, sentence
    assert "still raw" not in said
    assert sheet(found).weighings


def test_a_piece_that_nothing_cooks_is_not_served_with_the_others(batch):
    end = schedule(batch.but(stages=batch.stages[:4])).tasks[-1]
    assert end.title == "Out of the cold with the flat: serve it, or keep it cold; the point is still raw"


def test_a_hot_pot_in_the_log_is_no_warm_fridge(batch):
    hot = Reading(at="16 d 3 h", what="temperature", value="75 degC")
    logged = run(batch.but(log=(hot,)), draws=16)
    assert not any(
        verdict.name == "temperature in the log" and verdict.outcome == "fail" for verdict in logged.verdicts
    )
    assert any("say nothing of the fridge" in each for each in logged.said)


@pytest.mark.usefixtures("all_draws")
def test_served_on_sunday_at_one_and_every_step_before_it(batch):
    """Back from the table: what goes by the thermometer has the time that 9 draws of 10 need, and the meat is still cooked to its heat."""
    sunday = {"zone": "Europe/Berlin", "serve": "2026-12-06 13:00", "after": [{"name": "slice", "lasts": "30 min"}]}
    served = from_table(tomllib.loads(dumps(batch.but(start=None, plan=sunday))))
    found, outcome = schedule(served), run(served)
    at = {task.key: task.at for task in found.tasks}
    assert f"{at['end']:%A %H:%M}" == "Sunday 13:00" and f"{at['after-1']:%H:%M}" == "12:30"
    assert [at[f"stage-{n}"] for n in range(1, 7)] == sorted(at[f"stage-{n}"] for n in range(1, 7))
    spent = [
        (at[key] - at[f"stage-{n}"]).total_seconds() for n, key in ((4, "stage-5"), (5, "stage-6"), (6, "after-1"))
    ]
    for seconds, stage in zip(spent, (3, 4, 5), strict=True):
        waited = outcome.waited(stage)[0]
        late = float(np.quantile(waited, 0.9))
        assert late - 1 <= seconds <= late + 300 and seconds > np.median(waited)
        detail = next(task.detail for task in found.tasks if task.key == f"stage-{stage + 1}")
        assert "in 8 of 10. Until the middle is" in detail
    assert found.planned.batch.stages[4].until == batch.stages[4].until  # nobody takes it out by the clock
    assert float(found.planned.history.temperature(found.planned.history.ends(4), "core", "point")) == pytest.approx(
        361.15, abs=0.1
    )
    lead = outcome.lead
    assert lead.begin == at["stage-3"].replace(tzinfo=None)  # the report says the same hour as the plan
    (night,) = [each for each in found.remarks if "in the night" in each]  # the brine and the bag begin before 6:00
    assert 'Write hours = "06:00-22:00" under [plan]' in night and "cook and chill the day before" in night
    said = " ".join(words(outcome).split())
    assert f"Begin on Sunday 6 December at {lead.begin:%H:%M} to serve on Sunday at 13:00" in said
    assert "chill it or hold it above 57.2 °C; do not let it stand" in said
    assert plain(outcome)["to the table"]["high_s"] == lead.high
    told = calendar(found, datetime(2026, 11, 1, tzinfo=UTC)).decode().replace("\r\n ", "")
    assert "in 8 of 10" in told and "DTSTART:20261206T120000Z" in told
