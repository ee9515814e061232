"""Units at the border and records that say what they may hold: every way in, every refusal, and lossless plain tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import Bath, Brine, Criterion, InputError, Piece, Rest, SealedCure, Soak, Water, units
from curelab.engine.run import QUANTITIES
from curelab.fields import Record, Several, from_plain, quantity, ruled, to_plain
from curelab.recipe.criterion import BASES, PLACES, CriterionRule
from curelab.recipe.stages import STAGES, constant
from curelab.weighing import SealedDryCure

some = settings(max_examples=60, deadline=None, derandomize=True)
SYSTEMS = ("metric", "us")
# All that a name may hold.
letters = st.characters(
    exclude_categories=("Cc", "Cs", "Zl", "Zp"),
    exclude_characters=[chr(n) for n in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))],
)


# -- units -------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "kind", "value"),
    [
        ("7 cm", "length", 0.07),
        ("2 in", "length", 2 * 0.0254),  # by definition
        ('1 1/2"', "length", 1.5 * 0.0254),
        ("1/4 inch", "length", 0.25 * 0.0254),
        ("2 lb 3 oz", "mass", 2 * 0.45359237 + 3 * 0.45359237 / 16),  # by definition
        ("1.5 gal", "volume", 1.5 * 231 * 0.0254**3),  # US gallon, 231 cubic inches
        ("1 imperial_gallon", "volume", 4.54609e-3),  # by definition
        ("1 cup", "volume", 231 * 0.0254**3 / 16),
        ("4 L", "volume", 4e-3),
        ("10 d", "time", 864000.0),
        ("2 h 30 min", "time", 9000.0),
        ("3 days", "time", 259200.0),
        ("38 degF", "temperature", (38 + 459.67) / 1.8),  # by definition
        ("38 °F", "temperature", (38 + 459.67) / 1.8),
        ("-2 degC", "temperature", 271.15),
        ("3C", "temperature", 276.15),
        ("276.15 K", "temperature", 276.15),
        ("2.2 %", "fraction", 0.022),
        ("120 ppm", "fraction", 0.00012),
        ("0.03", "fraction", 0.03),
        ("5.6", "plain", 5.6),
        (0.07, "length", 0.07),
        (3, "mass", 3.0),
        ("1e-2 m", "length", 0.01),
        (".5 kg", "mass", 0.5),
        ("4,5 cm", "length", 0.045),
        ("0,750 kg", "mass", 0.75),
        ("1234,567 g", "mass", 1.234567),
        ("1,5 lb 2,5 oz", "mass", (1.5 + 2.5 / 16) * 0.45359237),
    ],
)
def test_read(words, kind, value):
    assert units.read(words, kind) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("words", "kind", "sentence"),
    [
        ("7 kg", "length", '"7 kg" is not a length, because "kg" does not measure a length; write it like "7 cm"'),
        ("7", "length", '"7" needs a unit, like "7 cm"'),
        ("1,500 g", "mass", '"1,500 g" may mean 1.5 or 1500; write one of them, without the comma'),
        (
            "1,234,567 g",
            "mass",
            '"1,234,567 g" is not a mass, because one comma is read, in the place of a point; write it like "2.4 kg"',
        ),
        ("thick", "length", '"thick" is not a length; write it like "7 cm"'),
        ("7 xyz", "mass", '"7 xyz" is not a mass, because "xyz" does not measure a mass; write it like "2.4 kg"'),
        ("", "mass", 'an empty text is not a mass; write it like "2.4 kg"'),
        ("1/0 cup", "volume", '"1/0 cup" is not a volume; write it like "4 L"'),
        ("3 degC 2 degC", "temperature", '"3 degC 2 degC" is not one temperature; write it like "3 degC"'),
        (
            "5 cm",
            "fraction",
            '"5 cm" is not a fraction, because "cm" does not measure a fraction; write it like "2.2 %"',
        ),
        (True, "length", 'True is not a length; write it like "7 cm"'),
        (None, "length", 'None is not a length; write it like "7 cm"'),
        ([7], "length", '[7] is not a length; write it like "7 cm"'),
        (float("nan"), "length", "nan is not a finite length"),
        (float("inf"), "mass", "inf is not a finite mass"),
        ("1e999 kg", "mass", "'1e999 kg' is not a finite mass"),
    ],
)
def test_read_refuses(words, kind, sentence):
    with pytest.raises(ValueError) as refused:
        units.read(words, kind)
    assert str(refused.value) == sentence


@some
@given(st.sampled_from(list(units.KINDS)), st.sampled_from(SYSTEMS), st.floats(1e-7, 1e6))
def test_any_number_survives_being_written(kind, system, value):
    assert units.read(units.text(value, kind, system), kind) == value


@some
@given(st.sampled_from(list(units.KINDS)), st.sampled_from(SYSTEMS), st.integers(1, 9999), st.integers(0, 3))
def test_what_a_cook_writes_comes_back_as_written(kind, system, digits, places):
    """In each unit: read, write, read is the same float, and the words stay about as short."""
    for unit in getattr(units.KINDS[kind], system):
        words = f"{digits / 10**places:g} {unit}".strip()
        value = units.read(words, kind)
        again = units.text(value, kind, system)
        assert units.read(again, kind) == value
        assert len(again) <= len(words) + 7


@some
@given(st.sampled_from(("length", "mass", "water", "volume", "temperature")), st.integers(1, 9999), st.integers(0, 2))
def test_what_was_typed_in_the_other_system_keeps_its_unit(kind, digits, places):
    """Nobody reads metres or kelvin in a batch file: 3 cm in a US batch is written as 3 cm."""
    for system, other in (("metric", "us"), ("us", "metric")):
        for unit in getattr(units.KINDS[kind], other):
            value = units.read(f"{digits / 10**places:g} {unit}", kind)
            written = units.text(value, kind, system)
            assert units.read(written, kind) == value
            assert written.split()[1] in units.KINDS[kind].metric + units.KINDS[kind].us and len(written) < 16


@some
@given(st.sampled_from(list(units.KINDS)), st.sampled_from(SYSTEMS), st.floats(1e-3, 90.0))
def test_a_text_box_reads_as_a_cook_does(kind, system, value):
    """Few digits, in the units of the batch alone, and what it says can be typed again."""
    words = units.entry(value, kind, system)
    number, _, unit = words.partition(" ")
    assert len(number.replace(".", "").strip("-0")) <= 5 and "e" not in number
    own = {units.ON_PAGES.get(each, each) for each in getattr(units.KINDS[kind], system)}
    assert unit in own
    assert units.read(words, kind) == pytest.approx(value, rel=5e-3, abs=0.06 if kind == "temperature" else 0)


@some
@given(st.sampled_from(list(units.KINDS)), st.floats(1e-3, 1e3))
def test_convert_undoes_read(kind, number):
    for system in SYSTEMS:
        for unit in getattr(units.KINDS[kind], system):
            assert units.convert(units.read(f"{number!r} {unit}", kind), kind, unit) == pytest.approx(number, rel=1e-9)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ("150", '"150" needs a unit, like "120 ppm"'),
        ("3 g", '"3 g" is not a fraction, because "g" does not measure a fraction; write it like "120 ppm"'),
        ("0,00012", '"0,00012" needs a unit, like "120 ppm"'),
        (120.0, '"120.0" needs a unit, like "120 ppm"'),
    ],
)
def test_a_share_in_a_file_or_a_form_has_its_unit_and_its_own_example(given, sentence):
    """0.5 could be half of it or half a percent; of nitrite the one kills."""
    with pytest.raises(InputError) as refused:
        from_plain(SealedDryCure, {"salt": "2.2 %", "cure": {"name": "mine", "nitrite": "6.25 %"}, "nitrite": given})
    assert str(refused.value) == f"nitrite: {sentence}"
    assert from_plain(SealedDryCure, {"salt": "2,2 %", "nitrite": "0"}).salt == pytest.approx(0.022, rel=1e-12)


def test_a_criterion_is_written_in_the_units_of_its_batch():
    warm = Criterion.parse("core temperature >= 190 degF")
    rule = CriterionRule()
    assert rule.write(warm, "us") == "core temperature >= 190 degF" and rule.read(rule.write(warm, "us"), True) == warm
    assert rule.write(Criterion.parse("core temperature >= 88 degC"), "metric") == "core temperature >= 88 degC"


@pytest.mark.parametrize(
    ("value", "kind", "system", "words"),
    [
        (0.0712, "length", "metric", "7.12 cm"),
        (0.004, "length", "metric", "4 mm"),
        (0.0712, "length", "us", "2.8 in"),
        (2.4, "mass", "metric", "2.4 kg"),
        (0.045, "mass", "metric", "45 g"),
        (0.045, "mass", "us", "1.59 oz"),
        (2.4, "mass", "us", "5.29 lb"),
        (0.002, "volume", "metric", "2 L"),
        (0.0005, "volume", "metric", "500 mL"),
        (0.004, "volume", "us", "1.06 gal"),
        (600.0, "time", "metric", "10 min"),
        (36000.0, "time", "metric", "10 h"),
        (864000.0, "time", "metric", "10 d"),
        (math.inf, "time", "metric", "never"),
        (math.nan, "mass", "metric", "unknown"),
        (5.25e299, "mass", "metric", "5.25e+299 kg"),  # no 300 digits in a sentence
        (1e-300, "length", "metric", "1e-297 mm"),
        (0.022, "fraction", "metric", "2.2 %"),
        (0.00012, "fraction", "metric", "120 ppm"),
        (0.0, "fraction", "metric", "0 %"),
        (273.15, "temperature", "metric", "0 °C"),
        (276.48333, "temperature", "us", "38 °F"),
        (5.6, "plain", "metric", "5.6"),
    ],
)
def test_show(value, kind, system, words):
    assert units.show(value, kind, system) == words


# -- records refuse with a sentence --------------------------------------------------------------------------------------------------

GOOD = {"thickness": "6 cm", "weight": "1.5 kg"}
COLD = {"temperature": "3 degC", "lasts": "6 d"}
THICK = "2 mm to 40 cm); measure the thickest point with a ruler or a skewer, in the direction that is thinnest there"


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Piece(**GOOD | {"thickness": "-3 cm"}), f'thickness: "-3 cm" is out of range (from {THICK}'),
        (lambda: Piece(**GOOD | {"thickness": "0 cm"}), f'thickness: "0 cm" is out of range (from {THICK}'),
        (lambda: Piece(**GOOD | {"thickness": 3.0}), f"thickness: 300 cm is out of range (from {THICK}"),
        (lambda: Piece(**GOOD | {"thickness": math.nan}), "thickness: nan is not a finite length"),
        (lambda: Piece(**GOOD | {"thickness": math.inf}), "thickness: inf is not a finite length"),
        (
            lambda: Piece(**GOOD | {"thickness": "7 kg"}),
            'thickness: "7 kg" is not a length, because "kg" does not measure a length; write it like "7 cm"',
        ),
        (
            lambda: Piece(**GOOD | {"weight": "0 kg"}),
            'weight: "0 kg" is out of range (from 10 g to 100 kg); weigh the raw piece, before salt or water',
        ),
        (
            lambda: Piece(**GOOD | {"shape": "cylindre"}),
            'shape: "cylindre" is not one of slab, cylinder, sphere, block, cut; did you mean "cylinder"?',
        ),
        (lambda: Piece(**GOOD | {"shape": "cone"}), 'shape: "cone" is not one of slab, cylinder, sphere, block, cut'),
        (lambda: Piece(**GOOD | {"name": 7}), "name: 7 is not a text; put it between quotes"),
        (
            lambda: Piece(**GOOD | {"name": "x" * 61}),
            "name: the text has 61 characters, at most 60 are kept; shorten it",
        ),
        (
            lambda: Piece(**GOOD | {"frozen_before": "yes"}),
            "frozen_before: 'yes' is neither true nor false; write true or false",
        ),
        (
            lambda: Piece(**GOOD | {"shape": "sphere", "fat_cap": "1 cm"}),
            "fat_cap: a sphere can carry no fat cap; leave it out, trim it, or take another shape",
        ),
        (
            lambda: Piece(**GOOD | {"fat_cap": "3 cm", "capped": "both faces"}),
            "fat_cap: leaves less than 2 mm of lean; the thickness is measured with the cap included",
        ),
        (
            lambda: Rest(temperature="38 degC", lasts="1 d"),
            'temperature: "38 degC" is too warm for raw meat: keep it at 1 to 3 °C (34 to 37 °F) (stages run from -3 degC to 25 degC); if it was read in Fahrenheit, write "38 degF" (3.3 °C)',
        ),
        (
            lambda: Rest(temperature="99 degC", lasts="1 d"),
            'temperature: "99 degC" is too warm for raw meat: keep it at 1 to 3 °C (34 to 37 °F) (stages run from -3 degC to 25 degC)',
        ),
        (
            lambda: Rest(temperature="3 degC"),
            'lasts: a stage ends by "lasts" or by "until", and neither is given; say exactly one',
        ),
        (
            lambda: Rest(**COLD, until="core salt >= 1 %", at_most="9 d"),
            'lasts: a stage ends by "lasts" or by "until", and both are given; say exactly one',
        ),
        (
            lambda: Rest(temperature="3 degC", until="core salt >= 1 %"),
            "at_most: until needs at_most, the longest you would wait; add or remove it",
        ),
        (lambda: Rest(**COLD, at_most="9 d"), "at_most: at_most only goes with until; add or remove it"),
        (
            lambda: Rest(temperature="3 degC", until="salty", at_most="9 d"),
            'until: "salty" is not a criterion; write it like "core salt >= 90 % of equilibrium" or "average salt <= 2.4 %"',
        ),
        (
            lambda: Rest(temperature="3 degC", until="core salt >= 120 %", at_most="9 d"),
            'until: "core salt >= 120 %" has a target outside 0 to 100 %',
        ),
        (
            lambda: Rest(temperature=[["0 h", "3 degC"], ["0 h", "4 degC"]], lasts="1 d"),
            "temperature: the times of a fridge log must grow from entry to entry, and one entry is the least",
        ),
        (
            lambda: Rest(temperature=[], lasts="1 d"),
            "temperature: the times of a fridge log must grow from entry to entry, and one entry is the least",
        ),
        (
            lambda: Rest(temperature=[["0 h", "3 degC"], "9 h"], lasts="1 d"),
            'temperature[2]: \'9 h\' is not a pair like ["9 h", "5 degC"]',
        ),
        (
            lambda: Rest(temperature=[[float(n), 276.15] for n in range(20001)], lasts="1 d"),
            "temperature: the fridge log has 20001 entries; at most 20000 are read, so thin it out",
        ),
        (
            lambda: Brine(**COLD, turn_every="1 d", lying=False),
            "turn_every: turning only matters for a piece that lies on the vessel; leave it out or set lying = true",
        ),
        (
            lambda: Bath(water="2 kg", nitrite="20 g"),
            "nitrite: 20 g in 2 kg of water is 10,000 mg per kg, far above any curing brine (at most 5,000); too much nitrite "
            "poisons: check the decimal point and weigh the cure mix, not pure nitrite",
        ),
        (
            lambda: Brine(temperature="-3 degC", lasts="1 d", bath=Bath(water="2 kg", salt="20 g")),
            "temperature: this brine freezes at -0.6 °C; curing stops in ice, so keep it warmer",
        ),
        (
            lambda: Soak(waters=[]),
            "waters: there are 0 entries; give 1 to 60",
        ),
        (lambda: Soak(waters="3 kg"), "waters: '3 kg' is not a list; give one entry for each"),
        (lambda: Soak(waters=["3 kg"]), "waters[1]: '3 kg' is not a table of fields"),
    ],
)
def test_a_record_refuses(make, sentence):
    with pytest.raises(InputError) as refused:
        make()
    assert str(refused.value) == sentence


def test_a_brine_that_cannot_exist():
    """Saturation near 26.3 % at 3 degC (handbook: 35.7 g in 100 g of water at 0 degC)."""
    with pytest.raises(
        InputError, match=r"^bath: a brine of 28\.6 % salt cannot exist at 3 °C: water holds at most 26\.3 %; use more"
    ):
        Brine(**COLD, bath=Bath(water="1 kg", salt="400 g"))


def test_every_problem_at_once():
    with pytest.raises(InputError) as refused:
        Piece(name=3, shape="cube", thickness="5 kg", weight=-1.0, ph="12")
    assert [problem.where for problem in refused.value.problems] == ["name", "shape", "thickness", "weight", "ph"]
    assert len(str(refused.value).splitlines()) == 5


def test_problems_inside_name_the_place():
    table = {
        "waters": [
            {"amount": "3 kg", "lasts": "8 h", "temperature": "5 degC"},
            {"amount": "3 m", "lasts": "8 h", "temperature": [["0 h", "5 degC"], ["1 h", "41 degC"]]},
        ],
        "until": "average salt <= 2 %",
    }
    with pytest.raises(InputError) as refused:
        from_plain(Soak, table)
    assert [problem.where for problem in refused.value.problems] == ["waters[2].amount", "waters[2].temperature[2]"]


def test_unknown_and_missing_fields():
    with pytest.raises(InputError) as refused:
        from_plain(Piece, {"thicknes": "6 cm", "zzz": 1})
    said = [str(problem) for problem in refused.value.problems]
    assert said[0] == 'thicknes: no such field; did you mean "thickness"?'
    assert said[1].startswith("zzz: no such field; known here: name, shape, thickness")
    assert said[2:] == ['thickness: missing; give it, like "7 cm"', 'weight: missing; give it, like "2.4 kg"']
    with pytest.raises(InputError, match=r"^3 is not a table of fields$"):
        from_plain(Piece, 3)


def test_a_file_must_say_its_units():
    """A bare number is SI for a program, and refused in a table."""
    assert Piece(thickness=0.06, weight=1.5) == Piece(**GOOD)
    with pytest.raises(InputError, match=r'^weight: "1\.5" needs a unit, like "2.4 kg"$'):
        from_plain(Piece, {"thickness": "6 cm", "weight": 1.5})


def test_records_stay_as_they_are():
    point = Piece(**GOOD)
    with pytest.raises(AttributeError):
        point.weight = 2.0
    with pytest.raises(TypeError):
        Piece("point")
    assert point.but(weight="2 kg").weight == 2.0 and point.weight == 1.5
    with pytest.raises(InputError, match=r"^weight: "):
        point.but(weight="0 g")


# -- plain tables lose nothing ---------------------------------------------------------------------------------------------------------


def span(low: float, high: float):
    return st.floats(low, high)


temperatures = st.one_of(
    span(271.0, 298.0),
    st.lists(
        st.tuples(span(0.0, 3e7), span(271.0, 298.0)), min_size=1, max_size=5, unique_by=lambda point: point[0]
    ).map(sorted),
)
criteria = st.builds(
    Criterion,
    st.sampled_from(PLACES),
    st.sampled_from(QUANTITIES),
    st.sampled_from([">=", "<="]),
    span(1e-7, 1.0),
    st.sampled_from(list(BASES)),
)
flags = st.booleans()


@st.composite
def endings(draw):
    if draw(flags):
        return {"lasts": draw(span(60.0, 3e7))}
    return {"until": draw(criteria), "at_most": draw(span(60.0, 3e7))}


@st.composite
def pieces(draw):
    shape = draw(st.sampled_from(("slab", "cylinder", "sphere")))  # others: tests/recipe
    thickness = draw(span(0.01, 0.4))
    cap = (
        {"fat_cap": draw(span(0.0, 0.3 * thickness).filter(lambda x: x < 0.1))}
        if shape == "slab" and draw(flags)
        else {}
    )
    ph = draw(st.one_of(st.none(), span(4.8, 7.5)))
    return Piece(
        name=draw(st.text(letters, max_size=60)), shape=shape, thickness=thickness, weight=draw(span(0.01, 100.0)), frozen_before=draw(flags),
        tissue=draw(st.sampled_from(["lean beef", "lean pork", "brisket flat"])), ph=ph,
        capped=draw(st.sampled_from(["one face", "both faces"])), **cap,
    )  # fmt: skip


@st.composite
def stages(draw):
    kind = draw(st.sampled_from(STAGES))
    if kind is Soak:
        water = st.builds(Water, amount=span(0.01, 2000.0), lasts=span(60.0, 1e6), temperature=temperatures)
        until = draw(st.one_of(st.none(), criteria))
        return Soak(
            waters=draw(st.lists(water, min_size=1, max_size=4)), until=until, lying=draw(flags), stirred=draw(flags)
        )
    common = {"temperature": draw(temperatures), **draw(endings())}
    if kind is Rest:
        return Rest(**common)
    if kind is SealedCure:
        return SealedCure(
            salt=draw(st.one_of(st.none(), span(1e-4, 50.0))), sugar=draw(span(0.0, 1.0)), nitrite=draw(span(0.0, 1.0)),
            purge=draw(st.one_of(st.none(), span(0.002, 0.2))), **common,
        )  # fmt: skip
    bath = draw(
        st.one_of(st.none(), st.builds(Bath, water=span(1.0, 2000.0), salt=span(0.1, 0.2), nitrite=span(0.0, 4e-3)))
    )
    if bath is not None:  # warm enough not to freeze
        common["temperature"] = draw(span(274.0, 298.0))
    lying = draw(flags)
    turn = {"turn_every": draw(span(600.0, 1e6))} if lying and draw(flags) else {}
    return Brine(bath=bath, lying=lying, stirred=draw(flags), running=draw(flags), **turn, **common)


class Cellar(Record):
    """A record of records, as a file holds them."""

    steps: tuple = ruled(Several(STAGES, tag="kind"))
    volume: float = quantity("volume", "1 mL", "1 m^3", default=0.004)


@some
@given(pieces(), st.sampled_from(SYSTEMS))
def test_a_piece_comes_back(record, system):
    assert from_plain(Piece, to_plain(record, system)) == record


@some
@given(st.lists(stages(), max_size=3), st.sampled_from(SYSTEMS), span(1e-6, 1.0))
def test_stages_come_back(listed, system, volume):
    record = Cellar(steps=listed, volume=volume)
    table = to_plain(record, system)
    assert from_plain(Cellar, table) == record
    assert [step["kind"] for step in table["steps"]] == [step.tag for step in listed]
    for step in listed:
        assert from_plain(type(step), to_plain(step, system)) == step
        assert repr(step).startswith(type(step).__name__ + "(")


def test_a_list_of_sorts_refuses():
    kinds = "brine, sealed cure, rest, soak, simmer, bag cook, smoke, oven, chill, reheat, hold"
    for table, sentence in (
        ({"steps": [{"temperature": "3 degC"}]}, f"steps[1].kind: missing; say one of {kinds}"),
        (
            {"steps": [{"kind": "brin"}]},
            f'steps[1].kind: "brin" is not one of {kinds}; did you mean "brine"?',
        ),
        ({"steps": {"kind": "rest"}}, "steps: {'kind': 'rest'} is not a list; give one entry for each"),
    ):
        with pytest.raises(InputError) as refused:
            from_plain(Cellar, table)
        assert str(refused.value) == sentence


@some
@given(criteria)
def test_a_criterion_comes_back(criterion):
    assert Criterion.parse(str(criterion)) == criterion


def test_plain_tables_are_short_and_in_the_wanted_system():
    point = Piece(thickness="2 in", weight="3 lb")
    assert to_plain(point, "us") == {"thickness": "2 inch", "weight": "3 lb"}
    assert to_plain(Rest(temperature="3 degC", lasts="2 d")) == {"temperature": "3 degC", "lasts": "2 d"}
    assert constant("3 degC") == ((0.0, 276.15),)
    log = Rest(temperature=[["0 h", "3 degC"], ["9 h", "5 degC"]], lasts="2 d")
    assert to_plain(log)["temperature"] == [["0 h", "3 degC"], ["9 h", "5 degC"]]
    assert (log.coldest, log.warmest) == (276.15, 278.15)
