"""What the picture of the inside names, and where: each thing once, where it is meant, and nothing over anything else."""

from __future__ import annotations

from itertools import combinations

import pytest
from drawn_page import page_of

from curelab.batch import load
from curelab.lab.section import SectionPicture
from curelab.show.section import section
from curelab.sources import datasets_folder
from curelab.spread import spread
from curelab.units import DAY

pytestmark = pytest.mark.browser
BOXES = """selector => [...document.querySelectorAll(selector)].map(each => { const { x, y, width, height } = each.getBoundingClientRect();
  return { words: each.textContent, x, y, width, height, fill: getComputedStyle(each).fill }; })"""


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A page with the starting batch on its 14th day: a point that is cured at its rim, and a thin end that is cured."""
    batch = load(datasets_folder() / "new_batch.toml")
    many = spread(batch.pieces, batch.filled(), count=16)
    picture = SectionPicture()
    picture.show(section([(many, piece.name, piece.name) for piece in batch.pieces]), 14.0)
    place = tmp_path_factory.mktemp("section") / "page.html"
    place.write_text(page_of(picture), encoding="utf-8")
    assert DAY == 86400 and many.usual.length > 14 * DAY
    return place


@pytest.mark.parametrize("width", [1280, 416])
def test_everything_is_named_where_it_is(stage, drawn, width):
    with stage.watched_page(width=width, height=800) as page:
        page.goto(drawn.as_uri())
        page.locator(".cl-cut-field svg[role=img]").wait_for()
        named = page.evaluate(BOXES, ".cl-cut-field svg[role=img] text")
        words = [each["words"] for each in named]
        for one in ("slowest spot", "dotted side: the meat goes on"):
            assert words.count(one) == 1, words
        assert any(each.endswith(" thick") for each in words) and "cured to here" in words
        rim = next(each for each in named if each["words"] == "cured to here")
        lines = page.evaluate(BOXES, ".cl-cut-field svg[role=img] path[stroke-dasharray='7 3']")
        assert rim["y"] + rim["height"] / 2 < lines[0]["y"] + 3  # outside of the line, where it is cured
        over = [
            (one["words"], other["words"])
            for one, other in combinations(named, 2)
            if min(one["x"] + one["width"], other["x"] + other["width"]) - max(one["x"], other["x"]) > 1
            and min(one["y"] + one["height"], other["y"] + other["height"]) - max(one["y"], other["y"]) > 4
        ]
        assert over == []
        if width < 480:
            page.get_by_text("Lines: through the piece").click()
        small = page.evaluate(BOXES, ".cl-cut-small svg text")
        said = [each["words"] for each in small]
        assert said.count("salt, % of the meat") == 2 and said.count("cured") == 2
        average, slowest = (next(each for each in small if each["words"] == one) for one in ("average", "slowest spot"))
        assert average["fill"] != slowest["fill"] and abs(average["y"] - slowest["y"]) >= 14
        dashes = page.evaluate(
            "() => [...document.querySelectorAll('.cl-cut-small path')].map(each => each.getAttribute('stroke-dasharray'))"
        )
        assert {"6 4", "1.5 3.5"} <= set(dashes)
        assert page.problems == []
