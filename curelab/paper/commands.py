"""The actions of the `curelab` command that bring a batch to paper and back: plan, sheet, label, log,
scale, shop.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

from .. import files, units
from ..fields import refuse
from ..letters import quoted, refused_letter
from .given import content, target

PAPER = ("a4", "letter")
MOST_PIECES = 20  # as a batch has them
THERMOMETER = ("stage", "degrees", "column", "dates", "zone")  # what may be said of its file


def add_paper(actions) -> None:
    """Add the actions to the command's own."""
    plan = actions.add_parser("plan", help="print the dates of a batch, and write them as a calendar file")
    plan.add_argument("file", type=Path)
    plan.add_argument("--ics", type=Path, metavar="OUT.ics", help="write a calendar file")
    plan.add_argument(
        "--update",
        action="store_true",
        help="OUT.ics is a former calendar of this batch: bring it up to date",
    )
    plan.set_defaults(act=_plan)
    for name, act, words in (
        ("sheet", _sheet, "write the batch sheet, one page to print"),
        ("label", _label, "write the label for the vessel"),
    ):
        action = actions.add_parser(name, help=words)
        action.add_argument("file", type=Path)
        action.add_argument(
            "-o",
            "--out",
            type=Path,
            metavar="OUT.html",
            help="where to; a name that ends in .pdf makes a PDF",
        )
        action.add_argument("--paper", choices=PAPER, help="paper size; by the units of the batch if left out")
        action.add_argument("--units", choices=("metric", "us"), help="show weights and temperatures in these units")
        action.add_argument("--replace", action="store_true", help="write over a file that is there already")
        action.set_defaults(act=act)
    _add_log(actions)
    scale = actions.add_parser("scale", help="write the same batch for other meat")
    scale.add_argument("file", type=Path)
    scale.add_argument("--weight", help='green weight of all pieces together, like "6 kg"')
    scale.add_argument("--by", type=float, help="so many times as much meat")
    scale.add_argument(
        "--count",
        action="append",
        default=[],
        metavar="PIECE=N",
        help="so many of a piece; may be given again",
    )
    scale.add_argument("--name", help="name of the new batch")
    scale.add_argument("-o", "--out", type=Path, required=True, metavar="NEW.toml")
    scale.set_defaults(act=_scale)
    shop = actions.add_parser("shop", help="print what to buy and what to have at hand")
    shop.add_argument("file", type=Path)
    shop.add_argument("--units", choices=("metric", "us"), help="show weights in these units")
    shop.set_defaults(act=_shop)


def _add_log(actions) -> None:
    log = actions.add_parser(
        "log", help="add a reading to the batch file, list them, or take the last one out",
        epilog="curelab log FILE weight 2.31 kg --piece point; curelab log FILE note floats",
    )  # fmt: skip
    log.add_argument("file", type=Path)
    log.add_argument(
        "reading",
        nargs="*",
        metavar="WHAT VALUE",
        help="what was measured or done, and its value with a unit; nothing: list the log",
    )
    log.add_argument("--at", metavar='"DATE TIME"', help="when, on the kitchen's clock; now if left out")
    log.add_argument("--after", metavar="TIME", help='or how long after the start, like "4 d"')
    log.add_argument("--piece", default="", help="which piece")
    log.add_argument("--error", default="", help="how far off it may be, in the same unit")
    log.add_argument("--note", default="", help="words to go with it")
    log.add_argument("--undo", action="store_true", help="take the last entry out again")
    log.add_argument("--csv", type=Path, metavar="OUT.csv", help="write the log as a table; - prints it")
    log.add_argument("--temperatures", type=Path, metavar="IN.csv", help="take a thermometer's file as the fridge log")
    log.add_argument("--stage", type=int, metavar="N", help="the stage it belongs to; by its dates if left out")
    log.add_argument("--degrees", metavar="C|F", help="degrees of the file, where it does not say")
    log.add_argument("--column", metavar="NAME", help="the column of the temperatures, by name or number")
    log.add_argument("--dates", metavar="ORDER", help='"day first" or "month first", where the dates do not say')
    log.add_argument("--zone", metavar="NAME", help='the clock of the thermometer, like "Europe/Berlin" or "UTC"')
    log.add_argument(
        "--paste",
        nargs="?",
        const="-",
        metavar="LINES.txt",
        help="lines from a page to carry, from a file or typed in: they are shown, and written once you say so",
    )
    log.add_argument("--yes", action="store_true", help="write the pasted lines without asking")
    log.set_defaults(act=_log)


def _loaded(given):
    from ..batch import load

    batch = load(given.file)
    return batch.but(units=given.units) if getattr(given, "units", None) else batch


def _plan(given) -> int:
    from .schedule import plan_words, schedule

    now, batch = datetime.now(UTC), _loaded(given)
    found = schedule(batch, now=now)
    if given.update and given.ics is None:
        raise refuse("--update", "there is no calendar to bring up to date; name it with --ics")
    if given.ics is not None:
        from .calendar_file import calendar

        former = content(given.ics, "leave --update out to write a new one") if given.update else None
        made = calendar(found, now, former)
        if former is None:
            files.write(given.ics, made)
        else:
            files.replace(given.ics, made, was=former)
        given.done = f"wrote {given.ics}"
    print(plan_words(found), end="")
    if given.ics is not None:
        print(f"\nWrote {given.ics}.")
    return 0


def _sheet(given) -> int:
    from .pages import sheet_html
    from .schedule import schedule
    from .sheet import sheet

    batch = _loaded(given)
    return _page(given, "sheet", lambda paper: sheet_html(sheet(schedule(batch, now=datetime.now(UTC))), paper), batch)


def _label(given) -> int:
    from .pages import label_html
    from .schedule import schedule
    from .sheet import label

    batch = _loaded(given)
    return _page(given, "label", lambda paper: label_html(label(schedule(batch, now=datetime.now(UTC))), paper), batch)


def _page(given, kind: str, make, batch) -> int:
    from .pages import pages, pdf

    out = target(given, kind, (".html", ".htm", ".pdf"))
    page = make(given.paper or ("letter" if batch.units == "us" else "a4"))
    written = page.encode("utf-8")
    if out.suffix.lower() == ".pdf":
        written = pdf(page)
        if (count := pages(written)) > 1:
            print(f"This batch is too large for one page; the {kind} has {count}.")
    files.write(out, written, overwrite=given.replace)
    given.done = f"wrote {out}"
    print(f"Wrote {out}.")
    return 0


def _log(given) -> int:
    from ..batch import Reading, load
    from .logbook import append_reading, as_csv, log_words, undo
    from .moments import start_of

    asked = (given.temperatures is not None, given.csv is not None, given.paste is not None)
    if sum((bool(given.reading), given.undo, *asked)) > 1:
        raise refuse(
            "log", "add a reading, paste lines, take one out, read a thermometer, or write a table; one at a time"
        )
    if given.temperatures is not None:
        return _temperatures(given)
    if named := [name for name in THERMOMETER if getattr(given, name) is not None]:
        raise refuse(f"--{named[0]}", "is about a thermometer's file; name it with --temperatures")
    batch = load(given.file)
    start = start_of(batch)
    if given.undo:
        gone = undo(given.file)
        given.done = "the last reading was taken out of the file"
        print(f"Took out: {gone.what} {gone.value} {gone.note}".rstrip() + ".")
    elif given.csv is not None:
        table = as_csv(batch, start)
        if str(given.csv) == "-":
            print(table, end="")
        else:
            files.write(given.csv, table)
            given.done = f"wrote {given.csv}"
            print(f"Wrote {given.csv}.")
    elif given.paste is not None:
        from .page_commands import paste

        paste(given, batch, start)
    elif given.reading:
        what, value, note = _said(given.reading, given.note)
        at = _moment(given, batch, start)
        reading = Reading(at=at, what=what, value=value, error=given.error, piece=given.piece, note=note)
        longer = append_reading(given.file, reading, start=start)
        given.done = "the reading stands in the file, so do not log it again"
        print(log_words(longer.but(log=longer.log[-1:]), start).split(maxsplit=1)[1], end="")
    else:
        print(log_words(batch, start), end="")
    return 0


def _temperatures(given) -> int:
    from .fridge_log import log_temperatures
    from .thermometer import LARGEST as LARGEST_TABLE

    table = content(given.temperatures, "name a table that can be read", LARGEST_TABLE + 1)
    found = log_temperatures(given.file, table, **{name: getattr(given, name) for name in THERMOMETER})
    given.done = "the temperatures stand in the file, so do not log them again"
    print(*found.lines, f'What it means: curelab check --deep "{given.file}"', sep="\n")
    return 0


def _said(words: list[str], note: str) -> tuple[str, str, str]:
    """(what, value, note) of the words behind the file: "brine", "strength", "4.1", "%" as well as "brine
    strength" and "4.1 %".
    """
    from ..batch import READINGS

    for word in words:  # before they are parted at what some letters count as a gap
        if letter := refused_letter(word, lines=True):
            raise refuse(
                "note" if words[0] == "note" else "what",
                f"{quoted(word)} holds the control letter {letter}; take it out",
            )
    every = " ".join(words).replace("brine-strength", "brine strength").split()
    if not every:
        raise refuse("what", f"nothing is named; say one of {', '.join(READINGS)}")
    for count in (2, 1):
        what = " ".join(every[:count])
        if what in READINGS:
            rest = " ".join(every[count:])
            if READINGS[what]:
                return what, rest, note
            said = " ".join(part for part in (rest, note) if part)
            if what == "note" and not said:
                raise refuse(
                    "note", 'nothing is said in it; write it like: curelab log FILE note "turned, smells clean"'
                )
            return what, "", said
    return every[0], " ".join(every[1:]), note


def _moment(given, batch, start: datetime | None) -> float:
    """s after the start at which a reading was taken."""
    from .moments import since_start

    if given.after is not None:
        if given.at is not None:
            raise refuse("--after", "both --at and --after are given; say when only once")
        try:
            return units.read(given.after, "time")
        except ValueError as error:
            raise refuse("--after", str(error)) from None
    if start is None:
        raise refuse(
            "start",
            'the batch has no start to count from; put one in the file, or say how long after it, like --after "4 d"',
        )
    return since_start(batch, start, given.at, "--at")


def _scale(given) -> int:
    import secrets

    from ..batch import save
    from .scaling import scale

    counts = {}
    for words in given.count:
        name, equals, number = words.rpartition("=")
        if not equals or not re.fullmatch(r"\s*[0-9]{1,2}\s*", number) or int(number) > MOST_PIECES:
            most = f"at most {MOST_PIECES} of a piece"
            raise refuse("--count", f'{quoted(words)} is not a piece and a number, {most}; write it like "point=2"')
        counts[name] = int(number)
    scaled = scale(_loaded(given), weight=given.weight, by=given.by, counts=counts or None, id=secrets.token_hex(4))
    made = scaled.batch.but(name=given.name) if given.name else scaled.batch
    save(made, given.out)
    given.done = f"wrote {given.out}"
    print(f"Wrote {given.out}.", *scaled.notes, sep="\n")
    return 0


def _shop(given) -> int:
    from .scaling import shop_words

    print(shop_words(_loaded(given)), end="")
    return 0
