"""The page for learning from a batch: its words are the command's, its pictures the draws', and nothing is written that was refused."""

from __future__ import annotations

import html
import re

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, SealedCure, simulate
from curelab.__main__ import main
from curelab.batch import Batch, Reading, load, save
from curelab.lab.benches import bench, learning
from curelab.lab.state import FEW, QUICK, State
from curelab.learn.readings import Measurement, measure
from curelab.learn.update import update
from curelab.learn.words import what_to_measure
from curelab.recipe.meat_and_fridge import Known, MeatAndFridge, load_profile, save_profile
from curelab.show import learning as pictures
from curelab.sources import datasets_folder, default_numbers

pytestmark = pytest.mark.usefixtures("all_draws")
DAY = 86400.0
POINT = Piece(name="point", thickness="5 cm", weight="2 kg", tissue="brisket point")
BRINE = Brine(
    bath=Bath(water="2 kg", salt="120 g", sugar="40 g"), temperature="3 degC", lasts="14 d", lying=False, stirred=True
)
STAGES = (BRINE, Rest(temperature="3 degC", lasts="2 d"))
FAST = default_numbers().with_values({"obstruction.lean": 0.5})
MINE = MeatAndFridge(
    schema=1, name="My butcher", known=[Known(key="obstruction.lean", low=0.4, value=0.46, high=0.53)], learned_from="March (m1)"
)  # fmt: skip


def shown(what: str, day: float, error: str = "") -> Reading:
    """What an instrument would show in fast meat, as a cook writes it down."""
    value = measure(simulate((POINT,), STAGES, numbers=FAST), Measurement(what, day * DAY, 1.0, 1.0))
    words = {"weight": f"{value:.3f} kg", "salometer": f"{value:.1f}"}.get(what, f"{100 * value:.2f} %")
    return Reading(at=day * DAY, what=what, value=words, error=error)


def batch(*log: Reading, **more) -> Batch:
    given = {"schema": 1, "name": "A test", "pieces": (POINT,), "stages": STAGES, "log": log} | more
    return Batch(**given)


LOG = tuple(shown("salometer", day, "0.5") for day in (0.1, 2, 4))


def made(of: Batch, path: str = "") -> tuple[State, learning.LearningBench]:
    state = State(of, path, strict=True)
    page = bench("learning", state)
    assert isinstance(page, learning.LearningBench)
    return state, page


@pytest.fixture
def kept(tmp_path):
    """A page on a batch with a log, kept in a file."""
    save(batch(*LOG), tmp_path / "mine.toml")
    state, page = made(batch(*LOG), str(tmp_path / "mine.toml"))
    return state, page, tmp_path


def flat(words: str) -> str:
    return " ".join(words.split())


def cells(table: str) -> list[list[str]]:
    """The words in a table of the page, row by row."""
    return [
        [html.unescape(cell) for cell in re.findall(r"<t[dh][^>]*>([^<]*)</t[dh]>", line)]
        for line in table.split("<tr")[1:]
    ]


# ---- the answer ------------------------------------------------------------------------------------------------------


def test_a_log_that_says_nothing_gets_told_what_to_measure():
    _, page = made(batch())
    assert page.says["answer"].text == what_to_measure(batch())
    assert "salometer" in page.says["answer"].text
    assert all(len(sentence.split()) <= 20 for sentence in page.says["answer"].text.split(". "))
    sealed = SealedCure(salt="50 g", temperature="3 degC", lasts="10 d")
    for stages in ((sealed,), (BRINE.but(running=True),)):  # nothing outside the meat changes
        assert "slice" in what_to_measure(batch(stages=stages)) and "salometer" not in what_to_measure(
            batch(stages=stages)
        )
    assert page.tables["estimates"].value == "" and page.tables["estimates"].layout.display == "none"
    assert f"{FEW} draws" in page.says["rests"].text
    list(page.settle())
    assert "512 draws" in page.says["rests"].text


def test_what_was_left_out_is_said_even_where_nothing_is_learned():
    _, page = made(batch(Reading(at=15 * DAY, what="salometer", value="20")))
    assert page.says["answer"].text == what_to_measure(batch())
    assert "rests then" in page.says["cannot"].text


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_page_says_what_the_command_says(tmp_path, capsys, units):
    save(batch(*LOG, units=units), tmp_path / "mine.toml")
    _, page = made(load(tmp_path / "mine.toml"), str(tmp_path / "mine.toml"))
    assert f"{QUICK} draws" in page.says["rests"].text
    steps = list(page.settle())
    assert len(steps) >= 8 and not list(page.settle())  # short steps, and settled once is settled
    assert main(["learn", str(tmp_path / "mine.toml")]) == 0
    out = flat(capsys.readouterr().out)
    found = update(load(tmp_path / "mine.toml"))
    assert page.says["answer"].text == found.told.headline and flat(page.says["answer"].text) in out
    for sentence in (*found.told.details, page.says["details"].text.split(". ")[0]):
        assert sentence in page.says["details"].text and sentence in out
    assert found.told.rests_on in page.says["rests"].text and found.told.rests_on in out
    assert "128 draws" in page.says["rests"].text and all(
        row.label in page.says["rests"].text for row in found.spread.inputs
    )
    for table in ("residuals", "days"):
        for line in cells(page.tables[table].value)[1:]:
            assert flat(" ".join(line)) in out
    for note in (*found.told.cannot, *found.remarks):
        assert note in page.says["cannot"].text


def test_it_says_how_often_the_plan_ends_in_time():
    quick, slow = (batch(*LOG, stages=(BRINE.but(lasts=days), STAGES[1])) for days in ("100 d", "4 d"))
    for of, said in ((quick, "in every simulated batch"), (slow, "in no simulated batch")):
        _, page = made(of)
        assert page.says["details"].text.startswith(
            f"By day {of.stages[0].lasts / DAY:g}, when the plan ends this cure"
        )
        assert said in page.says["details"].text


def test_estimates_stand_in_times_the_typical():
    _, page = made(batch(*LOG))
    found = update(batch(*LOG), count=64).fit["obstruction.lean"]
    label, before, now = cells(page.tables["estimates"].value)[1]
    assert label == "how fast meat takes salt, times the typical"
    ends = [0.183, 0.61]  # of the published range, whose middle is the typical
    typical = (ends[0] * ends[1]) ** 0.5
    wanted = [1.0, *(end / typical for end in ends)]
    assert [float(number) for number in re.findall(r"[\d.]+", before)] == pytest.approx(wanted, rel=6e-3)
    wanted = [number / typical for number in (found.value, found.low, found.high)]
    assert [float(number) for number in re.findall(r"[\d.]+", now)] == pytest.approx(wanted, rel=6e-3)


def test_a_fridge_reading_is_told_in_the_units_of_the_cook():
    log = [Reading(at=day * DAY, what="temperature", value="5 degC") for day in (1, 2, 3)]
    rows = {
        units: next(
            row
            for row in cells(made(batch(*log, units=units))[1].tables["estimates"].value)
            if row[0].startswith("the temp")
        )
        for units in ("metric", "us")
    }
    celsius, fahrenheit = (float(re.findall(r"[-+][\d.]+", rows[units][2])[0]) for units in ("metric", "us"))
    assert 0 < celsius < 2 and fahrenheit == pytest.approx(1.8 * celsius, rel=0.1)
    assert "°C" in rows["metric"][2] and "°F" in rows["us"][2]


def test_it_learns_anew_only_when_the_batch_changes(kept, monkeypatch):
    state, page, _ = kept
    asked = []
    monkeypatch.setattr(learning, "update", lambda *of, **more: asked.append(of) or update(*of, **more))
    page.bands.value = False
    page.bands.value = True
    list(page.settle())
    page.controls["begin"].press()  # refused: there is no such file
    assert asked == []
    state.log(Reading(at=6 * DAY, what="salometer", value="14"))
    assert len(asked) == 1


def test_a_batch_without_a_cure_says_so_and_another_can_be_opened(tmp_path):
    save(batch(*LOG), tmp_path / "mine.toml")
    _, page = made(batch(stages=[Rest(temperature="3 degC", lasts="2 d")]))
    assert "has none" in page.says["trouble"].text and page.says["answer"].text == ""
    assert all(picture.problem for picture in page.pictures.values())
    page.file.value = str(tmp_path / "mine.toml")
    page.controls["open"].press()
    assert page.says["answer"].text.startswith("Your brine fell") and page.says["trouble"].text == ""
    assert not any(picture.problem for picture in page.pictures.values())


def test_no_old_figure_stays_when_something_fails(kept):
    state, page, _ = kept
    assert page.tables["days"].value
    state.edit_piece(0, thickness="5 mm", fat_cap="10 mm")
    assert page.says["answer"].text == page.says["details"].text == page.says["rests"].text == ""
    assert all(page.tables[name].value == "" for name in ("estimates", "residuals", "days"))


# ---- the pictures ----------------------------------------------------------------------------------------------------


def lines(*log: Reading, bands: bool = True, **more):
    found = update(batch(*log, **more), count=64)
    read = pictures.what_was_read(*pictures.both(found, bands=bands), found.readings, found.batch.units)
    middle = pictures.the_whole(*pictures.both(found, bands=bands, long=True), found.cure, found.ends)
    return found, {line.label: line for line in read.series}, {line.label: line for line in middle.series}, read


def test_the_brine_is_drawn_with_its_readings():
    """A salometer is shown as the strength that it floats in: the one the invented meat has, as the log was made from it."""
    _, brine, _, picture = lines(*LOG)
    assert picture.y_label == "salt in the brine, % by weight" and list(brine) == ["as planned", "as learned", "read"]
    truth = simulate((POINT,), STAGES, numbers=FAST)
    read = brine["read"]
    assert np.all(np.diff(read.x) >= 0)
    for entry in LOG:
        there = read.y[np.isclose(read.x, entry.at / DAY)]
        low, high = there.min(), there.max()
        assert 0.5 * (low + high) == pytest.approx(100 * truth.bath("salt", entry.at), rel=5e-3)
        assert high - low == pytest.approx(2 * 0.5 * 0.26395, rel=0.05)  # a degree is a hundredth of saturation
    times = read.x[np.isfinite(read.y)]
    assert times.min() >= 0
    # The log pulls the line to the truth and narrows the band.
    end = 100 * truth.bath("salt", 14 * DAY)
    before, after = brine["as planned"], brine["as learned"]
    day = np.argmin(abs(after.x - 4))
    at_four = 100 * truth.bath("salt", after.x[day] * DAY)
    assert abs(after.y[day] - at_four) < abs(before.y[day] - at_four)
    assert after.high[day] - after.low[day] < before.high[day] - before.low[day]
    assert after.x[-1] == 14 and abs(after.y[-1] - end) < 0.2


def test_readings_at_one_time_still_make_a_picture():
    at_once = [Reading(at=2 * DAY, what="salometer", value=value) for value in ("16", "18")]
    beside = Reading(at=2 * DAY + 600, what="brine strength", value="5 %", error="0.5 %")
    _, brine, _, _ = lines(*at_once, beside)
    assert np.all(np.diff(brine["read"].x) >= 0) and np.nanmax(brine["read"].y) == pytest.approx(5.5, rel=1e-9)
    assert np.isnan(brine["read"].y).sum() == 3


def test_the_middle_crosses_when_the_headline_says():
    found, _, middle, _ = lines(*LOG)
    for label, times in (("as planned", found.before), ("as learned", found.after)):
        line = middle[label]
        crossing = np.interp(90.0, line.y, line.x)  # it only rises
        assert crossing == pytest.approx((found.begin + times.quantile(0.5)) / DAY, rel=0.05)
        assert np.interp(90.0, line.low, line.x) == pytest.approx((found.begin + times.quantile(0.9)) / DAY, rel=0.05)


@pytest.mark.parametrize(
    ("what", "value", "label", "series"),
    [
        ("core salt", "1.5 %", "salt in the middle of the point, % of the meat", "read"),
        ("average salt", "2 %", "salt on the whole of the point, % of the meat", "read"),
        ("taste", "right", "salt on the whole of the point, % of the meat", "tasted"),
        ("weight", "2.2 kg", "weight of the point, kg", "read"),
    ],
)
def test_without_the_brine_what_was_read_is_shown(what, value, label, series):
    found, read, _, picture = lines(Reading(at=10 * DAY, what=what, value=value))
    assert picture.y_label == label and series in read
    stroke = read[series].y[np.isfinite(read[series].y)]
    factor = 1.0 if what == "weight" else 100.0
    middle = factor * found.readings[0].value
    assert stroke.min() < middle < stroke.max() and middle in stroke
    # And what the model says of it there is the fit's own prediction, or near it: the middle case is not the usual one.
    learned = np.interp(10.0, read["as learned"].x, read["as learned"].y)
    assert learned == pytest.approx(factor * found.fit.residuals[0].predicted, rel=0.05)


def test_a_weight_is_shown_in_pounds_where_the_cook_weighs_in_pounds():
    metric, us = (lines(Reading(at=10 * DAY, what="weight", value="2.2 kg"), units=units) for units in ("metric", "us"))
    assert us[3].y_label.endswith("lb")
    for label in ("as planned", "read"):
        assert us[1][label].y == pytest.approx(metric[1][label].y / 0.45359237, rel=1e-6, nan_ok=True)


def test_a_reading_of_the_soak_leaves_a_gap_where_there_is_no_bath():
    from curelab import Soak, Water

    soak = Soak(waters=[Water(amount="4 kg", lasts="10 h", temperature="4 degC")])
    _, bath, _, picture = lines(Reading(at=16.2 * DAY, what="brine strength", value="0.2 %"), stages=(*STAGES, soak))
    line = bath["as planned"]
    resting = (line.x > 14.01) & (line.x < 15.99)
    assert picture.y_label.startswith("salt in the bath") and np.isnan(line.y[resting]).all() and resting.any()
    assert np.isfinite(line.y[~resting]).all()


def test_bands_off_shows_the_fitted_value_alone():
    found, brine, middle, _ = lines(*LOG, bands=False)
    numbers = default_numbers().with_values({"obstruction.lean": found.fit["obstruction.lean"].value})
    truth = simulate((POINT,), STAGES, numbers=numbers)
    line = brine["as learned"]
    assert line.y == pytest.approx(100 * truth.bath("salt", line.x * DAY), rel=1e-6)
    assert all(one.low is None and one.high is None for each in (brine, middle) for one in each.values())
    _, page = made(batch(*LOG))
    assert any(line["band"] for line in page.pictures["read"].meta["series"])
    page.bands.value = False
    for picture in page.pictures.values():
        assert not any(line["band"] for line in picture.meta["series"])
    assert "nothing of how sure it is" in page.says["rests"].text
    assert f"{QUICK} draws" in page.says["rests"].text  # the days in the answer keep their brackets


def test_a_carried_profile_moves_both_lines():
    """As planned it is all taken from there; as learned only what the log does not tell."""
    more = MINE.but(known=[*MINE.known, Known(key="ratio.sugar", low=0.6, value=0.7, high=0.8)])
    found, brine, _, _ = lines(*LOG, bands=False, meat_and_fridge=more)
    learned = found.fit["obstruction.lean"].value
    for label, obstruction in (("as planned", 0.46), ("as learned", learned)):
        numbers = default_numbers().with_values({"obstruction.lean": obstruction, "ratio.sugar": 0.7})
        truth = simulate((POINT,), STAGES, numbers=numbers)
        line = brine[label]
        assert line.y == pytest.approx(100 * truth.bath("salt", line.x * DAY), rel=1e-6)
    sugar = simulate((POINT,), STAGES, numbers=numbers).bath("sugar", 4 * DAY)
    assert pictures.both(found, bands=False)[1].usual.bath("sugar", 4 * DAY) == pytest.approx(sugar, rel=1e-6)
    assert "carried over" in pictures.meaning(found, True)


def test_an_error_that_nobody_wrote_down_is_named():
    _, page = made(batch(Reading(at=2 * DAY, what="salometer", value="16"), shown("core salt", 6, "0.2 %")))
    assert "salometer 1 degree." in page.says["rests"].text and "core salt 0.3" not in page.says["rests"].text
    _, page = made(batch(*LOG))
    assert "no error was written" not in page.says["rests"].text


# ---- the log ---------------------------------------------------------------------------------------------------------


def test_readings_go_into_the_file_and_out_again(kept):
    state, page, folder = kept
    form = page.reading
    form["at"].value, form["value"].value, form["error"].value = "6 d", "14", "0.5"
    answer = page.says["answer"].text
    page.controls["log"].press()
    assert (
        load(folder / "mine.toml").log
        == state.batch.log
        == (*LOG, Reading(at="6 d", what="salometer", value="14", error="0.5"))
    )
    assert page.says["written"].kind == "note" and "day 6.00 salometer 14" in page.says["written"].text
    assert "by day 6" in page.says["answer"].text != answer and form["value"].value == ""
    page.controls["log"].press()  # a second press finds an empty form
    assert len(load(folder / "mine.toml").log) == 4 and page.says["written"].kind == "alert"
    page.controls["unlog"].press()
    assert (
        load(folder / "mine.toml").log == state.batch.log == LOG and "out of the log again" in page.says["written"].text
    )
    assert page.says["answer"].text == answer


def test_what_was_written_by_hand_is_not_taken_out(kept):
    state, page, folder = kept
    before = (folder / "mine.toml").read_bytes()
    page.controls["unlog"].press()
    assert "by hand" in page.says["written"].text and page.says["written"].kind == "alert"
    assert (folder / "mine.toml").read_bytes() == before and state.batch.log == LOG


def test_a_batch_that_is_not_saved_is_told_to_be_saved_first(tmp_path):
    state, page = made(batch())
    page.reading["at"].value, page.reading["value"].value = "2 d", "16"
    page.controls["log"].press()
    assert "save the batch first" in page.says["written"].text and page.says["written"].kind == "alert"
    assert not any(picture.problem for picture in page.pictures.values()) and page.says["answer"].text
    assert page.reading["value"].value == "16"  # not lost
    page.file.value = str(tmp_path / "mine.toml")
    page.controls["save"].press()
    assert page.says["written"].text == page.says["filed"].text == ""
    page.controls["log"].press()
    assert len(load(tmp_path / "mine.toml").log) == 1 == len(state.batch.log)
    (tmp_path / "other.toml").write_text("not mine", encoding="utf-8")
    page.file.value = str(tmp_path / "other.toml")
    page.controls["save"].press()
    assert "left as it was" in page.says["filed"].text and page.says["filed"].kind == "alert"
    assert (tmp_path / "other.toml").read_text(encoding="utf-8") == "not mine"


def test_every_fault_of_a_reading_is_told_at_once_and_nothing_is_written(kept):
    _, page, folder = kept
    before = (folder / "mine.toml").read_bytes()
    form = page.reading
    form["what"].value, form["piece"].value = "core salt", ""
    form["at"].value, form["value"].value, form["error"].value = "soon", "1.5 kg", "-1 %"
    page.controls["log"].press()
    said = page.says["written"].text
    assert page.says["written"].kind == "alert" and all(
        f"{form[name].label}: " in said for name in ("at", "value", "error", "piece")
    )
    assert (folder / "mine.toml").read_bytes() == before
    form["piece"].value, form["at"].value, form["value"].value, form["error"].value = "point", "8 d", "1.5 %", ""
    page.controls["log"].press()
    assert load(folder / "mine.toml").log[-1] == Reading(at="8 d", what="core salt", value="1.5 %", piece="point")


def test_the_form_follows_what_is_measured_and_the_batch(kept):
    state, page, _ = kept
    form = page.reading
    form["what"].value = "weight"
    assert form["piece"].value == "point" and form["value"].placeholder == "2.05 kg"
    assert form["error"].placeholder == "0.5 % of the weight if left empty"
    form["what"].value = "salometer"
    assert form["piece"].disabled and form["piece"].value == ""
    form["what"].value = "turned"
    assert form["value"].disabled and form["error"].disabled
    form["what"].value = "taste"
    assert "too salty" in form["value"].placeholder and form["error"].disabled
    state.edit(lambda of: of.but(pieces=[POINT.but(name="left"), POINT.but(name="right")], units="us"))
    assert form["piece"].labels == ["pick one", "left", "right"]
    form["what"].value = "weight"
    assert "lb" in form["value"].placeholder and form["piece"].value == ""


# ---- carry over ------------------------------------------------------------------------------------------------------


def test_what_is_saved_is_what_the_command_saves(kept, capsys):
    _, page, folder = kept
    page.keep["file"].value, page.keep["name"].value = str(folder / "page.toml"), "The butcher"
    page.controls["keep"].press()
    assert page.says["kept"].kind == "note" and "page.toml" in page.says["kept"].text
    arguments = ["learn", folder / "mine.toml", "--save", folder / "command.toml", "--name", "The butcher"]
    assert main([str(word) for word in arguments]) == 0
    capsys.readouterr()
    assert (folder / "page.toml").read_bytes() == (folder / "command.toml").read_bytes()
    page.controls["keep"].press()
    assert "left as it was" in page.says["kept"].text and page.says["kept"].kind == "alert"
    page.controls["begin"].press()  # its own lesson
    assert "count twice" in page.says["kept"].text and page.state.batch.meat_and_fridge is None and page.state.saved
    assert not any(picture.problem for picture in page.pictures.values())


def test_nothing_is_saved_of_a_log_that_says_nothing(tmp_path):
    for log in ((), (Reading(at=14 * DAY, what="weight", value="2.2 kg"),)):
        _, page = made(batch(*log))
        page.keep["file"].value = str(tmp_path / "none.toml")
        page.controls["keep"].press()
        assert page.says["kept"].kind == "alert" and not (tmp_path / "none.toml").exists()
    page.keep["file"].value = ""
    page.controls["keep"].press()
    assert "type a name like" in page.says["kept"].text


def test_begin_with_what_another_batch_taught_and_take_it_out_again(kept):
    state, page, folder = kept
    warm = Known(key="temperature", low=0.1, value=0.5, high=0.9)
    save_profile(MINE.but(known=[*MINE.known, warm]), folder / "my-meat.toml")
    page.keep["file"].value = str(folder / "my-meat.toml")
    answer, file = page.says["answer"].text, (folder / "mine.toml").read_bytes()
    page.controls["begin"].press()
    assert state.batch.meat_and_fridge == load_profile(folder / "my-meat.toml") and not state.saved
    assert "counts from the plan" in page.says["kept"].text
    assert '"My butcher"' in page.says["kept"].text and "learned from March (m1)" in page.says["begins"].text
    label, before, now = cells(page.tables["changes"].value)[1]
    typical = (0.183 * 0.61) ** 0.5
    assert label.startswith("how fast meat takes salt") and before.startswith("1.00 ")
    assert float(now.split()[0]) == pytest.approx((0.4 * 0.53) ** 0.5 / typical, rel=6e-3)
    assert page.says["answer"].text != answer and (folder / "mine.toml").read_bytes() == file
    page.controls["begin"].press()
    assert "already" in page.says["kept"].text and page.tables["changes"].value == ""
    page.controls["without"].press()
    assert state.batch.meat_and_fridge is None and page.says["answer"].text == answer
    assert cells(page.tables["changes"].value)[1][2].startswith("1.00 ")
    page.controls["without"].press()
    assert "nothing to take out" in page.says["kept"].text
    page.controls["begin"].press()
    page.file.value = str(folder / "mine.toml")
    page.controls["save"].press()
    assert load(folder / "mine.toml").meat_and_fridge == load_profile(folder / "my-meat.toml")


def test_a_broken_profile_changes_nothing(kept):
    state, page, folder = kept
    (folder / "bad.toml").write_text(
        'schema = 1\nname = "x"\n[[known]]\nkey = "obstruction"\nlow = 1\nvalue = 2\nhigh = 3\n', encoding="utf-8"
    )
    before = state.batch
    for name, said in (("bad.toml", "no uncertain input"), ("none.toml", "does not exist")):
        page.keep["file"].value = str(folder / name)
        page.controls["begin"].press()
        assert said in page.says["kept"].text and page.says["kept"].kind == "alert" and state.batch is before


# ---- compare ---------------------------------------------------------------------------------------------------------


def test_the_table_is_that_of_the_command(kept, capsys):
    _, page, folder = kept
    page.files.value = f"{folder / 'mine.toml'}, {datasets_folder() / 'demo_loin.toml'}"
    page.controls["compare"].press()
    assert main(["compare", str(folder / "mine.toml"), str(datasets_folder() / "demo_loin.toml")]) == 0
    out = flat(capsys.readouterr().out)
    table = cells(page.tables["compared"].value)
    assert table[1] == ["A test"] and table[2][0] == "point" and table[3] == ["Pork loin in a strong brine"]
    for line in table:
        assert flat(" ".join(line)) in out
    assert flat(page.says["compared"].text) in out and page.says["compared"].kind == "note"


def test_files_that_cannot_be_compared_are_all_named(kept):
    _, page, folder = kept
    (folder / "bad.toml").write_text("schema = 1\n", encoding="utf-8")
    page.files.value = f"{folder / 'bad.toml'}, {folder / 'none.toml'}, {folder / 'mine.toml'}"
    page.controls["compare"].press()
    assert "bad.toml" in page.says["compared"].text and "none.toml" in page.says["compared"].text
    assert page.says["compared"].kind == "alert" and page.tables["compared"].value == ""
    page.files.value = " , "
    page.controls["compare"].press()
    assert "type their names" in page.says["compared"].text


def test_names_are_words_and_never_markup(tmp_path):
    odd = batch(*LOG, name="<img src=x onerror=alert(1)>", pieces=[POINT.but(name='"<b>&')])
    save(odd, tmp_path / "odd.toml")
    _, page = made(odd)
    page.files.value = str(tmp_path / "odd.toml")
    page.controls["compare"].press()
    table = page.tables["compared"].value
    assert "<img" not in table and "<b>" not in table
    assert cells(table)[1] == ["<img src=x onerror=alert(1)>"] and cells(table)[2][0] == '"<b>&'
