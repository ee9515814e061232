"""A sentence with its measures in the units of a batch: one that was made without knowing them, or that names both."""

from __future__ import annotations

import re

from .. import units

_NUMBER = r"-?\d+(?:\.\d+)?"
_RANGE = rf"{_NUMBER}(?: (?:to|and) {_NUMBER})?"
_BOTH = re.compile(rf"({_RANGE} °C) \(({_RANGE} °F)\)")
_WARM = re.compile(rf"(?<![\w.])(?:({_NUMBER}) (to|and) )?({_NUMBER}) ?(?:°C|degC)\b")
_MEASURE = re.compile(rf"(?<![\w.])(?:({_NUMBER}) (to|and) )?({_NUMBER}) (mm|cm|kg|mL|L)\b")
_KINDS = {"mm": "length", "cm": "length", "kg": "mass", "mL": "volume", "L": "volume"}


def own_units(words: str, system: str) -> str:
    """The words with temperatures, lengths, weights and volumes in the units of `system` alone; grams stay, for a cure is weighed in them.
    A difference of temperatures is no reading: a sentence with one must not come here.

    >>> own_units("Keep it below 4 °C (40 °F): it stands 10.1 cm deep.", "us")
    'Keep it below 40 °F: it stands 4 in deep.'
    >>> own_units("Germs grow between 54 and 4 °C (130 and 40 °F), 10 to 12 mm deep.", "us")
    'Germs grow between 130 and 40 °F, 0.39 in to 0.47 in deep.'
    >>> own_units("Make 74 mL more brine.", "us")
    'Make 0.31 cup more brine.'
    >>> own_units("Known between 0 and 20 degC. Keep it below 4 °C (40 °F).", "metric")
    'Known between 0 and 20 °C. Keep it below 4 °C.'
    """
    words = _BOTH.sub(r"\2" if system == "us" else r"\1", words)
    if system == "us":
        words = _WARM.sub(_fahrenheit, words)
        words = _MEASURE.sub(_measured, words)
    return words.replace(" degC", " °C").replace(" degF", " °F")


def _fahrenheit(found: re.Match[str]) -> str:
    first = "" if found[1] is None else f"{_degrees(found[1])} {found[2]} "
    return f"{first}{_degrees(found[3])} °F"


def _degrees(celsius: str) -> str:
    return units.show(units.read(f"{celsius} degC", "temperature"), "temperature", "us", 2).removesuffix(" °F")


def _measured(found: re.Match[str]) -> str:
    first = "" if found[1] is None else f"{_shown(found[1], found[4])} {found[2]} "
    return first + _shown(found[3], found[4])


def _shown(number: str, unit: str) -> str:
    kind = _KINDS[unit]
    return units.show(units.read(f"{number} {unit}", kind), kind, "us", digits=3 if unit in ("kg", "L") else 2)
