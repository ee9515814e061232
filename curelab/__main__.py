"""The `curelab` command: open the lab, or do one thing with a batch file.

Exit codes: 2, what was given cannot be used; 70, a fault of our own; 74, the answer cannot be printed; 130, stopped by the person or by the system.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import re
import signal
import sys
import textwrap
import threading
import traceback
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

# What takes longer to load comes in within `main`, where a Ctrl-C is met.
from . import __version__, progress
from .letters import clipped, visible

if TYPE_CHECKING:
    from .fields import InputError

CANNOT_PRINT, STOPPED = 74, 130
ASK_TO_END = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line. What an action prints is gathered and printed at its end, so that a fault leaves no half of an answer and a
    screen that takes no more does not stop the work.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    given, printed = argparse.Namespace(), io.StringIO()
    try:
        with _asked_to_end(), progress.shown(), contextlib.redirect_stdout(printed):
            given = _parser().parse_args(words)
            code = given.act(given) if given.act is not _open else 0
        return _open(given) if given.act is _open else _print(printed.getvalue(), given) or code
    except SystemExit as ended:  # --help, --version, or words that are not understood
        raise SystemExit(_print(printed.getvalue(), given) or ended.code) from None
    except (KeyboardInterrupt, _Stopped):
        _complain(f"stopped{_done(given)}.")
        return STOPPED
    except Exception as error:
        from . import failure

        if hasattr(error, "problems"):  # an InputError; a library that is broken may not even tell what that is
            _print(printed.getvalue(), given)
            return _refused(error, given)  # type: ignore[arg-type]
        if "--debug" in words:
            traceback.print_exc()
        else:
            _complain(f"{failure.sentence(error, failure.keep(error, words))}{_done(given)}")
        return failure.EXIT_CODE


class _Stopped(BaseException):
    """Somebody asked to end. No KeyboardInterrupt, for the reason that `lab.ending.Asked` gives."""


@contextlib.contextmanager
def _asked_to_end() -> Iterator[None]:
    """Ctrl-C, a polite request to end and a terminal that is closed stop the work alike, and it takes away what is not done. Who asked to be
    deaf to one of them (nohup) stays so.
    """

    def stop(number, frame):
        raise _Stopped

    usual = (signal.SIG_DFL, signal.default_int_handler)
    alone = threading.current_thread() is threading.main_thread()
    taken = {number: now for number in ASK_TO_END if alone and (now := signal.getsignal(number)) in usual}
    for number in taken:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number, before in taken.items():
            signal.signal(number, before)


def _refused(error: InputError, given: argparse.Namespace) -> int:
    """Say what cannot be used, all at once."""
    for line in error.lines():
        _complain(line)
    count = len(error.problems)
    reads_only = given.act in (_check, _run) and not getattr(given, "csv", None)
    _complain(f"{count} problem{'s' if count > 1 else ''}{'' if reads_only else '; nothing was written'}.")
    return 2


def _print(text: str, given: argparse.Namespace) -> int:
    """Print, whatever letters the screen has. 0, or the exit code where it takes no more."""
    if not text:
        return 0
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        if getattr(given, "json", False) and text.encode(encoding, "ignore").decode(encoding) != text:
            text = json.dumps(json.loads(text), indent=1) + "\n"  # written out, so that a machine loses nothing
        print(visible(text, lines=True).encode(encoding, "replace").decode(encoding), end="", flush=True)
        return 0
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        _nowhere()
        return 0
    except OSError as error:
        _nowhere()
        _complain(f"the answer cannot be printed: {error.strerror}{_done(given)}.")
        return CANNOT_PRINT


def _nowhere() -> None:
    """Send what is still to be printed nowhere, or Python complains once more when it ends."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(words: str) -> None:
    with contextlib.suppress(OSError):
        print(f"curelab: {visible(words)}", file=sys.stderr, flush=True)


def _done(given: argparse.Namespace) -> str:
    """What an action has written, so that nobody does it twice."""
    return f"; {given.done}" if getattr(given, "done", "") else ""


class _Parser(argparse.ArgumentParser):
    def error(self, message):
        wrong = re.fullmatch(r"argument : invalid choice: (.*) \(choose from (.*)\)", message, re.DOTALL)
        if wrong:
            message = f"no such word: {clipped(wrong[1].strip(chr(39)))}; the words are {wrong[2].replace(chr(39), '')}"
        short = re.sub(r"\S{61,}", lambda found: clipped(found[0]), message)
        super().error(visible(clipped(short, 300)))


def _parser() -> argparse.ArgumentParser:
    from .paper.commands import add_paper
    from .paper.cutting_command import add_cutting
    from .paper.learning_commands import add_learning
    from .paper.page_commands import add_pages

    parser = _Parser(
        prog="curelab",
        description="See what salt and nitrite do inside whole-muscle meat. Without a word after it: opens the lab.",
    )
    parser.add_argument("--version", action="version", version=f"curelab {__version__}")
    parser.set_defaults(act=_open, inside="")
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
    check = actions.add_parser("check", help="list every problem in a batch file, and what fails in it")
    check.add_argument("file", type=Path)
    check.add_argument("--deep", action="store_true", help="run its draws too, and say in short what it comes to")
    check.set_defaults(act=_check)
    new = actions.add_parser("new", help="write a commented batch file to start from")
    new.add_argument("file", type=Path)
    new.add_argument(
        "--template", metavar="NAME", help='begin with an invented batch, like "loin"; a name that is none lists them'
    )
    new.set_defaults(act=_new)
    teach = actions.add_parser("teach", help="open the course: seven lessons, and a page for who teaches them")
    teach.add_argument("--no-browser", action="store_true", default=argparse.SUPPRESS, help="print the address only")
    teach.add_argument("--folder", type=Path, default=argparse.SUPPRESS, help="the course is kept in a folder in it")
    teach.set_defaults(act=_open, inside="course")
    figures = actions.add_parser("figures", help="write the teacher's set: the pictures of the course as slides")
    figures.add_argument("folder", type=Path, metavar="FOLDER")
    figures.set_defaults(act=_figures)
    add_cutting(actions)
    add_paper(actions)
    add_pages(actions)
    add_learning(actions)
    for each in (parser, *actions.choices.values()):
        each.add_argument(
            "--debug",
            action="store_true",
            default=argparse.SUPPRESS,
            help="show a fault of curelab's own as Python tells it",
        )
    return parser


def _run(given) -> int:
    from .batch import load
    from .fields import refuse
    from .outcome import REPORT_DRAWS, run_for
    from .paper.moments import elapsed
    from .show import data, report

    batch = load(given.file)
    if given.units:
        batch = batch.but(units=given.units)
    draws = given.draws
    if draws is not None and not 16 <= draws <= 20_000:
        raise refuse(
            "--draws",
            f"{clipped(str(draws), 20)} draws are out of range (16 to 20000); {REPORT_DRAWS} is a good number",
        )
    say = data.as_json if given.json else lambda outcome: report.words(outcome, given.long)
    if given.csv:
        data.refuse_folder(given.csv)  # before the work, not after it
    outcome = run_for(say, batch, draws, elapsed(batch, datetime.now(UTC)))
    if given.csv:
        written = data.write_csv(outcome, given.csv)
        given.done = f"wrote {', '.join(path.name for path in written)} to {given.csv}"
    print(say(outcome), end="")
    if given.csv:
        _complain(given.done)
    return 0


def _check(given) -> int:
    from .batch import load
    from .recipe.measured import weight_note
    from .show.dangers import failing, failing_as_written
    from .show.out_of_reach import out_of_reach
    from .units import WIDTH

    batch = load(given.file)
    if not given.deep:
        counts = ((len(batch.pieces), "piece"), (len(batch.stages), "stage"), (len(batch.log), "reading"))
        said = [f"{count} {name}{'' if count == 1 else 's'}" for count, name in counts]
        print(f'"{batch.name}" can be read: {", ".join(said[:2])}, {said[2]} in the log.')
        for note in filter(None, (weight_note(piece, batch.units) for piece in batch.pieces)):
            print(textwrap.fill(note, WIDTH))
        for sentence in (*failing(failing_as_written(batch)), *out_of_reach(batch.stages, batch.units)):
            print(textwrap.fill(sentence, WIDTH, subsequent_indent="  ", break_long_words=False))
        print(f'What it comes to: curelab run "{given.file}", or in short: curelab check --deep "{given.file}"')
        return 0
    from .outcome import run
    from .paper.moments import elapsed
    from .show.answer import ranges
    from .show.in_short import in_short
    from .units import WIDTH

    outcome = run(batch, now=elapsed(batch, datetime.now(UTC)))
    print(f'"{batch.name}" can be read and run. What it comes to:')
    for sentence in (*in_short(outcome), ranges(outcome.draws)):
        print(textwrap.fill(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_long_words=False))
    return 0


def _new(given) -> int:
    from . import files
    from .compose.templates import template_text

    files.write(given.file, template_text(given.template))
    given.done = f"wrote {given.file}"
    invented = "Its figures are invented. " if given.template else ""
    print(f'Wrote {given.file}. {invented}Put your own figures in, then: curelab run "{given.file}"')
    return 0


def _figures(given) -> int:
    from .course import slides

    said = slides.write(given.folder)
    given.done = f"wrote the slides into {given.folder}"
    print(*said, sep="\n")
    return 0


def _open(given) -> int:
    from .lab.ending import ask_no_more
    from .lab.launcher import launch

    code = launch(folder=given.folder, browser=not given.no_browser, inside=given.inside)
    ask_no_more()
    return code


if __name__ == "__main__":
    sys.exit(main())
