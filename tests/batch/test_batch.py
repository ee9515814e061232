"""The batch file: lossless round trips, and one sentence for every fault."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import Brine, InputError, Piece, Rest, Soak, Water
from curelab.batch import Batch, Reading, dumps, load, save
from curelab.fields import from_plain
from curelab.letters import refused_letter
from curelab.sources import datasets_folder
from curelab.weighing import CureLabel, EquilibriumBrine

LETTERS = st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")).filter(
    lambda letter: refused_letter(letter) is None
)
SHIPPED = ["new_batch.toml", "demo_brisket.toml", "demo_loin.toml", "demo_plate.toml"]


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_batches_are_in_order_and_marked_as_invented(name):
    path = datasets_folder() / name
    batch = load(path)
    assert batch.invented
    assert "nvented" in path.read_text(encoding="utf-8").splitlines()[0] + batch.note


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_file_to_batch_to_file_loses_nothing(name, system, tmp_path):
    batch = load(datasets_folder() / name).but(units=system)
    save(batch, tmp_path / "copy.toml")
    again = load(tmp_path / "copy.toml")
    assert again == batch
    assert dumps(again) == dumps(batch)


@settings(max_examples=25, deadline=None)
@given(
    thickness=st.floats(0.01, 0.3),
    weight=st.floats(0.1, 50),
    kelvin=st.floats(273, 290),
    days=st.floats(3600, 5e6),
    salt=st.floats(0.005, 0.06),
    name=st.text(LETTERS, min_size=1, max_size=30),
    system=st.sampled_from(["metric", "us"]),
)
def test_any_batch_survives_its_file(thickness, weight, kelvin, days, salt, name, system):
    batch = Batch(
        schema=1,
        name=name,
        units=system,
        pieces=[Piece(name="a", thickness=thickness, weight=weight)],
        weigh_out=EquilibriumBrine(
            water=weight, salt=salt, nitrite="100 ppm", cure=CureLabel(name=name, nitrite="6.25 %")
        ),
        stages=[
            Brine(temperature=kelvin, lasts=days, turn_every="1 d"),
            Rest(temperature=[(0.0, kelvin), (days, 275.0)], until="core salt >= 90 % of equilibrium", at_most=days),
            Soak(waters=[Water(amount=weight, lasts=3600.0, temperature=kelvin)] * 2, until="average salt <= 2.4 %"),
        ],
        log=[Reading(at=days, what="weight", value="2 kg", note=name)],
    )
    assert from_plain(Batch, tomllib.loads(dumps(batch))) == batch


def changed(old: str, new: str) -> str:
    text = (datasets_folder() / "demo_brisket.toml").read_text(encoding="utf-8")
    assert old in text
    return text.replace(old, new, 1)


FAULTS = {
    "negative": ('thickness = "8 cm"', 'thickness = "-8 cm"', "pieces[1].thickness", "out of range"),
    "zero": ('weight = "2.1 kg"', 'weight = "0 kg"', "pieces[1].weight", "out of range"),
    "not a number": ('weight = "2.1 kg"', 'weight = "nan kg"', "pieces[1].weight", "is not a mass"),
    "infinite": ('weight = "2.1 kg"', 'weight = "1e999 kg"', "pieces[1].weight", "finite"),
    "TOML infinity": ('weight = "2.1 kg"', "weight = inf", "pieces[1].weight", "finite"),
    "wrong unit": ('thickness = "8 cm"', 'thickness = "7 kg"', "pieces[1].thickness", '"kg" does not measure a length'),
    "no unit": ('thickness = "8 cm"', "thickness = 8", "pieces[1].thickness", "needs a unit"),
    "Fahrenheit for Celsius": (
        'temperature = "3 degC"\nlasts = "3 d"',
        'temperature = "38 degC"\nlasts = "3 d"',
        "stages[2].temperature",
        '"38 degF"',
    ),
    "oversaturated": ('salt = "2.4 %"\n', 'salt = "15 %"\n', "weigh_out.water", "does not dissolve"),
    "too thick for the vessel": ('height = "20 cm"', 'height = "6 cm"', "vessel", "does not go into a vessel"),
    "nitrite a hundredfold": ('nitrite = "125 ppm"', 'nitrite = "12500 ppm"', "weigh_out.nitrite", "poison"),
    "unknown field": ('thickness = "8 cm"', 'thicknes = "8 cm"', "pieces[1].thicknes", 'did you mean "thickness"'),
    "two end rules": (
        'lasts = "10 d"',
        'lasts = "10 d"\nuntil = "average salt >= 1 %"\nat_most = "9 d"',
        "stages[1].lasts",
        "exactly one",
    ),
    "no end rule": ('lasts = "10 d"\n', "", "stages[1].lasts", "exactly one"),
    "until without a maximum": ('lasts = "10 d"', 'until = "average salt >= 1 %"', "stages[1].at_most", "longest"),
    "not a criterion": ('lasts = "10 d"', 'until = "done"\nat_most = "9 d"', "stages[1].until", "not a criterion"),
    "unknown stage": ('do = "rest"', 'do = "sleep"', "stages[2].do", "not one of"),
    "two pieces of one name": ('name = "flat"', 'name = "point"', "pieces", "its own name"),
    "newer schema": ("schema = 1", "schema = 2", "schema", "schema 2"),
    "log of nobody": ('what = "turned"', 'what = "turned"\npiece = "shank"', "log[2].piece", "no piece"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_has_its_place_and_its_sentence(fault, tmp_path):
    old, new, where, part = FAULTS[fault]
    path = tmp_path / "batch.toml"
    text = changed(old, new)
    if fault == "oversaturated":
        text = text.replace('water = "5 kg"', 'water = "1 kg"')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(path)
    hits = [problem for problem in caught.value.problems if problem.where.startswith(where)]
    assert hits, caught.value
    assert part in str(hits[0])
    assert "\n" not in str(hits[0]) and "Traceback" not in str(hits[0])


def test_all_problems_come_at_once(tmp_path):
    text = (
        changed('thickness = "8 cm"', 'thickness = "8 kg"')
        .replace('do = "rest"', 'do = "sleep"')
        .replace('nitrite = "6.25 %"', "nitrite = 6.25")
    )
    path = tmp_path / "batch.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(path)
    assert {problem.where for problem in caught.value.problems} == {
        "pieces[1].thickness",
        "stages[2].do",
        "weigh_out.cure.nitrite",
    }


FILES = {
    "truncated": (lambda path: path.write_text('schema = 1\nname = "half', encoding="utf-8"), "not complete TOML"),
    "not UTF-8": (lambda path: path.write_bytes(b'name = "caf\xe9"'), "not UTF-8"),
    "a folder": (lambda path: path.mkdir(), "is a folder"),
    "missing": (lambda path: None, "does not exist"),
    "deep": (lambda path: path.write_text("a = " + "[" * 100_000, encoding="utf-8"), ""),
}


@pytest.mark.parametrize("kind", FILES)
def test_files_that_are_no_batch(kind, tmp_path):
    make, part = FILES[kind]
    path = tmp_path / "batch.toml"
    make(path)
    with pytest.raises(InputError) as caught:
        load(path)
    assert part in str(caught.value)
    assert len(caught.value.problems) == 1


def test_a_hundred_megabytes_are_refused_unread(tmp_path):
    path = tmp_path / "large.toml"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(InputError, match="has more than 5 MB"):
        load(path)


def test_saving_overwrites_nothing_unasked_and_leaves_nothing_half(tmp_path):
    batch = load(datasets_folder() / "demo_loin.toml")
    path = tmp_path / "batch.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="left as it was"):
        save(batch, path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert [entry.name for entry in tmp_path.iterdir()] == ["batch.toml"]
    with pytest.raises(InputError, match="cannot be written"):
        save(batch, tmp_path / "no such folder" / "batch.toml")


def test_weighed_grams_reach_the_stages():
    batch = load(datasets_folder() / "demo_brisket.toml")
    brine = batch.filled()[0]
    assert isinstance(brine, Brine) and brine.bath is not None
    # Handbook equilibrium sum by hand: target x (green weight + water), 4.0 kg of meat and 5 kg of water.
    assert brine.bath.salt == pytest.approx(0.024 * 9.0, rel=1e-12)
    assert brine.bath.nitrite == pytest.approx(125e-6 * 9.0, rel=1e-12)


def test_readings_are_read_by_their_kind():
    assert Reading(at="4 d", what="temperature", value="38 degF").number == pytest.approx(276.4833, rel=1e-6)
    assert Reading(at="4 d", what="turned").number is None
    for broken in ({"what": "weight", "value": "3 cm"}, {"what": "turned", "value": "yes"}, {"what": "weight"}):
        with pytest.raises(InputError):
            Reading(at="4 d", **broken)
