"""The teacher's set: a slide and a table for every lesson, written by one command, all or none."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ET

import pytest

from curelab.__main__ import main
from curelab.course import LESSONS, slides
from curelab.fields import refuse
from curelab.paper import pages


def test_every_lesson_has_its_slide_and_its_numbers(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(slides, "png", lambda drawing, wide, high: f"{wide} {high}".encode())
    assert main(["figures", str(tmp_path / "set")]) == 0
    assert f"{len(LESSONS)} slides" in capsys.readouterr().out
    made = sorted(path.name for path in (tmp_path / "set").iterdir())
    assert len(made) == 3 * len(LESSONS) and len(LESSONS) >= 6
    for number, lesson in enumerate(LESSONS, 1):
        (name,) = [each for each in made if each.startswith(f"{number}-") and each.endswith(".svg")]
        text = (tmp_path / "set" / name).read_text(encoding="utf-8")
        words = " ".join(
            "".join(each.itertext()) for each in ET.fromstring(text).iter("{http://www.w3.org/2000/svg}text")
        )
        seen = lesson.live.draw({dial.key: dial.start for dial in lesson.live.dials})
        for said in (
            lesson.title,
            *seen.sentence.replace("**", "").split(),
            "Assumed:",
            "A guide, not a permit",
            "curelab 0.1.0",
        ):
            assert said in words
        for dial in lesson.live.dials:
            assert f"{dial.words}: {dial.start:g}" in " ".join(words.split())
        table = (tmp_path / "set" / name.replace(".svg", ".csv")).read_text(encoding="utf-8")
        assert table.startswith("# ") and table.count("\n") > 20
        assert (tmp_path / "set" / name.replace(".svg", ".png")).read_bytes() == b"1600 900"
    before = {path.name: path.read_bytes() for path in (tmp_path / "set").iterdir()}
    assert main(["figures", str(tmp_path / "set")]) == 2
    assert "is there already" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (tmp_path / "set").iterdir()} == before


def test_without_a_browser_the_drawings_are_there_and_it_is_said(tmp_path, monkeypatch):
    def none(*given):
        raise refuse("PNG", "no browser that draws it was found")

    monkeypatch.setattr(slides, "png", none)
    monkeypatch.setattr(slides, "pictures", lambda done: {"1-x.svg": "<svg/>", "1-x.csv": "a\n"})
    said = slides.write(tmp_path / "set")
    assert sorted(path.name for path in (tmp_path / "set").iterdir()) == ["1-x.csv", "1-x.svg"]
    assert said[1] == "The slides are SVG only, not PNG: no browser that draws it was found."


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path, capsys):
    (tmp_path / "set").write_text("mine", encoding="utf-8")
    assert main(["figures", str(tmp_path / "set")]) == 2
    assert "is a file; name a folder" in capsys.readouterr().err
    assert (tmp_path / "set").read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(pages.browser() is None, reason="no browser on this machine")
def test_a_browser_draws_a_slide_in_dots():
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" width="160" height="90"><rect width="160" height="90" fill="#123456"/></svg>'
    content = pages.png(drawing, 160, 90)
    assert content[:8] == b"\x89PNG\r\n\x1a\n" and struct.unpack(">II", content[16:24]) == (160, 90)
