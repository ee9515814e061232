"""A sentence with its measures in the units of a batch: one that was made without knowing them, or that names both."""

from __future__ import annotations

import re

from .. import units

PRINTED = {"54 and 4 °C": "130 and 40 °F"}  # as the rule prints them
_NUMBER = r"-?\d+(?:\.\d+)?"
_BOTH = re.compile(rf"({_NUMBER}(?: to {_NUMBER})? °C) \(({_NUMBER}(?: to {_NUMBER})? °F)\)")
_WARM = re.compile(rf"(?<![\w.])(?:({_NUMBER}) (to|and) )?({_NUMBER}) ?(?:°C|degC)\b")
_MEASURE = re.compile(rf"(?<![\w.])({_NUMBER}) (mm|cm|kg|L)\b")
_KINDS = {"mm": "length", "cm": "length", "kg": "mass", "L": "volume"}


def own_units(words: str, system: str) -> str:
    """The words with temperatures, lengths, weights and volumes in the units of `system` alone; grams stay, for a cure is weighed in them.

    >>> own_units("Keep it below 4 °C (40 °F): it stands 10.1 cm deep.", "us")
    'Keep it below 40 °F: it stands 4 in deep.'
    >>> own_units("Known between 0 and 20 degC. Keep it below 4 °C (40 °F).", "metric")
    'Known between 0 and 20 °C. Keep it below 4 °C.'
    """
    words = _BOTH.sub(r"\2" if system == "us" else r"\1", words)
    if system == "us":
        for metric, us in PRINTED.items():
            words = words.replace(metric, us)
        words = _WARM.sub(_fahrenheit, words)
        words = _MEASURE.sub(lambda found: _shown(found[1], found[2]), words)
    return words.replace(" degC", " °C").replace(" degF", " °F")


def _fahrenheit(found: re.Match[str]) -> str:
    first = "" if found[1] is None else f"{_degrees(found[1])} {found[2]} "
    return f"{first}{_degrees(found[3])} °F"


def _degrees(celsius: str) -> str:
    return units.show(units.read(f"{celsius} degC", "temperature"), "temperature", "us", 2).removesuffix(" °F")


def _shown(number: str, unit: str) -> str:
    kind = _KINDS[unit]
    return units.show(units.read(f"{number} {unit}", kind), kind, "us", digits=2 if kind == "length" else 3)
