"""Which letters are taken, and how what was given is quoted: no control letter reaches a terminal, a calendar or a page, and nothing is quoted at length."""

from __future__ import annotations

import re
import reprlib
from typing import Any

LONGEST_QUOTE = 60  # letters of what was given that a message repeats
# Control letters (C0, delete, C1), the line and paragraph separators, what turns the direction of writing, and halves of a letter.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_LINES = "\n\t"  # taken in a note


def refused_letter(words: str, lines: bool = False) -> str | None:
    """The first letter of `words` that no text may hold, written out ("\\x1b"); None if there is none. `lines`: new lines and tabs are fine.

    >>> refused_letter("flat" + chr(27)), refused_letter("two" + chr(10) + "lines", lines=True)
    ('\\\\x1b', None)
    """
    return next((ascii(each)[1:-1] for each in _CONTROL.findall(words) if not (lines and each in _LINES)), None)


def visible(words: str, lines: bool = False) -> str:
    """The same words with every control letter written out; `lines`: but for new lines and tabs."""
    return _CONTROL.sub(lambda found: found[0] if lines and found[0] in _LINES else ascii(found[0])[1:-1], words)


def clipped(words: str, longest: int = LONGEST_QUOTE) -> str:
    """At most so many letters, with dots for what was left out."""
    return words if len(words) <= longest else f"{words[: longest - 3]}..."


def quoted(given: Any) -> str:
    """What was given, between quotation marks, short and without control letters.

    >>> quoted("7 kg"), len(quoted("9" * 5000))
    ('"7 kg"', 62)
    """
    return f'"{visible(clipped(given if isinstance(given, str) else shown(given)))}"'


class _Short(reprlib.Repr):
    """Python's own way of writing a value, short however large or deep the value is."""

    def __init__(self):
        super().__init__()
        self.maxstring = self.maxother = self.maxlong = LONGEST_QUOTE

    def repr_int(self, x, level):
        # Python refuses to write a number of more than a few thousand digits.
        return repr(x) if x.bit_length() < 200 else f"a whole number of some {round(x.bit_length() * 0.30103)} digits"


def shown(given: Any) -> str:
    """What was given, as Python writes it, short and without control letters.

    >>> shown("yes"), shown([7]), shown(10**5000)
    ("'yes'", '[7]', 'a whole number of some 5000 digits')
    """
    return visible(clipped(_Short().repr(given)))
