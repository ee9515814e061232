"""The bars in a real browser: what is drawn is what was sent, nothing is cut, and all of it can be read, on a light and a dark page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

pytestmark = pytest.mark.browser

# Invented shares (percent: alone, with others), the longest names there are, and one longer than any column.
SHARES = [(61.5, 70.25), (21.0, 24.0), (9.0, 9.0), (4.0, 6.5), (0.0, 0.0), (4.5, None)]
LABELS = [
    "the thickness of Schweinenackenstückextralang",
    "how evenly meat and brine share salt",
    "how well brine gets under the piece",
    "the temperature",
    "the layer at a face in moving brine",
    "all 7 others",
]
CODE = f"""
from curelab.lab import row
from curelab.lab.bars import BarPicture
from curelab.show.ranking import Bar, Bars
picture, still = BarPicture(), BarPicture()
bars = tuple(Bar(label, *shares, "log it") for label, shares in zip({LABELS!r}, {SHARES!r}))
picture.show(Bars("Log it before anything else: it makes 62 % of an invented spread.", "share of the spread of the days, %", bars, "Invented.\\nNo meat."))
still.show(Bars("Hardly anything changes.", "share, %", (), "Invented, too."))
"""
LIGHT = """() => {
  document.body.style.removeProperty('--jp-layout-color0');
  document.body.style.removeProperty('--jp-ui-font-color1');
  document.body.dataset.jpThemeLight = 'true';
}"""
DARK = """() => {
  document.body.style.setProperty('--jp-layout-color0', '#111111');
  document.body.style.setProperty('--jp-ui-font-color1', '#e0e0e0');
  document.body.dataset.jpThemeLight = 'false';
}"""


@pytest.fixture(scope="module")
def address(stage: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("bars")
    notebook = stage.write_notebook(folder / "start.ipynb", "# Bars", CODE + "row(picture)", "row(still)")
    with stage.running_lab(notebook, folder / "work") as (where, _):
        yield where


@pytest.fixture(scope="module")
def opened(stage: Any, address: str) -> Iterator[Any]:
    with stage.watched_page(1200, 1200) as page:
        page.goto(address)
        page.locator(".cl-bar").first.wait_for(state="attached", timeout=180_000)
        page.get_by_text("Hardly anything changes.").wait_for(timeout=120_000)
        yield page
        assert page.problems == [] and page.outside == []


@pytest.fixture(scope="module", params=[1200, 360])
def page(request: pytest.FixtureRequest, opened: Any) -> Any:
    """The page, brought to a width; all bars are drawn anew for it."""
    opened.evaluate(LIGHT)
    opened.set_viewport_size({"width": request.param, "height": 1200})
    opened.wait_for_function(
        "wide => document.querySelector('.cl-drawing').getBoundingClientRect().right <= wide", arg=request.param
    )
    opened.wait_for_timeout(500)
    opened.wide = request.param
    return opened


def boxes(page: Any, what: str) -> list[dict[str, float]]:
    """Left, right, top, bottom of each in page pixels."""
    return page.locator(what).evaluate_all(
        "all => all.map(one => { const b = one.getBoundingClientRect(); return { left: b.left, right: b.right, top: b.top, bottom: b.bottom }; })"
    )


def test_what_is_drawn_is_what_was_sent(page):
    ticks = page.locator(".cl-drawing svg .cl-tick").evaluate_all(
        "all => all.map(one => [+one.textContent, (b => (b.left + b.right) / 2)(one.getBoundingClientRect())])"
    )
    assert ticks[0][0] == 0 and ticks[-1][0] == 100
    zero, hundred = ticks[0][1], ticks[-1][1]
    wide = hundred - zero
    assert wide >= 85  # pixels: room enough to compare lengths, beside the longest names on a telephone
    alone, more = boxes(page, ".cl-bar"), boxes(page, ".cl-total")
    assert len(alone) == len(SHARES)
    for (share, _), box in zip(SHARES, alone, strict=True):
        assert box["left"] == pytest.approx(zero, abs=1.0)  # a tick stands on a whole pixel
        assert box["right"] - box["left"] == pytest.approx(share / 100 * wide, abs=1.0)
    beyond = [(place, pair) for place, pair in enumerate(SHARES) if pair[1] is not None and pair[1] > pair[0]]
    assert len(more) == len(beyond) == 3
    for (place, (share, total)), box in zip(beyond, more, strict=True):
        assert box["right"] - box["left"] == pytest.approx((total - share) / 100 * wide, abs=2.0)  # its outline is 1 px
        assert box["left"] == pytest.approx(alone[place]["right"], abs=1.0)
    tops = [box["top"] for box in alone]
    assert tops == sorted(tops)


def test_every_name_and_number_stands_whole_beside_its_bar(page):
    rows = page.locator(".cl-drawing svg g:has(> .cl-bar)")
    told = rows.evaluate_all(
        "all => all.map(row => [[...row.querySelectorAll('text[text-anchor=end]')].map(t => t.textContent), row.querySelector('text:not([text-anchor])').textContent, row.querySelector('title').textContent])"
    )
    squeezed = lambda words: re.sub(r"\s", "", words)  # noqa: E731
    assert [squeezed("".join(parts)) for parts, _, _ in told] == [squeezed(label) for label in LABELS]
    assert [squeezed(number) for _, number, _ in told] == ["62%(70)", "21%(24)", "9%", "4%(6)", "0%", "4%"]
    assert all(
        title.startswith(label) and title.endswith(": log it")
        for (_, _, title), label in zip(told, LABELS, strict=True)
    )
    everything = boxes(page, ".cl-drawing text, .cl-drawing .cl-over, .cl-drawing .cl-under")
    frame = boxes(page, ".cl-drawing")[0]
    assert min(box["left"] for box in everything) >= frame["left"] - 1
    assert max(box["right"] for box in everything) <= frame["right"] + 1 <= page.wide + 1
    names = [
        boxes(page, f".cl-drawing svg g:nth-child({place + 1} of :has(> .cl-bar)) text[text-anchor=end]")
        for place in range(6)
    ]
    bars = boxes(page, ".cl-bar")
    for place, lines in enumerate(names):
        assert max(line["right"] for line in lines) < bars[place]["left"]
        if place:
            assert lines[0]["top"] >= names[place - 1][-1]["bottom"] - 2


def luminance(parts: list[float]) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    linear = [part / 255 / 12.92 if part / 255 <= 0.04045 else ((part / 255 + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def contrast(colour: str, opacity: float, ground: str) -> float:
    numbers = [[float(part) for part in re.findall(r"[\d.]+", one)] for one in (colour, ground)]
    seen = (numbers[0][3] if len(numbers[0]) > 3 else 1.0) * opacity
    ink = [seen * a + (1 - seen) * b for a, b in zip(numbers[0][:3], numbers[1][:3], strict=True)]
    light, dark = sorted((luminance(ink), luminance(numbers[1][:3])), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_and_bars_stand_out_from_the_page(page, theme):
    if theme == "dark":
        page.evaluate(DARK)
        page.wait_for_timeout(300)
    ground = page.locator(".cl-drawing").first.evaluate("one => getComputedStyle(one).backgroundColor")
    assert (luminance([float(part) for part in re.findall(r"[\d.]+", ground)]) > 0.5) == (theme == "light")
    read = "all => all.map(one => { const s = getComputedStyle(one); return [one.textContent, s.fill, s.color, +s.opacity, s.stroke]; })"
    for name, fill, _, opacity, _ in page.locator(".cl-drawing svg text").evaluate_all(read):
        assert contrast(fill, opacity, ground) >= 4.5, name  # WCAG 2.2, 1.4.3
    for name, _, colour, opacity, _ in page.locator(".cl-over, .cl-under").evaluate_all(read):
        assert contrast(colour, opacity, ground) >= 4.5, name
    for _, fill, _, _, _ in page.locator(".cl-bar").evaluate_all(read):
        assert contrast(fill, 1.0, ground) >= 3  # 1.4.11
    for _, fill, _, _, stroke in page.locator(".cl-total").evaluate_all(read):
        assert "url(" in fill and contrast(stroke, 1.0, ground) >= 3  # a pattern, told apart without colour


def test_a_screen_reader_is_told_and_a_flat_answer_has_no_bars(page):
    said = page.locator(".cl-drawing svg[role=img]").first.get_attribute("aria-label")
    assert (
        said.startswith("Bars, share of the spread of the days, %: the thickness of")
        and "62 %, with others 70 %" in said
    )
    assert "Invented.\nNo meat." in page.locator(".cl-under").first.inner_text()
    still = page.locator(".cl-drawing").nth(1)
    assert not still.locator("svg").is_visible() and still.locator(".cl-bar").count() == 0
    assert still.locator(".cl-under").inner_text() == "Invented, too."
