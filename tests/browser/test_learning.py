"""A batch with a log on the page for learning, in a real browser: the answer, a reading written down, what was taught kept and compared."""

from __future__ import annotations

import re

import pytest

from curelab.batch import load
from curelab.learn.update import update
from curelab.recipe.meat_and_fridge import load_profile

pytestmark = pytest.mark.browser

DEMO = "batches/demo_brisket.toml"


@pytest.fixture
def learning(kitchen):
    """(address of the page, folder)."""
    address, folder, _ = kitchen
    return address.replace("start.ipynb", "learning.ipynb"), folder


def fill(page, label: str, words: str) -> None:
    line = page.get_by_label(label, exact=True)
    line.fill(words)
    line.press("Enter")


def press(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def said(page) -> str:
    return re.sub(r"\s+", " ", page.inner_text("body"))


def test_a_cook_learns_from_a_batch(stage, learning):
    address, folder = learning
    with stage.watched_page(width=1200) as page:
        page.goto(address)
        page.wait_for_selector("[data-revision]", timeout=180_000)
        page.get_by_text("let a salometer float in it").first.wait_for(timeout=120_000)
        page.get_by_role("button", name="How sure: what was varied").click()
        fill(page, "Batch file", DEMO)
        press(page, "Open")
        page.get_by_text("128 draws of").first.wait_for(timeout=180_000)
        found = update(load(folder / DEMO))
        assert re.sub(r"\s+", " ", found.told.headline) in said(page)
        assert found.told.rests_on in said(page)

        fill(page, "When", "8 d")
        fill(page, "Reading", "14.5")
        press(page, "Write into the log")
        page.get_by_text("Written down: day 8.00 salometer 14.5").first.wait_for(timeout=180_000)
        assert load(folder / DEMO).log[-1].value == "14.5"
        page.get_by_text("showed 14.5 degrees on day 8").first.wait_for(timeout=180_000)

        press(page, "Save what this batch taught")
        page.get_by_text("Wrote my-meat.toml").first.wait_for(timeout=180_000)
        assert load_profile(folder / "my-meat.toml").known[0].key == "obstruction.lean"
        press(page, "Begin with what an earlier batch taught")
        page.get_by_text("count twice").first.wait_for(timeout=180_000)

        fill(page, "Batch files, with commas between them", f"{DEMO}, batches/demo_loin.toml")
        press(page, "Compare")
        page.get_by_role("cell", name="Pork loin in a strong brine").or_(
            page.get_by_text("Pork loin in a strong brine")
        ).first.wait_for(timeout=180_000)

        press(page, "Take the last one out")
        page.get_by_text("out of the log again").first.wait_for(timeout=180_000)
        assert len(load(folder / DEMO).log) == len(found.batch.log)
        assert page.problems == [] and page.outside == []


@pytest.mark.repeats
def test_at_phone_width_nothing_is_cut_off(stage, learning):
    address, _ = learning
    with stage.watched_page(width=400) as page:
        page.goto(address)
        page.wait_for_selector("[data-revision]", timeout=180_000)
        fill(page, "Batch file", DEMO)
        press(page, "Open")
        page.get_by_text("Your brine fell").first.wait_for(timeout=180_000)
        page.locator(".cl-table td").first.wait_for(timeout=120_000)
        wide = page.evaluate(
            "() => [...document.querySelectorAll('.cl-table')].filter(e => e.offsetWidth && e.scrollWidth > e.clientWidth + 1).length"
        )
        assert wide == 0 and page.locator(".cl-table td").count() > 10
        for button in page.get_by_role("button").filter(has_text=re.compile("log|taught|Compare|Save|Open")).all():
            box = button.bounding_box()
            assert box is not None and box["height"] >= 24 and box["x"] >= 0 and box["x"] + box["width"] <= 400
        assert page.problems == [] and page.outside == []
