"""The reader of quantities: every word against pint, whole texts against a plain sum, and nothing else gets in."""

from __future__ import annotations

import math
import subprocess
import sys
import time
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import units
from curelab.letters import refused_letter
from curelab.unit_words import LENGTH, MASS, NONE, TEMPERATURES, TIME, VOLUME, WORDS, size_of

REGISTRY = pint.get_application_registry()
SI = {LENGTH: "m", MASS: "kg", VOLUME: "m^3", TIME: "s", NONE: "dimensionless"}
KIND = {LENGTH: "length", MASS: "mass", VOLUME: "volume", TIME: "time", NONE: "fraction"}
# What a cook writes and pint reads otherwise, or not at all.
OURS = {'"': "inch", "in": "inch", "°C": "degC", "C": "degC", "°F": "degF", "F": "degF", "UK_gallons": "UK_gallon",
        "UK_quart": "imperial_quart", "UK_quarts": "imperial_quart", "UK_pint": "imperial_pint", "UK_pints": "imperial_pint"}  # fmt: skip
many = settings(max_examples=300, deadline=None, derandomize=True)


@pytest.mark.parametrize("word", sorted(WORDS))
def test_every_word_is_as_large_as_pint_has_it(word):
    size, powers = WORDS[word]
    assert float(size) == pytest.approx(
        REGISTRY.Quantity(1.0, OURS.get(word, word)).to(SI[powers]).magnitude, rel=1e-14
    )


@pytest.mark.parametrize("word", sorted(TEMPERATURES))
@pytest.mark.parametrize("number", [-40.0, 0.0, 38.0, 100.0])
def test_every_temperature_is_as_pint_has_it(word, number):
    pints = REGISTRY.Quantity(number, OURS.get(word, word)).to("K").magnitude
    if pints >= 0:
        assert units.read(f"{number:g} {word}", "temperature") == pytest.approx(pints, rel=1e-14)


@pytest.mark.parametrize(
    ("words", "kind", "value"),
    [
        ("1 1/2 lb", "mass", 1.5 * 0.45359237),
        ("1/2 in", "length", 0.0127),
        ("-1 1/2 degC", "temperature", 271.65),  # was read as half a degree below zero
        ("-1/2 degC", "temperature", 272.65),
        ("-2 lb 3 oz", "mass", -(2 + 3 / 16) * 0.45359237),  # the sign is of the whole
        ("2 lb.", "mass", 2 * 0.45359237),
        ("1 1/2 cup 1 tbsp", "volume", 25 * 231 * 0.0254**3 / 256),
        ("120 mg/kg", "fraction", 120e-6),
        ("900 cm^3", "volume", 9e-4),
        ("900 cm**3", "volume", 9e-4),
        ("900 cm³", "volume", 9e-4),
        ("2 in^3", "volume", 2 * 0.0254**3),
        ("2 gal", "water", 2000 * 231 * 0.0254**3),
        ("٢ kg", "mass", 2.0),  # digits of another script
    ],
)
def test_what_a_cook_writes(words, kind, value):
    assert units.read(words, kind) == pytest.approx(value, rel=1e-14)


# -- against a plain sum ---------------------------------------------------------------------------------------------------------------

numbers = st.one_of(
    st.tuples(st.integers(0, 9999)).map(lambda n: (str(n[0]), Fraction(n[0]))),
    st.decimals(0, 9999, places=3).map(lambda d: (str(d), Fraction(d))),
    st.tuples(st.integers(1, 99), st.integers(-3, 3)).map(lambda n: (f"{n[0]}e{n[1]}", n[0] * Fraction(10) ** n[1])),
    st.tuples(st.integers(1, 20), st.integers(1, 16)).map(lambda n: (f"{n[0]}/{n[1]}", Fraction(*n))),
    st.tuples(st.integers(1, 9), st.integers(1, 15), st.integers(2, 16)).map(
        lambda n: (f"{n[0]} {n[1]}/{n[2]}", n[0] + Fraction(n[1], n[2]))
    ),
)
gaps = st.sampled_from(["", " ", "  ", "\t"])


@st.composite
def quantities(draw):
    """A text of up to three terms of one kind, and what it comes to, by exact fractions."""
    powers = draw(st.sampled_from(list(KIND)))
    known = sorted(word for word, (_, of) in WORDS.items() if of == powers)
    sign = draw(st.sampled_from(["", "-", "+"]))
    text, value = sign, Fraction(0)
    for _ in range(draw(st.integers(1, 3))):
        word, (number, worth) = draw(st.sampled_from(known)), draw(numbers)
        exactly = Fraction(REGISTRY.Quantity(1.0, OURS.get(word, word)).to(SI[powers]).magnitude)
        value += (-1 if sign == "-" else 1) * worth * exactly
        text += f"{number}{draw(gaps) or ('' if not word[0].isalpha() else ' ')}{word} "
    return draw(gaps) + text + draw(gaps), KIND[powers], float(value)


@many
@given(quantities())
def test_a_text_is_the_sum_of_its_terms(case):
    words, kind, value = case
    assert units.read(words, kind) == pytest.approx(value, rel=1e-12, abs=1e-300)


# -- and nothing else ------------------------------------------------------------------------------------------------------------------

HOSTILE = ["2.2 kg*9**9**9", "2.2 kg)", "10 lb{", "2.2 kg/0", f"1{'0' * 400}/1 kg", "2.2 kg**9999", "2.2 kg^-9^9", "2.2 (kg", "2.2 kg.__class__",
           "2.2 exit()", "9" * 5000 + " kg", "1 " * 5000, "2.2 kg*kg/kg*kg", "2.2 kg\x1b[2J", "2.2 \u202ekg", "½ kg", "2.2 pinch kg", "1e999 kg",
           "1/0 kg", "0/0 kg", "1.5/2 kg", "--2 kg", "2,200 kg", "2,2,2 kg", "nan kg", "inf kg", "2.2 /kg", "2.2 kg/", "2.2 * kg", "", " ", "²", "kg"]  # fmt: skip


@pytest.mark.parametrize("kind", list(units.KINDS))
@pytest.mark.parametrize("words", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_are_refused_at_once_in_one_short_sentence(words, kind):
    begun = time.perf_counter()
    with pytest.raises(ValueError) as refused:
        units.read(words, kind)
    said = str(refused.value)
    assert time.perf_counter() - begun < 0.5 and said.isprintable() and len(said) < 260


pieces = st.sampled_from(
    [
        "2",
        "1/2",
        " ",
        "kg",
        "lb",
        "%",
        "*",
        "**",
        "/",
        "^",
        "(",
        ")",
        ".",
        "-",
        "+",
        "e",
        "9",
        "³",
        "cm",
        ",",
        "\x00",
        '"',
    ]
)


@many
@given(st.lists(pieces, max_size=12).map("".join) | st.text(max_size=40), st.sampled_from(list(units.KINDS)))
def test_any_text_is_a_finite_number_or_a_sentence(words, kind):
    try:
        assert math.isfinite(units.read(words, kind))
    except ValueError as error:
        assert refused_letter(str(error)) is None


@many
@given(st.text(st.sampled_from('kgcmlbin*/^³²-0123456789."% '), max_size=15))
def test_a_unit_that_is_taken_means_what_pint_means_by_it(unit):
    try:
        size, powers = size_of(unit)
    except ValueError:
        return
    base = f"m**{powers[0]} * kg**{powers[1]} * s**{powers[2]}"
    pints = unit.removesuffix(".").replace('"', "inch").replace("%", "percent")
    assert float(size) == pytest.approx(REGISTRY.Quantity(1.0, pints).to(base).magnitude, rel=1e-12)


def test_a_batch_is_read_without_the_units_library():
    """Thousands of calls of it took most of a second."""
    code = (
        "import sys; from curelab.batch import load, dumps; from curelab.sources import datasets_folder;"
        "[dumps(load(datasets_folder() / f'demo_{name}.toml')) for name in ('brisket', 'loin')]; assert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
