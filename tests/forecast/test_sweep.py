"""Sweeps: a row for every combination, each equal to a simulation by hand; the same digits from any executor; refusals before any work."""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest

from curelab import Bath, Brine, Criterion, InputError, Piece, Rest, Tissue, simulate, sweep
from curelab.sources import default_numbers

DAY = 86400.0
PIECE = Piece(name="point", thickness="4 cm", weight="1 kg")
CURE = Brine(bath=Bath(water="1 kg", salt="45 g", nitrite="0.2 g"), temperature="3 degC", lasts="7 d")
REST = Rest(temperature="3 degC", lasts="1 d")
OVER = {"thickness": ["3 cm", 0.05], "days": [4, 8]}
ASK = ["core salt", "core salt >= 1 %", "average salt of the water phase at 3 d", "weight"]


def weight_of_the_bath(history):
    return history.bath("salt")


def test_a_row_for_every_combination_as_by_hand():
    table = sweep(PIECE, CURE, over=OVER, ask=ASK)
    assert list(table.columns) == ["thickness", "days", *ASK]
    assert table[["thickness", "days"]].to_numpy().tolist() == [["3 cm", 4], ["3 cm", 8], [0.05, 4], [0.05, 8]]
    for _, row in table.iterrows():
        history = simulate(PIECE.but(thickness=row["thickness"]), CURE.but(lasts=row["days"] * DAY))
        assert row["core salt"] == history.core("salt") and row["weight"] == history.weight()
        assert row["core salt >= 1 %"] == history.first_time("core salt >= 1 %")
        assert row[ASK[2]] == history.average("salt", 3 * DAY, basis="water phase")
    assert np.isinf(table["core salt >= 1 %"]).any() and not np.isinf(table["core salt >= 1 %"]).all()


@pytest.mark.parametrize(
    ("key", "value", "piece", "stages", "numbers"),
    [
        ("fat_cap", "5 mm", PIECE.but(fat_cap="5 mm"), [CURE, REST], {}),
        ("tissue", "pork loin", PIECE.but(tissue="pork loin"), [CURE, REST], {}),
        ("days", "5 d", PIECE, [CURE.but(lasts="5 d"), REST], {}),
        ("strength", "6 %", PIECE, [CURE.but(bath=CURE.bath.but(salt=0.06 / 0.94)), REST], {}),
        ("temperature", "5 degC", PIECE, [CURE.but(temperature="5 degC"), REST], {}),
        ("turn_every", "2 d", PIECE, [CURE.but(turn_every="2 d"), REST], {}),
        ("lying", False, PIECE, [CURE.but(lying=False), REST], {}),
        ("lasts", "6 d", PIECE, [CURE.but(lasts="6 d"), REST], {}),
        ("stage 2.lasts", "3 d", PIECE, [CURE, REST.but(lasts="3 d")], {}),
        ("stage 1.bath.nitrite", "0.3 g", PIECE, [CURE.but(bath=CURE.bath.but(nitrite="0.3 g")), REST], {}),
        ("obstruction.lean", 0.4, PIECE, [CURE, REST], {"obstruction.lean": 0.4}),
    ],
)  # fmt: skip
def test_what_can_be_swept(key, value, piece, stages, numbers):
    asked = ["core salt", "core free nitrite", "bath salt at 2 d"]
    row = sweep(PIECE, [CURE, REST], over={key: [value]}, ask=asked).iloc[0]
    history = simulate(piece, stages, numbers=default_numbers().with_values(numbers))
    assert row["core salt"] == history.core("salt") and row["core free nitrite"] == history.core("free nitrite")
    assert row["bath salt at 2 d"] == history.bath("salt", "2 d")
    plain = simulate(PIECE, [CURE, REST])
    assert (history.core("salt"), history.core("free nitrite")) != (plain.core("salt"), plain.core("free nitrite"))


def test_tissues_of_ones_own_are_a_column():
    own = [Tissue(name=f"{d}", water="72 %", protein="22 %", fat="5 %", diffusivity=d) for d in (1e-10, 3e-10)]
    table = sweep(PIECE, CURE, over={"tissue": own}, ask="core salt")
    assert list(table["tissue"]) == own and table["core salt"].is_monotonic_increasing


def test_questions_of_every_sort_and_their_names():
    named = sweep(PIECE, CURE, over={"days": [3]}, ask={"middle": "core salt", "bath": weight_of_the_bath})
    assert list(named.columns) == ["days", "middle", "bath"]
    some = sweep(PIECE, CURE, over={"days": [3]}, ask=[weight_of_the_bath, lambda h: h.length, Criterion.parse("core salt >= 0.1 %"),
                                                      "first bite salt", "average salt at the end"])  # fmt: skip
    assert list(some.columns)[1:] == [
        "weight_of_the_bath", "question 2", "core salt >= 0.1 %", "first bite salt", "average salt at the end",
    ]  # fmt: skip
    history = simulate(PIECE, CURE.but(lasts="3 d"))
    # What was asked before is read along with it, so the last digit hangs on the order.
    assert some.iloc[0, 1:].tolist() == pytest.approx([
        history.bath("salt"), 3 * DAY, history.first_time("core salt >= 0.1 %"), history.first_bite("salt"), history.average("salt"),
    ], rel=1e-13)  # fmt: skip
    both = [PIECE, Piece(name="flat", thickness="3 cm", weight="1 kg")]
    of_flat = sweep(both, CURE, over={"days": [3]}, ask="core salt", piece="flat")
    assert of_flat["core salt"][0] == simulate(both, CURE.but(lasts="3 d")).core("salt", piece="flat")


def test_any_executor_gives_the_same_digits():
    plain = sweep(PIECE, CURE, over=OVER, ask=[*ASK, weight_of_the_bath])
    with ThreadPoolExecutor(2) as threads, ProcessPoolExecutor(2, mp_context=get_context("spawn")) as processes:
        assert sweep(PIECE, CURE, over=OVER, ask=[*ASK, weight_of_the_bath], executor=threads).equals(plain)
        assert sweep(PIECE, CURE, over=OVER, ask=ASK, executor=processes).equals(plain[["thickness", "days", *ASK]])


def test_a_cluster_of_two_workers_gives_the_same_digits():
    try:
        from dask.distributed import Client, LocalCluster
    except ImportError:
        if os.environ.get("CURELAB_CLUSTER") == "required":
            raise
        pytest.skip("dask is not installed (pip install 'curelab[cluster]')")
    plain = sweep(PIECE, CURE, over=OVER, ask=ASK)
    quiet = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None, "silence_logs": 50}
    with LocalCluster(**quiet) as cluster, Client(cluster) as client:
        assert len(client.scheduler_info()["workers"]) == 2
        assert sweep(PIECE, CURE, over=OVER, ask=ASK, executor=client.get_executor()).equals(plain)


def test_the_percentage_stands_where_it_is_wanted(capsys, monkeypatch):
    monkeypatch.setattr("curelab.progress.DELAY", 0.0)
    sweep(PIECE, CURE, over={"days": [3, 4]}, ask="core salt")
    assert capsys.readouterr() == ("", "")
    sweep(PIECE, CURE, over={"days": [3, 4]}, ask="core salt", progress=True)
    out, error = capsys.readouterr()
    assert not out and "sweep:" in error and "%" in error


@pytest.mark.parametrize(
    ("over", "ask", "where", "sentence"),
    [
        ({"thicknes": ["3 cm"]}, "core salt", ["over['thicknes']"], "no such input"),
        ({"stage 3.lasts": ["3 d"]}, "core salt", ["over['stage 3.lasts']"], "no such input"),
        ({"stage 1.bath.pepper": ["3 g"]}, "core salt", ["over['stage 1.bath.pepper']"], "no such input"),
        ({"thickness": ["3 cm", "3 kg"], "days": [1, 2]}, "core salt", ["over['thickness']"], "'3 kg': \"3 kg\" is not a length"),
        ({"days": [1, 0, 900]}, "core salt", ["over['days']"] * 2, "out of range"),
        ({"strength": ["120 %"]}, "core salt", ["over['strength']"], "between 0 and 100 %"),
        ({"strength": ["40 %"]}, "core salt", ["over['strength']"], "cannot exist"),
        ({"obstruction.lean": [float("nan")]}, "core salt", ["over['obstruction.lean']"], "not a finite number"),
        ({"days": []}, "core salt", ["over"], "0 combinations"),
        ({"days": [1]}, "core pepper", ["ask"], '"core pepper" is not a question'),
        ({"days": [1]}, "core salt >= lots", ["ask"], "is not a fraction"),
        ({"days": [1]}, "core salt at 3 kg", ["ask"], "does not measure a time"),
        ({"days": [1]}, [3.0], ["ask"], "3.0 is no question"),
    ],
)  # fmt: skip
def test_what_does_not_go_is_told_before_anything_is_computed(over, ask, where, sentence, monkeypatch):
    monkeypatch.setattr(sys.modules["curelab.forecast.sweep"], "simulate", None)
    with pytest.raises(InputError) as refused:
        sweep(PIECE, [CURE, REST], over=over, ask=ask)
    assert [problem.where for problem in refused.value.problems] == where and sentence in str(refused.value)
