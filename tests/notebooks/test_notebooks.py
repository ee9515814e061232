"""Every notebook runs from top to bottom in a fresh kernel, is thin, and lies in git without outputs or widget state."""

import ast
import re
from pathlib import Path

import nbformat
import pytest
from handful import handful
from nbclient import NotebookClient

ROOT = Path(__file__).parents[2] / "notebooks"
READ = ("proof.ipynb", "for_engineers.ipynb")  # pages without a bench
BENCHES = [path for path in sorted(ROOT.glob("*.ipynb")) if path.name not in READ]
SOME = [ROOT / "soak.ipynb"]  # the others are opened by a browser in every run

# What each bench must have come to, asked of its objects in the kernel: the picture is drawn and no fault is on the page.
ASKED = """
page = _
for fold in page.folds:
    fold.opened = True
list(page.settle())  # the kernel is asked before the page has rested
assert page.says["answer"].text, "no answer"
assert not page.says["trouble"].text, page.says["trouble"].text
assert all(picture.revision > 0 and not picture.problem for picture in page.pictures.values())
before = {key: picture.revision for key, picture in page.pictures.items()}
page.bands.value = False
assert all(page.pictures[key].revision > count for key, count in before.items())
print(type(page).__name__, "answers")
"""


@pytest.mark.parametrize("path", handful(BENCHES, SOME), ids=lambda path: path.name)
def test_it_runs_and_its_objects_answer(path, tmp_path):
    notebook = nbformat.read(path, 4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    code[0].source = code[0].source.replace("bench(", "_ = bench(")
    notebook.cells.append(nbformat.v4.new_code_cell(ASKED))
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(tmp_path)}}).execute()
    assert "answers" in notebook.cells[-1].outputs[0]["text"]


@pytest.mark.parametrize("path", BENCHES, ids=lambda path: path.name)
def test_it_lies_in_git_without_outputs(path):
    notebook = nbformat.read(path, 4)
    assert "widgets" not in notebook.metadata
    for cell in notebook.cells:
        assert cell.metadata.get("editable") is False and cell.metadata.get("deletable") is False
        if cell.cell_type == "code":
            assert not cell.outputs and cell.execution_count is None
            assert cell.metadata["jupyter"]["source_hidden"] is True


def test_the_page_for_engineers_lies_in_git_without_outputs_and_can_be_changed():
    notebook = nbformat.read(ROOT / "for_engineers.ipynb", 4)
    assert "widgets" not in notebook.metadata
    for cell in notebook.cells:
        assert cell.metadata == {}
        if cell.cell_type == "code":
            assert not cell.outputs and cell.execution_count is None


@pytest.mark.parametrize("path", sorted(ROOT.glob("*.ipynb")), ids=lambda path: path.name)
def test_it_is_thin(path):
    for cell in nbformat.read(path, 4).cells:
        if cell.cell_type == "code":
            lines = [line for line in cell.source.splitlines() if line.strip() and not line.strip().startswith("#")]
            assert len(lines) <= 5, cell.source
            assert not any(
                isinstance(node, (ast.FunctionDef, ast.ClassDef, ast.Lambda))
                for node in ast.walk(ast.parse(cell.source))
            )


@pytest.mark.parametrize("path", sorted(ROOT.glob("*.ipynb")), ids=lambda path: path.name)
def test_its_links_lead_somewhere(path):
    for cell in nbformat.read(path, 4).cells:
        if cell.cell_type == "markdown":
            for target in re.findall(r"\]\(([^)#]+)\)", cell.source):
                if not target.startswith("http"):
                    assert (ROOT / target).exists(), target


@pytest.mark.parametrize("name", handful(["start.ipynb", "for_engineers.ipynb"], ["for_engineers.ipynb"]))
def test_nbval_agrees(name):
    """The notebooks also pass nbval's lax run: the same command a contributor may use."""
    import subprocess
    import sys

    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-o", "addopts=", "--nbval-lax", "--nbval-current-env", str(ROOT / name)],
        capture_output=True, text=True, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
