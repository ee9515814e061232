"""A journey through each bench in a real browser: by keyboard and by mouse, numbers that agree with the library, save and reopen."""

from __future__ import annotations

import contextlib
import re
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psutil
import pytest

from curelab import outcome as outcomes
from curelab.batch import load
from curelab.lab import state as pages
from curelab.lab.benches.plate import PlateBench
from curelab.lab.benches.thick_point import HORIZON, ThickPoint
from curelab.lab.state import State
from curelab.outcome import run
from curelab.show.in_short import in_short
from curelab.units import DAY

pytestmark = pytest.mark.browser


@pytest.fixture
def visit(stage, kitchen):
    """Open a bench by the name of its notebook and wait for its first picture."""
    address, _, process = kitchen

    def go(name: str, width: int = 1280):
        page = go.watch(width)
        page.goto(address.replace("start.ipynb", f"{name}.ipynb"))
        page.wait_for_selector("[data-revision]", timeout=120_000)
        all_drawn(page)
        folded = page.get_by_role("button", name="▸")
        while left := folded.count():  # nothing stays folded away, so that all of it is tried
            folded.first.click()
            folded.nth(left - 1).wait_for(state="detached")
        assert folded.count() == 0
        all_drawn(page)
        # A page comes on the usual case; how sure it is follows once it is seen.
        page.wait_for_function("() => !/follows in a moment/.test(document.body.innerText)", timeout=60_000)
        return page

    open_pages = []

    def watch(width):
        context = stage.watched_page(width=width)
        page = context.__enter__()
        page.faults = lambda: stage.faults(page)
        open_pages.append((page, context))
        return page

    go.watch, go.process = watch, process
    yield go
    for page, context in open_pages:
        with contextlib.suppress(Exception):  # a page that crashed says nothing
            print(said(page)[:4000])  # seen only where a test has failed
        context.__exit__(None, None, None)


def all_drawn(page) -> None:
    """Wait until every picture on the page has been drawn."""
    page.wait_for_function(
        "() => [...document.querySelectorAll('[data-revision]')].every(e => +e.dataset.revision > 0)", timeout=120_000
    )


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
        timeout=120_000,
    )


def drag(page, label: str, share: float) -> None:
    """Take the handle of a slider by mouse and let it go at a share of its width. A page that moves under the mouse meanwhile is tried again."""
    slider = page.get_by_role("slider", name=label, exact=True)
    before = sum(revisions(page))
    for _ in range(5):
        slider.scroll_into_view_if_needed()
        box = slider.bounding_box()
        page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
        page.mouse.down()
        for k in range(11):
            page.mouse.move(box["x"] + box["width"] * (0.3 + (share - 0.3) * k / 10), box["y"] + box["height"] / 2)
        page.mouse.up()
        reached = slider.evaluate("each => (each.value - each.min) / (each.max - each.min)")
        if abs(reached - share) < 0.1:
            break
        settled(page)
    assert abs(reached - share) < 0.1, f"{label} stands at {reached:.2f} of its width, not at {share:.2f}"
    page.wait_for_function(
        "old => [...document.querySelectorAll('[data-revision]')].reduce((s, e) => s + +e.dataset.revision, 0) > old",
        arg=before,
        timeout=120_000,
    )


# JupyterLab's own sign that the kernel answers nothing at the moment.
IDLE = "() => document.querySelector('.jp-Notebook-ExecutionIndicator')?.dataset.status === 'idle'"


def settled(page) -> None:
    """Wait until the kernel has been idle and nothing has been drawn for three looks."""
    last, quiet = revisions(page), 0
    for _ in range(400):
        page.wait_for_timeout(150)
        now = revisions(page)
        quiet = quiet + 1 if now == last and page.evaluate(IDLE) else 0
        if quiet == 3:
            return
        last = now
    raise AssertionError("the page never came to rest")


def at_rest(page, draws: int) -> None:
    """Wait until all draws stand behind the page: only then it says what the library says."""
    page.wait_for_function(f"() => document.body.innerText.includes('{draws} draws')", timeout=180_000)


def said(page) -> str:
    """All that the page says, on one line."""
    return re.sub(r"\s+", " ", page.inner_text("body"))


def clean(page) -> None:
    """No error, no word to another machine, and nothing that keeps out who cannot see the page; then on a telephone in the dark."""
    assert page.faults() == []
    page.set_viewport_size({"width": 400, "height": 1000})
    page.emulate_media(color_scheme="dark")  # as the system says, so is the page
    page.wait_for_function("() => document.body.dataset.jpThemeLight === 'false'", timeout=20_000)
    top, tall = page.evaluate(
        """() => { const nav = document.querySelector('.cl-nav').getBoundingClientRect();
        return [nav.top - document.querySelector('.jp-WindowedPanel-viewport').getBoundingClientRect().top, nav.height]; }"""
    )
    assert top <= 24 and tall <= 160  # two lines of pages, the batch in hand, and nothing empty above them
    for slider in page.get_by_role("slider").all():
        assert slider.evaluate("input => getComputedStyle(input).colorScheme") == "dark"
        box = slider.bounding_box()
        assert box is not None and box["width"] >= 120 and box["height"] >= 24  # so that it can still be moved
    assert page.faults() == []
    assert page.problems == []
    assert page.outside == []


def settled_answer(state: State) -> str:
    bench = ThickPoint(state)
    list(bench.settle())
    return bench.says["answer"].text


def without_a_loop(work):
    """What `work` gives where no loop drives a browser: there a bench would wait for a hand to rest."""
    with ThreadPoolExecutor(1) as alone:
        return alone.submit(work).result()


def test_the_cut(visit):
    """The sentences and the picture say what the library says, on the day that the hand has chosen."""
    page = visit("thick_point")
    step(page, "Days in the cure")
    settled(page)
    days = int(float(page.get_by_role("slider", name="Days in the cure", exact=True).input_value()))
    at_rest(page, pages.PAGE_DRAWS)
    state = State()
    state.edit_stage(0, lasts=f"{days} d", until=None, at_most=None)
    answer, text = without_a_loop(lambda: settled_answer(state)), said(page)
    for sentence in answer.split("\n"):
        assert re.sub(r"\s+", " ", sentence) in text
    before = sum(revisions(page))
    day = page.get_by_role("slider", name="Day", exact=True)
    many = state.spread(state.cure_lasting(HORIZON))
    assert told(many, days) in day.get_attribute("aria-valuetext")
    day.press("ArrowRight")
    assert told(many, days) not in day.get_attribute("aria-valuetext")
    day.press("End")
    assert told(many, HORIZON / DAY) in day.get_attribute("aria-valuetext")
    assert sum(revisions(page)) == before  # the kernel is not asked which day is shown
    read_the_picture(page)
    drag(page, "Thickness of the thick end", 0.5)
    settled(page)
    assert page.get_by_role("slider", name="Thickness of the thick end", exact=True).input_value() != "8"
    assert sum(revisions(page)) > before
    clean(page)


def read_the_picture(page) -> None:
    """By keyboard and by pointer, played, and as a table for who cannot see it."""
    page.get_by_role("button", name="Read a place with the arrow keys").focus()
    page.keyboard.press("ArrowUp")
    read = page.locator(".cl-cut .cl-readout")
    assert re.search(r"thick end, [\d.]+ mm deep: salt [\d.]+ \([\d.]+ to [\d.]+\) % of the meat", read.inner_text())
    page.keyboard.press("Escape")
    assert not read.is_visible()
    page.get_by_text("free nitrite", exact=True).first.click()
    assert "mg/kg" in page.locator(".cl-cut-told").inner_text()
    box = page.locator(".cl-cut-field svg[role=img]").bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 60)
    assert "free nitrite" in read.inner_text()
    page.get_by_role("button", name="Play the days").click()
    page.wait_for_timeout(500)
    page.get_by_role("button", name="Stop playing").click()
    assert page.locator(".cl-cut table tr").count() > 10


def told(many, day: float) -> str:
    """What the picture says of the thick end on a day."""
    average, core = (100 * many.at(place, "salt", (day * DAY,), "thick end").middle[0] for place in ("average", "core"))
    return f"Day {day:g}, {'brine' if day < 90 else 'left longer'}. Thick end: average {average:.2f}, slowest spot {core:.2f} %"


def test_equilibrium_or_strong(visit):
    page = visit("equilibrium_or_strong")
    page.get_by_text("14 days is too long. The whole is past").first.wait_for(timeout=60_000)  # told with its ranges
    assert "A day late adds" not in said(page)
    step(page, "Strong brine: salt, of brine", "ArrowLeft")
    drag(page, "Thickness of the thick end", 0.1)
    page.get_by_text("A day late adds").first.wait_for(timeout=60_000)  # told where a day is worth waiting for
    settled(page)
    assert "too salty (3 % salt on the whole)" in said(page)
    clean(page)


def test_soak(visit):
    page = visit("soak")
    drag(page, "Hours in each", 0.6)
    step(page, "Waters")
    drag(page, "Salt I want, of the meat", 0.02)
    settled(page)
    page.get_by_role("button", name="How much soak would it take?").click()
    page.get_by_text("Least water").first.wait_for(timeout=120_000)
    clean(page)


def test_batch_saves_reopens_and_agrees_with_the_command(visit, kitchen):
    _, folder, _ = kitchen
    page = visit("batch")
    thickness = page.get_by_label("Thickness", exact=True).first
    thickness.fill("6 cm")
    thickness.press("Enter")
    settled(page)
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("saved as my-batch.toml").first.wait_for(timeout=120_000)  # in the line at the top
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


def test_to_the_plate(visit):
    """The section is coloured by temperature, and says what the library says; a cook that was tried out goes into the batch when it is moved."""
    page = visit("plate")
    assert "only tried out" in said(page) and "burn" in said(page)
    step(page, "Middle to reach", "ArrowLeft")
    drag(page, "Portion, as thick as", 0.1)
    page.get_by_text("only tried out").wait_for(state="hidden", timeout=60_000)
    settled(page)
    state = State()
    thick = float(page.get_by_role("slider", name="Portion, as thick as", exact=True).input_value())

    def moved() -> str:
        bench = PlateBench(state)
        bench.controls["middle"].value -= 1
        bench.controls["portion"].value = thick
        list(bench.settle())
        return bench.says["answer"].text

    page.get_by_text(without_a_loop(moved)).first.wait_for(timeout=60_000)
    hour = page.get_by_role("slider", name="Hour", exact=True)
    hour.press("End")
    usual = state.spread(state.batch.filled()).usual
    outside, middle = (usual.temperature(None, place, "thick end") - 273.15 for place in ("surface", "core"))
    assert f"Thick end: outside {outside:.0f}, middle {middle:.0f} °C" in hour.get_attribute("aria-valuetext")
    serve = page.get_by_label("Serve on")
    serve.fill("next Sunday")
    serve.press("Enter")
    page.get_by_text("is not a date and time").first.wait_for(timeout=60_000)
    serve.fill("2026-11-29 13:00")
    serve.press("Enter")
    page.get_by_text("to serve on Sunday at 13:00").first.wait_for(timeout=60_000)
    settled(page)
    reach_everything_by_keyboard(page)
    clean(page)


def reach_everything_by_keyboard(page) -> None:
    """By the key Tab alone every control is reached, and what is reached is seen."""
    page.evaluate(
        "() => { document.querySelectorAll('details').forEach(each => { each.open = true; }); document.activeElement.blur(); }"
    )
    page.mouse.click(5, 300)  # beside everything, so that the first key leads to the first control
    settled(page)
    unseen = set()
    for _ in range(200):
        page.keyboard.press("Tab")
        dark, missed = page.evaluate(
            """() => { const now = document.activeElement, frame = now.closest('.cl-stage, .cl-cut-field'), ringed = each => each && getComputedStyle(each).outlineStyle !== 'none';
            now.dataset.reached = 'yes'; if (now.name) document.getElementsByName(now.name).forEach(each => { each.dataset.reached = 'yes'; });
            const missed = [...document.querySelectorAll('.jp-Notebook :is(a, button, input, select, summary)')]
              .filter(each => each.offsetParent && !each.disabled && each.tabIndex >= 0 && !each.dataset.reached && getComputedStyle(each).visibility !== 'hidden');
            return [now.closest('.jp-Notebook') && !ringed(now) && !ringed(frame) && now.outerHTML.slice(0, 200), missed.map(each => each.outerHTML)]; }"""
        )
        unseen |= {dark} - {None, False}
        if not missed:
            break
    assert missed == []
    assert unseen == set()


def test_compare(visit, kitchen):
    """Two sections under one axis; a file that goes away takes every number along."""
    _, folder, _ = kitchen
    shutil.copy(Path(folder) / "batches" / "demo_loin.toml", Path(folder) / "other.toml")
    page = visit("compare")
    page.get_by_label("Compare it with").select_option("other.toml")
    settled(page)
    assert "tastes saltier" in said(page) or "too little apart" in said(page)
    assert page.locator(".cl-cut-lane").count() == 2
    step(page, "Your days in the cure")
    settled(page)
    (Path(folder) / "other.toml").unlink()
    page.get_by_role("button", name="Read the files again").click()
    page.get_by_text("is not there any more").first.wait_for(timeout=20_000)
    assert "tastes saltier" not in said(page) and not page.locator(".cl-cut-told").is_visible()
    page.get_by_label("Compare it with").select_option("demo_loin.toml")
    page.locator(".cl-cut-told").wait_for(timeout=20_000)
    clean(page)


def test_start_shows_the_cautions_and_leads_on(visit):
    page = visit("start")
    text = page.inner_text("body")
    assert "poisons" in text and "Botulism" in text and "licensed practice" in text
    for name in ("The cut", "Equilibrium or strong", "Soak", "To the plate", "My batch", "Learning", "Compare"):
        assert page.get_by_role("link", name=name).count() >= 1
    clean(page)


@pytest.mark.repeats  # tests/browser/test_learning.py opens it in every run
def test_on_a_telephone_learning_is_reached(visit):
    clean(visit("learning", width=400))


def test_when_the_kernel_dies_the_figures_go_and_a_reload_brings_them_back(visit):
    """The last of all: no kernel of this lab is left after it."""
    page = visit("thick_point")
    short = page.get_by_text("is too short").first
    short.wait_for(timeout=120_000)
    for child in psutil.Process(visit.process.pid).children(recursive=True):
        if "ipykernel" in " ".join(child.cmdline()):
            child.kill()
    page.get_by_text("appears to have died").wait_for(timeout=120_000)
    page.keyboard.press("Enter")
    page.locator(".cl-say").first.wait_for(state="hidden", timeout=120_000)
    assert "is too short" not in page.inner_text("body")
    told = page.evaluate(
        "() => [...document.querySelectorAll('.jupyter-widgets-disconnected')].map(e => getComputedStyle(e, '::before').content).join()"
    )
    assert "Reload the page" in told
    page.reload()
    short.wait_for(timeout=120_000)
