"""The papers of a batch as text, by name. No widgets in here, so that a process of its own can make them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from .. import outcome
from ..batch import Batch
from ..paper.kitchen_page import page_html
from ..paper.moments import elapsed
from ..paper.pages import label_html, sheet_html
from ..paper.schedule import plan_words, schedule
from ..paper.sheet import label, sheet
from ..show.report import words


def _size(batch: Batch) -> str:
    return "letter" if batch.units == "us" else "a4"


# name -> what it is called, the name of its file, how it is made of a batch and an aware time
PAPERS: dict[str, tuple[str, str, Callable[[Batch, datetime], str]]] = {
    "report": ("The whole report", "report.txt", lambda batch, now: report(batch, now)),
    "plan": ("The dates", "plan.txt", lambda batch, now: plan_words(schedule(batch, now=now))),
    "sheet": ("Batch sheet to print", "sheet.html", lambda batch, now: sheet_html(sheet(schedule(batch, now=now)), _size(batch))),
    "label": ("Label for the vessel", "label.html", lambda batch, now: label_html(label(schedule(batch, now=now)), _size(batch))),
    "page": ("A page to carry, for the phone", "page.html", lambda batch, now: page_html(schedule(batch, now=now))),
}  # fmt: skip


def report(batch: Batch, now: datetime) -> str:
    """What `curelab run --long` prints for a batch."""
    return words(outcome.run(batch, now=elapsed(batch, now)), long=True)


def paper(name: str, batch: Batch, now: datetime) -> str:
    """The paper of this name. Raises InputError where it cannot be made."""
    return PAPERS[name][2](batch, now)


__all__ = ["PAPERS", "paper", "report"]
