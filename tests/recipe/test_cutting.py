"""A knife and a crowded tub: weights add up, geometry stays, new faces are open and touching ones closed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from curelab.fields import InputError
from curelab.matter.tissue import TISSUES
from curelab.recipe.cutting import fold, sliced, split, touch, trim
from curelab.recipe.piece import Piece

BLOCK = Piece(shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.35 kg")
BRISKET = Piece(
    name="half brisket", shape="cut", tissue="brisket flat", weight="2.9 kg", fat_cap="6 mm", faces={"head": "cut off", "second": "skin"},
    stations=[
        {"at": "0 cm", "thickness": "3 cm", "width": "16 cm"},
        {"at": "15 cm", "thickness": "5.5 cm", "width": "18 cm"},
        {"at": "26 cm", "thickness": "8 cm", "width": "17 cm", "seam": "4 cm", "seam_thickness": "5 mm", "tissue": "brisket point", "below": "brisket flat"},
        {"at": "30 cm", "thickness": "6 cm", "width": "14 cm", "tissue": "brisket point"},
    ],
)  # fmt: skip
FAT = TISSUES["beef fat"]


def volumes(*pieces: Piece) -> dict[str, float]:
    found: dict[str, float] = {}
    for piece in pieces:
        for part, share in piece.parts().items():
            found[part.name] = found.get(part.name, 0.0) + share
    return found


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 0.29))
@example(0.28)  # where the tissue changes
def test_head_and_tail_are_the_whole(at):
    head, tail = split(BRISKET, at=at)
    assert head.weight + tail.weight == pytest.approx(BRISKET.weight, rel=1e-12)
    whole = volumes(BRISKET)
    parts = volumes(head, tail)
    # A seam thinner than a tenth of a millimetre is not told apart.
    assert sum(parts.values()) == pytest.approx(sum(whole.values()), rel=1e-12)
    assert all(abs(parts.get(name, 0.0) - share) < 5e-4 * sum(whole.values()) for name, share in whole.items())
    for part, where in ((head, 0.5 * at), (tail, 0.5 * (0.3 - at))):
        before = BRISKET.solid().section(where if part is head else at + where)
        assert part.solid().section(where)[:2] == pytest.approx(before[:2], rel=1e-12)


def test_tissues_stay_where_they_were():
    """Flat ends and point begins at 20.5 cm above the seam; wherever the knife goes, it still does."""
    for at in (0.16, 0.19, 0.2049, 0.2051, 0.22, 0.25):
        parts = volumes(*split(BRISKET, at=at))
        for name in ("brisket flat", "brisket point"):
            assert parts[name] == pytest.approx(volumes(BRISKET)[name], rel=1e-3)


def test_new_faces_are_open():
    head, tail = split(BRISKET.but(faces={"head": "cut off", "tail": "skin"}), at="12 cm")
    assert head.faces.closed == ("head",) and tail.faces.closed == ("tail",)
    assert (head.name, tail.name) == ("half brisket, head", "half brisket, tail")
    assert head.stations[-1].at == 0.12 and tail.stations[0].at == 0.0
    assert len(split(BRISKET.but(name="x" * 60), at=0.1)[0].name) == 60


def test_a_block_in_two():
    head, tail = split(BLOCK, at="10 cm")
    assert (head.length, tail.length) == pytest.approx((0.1, 0.15), rel=1e-12)
    assert head.weight == pytest.approx(0.4 * BLOCK.weight, rel=1e-12)
    round_ = Piece(shape="cylinder", thickness="8 cm", length="25 cm", weight="1.3 kg")
    assert split(round_, at="5 cm")[0].weight == pytest.approx(0.26, rel=1e-9)


BAR = {"thickness": "6 cm", "width": "10 cm", "seam": "3 cm", "seam_thickness": "1 cm", "tissue": "brisket point", "below": "brisket flat"}  # fmt: skip


def bar(**more) -> Piece:
    ends = [BAR | {"at": at} for at in ("0 cm", "20 cm")]
    return Piece(**{"name": "bar", "shape": "cut", "edges": "square", "weight": "1.2 kg", "fat_cap": "5 mm", "tissue": "brisket flat", "stations": ends} | more)  # fmt: skip


def test_along_the_seam_by_hand():
    """3 cm above (5 mm of them fat), 1 cm of seam that is trimmed off, 2 cm below: every layer by its density."""
    whole = bar(faces={"first": "skin", "second": "touching"})
    upper, lower = split(whole, along="seam")
    dense = {name: TISSUES[name].density for name in ("brisket flat", "brisket point")}
    parts = (0.5 * FAT.density + 2.5 * dense["brisket point"], 1.0 * FAT.density, 2.0 * dense["brisket flat"])
    assert upper.weight == pytest.approx(1.2 * parts[0] / sum(parts), rel=1e-9)
    assert lower.weight == pytest.approx(1.2 * parts[2] / sum(parts), rel=1e-9)
    assert (upper.thickness, lower.thickness) == pytest.approx((0.03, 0.02))
    assert {part.name for part in upper.parts()} == {"beef fat", "brisket point"}
    assert {part.name for part in lower.parts()} == {"brisket flat"}
    assert upper.faces.closed == ("first",)
    assert lower.faces.closed == ("first",) and lower.faces.first == "touching"  # turned over


def test_a_cap_on_both_faces_stays_with_both():
    upper, lower = split(bar(capped="both faces", weight="1.2 kg"), along="seam")
    assert [part.lean_thickness for part in (upper, lower)] == pytest.approx([0.025, 0.015])
    assert lower.capped == "one face" and lower.stations[0].fat_cap == pytest.approx(0.005)


def test_trimming_takes_fat_alone():
    for whole in (bar(), bar(capped="both faces"), BRISKET):
        trimmed = trim(whole, "2 mm")
        faces = 2 if whole.capped == "both faces" else 1
        assert whole.thickness - trimmed.thickness == pytest.approx(faces * (whole.fat_cap - 0.002))
        assert trimmed.lean_thickness == pytest.approx(whole.lean_thickness)
        lost = whole.weight - trimmed.weight
        before, after = volumes(whole), volumes(trimmed)
        scale = whole.weight / whole.solid().weight
        # Half round edges of a thinner piece leave out a little less of the lean: one part in twenty of what is cut off.
        assert lost == pytest.approx(scale * FAT.density * (before["beef fat"] - after["beef fat"]), rel=0.05)
    exact = bar()
    assert exact.weight - trim(exact).weight == pytest.approx(exact.weight * FAT.density * 0.005 * 0.1 * 0.2 / exact.solid().weight, rel=1e-9)  # fmt: skip


def test_trimming_a_slab():
    slab = Piece(thickness="6 cm", weight="2 kg", fat_cap="1 cm", tissue="lean beef")
    lean = TISSUES["lean beef"].density
    assert trim(slab).weight == pytest.approx(2 * 5 * lean / (5 * lean + FAT.density), rel=1e-12)
    assert trim(slab).thickness == pytest.approx(0.05) and trim(slab, "2 cm") == slab
    with pytest.raises(InputError, match="nothing to trim"):
        trim(BLOCK)


def test_sliced_it_is_a_slab():
    slab = sliced(BRISKET)
    assert (slab.shape, slab.thickness, slab.weight, slab.fat_cap, slab.solid()) == ("slab", 0.08, 2.9, 0.006, None)
    assert slab.faces.closed == () and slab.but(thickness="3 cm").thickness == 0.03
    plain = Piece(thickness="4 cm", weight="1 kg")
    assert sliced(plain) is plain


def test_folded_and_stacked():
    head, tail = fold(BLOCK, "12 cm")
    assert set(head.faces.closed) == {"second", "tail"} and set(tail.faces.closed) == {"second", "head"}
    a, b, c = touch([BLOCK.but(name=name) for name in "abc"])
    assert (a.faces.closed, b.faces.closed, c.faces.closed) == (("second",), ("first", "second"), ("first",))
    assert [each.faces.closed for each in touch([a.but(name="x"), b], "side by side")] == [("second", "right"), ("first", "second", "left")]  # fmt: skip
    assert np.sum([each.weight for each in (a, b, c)]) == pytest.approx(3 * BLOCK.weight)
    with pytest.raises(InputError, match="slab has no faces"):
        touch([Piece(thickness="4 cm", weight="1 kg"), a])
    with pytest.raises(InputError, match="cylinder has no faces that can be told apart"):
        fold(Piece(shape="cylinder", thickness="8 cm", length="25 cm", weight="1.3 kg"), "12 cm")
    with pytest.raises(InputError, match="not one of stacked, side by side, end to end"):
        touch([a], "heaped")


@pytest.mark.parametrize(
    ("piece", "how", "sentence"),
    [
        (BLOCK, {}, "say one of at"),
        (BLOCK, {"at": "3 cm", "along": "seam"}, "say one of at"),
        (BLOCK, {"at": "25 cm"}, 'at: 25 cm does not lie between the ends of "piece" (0 to 25 cm)'),
        (BLOCK, {"at": "-2 cm"}, "at: "),
        (BLOCK, {"at": "wide"}, "at: "),
        (BLOCK, {"along": "seam"}, '"piece" has no seam'),
        (BLOCK, {"along": "bone"}, '"bone" is nothing a knife can follow'),
        (Piece(thickness="4 cm", weight="1 kg"), {"at": "2 cm"}, "is a slab without a length; write it as a block or a cut"),
        (bar(), {"at": "0.1 mm"}, "bar, head.weight: "),
    ],
)  # fmt: skip
def test_what_cannot_be_cut_is_said(piece, how, sentence):
    with pytest.raises(InputError) as caught:
        split(piece, **how)
    assert sentence in str(caught.value)
