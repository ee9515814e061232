"""Reading and writing TOML with nothing half-done: one sentence per fault, files written beside and renamed, nothing overwritten unasked."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

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
    path = Path(path)
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)  # and no more: a device never ends
        if len(content) > LARGEST:
            raise _fault(path, f"has more than {LARGEST / 1e6:.0f} MB, more than any batch; is it the right file?")
        words = content.decode("utf-8")
        if _DEEP_KEY.search(_TEXTS.sub("_", words)):
            raise RecursionError
        table = tomllib.loads(words)
        _check_inside(path, table, DEEPEST)
        return table
    except FileNotFoundError:
        raise _fault(path, 'does not exist; check the name, or make one with "curelab new FILE"') from None
    except IsADirectoryError:
        raise _fault(path, "is a folder; name the file in it") from None
    except UnicodeDecodeError as error:
        raise _fault(path, f"is not UTF-8 text (byte {error.start + 1}); save it again as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise _fault(path, f"is not complete TOML: {error}; look there for a missing quote, bracket or line") from None
    except RecursionError:
        raise _fault(path, "is nested too deeply to be a batch") from None
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from None
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
    return InputError([Problem(path.name, sentence)])


def write_text(path: str | Path, words: str, *, overwrite: bool) -> None:
    """Write a whole file or nothing: beside it first, then renamed. Raises InputError if it is there and `overwrite` is False."""
    write_files({Path(path): words.encode("utf-8")}, overwrite=overwrite)


def write_files(files: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write all of these files, or none: beside their places first, then renamed. `overwrite` is for a single file.

    Raises InputError if one is there and `overwrite` is False, or cannot be written.
    """
    if not overwrite and (there := [path for path in files if path.exists()]):
        raise InputError([Problem(path.name, _THERE) for path in there])
    if overwrite:
        files = {path.resolve(): content for path, content in files.items()}  # a link stays a link
    token = secrets.token_hex(4)
    placed: list[Path] = []
    path = Path()
    try:
        for path, content in files.items():
            with _beside(path, token).open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if overwrite and path.exists():
                shutil.copymode(path, _beside(path, token))
        for path in files:
            if overwrite:
                os.replace(_beside(path, token), path)
            else:
                os.link(_beside(path, token), path)  # unlike a rename, refuses if someone was faster
                placed.append(path)
        placed = []  # all are there, so none is taken back
    except FileExistsError:
        raise _fault(path, _THERE) from None
    except OSError as error:
        raise _fault(path, f"cannot be written: {error.strerror}; nothing was changed") from None
    finally:
        for each in (*placed, *(_beside(path, token) for path in files)):
            with contextlib.suppress(OSError):
                each.unlink(missing_ok=True)


_THERE = "is there already and was left as it was; choose another name"


def _beside(path: Path, token: str) -> Path:
    return path.with_name(f".{path.name}.{token}.part")


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
