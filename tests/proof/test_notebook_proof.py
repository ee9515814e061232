"""The proof notebook, run again cell by cell: what it prints and draws must be what is stored in it, to the last character."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOK = ROOT / "notebooks" / "proof.ipynb"
CELLS = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]


def run_again(notebook: Path) -> subprocess.CompletedProcess[str]:
    """nbval in its strict form, without the settings of this suite."""
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-o",
        "addopts=",
        "-o",
        "filterwarnings=",
        "-p",
        "no:cacheprovider",
    ]
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
    return subprocess.run(
        [*command, "--nbval", "--nbval-current-env", str(notebook)],
        cwd=notebook.parent, env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True, timeout=300,
    )  # fmt: skip


def printed(cell: dict) -> str:
    return "".join(
        "".join(output.get("data", {}).get("text/plain", output.get("text", ""))) for output in cell.get("outputs", [])
    )


@pytest.mark.repeats  # its cases are held one by one in tests/proof/test_proof.py
def test_it_prints_what_it_printed():
    ran = run_again(NOTEBOOK)
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-1000:]
    assert f"{sum(cell['cell_type'] == 'code' for cell in CELLS)} passed" in ran.stdout


@pytest.mark.repeats  # beside the check that it holds
def test_a_stale_figure_is_seen(tmp_path):
    """The same check on three tables, one with a digit changed as it is printed, one as it is drawn, must go red for those two alone."""
    table = "import pandas\npandas.DataFrame({'salt': [0.12870]})"
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(table) for _ in range(3)])
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    NotebookClient(book).execute()
    copy = tmp_path / "stale.ipynb"
    for cell, kind in zip(book.cells[1:], ("text/plain", "text/html"), strict=True):
        data = cell.outputs[0]["data"]
        assert "0.1287" in data[kind]
        data[kind] = data[kind].replace("0.1287", "0.1288")
    nbformat.write(book, copy)
    ran = run_again(copy)
    assert ran.returncode == 1 and "2 failed, 1 passed" in ran.stdout, ran.stdout[-2000:]


def test_its_stored_outputs_are_whole_small_and_all_hold():
    assert NOTEBOOK.stat().st_size < 330_000
    shown = [printed(cell) for cell in CELLS if cell["cell_type"] == "code"]
    assert all(shown[1:])  # the first only imports
    text = "\n".join(shown)
    assert "FAILS" not in text and "NOT RUN" not in text
    assert text.count("holds: apart by") == sum("holds:" in part for part in shown) >= 20
    assert text.count("theirs:") == text.count("holds: apart by")  # every verdict has its source beside it
