"""The sheet and the label: what stands on them is what was computed, nothing is loaded, and each is one page on A4 and on Letter."""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
import subprocess
import tempfile
import xml.etree.ElementTree as ET
from html import unescape
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from handful import handful

from curelab import units
from curelab.__main__ import main
from curelab.batch import from_table, load
from curelab.fields import InputError
from curelab.paper import pages as paper
from curelab.paper.drawn_lines import BOTTOM, LEFT, RIGHT, TOP, svg_lines, ticks
from curelab.paper.pages import label_html, sheet_html
from curelab.paper.schedule import plan_words, schedule
from curelab.paper.sheet import label, sheet
from curelab.paper.tasks import READ
from curelab.paper.weighings import ounces
from curelab.show import pictures
from curelab.show.check_names import INFORMS, kitchen
from curelab.sources import datasets_folder
from curelab.spread import Spread

pytestmark = pytest.mark.usefixtures("few_reports")

DEMO = datasets_folder() / "demo_brisket.toml"
US = datasets_folder() / "demo_loin.toml"
PLAN = {
    "zone": "Europe/Berlin", "serve": "2026-04-11 18:00", "hours": "07:00-22:00", "closed": ["sunday"],
    "before": [{"name": "thaw in the fridge", "lasts": "2 d", "at_most": "3 d"}],
    "after": [{"name": "cook", "lasts": "4 h", "note": "to 72 °C in the middle"}, {"name": "chill", "lasts": "8 h", "at_most": "20 h"}],
}  # fmt: skip


def full(system="metric"):
    """A crowded batch: six pieces, a turn every day, four waters, four steps, a kitchen with hours."""
    base = load(DEMO)
    pieces = [piece.but(name=f"{piece.name} {n}") for n in (1, 2, 3) for piece in base.pieces]
    cure, rest, soak = base.stages
    stages = (
        cure.but(temperature="3 degC", turn_every=86400.0, lasts=14 * 86400.0),
        rest,
        soak.but(waters=soak.waters * 2),
    )
    return base.but(pieces=pieces, vessel=None, start=None, plan=PLAN, stages=stages, units=system)


@pytest.fixture(scope="module")
def plans():
    made = {
        "brisket": schedule(load(DEMO)),
        "loin": schedule(load(US)),
        "full": schedule(full()),
    }
    return made | {"full us": dataclasses.replace(made["full"], batch=full("us"))}


class Reader(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self.skip = [], [], False
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self.skip = tag in ("style", "script")

    def handle_endtag(self, tag):
        self.skip = False

    def handle_data(self, data):
        if not self.skip:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


# -- content ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["brisket", "full us"])
def test_everything_computed_stands_on_the_sheet(plans, name):
    found = plans[name]
    page = Reader(sheet_html(sheet(found)))
    for verdict in found.told.verdicts:
        if verdict.name in INFORMS and verdict.outcome != "pass":
            continue  # an old rule beside the answer is told in the report
        said = kitchen(verdict.name) if verdict.outcome == "pass" else verdict.sentence.split(". ")[0].rstrip(".")
        assert said.replace(" degC", " °C").lower() in page.text.lower()
    for task in found.tasks:
        if task.wanted is None:
            assert task.title in page.text and task.detail in page.text
    readings = sum(task.title == READ for task in found.tasks)
    turns = sum(task.wanted is not None for task in found.tasks) - readings
    rows = len(found.tasks) - turns - readings
    if "the plan has the hours" in page.text:  # a full page names the days of the readings in one line
        readings = 0
    boxes = sum("box" in str(attributes.get("class", "")).split() for _, attributes in page.tags)
    weighed = found.planned.weighed
    assert boxes == turns + rows + readings + sum(
        mass > 0 for mass in (weighed.water, weighed.plain_salt, weighed.cure_mix, weighed.sugar)
    )
    assert page.text.count("done") == rows  # a line to write on for each
    assert (
        "batch " + found.batch.known_by in page.text and "curelab 0." in page.text and "INVENTED EXAMPLE" in page.text
    )
    for caution in ("never spoon it", "Botulism", "licensed practice"):
        assert caution in page.text


def test_the_weights_are_those_of_the_weigh_out(plans):
    weighed = plans["brisket"].planned.weighed
    large = re.findall(r'<div class="large">([^<]*)</div>', sheet_html(sheet(plans["brisket"])))
    assert [units.read(words, "mass") for words in large] == pytest.approx(
        [weighed.water, weighed.plain_salt, weighed.cure_mix, weighed.sugar], rel=0.02
    )
    american = re.findall(r'<div class="large">([^<]*)</div>', sheet_html(sheet(plans["full us"])))
    made = plans["full us"].planned.weighed
    assert [units.read(words, "mass") for words in american] == pytest.approx(
        [made.water, made.plain_salt, made.cure_mix, made.sugar], rel=0.02
    )
    assert "lb" in american[0] and american[2].endswith(
        " g"
    )  # cure mix stays in grams: a hundredth of an ounce is no scale's step


@pytest.mark.parametrize("mass", np.geomspace(1e-3, 40, 40))
def test_ounces_are_true_to_two_percent(mass):
    assert units.read(ounces(mass), "mass") == pytest.approx(mass, rel=0.02)


def test_the_meat_ends_as_the_band_says(plans):
    found = plans["brisket"]
    last = found.told.history.ran[-1].stage
    value, low, high = (100 * each for each in found.told.band("core", "salt", last, "point"))
    many = found.told.spread.at(
        "core", "salt", [found.told.history.length], "point"
    )  # every stage of it ends by the clock
    assert (value, low, high) == pytest.approx([100 * each[0] for each in (many.middle, many.low, many.high)], rel=1e-9)
    assert f"{value:.1f} ({low:.1f} to {high:.1f}) % in the middle" in Reader(sheet_html(sheet(found))).text


def test_own_amounts_of_a_stage_name_the_nitrite_as_such():
    batch = from_table({
        "schema": 1, "name": "own", "pieces": [{"name": "slab", "thickness": "4 cm", "weight": "1 kg"}],
        "stages": [{"do": "sealed cure", "salt": "25 g", "nitrite": "0.15 g", "temperature": "3 degC", "lasts": "9 d"}],
    })  # fmt: skip
    found = schedule(batch)
    text = Reader(sheet_html(sheet(found))).text
    assert "25.0 g" in text and "Never use pure nitrite" in text
    # 0.15 g of nitrite is 15 g over the per cent on the label; the mass of the nitrite itself is none to weigh.
    assert "15 g divided by the % of nitrite on its label" in text and "0.15 g" not in text
    assert "day 9" in text and "no dates yet" in text
    tag = label(found)
    assert (
        tag.nitrite
        and tag.out == "day 9"
        and "0.15 g sodium nitrite per kg of meat" in tag.cure
        and "25 g salt" in tag.cure[1]
    )
    plain = schedule(batch.but(stages=(batch.stages[0].but(nitrite=0.0),)))
    assert "NO NITRITE" in label_html(label(plain)) and "CONTAINS NITRITE" in label_html(tag)


def test_the_label_says_what_a_vessel_needs(plans):
    found = plans["brisket"]
    words = Reader(label_html(label(found))).text
    per = 1e3 * found.planned.weighed.cure_mix / 4.0  # g per kg of 4 kg of meat
    for said in (
        found.batch.name,
        "Mon 2 Mar 2026 09:00",
        "Thu 12 Mar 2026 09:00",
        f"{per:.3g} g cure mix per kg of meat",
        "CONTAINS NITRITE",
    ):
        assert said in words


def test_shortened_small_print_says_where_the_rest_is(plans):
    whole = sheet(plans["full us"])
    printed, root = paper.fitted(whole, paper.PAPERS["letter"])
    assert "Read the brine on Thu Mar 26, Sat Mar 28, Tue Mar 31" in printed.checks[0]
    rows = tuple(dataclasses.replace(row, readings=()) for row in whole.rows)
    assert printed.rows == rows and printed.weighings == whole.weighings and printed.cautions == whole.cautions
    assert (
        printed.verdicts == whole.verdicts
        and len(printed.moves) < len(whole.moves)
        and "the plan tells each" in printed.moves[0]
    )
    loin = sheet(plans["loin"])
    brief = dataclasses.replace(loin, rows=loin.rows[:2])  # a plan without a soak in three waters
    roomy, larger = paper.fitted(brief, paper.PAPERS["letter"])
    assert roomy is brief and larger > root


# -- nothing is loaded, nothing runs ---------------------------------------------------------------


@pytest.mark.parametrize("make", [lambda found: sheet_html(sheet(found)), lambda found: label_html(label(found))])
def test_no_script_and_no_network(plans, make):
    page = make(plans["brisket"])
    tags = Reader(page).tags
    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form"} & {tag for tag, _ in tags}
    for _, attributes in tags:
        assert not [
            name for name in attributes if name.startswith("on") or name in ("src", "href", "xlink:href", "srcset")
        ]
    assert re.findall(r"https?://[^\"' )]*", page) in (
        [],
        ["http://www.w3.org/2000/svg"] * page.count("<svg"),
    )
    assert "@import" not in page and "url(" not in page
    assert "default-src 'none'" in page  # the browser itself refuses what slipped through


def test_words_of_the_cook_stay_words(plans):
    evil = '<script>alert("x")</script> & Söhne'
    found = schedule(load(DEMO).but(name=evil))
    for page in (sheet_html(sheet(found)), label_html(label(found))):
        assert "<script" not in page and evil in unescape(page)


# -- the picture -----------------------------------------------------------------------------------


def test_the_picture_is_the_profile_of_the_last_day(plans):
    found = plans["brisket"]
    lines = sheet(found).pictures[0]
    root = ET.fromstring(svg_lines(lines, 90.0, 50.0))
    name = "{http://www.w3.org/2000/svg}"
    points = np.array(
        [[float(v) for v in pair.split(",")] for pair in root.find(f"{name}polyline").get("points").split()]
    )
    y_ticks = ticks(0.0, max(lines.series[0].high.max(), 2.2))
    depth = (points[:, 0] - LEFT) / (90 - LEFT - RIGHT) * lines.series[0].x[-1]
    value = y_ticks[-1] * (1 - (points[:, 1] - TOP) / (50 - TOP - BOTTOM))
    band = found.told.spread.profile("salt", (found.told.history.length,), "point")
    middle = np.argmin(abs(depth - 40.0))
    assert depth[-1] == pytest.approx(80.0, rel=1e-3)
    assert value[middle] == pytest.approx(100 * np.interp(0.5, band.depth, band.middle[0]), rel=0.01)
    usual = found.told.history.core(
        "salt", None, "point"
    )  # thickest meat of the middle case is not quite that of middle values
    assert value[middle] == pytest.approx(100 * usual, rel=0.1)
    assert root.find(f"{name}title").text == lines.sentence and "Sun 15 Mar" in lines.sentence
    assert (
        root.find(f"{name}polygon") is not None
        and sum(text.text == "to 2.2 %" for text in root.iter(f"{name}text")) == 1
    )


def test_lines_apart_in_grey_have_dashes_and_a_legend(plans):
    history = plans["brisket"].told.history
    root = ET.fromstring(svg_lines(pictures.over_time(Spread.single(history), "salt", "point")))
    name = "{http://www.w3.org/2000/svg}"
    dashes = [line.get("stroke-dasharray") for line in root.iter(f"{name}polyline")]
    assert len(set(dashes)) == 3 and {"surface", "average", "core"} <= {text.text for text in root.iter(f"{name}text")}


@pytest.mark.parametrize("high", [1e-6, 0.3, 1.0, 2.2, 7.9, 80.0, 99999.0])
def test_ticks_cover_and_are_few(high):
    found = ticks(0.0, high, 6)
    assert found[0] == 0 and high <= found[-1] <= 2.5 * high and 2 <= len(found) <= 6
    assert np.allclose(np.diff(found), found[1], rtol=1e-9)


# -- paper -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser():
    found = paper.browser()
    if found is None and os.environ.get("CURELAB_BROWSER") != "required":
        pytest.skip("no browser to print with")
    return found


def info(path):
    if shutil.which("pdfinfo") is None and os.environ.get("CURELAB_BROWSER") != "required":
        pytest.skip("no pdfinfo to look into a PDF with")
    words = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    return int(re.search(r"Pages:\s+(\d+)", words)[1]), tuple(
        float(n) for n in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", words).groups()
    )


@pytest.mark.browser
@pytest.mark.parametrize(
    ("name", "size"),
    handful(product(["brisket", "loin", "full", "full us"], ["a4", "letter"]), [("full", "a4"), ("full us", "letter")]),
)
def test_one_page_on_both_papers(plans, browser, tmp_path, name, size):
    made = paper.pdf(sheet_html(sheet(plans[name]), size), browser)
    path = tmp_path / "page.pdf"
    path.write_bytes(made)
    count, measured = info(path)
    assert count == 1 == paper.pages(made)
    # ISO 216 and ANSI Y14.1, in points
    assert measured == pytest.approx({"a4": (595.28, 841.89), "letter": (612.0, 792.0)}[size], rel=2e-3)
    text = " ".join(
        subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout.split()
    )
    assert plans[name].batch.known_by in text and "your local code and licensed practice go first" in text


@pytest.mark.browser
def test_weights_are_large_enough_for_arms_length(plans, browser, tmp_path):
    """Set in 22 pt, which is read from more than a metre away by an eye that needs 0.3 degrees a letter (common practice, no source)."""
    path = tmp_path / "page.pdf"
    path.write_bytes(paper.pdf(sheet_html(sheet(plans["full us"]), "letter"), browser))
    info(path)
    words = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
    box = re.search(r'yMin="([\d.]+)"[^>]*yMax="([\d.]+)">34\.0<', words)
    assert float(box[2]) - float(box[1]) >= 22


@pytest.mark.browser
def test_a_page_too_long_has_more_pages(plans, browser):
    long = sheet_html(sheet(plans["brisket"])).replace("</header>", "</header>" + "<p>more</p>" * 200)
    assert paper.pages(paper.pdf(long, browser)) > 1


def test_a_browser_that_prints_leaves_nothing_behind(browser, monkeypatch):
    with tempfile.TemporaryDirectory() as name:  # a short name: Chromium's own sockets lie in there meanwhile
        for key, folder in (("HOME", Path(name, "h")), ("TMPDIR", Path(name, "t"))):
            folder.mkdir()
            monkeypatch.setenv(key, str(folder))
        for key in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
            monkeypatch.delenv(key, raising=False)
        monkeypatch.setattr(tempfile, "tempdir", str(Path(name, "t")))
        assert paper.pages(paper.pdf("<p>hello</p>", browser)) == 1
        assert [path.name for path in Path(name).rglob("*")] in (["h", "t"], ["t", "h"])


def test_without_a_browser_the_way_out_is_told(monkeypatch, tmp_path):
    monkeypatch.setattr(paper, "browser", lambda: None)
    with pytest.raises(InputError, match="Ctrl-P"):
        paper.pdf("<p>hello</p>")
    broken = tmp_path / "browser"
    broken.write_text("#!/bin/sh\nexit 3\n")
    broken.chmod(0o755)
    with pytest.raises(InputError, match="did not print"):
        paper.pdf("<p>hello</p>", str(broken))


# -- the command says the same ---------------------------------------------------------------------


def test_the_command_writes_what_the_library_makes(plans, tmp_path, capsys):
    file = tmp_path / "batch.toml"
    file.write_bytes(DEMO.read_bytes())
    assert main(["sheet", str(file)]) == 0 and main(["label", str(file), "--paper", "letter"]) == 0
    assert (tmp_path / "batch-sheet.html").read_text(encoding="utf-8") == sheet_html(sheet(plans["brisket"]), "a4")
    assert (tmp_path / "batch-label.html").read_text(encoding="utf-8") == label_html(label(plans["brisket"]), "letter")
    capsys.readouterr()
    assert main(["plan", str(file)]) == 0
    assert capsys.readouterr().out == plan_words(plans["brisket"])


def test_the_command_writes_over_nothing_unasked(tmp_path, capsys):
    file, out = tmp_path / "batch.toml", tmp_path / "mine.html"
    file.write_bytes(US.read_bytes())
    out.write_text("mine")
    assert main(["sheet", str(file), "-o", str(out)]) == 2 and out.read_text() == "mine"
    assert main(["plan", str(file), "--ics", str(out)]) == 2 and out.read_text() == "mine"
    assert main(["sheet", str(file), "-o", str(tmp_path / "a.docx")]) == 2
    assert main(["sheet", str(tmp_path / "none.toml")]) == 2
    assert main(["sheet", str(file), "-o", str(tmp_path / "no" / "folder.html")]) == 2
    said = capsys.readouterr().err
    assert said.count("nothing was written") == 5 and "Traceback" not in said
    assert main(["sheet", str(file), "-o", str(out), "--replace"]) == 0 and "Pork loin" in out.read_text(
        encoding="utf-8"
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["batch.toml", "mine.html"]
