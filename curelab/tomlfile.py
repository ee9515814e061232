"""Reading TOML, with one sentence per fault; making it from plain data; changing it in place, comments kept. `files` brings it to the disk."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

from .fields import InputError, Problem

LARGEST = 2_000_000  # bytes; a batch with years of readings stays far below


def read_table(path: str | Path) -> dict[str, Any]:
    """The table in a TOML file. Raises InputError: missing, a folder, too large, not UTF-8, or not TOML."""
    path = Path(path)
    try:
        if path.is_dir():
            raise _fault(path, "is a folder; name the file in it")
        size = path.stat().st_size
        if size > LARGEST:
            raise _fault(
                path, f"has {size / 1e6:,.0f} MB, and a batch has at most {LARGEST / 1e6:.0f}; is it the right file?"
            )
        return tomllib.loads(path.read_bytes().decode("utf-8"))
    except FileNotFoundError:
        raise _fault(path, 'does not exist; check the name, or make one with "curelab new FILE"') from None
    except UnicodeDecodeError as error:
        raise _fault(path, f"is not UTF-8 text (byte {error.start + 1}); save it again as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _fault(path, f"is not complete TOML: {error}; look there for a missing quote, bracket or line") from None
    except RecursionError:
        raise _fault(path, "is nested too deeply to be a batch") from None
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from None


def _fault(path: Path, sentence: str) -> InputError:
    return InputError([Problem(path.name, sentence)])


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
