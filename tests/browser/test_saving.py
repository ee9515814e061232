"""A picture taken away: SVG, PNG and numbers of every sort of picture, each with its caption. Opened from a file, without a lab."""

from __future__ import annotations

import base64
import csv
import io
import struct
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
from drawn_page import CAPTION, page_of

from curelab.batch import load
from curelab.lab.bars import BarPicture
from curelab.lab.depthmap import DepthMap
from curelab.lab.new_shape import SCALED, out_of_hand
from curelab.lab.picture import Picture
from curelab.lab.section import SectionPicture
from curelab.show.ranking import Bar, Bars
from curelab.show.section import section
from curelab.sources import datasets_folder
from curelab.spread import spread

NAME = 'point, "thick" <b>'
X, Y = np.array([0.0, 10.0, 20.0]), np.array([4.4, 2.0, 1.0])


def lines():
    made = Picture()
    made.show(
        [{"x": X, "y": Y, "low": Y - 0.5, "high": Y + 0.5, "label": NAME}],
        "depth, mm",
        "salt, %",
        summary="Salt goes in.",
    )
    rows = [("line", "depth, mm", "salt, %", "low", "high")]
    return made, rows + [(NAME, x, y, y - 0.5, y + 0.5) for x, y in zip(X, Y, strict=True)]


def bars():
    made = BarPicture()
    made.show(Bars("Watch the fridge.", "share, %", (Bar(NAME, 82.0, 94.0), Bar("the ruler", 5.0)), "Invented."))
    return made, [("", "share, %", "with others"), (NAME, 82, 94), ("the ruler", 5, 5)]


def depths():
    made = DepthMap()
    z = np.array([[4.0, 4.0, 4.0], [0.0, 1.0, 2.0]])
    made.show(
        [0, 1, 2],
        [0, 10],
        z,
        "days",
        "depth, mm",
        "salt, %",
        line=([0, 2], [2, 8]),
        line_label=NAME,
        summary="It goes in.",
    )
    return made, [("days", "depth, mm", "salt, %")] + [(x, y, z[r, x]) for r, y in enumerate((0, 10)) for x in range(3)]


def inside():
    batch = load(datasets_folder() / "demo_loin.toml")
    many = spread(batch.pieces, batch.filled(), count=16)
    made = SectionPicture()
    drawn = section([(many, batch.pieces[0].name, NAME)])
    made.show(drawn)
    return made, drawn


def saved(page: Any, sort: str) -> tuple[str, bytes]:
    with page.expect_download() as waiting:
        page.get_by_role("button", name=f"Save as {sort}").click()
    with open(waiting.value.path(), "rb") as file:
        return waiting.value.suggested_filename, file.read()


@pytest.fixture(scope="module", params=[lines, bars, depths, inside], ids=lambda make: make.__name__)
def shown(request, stage, tmp_path_factory):
    widget, wanted = request.param()
    place = tmp_path_factory.mktemp("saving") / "page.html"
    place.write_text(page_of(widget), encoding="utf-8")
    with stage.watched_page(width=700, height=700) as page:
        page.goto(place.as_uri())
        page.locator(".cl-drawing svg[role=img]").first.wait_for()
        page.get_by_text("Save picture").click()
        yield page, wanted
        assert page.problems == [] and page.outside == []


def test_the_drawing_needs_nothing_else_and_says_what_it_is(shown):
    page, _ = shown
    name, content = saved(page, "SVG")
    assert name.endswith(".svg") and len(name) > 8
    root = ET.fromstring(content)
    texts = " ".join(" ".join(each.itertext()) for each in root.iter("{http://www.w3.org/2000/svg}text"))
    for word in (*CAPTION.split(), "point,"):
        assert word in texts
    drawn = [each for each in root.iter() if each.tag.split("}")[1] in ("text", "path", "line", "circle")]
    assert all(each.get("fill") for each in drawn)  # looks stand on the elements, for the style sheet stays behind
    assert all(each.get("font-size") for each in drawn if each.tag.endswith("text"))
    assert not any(key in each.attrib for each in root.iter() for key in ("class", "style", "role"))
    assert b"<script" not in content and b"http" not in content.replace(b"http://www.w3.org/", b"")
    assert float(root.attrib["width"]) == pytest.approx(700, abs=30)


def test_the_picture_in_dots_is_twice_as_large_and_not_empty(shown):
    page, _ = shown
    name, content = saved(page, "PNG")
    assert name.endswith(".png") and content[:8] == b"\x89PNG\r\n\x1a\n"
    wide, high = struct.unpack(">II", content[16:24])
    root = ET.fromstring(saved(page, "SVG")[1])
    assert (wide, high) == (2 * int(root.attrib["width"]), 2 * int(root.attrib["height"]))
    colours = page.evaluate(
        """async data => { const image = new Image(); image.src = data; await image.decode(); const canvas = document.createElement('canvas');
             canvas.width = image.width; canvas.height = image.height; const brush = canvas.getContext('2d'); brush.drawImage(image, 0, 0);
             return new Set(new Uint32Array(brush.getImageData(0, 0, image.width, image.height).data.buffer)).size; }""",
        f"data:image/png;base64,{base64.b64encode(content).decode()}",
    )
    assert colours > 10


def test_the_numbers_are_those_that_were_sent(shown):
    page, wanted = shown
    name, content = saved(page, "CSV")
    text = content.decode("utf-8")
    assert name.endswith(".csv") and f"# {CAPTION}" in text.splitlines()
    rows = list(csv.reader(io.StringIO("".join(line for line in text.splitlines(True) if not line.startswith("#")))))
    if isinstance(wanted, list):
        assert tuple(rows[0]) == wanted[0]
        for row, known in zip(rows[1:], wanted[1:], strict=True):
            for cell, value in zip(row, known, strict=True):
                assert cell == value if isinstance(value, str) else float(cell) == pytest.approx(value, rel=1e-6)
        return
    (piece,) = wanted.pieces
    places = [row for row in rows[1:] if row[1] == "place"]
    assert [float(row[5]) for row in places] == pytest.approx(piece.values["salt"][-1][piece.value.ravel()], rel=1e-5)
    assert [float(row[3]) for row in places] == pytest.approx(piece.x.ravel(), rel=1e-5, abs=1e-9)
    course = [float(row[5]) for row in rows[1:] if row[1] == "average"]
    assert course == pytest.approx(piece.courses["salt"]["average"][1], rel=1e-5)
    assert {row[0] for row in rows[1:]} == {NAME}


def test_the_old_shape_in_the_place_of_a_new_one_gives_no_figure_away(stage, tmp_path):
    _, drawn = inside()
    widget = SectionPicture()
    widget.show(out_of_hand(drawn), sketch=SCALED)
    (tmp_path / "page.html").write_text(page_of(widget), encoding="utf-8")
    with stage.watched_page(width=700, height=700) as page:
        page.goto((tmp_path / "page.html").as_uri())
        field = page.locator(".cl-cut-field svg[role=img]").first
        field.wait_for()
        told = page.locator(".cl-cut-told").inner_text()
        assert told.endswith(SCALED) and "average" not in told and field.get_attribute("aria-label") == told
        for gone in (".cl-cut-legend", ".cl-cut-small svg", ".cl-save summary", ".cl-cut table", ".cl-cut-keys"):
            assert not page.locator(gone).first.is_visible(), gone
        box = field.bounding_box()
        page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.6)
        assert not page.locator(".cl-readout").is_visible()
        slider = page.get_by_role("slider")
        slider.press("ArrowLeft")
        assert slider.get_attribute("aria-valuetext").endswith(SCALED)
        assert page.problems == []
