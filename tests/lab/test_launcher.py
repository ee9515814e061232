"""The working folder: what is copied, brought up to date, and left alone. (The lab itself is started in the browser tests.)"""

import json
import subprocess
import sys

import pytest

from curelab.lab.folder import RECORD, furnish
from curelab.lab.launcher import launch


def notebook(path, text, outputs=()):
    path.parent.mkdir(exist_ok=True)
    cell = {"cell_type": "code", "source": [text], "outputs": list(outputs), "metadata": {}, "execution_count": None}
    path.write_text(json.dumps({"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}))
    return path


def test_files_are_copied_once_brought_up_to_date_and_kept_when_changed(tmp_path):
    work, home = tmp_path / "work", tmp_path / "home"
    shipped = {"a.ipynb": notebook(home / "a.ipynb", "one"), "batches/b.toml": home / "b.toml"}
    shipped["batches/b.toml"].write_text("x = 1\n")
    assert furnish(work, shipped) == []
    assert "one" in (work / "a.ipynb").read_text() and (work / "batches/b.toml").read_text() == "x = 1\n"

    notebook(work / "a.ipynb", "one", outputs=[{"output_type": "stream", "name": "stdout", "text": "ran"}])
    notebook(home / "a.ipynb", "two")
    assert furnish(work, shipped) == []  # outputs are no change of the cook's
    assert "two" in (work / "a.ipynb").read_text()

    notebook(work / "a.ipynb", "my own words")
    (work / "batches/b.toml").write_text("x = 2\n")
    notebook(home / "a.ipynb", "three")
    shipped["batches/b.toml"].write_text("x = 3\n")
    assert [sentence.split("; ")[0] for sentence in furnish(work, shipped)] == [
        "kept your own a.ipynb",
        "kept your own batches/b.toml",
    ]
    assert "my own words" in (work / "a.ipynb").read_text() and (work / "batches/b.toml").read_text() == "x = 2\n"

    (work / "a.ipynb").rename(work / "mine.ipynb")
    assert len(furnish(work, shipped)) == 1
    assert "three" in (work / "a.ipynb").read_text()
    assert sorted(path.name for path in work.rglob("*")) == sorted(
        [RECORD, "a.ipynb", "b.toml", "batches", "mine.ipynb"]
    )


def test_a_folder_that_another_hand_filled_is_not_overwritten(tmp_path):
    home = notebook(tmp_path / "home" / "a.ipynb", "ours")
    notebook(tmp_path / "work" / "a.ipynb", "theirs")
    assert len(furnish(tmp_path / "work", {"a.ipynb": home})) == 1
    assert "theirs" in (tmp_path / "work" / "a.ipynb").read_text()


def test_a_notebook_that_is_not_there_is_named(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"no notebook 'nowhere.ipynb'; there are "):
        launch("nowhere.ipynb", folder=tmp_path / "work")
    assert not (tmp_path / "work").exists()


def test_the_launcher_does_not_wait_for_the_widgets():
    late = {"ipywidgets", "anywidget", "plotly", "pandas", "jupyterlab"}
    code = f"import sys, curelab.lab.launcher; print(sorted({late!r} & set(sys.modules)))"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )
