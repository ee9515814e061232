"""Plan, sheet and label tell one story: log, checks, figures and answer of the same outcome, and a plan that does not work out says so first."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.batch import load
from curelab.paper.pages import label_html, sheet_html
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import label, sheet
from curelab.show.stop import STOP
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")


@pytest.fixture(scope="module")
def bad():
    return schedule(load(datasets_folder() / "demo_brisket.toml"))


@pytest.fixture(scope="module")
def good():
    plate = load(datasets_folder() / "demo_plate.toml")
    return schedule(plate.but(stages=plate.stages[:2]))


def test_a_plan_that_does_not_work_out_begins_with_it(bad):
    first = " ".join(plan_words(bad).split("\n\n")[1].split())
    assert first.startswith(f"{STOP} for the point: ") and "flat" not in first
    assert first in bad.stop
    assert all(said in label_html(label(bad)) and said in sheet_html(sheet(bad)) for said in bad.stop)


def test_one_that_does_says_nothing_of_the_kind(good):
    assert good.stop == () and STOP not in plan_words(good) + label_html(label(good)) + sheet_html(sheet(good))


def test_figures_and_checks_take_up_the_log_as_the_answer_does(bad):
    assert bad.told.learned is not None and bad.planned.learned is None
    last = bad.told.history.ran[-1].stage
    with_log = 100 * bad.told.band("average", "salt", last, "point")[0]
    bands = [np.array(each.band("average", "salt", last, "point")) for each in (bad.told, bad.planned)]
    assert 100 * np.abs(bands[0] - bands[1]).max() > 0.02, "the log must move the figure, or this proves nothing"
    assert f"{with_log:.1f} " in sheet(bad).meat[0].outcome
    names = {verdict.name for verdict in bad.told.verdicts if verdict.outcome == "pass"}
    assert len(sheet(bad).passed) == len({name.partition(" (")[0] for name in names})


def test_where_the_cure_ends_stands_the_day_by_the_answer(bad, good):
    end = next(task for task in bad.tasks if task.title.startswith("Out of the brine"))
    assert end.detail.endswith("By the answer: point: no day is worth waiting for; flat: out on Wed 11 Mar.")
    assert "Out on Thu 12 Mar, as planned, is" in bad.answer[0]
    beside = [task.detail for task in good.tasks if "By the answer" in task.detail]
    assert len(beside) == 1 and "no day" not in beside[0]


def test_steps_that_a_cook_needs_stand_in_the_plan(bad):
    said = plan_words(bad)
    assert "First dissolve salt, cure and sugar" in said and said.count("Read the brine with a salometer") == 3
    assert "Cook it to at least 63 °C in the middle, then rest it 3 minutes." in " ".join(said.split())
    readings = [task.minutes // (24 * 60) for task in bad.tasks if "-reading-" in task.key]
    assert readings == [2, 4, 7]
