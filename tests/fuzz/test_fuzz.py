"""Spoiled batch files, 100 of them, and 300 among the repeats; more by hand: python tests/fuzz/run.py 5000."""

from __future__ import annotations

import subprocess
import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest
from handful import handful

from curelab.batch import load
from curelab.fields import InputError, Problem
from curelab.sources import datasets_folder

SCRIPT = Path(__file__).with_name("run.py")


@pytest.fixture(scope="module")
def runner():
    spec = spec_from_file_location("fuzz_run", SCRIPT)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("count", handful([100, 300], [100]))
def test_a_spoiled_file_is_a_batch_or_refused_in_clean_sentences(count):
    ran = subprocess.run(
        [sys.executable, "-W", "error", str(SCRIPT), str(count)], capture_output=True, text=True, timeout=300
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ran.stdout.startswith(f"{count} files: ") and "0 not as they should be" in ran.stdout


def test_file_n_is_always_the_same_and_every_kind_has_its_turn(runner):
    names = [runner.spoiled(n) for n in range(33)]
    assert names == [runner.spoiled(n) for n in range(33)]
    assert len({name.split()[0] for name, _ in names}) == 11


def raises(error):
    def load(path):
        raise error

    return load


@pytest.mark.parametrize(
    ("outcome", "content", "wrong"),
    [
        (raises(KeyError("pieces")), b"", "KeyError"),
        (raises(InputError([])), b"", "0 lines"),
        (raises(InputError([Problem("", "x" * 61)])), b'name = "' + b"x" * 61 + b'"', "more than 60 letters"),
        (lambda path: load(datasets_folder() / "demo_loin.toml"), b"", ""),
        (raises(InputError([Problem("name", "is too long; shorten it")])), b"", ""),
    ],
)
def test_what_is_not_as_it_should_be_is_noticed(runner, monkeypatch, tmp_path, outcome, content, wrong):
    monkeypatch.setattr(runner, "load", outcome)
    _, said = runner.complaint(tmp_path / "batch.toml", content)
    assert said.startswith(wrong) and bool(said) == bool(wrong)
