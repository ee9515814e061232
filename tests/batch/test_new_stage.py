"""A new kind of stage is its record, its stretches and its words: file, engine, draws, checks, report, plan, sheet and log know no kind."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from typing import ClassVar

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.batch import Batch, Reading, dumps, from_table
from curelab.fields import Part, quantity, ruled, unchecked
from curelab.matter.solutes import SOLUTES
from curelab.outcome import run
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import sheet
from curelab.paper.tasks import READ
from curelab.recipe.criterion import Criterion
from curelab.recipe.stages import Log, Stage, Stretch, TemperatureRule
from curelab.show.report import words

DAY = 86400.0
POINT = Piece(name="point", thickness="4 cm", weight="2 kg")
FIRST, SECOND = Bath(water="2 kg", salt="60 g", nitrite="0.3 g"), Bath(water="3 kg", salt="110 g", nitrite="0.2 g")
REST = Rest(temperature="3 degC", lasts="1 d")


class TwoBrines(Stage):
    """Half of the time in one brine, half in another."""

    tag: ClassVar[str] = "two brines"
    noun: ClassVar[str] = "second brine"
    begins: ClassVar[tuple[str, str]] = ("into the first brine", "pour it away, and into the second brine")
    hint: ClassVar[str] = "weigh the pieces down"
    cures: ClassVar[bool] = True
    until: ClassVar[Criterion | None] = None
    first: Bath = ruled(Part(Bath))
    second: Bath = ruled(Part(Bath))
    temperature: Log = ruled(TemperatureRule())
    lasts: float = quantity("time", "1 min", "400 d")

    @property
    def stretches(self):
        return tuple(
            Stretch(name, self.lasts / 2, self.temperature, bath.water, {each: getattr(bath, each) for each in SOLUTES})
            for name, bath in (("first brine", self.first), ("second brine", self.second))
        )

    @property
    def put_in(self):
        both = (self.first, self.second)
        return Bath(**{name: sum(getattr(bath, name) for bath in both) for name in ("water", *SOLUTES)})

    def warmed(self, by):
        return unchecked(self, temperature=tuple((time, kelvin + by) for time, kelvin in self.temperature))

    def lasting(self, seconds):
        return self.but(lasts=seconds)


NEW = TwoBrines(first=FIRST, second=SECOND, temperature="3 degC", lasts="12 d")
OLD = tuple(Brine(bath=bath, temperature="3 degC", lasts="6 d", lying=False) for bath in (FIRST, SECOND))


@pytest.fixture
def known(monkeypatch):
    """The one line that a file needs: its place among the kinds."""
    rule = next(spec for spec in fields(Batch) if spec.name == "stages").metadata["rule"]
    monkeypatch.setitem(vars(rule), "sorts", (*rule.sorts, TwoBrines))


def batch(*stages, **more) -> Batch:
    return Batch(schema=1, name="A test", pieces=(POINT,), stages=(*stages, REST), start="2026-03-02 09:00", **more)


def test_the_engine_asks_for_stretches_alone():
    new, old = simulate(POINT, (NEW, REST)), simulate(POINT, (*OLD, REST))
    times = np.linspace(0.0, 13 * DAY, 30)
    for quantity_, place in (("salt", "core"), ("salt", "surface"), ("nitrite", "average"), ("free nitrite", "core")):
        assert new.at(place, quantity_, times) == pytest.approx(old.at(place, quantity_, times), rel=1e-12)
    assert [ran.stretch.label for ran in new.ran] == ["first brine", "second brine", "rest"]
    assert new.span(0) == (0.0, pytest.approx(12 * DAY, rel=1e-12))


def test_everything_above_speaks_of_it(known):
    made = batch(NEW)
    assert from_table(tomllib.loads(dumps(made))) == made and 'do = "two brines"' in dumps(made)
    new, old = run(made, draws=32), run(batch(*OLD), draws=32)
    # One stage or two: the draws and the checks of the meat are the same.
    assert new.spread.at_end("core", "salt", 1, "point").middle == pytest.approx(
        old.spread.at_end("core", "salt", 2, "point").middle, rel=1e-9
    )
    checks = [{each.name: each.outcome for each in one.verdicts if "as simulated" in each.name} for one in (new, old)]
    assert checks[0] == checks[1] != {}
    assert [each.stage for each in new.cured] == [0] and new.cured[0].lasted == pytest.approx(12 * DAY, rel=1e-12)
    assert "1. Two brines, day 0 to 12" in words(new, long=True)
    found = schedule(made)
    titles = [task.title for task in found.tasks if task.title != READ]
    assert titles[:2] == ["Into the first brine", "Pour it away, and into the second brine"]
    assert titles[2] == "Out of the second brine, wrap and rest"
    assert " ".join(plan_words(found).split()).count("6 d. Weigh the pieces down.") == 2
    (weighing,) = sheet(found).weighings
    *plain, cure = weighing.amounts
    assert [amount.large for amount in plain] == ["5 kg", "170 g"] and "50 g divided by" in f"{cure}"  # of both brines


def test_what_its_log_says_is_taken_up(known):
    quick = simulate(POINT, (NEW, REST))
    log = [
        Reading(
            at=day * DAY, what="brine strength", value=f"{100 * quick.bath('salt', day * DAY):.3f} %", error="0.1 %"
        )
        for day in (0.1, 3, 5)
    ]
    outcome = run(batch(NEW, log=tuple(log)), draws=32)
    assert outcome.learned is not None and "as fast as typical" in outcome.said[0]
