"""Terms that are kept on disk: the same to the last digit, made anew where a file is broken, within a limit, and not at all where that is said."""

from __future__ import annotations

import os
import re

import numpy as np
import pytest

from curelab.bodies import kept
from curelab.bodies.reduced import Basis
from curelab.files import PART


def some(seed: int = 0) -> Basis:
    chance = np.random.default_rng(seed)
    values, fewer = chance.standard_normal((30, 5)), chance.standard_normal((30, 3))
    return Basis(values, fewer, np.ones(5), np.ones(3), np.full((2, 4), 1e-3), chance.random(30))


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


def never():
    raise AssertionError("made again")


def test_what_was_made_is_read_to_the_last_digit(folder):
    made = kept.get(("a", 1.0), some)
    read = kept.get(("a", 1.0), never)
    for name in ("values", "fewer", "sign", "sign_fewer", "error", "lag"):
        np.testing.assert_array_equal(getattr(read, name), getattr(made, name))
    assert len(list(folder.iterdir())) == 1
    with pytest.raises(AssertionError, match="made again"):
        kept.get(("a", 2.0), never)


BROKEN = {
    "empty": lambda words: b"",
    "something else": lambda words: b"nothing of the sort",
    "cut": lambda words: words[:-200],
    "no seal": lambda words: words[:-32],
    "packed in no known way": lambda words: re.sub(
        rb"(PK\x01\x02.{6})..", lambda found: found[1] + bytes([99, 0]), words, flags=re.DOTALL
    ),
    "one digit": lambda words: words[:900] + bytes([words[900] ^ 1]) + words[901:],
}


@pytest.mark.parametrize("broken", BROKEN.values(), ids=BROKEN)
def test_a_broken_file_is_made_anew(folder, broken):
    kept.get(("a",), some)
    (path,) = folder.iterdir()
    words = path.read_bytes()
    path.write_bytes(broken(words))
    assert path.read_bytes() != words
    again = kept.get(("a",), lambda: some(1))
    np.testing.assert_array_equal(again.values, some(1).values.astype(np.float32))
    np.testing.assert_array_equal(kept.get(("a",), never).values, again.values)


def test_what_was_read_longest_ago_goes(folder, monkeypatch):
    for number in range(3):
        kept.get((number,), some)
    paths = {number: folder / f"{kept._digest(repr((number,)))}.npz" for number in range(3)}
    (folder / f".x.npz.00{PART}").write_bytes(b"x" * paths[0].stat().st_size)  # of a writer that was killed
    os.utime(folder / f".x.npz.00{PART}", (1e9 - 1, 1e9 - 1))
    for number, path in paths.items():
        os.utime(path, (1e9 + number, 1e9 + number))
    kept.get((0,), never)  # read: now it is the youngest
    monkeypatch.setattr(kept, "MOST_BYTES", int(3.5 * paths[0].stat().st_size))
    kept.get((3,), some)
    assert [path.exists() for path in paths.values()] == [True, False, True] and len(list(folder.iterdir())) == 3


@pytest.mark.parametrize("said", ["off", "OFF", ""])
def test_it_can_be_switched_off(tmp_path, monkeypatch, said):
    monkeypatch.setenv(kept.VARIABLE, said)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    kept.get(("a",), some)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_written_changes_nothing(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "file" / "cache"))
    assert kept.get(("a",), some).values.shape == (30, 5)
