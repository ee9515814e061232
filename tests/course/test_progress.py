"""What was done is kept whole or not at all, and a file that is broken loses nothing."""

from __future__ import annotations

import errno
import os

import pytest

from curelab.course import progress
from curelab.course.progress import BEFORE, FILE, Progress
from curelab.fields import InputError


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def begun(kept):
    return kept.with_done(kept.of("thick").but(guess=30, second=True))


def test_it_is_kept_and_taken_up_again():
    assert progress.read() == Progress()
    progress.change(begun)
    found = progress.read()
    assert found.of("thick").guess == 30 and found.of("thick").right == (1,) and found.of("cold").guess is None
    assert not found.of("thick").whole
    progress.change(lambda kept: kept.with_done(kept.of("thick").but(first=True, third=True, met=True)))
    assert progress.read().of("thick").whole


def test_another_number_opens_the_questions_again_and_keeps_the_guess():
    progress.change(begun)
    found = progress.change(lambda kept: kept.with_seed(17))
    assert found.seed == 17 and found.of("thick").right == () and found.of("thick").guess == 30
    assert found.with_seed(17) is found


def test_beginning_anew_keeps_what_was_there_beside_it(here):
    progress.change(begun)
    progress.change(lambda kept: kept.with_seed(8))
    before = (here / FILE).read_bytes()
    assert progress.reset() == Progress(seed=8) == progress.read()
    assert (here / BEFORE).read_bytes() == before


def test_a_new_beginning_is_taken_back_and_begun_again(here):
    with pytest.raises(InputError, match="is not there"):
        progress.take_back()
    progress.change(begun)
    before = progress.read()
    assert progress.reset() == Progress() and progress.take_back() == before == progress.read()
    assert progress.take_back() == Progress() and progress.take_back() == before
    (here / BEFORE).write_text("seed = ")
    with pytest.raises(InputError):
        progress.take_back()
    assert progress.read() == before and (here / BEFORE).read_text() == "seed = "


@pytest.mark.parametrize(
    "broken",
    ["seed = ", "seed = 3.5", "seed = 0", "strange = 1", 'seed = "x"', "[[lessons]]\nguess = 3",
     '[[lessons]]\nlesson = "a"\n[[lessons]]\nlesson = "a"'],
)  # fmt: skip
def test_a_broken_file_is_told_and_left_as_it_is(here, broken):
    (here / FILE).write_text(broken)
    with pytest.raises(InputError):
        progress.read()
    with pytest.raises(InputError):
        progress.change(begun)
    assert (here / FILE).read_text() == broken
    assert progress.reset() == Progress()
    assert (here / BEFORE).read_text() == broken and progress.read() == Progress()


def test_a_full_disk_leaves_what_was_there(here, monkeypatch):
    progress.change(begun)
    before = (here / FILE).read_bytes()

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    for work in (lambda: progress.change(lambda kept: kept.with_seed(9)), progress.reset):
        with pytest.raises(InputError, match="No space left"):
            work()
        assert (here / FILE).read_bytes() == before
    assert [path.name for path in here.iterdir()] == [FILE]


def test_a_folder_in_its_place_is_left(here):
    (here / FILE).mkdir()
    for work in (progress.read, progress.reset):
        with pytest.raises(InputError):
            work()
    assert (here / FILE).is_dir()
