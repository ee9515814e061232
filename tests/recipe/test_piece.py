"""Shapes in three dimensions: what a batch file says of them, what is refused, and what they come to against plain geometry."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from curelab.fields import InputError, from_plain, to_plain, unchecked
from curelab.matter.tissue import TISSUES
from curelab.recipe.measured import told, weight_note
from curelab.recipe.piece import Piece
from curelab.recipe.stations import FACES, MOST, Station
from curelab.tomlfile import to_toml

WRITTEN = """
[[pieces]]
name = "half brisket"
shape = "cut"
tissue = "brisket flat"
weight = "2.9 kg"
fat_cap = "6 mm"
faces = { head = "cut off", second = "skin" }
stations = [
  { at = "0 cm",  thickness = "3 cm", width = "16 cm" },
  { at = "15 cm", thickness = "5.5 cm", width = "18 cm" },
  { at = "26 cm", thickness = "8 cm", width = "17 cm", seam = "4 cm", seam_thickness = "5 mm", tissue = "brisket point", below = "brisket flat" },
  { at = "30 cm", thickness = "6 cm", width = "14 cm", tissue = "brisket point" },
]
"""
TABLE = tomllib.loads(WRITTEN)["pieces"][0]
BRISKET = from_plain(Piece, TABLE)
BLOCK = Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.35 kg", tissue="lean beef")
WEDGE = {"shape": "cut", "weight": "2 kg", "edges": "square"}


def wedge(*thicknesses, **more):
    at = np.linspace(0.0, 0.3, len(thicknesses))
    return (
        WEDGE
        | {
            "stations": [
                {"at": f"{100 * a:.4g} cm", "thickness": f"{100 * t:.4g} cm", "width": "16 cm"}
                for a, t in zip(at.tolist(), thicknesses, strict=True)
            ]
        }
        | more
    )


def refused(**given) -> str:
    with pytest.raises(InputError) as caught:
        Piece(**given)
    return str(caught.value)


def test_it_is_read_from_a_batch_file_and_comes_back():
    assert BRISKET.thickness == 0.08 and BRISKET.stations[2].seam == 0.04
    assert BRISKET.faces.closed == ("second", "head")
    plain = to_plain(BRISKET)
    assert "thickness" not in plain  # it follows from the stations
    again = tomllib.loads(to_toml({"pieces": [plain]}))["pieces"][0]
    assert from_plain(Piece, again) == BRISKET
    assert from_plain(Piece, to_plain(BRISKET, "us")) == BRISKET


def test_a_block_by_plain_geometry():
    solid = BLOCK.solid()
    assert solid.volume == pytest.approx(0.08 * 0.16 * 0.25, rel=1e-12)
    assert solid.weight == pytest.approx(0.0032 * TISSUES["lean beef"].density, rel=1e-12)
    assert solid.section(0.1) == (0.08, 0.16, (0.0, 0.08))
    assert BLOCK.layers() == ((TISSUES["lean beef"], 0.08),)
    assert BLOCK.volume() == pytest.approx(3.35 / TISSUES["lean beef"].density, rel=1e-12)  # the weight is taken


def test_a_cylinder_of_a_length_is_round():
    short = Piece(shape="cylinder", thickness="8 cm", length="25 cm", weight="1.3 kg")
    assert short.solid().volume == pytest.approx(math.pi * 0.04**2 * 0.25, rel=1e-9)
    assert Piece(shape="cylinder", thickness="8 cm", weight="1.3 kg").solid() is None


def test_a_square_wedge_is_a_prism():
    made = Piece(**wedge(0.03, 0.08))
    assert made.solid().volume == pytest.approx(0.5 * (0.03 + 0.08) * 0.16 * 0.3, rel=1e-12)


def test_rounded_edges_are_half_circles():
    """Against an integral of the outline, thickness across the width, at every place (scipy's quadrature)."""
    made = Piece(**wedge(0.03, 0.08, 0.05, edges="rounded", weight="3 kg"))

    def section(at):
        thick, wide, _ = made.solid().section(at)
        edge = lambda y: thick if abs(y) < (wide - thick) / 2 else 2 * math.sqrt(max(0.0, (thick / 2) ** 2 - (abs(y) - (wide - thick) / 2) ** 2))  # noqa: E731  # fmt: skip
        kinks = [-(wide - thick) / 2, (wide - thick) / 2]
        return quad(edge, -wide / 2, wide / 2, points=kinks, epsrel=1e-10)[0]

    whole = sum(quad(section, a, b, epsrel=1e-9)[0] for a, b in ((0.0, 0.15), (0.15, 0.3)))
    assert made.solid().volume == pytest.approx(whole, rel=1e-6)


def test_fat_and_lean_by_hand():
    """A cap of 1 cm on a square bar of 5 by 10 by 20 cm, with a seam of 1 cm that ends half-way: a triangle along the length."""
    ends = [dict(at="0 cm", thickness="5 cm", width="10 cm", seam="2.5 cm", seam_thickness="1 cm", below="brisket flat"), dict(at="20 cm", thickness="5 cm", width="10 cm")]  # fmt: skip
    made = Piece(shape="cut", edges="square", stations=ends, weight="1 kg", fat_cap="1 cm", tissue="brisket point")
    parts = made.parts()
    fat = 0.01 * 0.1 * 0.2 + 0.5 * 0.01 * 0.1 * 0.2
    assert parts[TISSUES["beef fat"]] == pytest.approx(fat, rel=1e-9)
    assert sum(parts.values()) == pytest.approx(0.05 * 0.1 * 0.2, rel=1e-12)
    # below the seam, from its lower side to the second face, half-way along (from 1.5 cm to 1.75 cm), flat; the rest is point
    assert parts[TISSUES["brisket flat"]] == pytest.approx(0.5 * (0.015 + 0.0175) * 0.1 * 0.1, rel=1e-9)
    held = sum(part.density * part.water * share for part, share in parts.items())
    assert made.water() == pytest.approx(held / sum(part.density * share for part, share in parts.items()), rel=1e-12)


def test_tissues_reach_half_way():
    solid = BRISKET.solid()
    assert [solid.station(at) for at in (0.0, 0.074, 0.076, 0.279, 0.281, 0.3)] == [0, 0, 1, 2, 3, 3]
    assert solid.tissues[3][1].name == "brisket point"


def test_what_else_reads_a_piece_has_an_answer():
    assert BRISKET.lean_thickness == pytest.approx(0.08 - 0.006 - 0.005)
    assert [part.name for part, _ in BRISKET.layers()] == ["beef fat", "brisket point", "beef fat", "brisket flat"]
    assert sum(width for _, width in BRISKET.layers()) == pytest.approx(0.08)
    assert not BRISKET.symmetric and BLOCK.symmetric and not BLOCK.but(faces={"first": "skin"}).symmetric
    assert not Piece(**wedge(0.03, 0.08, stations=[*wedge(0.05, 0.05)["stations"][:1], wedge(0.05, 0.05)["stations"][1] | {"fat_cap": "1 cm"}])).symmetric  # fmt: skip


def test_a_ruler_that_was_off_scales_every_length():
    larger = BRISKET.scaled(1.1, 1.2)
    assert larger.solid().volume == pytest.approx(1.1**3 * BRISKET.solid().volume, rel=1e-12)
    assert larger.weight == pytest.approx(1.2 * BRISKET.weight) and larger.thickness == pytest.approx(0.088)
    assert larger.stations[2].seam == pytest.approx(0.044) and BLOCK.scaled(2.0).width == 0.32


def test_another_thickness_of_a_cut_is_so_much_thicker_everywhere():
    thin = BRISKET.but(thickness="4 cm", weight="1.5 kg")
    assert [each.thickness for each in thin.stations] == pytest.approx([0.015, 0.0275, 0.04, 0.03])
    assert [each.width for each in thin.stations] == [each.width for each in BRISKET.stations]
    assert thin.fat_cap == pytest.approx(0.003) and thin.stations[2].seam == pytest.approx(0.02)
    with pytest.raises(InputError, match="thickness"):
        BRISKET.but(thickness="wide")
    shorter = BRISKET.but(stations=BRISKET.stations[:2], weight="1.3 kg")
    assert shorter.thickness == 0.055


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (wedge(0.03), "stations: there is one station, and a cut needs one at each end; measure at least 2 places"),
        (WEDGE | {"stations": []}, "stations: there is no station, and a cut needs one at each end; measure at least 2 places"),
        (WEDGE, "stations: missing; give it"),
        (WEDGE | {"stations": [{}] * 10000}, f"stations: there are 10000 stations, at most {MOST} are taken; keep those where the cut changes"),
        (
            WEDGE | {"stations": [wedge(0.03)["stations"][0] | {"at": "4 cm"}, wedge(0.03, 0.08)["stations"][1]]},
            "stations[1].at: 4 cm is not the head; count from the first station, so that it lies at 0 cm",
        ),
        (
            {"shape": "cylinder", "thickness": "8 cm", "length": "25 cm", "weight": "1.3 kg", "faces": {"first": "skin", "left": "skin", "head": "skin"}},
            "faces: a cylinder has a head, a tail and its round side, which is open; leave out first and left",
        ),
        (
            WEDGE | {"stations": wedge(0.03, 0.05, 0.08)["stations"][::-1]},
            "stations[2].at: 15 cm does not lie behind the station before it (30 cm); list them from the head on",
        ),
        (wedge(0.08, 0.0), 'stations[2].thickness: "0 cm" is out of range (from 2 mm to 40 cm); a cut cannot end in nothing'),
        (
            wedge(0.08, 0.03, fat_cap="4 cm"),
            "stations[2].fat_cap: 40 mm of fat leave less than 2 mm of lean in 30 mm; the thickness is measured with the cap included",
        ),
        (
            wedge(0.08, 0.06) | {"stations": [wedge(0.08)["stations"][0] | {"seam": "7.5 cm", "seam_thickness": "1 cm"}, *wedge(0.08, 0.06)["stations"][1:]]},
            "stations[1].seam: a seam at 75 to 85 mm crosses a face or its fat: 2 mm of lean must lie on both sides; give a depth of 2 to 68 mm",
        ),
        (wedge(0.03, 0.08, weight="9 kg"), "weight: 9 kg cannot be: by its measures the piece weighs 2.8 kg; a kitchen scale"),
        (wedge(0.03, 0.08, weight="6.2 kg"), 'if it was read in pounds, write "6.2 lb"'),
        (wedge(0.03, 0.08, weight="1.25 kg"), 'if the scale showed pounds, write "2.756 kg"'),
        (wedge(0.03, 0.08, weight="28 kg"), "check the decimal point"),
        (wedge(0.03, 0.08, thickness="9 cm"), "thickness: follows from other fields, which say something else; leave it out"),
        (wedge(0.03, 0.08, tissue="pork loin") | {"stations": [wedge(0.03)["stations"][0], wedge(0.03, 0.08)["stations"][1] | {"tissue": "brisket flat"}]}, "stations[2].tissue: brisket flat is beef, and the piece is pork"),
        ({"shape": "block", "weight": "1 kg"}, "length: missing"),
        ({"thickness": "4 cm", "weight": "1 kg", "width": "9 cm"}, "width: a slab has thickness and fat_cap only"),
        (wedge(0.03, 0.08, faces=dict.fromkeys(FACES, "skin")), "faces: all six faces are closed, so no salt comes in"),
    ],
)  # fmt: skip
def test_bad_input_gets_a_sentence(given, sentence):
    assert sentence in refused(**given)


def test_all_is_said_at_once():
    stations = wedge(0.03, 0.08, 0.05)["stations"]
    said = refused(**wedge(0.03, 0.08) | {"stations": [stations[0] | {"seam": "1 cm"}, stations[1] | {"width": "2 km"}], "weight": "1 t"})  # fmt: skip
    assert [line.split(":")[0] for line in said.splitlines()] == ["stations[1].seam_thickness", "stations[2].width", "weight"]  # fmt: skip
    said = refused(**wedge(0.03, 0.08) | {"stations": [stations[0] | {"fat_cap": "3 cm"}, stations[2], stations[1]], "width": "3 cm"})  # fmt: skip
    assert [line.split(":")[0] for line in said.splitlines()] == ["width", "stations[3].at", "stations[1].fat_cap"]


def test_weight_and_measures_that_do_not_agree_are_told():
    base = Piece(**wedge(0.03, 0.08, weight="2.8 kg"))
    assert weight_note(base) == "" and weight_note(base.but(weight="3.2 kg")) == ""  # 14 % more
    for weight in ("3.25 kg", "2.3 kg"):
        said = weight_note(base.but(weight=weight))
        assert weight in said and "2.8 kg" in said and "the ruler is the more likely to be wrong" in said
    assert "lb" in weight_note(base.but(weight="2.3 kg"), "us")
    assert weight_note(Piece(thickness="4 cm", weight="1 kg")) == ""


def test_a_ruler_that_is_off_moves_the_slowest_pace_as_a_factor_on_all_lengths_does():
    """Of a brick in a strong bath: the rate (pi / thickness)^2 + (pi / width)^2 + ..., length left out as it is never asked for."""
    rate = lambda thick, wide: thick**-2 + wide**-2  # noqa: E731
    thick, wide, place = BLOCK.ruler()
    assert place == 0.0
    for by in (1e-6, -1e-6):
        assert rate(0.08 + by, 0.16) == pytest.approx(rate(0.08 * (1 + thick * by), 0.16 * (1 + thick * by)), rel=1e-9)
        assert rate(0.08, 0.16 + by) == pytest.approx(rate(0.08 * (1 + wide * by), 0.16 * (1 + wide * by)), rel=1e-9)
    lying = BLOCK.but(faces={"second": "skin"}).ruler()
    assert lying[0] * 0.08 == pytest.approx(0.5)  # 16 cm through, 16 cm across
    slope = (0.5 * (0.025 / 0.11 + 0.02 / 0.04)) * BRISKET.ruler()[0]
    assert BRISKET.ruler()[2] == pytest.approx(slope, rel=1e-9)
    assert Piece(thickness="5 cm", weight="1 kg").ruler() == (20.0, 0.0, 0.0)


def test_in_words():
    assert told(BRISKET) == (
        "3 to 8 cm thick, 14 to 18 cm wide, 30 cm long (cut), 6 mm of fat on one face, a seam of fat, the second face under skin, the head "
        "cut off"
    )
    assert told(Piece(shape="cylinder", thickness="9 cm", length="25 cm", weight="1.7 kg")) == "9 cm thick, 25 cm long (cylinder)"  # fmt: skip


lengths = st.floats(0.03, 0.2)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(lengths, lengths, lengths), min_size=2, max_size=8), st.booleans(), st.sampled_from(["metric", "us"]))  # fmt: skip
def test_cuts_come_back_and_weigh_what_their_mirror_image_weighs(rows, rounded, system):
    at = np.cumsum([0.0, *(row[0] for row in rows[1:])])
    edges = "rounded" if rounded else "square"
    stations = [Station(at=float(a), thickness=row[1], width=row[2]) for a, row in zip(at, rows, strict=True)]
    back = [each.but(at=float(at[-1] - each.at)) for each in reversed(stations)]
    made, mirror = _weighed(stations, edges), _weighed(back, edges)
    assert mirror.weight == pytest.approx(made.weight, rel=1e-9)
    assert from_plain(Piece, to_plain(made, system)) == made


def _weighed(stations, edges) -> Piece:
    """The piece of these stations, at the weight of its measures."""
    guess = unchecked(BRISKET, stations=tuple(stations), edges=edges, fat_cap=0.0)
    return Piece(shape="cut", stations=stations, edges=edges, tissue="brisket flat", weight=guess.solid().weight)
