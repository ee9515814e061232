"""The page to carry: one HTML file for a phone in a kitchen, with all in it that it needs. It asks nothing of any network.

What it says is the batch sheet's (`sheet.Sheet`), so its figures are those of sheet and report; the picture is that of the benches, and
their script draws it. A policy in the page lets only its own script and style run, known by their hashes, so a name can do nothing.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any

from ..batch import MOST_SALT, READINGS, TASTE_WORDS
from ..limits.verdict import SIGNS
from ..show.caption import caption
from ..show.dangers import warnings
from ..show.own_units import own_units
from ..show.section import section
from ..show.section_message import message
from . import say_time
from .pages import templates
from .pasted import MOST, SORT
from .schedule import Schedule
from .sheet import Sheet, sheet

LARGEST = 2_000_000  # bytes of a page; a picture that would go beyond it is left out
MOST_DRAWN = 4  # pieces; more would be too small to see
HEIGHT = 280  # px of the picture
_LAB = Path(__file__).parents[1] / "lab"  # its scripts are read as text: nothing of the lab is imported
DRAWING = ("page.js", "drawing.js", "section_reading.js", "section_shaping.js", "section.js", "section_widget.js")
LOOKS = ("picture.css", "section.css")
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "mass": {"metric": ("g", "kg"), "us": ("lb", "oz", "g")},
    "fraction": {"metric": ("%",), "us": ("%",)},
    "temperature": {"metric": ("degC",), "us": ("degF",)},
    "plain": {"metric": ("",), "us": ("",)},
}


def page_html(found: Schedule) -> str:
    """The page of a plan. Its picture is left out, and the page says so, where the page would be larger than LARGEST."""
    full = sheet(found)
    page = _page(found, full, _drawn(found))
    return page if len(page.encode("utf-8")) <= LARGEST else _page(found, full, None)


def _page(found: Schedule, full: Sheet, drawn: dict[str, Any] | None) -> str:
    from markupsafe import Markup

    style, script = _text("style"), _text("script")
    policy = f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; img-src data: blob:; base-uri 'none'; form-action 'none'"
    return (
        templates()
        .get_template("kitchen.html")
        .render(
            sheet=full,
            alerts=_alerts(found),
            remarks=found.remarks,
            signs=SIGNS,
            dated=found.start is not None,
            drawn=drawn is not None,
            left_out=max(0, len(found.batch.pieces) - MOST_DRAWN),
            policy=policy,
            style=Markup(style),
            script=Markup(script),
            data=Markup(_json(_data(found, full, drawn))),
        )
    )


def _alerts(found: Schedule) -> list[str]:
    """What must be heard of before all else: warm meat by the log, why the dates are not to be followed, and the checks that fail."""
    from ..learn.warm_log import IN_THE_LOG, warm_log

    warm = warm_log(found.batch)
    others = [each for each in found.told.verdicts if not (warm and each.name == IN_THE_LOG)]
    return [*([f"{SIGNS['fail']}: {warm}"] if warm else []), *found.stop, *warnings(others)]


def version(full: Sheet) -> str:
    """Eight digits of all that can be ticked, and of the version of curelab: ticks of one plan are not shown on another."""
    ticked = repr((full.batch_id, full.weighings, full.rows, full.version))
    return hashlib.sha256(ticked.encode("utf-8")).hexdigest()[:8]


def _data(found: Schedule, full: Sheet, drawn: dict[str, Any] | None) -> dict[str, Any]:
    """What the script needs besides the words of the page."""
    batch = found.batch
    begun = found.start.replace(tzinfo=None).isoformat(" ", "minutes") if found.start else ""
    return {
        "sort": SORT,
        "most": MOST,
        "batch": batch.known_by,
        "title": batch.name,
        "version": version(full),
        "start": begun,
        "zone": found.clock.zone or "",
        "us": batch.units == "us",
        "days": say_time.DAYS,
        "months": say_time.MONTHS,
        "pieces": [piece.name for piece in batch.pieces],
        "readings": [_form(what, kind, batch.units) for what, kind in READINGS.items()],
        "section": drawn,
    }


def _form(what: str, kind: str, system: str) -> dict[str, Any]:
    """How a reading is typed: units to choose from, words to choose from, the most that it can be."""
    most = 100 * MOST_SALT[what] if what in MOST_SALT else 100 if what == "salometer" else None
    return {
        "what": what,
        "value": bool(kind),
        "units": UNITS.get(kind, {}).get(system, ()),
        "words": TASTE_WORDS if kind == "word" else (),
        "most": most,
    }


def _drawn(found: Schedule) -> dict[str, Any]:
    """The picture of the inside, as the script takes it."""
    many, batch = found.told.spread, found.batch
    shown = section([(many, piece.name, piece.name) for piece in batch.pieces[:MOST_DRAWN]], system=batch.units)
    meta, numbers = message(shown, None, batch.units)
    said = caption(batch, [own_units(each, batch.units) for each in found.told.history.assumptions])
    return {"meta": meta, "height": HEIGHT, "caption": said, "numbers": base64.b64encode(numbers).decode("ascii")}


def _json(plain: dict[str, Any]) -> str:
    """As text that can stand in a script element: no tag can begin in it."""
    return json.dumps(plain, ensure_ascii=True, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


@cache
def _text(what: str) -> str:
    own = Path(__file__).parent / "templates"
    if what == "style":
        names = [*(_LAB / name for name in LOOKS), own / "kitchen.css"]
    else:
        names = [*(_LAB / name for name in DRAWING), own / "kitchen.js"]
    words = "\n".join(path.read_text(encoding="utf-8").replace("\r\n", "\n") for path in names)
    assert "</" + what not in words  # which would end the element
    return words.replace("export default { render };", "")


def _hash(words: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(words.encode('utf-8')).digest()).decode('ascii')}"
