"""The unit words that are read, each with its size in SI. A closed list and a small grammar: nothing that was given is ever evaluated.

A unit is a word of the list, with a power ("cm^3", "cm**3", "cm³"), or up to three of them joined by * and / ("mg/kg"). Sizes are exact by
definition: the inch, the avoirdupois pound, the US gallon of 231 cubic inches, the imperial gallon. US names mean US measures.
`tests/border/test_unit_words.py` holds every word against pint.
"""

from __future__ import annotations

import re
from fractions import Fraction

Powers = tuple[int, int, int]  # of length, mass and time
NONE, LENGTH, MASS, VOLUME, TIME = (0, 0, 0), (1, 0, 0), (0, 1, 0), (3, 0, 0), (0, 0, 1)

MINUTE, HOUR, DAY = 60, 3600, 86400  # s

_INCH = Fraction(254, 10**4)  # m
_POUND = Fraction(45359237, 10**8)  # kg
_GALLON, _IMPERIAL = 231 * _INCH**3, Fraction(454609, 10**8)  # m3

_SHORT = {"k": 3, "h": 2, "da": 1, "": 0, "d": -1, "c": -2, "m": -3, "µ": -6, "μ": -6, "u": -6}  # micro has two signs
_LONG = {"kilo": 3, "hecto": 2, "deca": 1, "": 0, "deci": -1, "centi": -2, "milli": -3, "micro": -6}
_METRIC = (
    ("m", "metre metres meter meters", LENGTH, Fraction(1)),
    ("g", "gram grams", MASS, Fraction(1, 1000)),
    ("L l", "litre litres liter liters", VOLUME, Fraction(1, 1000)),
)
_OTHERS = (
    ('inch inches in "', LENGTH, _INCH),
    ("ft foot feet", LENGTH, 12 * _INCH),
    ("yd yard yards", LENGTH, 36 * _INCH),
    ("lb lbs pound pounds", MASS, _POUND),
    ("oz ounce ounces", MASS, _POUND / 16),
    ("gr grain grains", MASS, _POUND / 7000),
    ("dram drams", MASS, _POUND / 256),
    ("stone stones", MASS, 14 * _POUND),
    ("t tonne tonnes metric_ton metric_tons", MASS, Fraction(1000)),
    ("ton tons short_ton short_tons", MASS, 2000 * _POUND),
    ("cc", VOLUME, Fraction(1, 10**6)),
    ("gal gallon gallons", VOLUME, _GALLON),
    ("qt quart quarts", VOLUME, _GALLON / 4),
    ("pt pint pints", VOLUME, _GALLON / 8),
    ("cup cups", VOLUME, _GALLON / 16),
    ("gill gills", VOLUME, _GALLON / 32),
    ("floz fluid_ounce fluid_ounces", VOLUME, _GALLON / 128),
    ("tbsp tablespoon tablespoons", VOLUME, _GALLON / 256),
    ("tsp teaspoon teaspoons", VOLUME, _GALLON / 768),
    ("imperial_gallon imperial_gallons UK_gallon UK_gallons", VOLUME, _IMPERIAL),
    ("imperial_quart imperial_quarts UK_quart UK_quarts", VOLUME, _IMPERIAL / 4),
    ("imperial_pint imperial_pints UK_pint UK_pints", VOLUME, _IMPERIAL / 8),
    ("imperial_cup imperial_cups", VOLUME, _IMPERIAL / 16),
    ("imperial_fluid_ounce imperial_fluid_ounces", VOLUME, _IMPERIAL / 160),
    ("s sec secs second seconds", TIME, Fraction(1)),
    ("min mins minute minutes", TIME, Fraction(60)),
    ("h hr hrs hour hours", TIME, Fraction(HOUR)),
    ("d day days", TIME, Fraction(DAY)),
    ("week weeks", TIME, Fraction(7 * DAY)),
    ("fortnight fortnights", TIME, Fraction(14 * DAY)),
    ("month months", TIME, Fraction(36525 * 864, 12)),
    ("year years", TIME, Fraction(36525 * 864)),
    ("% percent", NONE, Fraction(1, 100)),
    ("‰ permille", NONE, Fraction(1, 1000)),
    ("ppm", NONE, Fraction(1, 10**6)),
)
WORDS: dict[str, tuple[Fraction, Powers]] = {
    prefix + word: (size * Fraction(10) ** power, powers)
    for short, long, powers, size in _METRIC
    for prefixes, words in ((_SHORT, short), (_LONG, long))
    for prefix, power in prefixes.items()
    for word in words.split()
} | {word: (size, powers) for words, powers, size in _OTHERS for word in words.split()}

# (kelvin in one of it, its zero in kelvin)
TEMPERATURES = {
    word: sizes
    for words, sizes in (
        ("degC °C C celsius", (1.0, 273.15)),
        ("degF °F F fahrenheit", (5 / 9, 45967 / 180)),
        ("K degK kelvin", (1.0, 0.0)),
    )
    for word in words.split()
}

_MOST_WORDS = 3
_WORD = re.compile(r"([*/·]?)([^*/·^²³\d\s]+)(?:(?:\^|\*\*)(-?\d)|([²³]))?")


def size_of(unit: str) -> tuple[Fraction, Powers]:
    """(SI in one of this unit, powers of length, mass and time). Raises ValueError for what is not in the list or the grammar.

    >>> size_of("mg/kg"), size_of("cm^3")
    ((Fraction(1, 1000000), (0, 0, 0)), (Fraction(1, 1000000), (3, 0, 0)))
    """
    size, powers, rest = Fraction(1), NONE, unit.removesuffix(".")  # "lb." is usual
    for number in range(_MOST_WORDS):
        found = _WORD.match(rest)
        if found is None or bool(found[1]) != bool(number) or found[2] not in WORDS:
            break
        each, of = WORDS[found[2]]
        times = int(found[3] or {"²": 2, "³": 3}.get(found[4], 1)) * (-1 if found[1] == "/" else 1)
        size *= each**times
        powers = (powers[0] + of[0] * times, powers[1] + of[1] * times, powers[2] + of[2] * times)
        rest = rest[found.end() :]
        if not rest:
            return size, powers
    raise ValueError(unit)
