"""The page to carry: the sheet's and the report's figures, one file that asks for nothing, and names that can do nothing."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from curelab.__main__ import main
from curelab.batch import READINGS, Reading, load
from curelab.learn.warm_log import warm_log
from curelab.paper import kitchen_page
from curelab.paper.kitchen_page import page_html
from curelab.paper.schedule import schedule
from curelab.paper.sheet import sheet
from curelab.show import report
from curelab.show.check_names import INFORMS
from curelab.show.section import section
from curelab.show.section_message import message
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

HOSTILE = "\"><img src=x onerror='alert(1)'></script><script>alert(2)</script>{{ 7 * 7 }}"


class Reader(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self.inside, self.texts = [], [], "", {}
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self.inside = f"{tag}{'#data' if dict(attributes).get('id') == 'data' else ''}"

    def handle_endtag(self, tag):
        self.inside = ""

    def handle_data(self, data):
        if self.inside.startswith(("style", "script")):
            self.texts[self.inside] = data
        else:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())

    @property
    def data(self):
        return json.loads(self.texts["script#data"])


@pytest.fixture(scope="module")
def plans():
    return {name: schedule(load(datasets_folder() / f"demo_{name}.toml")) for name in ("brisket", "loin")}


@pytest.fixture(scope="module")
def made(plans):
    return {name: page_html(found) for name, found in plans.items()}


@pytest.fixture(scope="module")
def pages(made):
    return {name: Reader(page) for name, page in made.items()}


def every(words):
    return " ".join(str(words).split())


@pytest.mark.parametrize("name", ["brisket", "loin"])
def test_all_that_the_sheet_says_stands_on_the_page(plans, pages, name):
    full, text = sheet(plans[name]), pages[name].text
    said = [
        full.title,
        full.dates,
        full.vessel,
        full.rules,
        full.version,
        *full.stop,
        *full.answer,
        *full.checks,
        *full.cautions,
        *full.rests_on,
    ]
    said += [verdict.sentence for verdict in full.verdicts] + list(full.passed)
    for meat in full.meat:
        said += [meat.name, meat.what, meat.green, meat.thick, meat.outcome]
    for weighing in full.weighings:
        said += [weighing.title, *(part for each in weighing.amounts for part in (each.large, each.what, each.small))]
    for row in full.rows:
        said += [row.day, row.clock, row.title, row.detail, *(f"{turn.day} {turn.clock}" for turn in row.turns)]
        said += [f"Read the brine {turn.day} {turn.clock}".strip() for turn in row.readings]
    assert len(said) > 40
    assert [words for words in said if every(words) not in text] == []


@pytest.mark.parametrize("name", ["brisket", "loin"])
def test_the_figures_are_those_of_the_report(plans, pages, name):
    planned, text = plans[name].told, pages[name].text
    weighed = [line for line in planned.weighed.lines(planned.batch.units) if " g " in f"{line} "]
    grams = {found for line in weighed for found in re.findall(r"\d[\d.]* k?g\b", line)} & set(
        re.findall(r"\d[\d.]* k?g\b", text)
    )
    assert len(grams) >= 3  # water, salt and cure mix at least
    said = every(report.words(planned, long=True))
    for verdict in planned.verdicts:
        if verdict.outcome != "pass" and verdict.name not in INFORMS:
            first = verdict.sentence.partition(". ")[0].removesuffix(".")
            assert (
                every(first) in said and first.replace(" degC", " °C").replace(" degF", " °F").lower() in text.lower()
            )
    told = said.replace(" degC", " °C").replace(" degF", " °F").lower()
    judged = sheet(plans[name]).verdicts  # which stand on the page, as another test sees
    assert judged
    for verdict in judged:
        assert every(verdict.sentence).removesuffix(".").lower() in told
    shown = section(
        [(planned.spread, piece.name, piece.name) for piece in planned.batch.pieces], system=planned.batch.units
    )
    meta, numbers = message(shown, None, planned.batch.units)
    drawn = pages[name].data["section"]
    assert base64.b64decode(drawn["numbers"]) == numbers and drawn["meta"] == json.loads(json.dumps(meta))
    last = np.frombuffer(numbers, "<f4")[: meta["frames"]][-1]
    assert last == pytest.approx(planned.history.length / 86400.0, rel=1e-6)


def test_everything_to_tick_can_be_ticked_once(plans, pages):
    full = sheet(plans["brisket"])
    ticks = [attributes["data-tick"] for tag, attributes in pages["brisket"].tags if "data-tick" in attributes]
    assert len(ticks) == len(set(ticks))
    assert len(ticks) == sum(len(w.amounts) for w in full.weighings) + sum(
        1 + len(row.turns) + len(row.readings) for row in full.rows
    )
    assert any(row.readings for row in full.rows)
    assert [each["what"] for each in pages["brisket"].data["readings"]] == list(READINGS)


@pytest.mark.parametrize("name", ["brisket", "loin"])
def test_the_page_is_one_file_that_asks_for_nothing(made, pages, name):
    page, read = made[name], pages[name]
    assert len(page.encode("utf-8")) < kitchen_page.LARGEST
    loads = [
        (tag, key)
        for tag, attributes in read.tags
        for key in attributes
        if key in ("src", "srcset", "action", "background", "style") or key.startswith("on")
    ]
    assert loads == []
    assert {tag for tag, _ in read.tags} & {"link", "img", "iframe", "object", "embed", "base"} == set()
    assert all(attributes.get("href", "#")[0] == "#" for _, attributes in read.tags)
    assert not re.search(
        r"https?://(?!www\.w3\.org/)", page
    )  # the name space of SVG is a name, and nothing is fetched from it


def test_the_policy_lets_run_what_is_ours_and_nothing_else(pages):
    (policy,) = [a["content"] for _, a in pages["brisket"].tags if a.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'" and rules["base-uri"] == "'none'" and rules["form-action"] == "'none'"
    for kind in ("script", "style"):
        digest = base64.b64encode(hashlib.sha256(pages["brisket"].texts[kind].encode("utf-8")).digest()).decode("ascii")
        assert rules[f"{kind}-src"] == f"'sha256-{digest}'"


def hostile():
    base = load(datasets_folder() / "demo_brisket.toml")
    first, *others = base.pieces
    mix = base.weigh_out.cure.but(name=HOSTILE[:60])
    return base.but(
        name=HOSTILE,
        id="a|b </script>",
        pieces=(first.but(name=HOSTILE[:60]), *others),
        weigh_out=base.weigh_out.but(cure=mix),
    )


def test_a_hostile_name_is_words_and_no_more(pages):
    read = Reader(page_html(schedule(hostile())))
    assert HOSTILE in read.text and read.data["title"] == HOSTILE and read.data["pieces"][0] == HOSTILE[:60]
    count = lambda page: sorted({tag for tag, _ in page.tags})  # noqa: E731
    assert count(read) == count(pages["brisket"])  # no tag that an honest page has not
    assert sum(tag == "script" for tag, _ in read.tags) == 2


def test_meat_that_was_warm_is_told_before_all_else_and_given_no_day(plans):
    batch = plans["loin"].batch.but(log=(Reading(at="2 d", what="temperature", value="20 degC", error="1 K"),))
    warm = warm_log(batch)
    found = dataclasses.replace(plans["loin"], batch=batch)
    text = Reader(page_html(found)).text
    assert warm and every(warm) in text
    assert text.index(every(warm)) < text.index("Next")
    assert plans["loin"].answer and not any(every(each) in text for each in plans["loin"].answer)


@pytest.mark.parametrize("name", ["brisket", "loin"])
def test_cautions_stand_before_what_they_belong_to(plans, pages, name):
    """Those of nitrite before the first weight, all others right behind the answer; what is done meanwhile in the order of the days."""
    full, text = sheet(plans[name]), pages[name].text
    weights = [text.index(every(each)) for each in full.cautions[: full.of_weights]]
    others = [text.index(every(each)) for each in full.cautions[full.of_weights :]]
    first = text.index(every(full.weighings[0].amounts[0].large), text.index(every(full.weighings[0].title)))
    assert any("itrite" in each for each in full.cautions[: full.of_weights]) and max(weights) < first
    assert not any("cure mix" in each for each in full.cautions[full.of_weights :])
    assert text.index(every(full.answer[-1])) < min(others) and max(others) < text.index("The meat")
    for row in full.rows:
        meanwhile = sorted((*row.turns, *row.readings), key=lambda turn: turn.minutes)
        places = [
            text.index(f"{'Read the brine' if turn.reads else 'Turn over'} {turn.day} {turn.clock}".strip())
            for turn in meanwhile
        ]
        assert places == sorted(places)


def test_ticks_of_one_plan_are_not_those_of_another(plans):
    full = sheet(plans["brisket"])
    version = kitchen_page.version(full)
    assert version == kitchen_page.version(dataclasses.replace(full, pictures=(), checks=()))
    assert version != kitchen_page.version(dataclasses.replace(full, rows=full.rows[1:]))
    assert version != kitchen_page.version(dataclasses.replace(full, version="9.9.9"))


def test_a_picture_that_is_too_large_is_left_out_and_said(plans, monkeypatch):
    monkeypatch.setattr(kitchen_page, "LARGEST", 120_000)
    read = Reader(page_html(plans["brisket"]))
    assert read.data["section"] is None and "too large to carry" in read.text
    assert sheet(plans["brisket"]).answer[0] in read.text


def test_the_command_writes_it_beside_the_batch_and_over_nothing(made, tmp_path, capsys):
    file = tmp_path / "loin.toml"
    file.write_bytes((datasets_folder() / "demo_loin.toml").read_bytes())
    assert main(["page", str(file)]) == 0
    assert "--paste" in capsys.readouterr().out
    assert (tmp_path / "loin-page.html").read_text(encoding="utf-8") == made["loin"]
    assert main(["page", str(file)]) == 2 and "is there already" in capsys.readouterr().err
    assert main(["page", str(file), "-o", str(tmp_path / "x.pdf")]) == 2 and ".html" in capsys.readouterr().err
