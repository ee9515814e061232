"""What a cook sees and does: the lab comes up live, and every control works by hand, by key and by name.

One page is opened at 1280 pixels and shared; each test sets what it needs first. Figures come from the formula of the invented notebook.
"""

from __future__ import annotations

import re
import signal
import urllib.error
import urllib.request
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import psutil
import pytest

LIVE = ".cl-drawing[data-revision] .cl-line"


def salt(strength: float, day: float, depth: Any) -> Any:
    return strength * (1 - np.exp(-0.15 * day)) * np.exp(-depth / (4 + 3 * day))


@pytest.fixture(scope="module")
def page(lab: str, stage: Any) -> Iterator[Any]:
    with stage.watched_page() as opened:
        opened.goto(lab)
        opened.locator(LIVE).first.wait_for(state="attached", timeout=180_000)
        yield opened


def revision(page: Any) -> int:
    return int(page.locator(".cl-drawing").first.get_attribute("data-revision"))


def after(page: Any, act: Any) -> None:
    """Do it, and wait until the first picture has been drawn anew."""
    before = revision(page)
    act()
    page.wait_for_function(
        "before => +document.querySelector('.cl-drawing').dataset.revision > before", arg=before, timeout=120_000
    )


def set_strength(page: Any, value: float) -> None:
    field = page.get_by_label("Strength, %, as a number")
    if field.input_value() != f"{value:.1f}":
        after(page, lambda: (field.fill(str(value)), field.press("Enter")))
        answered(page, value)


def answered(page: Any, value: float) -> None:
    """Wait until the answer is that of a strength: a picture that is drawn anew may still be that of the one before."""
    page.locator(".cl-answer").get_by_text(f"{salt(value, 20, 35):.1f} %").wait_for(timeout=120_000)


def top_tick(page: Any) -> float:
    """The largest number beside the axis of y of the first picture."""
    return max(
        map(float, page.locator(".cl-drawing").first.locator("text.cl-tick[text-anchor=end]").all_text_contents())
    )


def test_the_page_is_live_without_pressing_run_and_asks_nothing_of_the_internet(page):
    set_strength(page, 5)
    slider = page.get_by_role("slider", name="Strength", exact=True)
    line = page.locator(LIVE).first
    before = line.get_attribute("d")
    slider.focus()
    for _ in range(3):
        after(page, lambda: page.keyboard.press("ArrowRight"))
    assert slider.get_attribute("aria-valuetext") == "6.5 %"
    assert line.get_attribute("d") != before
    assert f"{salt(6.5, 20, 35):.1f} %" in page.locator(".cl-answer").inner_text()
    assert page.locator(".jp-InputArea-editor:visible").count() == 0  # no code in sight
    page.keyboard.press("x")  # JupyterLab's key for cutting the cell
    page.keyboard.press("Escape")
    assert page.get_by_role("slider", name="Strength", exact=True).count() == 1
    assert page.problems == [] and page.outside == []


def test_every_control_has_a_name_and_room_for_a_finger(page):
    for role, name in (
        ("slider", "Thickness"),
        ("spinbutton", "Thickness, cm, as a number"),
        ("radio", "metric"),
        ("group", "Units"),
        ("combobox", "Shape"),
        ("checkbox", "Show the bands"),
        ("textbox", "Name of the batch"),
        ("button", "Save this batch"),
        ("slider", "Read values along depth, mm"),
    ):
        assert page.get_by_role(role, name=name, exact=True).count() >= 1, (role, name)
    # WCAG 2.2, success criterion 2.5.8: targets of at least 24 by 24 CSS pixels; for a box with a label the label counts.
    targets = (
        ".cl-control :is(input[type=range], input[type=number], input[type=text], select, button, label.cl-choice)"
    )
    sizes = page.locator(targets).evaluate_all(
        "all => all.map(one => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().width, one.getBoundingClientRect().height])"
    )
    assert len(sizes) == 11
    assert [one for one in sizes if min(one[1:]) < 24] == []
    suppressed = page.locator(".cl-control :is(input, select, button), .cl-reader").evaluate_all(
        "all => all.every(one => one.dataset.lmSuppressShortcuts === 'true')"
    )
    assert suppressed


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def test_names_at_the_lines_can_be_read_and_do_not_overlap(page):
    set_strength(page, 0.5)  # all lines end close together
    boxes = (
        page.locator(".cl-drawing")
        .first.locator("text.cl-word:not(.cl-halo)")
        .evaluate_all(
            """all => all.map(t => { const b = t.getBoundingClientRect();
                                 return [t.textContent, b.top, b.bottom, getComputedStyle(t).fill, b.right]; })"""
        )
    )
    assert [box[0] for box in boxes] == ["day 1", "day 2", "day 4", "day 7", "day 12", "day 20"]
    ordered = sorted(boxes, key=lambda box: box[1])
    assert [box[0] for box in ordered] == [
        "day 20",
        "day 12",
        "day 7",
        "day 4",
        "day 2",
        "day 1",
    ]  # in the order of the lines
    for upper, lower in pairwise(ordered):
        assert upper[2] - lower[1] <= 2  # the boxes of letters touch, the letters do not
    for box in boxes:
        assert 1.05 / (luminance(box[3]) + 0.05) >= 4.5, box  # WCAG 2.2, 1.4.3, on white
        assert box[4] <= 1280


def test_switching_units_tells_the_value_once_and_nothing_else(page):
    page.get_by_role("radio", name="US", exact=True).check()
    page.get_by_role("spinbutton", name="Thickness, in, as a number").wait_for()
    assert page.get_by_role("slider", name="Thickness", exact=True).get_attribute("aria-valuetext") == "2.76 in"
    number = page.get_by_role("spinbutton", name="Thickness, in, as a number")
    number.press("Enter")  # entered as it stands is no change, though the field shows fewer figures than the value has
    page.get_by_role("radio", name="metric", exact=True).check()
    page.get_by_role("spinbutton", name="Thickness, cm, as a number").wait_for()
    page.wait_for_timeout(300)
    assert page.locator(".cl-note").inner_text() == "told: 2.75591 in, 7 cm"


def test_a_number_out_of_range_is_brought_in_and_the_range_is_said(page):
    field = page.get_by_label("Strength, %, as a number")
    field.fill("99")
    field.press("Enter")
    page.get_by_text("Between 0.0 and 26.0 %.").wait_for()
    assert field.input_value() == "26.0"
    set_strength(page, 5)
    assert page.get_by_text("Between 0.0 and 26.0 %.").count() == 0


def test_axes_hold_still_during_a_drag_and_fit_afterwards(page):
    set_strength(page, 26)
    slider = page.get_by_role("slider", name="Strength", exact=True)
    box, tall = slider.bounding_box(), top_tick(page)
    y, right = box["y"] + box["height"] / 2, box["x"] + box["width"] - 8
    page.mouse.move(right, y)
    page.mouse.down()
    for step in range(1, 21):
        page.mouse.move(right - step * box["width"] * 0.04, y)
        page.wait_for_timeout(25)
    value = float(slider.input_value())
    answered(page, value)  # the last value has arrived
    held = top_tick(page)
    after(page, page.mouse.up)
    assert value < 8 and held == tall
    assert top_tick(page) < tall
    assert page.problems == []


def test_values_are_read_by_key_and_by_pointer(page):
    set_strength(page, 5)
    reader = page.get_by_role("slider", name="Read values along depth, mm").first
    reader.focus()
    page.keyboard.press("Home")
    for _ in range(40):
        page.keyboard.press("ArrowRight")
    said = page.locator(".cl-drawing").first.locator(".cl-live").inner_text()
    assert reader.get_attribute("aria-valuetext") == "depth, mm 14.0"
    for day in (1, 2, 4, 7, 12, 20):
        y = salt(5, day, 14.0)
        expected = rf"day {day} (\S+) \((\S+) to (\S+)\)"
        read = [float(part) for part in re.search(expected, said).groups()]
        assert read == pytest.approx([y, 0.85 * y, 1.15 * y], abs=0.0051), day  # read to two decimals
    assert page.locator(".cl-readout").first.is_visible()
    page.keyboard.press("Escape")
    assert not page.locator(".cl-readout").first.is_visible()
    box = page.locator(".cl-drawing svg").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 100)
    assert page.locator(".cl-readout").first.is_visible()
    page.mouse.move(5, 5)


def test_the_map_has_the_colours_of_cividis_at_the_right_places(page):
    colormaps = pytest.importorskip("matplotlib").colormaps  # an independent table of the same colours
    set_strength(page, 5)
    chart = page.locator(".cl-drawing").nth(1)
    top = max(map(float, chart.locator("text.cl-tick:not([text-anchor])").all_text_contents()))  # of the colour bar
    for u, v in ((0.1, 0.1), (0.5, 0.5), (0.95, 0.05), (0.9, 0.9)):
        pixel, days, depth = chart.locator("canvas").first.evaluate(
            """(canvas, [u, v]) => { const c = Math.floor(u * canvas.width), r = Math.floor(v * canvas.height);
               const pixel = canvas.getContext('2d').getImageData(c, r, 1, 1).data;
               return [[...pixel], 20 * (c + .5) / canvas.width, 35 * (r + .5) / canvas.height]; }""",
            [u, v],
        )
        expected = np.array(colormaps["cividis"](salt(5, days, depth) / top)) * 255
        assert np.abs(np.array(pixel) - expected).max() <= 5, (u, v)  # ten stops instead of 256


def test_a_failure_greys_the_picture_hides_the_numbers_and_says_why(page):
    after(page, lambda: page.get_by_label("Let the model fail").check())
    alert = page.locator(".cl-drawing").first.get_by_role("alert")
    assert alert.inner_text() == "This could not be computed: the bath holds no water; give it some."
    assert page.locator(".cl-say[role=alert]").inner_text().startswith("Attention")
    first = page.locator(".cl-drawing").first
    assert first.locator("text.cl-tick").first.evaluate("one => getComputedStyle(one).visibility") == "hidden"
    assert first.locator("svg").first.get_attribute("aria-hidden") == "true"
    after(page, lambda: page.get_by_label("Let the model fail").uncheck())
    assert first.locator("text.cl-tick").first.evaluate("one => getComputedStyle(one).visibility") == "visible"
    assert alert.count() == 0 or alert.inner_text() == ""
    assert page.problems == []


def test_a_file_is_handed_over(page):
    page.get_by_label("Name of the batch").fill("Loin no. 2")
    page.get_by_label("Name of the batch").press("Tab")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save this batch").click()
    assert waiting.value.suggested_filename == "batch.toml"
    assert waiting.value.path().read_text() == "name = 'Loin no. 2'"


def test_a_reload_keeps_the_state_and_a_linked_page_is_live_too(page):
    set_strength(page, 8.5)
    page.reload()
    page.locator(LIVE).first.wait_for(state="attached", timeout=180_000)
    assert page.get_by_label("Strength, %, as a number").input_value() == "8.5"
    page.get_by_role("link", name="the second page").click()
    panel = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)").filter(
        has=page.get_by_role("heading", name="Second page")
    )
    panel.locator(LIVE).first.wait_for(state="attached", timeout=180_000)
    assert panel.get_by_label("Strength, %, as a number").input_value() == "5.0"  # its own kernel, its own state
    slider = panel.get_by_role("slider", name="Strength", exact=True)
    slider.focus()
    page.keyboard.press("ArrowRight")
    panel.get_by_text(f"{salt(5.5, 20, 35):.1f} %").wait_for()
    assert page.problems == [] and page.outside == []


def test_what_draws_a_figure_of_somebodys_own_is_loaded_when_there_is_one(page):
    brought = "() => performance.getEntriesByType('resource').filter(each => /plotly/.test(each.name)).length"
    written = (
        "() => performance.getEntriesByType('resource').filter(each => /workspaces.default/.test(each.name)).length"
    )
    assert page.evaluate(written) == 0  # JupyterLab's own memory would hold the page up until it has written
    panel = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)")
    assert page.evaluate(brought) == 0  # a sixth of all that a page would load, and none of ours has such a figure
    panel.get_by_role("link", name="a figure").click()
    panel.filter(has=page.get_by_role("heading", name="A figure")).locator(".js-plotly-plot .bars path").nth(
        1
    ).wait_for(timeout=60_000)
    assert page.evaluate(brought) > 0
    assert page.problems == [] and page.outside == []


@pytest.mark.repeats
def test_on_a_telephone_nothing_is_lost(lab, stage):
    with stage.watched_page(400, 1500) as page:
        page.goto(lab)
        page.locator(LIVE).first.wait_for(state="attached", timeout=180_000)
        page.wait_for_timeout(500)
        widths = page.locator(".cl-control input[type=range]").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect().width)"
        )
        assert len(widths) == 2 and min(widths) > 200
        edges = page.locator(":is(.cl-control, .cl-drawing, .cl-say), .cl-drawing text").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect()).filter(box => box.width).map(box => [box.left, box.right])"
        )
        assert min(left for left, _ in edges) >= 0 and max(right for _, right in edges) <= 400
        assert page.locator(".cl-drawing").first.bounding_box()["width"] > 250
        assert page.problems == [] and page.outside == []


def test_control_c_ends_the_lab_cleanly(stage, tmp_path):
    notebook = stage.write_notebook(tmp_path / "start.ipynb", "# A page", "import os\nos.getpid()")
    with stage.running_lab(notebook, tmp_path / "work") as (address, process):
        with urllib.request.urlopen(address, timeout=10) as answer:
            assert answer.status == 200
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(re.sub(r"/doc/tree.*", "/api/contents", address), timeout=10)  # no token, no files
        assert refused.value.code == 403
        refused.value.close()
        assert re.match(r"http://127\.0\.0\.1:\d+/", address)
        page = address.replace("/doc/tree/", "/api/contents/").replace("?", "?content=1&type=notebook&")
        with urllib.request.urlopen(page, timeout=60) as answer:  # which waits until it has been run
            assert answer.status == 200
        kernels = psutil.Process(process.pid).children(recursive=True)
        assert kernels
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
        assert "Traceback" not in process.stdout.read()
        _, alive = psutil.wait_procs(kernels, timeout=5)
        assert alive == []
    assert "os.getpid" in (tmp_path / "work" / "start.ipynb").read_text()
    assert (
        tmp_path / "work" / "start.ipynb"
    ).read_text() == notebook.read_text()  # run, and left as it was on the disk


def test_a_cell_that_fails_is_shown_and_the_rest_still_runs(stage, tmp_path):
    notebook = stage.write_notebook(
        tmp_path / "start.ipynb", "# A page", "raise ValueError('the cupboard is bare')", "print('still', 'here')"
    )
    with stage.running_lab(notebook, tmp_path / "work") as (address, _), stage.watched_page() as page:
        page.goto(address)
        page.get_by_text("ValueError: the cupboard is bare").first.wait_for(timeout=180_000)
        page.get_by_text("still here").first.wait_for(timeout=120_000)
