"""A cook's units at the border; float64 SI inside.

`read` turns what a person writes ("7 cm", "1.5 gal", "38 degF", "2 lb 3 oz", "120 ppm") into one SI float, `text` turns the float
back into words that read back to the very same float, `show` rounds it for the eye, and `entry` does so for a text box. Everything between is plain SI:
metre, kilogram, cubic metre, second, kelvin, and fractions as kg per kg.

Which unit words are read, and how large each unit is, stands in `unit_words`; nothing that was given is evaluated. US names mean US
measures (gal, qt, cup, tbsp, tsp); say `imperial_gallon` for the other.

Longer than others because what reads a quantity and the three that write one are read beside each other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from numbers import Real
from typing import Any

import numpy as np

from . import unit_words
from .letters import quoted, shown
from .unit_words import LENGTH, MASS, NONE, TEMPERATURES, TIME, VOLUME, size_of

MINUTE, HOUR, DAY = (float(each) for each in (unit_words.MINUTE, unit_words.HOUR, unit_words.DAY))  # s
MINUTES_A_DAY = 1440  # plans and calendars count whole minutes
SYSTEMS = ("metric", "us")
FEW_DIGITS = 4  # that a cook reads in a text box; more are rounded there
ON_PAGES = {"inch": "in", "degC": "°C", "degF": "°F"}  # a unit of a file as a page writes it
WIDTH = 96  # columns of a printed line
MOST_LETTERS = 100  # letters of a quantity; a number with all its digits and its unit has thirty


@dataclass(frozen=True)
class Kind:
    """What a number measures: the SI unit it is kept in, and the units it is shown in."""

    name: str
    si: str
    metric: tuple[str, ...]
    us: tuple[str, ...]
    example: str

    @property
    def noun(self) -> str:
        return {"water": "an amount of water", "plain": "a plain number"}.get(self.name, f"a {self.name}")


KINDS = {
    kind.name: kind
    for kind in (
        Kind("length", "m", ("cm", "mm", "m"), ("inch", "ft"), "7 cm"),
        Kind("mass", "kg", ("g", "kg"), ("oz", "lb"), "2.4 kg"),
        # Water may be given by volume too: a litre of cold water is a kilogram to one part in a thousand.
        Kind("water", "kg", ("kg", "g"), ("gal", "qt", "lb"), "4 kg"),
        Kind("volume", "m^3", ("mL", "L"), ("cup", "qt", "gal"), "4 L"),
        Kind("time", "s", ("h", "d", "min", "s"), ("h", "d", "min", "s"), "10 d"),
        Kind("temperature", "K", ("degC",), ("degF",), "3 degC"),
        Kind("fraction", "kg/kg", ("%", "ppm"), ("%", "ppm"), "2.2 %"),
        Kind("plain", "", ("",), ("",), "5.6"),
    )
}

_POWERS = {"length": LENGTH, "mass": MASS, "volume": VOLUME, "time": TIME, "fraction": NONE}
_NUMBER = r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?"  # a point, or a comma in its place
_TERM = re.compile(rf"\s*({_NUMBER}(?:\s+\d+/\d+|/\d+)?)\s*([^\s\d+\-.][^\s]*)?")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")  # or thousandths: nobody but its writer knows
_MIXED = re.compile(r"(?P<sign>[-+]?)(?:(?P<whole>\d+)\s+)?(?P<top>\d+)/(?P<bottom>\d+)")


@lru_cache(maxsize=1024)
def _affine(unit: str, kind: str) -> tuple[float, float, float]:
    """(factor, divisor, offset) with SI = factor * value / divisor + offset. Raises ValueError for a unit of another kind.

    The divisor keeps decimal units exact: 120 ppm is 120 / 1e6, which is the float 0.00012, while 120 * 1e-6 is not.
    """
    if kind == "temperature":
        if unit not in TEMPERATURES:
            raise ValueError(unit)
        kelvin, zero = TEMPERATURES[unit]
        return kelvin, 1.0, zero
    if kind in ("fraction", "plain") and unit in ("", "1"):
        return 1.0, 1.0, 0.0
    size, powers = size_of(unit)
    if kind == "water":
        kind, size = ("volume", 1000 * size) if powers == VOLUME else ("mass", size)
    if powers != _POWERS.get(kind):
        raise ValueError(unit)
    return (1.0, float(size.denominator), 0.0) if size.numerator == 1 else (float(size), 1.0, 0.0)


def _plain_number(text: str) -> float:
    mixed = _MIXED.fullmatch(text.strip())
    if not mixed:
        return float(text.replace(",", "."))
    if int(mixed["bottom"]) == 0:
        raise ValueError(text)
    number = int(mixed["whole"] or 0) + int(mixed["top"]) / int(mixed["bottom"])
    return -number if mixed["sign"] == "-" else number


def bare(words: str) -> bool:
    """Whether words are a number without a unit.

    >>> bare("2.2"), bare("2.2 %"), bare("thick")
    (True, False, False)
    """
    match = _TERM.fullmatch(words.strip())
    return match is not None and match[2] is None


def read(given: Any, kind: str, example: str = "") -> float:
    """SI float of what a person wrote.

    Parameters: `given`, a text such as "7 cm" or "1 1/2 cup" or "2 lb 3 oz", a float already in SI, a quantity of pint, or for a time a
    `timedelta`; `kind`, a key of `KINDS`; `example`, how it may be written, for the sentence of a refusal (default: that of the kind).
    A comma stands for a point, but where it may part thousands ("1,500 g"): that is refused.
    Raises ValueError with one sentence: not a number, no unit, a unit of another kind, or not finite.

    >>> read("7 cm", "length"), read("38 degF", "temperature"), read("120 ppm", "fraction")
    (0.07, 276.48333333333335, 0.00012)
    """
    given = _measured(given, kind)
    example = example or KINDS[kind].example
    if isinstance(given, str):
        return _read(given, kind, example)
    if isinstance(given, bool) or not isinstance(given, Real):
        raise ValueError(f'{shown(given)} is not {KINDS[kind].noun}; write it like "{example}"')
    try:
        return _finite(float(given), given, kind)
    except OverflowError:
        return _finite(math.inf, given, kind)


@lru_cache(maxsize=4096)
def _read(given: str, kind: str, example: str) -> float:
    noun, like = KINDS[kind].noun, f'write it like "{example}"'
    if len(given) > MOST_LETTERS:
        raise ValueError(f"{quoted(given)} is not {noun}, because it has {len(given)} letters; {like}")
    value, rest, terms, sign = 0.0, given.strip(), 0, 1
    if not rest:
        raise ValueError(f"an empty text is not {noun}; {like}")
    while rest:
        match = _TERM.match(rest)
        if not match:
            raise ValueError(f"{quoted(given)} is not {noun}; {like}")
        number, unit, because = match[1], match[2] or "", ""
        rest, terms = rest[match.end() :].strip(), terms + 1
        if (rest or terms > 1) and kind in ("temperature", "plain"):
            raise ValueError(f"{quoted(given)} is not one {noun.removeprefix('a ')}; {like}")
        if terms > 1 and number[0] in "+-":
            because = "only its beginning may carry a sign"
        elif unit.startswith(","):
            because = "one comma is read, in the place of a point"
        elif _THOUSANDS.fullmatch(number):
            point = number.replace(",", ".").rstrip("0").rstrip(".")
            raise ValueError(
                f"{quoted(given)} may mean {point} or {number.replace(',', '')}; write one of them, without the comma"
            )
        else:
            try:
                if not unit and (rest or terms > 1):
                    raise ValueError(unit)
                factor, divisor, offset = _affine(unit, kind)
            except ValueError:
                if not unit:
                    raise ValueError(needs_unit(given, example)) from None
                because = f"{quoted(unit)} does not measure {noun}"
        if because:
            raise ValueError(f"{quoted(given)} is not {noun}, because {because}; {like}")
        try:
            value += sign * factor * _plain_number(number) / divisor + offset
        except ValueError:  # "1.5/2", or divided by zero
            raise ValueError(f"{quoted(given)} is not {noun}; {like}") from None
        sign = -1 if given.lstrip().startswith("-") else 1  # "-2 lb 3 oz" lies below "-2 lb"
    return _finite(value, given, kind)


def needs_unit(given: Any, example: str) -> str:
    """That a unit is missing."""
    return f'{quoted(given)} needs a unit, like "{example}"'


def _finite(value: float, given: Any, kind: str) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{shown(given)} is not a finite {kind}")
    return value


def _measured(given: Any, kind: str) -> Any:
    """The SI number of a `timedelta` or of a quantity of pint; anything else as it is. Raises ValueError for one of another kind."""
    if kind == "time" and isinstance(given, timedelta):
        return given.total_seconds()
    if hasattr(given, "to") and hasattr(given, "magnitude"):
        try:
            return given.to(KINDS[kind].si or "dimensionless").magnitude
        except Exception:  # of pint, which is not loaded here
            raise ValueError(f'{given} is not {KINDS[kind].noun}; write it like "{KINDS[kind].example}"') from None
    return given


def si(given: Any, kind: str) -> Any:
    """SI floats of what a person wrote, as a float or an array of floats.

    Parameters: `given`, anything that `read` takes, or a list or array of it; an array of numbers is passed on as it is, and None stays
    None. Raises ValueError with one sentence for what does not measure this kind.

    >>> si(["7 cm", 0.05], "length").tolist()
    [0.07, 0.05]
    """
    if given is None or isinstance(given, float):
        return given
    if isinstance(given, (str, timedelta, Real)) and not isinstance(given, np.timedelta64):
        return read(given, kind)
    if hasattr(given, "magnitude"):
        return _measured(given, kind)
    mixed = isinstance(given, (list, tuple)) and not all(isinstance(each, (int, float)) for each in given)
    array = np.empty(0, dtype=object) if mixed else np.asarray(given)  # which would take the unit off a quantity
    if array.dtype.kind == "m" and kind == "time":
        array = array / np.timedelta64(1, "s")
    if array.dtype.kind in "fiu":
        return array.astype(float, copy=False) if array.ndim else float(array)
    if array.ndim == 0:
        return read(given, kind)
    return np.array([si(each, kind) for each in given], dtype=float)


def seconds(given: Any) -> Any:
    """Times in s: the one converter for every time that a reading or a question is given. A number of s, a text such as "5 d", a `timedelta`,
    a quantity of pint, or a list or array of any of these; None stays None.

    >>> seconds("5 d"), seconds(timedelta(hours=2)), seconds(["1 h", 60.0]).tolist()
    (432000.0, 7200.0, [3600.0, 60.0])
    """
    return si(given, "time")


def convert(value: float, kind: str, unit: str) -> float:
    """The number of `unit` in an SI `value` of this kind."""
    factor, divisor, offset = _affine(unit, kind)
    return (value - offset) * divisor / factor


def text(value: float, kind: str, system: str = "metric") -> str:
    """Words that `read` turns back into exactly this float: in a unit of `system` where one does, else of the other system, else in SI with
    all digits.

    >>> text(0.07, "length"), text(276.15, "temperature"), text(0.00012, "fraction"), text(0.03, "length", "us")
    ('7 cm', '3 degC', '120 ppm', '3 cm')
    """
    if value == 0 and kind != "temperature":
        return f"0 {getattr(KINDS[kind], system)[0]}".strip()
    for each in (system, *(other for other in SYSTEMS if other != system)):
        if words := _exact(value, kind, each):
            return words
    return f"{value!r} {KINDS[kind].si}".strip()


def _exact(value: float, kind: str, system: str) -> str:
    """The shortest words in a unit of this system that `read` turns back into exactly this float; "" where eight digits do not."""
    candidates = []
    names = getattr(KINDS[kind], system)
    if kind == "fraction":  # 0.6 % and 120 ppm, not 6000 ppm and 0.012 %
        names = names[:1] if abs(value) >= 1e-3 else names[1:]
    for unit in names:
        number = convert(value, kind, unit)
        for digits in range(1, 9):
            words = f"{number:.{digits}g}"
            if "e" not in words and read(f"{words} {unit}", kind) == value:
                shortest = len(words.replace(".", "").strip("0"))
                candidates.append((abs(number) < 1, shortest, len(words), f"{words} {unit}".strip()))
                break
    return min(candidates)[3] if candidates else ""


def entry(value: float, kind: str, system: str = "metric") -> str:
    """Words for a text box, which `read` takes: exact where few digits of a unit of this system are, else rounded for the eye.

    >>> entry(0.07, "length"), entry(0.03, "length", "us"), entry(275.15, "temperature", "us"), entry(1.2, "mass", "us")
    ('7 cm', '1.18 in', '35.6 °F', '2.65 lb')
    """
    words = text(value, kind, system) if value == 0 and kind != "temperature" else _exact(value, kind, system)
    number, _, unit = words.partition(" ")
    if not words or len(number.replace(".", "").strip("-0")) > FEW_DIGITS:
        return show(value, kind, system)
    return f"{number} {ON_PAGES.get(unit, unit)}".strip()


def show(value: float, kind: str, system: str = "metric", digits: int = 3) -> str:
    """Rounded words for the eye, in the unit of `system` that gives the most readable number.

    >>> show(0.0712, "length"), show(2.4, "mass"), show(864000.0, "time"), show(276.483, "temperature", "us")
    ('7.12 cm', '2.4 kg', '10 d', '38 °F')
    """
    if not math.isfinite(value):
        return "never" if kind == "time" else "unknown"
    if kind == "temperature":
        unit = getattr(KINDS[kind], system)[0]
        number = round(convert(value, kind, unit), 1 if digits > 2 else 0) + 0.0
        return f"{number:g} °{unit[-1]}"
    if kind == "plain":
        return f"{value:.{digits}g}"
    if kind == "fraction":
        if abs(value) < 5e-9:  # less than a hundredth of a ppm is rounding noise, or as good as none
            return "0 %"
        return f"{value * 1e6:.0f} ppm" if abs(value) < 1e-3 else f"{_round(100 * value, digits)} %"
    size = abs(value)
    if kind == "time":
        unit = "min" if size < 1.5 * HOUR else "h" if size <= 2 * DAY else "d"
    elif kind == "mass":
        unit = ("g" if size < 1 else "kg") if system == "metric" else ("oz" if size < 0.4535 else "lb")
    elif kind == "water":
        unit = ("g" if size < 1 else "kg") if system == "metric" else ("qt" if size < 3.7 else "gal")
    elif kind == "volume":
        unit = (
            ("mL" if size < 1e-3 else "L")
            if system == "metric"
            else ("cup" if size < 2.3e-4 else "qt" if size < 3.7e-3 else "gal")
        )
    else:
        unit = ("mm" if size < 0.01 else "cm") if system == "metric" else "inch"
    return f"{_round(convert(value, kind, unit), digits)} {ON_PAGES.get(unit, unit)}"


def roughly(seconds: float) -> str:
    """A time in words, no finer than it is known.

    >>> roughly(1.9 * HOUR), roughly(5.07 * HOUR), roughly(11.4 * DAY), roughly(63.9 * DAY)
    ('2 hours', '5 hours', '11 days', '9 weeks')
    """
    if not math.isfinite(seconds):
        return "never"
    for size, name, most in ((MINUTE, "minute", 90), (HOUR, "hour", 47), (DAY, "day", 35), (7 * DAY, "week", math.inf)):
        count = seconds / size
        if count <= most:
            number = round(2 * count) / 2 if count < 3 and name != "minute" else round(count)
            return f"{number:g} {name}{'' if number == 1 else 's'}"
    raise AssertionError("weeks take every time")


def day_number(seconds: float, digits: int = 3) -> str:
    """Days since the start, to so many digits and never in powers of ten.

    >>> day_number(9.514 * DAY), day_number(9.514 * DAY, 2), day_number(123 * DAY, 2)
    ('9.51', '9.5', '123')
    """
    words = f"{seconds / DAY:.{digits}g}"
    return f"{seconds / DAY:.0f}" if "e" in words else words


def day(seconds: float, digits: int = 3) -> str:
    """A moment by the day since the start.

    >>> day(9.514 * DAY)
    'day 9.51'
    """
    return f"day {day_number(seconds, digits)}"


def hour_or_day(seconds: float) -> str:
    """A moment by the hour in the first two days, by the day afterwards.

    >>> hour_or_day(5 * HOUR), hour_or_day(9.5 * DAY)
    ('5 h', 'day 9.5')
    """
    return f"{seconds / HOUR:.3g} h" if seconds < 2 * DAY else day(seconds)


def _round(number: float, digits: int) -> str:
    if number == 0 or not math.isfinite(number):
        return "0" if number == 0 else str(number)
    if not 1e-9 <= abs(number) < 1e15:  # what nobody reads digit by digit
        return f"{number:.{digits}g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    words = f"{number:.{places}f}"
    return words.rstrip("0").rstrip(".") if "." in words else words


def listed(words: Sequence[str]) -> str:
    """Words in a row: "a", "a and b", "a, b and c".

    >>> listed(["salt", "water", "nitrite"])
    'salt, water and nitrite'
    """
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def capital(words: str) -> str:
    """With a capital letter in front."""
    return words[:1].upper() + words[1:]
