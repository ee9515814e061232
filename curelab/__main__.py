"""The `curelab` command: open the lab, or do one thing with a batch file. Exit code 0, or 2 with one sentence per problem."""

from __future__ import annotations

import argparse
import os
import sys
import textwrap
from pathlib import Path

from . import __version__
from .fields import InputError, refuse
from .paper.commands import add_paper
from .paper.learning_commands import add_learning


def main(arguments: list[str] | None = None) -> int:
    parser = _parser()
    given = parser.parse_args(arguments)
    try:
        return given.act(given)
    except InputError as error:
        for problem in error.problems:
            print(f"curelab: {problem}", file=sys.stderr)
        count = len(error.problems)
        ending = (
            ""
            if getattr(given, "act", None) in (_check, _run) and not getattr(given, "csv", None)
            else "; nothing was written"
        )
        print(f"curelab: {count} problem{'s' if count > 1 else ''}{ending}.", file=sys.stderr)
        return 2
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="curelab",
        description="See what salt and nitrite do inside whole-muscle meat. Without a word after it: opens the lab.",
    )
    parser.add_argument("--version", action="version", version=f"curelab {__version__}")
    parser.set_defaults(act=_open)
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address of the lab instead of opening a browser"
    )
    parser.add_argument("--folder", type=Path, help="where the lab keeps its notebooks and batches")
    actions = parser.add_subparsers(title="instead of opening the lab", metavar="")
    run = actions.add_parser("run", help="run a batch file and print the report")
    run.add_argument("file", type=Path)
    run.add_argument("--json", action="store_true", help="print everything as JSON, in SI units")
    run.add_argument("--csv", type=Path, metavar="DIR", help="also write tables into this folder")
    run.add_argument("--long", action="store_true", help="add sources and ways of counting to the report")
    run.add_argument(
        "--draws",
        type=int,
        metavar="N",
        help="say how sure it is from N draws of all that is uncertain, 16 to 20000",
    )
    run.add_argument("--units", choices=("metric", "us"), help="show weights and temperatures in these units")
    run.set_defaults(act=_run)
    check = actions.add_parser("check", help="list every problem in a batch file")
    check.add_argument("file", type=Path)
    check.set_defaults(act=_check)
    new = actions.add_parser("new", help="write a commented batch file to start from")
    new.add_argument("file", type=Path)
    new.set_defaults(act=_new)
    add_paper(actions)
    add_learning(actions)
    return parser


def _run(given) -> int:
    from .batch import load
    from .outcome import DRAWS, run
    from .show import report

    batch = load(given.file)
    if given.units:
        batch = batch.but(units=given.units)
    draws = given.draws
    if draws is not None and not 16 <= draws <= 20_000:
        raise refuse("--draws", f"{draws} draws are out of range (16 to 20000); {DRAWS} is a good number")
    outcome = run(batch, draws=draws)
    if given.csv:
        if given.csv.exists() and not given.csv.is_dir():
            raise refuse("--csv", f'"{given.csv}" is a file; name a folder')
        written = report.write_csv(outcome, given.csv)
        print(f"curelab: wrote {', '.join(path.name for path in written)} to {given.csv}", file=sys.stderr)
    print(report.as_json(outcome) if given.json else report.words(outcome, given.long), end="")
    return 0


def _check(given) -> int:
    from .batch import load
    from .outcome import run
    from .show.report import WIDTH, brackets, in_short

    batch = load(given.file)
    outcome = run(batch)
    print(f'"{batch.name}" can be read and run. What it comes to:')
    for sentence in (*in_short(outcome), brackets(outcome)):
        print(textwrap.fill(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_long_words=False))
    return 0


def _new(given) -> int:
    import secrets

    from .sources import datasets_folder
    from .tomlfile import write_text

    words = (datasets_folder() / "new_batch.toml").read_text(encoding="utf-8")
    # An id of its own lets a calendar tell two batches of one name apart.
    words = words.replace("\nschema = 1\n", f'\nschema = 1\nid = "{secrets.token_hex(4)}"\n', 1)
    write_text(given.file, words, overwrite=False)
    print(f'Wrote {given.file}. Put your own figures in, then: curelab run "{given.file}"')
    return 0


def _open(given) -> int:
    from .lab.launcher import launch

    return launch(folder=given.folder, browser=not given.no_browser)


if __name__ == "__main__":
    sys.exit(main())
