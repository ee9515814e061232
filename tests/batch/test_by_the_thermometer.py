"""Where a thermometer in the meat says when a stage is over, every draw waits for its own, and what follows begins from there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from curelab.batch import load
from curelab.engine.drawn import drawn_case
from curelab.engine.simulate import simulate
from curelab.outcome import run
from curelab.show.report import words
from curelab.sources import datasets_folder
from curelab.spread import Chance

COOK, CHILL, SIMMER, LAST = 2, 3, 4, 5  # stages of the demo; the second, third and last go by the thermometer


@pytest.fixture(scope="module")
def outcome():
    return run(load(datasets_folder() / "demo_plate.toml"), draws=16)


def test_every_draw_is_as_warm_as_was_asked_for(outcome):
    history = outcome.spread.case.solve(outcome.spread.draws.columns)
    for stage, piece, kelvin in ((CHILL, "flat", 277.15), (SIMMER, "point", 361.15), (LAST, "point", 277.15)):
        found = history.temperature(np.reshape(history.ends(stage), (-1, 1)), "core", piece)
        assert found == pytest.approx(kelvin, abs=0.05)
        spent = history.ends(stage) - history.begin(stage)
        assert np.ptp(spent) > 0.2 * np.median(spent)  # so that a common clock would leave many draws too cool
    assert np.ptp(history.ends(COOK)) == 0  # this one goes by the clock
    assert all(np.abs(row["residual"]).max() < 1e-9 for row in history.budget)  # salt and water of every stretch


def test_the_next_stage_begins_where_each_draw_ended(outcome):
    """Against a batch of one draw alone, simulated by itself."""
    spread = outcome.spread
    history = spread.case.solve(spread.draws.columns, few=False)
    for draw in (0, 7):
        values = {key: float(column[draw]) for key, column in spread.draws.columns.items()}
        alone = simulate(
            *drawn_case(spread.case.pieces, spread.case.stages, spread.case.numbers, values)[:2],
            loss=spread.case.loss, numbers=drawn_case(spread.case.pieces, spread.case.stages, spread.case.numbers, values)[2],
            segments=history.segments, checked=False,
        )  # fmt: skip
        assert history.ends(LAST)[draw] == pytest.approx(alone.ends(LAST), abs=5.0)
        own = history.of(draw)
        for place, what in (("average", "salt"), ("core", "salt"), ("core", "free nitrite")):
            assert own.at(place, what, own.ends(LAST), "point") == pytest.approx(
                alone.at(place, what, alone.ends(LAST), "point"), rel=2e-3
            )
        half = 0.5 * (own.begin(LAST) + own.ends(LAST))
        assert own.temperature(half, "core", "point") == pytest.approx(
            alone.temperature(0.5 * (alone.begin(LAST) + alone.ends(LAST)), "core", "point"), abs=0.1
        )


def test_draw_after_draw_reads_what_all_read_at_once(outcome):
    spread = outcome.spread
    history = spread.case.solve(spread.draws.columns)
    times = np.concatenate([np.linspace(0.0, 1.0, 7) * history.ends(LAST).min(), [history.ends(SIMMER)[3]]])
    every = history.average("salt", times, "point")
    for draw in (3, 11):
        inside = times <= history.ends(LAST)[draw]
        assert history.of(draw).average("salt", times[inside], "point") == pytest.approx(every[draw, inside], rel=1e-7)


def test_a_cook_by_the_thermometer_is_no_cook_by_chance(outcome):
    """Its lethality is looked at in each draw at 88 °C, so no draw is undercooked; by a common clock 4 of 10 were too cool for the chill."""
    for name, chance in outcome.chances.items():
        if name.startswith("lethality") or name.startswith("cooling, food code"):
            assert chance.passes == 1.0, name
    said = " ".join(words(outcome).split())
    assert "point: the middle 88 °C, the outside" in said
    assert "below, as long as this in every simulated batch" not in said


@pytest.mark.parametrize(
    ("passes", "fails", "became"), [(0.95, 0.05, "pass"), (0.85, 0.1, "unknown"), (0.6, 0.3, "fail")]
)
def test_a_check_of_heat_is_as_sure_as_the_simulated_batches(outcome, passes, fails, became):
    """One rule for all that is promised: `SURE` and `SOME` of `limits.verdict`, as for days."""
    name = "cooling, food code"
    held = replace(outcome)
    held.__dict__["chances"] = {name: Chance(name, passes, fails, 1 - passes - fails, 64, "")}
    before, after = ({each.name: each for each in one.verdicts}[name] for one in (outcome, held))
    assert before.outcome == "pass" and after.outcome == became
    assert ("of 10 simulated batches" in after.sentence) == (became != "pass")
