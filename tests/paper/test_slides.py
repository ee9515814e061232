"""Slides: the inside of pieces drawn without a browser, in the colours of the benches, and numbers as a table."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

import curelab
from curelab import Bath, Brine, Piece, simulate
from curelab.fields import InputError
from curelab.paper import drawn_inside, pages
from curelab.paper.drawn_inside import colour, contour, svg_inside
from curelab.paper.slides import EDGE, HIGH, WIDE, numbers, slide
from curelab.show.pictures import Lines, Mark, Series
from curelab.show.section import section
from curelab.spread import Spread

SVG = "{http://www.w3.org/2000/svg}"
NAME = '<b> & "thick"'
LINES = Lines("It goes in.", "days", "salt, %", (
    Series(NAME, np.array([0.0, 10.0]), np.array([0.0, 2.0]), "#0072B2", "", np.array([0.0, 1.5]), np.array([0.0, 2.5])),
    Series("other", np.array([0.0, 10.0]), np.array([1.0, np.nan]), "#D55E00", "8 4"),
), (Mark("x", 5.0, "day 5"),))  # fmt: skip


@pytest.fixture(scope="module")
def inside():
    brine = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="20 d")
    history = simulate(Piece(name=NAME, thickness="6 cm", weight="2 kg"), brine)
    return section([(Spread.single(history), NAME, NAME)], ("salt",))


def test_the_colours_are_those_of_the_benches():
    script = (Path(curelab.__file__).parent / "lab" / "section.js").read_text(encoding="utf-8")
    stated = re.search(r"const HUES = \{(.*?)\n\};", script, re.DOTALL)[1]
    read = {
        key.strip(" '"): json.loads(stops)
        for key, stops in re.findall(r"^\s*('?[a-z ]+'?): (\[\[.*\]\]),$", stated, re.MULTILINE)
    }
    assert {key: tuple(map(tuple, stops)) for key, stops in read.items()} == drawn_inside.HUES
    assert colour("salt", 0.2) == "#c5dbf0"  # the second stop


def test_the_line_at_a_level_is_where_it_is():
    """A circle: the distance from a point, at the level of its radius; straight parts lie inside by a bow's height."""
    x, y = np.meshgrid(np.linspace(-1, 1, 81), np.linspace(-1, 1, 81))
    parts = np.array(contour(x, y, np.hypot(x, y), 0.7))
    radius = np.hypot(parts[:, [0, 2]], parts[:, [1, 3]])
    assert radius == pytest.approx(0.7, rel=2e-3)
    length = np.hypot(parts[:, 2] - parts[:, 0], parts[:, 3] - parts[:, 1]).sum()
    assert length == pytest.approx(2 * np.pi * 0.7, rel=2e-3)
    assert contour(x, y, np.hypot(x, y), 5.0) == []


def test_a_piece_is_drawn_to_scale_and_darker_outside(inside):
    root = ET.fromstring(svg_inside(inside, 5.0))
    fills = {each.attrib["fill"] for each in root.iter(f"{SVG}path") if each.attrib.get("fill", "none") != "none"}
    assert len(fills) > 10
    levels = sorted(sum(int(fill[k : k + 2], 16) for k in (1, 3, 5)) for fill in fills)
    assert levels[-1] > levels[0] + 200
    lines = [each.attrib["points"].split() for each in root.iter(f"{SVG}polyline")]
    first, second = (np.array([[float(v) for v in point.split(",")] for point in points]) for points in lines[:2])
    (piece,) = inside.pieces
    drawn = np.ptp(first[:, 0]) / abs(second[0, 1] - first[0, 1])
    assert drawn == pytest.approx(float(piece.x.max() / piece.y.max()), rel=2e-3)
    assert {NAME, "6 cm", "cured to here", "day 5"} <= {"".join(each.itertext()) for each in root.iter(f"{SVG}text")}


@pytest.mark.parametrize("sort", ["lines", "inside"])
def test_a_slide_says_everything_within_its_edges(inside, sort):
    picture = LINES if sort == "lines" else inside
    caption = "Invented. Assumed: " + "nothing melts, and nobody looks. " * 20 + "curelab 0.0.0."
    root = ET.fromstring(slide("1. A title", picture, "What it shows. " * 12, caption, 5.0))
    assert root.attrib["width"] == "1600" and root.attrib["height"] == "900"
    own = [each for each in root if each.tag == f"{SVG}text"]
    said = " ".join("".join(each.itertext()) for each in own)
    assert " ".join(caption.split()) in said and "1. A title" in said
    assert all(float(each.attrib["x"]) >= EDGE and float(each.attrib["y"]) < HIGH - 2 for each in own)
    widths = [EDGE + 0.52 * float(each.attrib["font-size"]) * len("".join(each.itertext())) for each in own]
    assert max(widths) <= WIDE - EDGE + 4
    (drawn,) = [each for each in root if each.tag == f"{SVG}svg"]
    top, high = float(drawn.attrib["y"]), float(drawn.attrib["height"])
    under = min(float(each.attrib["y"]) for each in own if float(each.attrib["font-size"]) < 4)
    over = max(float(each.attrib["y"]) for each in own if float(each.attrib["font-size"]) > 4)
    assert over < top and top + high < under and high > 50
    assert (NAME in said) == (sort == "lines")  # lines are named over the picture, pieces in it


def test_the_numbers_are_those_of_the_picture(inside):
    rows = list(csv.reader(io.StringIO(numbers(LINES, "It goes in.", "Invented."))))
    assert rows[:3] == [["# It goes in."], ["# Invented."], ["line", "days", "salt, %", "low", "high"]]
    assert rows[3:] == [
        [NAME, "0", "0", "0", "0"], [NAME, "10", "2", "1.5", "2.5"], ["other", "0", "1", "", ""], ["other", "10", "", "", ""],
    ]  # fmt: skip
    rows = list(csv.reader(io.StringIO(numbers(inside, "x", "y"))))[3:]
    (piece,) = inside.pieces
    whole = [float(row[3]) for row in rows if row[1] == "average"]
    assert whole == pytest.approx(piece.courses["salt"]["average"][0], rel=1e-6)
    assert {row[0] for row in rows} == {NAME}


def test_without_a_browser_there_is_a_sentence_instead_of_dots(monkeypatch):
    monkeypatch.setattr(pages, "browser", lambda: None)
    with pytest.raises(InputError, match="no browser that draws it"):
        pages.png("<svg/>", 10, 10)
    with pytest.raises(InputError, match="did not draw it"):
        pages.png("<svg/>", 10, 10, using="/bin/false")
