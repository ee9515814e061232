"""A batch from the raw cut to the slice: its file, report, plan, sheet and log."""

from __future__ import annotations

import tomllib

import pytest

from curelab.batch import Batch, Reading, dumps, from_table, load
from curelab.outcome import run
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import sheet
from curelab.recipe.stages import STAGES
from curelab.show.data import plain
from curelab.show.report import words
from curelab.sources import datasets_folder

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
        "flat: seal in a bag, and into the hot bath. At 75 °C, 6 h; keep the bag under water",
        "point: into the pot, and simmer. In 6 kg of water at 20 °C to 92 °C,",
        "until the middle is at least 88 °C;",
        "Out of the cold: serve it, or keep it at 1 to 3 °C.",
    ):
        assert sentence in said, sentence
    assert "still raw" not in said
    assert sheet(found).weighings


def test_a_hot_pot_in_the_log_is_no_warm_fridge(batch):
    hot = Reading(at="16 d 3 h", what="temperature", value="75 degC")
    logged = run(batch.but(log=(hot,)), draws=16)
    assert not any(
        verdict.name == "temperature in the log" and verdict.outcome == "fail" for verdict in logged.verdicts
    )
    assert any("say nothing of the fridge" in each for each in logged.said)
