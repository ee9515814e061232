"""Sheet and label on paper: one HTML page without script or network, and a PDF through whatever browser is
there.
"""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from ..fields import refuse
from ..limits.verdict import SIGNS
from ..show.cut_section import CutSection
from ..show.pictures import Lines
from .drawn_lines import svg_lines
from .drawn_section import svg_section
from .sheet import Label, Row, Sheet, shortened

ROOT = 8.6  # pt, the size everything else hangs on; readable pages lie between 6 and 9
EASY, SMALL = (
    7.0,
    6.4,
)  # pt; below the first the small print is shortened, below the second a picture left out (judgement)
SIZES = tuple(ROOT * step / 100 for step in range(106, 68, -2))
LARGE = 22.0  # pt, of what is read from the scale; never made smaller
PLAIN, BOLD = 0.53, 0.6  # mean width of a letter, in its own size, of the widest typeface in the list
DRAWN, ALONE, BESIDE = 92.0, 54.0, 38.0  # mm: width of a picture, and its height alone and as one of two
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
    "brave-browser",
)
PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
PATIENCE = 90.0  # s a browser may take to print a page


@dataclass(frozen=True)
class Paper:
    """A sheet of paper, mm; `edge`: the margin that is left white."""

    size: str
    width: float
    height: float
    edge: float = 9.0


PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}


@cache
def templates():
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("curelab.paper", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )


def _css() -> str:
    return (Path(__file__).parent / "templates" / "paper.css").read_text(encoding="utf-8")


def sheet_html(sheet: Sheet, paper: str = "a4") -> str:
    """The sheet as a page that prints on one side of `paper`, a key of `PAPERS`; type is set smaller the
    more there is to say.
    """
    from markupsafe import Markup

    on = _paper(paper)
    sheet, root = fitted(sheet, on)
    drawn = [
        {
            "sentence": each.sentence,
            "note": each.note,
            "svg": Markup(_svg(each)(each, DRAWN, BESIDE if len(sheet.pictures) > 1 else ALONE)),
        }
        for each in sheet.pictures
    ]
    return (
        templates()
        .get_template("sheet.html")
        .render(
            sheet=sheet,
            paper=on,
            root=root,
            drawn=drawn,
            signs={outcome: sign.upper() for outcome, sign in SIGNS.items()},
            css=Markup(_css()),
        )
    )


def _svg(picture: Lines | CutSection) -> Callable[..., str]:
    return svg_section if isinstance(picture, CutSection) else svg_lines


def fitted(sheet: Sheet, on: Paper) -> tuple[Sheet, float]:
    """(what is printed, size of its type in pt) on one page: in full where the type stays easy to read,
    else with its small print shortened, else with one picture; in the smallest type a very large batch may
    still take two pages.
    """
    short = shortened(sheet)
    for each, least in (
        (sheet, EASY),
        (short, SMALL),
        (replace(short, pictures=short.pictures[:1]), SIZES[-1]),
    ):
        for size in SIZES:
            if size >= least and height_of(each, size, on) <= on.height - 2 * on.edge:
                return each, size
    return short, SIZES[-1]


def label_html(label: Label, paper: str = "a4") -> str:
    """The label as a page, to be cut out."""
    from markupsafe import Markup

    return templates().get_template("label.html").render(label=label, paper=_paper(paper), css=Markup(_css()))


def _paper(name: str) -> Paper:
    if name.lower() not in PAPERS:
        raise refuse("--paper", f'"{name}" is not one of {", ".join(PAPERS)}')
    return PAPERS[name.lower()]


def height_of(sheet: Sheet, root: float, on: Paper) -> float:
    """Height [mm] the sheet will take on this paper with a root size of `root` pt: a guess by counting
    letters, rather too much.

    The widths are those of a wide typeface, the heights those in paper.css; the browser decides, and a test
    asks it.
    """
    rem = root * 25.4 / 72
    wide = (on.width - 2 * on.edge) / rem
    half = (wide - 2) / 2
    tall = 2.6 * 1.1 * _lines(sheet.title, wide - 14, 2.3 * BOLD) + 3.6
    for weighing in sheet.weighings:
        tall += 3.0 + _amounts(weighing.amounts, wide, root)
    tall += 1.6 + sum(
        0.5
        + max(
            1.6,
            1.3 * _lines(f"{meat.name} {meat.what}", 0.21 * wide, 1.1 * PLAIN),
            1.3 * _lines(meat.outcome, 0.3 * wide, PLAIN),
        )
        for meat in sheet.meat
    )
    tall += 0.8 + sum(1.3 * _lines(each, wide, PLAIN) for each in sheet.answer)
    tall += sum(0.4 + 1.3 * _lines(each, wide, BOLD) for each in sheet.stop)
    tall += 0.8 + (0.8 + 1.3 * _lines(f"The vessel: {sheet.vessel}", wide, PLAIN) if sheet.vessel else 0.0)
    tall += 2.8 + sum(_row(row, wide - 28.3) for row in sheet.rows)
    tall += 1.1 * _lines(" ".join((*sheet.moves, *sheet.effects)), wide, 0.86 * PLAIN) if sheet.moves else 0.0
    check = sum(0.12 + 1.3 * _lines(each, half - 1, PLAIN) for each in sheet.checks)
    judged = sum(0.3 + 1.3 * _lines(each.sentence, half - 9, PLAIN) for each in sheet.verdicts)
    judged += 0.3 + 1.3 * _lines("; ".join(sheet.passed), half - 9, PLAIN)
    words = 2.8 + judged + (2.8 + check if sheet.checks else 0.0)
    caption = 0.2 + 1.3 * max(_lines(each.sentence, half, BOLD) for each in sheet.pictures)
    if len(sheet.pictures) == 1:
        tall += 0.8 + max(caption + half * ALONE / DRAWN + 1.1, words)
    else:
        tall += 0.8 + caption + half * BESIDE / DRAWN + 1.1 + words / 2 + 1.3
    tall += 2.0 + 0.5 * sum(0.12 + 1.2 * _lines(each, half - 2, 0.92 * PLAIN) for each in sheet.cautions) + 0.6
    tall += 0.8 + 0.5 * sum(0.96 * _lines(each, half, 0.78 * PLAIN) for each in sheet.rests_on) + 0.5
    return 0.96 * (tall + 1.4) * rem


def _lines(words: str, wide: float, letter: float) -> int:
    """Lines a text takes in `wide` rem; a tenth is lost where words do not fill a line."""
    return max(1, math.ceil(len(words) * letter / (0.93 * wide)))


def _amounts(amounts, wide: float, root: float) -> float:
    rows, used = [0.0], 0.0
    for each in amounts:
        own = max(9.0, min(14.0, len(each.what) * 1.12 * BOLD), len(each.large) * LARGE / root * BOLD)
        tall = (
            LARGE / root * 1.12
            + 1.3 * _lines(each.what, own, 1.12 * BOLD)
            + (1.08 * _lines(each.small, own, 0.86 * PLAIN) if each.small else 0.0)
        )
        if used and used + own + 3.8 > wide:
            rows.append(0.0)
            used = 0.0
        used += own + 3.8
        rows[-1] = max(rows[-1], tall)
    return sum(rows) + 0.4 * (len(rows) - 1)


def _row(row: Row, wide: float) -> float:
    tall = 0.55 + max(1.7, 1.45 * _lines(f"{row.title}. {row.detail}", wide, 1.06 * PLAIN))
    if chips := (*row.turns, *row.readings):
        chip = 3.0 + PLAIN * max(len(f"{turn.day} {turn.clock} *") for turn in chips)
        heads = 0.7 * bool(row.turns) + bool(row.readings)
        tall += 0.25 + 1.55 * math.ceil((len(chips) + heads) / max(1, wide // chip))
    return tall


def browser() -> str | None:
    """A browser that can print to PDF, if one is found."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None) or next(
        (p for p in PLACES if os.path.exists(p)), None
    )


def pdf(page: str, using: str | None = None) -> bytes:
    """A page as PDF. Raises InputError when there is no browser, or it does not print, with what to do
    instead.
    """
    program = using or browser()
    if program is None:
        raise refuse(
            "--out", "no browser that prints to PDF was found (Chromium, Chrome, Edge or Brave); write the "
            "page as .html, open it, and "
            "print it (Ctrl-P), which gives the same page",
        )  # fmt: skip
    made = _by_browser(program, page, "page.pdf", ["--no-pdf-header-footer"], "--print-to-pdf")
    if made is None:
        raise refuse(
            "--out",
            f'"{program}" did not print the page; write it as .html, open it, and print it (Ctrl-P)',
        )
    return made


def png(drawing: str, wide: int, high: int, using: str | None = None) -> bytes:
    """An SVG as a PNG of so many dots. Raises InputError when there is no browser, or it does not draw it."""
    program = using or browser()
    if program is None:
        raise refuse("PNG", "no browser that draws it was found (Chromium, Chrome, Edge or Brave)")
    size = [f"--window-size={wide},{high}", "--hide-scrollbars", "--force-device-scale-factor=1"]
    # In a page of its own, because a browser leaves a bar of its window out of the height that is asked for.
    page = f"<!doctype html><meta charset=utf-8><style>body {{ margin: 0; }} svg {{ display: block; }}</style>{drawing}"
    made = _by_browser(program, page, "page.png", size, "--screenshot")
    if made is None:
        raise refuse("PNG", f'"{program}" did not draw it')
    return made


def _by_browser(program: str, page: str, target: str, more: list[str], act: str) -> bytes | None:
    """What a browser without a window makes of a page; None where it makes nothing."""
    try:
        with tempfile.TemporaryDirectory(prefix="curelab-", ignore_cleanup_errors=True) as folder:
            source, made = Path(folder) / "page.html", Path(folder) / target
            source.write_text(page, encoding="utf-8")
            command = [
                program,
                "--headless",
                "--disable-gpu",
                *more,
                "--no-first-run",
                "--disable-background-networking",
                "--host-resolver-rules=MAP * ~NOTFOUND",
                f"--user-data-dir={folder}/profile",
                f"{act}={made}",
            ]
            if hasattr(os, "geteuid") and os.geteuid() == 0:
                command.append(
                    "--no-sandbox"
                )  # Chromium refuses to start otherwise; the page is our own and loads nothing
            own = dict.fromkeys(
                ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "TMPDIR"), folder
            )  # what it leaves goes with the folder
            subprocess.run(
                [*command, source.as_uri()], capture_output=True, timeout=PATIENCE, check=True, env=os.environ | own
            )
            return made.read_bytes()
    except (OSError, subprocess.SubprocessError):  # a full disk among them
        return None


def pages(made: bytes) -> int:
    """How many pages a PDF from a browser has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", made))
