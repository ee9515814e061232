"""Learning as a cook meets it: what `learn` says of five sorts of logs, `carry` into another batch, `compare`, and every refusal."""

from __future__ import annotations

import csv
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from curelab import Bath, Brine, InputError, Piece, Rest, simulate
from curelab.__main__ import main
from curelab.batch import Batch, Reading, load, save
from curelab.learn.fit import fit
from curelab.learn.readings import Measurement, from_log, measure
from curelab.learn.update import update
from curelab.learn.words import _verdict
from curelab.paper.carry import carry
from curelab.paper.logbook import append_reading, locked, undo
from curelab.recipe.meat_and_fridge import Known, MeatAndFridge, load_profile, save_profile
from curelab.sources import datasets_folder, default_numbers

pytestmark = pytest.mark.usefixtures("few_reports")

DAY = 86400.0
POINT = Piece(name="point", thickness="5 cm", weight="2 kg", tissue="brisket point")
STAGES = (
    Brine(bath=Bath(water="2 kg", salt="120 g"), temperature="3 degC", lasts="14 d", lying=False),
    Rest(temperature="3 degC", lasts="2 d"),
)
FAST, SLOW = 0.5, 0.22
MINE = MeatAndFridge(
    schema=1, name="My butcher", known=[Known(key="obstruction.lean", low=0.4, value=0.46, high=0.53)], learned_from="March (m1)"
)  # fmt: skip


@cache
def meat(obstruction: float):
    numbers = default_numbers().with_values({"obstruction.lean": obstruction})
    return simulate((POINT,), STAGES, numbers=numbers)


def shown(obstruction: float, what: str, day: float, off: float = 0.0) -> Reading:
    """What an instrument would show, as a cook writes it down."""
    value = measure(meat(obstruction), Measurement(what, day * DAY, 1.0, 1.0)) + off
    words = {"weight": f"{value:.3f} kg", "salometer": f"{value:.1f}"}.get(what, f"{100 * value:.2f} %")
    return Reading(at=day * DAY, what=what, value=words, error="0.5" if what == "salometer" else "")


def batch(*log: Reading, name: str = "A test", **more) -> Batch:
    return Batch(schema=1, name=name, pieces=(POINT,), stages=STAGES, log=log, **more)


@pytest.fixture
def files(tmp_path):
    """Two batches and a meat-and-fridge file."""
    save(batch(*(shown(FAST, "salometer", day) for day in (0.1, 2, 4)), id="a1"), tmp_path / "a.toml")
    (tmp_path / "new.toml").write_bytes((datasets_folder() / "new_batch.toml").read_bytes())
    save_profile(MINE, tmp_path / "mine.toml")
    return tmp_path


def said(arguments, capsys) -> tuple[int, str, str]:
    code = main([str(word) for word in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def flat(words: str) -> str:
    return " ".join(words.split())


# ---- what is said ----------------------------------------------------------------------------------------------------


def headline(*log: Reading, **more) -> str:
    return update(batch(*log, **more), count=64).told.headline


def test_a_brine_that_falls():
    words = headline(*(shown(FAST, "brine strength", day) for day in (0, 2, 4)))
    pattern = r"Your brine fell from 5\.66 to 4\.35 % by day 4: this meat probably takes salt faster than typical; "
    assert re.fullmatch(
        pattern + r"out on day (\d+) rather than (\d+) \((\d+) to (\d+) in 8 of 10 simulated batches\)\.", words
    )
    now, before, early, late = map(int, re.findall(r"\d+", words.split(";")[1])[:4])
    assert early < now < late and now < before


def test_a_day_moves_in_words_only_with_its_reason():
    """Weight and warmth move the day a little; neither says how fast this meat takes salt, which is the reason that a cook reads."""
    log = (shown(FAST, "weight", 7), Reading(at=2 * DAY, what="temperature", value="5 degC"))
    words = headline(*log)
    assert "next to nothing" in words and "rather than" not in words


def test_degrees_of_a_salometer():
    words = headline(*(shown(SLOW, "salometer", day) for day in (0.1, 2, 4)))
    assert re.match(
        r"Your brine fell from 22\.\d to 1\d\.\d degrees by day 4: this meat probably takes salt slower than", words
    )
    assert "on day 4:" in headline(shown(SLOW, "salometer", 4)) and "showed 19" in headline(shown(SLOW, "salometer", 4))


def test_weights_tell_nothing_of_the_pace():
    words = headline(*(shown(FAST, "weight", day) for day in (0.01, 7, 14)))
    assert words.startswith("The point gained weight from 2 to 2.07 kg") and "that says next to nothing" in words
    assert "rather than" not in words and re.search(r"out on day \d+(, as before)? \(", words)
    us = headline(shown(FAST, "weight", 14), units="us")
    assert f"weighed {2.073 / 0.45359237:.3g} lb" in us


def test_core_salt_and_a_taste():
    words = headline(shown(FAST, "core salt", 8), Reading(at=18 * DAY, what="taste", value="right"))
    assert "The core of the point held 1.66 % salt on day 8 and a slice of the point tasted right on day 16: " in words


def test_readings_that_contradict_each_other():
    log = [shown(FAST, "salometer", day, off) for day, off in ((0.1, 0), (2, 5.0), (4, -4.0), (6, 0))]
    found = update(batch(*log), count=64)
    assert "these readings do not agree with each other, and settle nothing about" in found.sentence
    assert "times as fast as typical" not in found.sentence
    assert "Furthest off is the salometer of day 2:" in found.sentence
    log = [shown(0.8, "salometer", day, off) for day, off in ((0.1, 0), (2, 1.2), (4, -1.2), (6, 0), (8, -1))]
    words = update(batch(*log), count=64).told.headline
    assert "but taken together they say this meat takes salt faster than typical" in words


def test_the_words_follow_the_interval():
    """Nothing is called faster while the typical pace lies well inside of what the readings leave open."""
    vague = [shown(0.36, "brine strength", day) for day in (0, 4)]
    assert "as fast as typical, so far;" in headline(*vague)
    readings, _ = from_log(batch(*(shown(0.334, "brine strength", day) for day in (0, 2, 4, 6))))
    sharp = fit((POINT,), STAGES, [replace(one, error=2e-5) for one in readings])  # with all else known
    assert _verdict(sharp, sharp["obstruction.lean"]).endswith("as fast as typical")
    some = update(batch(*(shown(0.46, "brine strength", day) for day in (0, 3))), count=64)
    low, high = (some.fit["obstruction.lean"].ratio[k] for k in (1, 2))
    assert low < 1 < high and "probably takes salt faster" in some.sentence


def test_every_interval_says_what_it_is():
    found = update(batch(shown(FAST, "brine strength", 4)), count=64)
    assert "8 of 10 simulated batches, in 64 draws of" in found.sentence and "9 times in 10" in found.sentence
    for row in found.spread.inputs:
        assert row.label in found.sentence
    days = [(found.begin + found.after.quantile(level)) / DAY for level in (0.1, 0.9)]
    assert f"({days[0]:.0f} to {days[1]:.0f} in 8 of 10 simulated batches)" in found.told.headline


def test_a_long_log_is_told_in_short():
    log = [shown(FAST, what, day) for what in ("salometer", "weight", "core salt", "average salt") for day in (2, 4)]
    words = headline(*log)
    assert re.match(
        r"Your brine fell [^:]*, the point [^:]*, the core of the point [^:]* and 2 other readings: this", words
    )


def test_what_takes_too_long_is_said():
    thick = POINT.but(thickness="22 cm", weight="6 kg")
    stages = (STAGES[0].but(bath=Bath(water="4 kg", salt="240 g")),)
    slow = Batch(
        schema=1, name="t", pieces=(thick,), stages=stages, log=[Reading(at=9 * DAY, what="salometer", value="19.5")]
    )
    words = update(slow, count=64).told.headline
    assert "in half of the simulated batches it has not its salt within 120 days" in words


# ---- learn -----------------------------------------------------------------------------------------------------------


def test_learn_prints_and_saves(files, capsys):
    code, out, err = said(["learn", files / "a.toml", "--save", files / "kept.toml", "--name", "The butcher"], capsys)
    assert code == 0 and err == "" and max(map(len, out.splitlines())) <= 96
    found = update(load(files / "a.toml"))
    assert found.told.headline in flat(out) and found.told.rests_on in flat(out) and "128 draws" in flat(out)
    rows = [line.split() for line in out.splitlines() if line.split()[1:2] == ["salometer"]]
    assert len(rows) == 3
    for row, residual in zip(rows, found.fit.residuals, strict=True):
        assert row[2] == f"{residual.reading.value:.1f}" and row[4] == f"{residual.predicted:.1f}"
        assert row[-1] == f"{residual.off:+.1f}"
    for name, times in (("before the readings", found.before), ("after them", found.after)):
        line = next(line for line in out.splitlines() if name in line)
        assert list(map(int, re.findall(r"\d+", line)))[:2] == [
            round(times.quantile(0.5) / DAY), round(times.quantile(0.1) / DAY)
        ]  # fmt: skip
    kept = load_profile(files / "kept.toml")
    assert kept.name == "The butcher" and kept.learned_from == "A test (a1)"
    assert [row.key for row in kept.known] == ["obstruction.lean"]
    assert kept.known[0].value == pytest.approx(found.fit["obstruction.lean"].value, rel=1e-9)


def test_learn_says_what_it_cannot_tell_and_keeps_nothing_of_it(files, capsys):
    save(batch(shown(FAST, "weight", 14), Reading(at=15 * DAY, what="salometer", value="20")), files / "w.toml")
    code, out, err = said(["learn", files / "w.toml", "--save", files / "kept.toml"], capsys)
    assert code == 2 and "next to nothing" in flat(out) and "rests then" in flat(out)
    assert "nothing that could be carried over" in err and "nothing was written" in err
    assert not (files / "kept.toml").exists()


def test_learn_refuses(files, capsys):
    before = (files / "mine.toml").read_bytes()
    assert "left as it was" in said(["learn", files / "a.toml", "--save", files / "mine.toml"], capsys)[2]
    assert (files / "mine.toml").read_bytes() == before
    code, out, err = said(["learn", files / "new.toml"], capsys)
    assert code == 2 and out == "" and err.count("\n") == 2 and "no reading to learn from" in err
    assert "--save" in said(["learn", files / "a.toml", "--name", "x"], capsys)[2]
    assert "does not exist" in said(["learn", files / "none.toml"], capsys)[2]


# ---- carry -----------------------------------------------------------------------------------------------------------


def test_carry_adds_to_the_file_and_says_what_changes(files, capsys):
    new = files / "new.toml"
    before = new.read_text(encoding="utf-8")
    code, out, err = said(["carry", files / "mine.toml", new], capsys)
    assert code == 0 and err == ""
    assert new.read_text(encoding="utf-8").startswith(before)  # comments and all
    assert load(new).meat_and_fridge == MINE
    row = next(line for line in out.splitlines() if "how fast meat takes salt" in line)
    old, now = re.findall(r"([\d.]+) \(([\d.]+) to ([\d.]+)\)", row)
    typical = (0.183 * 0.61) ** 0.5
    assert "times the typical" in row
    assert [float(number) for number in old] == pytest.approx([1.0, 0.183 / typical, 0.61 / typical], rel=1e-2)
    half = np.hypot(np.log(0.53 / 0.4) / 2, 1.6449 * 0.15)  # wider by what one animal differs from the next
    middle = (0.53 * 0.4) ** 0.5
    assert [float(number) for number in now] == pytest.approx(
        [middle / typical, middle / typical * np.exp(-half), middle / typical * np.exp(half)], rel=1e-2
    )
    again = said(["carry", files / "mine.toml", new], capsys)
    assert again[0] == 0 and "nothing was changed" in again[1]


def test_carry_replaces_only_when_told(files, capsys):
    new = files / "new.toml"
    other = MINE.but(name="Other", known=[Known(key="film.still", low=1e-6, value=2e-6, high=4e-6)])
    save_profile(other, files / "other.toml")
    said(["carry", files / "mine.toml", new], capsys)
    before = new.read_bytes()
    code, _, err = said(["carry", files / "other.toml", new], capsys)
    assert code == 2 and '"My butcher" already' in err and "--replace" in err and new.read_bytes() == before
    code, out, _ = said(["carry", files / "other.toml", new, "--replace"], capsys)
    assert code == 0 and load(new).meat_and_fridge == other
    assert "the layer at a face in still brine" in out and "how fast meat takes salt" in out  # which goes back
    text = new.read_text(encoding="utf-8")
    assert text.count("[meat_and_fridge]") == 1 and text.startswith(
        (datasets_folder() / "new_batch.toml").read_text("utf-8")
    )


def test_what_a_batch_taught_does_not_come_back_to_it(files, capsys):
    said(["learn", files / "a.toml", "--save", files / "kept.toml"], capsys)
    before = (files / "a.toml").read_bytes()
    for more in ([], ["--replace"]):
        code, _, err = said(["carry", files / "kept.toml", files / "a.toml", *more], capsys)
        assert code == 2 and "count twice" in err and (files / "a.toml").read_bytes() == before


@pytest.mark.parametrize("line", ["\n", "\r\n"])
def test_the_log_can_still_be_written_and_undone(files, line):
    """The table stands before the log, so that the last entry stays the last thing in the file."""
    path = files / "a.toml"
    path.write_bytes(("# mine\n" + path.read_text(encoding="utf-8")).replace("\n", line).encode())
    turned = Reading(at=5 * DAY, what="turned")
    append_reading(path, turned)
    carry(path, MINE)
    assert path.read_bytes().startswith(b"# mine") and path.read_bytes().count(
        line.encode()
    ) == path.read_bytes().count(b"\n")
    assert undo(path) == turned
    append_reading(path, turned)
    assert load(path).log[-1] == turned and load(path).meat_and_fridge == MINE


def test_a_file_that_misleads_is_written_anew(files):
    """A note that looks like a head, and a table with a comment in it: what is written is checked, and else all of it is."""
    save(batch(note="see\n[[log]]\nbelow"), files / "odd.toml")
    text = (
        (files / "odd.toml").read_text(encoding="utf-8").replace('"see\\n[[log]]\\nbelow"', '"""see\n[[log]]\nbelow"""')
    )
    (files / "odd.toml").write_text(text, encoding="utf-8")
    _, after = carry(files / "odd.toml", MINE)
    assert load(files / "odd.toml") == after and after.meat_and_fridge == MINE and after.note == "see\n[[log]]\nbelow"
    path = files / "a.toml"
    carry(path, MINE)
    text = path.read_text(encoding="utf-8").replace('name = "My butcher"', 'name = "My butcher"\n# in between')
    path.write_text(text, encoding="utf-8")
    other = MINE.but(name="Other", known=[*MINE.known, Known(key="film.still", low=1e-6, value=2e-6, high=4e-6)])
    before, _ = carry(path, other, replace=True)
    assert load(path) == before.but(meat_and_fridge=other)


def test_carry_and_log_lose_nothing_of_each_other(files):
    path = files / "a.toml"
    lines = [Reading(at=hour * 3600.0, what="note", note=f"line {hour}") for hour in range(12)]
    with ThreadPoolExecutor(4) as writers:
        jobs = [writers.submit(append_reading, path, line) for line in lines]
        jobs.insert(6, writers.submit(carry, path, MINE))
        for job in jobs:
            job.result()
    kept = load(path)
    assert kept.meat_and_fridge == MINE and {line.note for line in lines} <= {line.note for line in kept.log}
    before = path.read_bytes()
    with locked(path), pytest.raises(InputError, match="another program"):
        carry(path, MINE.but(name="x"), replace=True, wait=0.05)
    assert path.read_bytes() == before


def test_carry_refuses_what_is_broken(files, capsys):
    (files / "bad.toml").write_text(
        'schema = 1\nname = "x"\n[[known]]\nkey = "obstruction"\nlow = 1\nvalue = 2\nhigh = 3\n'
    )
    before = (files / "new.toml").read_bytes()
    code, _, err = said(["carry", files / "bad.toml", files / "new.toml"], capsys)
    assert code == 2 and "no uncertain input" in err and (files / "new.toml").read_bytes() == before
    (files / "new.toml").write_text("schema = 1\n")
    assert said(["carry", files / "mine.toml", files / "new.toml"], capsys)[0] == 2


# ---- compare ---------------------------------------------------------------------------------------------------------


def test_compare_sets_batches_side_by_side(files, capsys):
    long = (
        "A brisket with a name that is far too long for any table, from the second weekend of a wet October, cut in two"
    )
    save(batch(shown(FAST, "weight", 14), name=long[:110], units="us"), files / "w.toml")
    code, out, err = said(
        ["compare", files / "a.toml", files / "w.toml", files / "new.toml", "--csv", files / "out.csv"], capsys
    )
    assert code == 0 and err == "" and max(map(len, out.splitlines())) <= 96
    assert "5 cm" in out and " in " not in out.splitlines()[2]  # units of the first batch
    found = update(load(files / "a.toml")).fit["obstruction.lean"]
    value, low, high = found.ratio
    assert f"{value:.2f} ({low:.2f} to {high:.2f})" in out
    assert "- [1]" in out and "- [2]" in out
    assert "[1] The readings say next to nothing" in flat(out) and "[2] Its log holds no reading" in flat(out)
    assert long[:60] in flat(out)
    rows = list(csv.DictReader((files / "out.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["piece"] for row in rows] == ["point", "point", "thick end", "thin end"]
    assert float(rows[0]["thickness [m]"]) == 0.05 and float(rows[0]["pace"]) == pytest.approx(value, rel=1e-9)
    assert rows[1]["pace"] == "" and rows[1]["why"]
    us = said(["compare", files / "a.toml", "--units", "us"], capsys)[1]
    assert "1.97 in" in us and "4.41 lb" in us


def test_compare_judges_each_batch_by_its_own_readings(files, capsys):
    plain = said(["compare", files / "a.toml"], capsys)[1]
    carry(files / "a.toml", MINE)
    assert said(["compare", files / "a.toml"], capsys)[1] == plain


def test_compare_refuses(files, capsys):
    (files / "bad.toml").write_text("schema = 1\n")
    code, out, err = said(["compare", files / "a.toml", files / "bad.toml", files / "none.toml"], capsys)
    assert code == 2 and out == "" and "bad.toml" in err and "none.toml" in err
    (files / "out.csv").write_text("mine")
    code, out, err = said(["compare", files / "a.toml", "--csv", files / "out.csv"], capsys)
    assert code == 2 and "left as it was" in err and (files / "out.csv").read_text() == "mine"


# ---- log -------------------------------------------------------------------------------------------------------------


def test_the_log_takes_salometers_and_tastes(files, capsys):
    path = files / "a.toml"
    assert said(["log", path, "taste", "too", "salty", "--after", "12 d"], capsys)[0] == 0
    assert said(["log", path, "salometer", "17", "degrees", "--error", "0.5", "--after", "8 d"], capsys)[0] == 0
    assert [line.value for line in load(path).log[-2:]] == ["too salty", "17 degrees"]
    before = path.read_bytes()
    code, _, err = said(["log", path, "taste", "nice", "--after", "12 d"], capsys)
    assert code == 2 and "bland, right, salty, too salty" in err and path.read_bytes() == before
    table = said(["log", path, "--csv", "-"], capsys)[1]
    rows = list(csv.DictReader(table.splitlines()))
    assert (rows[-2]["value"], rows[-2]["value_si"], rows[-2]["si_unit"]) == ("too salty", "", "")
    assert (rows[-1]["value_si"], rows[-1]["si_unit"]) == ("17.0", "1")
