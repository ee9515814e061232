"""A batch put together on its page: what the buttons make is what the library makes; undo, saving by itself, files dropped, the log of now."""

import asyncio
from collections import Counter
from datetime import datetime, timedelta

import pytest
from ipywidgets.widgets.widget import _instances

from curelab.batch import Reading, load, save
from curelab.compose import (
    TEMPLATES,
    add_piece,
    add_stage,
    cure_by,
    duplicate_piece,
    move_stage,
    remove_piece,
    template,
)
from curelab.lab import kept_batch, workbench
from curelab.lab.benches import bench
from curelab.lab.hand import NOTE, free_path, in_hand
from curelab.lab.state import WORKING_FILE, State, opened, starting_batch
from curelab.paper.fridge_log import with_temperatures
from curelab.paper.logbook import append_reading
from curelab.show.in_hand import in_hand as in_words
from curelab.sources import datasets_folder

DEMO = datasets_folder() / "demo_loin.toml"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder of pages, in which a state saves by itself."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Nothing is computed: what the page draws is tested elsewhere."""
    for name in ("batch.BatchBench", "thick_point.ThickPoint"):
        monkeypatch.setattr(f"curelab.lab.benches.{name}.draw", lambda self: self.says["answer"].tell("figures"))


def page_of(batch):
    state = State(batch, strict=True)
    return state, bench("batch", state)


def names(state):
    return [piece.name for piece in state.batch.pieces]


def tags(state):
    return [stage.tag for stage in state.batch.stages]


def test_buttons_make_what_the_library_makes():
    start = starting_batch()
    state, page = page_of(start)
    page.controls["piece 2 double"].press()
    assert state.batch == duplicate_piece(start, 1) and page.controls["piece 3 double"].focus
    assert any(key.startswith("Piece 3: thin end 2") for key in page.controls)  # the page has its fields
    page.controls["piece 2 remove"].press()
    assert names(state) == ["thick end", "thin end 2"]
    page.controls["add piece"].press()
    assert state.batch == add_piece(remove_piece(duplicate_piece(start, 1), 1))
    page.controls["kind"].value = "soak"
    page.controls["add stage"].press()
    page.controls["stage 3 earlier"].press()
    assert tags(state) == ["brine", "soak", "rest"] and page.controls["stage 2 earlier"].focus
    assert state.batch == move_stage(add_stage(add_piece(remove_piece(duplicate_piece(start, 1), 1)), "soak"), 2, 1)
    for _ in range(5):
        page.nav.undone += 1
    assert state.batch == start and not page.nav.can_undo and not state.problems


def test_the_way_of_curing_is_chosen_on_the_page():
    start = starting_batch()
    state, page = page_of(start)
    page.controls["way"].value = "sealed dry cure"
    assert state.batch == cure_by(start, "sealed dry cure") and tags(state) == ["sealed cure", "rest"]
    assert page.controls["way"].value == "sealed dry cure" and "Weigh-out: sealed dry cure: salt" in page.controls
    page.nav.undone += 1
    assert state.batch == start and page.controls["way"].value == "equilibrium brine"


def test_what_cannot_be_is_said_and_changes_nothing():
    state, page = page_of(starting_batch())
    before = state.batch
    page.controls["stage 1 remove"].press()
    assert state.batch is before and "the only stage that cures" in page.says["trouble"].text
    assert page.says["answer"].text == "figures" and not state.problems  # nothing was wrong with them
    page.controls["piece 2 double"].press()
    assert not state.problems and page.says["trouble"].text == ""


def test_a_slider_that_is_dragged_is_one_step_of_undo(monkeypatch):
    state = State(strict=True)
    clock = iter((0.0, 0.1, 0.2, 5.0, 5.1, 5.1, 5.2))
    monkeypatch.setattr(kept_batch.time, "monotonic", lambda: next(clock))
    for size in ("7 cm", "6 cm", "5 cm"):
        state.edit_piece(0, thickness=size)
    state.edit_piece(1, thickness="3 cm")
    assert state.undo() and state.batch.pieces[1].thickness == 0.04 and state.batch.pieces[0].thickness == 0.05
    assert state.undo() and state.batch == starting_batch() and not state.undo()


def test_a_change_is_saved_by_itself_and_the_next_page_has_it_in_hand(folder):
    state = opened()
    state.keep()
    assert list(folder.iterdir()) == []  # opening a page writes nothing
    state.edit_piece(0, thickness="7 cm")
    state.keep()
    assert state.saved and load(WORKING_FILE) == state.batch and in_hand(folder).name == WORKING_FILE
    save(template("loin"), "loin.toml")
    assert state.open("loin.toml") and opened().batch == template("loin")
    state.undo()
    assert state.batch == template("loin")  # a file that was opened is no change to take back


def test_what_others_change_meanwhile_stays_and_a_clash_is_told(folder):
    save(template("loin"), WORKING_FILE)
    here, there = opened(), opened()
    there.edit(lambda batch: batch.but(rules="EU"))
    there.keep()
    append_reading(WORKING_FILE, Reading(at="1 d", what="note", note="floats"))
    here.edit(lambda batch: batch.but(name="Mine"))
    here.keep()
    both = load(WORKING_FILE)
    assert (both.name, both.rules, len(both.log)) == ("Mine", "EU", 1) and here.batch == both and here.saved
    there.edit(lambda batch: batch.but(name="Other"))
    there.keep()
    assert not there.saved and "changed here and, in another way, in the file" in there.unkept
    assert load(WORKING_FILE) == both and there.batch.name == "Other" and not there.problems
    assert there.save("other.toml") and not there.unkept and load("other.toml").name == "Other"


def test_a_page_that_is_looked_at_again_shows_what_is_in_hand(folder):
    save(starting_batch(), WORKING_FILE)
    here, there = opened(), opened()
    page = bench("batch", here)
    assert here.elsewhere() is None
    there.edit(add_piece, step=True)
    there.keep()
    page.nav.seen += 1
    assert names(here) == ["thick end", "thin end", "new piece"] and "piece 3 double" in page.controls
    there.open(str(DEMO))
    page.nav.seen += 1
    assert names(here) == ["loin"] and here.path == str(DEMO)


def test_a_page_that_is_left_has_written_and_one_that_is_seen_looks_again(folder, monkeypatch):
    monkeypatch.setattr(workbench, "AGAIN", 0.01)
    monkeypatch.setattr(workbench.Bench, "when_at_rest", lambda page, work: work.close())
    here, there = opened(), opened()
    page, other = bench("batch", here), bench("batch", there)
    drawn = here.revision

    async def both() -> None:
        page.nav.seen += 1
        await asyncio.sleep(0.05)
        assert here.revision == drawn  # nothing new, nothing drawn
        there.edit(add_piece, step=True)
        other.nav.left += 1
        assert there.saved and other.nav.kept == other.nav.left and "saved as" in other.nav.batch
        for _ in range(100):
            await asyncio.sleep(0.01)
            if here.batch == there.batch:
                break
        assert here.batch == there.batch and "piece 3 double" in page.controls
        page.nav.left += 1
        there.edit(add_piece, step=True)
        there.keep()
        await asyncio.sleep(0.05)
        assert here.batch != there.batch  # nobody sees it
        here.edit_piece(0, thickness="thick")
        (folder / "broken.toml").write_text("pieces = 3")
        there.hand.take("broken.toml")
        page.nav.seen += 1
        assert here.problems and here.elsewhere() is None  # said once, and not tried again until it is another file
        there.hand.take(there.path)
        page.nav.seen += 1
        assert here.batch == there.batch and not here.problems
        page.nav.left += 1

    asyncio.run(both())


def test_what_clashes_is_undone_on_the_page_that_says_so(folder):
    save(template("loin"), WORKING_FILE)
    here, there = opened(), opened()
    there.edit(lambda batch: batch.but(name="Theirs"))
    there.keep()
    here.edit(lambda batch: batch.but(name="Mine"))
    here.keep()
    assert "press Undo until it is saved" in here.unkept and here.undo()
    here.keep()
    assert here.saved and not here.unkept and here.batch.name == "Theirs"


def test_what_was_just_changed_is_kept_before_another_file_is_opened(folder):
    save(template("loin"), WORKING_FILE)
    save(template("belly"), "belly.toml")
    here, there = opened(), opened()
    here.edit(lambda batch: batch.but(name="Mine"))
    assert here.open("belly.toml") and load(WORKING_FILE).name == "Mine" and here.batch.name == template("belly").name
    there.edit(lambda batch: batch.but(name="Theirs"))  # a clash: it cannot be kept in that file
    assert not there.open("belly.toml") and there.batch.name == "Theirs" and "in another way" in str(there.problems)
    assert there.save("other.toml") and there.open("belly.toml")


def test_what_came_with_the_lab_is_saved_beside_the_pages(folder):
    (folder / "batches").mkdir()
    (folder / "batches" / "demo_loin.toml").write_bytes(DEMO.read_bytes())
    state = opened()
    state.open("batches/demo_loin.toml")
    assert in_words(state).endswith(": as it came, batches/demo_loin.toml")  # nothing is saved yet
    state.edit_piece(0, thickness="3 inch")
    state.keep()
    assert in_words(state).endswith(": saved as demo_loin.toml")
    assert state.path == "demo_loin.toml" and load("demo_loin.toml") == state.batch
    assert (folder / "batches" / "demo_loin.toml").read_bytes() == DEMO.read_bytes()
    assert free_path(folder / "demo_loin.toml").name == "demo_loin-2.toml"


def test_a_template_begins_a_file_of_its_own(folder):
    state = opened()
    page = bench("batch", state)
    state.edit_piece(0, thickness="7 cm")
    page.controls["template"].value = "loin"
    page.controls["begin"].press()
    assert state.batch.but(id="") == template("loin") and state.path == "loin.toml" and state.saved
    assert load(WORKING_FILE).pieces[0].thickness == 0.07  # what was in hand is kept
    assert page.composing.begun.text == (
        "A new batch from **loin** is in hand now, kept as loin.toml. The batch before stays in my-batch.toml."
    )
    assert page.controls["template"].value == "loin"  # the pick stays where it was
    page.controls["template"].value = next(iter(TEMPLATES))
    page.controls["begin"].press()
    assert sorted(path.name for path in folder.iterdir()) == [NOTE, "equilibrium-brine.toml", "loin.toml", WORKING_FILE]
    assert next(iter(TEMPLATES)) == page.controls["template"].value


def test_files_are_taken_by_dropping_them_and_nothing_is_lost(folder):
    state = opened()
    page = bench("batch", state)
    page.taking.drop.take("../loin.toml", DEMO.read_bytes())
    assert (folder / "loin.toml").read_bytes() == DEMO.read_bytes() and state.batch == load(DEMO)
    assert "is in hand now" in page.says["dropped"].text and page.says["dropped"].kind == "note"
    before, files = state.batch, sorted(folder.iterdir())
    for name, content, said in (
        ("x.toml", b"schema = 1\nname = 3\n", "name: 3 is not a text"),
        ("x.toml", b"\xff\xfe", "is not UTF-8"),
        ("x.pdf", b"%PDF", "is neither a batch file"),
        ("x.csv", b"a;b\nc;d\n", "no column of dates"),
    ):
        page.taking.drop.take(name, content)
        assert said in page.says["dropped"].text and page.says["dropped"].kind == "alert"
        assert state.batch == before and sorted(folder.iterdir()) == files and not state.problems
    assert page.says["answer"].text  # the figures stay: nothing was wrong with them


def test_a_thermometer_is_asked_for_what_it_left_open_and_undo_takes_it_out(folder):
    batch = load(DEMO)
    state, page = page_of(batch)
    start = datetime(2026, 4, 10, 17)
    table = "\n".join(f"{start + timedelta(hours=n):%Y-%m-%d %H:%M};{20}" for n in range(30)).encode()
    page.taking.drop.take("fridge.csv", table)
    assert "could be °C or °F" in page.says["dropped"].text and state.batch == batch
    page.taking.asked["degrees"].value = "C"
    assert state.batch == with_temperatures(batch, table, degrees="C").batch
    assert (
        "is the fridge log now" in page.says["dropped"].text and "20 °C" not in page.says["dropped"].text
    )  # a US batch
    page.nav.undone += 1
    assert state.batch == batch and page.says["dropped"].text == ""  # what is so no more is not said
    page.taking.drop.take("fridge.csv", table)
    page.make()
    assert "is the fridge log now" in page.says["dropped"].text
    state.edit(lambda batch: template("loin"))
    assert page.says["dropped"].text == ""


def test_the_log_takes_the_time_of_now(folder):
    state = opened()
    page = bench("batch", state)
    page.controls["to the log"].press()
    assert page.log_fold.opened and page.controls["log what"].called == 1  # brought under the hand
    page.controls["log value"].value = "2.1 kg"
    page.controls["log piece"].value = "thick end"
    page.controls["log"].press()
    assert "When: the batch has no start" in page.says["written"].text and state.batch.log == ()
    page.controls["start now"].press()
    page.controls["log value"].value, page.controls["log piece"].value = "2,1", "thick end"
    assert page.controls["log value"].keypad == "decimal" and "is in kg" in page.controls["log value"].help
    page.controls["log"].press()
    (entry,) = load(WORKING_FILE).log
    assert (entry.what, entry.value, entry.piece) == ("weight", "2,1 kg", "thick end") and entry.at <= 120.0
    assert page.controls["log value"].value == ""
    for words, at in (("2 h", 7200.0), (f"{datetime.now() + timedelta(hours=3):%Y-%m-%d %H:%M}", 10800.0)):
        page.controls["log what"].value, page.controls["log note"].value = "note", "x"
        page.controls["log at"].value = words
        page.controls["log"].press()
        assert abs(load(WORKING_FILE).log[-1].at - at) <= 120.0
    page.controls["log at"].value = "soon"
    page.controls["log"].press()
    assert "When: 'soon' is not a date and time" in page.says["written"].text and len(load(WORKING_FILE).log) == 3
    page.controls["unlog"].press()
    assert len(state.batch.log) == 2


def test_a_hand_on_the_drawing_does_what_the_knife_and_the_ruler_do():
    """The picture sends what was wanted; the pieces are then those of the library. Nothing is computed of them here."""
    batch = template("simmered and smoked")
    batch = batch.but(stages=batch.stages[:2])
    state = State(batch, strict=True)
    page = bench("batch", state)
    picture = page.pictures["section"]
    assert picture.editable and "piece 1 station 3 thickness" in page.controls

    def by_hand(**wanted):
        page.pictures["section"]._handle_custom_msg(wanted, [])

    by_hand(piece=0, station=2, at=0.25, thickness=0.037)
    assert (state.batch.pieces[0].stations[2].at, state.batch.pieces[0].stations[2].thickness) == (0.25, 0.037)
    assert page.controls["piece 1 station 3 thickness"].value == "37 mm"
    before = state.batch
    by_hand(piece=0, station=2, at=0.05, thickness=0.037)
    assert state.batch is before and "does not lie behind the station before it" in page.says["trouble"].text
    by_hand(piece=0, split=0.2)
    assert names(state) == ["brisket, head", "brisket, tail"] and state.batch.stages == batch.stages
    for words, said in (("", "an empty text is not a length"), ("9 m", "does not lie between the ends")):
        page.controls["piece 2 at"].value = words
        page.controls["piece 2 split"].press()
        assert said in page.controls["piece 2 at"].problem and page.says["answer"].text == "figures"
    page.controls["piece 2 at"].value = "5 cm"
    page.controls["piece 2 split"].press()
    assert names(state) == ["brisket, head", "brisket, tail, head", "brisket, tail, tail"]
    for _ in range(3):
        page.nav.undone += 1
    assert state.batch == batch


@pytest.mark.parametrize("name", ["batch", "thick point"])
def test_a_station_is_added_where_the_cut_is_as_it_was_and_taken_out_again(name):
    batch = template("simmered and smoked")
    batch = batch.but(stages=batch.stages[:2])
    state = State(batch, strict=True)
    page = bench(name, state)

    def press(key):
        (page.controls if name == "batch" else page.measures)[key].press()

    press("piece 1 station 2 add")
    _, before, made, after, *_ = state.batch.pieces[0].stations
    assert made.at == pytest.approx((before.at + after.at) / 2)
    assert made.thickness == pytest.approx((before.thickness + after.thickness) / 2)
    assert state.batch.pieces[0].volume() == pytest.approx(batch.pieces[0].volume(), rel=1e-9)  # nothing was measured
    controls = page.controls if name == "batch" else page.measures
    assert controls["piece 1 station 3 remove"].focus  # the keyboard stays where it was at work
    press("piece 1 station 3 remove")
    assert state.batch.pieces[0].stations == batch.pieces[0].stations
    page.nav.undone += 1
    page.nav.undone += 1
    assert state.batch == batch
    ends = len(batch.pieces[0].stations)
    controls = page.controls if name == "batch" else page.measures
    assert controls[f"piece 1 station {ends} add"].disabled  # nothing is known behind the last one


def test_a_page_that_was_made_anew_leaves_no_widget_behind():
    """What stood there before would come along with every reload, which then takes longer and longer."""
    page = bench("batch", State(strict=True))
    before = Counter(type(each).__name__ for each in _instances.values())
    page.state.edit(lambda batch: duplicate_piece(batch, 1), step=True)
    assert len(_instances) > sum(before.values())
    page.state.undo()
    page.put_by()
    assert Counter(type(each).__name__ for each in _instances.values()) == before
