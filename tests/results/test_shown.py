"""Every result shows itself in a few lines, as a table of HTML and as a table of pandas, and prints nothing of what it holds."""

from __future__ import annotations

import pickle
from functools import cache

import numpy as np
import pandas
import pytest

from curelab import Bath, Brine, Piece, fit_profile, outcome, simulate
from curelab.batch import Reading, load
from curelab.forecast import time_to, window
from curelab.learn.fit import fit
from curelab.learn.readings import Measurement
from curelab.learn.update import update
from curelab.limits import Verdicts, check_all, check_process, worst_first
from curelab.results import MOST_LINES, MOST_ROWS, WIDEST, Shown
from curelab.sources import datasets_folder
from curelab.spread import spread

DAY = 86400.0
PIECE = Piece(name="<point>", thickness="4 cm", weight="1 kg")
CURE = Brine(bath=Bath(water="1 kg", salt="45 g", nitrite="0.2 g"), temperature="3 degC", lasts="7 d", lying=False)
ASKED = "core salt >= 90 % of equilibrium"


@cache
def history():
    return simulate(PIECE, CURE, cells=12)


@cache
def many():
    return spread(PIECE, CURE, count=16)


@cache
def learned():
    batch = load(datasets_folder() / "demo_loin.toml")
    return batch.but(log=[Reading(at="2 d", what="average salt", value="1.2 %", error="0.2 %")])


MADE = {
    "history": history,
    "history of many draws": lambda: simulate(PIECE, CURE, draws={"obstruction.lean": np.linspace(0.2, 0.5, 3)}),
    "one draw of many": lambda: simulate(PIECE, CURE, draws={"obstruction.lean": np.linspace(0.2, 0.5, 3)}).of(1),
    "profile": lambda: history().profile("salt", "5 d"),
    "profiles": lambda: history().profile("salt", ["1 d", "5 d"]),
    "spread": many,
    "spread without draws": lambda: type(many()).single(history()),
    "band": lambda: many().at("core", "salt", ["1 d", "5 d"]),
    "band across": lambda: many().across("salt", "5 d"),
    "band without draws": lambda: type(many()).single(history()).at("core", "salt", ["1 d"]),
    "times": lambda: many().time_to(ASKED),
    "windows": lambda: many().window(cured="core salt >= 1 %", too_salty="average salt >= 1.5 %"),
    "answer": lambda: time_to(ASKED, PIECE, CURE),
    "window": lambda: window(PIECE, CURE),
    "fit": lambda: fit(PIECE, CURE, [Measurement("core salt", "5 d", 0.01, 0.001)]),
    "fit of a profile": lambda: fit_profile([0.002, 0.005], [0.03, 0.01], "2 d", surface=0.05, error=0.002),
    "update": lambda: update(learned(), count=16),
    "outcome": lambda: outcome.run(learned()),
    "verdicts": lambda: check_all(history()),
    "no verdicts": lambda: Verdicts(()),
}


@pytest.mark.parametrize("name", MADE)
def test_it_shows_itself_in_short(name):
    made = MADE[name]()
    assert isinstance(made, Shown)
    said = str(made)
    assert said and repr(made) == said
    assert len(said.splitlines()) <= MOST_LINES and max(map(len, said.splitlines())) <= WIDEST
    assert "array(" not in said and "object at" not in said
    page = made._repr_html_()
    assert page.count("<tr>") <= MOST_ROWS + 1 and "<point>" not in page
    assert ("<table>" in page) == bool(made.rows())
    frame = made.to_frame()
    assert isinstance(frame, pandas.DataFrame)
    assert len(frame) or not made.rows()


def test_what_a_spread_prints_is_no_dump_of_its_draws():
    assert len(repr(many())) < 600 and "16 draws of" in repr(many())
    assert "how fast meat takes salt" in many()._repr_html_()
    assert not many().known or len(repr(many())) < 600


def test_printing_a_spread_computes_nothing():
    fresh = spread(PIECE, CURE, count=16)
    str(fresh), fresh._repr_html_()
    assert not {"usual", "_first"} & set(fresh.__dict__) and not fresh.known


def test_tables_hold_what_the_results_hold():
    profile = history().profile("salt", ["1 d", "5 d"])
    frame = profile.to_frame()
    assert list(frame.columns) == ["time_s", "depth_m", "fraction"] and len(frame) == profile.values.size
    assert (frame["fraction"].to_numpy() == profile.values.ravel()).all() and set(frame["time_s"]) == {DAY, 5 * DAY}
    assert list(history().profile("salt").to_frame().columns) == ["depth_m", "fraction"]
    drawn = MADE["history of many draws"]().profile("salt", ["1 d", "5 d"])
    assert drawn.to_frame().groupby(["draw", "time_s"]).size().tolist() == [len(drawn.depth)] * 6
    times = many().time_to(ASKED)
    assert (times.to_frame()["time_s"] == times.values).all() and times.to_frame()["draw"].tolist() == list(range(16))
    windows = MADE["windows"]()
    assert (windows.to_frame()["opens_s"] == windows.opens).all() and (
        windows.to_frame()["closes_s"] == windows.closes
    ).all()
    band = many().at("core", "salt", ["1 d", "5 d"])
    assert (np.array(band.parts) == band.to_frame()[["low", "middle", "high"]].to_numpy().T).all()
    assert time_to(ASKED, PIECE, CURE).to_frame()["value"][0] == time_to(ASKED, PIECE, CURE).value
    found = MADE["fit"]()
    assert found.to_frame()["value"][0] == found["obstruction.lean"].value
    assert len(many().to_frame()) == 15 * len(many().usual.times)


def test_verdicts_are_a_tuple_and_a_table():
    found = check_all(history())
    assert isinstance(found, tuple) and found == tuple(found) and isinstance(worst_first(found), Verdicts)
    assert isinstance(check_process(history()), Verdicts)
    frame = found.to_frame()
    assert list(frame["name"]) == [each.name for each in found] and list(frame["outcome"]) == [
        each.outcome for each in found
    ]
    assert str(found).startswith(f"{len(found)} checks: ")
    assert pickle.loads(pickle.dumps(found)) == found


def test_long_texts_are_cut():
    class Long(Shown):
        def lines(self):
            return [str(n) * 400 for n in range(9)] + ["last"]

        def rows(self):
            return [{"n": n, "share": n / 3, "none": None} for n in range(40)]

    said = str(Long()).splitlines()
    assert len(said) == MOST_LINES and said[-1] == "and 3 more" and said[0].endswith("...") and len(said[0]) == WIDEST
    page = Long()._repr_html_()
    assert "The first 30 of 40 rows" in page and page.count("<tr>") == 31 and "<td>0.3333</td><td></td>" in page
    with pytest.raises(TypeError, match="a Long has no picture; what has one is History, Piece, Profile, Spread"):
        Long().plot()
