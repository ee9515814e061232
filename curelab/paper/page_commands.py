"""The actions of the `curelab` command around the page to carry: write it, and take its lines back."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from .. import files
from ..fields import refuse
from ..tomlfile import LARGEST
from .given import content, target

if TYPE_CHECKING:
    from ..batch import Batch

PASTED = "name a file of pasted lines"


def add_pages(actions) -> None:
    """Add the actions to the command's own."""
    page = actions.add_parser("page", help="write a page to carry: one file for the phone in the kitchen")
    page.add_argument("file", type=Path)
    page.add_argument("-o", "--out", type=Path, metavar="OUT.html", help="where to")
    page.add_argument("--units", choices=("metric", "us"), help="show weights and temperatures in these units")
    page.add_argument("--replace", action="store_true", help="write over a file that is there already")
    page.set_defaults(act=_page)


def _page(given) -> int:
    from ..batch import load
    from .kitchen_page import page_html
    from .schedule import schedule

    batch = load(given.file)
    batch = batch.but(units=given.units) if given.units else batch
    out = target(given, "page", (".html", ".htm"))
    made = page_html(schedule(batch, now=datetime.now(UTC))).encode("utf-8")
    files.write(out, made, overwrite=given.replace)
    given.done = f"wrote {out}"
    print(f"Wrote {out} ({len(made) / 1000:.0f} kB). Send it to the phone and open it there; it needs no network.")
    print(f'What is ticked and written down there comes back with: curelab log "{given.file}" --paste')
    return 0


def paste(given, batch: Batch, start: datetime | None) -> None:
    """Show the readings of pasted lines that are not in the log yet, and write them once that is wanted."""
    from .logbook import append_readings, log_words
    from .pasted import new, readings

    text = _given_lines(given.paste)
    found = readings(text, batch, start)
    fresh = new(found, batch.log)
    known = len(found) - len(fresh)
    there = f" {known} {'is' if known == 1 else 'are'} there already, or stand here twice." if known else ""
    if not fresh:
        print(f"Nothing to write.{there}")
        return
    said = f"{_count(len(fresh))} to write.{there}\n{log_words(batch.but(log=fresh), start)}"
    if not given.yes:
        if not (given.paste == "-" and sys.stdin.isatty()):
            print(f"{said}Nothing is written yet. Say --yes to write {'it' if len(fresh) == 1 else 'them'}.")
            return
        print(f"{said}Write {'it' if len(fresh) == 1 else 'them'}? yes or no: ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            print("Nothing was written.")
            return
    before, after = append_readings(given.file, lambda now: new(found, now.log), start=start)
    added = len(after.log) - len(before.log)
    given.done = "the readings stand in the file, so do not paste them again"
    print(f"{said if given.yes else ''}Wrote {_count(added)} into the log.")


def _count(number: int) -> str:
    return f"{number} reading{'' if number == 1 else 's'}"


def _given_lines(source: str) -> str:
    """The text of a file, or of what is typed until the lines say that they end. Raises InputError where it cannot be read."""
    from .pasted import END

    if source == "-" and sys.stdin.isatty():
        print("Paste the lines, to the one that says end, and press Enter.", file=sys.stderr, flush=True)
        typed: list[str] = []
        while (words := sys.stdin.readline()) and not words.lstrip(" >").startswith(END):
            typed.append(words)
        return "".join([*typed, words])
    try:
        raw = sys.stdin.buffer.read(LARGEST) if source == "-" else content(Path(source), PASTED, where="--paste")
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        raise refuse("--paste", f'"{source}" is no text; save the lines as plain text (UTF-8)') from None
