"""What must become of the meat is one story: report, plan, sheet, page and label follow the same checks, in their first lines and in their last."""

from __future__ import annotations

import re

import pytest

from curelab.batch import from_table
from curelab.outcome import run
from curelab.paper.kitchen_page import page_html
from curelab.paper.pages import label_html, sheet_html
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import label, sheet
from curelab.show.dangers import briefly
from curelab.show.report import words
from curelab.show.stop import STOP
from curelab.sources import read_table

pytestmark = pytest.mark.usefixtures("few_reports")

MIX = {"name": "my mix", "nitrite": "6.25 %"}
WEIGHED = {"method": "equilibrium brine", "water": "2 kg", "salt": "3 %", "nitrite": "120 ppm", "cure": MIX}
BRINE = {"do": "brine", "temperature": "2 degC", "lasts": "14 d"}
POT = {"do": "simmer", "water": "4 kg", "temperature": "85 degC", "lasts": "3 h"}
ICE = {"do": "chill", "medium": "ice water", "temperature": "1 degC", "lasts": "3 h"}


def rest(days: int) -> dict:
    return {"do": "rest", "temperature": "3 degC", "lasts": f"{days} d"}


def made(*stages, **changes):
    table = {
        "schema": 1,
        "name": "made up",
        "rules": "US",
        "start": "2026-11-02 09:00",
        "pieces": [{"name": "loin", "tissue": "pork loin", "thickness": "3 cm", "weight": "1 kg"}],
        "weigh_out": WEIGHED,
        "stages": list(stages),
    }
    batch = from_table({key: value for key, value in {**table, **changes}.items() if value is not None})
    return schedule(batch, run(batch, draws=16, log=False))


@pytest.fixture(scope="module")
def plans():
    strong = {**BRINE, "bath": {"water": "2 kg", "salt": "80 g", "nitrite": "5 g"}}
    return {
        "kept": made(BRINE, POT, ICE, rest(20)),
        "raw": made(BRINE, {**POT, "temperature": "40 degC"}, ICE),
        "slow": made(BRINE, POT, {"do": "hold", "temperature": "40 degC", "lasts": "9 h"}, ICE),
        "warm": made({**BRINE, "temperature": "12 degC"}, POT, ICE),
        "warm and raw": made({**BRINE, "temperature": "12 degC"}),
        "strong": made(strong, POT, ICE, weigh_out=None),
        "good": made(BRINE, POT, ICE, rest(1)),
    }


ENDS = {
    "kept": "do not eat it",
    "raw": "do not eat it",
    "slow": "throw it away",
    "warm": "throw it away",
    "warm and raw": "throw it away",
    "strong": "throw it away",
}


def flat(said: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", said).split())


@pytest.mark.parametrize("name", ENDS)
def test_the_last_step_follows_the_checks(plans, name):
    found = plans[name]
    last = found.tasks[-1]
    assert last.title.endswith(ENDS[name])
    whole = f"{last.title} {last.detail}"
    assert "serve it" not in whole and "Eat it" not in whole and "Cook it to" not in whole
    assert last.detail in flat(plan_words(found)) and any(row.title == last.title for row in sheet(found).rows)


@pytest.mark.parametrize("name", ENDS)
def test_every_paper_begins_with_it(plans, name):
    found = plans[name]
    assert found.stop and found.stop[0].startswith(f"{STOP}: ") and ENDS[name] in found.stop[0].lower()
    head = flat(plan_words(found).split("Mon 2 Nov 2026")[0])
    assert found.stop[0] in head and "(batch" in head
    for paper in (label_html(label(found)), sheet_html(sheet(found)), page_html(found)):
        assert found.stop[0] in flat(paper)


@pytest.mark.parametrize("name", ENDS)
def test_the_report_has_no_taste_and_no_hour_for_what_nobody_may_eat(plans, name):
    said = words(plans[name].told)
    plate = said.partition("ON THE PLATE")[2].partition("CHECKS")[0]
    assert "Begin " not in plate and "sodium" not in plate
    assert ENDS[name] in plate.lower() or name == "warm and raw"
    assert ("Cook on until" in plate) == (name == "raw")


def test_what_is_kept_too_long_stands_in_the_first_lines(plans):
    head = " ".join(words(plans["kept"].told).split("\n\n")[0].split())
    assert (
        "CANNOT SAY: Kept 20 days after cooking; the printed rule is 3 to 4 days in the fridge. Do not eat it" in head
    )
    assert "Kept" not in words(plans["good"].told) and plans["good"].stop == ()


@pytest.mark.parametrize("name", ("warm", "warm and raw", "strong"))
def test_meat_to_throw_away_has_no_day_anywhere(plans, name):
    found = plans[name]
    assert found.answer == () and found.to_check == ()
    for said in (words(found.told), plan_words(found), sheet_html(sheet(found)), page_html(found)):
        assert "Out on" not in flat(said) and "By the answer" not in flat(said) and "cook it then" not in flat(said)
    assert plans["good"].answer and plans["slow"].answer, "a cure is well timed all the same"


def test_cooked_meat_is_eaten_within_days_of_its_cook(plans):
    # USDA FSIS, Corned Beef and Food Safety, trade_rules.csv FSIS-CB-03: 3 to 4 days. Cooked on 16 November, rested a day.
    row = next(row for row in read_table("trade_rules.csv") if row["rule_id"] == "FSIS-CB-03")
    last = plans["good"].tasks[-1]
    assert last.at.day == 17 and "Eat it by Thu 19 Nov: cooked meat keeps 3 days from the cook" in last.detail
    assert last.detail.count(row["source"]) == 1 and row["cut"] not in last.detail


def test_nitrite_of_a_bath_is_never_a_mass_to_weigh(plans):
    found = plans["strong"]
    (weighing,) = sheet(found).weighings
    assert not any(each.large.startswith("5") for each in weighing.amounts)
    (mix,) = [each for each in weighing.amounts if "cure mix, by its label" in each.large]
    assert "500 g divided by the % of nitrite on its label; at 6.25 % that is 80 g" in mix.what  # 5 g / 0.0625
    said = flat(words(found.told))
    assert (
        said.index(mix.what.partition(".")[0][:40]) < said.index("Never use pure nitrite") < said.index("WHEN IT ENDS")
    )


def test_a_line_cut_short_keeps_what_to_do_with_the_meat(plans):
    (taken,) = [each.sentence for each in sheet(plans["strong"]).verdicts if each.sentence.startswith("Nitrite taken")]
    assert "Do not eat it" in taken and "Do not eat it" in flat(page_html(plans["strong"]))
    assert any("Not cooked: do not eat it" in each.sentence for each in sheet(plans["raw"]).verdicts)


@pytest.mark.parametrize(
    ("whole", "short"),
    [
        ("Time: 12 h, at most 6. It lay. Germs made a toxin that no cooking destroys: cut smaller. More.",
         "Time: 12 h, at most 6. Germs made a toxin that no cooking destroys: cut smaller."),
        ("Not ok in 4 of 10 simulated batches. Held: 2 h, at least 3. More.",
         "Not ok in 4 of 10 simulated batches. Held: 2 h, at least 3."),
        ("NOT OK: Held: 2 h, at least 3. More.", "NOT OK: Held: 2 h, at least 3."),
    ],
)  # fmt: skip
def test_briefly_is_the_figure_and_what_follows_from_it(whole, short):
    assert briefly(whole) == short
