"""Batch files, spoiled: bytes, types, units, sizes, letters, dates, nesting, fields. File n is always the same."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

SEED = 11
DATASETS = Path(__file__).resolve().parents[2] / "datasets"
PLAN = """
[plan]
zone = "Europe/Berlin"
hours = "07:00-22:00"
closed = ["sunday", "2026-12-25"]
remind = "15 min"

[[plan.before]]
name = "thaw"
lasts = "2 d"
at_most = "3 d"
note = "in the fridge"

[meat_and_fridge]
schema = 1
name = "my butcher"
known = [{ key = "obstruction.lean", low = 0.35, value = 0.41, high = 0.48 }]
"""

_VALUE = re.compile(r"(?m)^(\s*[\w]+ = )(.+?)(\s*#.*)?$")
_TEXT = re.compile(r'"([^"\n]*)"')
_QUANTITY = re.compile(r'"([-\d./ ]+) ?([a-zA-Z%]+)"')

TYPES = ("true", "3", "-1", "0", "1.5", "inf", "nan", "1e999", '"x"', '""', "[]", "{}", "[[]]", "[1, 2]", '["9 h"]', '[["0 h", "3 degC", 1]]',
         "[{}]", "{ a = 1 }", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "1979-05-27T07:32:00", "'''\na\n\nb'''", "0x" + "f" * 6000,
         "9" * 5000, "9223372036854775808", "0b1", "[true]", "[[0x1, 2, 3]]")  # fmt: skip
UNITS = ("kg*9**9**9", "kg)", "lb{", "kg/0", "kg**9999", "m^3", "degC", "furlong", "C", "K", "%", "ppm", "", "kg kg", "kg-1", "exit()", "kg;", "²", "in",
         "lb 3 oz", "lb.", "mg/kg", "[kg]", "\\u0000kg", "\\t", "kg\\u202e", "⁄", "½", "_kg", "kg" * 300)  # fmt: skip
NUMBERS = (
    "0",
    "-1",
    "1e999",
    "1" + "0" * 400,
    "9" * 5000,
    "1/0",
    "1 1/2",
    "2,2",
    "1e-400",
    "-0.0",
    "1/3",
    "²",
    "٣",
    "nan",
    "--1",
    "1__0",
    "0x10",
    "",
    "1e5 1/2",
)
LETTERS = ("\\u001b[31m", "\\u0007", "\\u0000", "\\r", "\\u0085", "\\u009b", "\\u2028", "\\u202e", "\\u2066", "\\n", "\\t", "\x1b", "\x07", "\u2028", "\u202e",
           "\U0001f953", "é", "\\U0010ffff", "\\ud800", "<script>", "{{7*7}}", "%s", "../", "\ufeff", "\u200d", "'", '\\"', "\\\\")  # fmt: skip
DATES = ("9999-12-31 23:59", "0001-01-01 00:00", "2026-02-30 09:00", "2026-03-29 02:30", "2026-10-25 02:30", "2026-03-02", "2026-03-02T09:00Z",
         "2026-03-02 09:00+01:00", "-0001-01-01 00:00", "10000-01-01 00:00", "1899-12-31 23:59", "2200-01-01 00:00", "now", "2026-W10-1 09:00", "24:00")  # fmt: skip
ZONES = ("Mars/Base", "../../etc/passwd", "/dev/zero", "UTC", "", "Europe", "A" * 5000, "Europe/Berlin\\u0000")

Spoil = Callable[[random.Random, str], str | bytes]


def _put(chance: random.Random, text: str, pattern: re.Pattern[str], words: Callable[[re.Match[str]], str]) -> str:
    """One place of the pattern, by chance, replaced."""
    found = list(pattern.finditer(text))
    if not found:
        return text
    place = chance.choice(found)
    return text[: place.start()] + words(place) + text[place.end() :]


def flip(chance, text):
    content = bytearray(text.encode())
    for _ in range(chance.choice((1, 1, 1, 4, 32))):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    return bytes(content)


def cut(chance, text):
    content = text.encode()
    begin = chance.randrange(len(content))
    return content[:begin] + (b"" if chance.random() < 0.5 else content[begin + chance.randrange(1, 60) :])


def noise(chance, text):
    content = text.encode()
    at = chance.randrange(len(content))
    return content[:at] + chance.randbytes(chance.choice((1, 3, 200))) + content[at:]


def kind(chance, text):
    return _put(chance, text, _VALUE, lambda found: found[1] + chance.choice(TYPES))


def unit(chance, text):
    return _put(chance, text, _QUANTITY, lambda found: f'"{found[1]} {chance.choice(UNITS)}"')


def number(chance, text):
    return _put(chance, text, _QUANTITY, lambda found: f'"{chance.choice(NUMBERS)} {found[2]}"')


def size(chance, text):
    how = chance.randrange(5)
    if how == 0:
        return _put(chance, text, _TEXT, lambda found: f'"{chance.choice("x9 .") * chance.choice((61, 700, 30_000))}"')
    if how == 1:
        return text + '\n[[log]]\nat = "1 d"\nwhat = "wait"\n' * chance.choice((60, 400))
    if how == 2:
        return text + "".join(
            f'\n[[pieces]]\nname = "p{n}"\nthickness = "5 cm"\nweight = "1 kg"\n'
            for n in range(chance.choice((15, 60)))
        )
    if how == 3:
        return "".join(f"k{n} = {n}\n" for n in range(3000)) + text
    return _put(chance, text, _VALUE, lambda found: found[1] + "[" + ", ".join(['["0 h", "3 degC"]'] * 3000) + "]")


def letters(chance, text):
    def inside(found):
        at = chance.randrange(len(found[1]) + 1)
        return f'"{found[1][:at]}{chance.choice(LETTERS)}{found[1][at:]}"'

    return _put(chance, text, _TEXT, inside)


def dates(chance, text):
    if chance.random() < 0.3:
        return text.replace("Europe/Berlin", chance.choice(ZONES))
    words = chance.choice(DATES)
    if chance.random() < 0.5:
        return re.sub(r'start = ".*"\n', lambda found: f'start = "{words}"\n', text)
    return re.sub(r'start = ".*"\n', "", text).replace("[plan]\n", f'[plan]\nserve = "{words}"\n')


def nesting(chance, text):
    deep = chance.choice((5, 19, 25, 300, 3000, 60_000))
    how = chance.randrange(5)
    if how == 0:
        return ".".join("a" * deep) + " = 1\n" + text
    if how == 1:
        return text + f"\n[{'.'.join('b' * deep)}]\nc = 1\n"
    if how == 2:
        return _put(chance, text, _VALUE, lambda found: found[1] + "[" * deep + "]" * deep)
    if how == 3:
        return _put(chance, text, _VALUE, lambda found: found[1] + "{a=" * deep + "1" + "}" * deep)
    return text + "\n[pieces.'" + "'.'".join("c" * deep) + "']\n"


def fields(chance, text):
    lines = text.split("\n")
    at = chance.randrange(len(lines))
    how = chance.randrange(5)
    if how == 0:
        del lines[at]
    elif how == 1:
        lines.insert(at, lines[chance.randrange(len(lines))])
    elif how == 2:
        other = chance.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    elif how == 3:
        lines[at] = lines[at].replace("=", f"{chance.choice(('', 'x', '-', '.y', ' z'))} =", 1)
    else:
        lines[at] = re.sub(r"^\w+", lambda found: found[0][::-1], lines[at])
    return "\n".join(lines)


KINDS: tuple[Spoil, ...] = (flip, cut, noise, kind, unit, number, size, letters, dates, nesting, fields)
SOUND = tuple(
    text + more
    for text in (
        (DATASETS / name).read_text(encoding="utf-8")
        for name in ("demo_brisket.toml", "demo_loin.toml", "demo_plate.toml", "demo_uneven.toml", "new_batch.toml")
    )
    for more in ("", PLAN)
)


def spoiled(n: int) -> tuple[str, bytes]:
    """(names of what was done, the file) of number n: one to three spoils of a sound file; the kinds take turns."""
    chance = random.Random(f"{SEED} {n}")
    content: str | bytes = chance.choice(SOUND)
    done = [KINDS[n % len(KINDS)], *chance.choices(KINDS, k=chance.choice((0, 0, 1, 2)))]
    for each in done:
        text = content if isinstance(content, str) else content.decode("utf-8", "replace")
        content = each(chance, text or "\n")
    return " ".join(each.__name__ for each in done), content.encode("utf-8", "surrogatepass") if isinstance(
        content, str
    ) else content
