"""The benches "To the plate" and "Compare": what their controls write, what they say, and that no number stays that is no longer true."""

import os
import re
import shutil
from datetime import datetime

import pytest

from curelab import Chill, Piece, Simmer
from curelab.batch import Reading, load, save
from curelab.lab.benches import bench
from curelab.lab.benches.compare import batch_files
from curelab.lab.state import State, starting_batch
from curelab.lab.tried import with_cook
from curelab.outcome import run
from curelab.paper.schedule import schedule
from curelab.show.fate import LOST, POISON, UNCOOKED
from curelab.show.to_the_plate import cure_to_serve, to_the_table
from curelab.sources import datasets_folder

DEMOS = datasets_folder()


def plate(name=None):
    state = State(load(str(DEMOS / name)) if name else None, strict=True)
    return state, bench("to the plate", state)


def test_opening_the_page_edits_nothing_and_its_sliders_build_the_batch_an_api_would():
    state, page = plate()
    start = starting_batch()
    assert state.batch == start and "only tried out" in page.says["tried"].text
    page.controls["heat"].value = 92
    page.controls["middle"].value = 86
    page.controls["water"].value = 9
    page.controls["chill"].value = "fridge air"
    page.controls["portion"].value = 6
    cook = Simmer(water="9 kg", temperature="92 degC", until="core temperature >= 86 degC", at_most="24 h")
    chill = Chill(medium="fridge air", temperature="3 degC", until="core temperature <= 4 degC", at_most="48 h")
    thick, thin = start.pieces
    api = start.but(pieces=[thick.but(thickness="6 cm"), thin], stages=[*start.stages, cook, chill])
    assert state.batch == api and with_cook(api) is api
    assert "only tried out" not in page.says["tried"].text


def test_the_sliders_set_the_cook_of_the_piece_that_is_picked():
    state, page = plate("demo_plate.toml")
    hidden = lambda name: page.controls[name].layout.display == "none"  # noqa: E731
    assert hidden("hours") and not hidden("middle") and not hidden("water")
    page.controls["piece"].value = "flat"
    assert not hidden("hours") and hidden("middle") and hidden("water") and page.controls["heat"].value == 75
    before = state.batch.stages
    page.controls["hours"].value = 8
    assert state.batch.stages[2].lasts == 8 * 3600 and state.batch.stages[4] == before[4]
    page.controls["piece"].value = "point"
    page.controls["heat"].value = 95
    assert [round(kelvin, 2) for _, kelvin in state.batch.stages[4].temperature] == [293.15, 368.15]  # the ramp stays


def test_meat_that_is_not_cooked_is_said_so_in_the_place_of_its_taste():
    _, page = plate()
    assert "On the plate" in page.says["answer"].text
    page.controls["middle"].value = 52
    assert page.says["answer"].text == UNCOOKED and "NOT OK" in page.says["trouble"].text
    page.folds[0].press()
    assert page.says["slice"].text == UNCOOKED


def test_meat_that_no_cook_saves_is_not_told_when_to_serve():
    """A cure overdosed ten times passes every check of heat; the page says what becomes of the meat all the same, as the papers do."""
    state, page = plate("demo_plate.toml")
    first = next(n for n, stage in enumerate(state.batch.stages) if stage.cures)
    much = state.batch.but(
        stages=[
            stage.but(bath=stage.bath.but(nitrite=10 * stage.bath.nitrite)) if n == first else stage
            for n, stage in enumerate(state.batch.filled())
        ],
        weigh_out=None,
    )
    state.edit(lambda batch: much)
    assert page.says["answer"].text == POISON.sentence and "nitrite" in page.says["trouble"].text
    page.folds[0].press()
    assert page.says["slice"].text == POISON.sentence


def test_meat_that_a_thermometer_found_warm_is_not_told_when_to_serve():
    state, page = plate("demo_plate.toml")
    warm = [Reading(at=86400.0 * day, what="temperature", value="15 degC") for day in (1, 3)]
    state.edit(lambda batch: batch.but(log=warm))
    assert page.says["answer"].text == LOST.sentence and "The log says 15 °C" in page.says["trouble"].text


def test_a_pot_that_never_gets_there_says_what_to_do():
    _, page = plate()
    page.controls["heat"].value = 70
    assert "does not come to 90 °C" in page.says["answer"].text and not page.pictures["section"].problem


def test_a_time_to_serve_is_kept_and_one_that_is_none_is_told_under_its_field():
    state, page = plate()
    serve = page.controls["serve"]
    serve.value = "Sunday"
    assert 'At what hour? Write it like "Sunday 18:00"' in serve.problem and not state.problems
    serve.value = "2026-11-29 13:00"
    assert "to serve on Sunday at 13:00" in page.says["answer"].text
    serve.value = "some day"
    assert "is not a date and time" in serve.problem and not state.problems
    assert page.says["answer"].text and state.own.serve == "2026-11-29 13:00"
    serve.value = "2026-12-20"
    assert state.own.serve == "2026-12-20 13:00"
    serve.value = "Sunday"
    assert state.own.serve.endswith(" 13:00") and datetime.fromisoformat(state.own.serve).weekday() == 6
    serve.value = ""
    assert not serve.problem and "before you serve" in page.says["answer"].text


def test_a_piece_of_stations_is_not_made_thinner_here():
    """Each of its stations has a thickness of its own, and a new shape takes seconds."""
    start = starting_batch()
    ends = [
        {"at": "0 cm", "thickness": "4 cm", "width": "12 cm"},
        {"at": "20 cm", "thickness": "5 cm", "width": "12 cm"},
    ]
    cut = Piece(name="cut", shape="cut", stations=ends, weight="1.1 kg")  # of one tissue, whose terms come quickly
    page = bench("to the plate", State(start.but(pieces=[cut]), strict=True))
    assert page.controls["portion"].layout.display == "none" and page.controls["ask portion"].disabled
    assert "stations" in page.controls["ask portion"].help
    assert page.pictures["section"].meta["pieces"][0]["banded"] == []


def test_answers_to_buttons_go_with_the_next_change():
    state, page = plate()
    state.set_own(target="0.4 %")
    page.controls["ask salt"].press()
    assert "0.4 % salt on the plate" in page.says["salt"].text
    list(page.settle())
    assert page.says["salt"].text
    page.controls["portion"].value = 5
    assert page.says["salt"].text == ""


def test_a_batch_that_cannot_be_leaves_no_old_number_on_the_plate():
    state, page = plate()
    assert state.edit_piece(0, thickness="9 m") is False
    assert page.says["answer"].text == "" and page.pictures["section"].problem and page.says["trouble"].kind == "alert"


# -- compare -------------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def kitchen(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(DEMOS / "demo_loin.toml", tmp_path / "loin.toml")
    (tmp_path / "not-a-batch.toml").write_text('name = "meat and fridge"\n', encoding="utf-8")
    return tmp_path


def test_batch_files_are_found_and_nothing_else(kitchen):
    assert batch_files(kitchen) == ["loin.toml"]
    (kitchen / "loin.toml").unlink()
    assert all("demo_" in each for each in batch_files(kitchen))


def test_the_same_batch_twice_differs_in_nothing(kitchen):
    save(starting_batch(), kitchen / "my-batch.toml")
    state = State(path="", strict=True)
    state.open("my-batch.toml")
    page = bench("compare", state)
    page.controls["other"].value = "my-batch.toml"
    assert ("my-batch.toml", "my-batch.toml, as it was saved") in page.controls["other"].options
    page.controls["mine"].value = page.controls["theirs"].value = "thin end"
    assert (
        "are ready on the same day" in page.says["answer"].text
        and "too little apart to taste" in page.says["answer"].text
    )
    state.edit_piece(1, thickness="4.4 cm")
    assert re.match(
        r"Thin end of yours is ready [1-3] days? later than thin end of the other: day", page.says["answer"].text
    )
    page.controls["temperature"].value = 10.0
    assert (
        "thin end of yours is warm for too long" in page.says["answer"].text.lower()
        and "Too warm" in page.says["trouble"].text
    )
    assert "Thin end of yours has its salt" not in page.says["answer"].text
    page.controls["temperature"].value = 3.0
    page.controls["salt"].value = 5.0
    assert "thin end of yours tastes saltier" in page.says["answer"].text


def test_both_stand_under_one_axis_each_with_its_own_stages(kitchen):
    page = bench("compare", State(strict=True))
    meta = page.pictures["section"].meta
    (mine, own), (other, theirs) = meta["lanes"]
    assert mine.startswith("Yours: ") and other.startswith("The other: ")
    assert [each[0] for each in own] == ["brine", "rest"] and theirs[-1][0] == "over"
    assert own[-1][2] == theirs[-1][2] == meta["frames"] - 1
    assert [piece["lane"] for piece in meta["pieces"]] == [0, 1]


def test_a_long_name_is_cut_between_words(kitchen):
    page = bench(
        "compare", State(starting_batch().but(name="A shoulder for the long table at the end of May"), strict=True)
    )
    assert page.pictures["section"].meta["lanes"][0][0] == "Yours: A shoulder for the long table …"


def test_a_file_that_goes_away_or_turns_bad_takes_every_number_along(kitchen):
    page = bench("compare", State(strict=True))
    for fold in page.folds:
        fold.press()
    assert page.says["answer"].text and page.table.value
    (kitchen / "loin.toml").write_text("pieces = [", encoding="utf-8")
    page.controls["again"].press()
    assert page.says["answer"].text == page.table.value == "" and page.pictures["section"].problem
    (kitchen / "loin.toml").unlink()
    page.controls["again"].press()
    assert "is not there any more" in page.says["trouble"].text and page.says["answer"].text == ""
    shutil.copy(DEMOS / "demo_loin.toml", kitchen / "loin.toml")
    page.controls["again"].press()
    assert page.says["answer"].text and not page.pictures["section"].problem


def test_a_file_that_changed_is_read_anew(kitchen):
    page = bench("compare", State(strict=True))
    before = page.says["answer"].text
    changed = load(str(kitchen / "loin.toml")).but(name="Another loin")
    changed = changed.but(pieces=[changed.pieces[0].but(thickness="2 in")])
    (kitchen / "loin.toml").unlink()
    save(changed, kitchen / "loin.toml")
    os.utime(kitchen / "loin.toml", (1, 1))
    page.redraw()
    assert page.says["answer"].text != before
    assert page.pictures["section"].meta["lanes"][1][0] == "The other: Another loin"


def test_serve_on_is_that_of_the_plan_and_says_when_to_begin_curing():
    """All dates hang on it; and the page begins to cook as early as the report does, for both count the same draws."""
    found = load(str(DEMOS / "demo_plate.toml"))
    planned = found.but(start=None, plan={"zone": "Europe/Berlin", "serve": "2026-12-20 13:00"})
    state = State(planned, strict=True)
    page = bench("to the plate", state)
    serve = page.controls["serve"]
    assert serve.value == "2026-12-20 13:00"
    serve.value = "2026-12-20 18:00"
    assert state.batch.plan.serve == "2026-12-20 18:00" and state.own.serve is None
    laid = schedule(state.batch)
    assert laid.end.hour == 18 and any("begin curing on" in each for each in laid.remarks)
    for _ in page.settle():
        pass
    said = page.says["answer"].text
    outcome = run(state.batch, draws=page.state.spread(planned.filled()).count)
    assert to_the_table(outcome)[0].split(":")[0] in said
    assert cure_to_serve(outcome) in said and "Begin curing on" in said
