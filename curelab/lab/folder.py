"""The working folder of a cook: what is copied into it, brought up to date, and left alone."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import warnings
from itertools import count
from pathlib import Path
from typing import Any

from .. import files
from ..fields import InputError, refuse

RECORD = ".curelab.json"  # what was copied into the working folder, so that a file the cook changed is known


def notebooks_folder() -> Path:
    """The notebooks of this installation: in the package (wheel) or at the top of the checkout. Raises FileNotFoundError."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "notebooks", package.parent / "notebooks"):
        if any(folder.glob("*.ipynb")):
            return folder
    raise FileNotFoundError("the notebooks are missing from this installation of curelab; install it again.")


def furnish(folder: Path, shipped: dict[str, Path]) -> list[str]:
    """Copy the `shipped` files (name in the folder -> where it is now) into the working `folder`, making it if need be.

    A file that is missing is copied, one that was copied before and not changed since is brought up to date, and one the cook has
    changed is kept. Outputs of a notebook are no change. Returns a sentence for each file kept, or that could not be written. Raises
    InputError for a folder that cannot be used.
    """
    _usable(folder)
    known, noted = _recorded(folder / RECORD)
    told = []
    for name, source in shipped.items():
        target, new = folder / name, _digest(source)
        try:
            now = _digest(target) if os.path.lexists(target) else None
        except OSError as error:
            told.append(f"left your {name} as it is, which cannot be read: {error.strerror}.")
            continue
        if now not in (None, new, known.get(name)):
            told.append(f"kept your own {name}; rename it to get the one that came with this version.")
            continue
        try:
            if now != new:
                target.parent.mkdir(parents=True, exist_ok=True)
                files.write(target, source.read_bytes(), overwrite=True)
            known[name] = new
        except (InputError, OSError) as error:
            told.append(f"{name} is not up to date: {_reason(error)}.")
    try:
        files.write(folder / RECORD, json.dumps(known, indent=1), overwrite=True)
    except InputError as error:
        noted = [f"what was copied is not noted in {RECORD} for the next time: {_reason(error)}."]
    return noted + told


def _usable(folder: Path) -> None:
    """Make the folder where it is missing. Raises InputError where that cannot be, or nothing can be kept in it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):  # asking for the rights is not enough: the disk may be read-only
            pass
    except FileExistsError:
        raise refuse("--folder", f'"{folder}" is a file; name a folder') from None
    except OSError as error:
        raise refuse("--folder", f'"{folder}" cannot be used: {error.strerror}; name another folder') from None


def _recorded(record: Path) -> tuple[dict[str, Any], list[str]]:
    """What was copied before, by name; and a sentence if that can no longer be read."""
    if not os.path.lexists(record):
        return {}, []
    with contextlib.suppress(OSError, ValueError, RecursionError):
        known = json.loads(record.read_bytes()) if os.path.isfile(record) else None
        if isinstance(known, dict):
            return known, []
    return {}, [f"{RECORD} cannot be read, so every file that is not as it came with this version is kept as yours."]


def _reason(error: InputError | OSError) -> str:
    return "; ".join(map(str, error.problems)) if isinstance(error, InputError) else str(error.strerror)


def page_to_open(folder: Path, name: str, source: Path) -> tuple[str, list[str]]:
    """The name of the page `name` in the folder if it can be opened, else of a fresh copy of `source` beside it, and why.

    Raises InputError where there can be none.
    """
    if _is_notebook(folder / name, source):
        return name, []
    for number in count(1):
        other = f"{Path(name).stem}-{number}.ipynb"
        if not os.path.lexists(folder / other):
            files.write(folder / other, source.read_bytes())
        if _is_notebook(folder / other, source):
            return other, [
                f"your {name} cannot be opened as a notebook and was left as it is; opening {other} instead."
            ]
    raise AssertionError("there is always another number")


def _is_notebook(path: Path, source: Path) -> bool:
    try:
        if _digest(path) == _digest(source):
            return True
        import nbformat

        with warnings.catch_warnings(action="ignore"):  # of small faults that JupyterLab mends
            nbformat.read(path, as_version=4)
    except Exception:  # whatever a file may be, it then is no notebook
        return False
    return True


def _digest(path: Path) -> str:
    """What tells two files apart. Raises OSError for what is no file or cannot be read."""
    if os.path.exists(path) and not os.path.isfile(path):
        raise OSError(0, "it is no file")  # and reading from a pipe would wait for ever
    data = path.read_bytes()
    if path.suffix == ".ipynb":
        with contextlib.suppress(
            ValueError, KeyError, TypeError, RecursionError
        ):  # not a notebook after all: compare it whole
            cells = json.loads(data)["cells"]
            data = json.dumps([[cell["cell_type"], "".join(cell["source"])] for cell in cells]).encode()
    return hashlib.sha256(data).hexdigest()


def fresh_folder(shipped: dict[str, Path]) -> tuple[Path, list[str]]:
    """A new working folder among the temporary ones, and what has to be said about it. Raises InputError where there can be none."""
    try:
        folder = Path(tempfile.mkdtemp(prefix="curelab-pages-"))
    except OSError as error:
        raise refuse(
            "--folder", f"no folder can be made for the pages: {error.strerror}; name one with --folder"
        ) from None
    return folder, furnish(folder, shipped)


def put_away(folder: Path) -> bool:
    """Remove a fresh folder in which nothing was added or changed. Returns whether it is gone."""
    known, _ = _recorded(folder / RECORD)
    for path in folder.rglob("*"):
        name = path.relative_to(folder).as_posix()
        if os.path.isfile(path) and name != RECORD and known.get(name) != _digest(path):
            return False
    shutil.rmtree(folder, ignore_errors=True)
    return True
