"""Other meat, same cure: strengths and profiles stay, weights grow; and the shopping list adds up."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import units
from curelab.__main__ import main
from curelab.batch import from_table, load
from curelab.fields import InputError
from curelab.matter import brine
from curelab.outcome import run
from curelab.paper.scaling import scale, shop, shop_words
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

BRISKET = load(datasets_folder() / "demo_brisket.toml")
LOIN = load(datasets_folder() / "demo_loin.toml")


def small(stage, **more):
    return from_table(
        {
            "schema": 1,
            "name": "small",
            "pieces": [{"name": "slab", "thickness": "4 cm", "weight": "1 kg"}],
            "stages": [stage],
        }
        | more
    )


SEALED = {"do": "sealed cure", "salt": "25 g", "nitrite": "0.15 g", "temperature": "3 degC", "lasts": "9 d"}
OWN = {
    "do": "brine",
    "bath": {"water": "1 kg", "salt": "40 g", "sugar": "10 g", "nitrite": "0.2 g"},
    "temperature": "3 degC",
    "lasts": "6 d",
}


@pytest.mark.parametrize("batch", [LOIN, small(SEALED), small(OWN)], ids=["weighed out", "sealed", "own bath"])
def test_all_grows_alike_so_the_profile_stays(batch):
    larger = scale(batch, by=2.5).batch
    before, after = run(batch), run(larger)
    name = batch.pieces[0].name
    for quantity in ("salt", "nitrite"):
        for place in ("core", "average", "surface"):
            value = before.history.at(place, quantity, None, name)
            assert after.history.at(place, quantity, None, name) == pytest.approx(value, rel=1e-9)
    assert after.history.weight(None, name) == pytest.approx(2.5 * before.history.weight(None, name), rel=1e-9)
    assert larger.pieces[0].thickness == batch.pieces[0].thickness


@pytest.mark.parametrize(
    "piece",
    [
        {"shape": "block", "thickness": "4 cm", "width": "16 cm", "length": "20 cm", "weight": "1.3 kg"},
        {"shape": "cylinder", "thickness": "8 cm", "length": "20 cm", "weight": "1.1 kg"},
        {"shape": "cut", "weight": "1.6 kg", "stations": [{"at": "0 cm", "thickness": "3 cm", "width": "16 cm"}, {"at": "20 cm", "thickness": "7 cm", "width": "16 cm"}]},
    ],
    ids=lambda piece: piece["shape"],
)  # fmt: skip
def test_a_piece_with_a_length_grows_in_length(piece):
    batch = small(SEALED, pieces=[{"name": "long"} | piece])
    (before,), (after,) = batch.pieces, scale(batch, by=2.5).batch.pieces
    assert after.weight == pytest.approx(2.5 * before.weight, rel=1e-12)
    assert after.solid().weight == pytest.approx(2.5 * before.solid().weight, rel=1e-9)
    assert after.thickness == before.thickness and after.solid().width == before.solid().width
    assert "20 cm long" in shop(batch)[0].note and "50 cm long" in shop(scale(batch, by=2.5).batch)[0].note
    thin = scale(batch, by=0.1).notes
    assert any("2 cm across" in note and "salt enters it from all sides" in note for note in thin)


def test_a_weight_is_that_of_all_pieces():
    scaled = scale(BRISKET, weight="2 kg")
    assert sum(piece.weight for piece in scaled.batch.pieces) == pytest.approx(2.0, rel=1e-12)
    assert scaled.batch.weighed.water == pytest.approx(2.5, rel=1e-12)
    assert scaled.batch.weighed.cure_mix == pytest.approx(BRISKET.weighed.cure_mix / 2, rel=1e-12)
    assert scaled.batch.stages[2].waters[0].amount == pytest.approx(3.0, rel=1e-12)
    assert scaled.batch.log == () and scaled.batch.id == "" and any("Thickness stays" in note for note in scaled.notes)


@settings(max_examples=25, deadline=None)
@given(by=st.floats(0.3, 3.0))
def test_there_and_back_again(by):
    back = scale(scale(LOIN, by=by).batch, by=1 / by).batch
    assert back.weighed.salt == pytest.approx(LOIN.weighed.salt, rel=1e-12)
    assert back.pieces[0].weight == pytest.approx(LOIN.pieces[0].weight, rel=1e-12)


def test_more_pieces_share_the_bath_and_each_has_its_profile():
    more = scale(BRISKET, counts={"flat": 2}).batch
    assert [piece.name for piece in more.pieces] == ["point", "flat 1", "flat 2"]
    assert more.weigh_out.water == pytest.approx(5.0 * (2.1 + 2 * 1.9) / 4.0, rel=1e-12)
    history = run(more).history
    assert history.core("salt", None, "flat 1") == pytest.approx(history.core("salt", None, "flat 2"), rel=1e-12)
    assert history.core("salt", None, "point") < 0.5 * history.core("salt", None, "flat 1")
    assert [piece.name for piece in scale(BRISKET, counts={"point": 0}).batch.pieces] == ["flat"]


def test_a_vessel_that_does_not_fit_any_more_is_left_out_and_said():
    assert scale(BRISKET, by=0.9).batch.vessel == BRISKET.vessel
    scaled = scale(BRISKET, by=3)
    assert scaled.batch.vessel is None and any(
        "vessel was left out" in note and "runs over" in note for note in scaled.notes
    )


def test_a_piece_thicker_than_broad_is_warned_of():
    assert any("across" in note for note in scale(BRISKET, weight="0.5 kg").notes)
    assert not any("across" in note for note in scale(BRISKET, weight="3.9 kg").notes)


@pytest.mark.parametrize(
    "ask, said",
    [
        ({}, "say one of"), ({"by": 2, "weight": "1 kg"}, "say one of"), ({"by": 0}, "above zero"), ({"by": float("nan")}, "above zero"),
        ({"weight": "2"}, "needs a unit"), ({"weight": "0 kg"}, "no weight"), ({"counts": {"rib": 2}}, "no piece"),
        ({"counts": {"flat": -1}}, "whole number"),
        ({"counts": {"flat": 0, "point": 0}}, "no piece is left"), ({"by": 1000}, "out of range"),
    ],
)  # fmt: skip
def test_what_cannot_be_scaled(ask, said):
    with pytest.raises(InputError, match=said):
        scale(BRISKET, **ask)


def test_a_ball_is_refused_because_it_would_grow_thicker():
    ball = small(OWN, pieces=[{"name": "ball", "shape": "sphere", "thickness": "8 cm", "weight": "0.28 kg"}])
    with pytest.raises(InputError, match="also thicker"):
        scale(ball, by=2)
    assert len(scale(ball, counts={"ball": 3}).batch.pieces) == 3


def amounts(batch):
    return {item.what: item.amount for item in shop(batch)}


def test_the_list_adds_up():
    found = amounts(BRISKET)
    weighed = BRISKET.weighed
    assert units.read(found["plain salt"], "mass") == pytest.approx(weighed.plain_salt, rel=0.01)
    assert units.read(found["cure mix pink cure, label 6.25 %"], "mass") == pytest.approx(weighed.cure_mix, rel=0.02)
    assert units.read(found["cold water for the soak"], "water") == pytest.approx(12.0, rel=0.01)
    assert found["a fine scale"] == "shows 0.1 g" and "34 cm by 26 cm" in found["the vessel"]
    words = shop_words(BRISKET)
    assert all(what in words and amount in words for what, amount in found.items())
    assert "lb" in amounts(LOIN)["pork loin"]


def test_a_vessel_to_look_for_holds_meat_and_brine():
    found = amounts(LOIN)["a vessel"]
    asked = units.read(re.search(r"[\d.]+ \w+", found)[0], "volume")
    bath = LOIN.filled()[0].bath
    salted = (bath.water + bath.salt) / float(
        brine.density(bath.strength, 277.15)
    ) + bath.sugar / 1587.0  # sucrose crystal, CRC Handbook
    assert asked == pytest.approx(1.15 * (salted + LOIN.pieces[0].volume()), rel=0.02)


def test_sealed_cures_want_bags_and_own_nitrite_is_named_as_such():
    found = amounts(small(SEALED))
    assert (
        found["bags that seal"] == "1" and "0.15 g of sodium nitrite" in found["cure mix"] and "a vessel" not in found
    )


def test_the_command_writes_a_new_batch_with_an_id_of_its_own(tmp_path, capsys):
    new, source = tmp_path / "new.toml", str(datasets_folder() / "demo_loin.toml")
    assert main(["scale", source, "--weight", "10 lb", "-o", str(new)]) == 0
    made = load(new)
    assert made.pieces[0].weight == pytest.approx(10 * 0.45359237, rel=1e-12) and made.known_by != LOIN.known_by
    before = new.read_bytes()
    assert main(["scale", source, "--by", "2", "-o", str(new)]) == 2 and new.read_bytes() == before
    assert main(["scale", source, "--count", "loin", "-o", str(tmp_path / "b.toml")]) == 2
    assert main(["scale", source, "--count", "loin=3", "--name", "three", "-o", str(tmp_path / "b.toml")]) == 0
    assert len(load(tmp_path / "b.toml").pieces) == 3 and load(tmp_path / "b.toml").name == "three"
    capsys.readouterr()
    assert main(["shop", str(new)]) == 0 and capsys.readouterr().out == shop_words(made)


def test_a_new_batch_file_has_an_id_of_its_own(tmp_path, capsys):
    for name in ("a.toml", "b.toml"):
        assert main(["new", str(tmp_path / name)]) == 0
    first, second = load(tmp_path / "a.toml"), load(tmp_path / "b.toml")
    assert first.id and first.id != second.id and first.but(id="") == second.but(id="")


def test_a_cut_that_is_scaled_too_far_names_the_station():
    uneven = load(datasets_folder() / "demo_uneven.toml")
    with pytest.raises(InputError, match=r"brisket\.stations\[5\]\.at: 272 cm is out of range"):
        scale(uneven, by=8)
