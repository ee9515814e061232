"""Every sentence of report, plan, sheet, label and shopping list is short enough to be read once, standing: at most 20 words.

A sentence ends at a full stop, a semicolon, a line of a table or a cell. What stands in brackets is left out: ranges, and names of units.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

from curelab.batch import load
from curelab.compose import template
from curelab.compose.templates import TEMPLATES
from curelab.lab.benches import BENCHES, bench
from curelab.lab.state import State
from curelab.learn.words import what_to_measure
from curelab.outcome import run
from curelab.paper.calendar_file import calendar
from curelab.paper.kitchen_page import page_html
from curelab.paper.pages import label_html, sheet_html
from curelab.paper.scaling import shop_words
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import label, sheet
from curelab.show.in_short import how_sure_in_full
from curelab.show.report import words
from curelab.show.telling import warmth_of
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

MOST = 20
DEMOS = ("brisket", "loin", "plate")
INLINE = ("b", "small", "i")
# A row that names a thing, its amount and its figures is no sentence.
ROWS = re.compile(r"^ *(\d+\. .*  |\[ \] |[a-z ,.%0-9]+: [\d.]+ k?g|WHEN IT ENDS|[A-Z*][A-Z' *]{4,}(  \(|$))")


class Reader(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.words, self.skip = [], False
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.skip = tag in ("style", "script")
        self.words.append(" " if tag in INLINE else "\n\n")

    def handle_endtag(self, tag):
        self.skip = False
        self.words.append(" " if tag in INLINE else "\n\n")

    def handle_data(self, data):
        self.words.append("" if self.skip else data)


def too_long(text: str) -> list[str]:
    """Sentences of a page of text that have more than MOST words."""
    lines = ["\n" if ROWS.match(line) else line for line in text.split("\n")]
    found = []
    for block in re.split(r"\n\s*\n|\n(?= *(?:- |CAUTION|CANNOT SAY|NOT OK|ok:))|\n(?=\S)", "\n".join(lines)):
        flat = re.sub(r"\([^()]*\)", "", " ".join(block.split()))
        flat = re.sub(r"\b(CANNOT SAY|NOT OK|ok): ", "", flat)  # the sign of a check stands before its sentence
        found += [each for each in re.split(r"(?<=[.!?;])\s+", flat) if len(re.findall(r"\S*\w\S*", each)) > MOST]
    return found


def test_the_measure_itself():
    word = "salt "
    assert too_long(word * 21 + ".") and not too_long(word * 20 + ".")
    assert not too_long(word * 15 + "(" + word * 15 + ").") and not too_long(word * 15 + ". " + word * 15)


@pytest.fixture(scope="module", params=DEMOS)
def demo(request):
    batch = load(datasets_folder() / f"demo_{request.param}.toml")
    if request.param == "plate":  # heat, a vessel and a slab in the units of the United States
        batch = batch.but(units="us", vessel=load(datasets_folder() / "demo_brisket.toml").vessel)
    return batch, schedule(batch, run(batch, draws=16, log=False))


def test_no_sentence_is_long(demo):
    batch, found = demo
    outcome = found.told
    pages = {
        "report": words(outcome), "plan": plan_words(found), "sheet": "".join(Reader(sheet_html(sheet(found))).words),
        "label": "".join(Reader(label_html(label(found))).words), "shop": shop_words(batch),
    }  # fmt: skip
    long = [f"{name}: {each}" for name, text in pages.items() for each in too_long(text)]
    assert not long, "\n".join(long)


METRIC = re.compile(
    r"[^.\n]*(?<![\w.])\d[\d.]*\s?(?:mm|cm|kg|L|mL|degC|°C)\b[^.\n]*|[^.\n]* g [^.\n]*per kg[^.\n]*|[^.\n]*°C[^.\n]*"
)


def test_a_us_batch_has_its_own_units_throughout(demo):
    """All papers of a batch in US units. Sources, in square brackets, are quoted as they are printed; cure is weighed in grams."""
    batch, found = demo
    if batch.units != "us":
        assert METRIC.search(words(found.told, long=True)) and METRIC.search(plan_words(found))
        return
    carried = page_html(found)
    data = json.loads(re.search(r'id="data">(.*?)</script>', carried, re.DOTALL)[1])
    papers = {
        "report": words(found.told), "long": re.sub(r"\[[^\]]*\]", "", words(found.told, long=True)), "plan": plan_words(found),
        "how sure": "\n".join(how_sure_in_full(found.told)), "shop": shop_words(batch), "calendar": calendar(found, datetime(2026, 1, 1, tzinfo=UTC)).decode(),
        "sheet": "".join(Reader(sheet_html(sheet(found))).words), "label": "".join(Reader(label_html(label(found))).words),
        "page": "".join(Reader(carried).words), "under its picture": data["section"]["caption"], "in it": json.dumps(data["section"]["meta"]),
        "checks": "\n".join(each.sentence for each in found.told.verdicts),
    }  # fmt: skip
    metric = [f"{name}: {each}" for name, text in papers.items() for each in METRIC.findall(text)]
    assert not metric, "\n".join(metric)


def test_a_pot_is_no_fridge_that_is_too_warm():
    stages = template("simmered and smoked").stages
    assert max(stage.warmest for stage in stages) > 350 and warmth_of(stages) == ""
    warm = [stage.but(temperature="9 degC") if stage.cures else stage for stage in stages]
    assert warmth_of(warm).startswith("Too warm: 9 °C.") and "48.2 °F" in warmth_of(warm, "us")


@pytest.mark.parametrize("name", TEMPLATES)
def test_what_to_measure_is_said_in_short_sentences(name):
    """The first words of the page that learns, before anything was read."""
    assert not too_long(what_to_measure(template(name)))


@pytest.mark.repeats
@pytest.mark.parametrize("name", (*TEMPLATES, "uneven"))
def test_no_sentence_of_any_other_batch_is_long(name):
    """Its report, and what stands over the pictures of its pages."""
    batch = load(datasets_folder() / "demo_uneven.toml") if name == "uneven" else template(name)
    long = [f"report: {each}" for each in too_long(words(run(batch, draws=64)))]
    for page in BENCHES:
        made = bench(page, State(batch, strict=True))
        heads = (
            made.says[key].text for key in ("answer", "strong answer", "after", "cure", "spot") if key in made.says
        )
        said = "\n\n".join(heads).replace("**", "").replace("\n", "\n\n")
        long += [f"{page}: {each}" for each in too_long(said)]
    assert not long, "\n".join(long)
