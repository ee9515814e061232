"""Opening a page edits nothing; what a bench owns alone lives in the state, beside the batch, and comes back."""

from itertools import product

import pytest
from handful import handful

from curelab.batch import dumps, load
from curelab.lab.benches import BENCHES, bench
from curelab.lab.own import Own, home, keep, kept
from curelab.lab.state import State, opened, starting_batch
from curelab.recipe.stages import Rest, Soak
from curelab.sources import datasets_folder

FILES = ("new_batch.toml", "demo_plate.toml")  # without and with a cook


@pytest.fixture
def saved(tmp_path, monkeypatch):
    """A state whose batch is saved as the working file of an empty folder."""
    monkeypatch.chdir(tmp_path)
    state = State(strict=True)
    assert state.save()
    return state


@pytest.mark.parametrize(
    ("name", "file"),
    handful(
        product(BENCHES, FILES),
        [("thick point", FILES[0]), ("soak", FILES[1])],  # the second tries a soak out
    ),
)
def test_opening_a_page_leaves_the_batch_as_it_was(name, file, tmp_path):
    path = tmp_path / file
    path.write_bytes((datasets_folder() / file).read_bytes())
    state = State(strict=True)
    assert state.open(path)
    before, words = state.batch, dumps(state.batch)
    page = bench(name, state)
    list(page.settle())
    assert state.batch == before and dumps(state.batch) == words and state.saved
    assert path.read_bytes() == (datasets_folder() / file).read_bytes()
    assert sorted(each.name for each in tmp_path.iterdir()) == [file]


def test_a_soak_is_tried_out_until_one_of_its_sliders_is_moved():
    state = State(strict=True)
    page = bench("soak", state)
    assert not any(isinstance(stage, Soak) for stage in state.batch.stages)
    assert "only tried out" in page.says["needed"].text and page.says["answer"].text
    page.controls["days"].value = page.controls["days"].value + 2  # no slider of the soak
    assert state.batch.stages == (state.batch.stages[0], starting_batch().stages[1])
    page.controls["hours"].value = 2
    assert [type(stage) for stage in state.batch.stages[-2:]] == [Soak, Rest]
    assert state.batch.stages[-2].waters[0].lasts == 7200.0 and "tried out" not in page.says["needed"].text


def test_the_rest_after_a_tried_soak_brings_it_into_the_batch():
    state = State(strict=True)
    page = bench("soak", state)
    page.controls["rest"].value = 30
    assert [type(stage) for stage in state.batch.stages[-2:]] == [Soak, Rest] and state.batch.stages[
        -1
    ].lasts == 108000.0


def test_what_a_bench_owns_comes_back_after_a_reload(saved):
    bench("soak", saved).controls["target"].value = 1.8
    bench("equilibrium or strong", saved).controls["strength"].value = 15
    assert saved.own == Own(target="1.8 %", strong="15 %")
    assert saved.saved and saved.batch == starting_batch()  # no part of the batch
    again = opened()
    assert again.own == saved.own and again.batch == saved.batch
    assert bench("soak", again).controls["target"].value == pytest.approx(1.8, rel=1e-12)
    assert bench("equilibrium or strong", again).controls["strength"].value == pytest.approx(15, rel=1e-12)


def test_it_goes_with_the_batch_to_another_file(saved, tmp_path):
    saved.set_own(target="3 %")
    assert saved.save(tmp_path / "other.toml")
    assert kept(tmp_path / "other.toml").target == 0.03
    assert State(strict=True).own == Own()  # a batch without a file begins with the usual values
    state = State(strict=True)
    assert state.open(tmp_path / "other.toml") and state.own.target == 0.03


def test_pages_on_one_state_follow_each_other():
    state = State(strict=True)
    one, other = bench("soak", state), bench("soak", state)
    one.controls["target"].value = 3.0
    assert other.controls["target"].value == pytest.approx(3.0, rel=1e-12)
    assert (
        other.pictures["section"].frame == one.pictures["section"].frame
    )  # the line at what is wanted stands in there


def test_usual_values_make_no_file_and_a_broken_one_is_left_for_the_usual(tmp_path):
    path = tmp_path / "mine.toml"
    keep(Own(), path)
    assert not home(path).exists() and kept(path) == Own()
    keep(Own(strong="20 %"), path)
    keep(Own(), path)
    assert home(path).exists() and kept(path) == Own()
    for words in ("target = ", 'target = "much"', 'aim = "2 %"'):
        home(path).write_text(words, encoding="utf-8")
        assert kept(path) == Own()


def test_a_value_that_cannot_be_is_refused_and_changes_nothing():
    state = State(strict=True)
    assert not state.set_own(target="70 %") and state.own == Own()
    assert "70 %" in state.problems[0]


def test_a_folder_that_cannot_be_written_to_lets_the_slider_move(saved, monkeypatch):
    from curelab.fields import refuse

    def cannot(*given, **more):
        raise refuse("file", "cannot be written")

    monkeypatch.setattr("curelab.lab.own.write", cannot)
    assert saved.set_own(target="2.5 %") and saved.own.target == 0.025 and not saved.problems
    assert saved.save() and not home("my-batch.toml").exists()


def test_a_file_that_is_not_ours_gets_no_values_beside_it(saved, tmp_path):
    (tmp_path / "other.toml").write_text("not mine", encoding="utf-8")
    saved.set_own(target="3 %")
    assert not saved.save(tmp_path / "other.toml") and not home(tmp_path / "other.toml").exists()


def test_the_batch_file_knows_nothing_of_it(saved):
    saved.set_own(target="1.5 %", strong="18 %")
    assert saved.save()
    assert load("my-batch.toml") == starting_batch() and "target" not in dumps(saved.batch)
