"""The notebooks of the course: one call each, without outputs, and every link leads somewhere. What they show: tests/lab and tests/browser."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest

from curelab.course import LESSONS

ROOT = Path(__file__).parents[2] / "notebooks" / "course"
PATHS = sorted(ROOT.glob("*.ipynb"))


def test_there_is_a_notebook_for_each_lesson_and_two_more():
    lessons = {f"{number}_{each.name}.ipynb": each.name for number, each in enumerate(LESSONS, 1)}
    assert {path.name for path in PATHS} == {*lessons, "course.ipynb", "teacher.ipynb"}
    for file, name in lessons.items():
        (cell,) = nbformat.read(ROOT / file, 4).cells
        assert cell.source == f'from curelab.lab import lesson\nlesson("{name}")'


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.name)
def test_it_is_thin_and_lies_in_git_without_outputs(path):
    notebook = nbformat.read(path, 4)
    assert "widgets" not in notebook.metadata
    for cell in notebook.cells:
        assert cell.metadata.get("editable") is False and cell.metadata.get("deletable") is False
        if cell.cell_type == "code":
            assert not cell.outputs and cell.execution_count is None and len(cell.source.splitlines()) == 2
            assert cell.metadata["jupyter"]["source_hidden"] is True
        for target in re.findall(r"\]\(([^)#]+)\)", cell.source):
            assert (ROOT / target).exists(), target


def test_the_first_page_leads_to_every_lesson_by_its_title():
    words = nbformat.read(ROOT / "course.ipynb", 4).cells[1].source
    for number, lesson in enumerate(LESSONS, 1):
        assert f"[{number}. {lesson.title}]({number}_{lesson.name}.ipynb)" in words
