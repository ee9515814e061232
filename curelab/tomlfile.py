"""Reading TOML, with one sentence per fault; making it from plain data; changing it in place, comments kept. `files` brings it to the disk."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

from . import files
from .fields import InputError, Problem

LARGEST = 5_000_000  # bytes; a batch with years of readings stays far below
DEEPEST = 20  # tables and lists in each other; a batch has eight
_LARGEST_INTEGER = 2**63  # as TOML has it
# Keys of more parts than any batch has. The parser would spend gigabytes on one of thousands, so it never gets one; texts and comments are not keys.
_TEXTS = re.compile(
    r'''"""(?:[^"\\]|\\[\s\S]|"{1,2}(?!"))*+(?:"{3,5}|\Z)?|"(?:[^"\\\n]|\\.)*+"?'''
    r"""|'''[\s\S]*?(?:'{3,5}|\Z)|'[^'\n]*+'?|#[^\n]*+"""
)
_DEEP_KEY = re.compile(r"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){8}")


def read_table(path: str | Path) -> dict[str, Any]:
    """The table in a TOML file. Raises InputError: missing, a folder, too large or deep, not UTF-8, or not TOML."""
    return table_of(bytes_of(path), path)


def bytes_of(path: str | Path) -> bytes:
    """What a TOML file holds, as far as `table_of` reads it. Raises InputError where it cannot be read."""
    path = Path(path)
    try:
        return files.content(path, LARGEST + 1)
    except FileNotFoundError:
        raise _fault(path, 'does not exist; check the name, or make one with "curelab new FILE"') from None
    except IsADirectoryError:
        raise _fault(path, "is a folder; name the file in it") from None
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from None


def table_of(content: bytes, name: str | Path) -> dict[str, Any]:
    """The table in the bytes of a TOML file of that name. Raises InputError: too large or deep, not UTF-8, or not TOML."""
    path = Path(name)
    try:
        if len(content) > LARGEST:
            raise _fault(path, f"has more than {LARGEST / 1e6:.0f} MB, more than any batch; is it the right file?")
        words = content.decode("utf-8")
        if _DEEP_KEY.search(_TEXTS.sub("_", words)):
            raise RecursionError
        table = tomllib.loads(words)
        _check_inside(path, table, DEEPEST)
        return table
    except UnicodeDecodeError as error:
        raise _fault(path, f"is not UTF-8 text (byte {error.start + 1}); save it again as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _fault(path, f"is not complete TOML: {error}; look there for a missing quote, bracket or line") from None
    except RecursionError:
        raise _fault(path, "is nested too deeply to be a batch") from None
    except InputError:
        raise
    except ValueError:  # Python reads no number of more than a few thousand digits
        raise _fault(path, _TOO_LONG) from None


_TOO_LONG = "holds a whole number of more than 18 digits; take it out or shorten it"


def _check_inside(path: Path, value: Any, deepest: int) -> None:
    """Refuse what no batch holds, so that whatever follows may write down and walk through anything in the table."""
    if isinstance(value, (dict, list)):
        if not deepest:
            raise RecursionError
        for each in value.values() if isinstance(value, dict) else value:
            _check_inside(path, each, deepest - 1)
    elif isinstance(value, int) and abs(value) >= _LARGEST_INTEGER:
        raise _fault(path, _TOO_LONG)


def _fault(path: Path, sentence: str) -> InputError:
    return InputError([Problem(files.called(path), sentence)])


def edited(words: str, before: dict[str, Any], after: dict[str, Any]) -> str:
    """TOML text that says `before`, changed so that it says `after`. What is the same in both stays as it stands, comments too.

    Raises ValueError where the text cannot be changed in place.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(words.replace("\r\n", "\n"))
        _edit(document, before, after)
        new = tomlkit.dumps(document)
    except (TOMLKitError, LookupError, TypeError, AttributeError) as error:
        raise ValueError(f"the text cannot be changed in place: {error}") from error
    return new.replace("\n", "\r\n") if "\r\n" in words else new


def _edit(place: Any, before: dict[str, Any], after: dict[str, Any]) -> None:
    for key in before:
        if key not in after and key in place:
            del place[key]
    for key, value in after.items():
        was: Any = before.get(key)
        there = place.get(key)
        if was == value and there is not None:
            continue
        if isinstance(was, dict) and isinstance(value, dict) and isinstance(there, dict):
            _edit(there, was, value)
        elif _is_tables(was) and _is_tables(value) and isinstance(there, list) and len(there) == len(was):
            for item, former, now in zip(there, was, value, strict=False):
                _edit(item, former, now)
            del there[len(value) :]
            for item in value[len(was) :]:
                there.append(item)
        else:
            place[key] = value


def to_toml(table: dict[str, Any]) -> str:
    """TOML text of nested dictionaries, lists, texts, numbers and flags, in the order given."""
    return "\n".join(_lines(table, ())).strip() + "\n"


def _lines(table: dict[str, Any], path: tuple[str, ...]) -> list[str]:
    plain = {k: v for k, v in table.items() if not isinstance(v, dict) and not _is_tables(v)}
    lines = [f"{_key(k)} = {_value(v)}" for k, v in plain.items()]
    for key, value in table.items():
        where = (*path, key)
        head = ".".join(map(_key, where))
        if isinstance(value, dict):
            lines += ["", f"[{head}]", *_lines(value, where)]
        elif _is_tables(value):
            for item in value:
                lines += ["", f"[[{head}]]", *_lines(item, where)]
    return lines


def _is_tables(value: Any) -> bool:
    return isinstance(value, (list, tuple)) and bool(value) and all(isinstance(item, dict) for item in value)


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"{value!r} has no place in a batch file")


def _text(words: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")
