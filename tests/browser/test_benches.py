"""A journey through each bench in a real browser: by keyboard and by mouse, numbers that agree with the library, save and reopen."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from curelab import outcome as outcomes
from curelab.batch import load
from curelab.lab.state import PAGE_DRAWS, starting_batch
from curelab.outcome import run
from curelab.show.in_short import in_short
from curelab.spread import spread

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def kitchen(stage, tmp_path_factory):
    """(address, folder) of a lab with the notebooks that are shipped."""
    folder = tmp_path_factory.mktemp("kitchen")
    with stage.running_lab(None, folder) as (address, _):
        yield address, folder


@pytest.fixture
def visit(stage, kitchen):
    """Open a bench by the name of its notebook and wait for its first picture."""
    address, _ = kitchen

    def go(name: str, width: int = 1280):
        page = go.watch(width)
        page.goto(address.replace("start.ipynb", f"{name}.ipynb"))
        page.wait_for_selector("[data-revision]", timeout=30_000)
        page.wait_for_function(
            "() => [...document.querySelectorAll('[data-revision]')].every(e => +e.dataset.revision > 0)",
            timeout=30_000,
        )
        return page

    open_pages = []

    def watch(width):
        context = stage.watched_page(width=width)
        page = context.__enter__()
        open_pages.append(context)
        return page

    go.watch = watch
    yield go
    for context in open_pages:
        context.__exit__(None, None, None)


def revisions(page) -> list[int]:
    return page.evaluate("() => [...document.querySelectorAll('[data-revision]')].map(e => +e.dataset.revision)")


def step(page, label: str, key: str = "ArrowRight") -> None:
    """One step of a slider by keyboard, and wait until a picture is drawn anew."""
    before = sum(revisions(page))
    page.get_by_role("slider", name=label, exact=True).focus()
    page.keyboard.press(key)
    page.wait_for_function(
        "old => [...document.querySelectorAll('[data-revision]')].reduce((s, e) => s + +e.dataset.revision, 0) > old",
        arg=before,
        timeout=20_000,
    )


def drag(page, label: str, share: float) -> None:
    """Take the handle of a slider by mouse and let it go at a share of its width."""
    slider = page.get_by_role("slider", name=label, exact=True)
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    before = sum(revisions(page))
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
    page.mouse.down()
    for k in range(11):
        page.mouse.move(box["x"] + box["width"] * (0.3 + (share - 0.3) * k / 10), box["y"] + box["height"] / 2)
    page.mouse.up()
    page.wait_for_function(
        "old => [...document.querySelectorAll('[data-revision]')].reduce((s, e) => s + +e.dataset.revision, 0) > old",
        arg=before,
        timeout=20_000,
    )


def settled(page) -> None:
    """Wait until nothing has been drawn for a moment."""
    last = revisions(page)
    for _ in range(50):
        page.wait_for_timeout(250)
        now = revisions(page)
        if now == last:
            return
        last = now


def at_rest(page, draws: int) -> None:
    """Wait until all draws stand behind the page: only then it says what the library says."""
    page.wait_for_function(f"() => document.body.innerText.includes('{draws} draws')", timeout=60_000)


def clean(page) -> None:
    assert page.problems == []
    assert page.outside == []


def test_thick_point(visit):
    page = visit("thick_point")
    step(page, "Days in the cure")
    settled(page)
    days = int(float(page.get_by_role("slider", name="Days in the cure", exact=True).input_value()))
    batch = starting_batch()
    first = batch.filled()[0].but(lasts=f"{days} d")
    at_rest(page, PAGE_DRAWS)
    expected = (
        spread(batch.pieces, first, count=PAGE_DRAWS).at("core", "salt", None, "thick end", "equilibrium").middle[0]
    )
    text = re.sub(r"\s+", " ", page.inner_text("body"))
    assert f"{days} days is too short" in text and f"{100 * expected:.0f} %" in text
    drag(page, "Thickness of the thick end", 0.5)
    settled(page)
    assert page.get_by_role("slider", name="Thickness of the thick end", exact=True).input_value() != "8"
    clean(page)


def test_equilibrium_or_strong(visit):
    page = visit("equilibrium_or_strong")
    assert "A day late adds" in page.inner_text("body")
    step(page, "Strong brine: salt, of brine", "ArrowLeft")
    drag(page, "Thickness of the thick end", 0.1)
    settled(page)
    assert "too salty (3 % salt on the whole)" in page.inner_text("body")
    clean(page)


def test_soak(visit):
    page = visit("soak")
    drag(page, "Hours in each", 0.6)
    step(page, "Waters")
    drag(page, "Salt I want, of the meat", 0.02)
    settled(page)
    page.get_by_role("button", name="How much soak would it take?").click()
    page.get_by_text("Least water").first.wait_for(timeout=20_000)
    clean(page)


def test_batch_saves_reopens_and_agrees_with_the_command(visit, kitchen):
    _, folder = kitchen
    page = visit("batch")
    thickness = page.get_by_label("Thickness", exact=True).first
    thickness.fill("6 cm")
    thickness.press("Enter")
    settled(page)
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("my-batch.toml.").first.wait_for(timeout=10_000)
    settled(page)
    saved = load(Path(folder) / "my-batch.toml")
    assert saved.pieces[0].thickness == 0.06
    at_rest(page, outcomes.REPORT_DRAWS)
    for sentence in in_short(run(saved)):
        assert re.sub(r"\s+", " ", sentence) in re.sub(r"\s+", " ", page.inner_text("body"))
    thickness.fill("9 m")
    thickness.press("Enter")
    settled(page)
    assert "out of range" in page.inner_text("body")
    page.get_by_role("button", name="Open", exact=True).click()
    settled(page)
    assert page.get_by_label("Thickness", exact=True).first.input_value() == "6 cm"
    clean(page)


def test_start_shows_the_cautions_and_leads_on(visit):
    page = visit("start")
    text = page.inner_text("body")
    assert "poisons" in text and "Botulism" in text and "licensed practice" in text
    for name in ("Thick point", "Equilibrium or strong", "Soak", "Batch"):
        assert page.get_by_role("link", name=name).count() >= 1
    clean(page)


@pytest.mark.parametrize("name", ["thick_point", "equilibrium_or_strong", "soak", "batch"])
def test_at_phone_width_every_slider_can_still_be_moved(visit, name):
    page = visit(name, width=400)
    for slider in page.get_by_role("slider").all():
        box = slider.bounding_box()
        assert box is not None and box["width"] >= 120 and box["height"] >= 24
    clean(page)


def test_when_the_kernel_dies_the_figures_go_and_a_reload_brings_them_back(stage, tmp_path):
    import psutil

    with stage.running_lab(None, tmp_path) as (address, process), stage.watched_page() as page:
        page.goto(address.replace("start.ipynb", "thick_point.ipynb"))
        page.wait_for_selector("[data-revision]", timeout=30_000)
        page.get_by_text("not enough").first.wait_for(timeout=10_000)
        for child in psutil.Process(process.pid).children(recursive=True):
            if "ipykernel" in " ".join(child.cmdline()):
                child.kill()
        page.get_by_text("appears to have died").wait_for(timeout=20_000)
        page.keyboard.press("Enter")
        page.locator(".cl-say").first.wait_for(state="hidden", timeout=10_000)
        assert "not enough" not in page.inner_text("body")
        told = page.evaluate(
            "() => [...document.querySelectorAll('.jupyter-widgets-disconnected')].map(e => getComputedStyle(e, '::before').content).join()"
        )
        assert "Reload the page" in told
        page.reload()
        page.get_by_text("not enough").first.wait_for(timeout=30_000)
