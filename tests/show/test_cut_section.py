"""Sections are true to scale and complete: areas against plain geometry, millimetres on paper against centimetres of meat."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from curelab import Piece
from curelab.paper.drawn_section import svg_section
from curelab.show import figures
from curelab.show.cut_section import CutSection, across, along
from curelab.show.draw import draw

SVG = "{http://www.w3.org/2000/svg}"
STATIONS = [
    {"at": "0 cm", "thickness": "4 cm", "width": "16 cm", "seam": "2 cm", "seam_thickness": "5 mm", "below": "brisket flat"},
    {"at": "10 cm", "thickness": "6 cm", "width": "18 cm", "seam": "3 cm", "seam_thickness": "10 mm", "below": "brisket flat"},
    {"at": "24 cm", "thickness": "8 cm", "width": "12 cm", "seam": "4 cm", "seam_thickness": "15 mm", "below": "brisket flat"},
]  # fmt: skip
CUT = Piece(name="cut", shape="cut", tissue="brisket point", stations=STATIONS, fat_cap="5 mm", weight="2.1 kg", faces={"second": "skin", "tail": "cut off"})  # fmt: skip
BLOCK = Piece(name="block", shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.3 kg")


def size(x, y) -> float:
    return 0.5 * abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))))


def by_label(section: CutSection) -> dict[str, float]:
    found: dict[str, float] = {}
    for each in section.areas:
        found[each.label] = found.get(each.label, 0.0) + size(each.x, each.y)
    return found


def test_along_by_hand():
    """cm2: a cap of 0.5 cm over 24 cm, and a seam of 0.5 to 1 to 1.5 cm, of a side of (4 + 6) / 2 * 10 + (6 + 8) / 2 * 14 cm2."""
    drawn = along(CUT)
    fat = 0.5 * 24 + 0.75 * 10 + 1.25 * 14
    under = (1.5 + 2.0) / 2 * 10 + (2.0 + 2.5) / 2 * 14
    assert size(*drawn.outline) == pytest.approx(148, rel=1e-12)
    assert by_label(drawn) == pytest.approx(
        {"fat": fat, "brisket flat": under, "brisket point": 148 - fat - under}, rel=1e-9
    )
    assert [words for _, words in drawn.ticks] == ["4 cm", "6 cm", "8 cm"]
    assert [at for at, _ in drawn.ticks] == pytest.approx([0, 10, 24])
    assert {edge.label for edge in drawn.closed} == {"skin", "cut off"}
    assert drawn.closed[1].x == pytest.approx([24, 24])


def test_tissues_change_half_way():
    lean = [{"at": "0 cm", "thickness": "5 cm", "width": "9 cm"}, {"at": "20 cm", "thickness": "5 cm", "width": "9 cm", "tissue": "brisket flat"}]  # fmt: skip
    drawn = along(Piece(shape="cut", tissue="brisket point", stations=lean, weight="900 g"))
    assert by_label(drawn) == pytest.approx({"brisket point": 50, "brisket flat": 50})
    assert len({area.hatch for area in drawn.areas}) == 2  # told apart in grey print


@pytest.mark.parametrize("at", [0.0, 0.05, 0.2])
def test_across_by_hand(at):
    """A rectangle with a half circle at either end; a layer has its share of the thickness all across."""
    thick, wide, borders = CUT.solid().section(at)
    whole = 1e4 * (thick * (wide - thick) + 0.25 * math.pi * thick**2)
    drawn = across(CUT, at)
    assert size(*drawn.outline) == pytest.approx(whole, rel=2e-3)  # a circle by straight lines
    share = (borders[1] + borders[3] - borders[2]) / thick
    assert by_label(drawn)["fat"] == pytest.approx(share * whole, rel=2e-3)
    assert size(*across(BLOCK, 0.1).outline) == pytest.approx(128, rel=1e-12)


def test_the_slowest_spot_is_marked_and_said():
    drawn = along(CUT, slowest=(0.2, 0.031))
    thick = 6 + 2 * 10 / 14
    assert (drawn.spots[0].x, drawn.spots[0].y) == pytest.approx((20, thick - 3.1))
    assert drawn.sentence.endswith("The slowest spot lies 20 cm from the head, 3.1 cm deep.")
    assert across(CUT, 0.2, slowest=0.031).spots[0].y == pytest.approx(thick - 3.1)
    assert "7.9 in from the head" in along(CUT, "us", slowest=(0.2, 0.031)).sentence
    with pytest.raises(ValueError, match="slab without a length and has no section"):
        along(Piece(thickness="4 cm", weight="1 kg"))


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("room", [(90.0, 52.0), (92.0, 38.0), (60.0, 30.0)])
def test_on_paper_it_is_to_scale(system, room):
    text = svg_section(along(CUT, system, slowest=(0.2, 0.031)), *room)
    root = ElementTree.fromstring(text)
    outline = next(each for each in root.iter(f"{SVG}polygon") if each.get("fill") == "none")
    points = np.array([[float(n) for n in pair.split(",")] for pair in (outline.get("points") or "").split()])
    smaller = float(re.search(r"scale 1 : ([\d.]+);", text)[1])
    assert np.ptp(points, axis=0) == pytest.approx([240 / smaller, 80 / smaller], abs=0.02)  # true mm
    assert points.min() >= 0 and points[:, 0].max() <= room[0] and points[:, 1].max() <= room[1]
    said = [each.text for each in root.iter(f"{SVG}text")]
    assert {"fat", "brisket flat", "brisket point", "skin", "cut off", "slowest spot"} <= set(said)
    assert "<script" not in text and root.find(f"{SVG}title").text.startswith("The cut, cut along its length: ")


def test_names_are_escaped():
    text = svg_section(along(CUT.but(name='<b>&"')))
    assert "<b>" not in text and ElementTree.fromstring(text) is not None


def test_as_a_figure():
    figure = draw(CUT)
    assert figure.layout.yaxis.scaleanchor == "x"
    assert {trace.name for trace in figure.data if trace.fill == "toself"} == {"fat", "brisket flat", "brisket point"}
    assert draw(CUT, at="5 cm").layout.title.text.startswith("The cut, cut across 5 cm from its head: 5 cm thick")
    spotted = figures.section(along(CUT, slowest=(0.2, 0.031)))
    assert [trace.text for trace in spotted.data if trace.mode == "markers+text"] == [("slowest spot",)]
