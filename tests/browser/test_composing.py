"""A batch put together by hand in a real browser: buttons, files dropped, a station dragged, a cut in two; the file is what the library makes."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from curelab.batch import Batch, dumps, load
from curelab.compose import add_stage, change_station, duplicate_piece, move_stage, split_piece, template
from curelab.lab.assets import joined
from curelab.lab.state import WORKING_FILE, starting_batch
from curelab.paper.fridge_log import with_temperatures

pytestmark = pytest.mark.browser

DROP = """([name, text]) => {
  const files = new DataTransfer();
  files.items.add(new File([text], name));
  for (const kind of ['dragover', 'drop']) document.body.dispatchEvent(new DragEvent(kind, { dataTransfer: files, bubbles: true, cancelable: true }));
}"""
CUT = [{"at": "0 cm", "thickness": "2 cm", "width": "8 cm"}, {"at": "12 cm", "thickness": "3 cm", "width": "8 cm"}]
TABLE = "time;T °C\n" + "\n".join(f"2026-03-02 {h:02}:00;{3 + h / 10:.1f}".replace(".", ",") for h in range(9, 20))


def small_cut() -> Batch:
    """A small cut of two stations, in a bag for three days."""
    bag = template("sealed dry cure")
    piece = bag.pieces[0].but(
        name="small", shape="cut", thickness=None, stations=CUT, weight="250 g", tissue="lean beef"
    )
    return bag.but(name="Small cut", start="2026-03-02 09:00", pieces=[piece], stages=[bag.stages[0].but(lasts="3 d")])


def kept(path: Path, batch: Batch) -> Batch:
    """The batch in a file, once it is this one; it is saved by itself a moment after a change."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if path.exists() and load(path) == batch:
            break
        time.sleep(0.2)
    return load(path)


def drawn(page) -> None:
    """Wait until the picture of the shape as it is now stands on the page: a new one is worked out beside it."""
    page.wait_for_function(
        "() => document.querySelector('.cl-cut-grip') && !document.querySelector('.cl-failed')", timeout=90_000
    )


@pytest.mark.repeats  # the same moves as in tests/lab/test_composing.py; four new shapes are worked out
def test_a_batch_is_put_together_dragged_cut_in_two_saved_and_opened_again(stage, tmp_path):
    # All draws for once: the hand goes on while they are worked out.
    with stage.running_lab("batch.ipynb", tmp_path, few=False) as (address, _), stage.watched_page() as page:
        page.goto(address)
        page.get_by_role("button", name="Double: thin end").press("Enter", timeout=90_000)
        page.get_by_label("Kind of stage").select_option("soak")
        page.get_by_role("button", name="Add this stage").click()
        page.get_by_role("button", name="Earlier: stage 3, soak").click()
        made = move_stage(add_stage(duplicate_piece(starting_batch(), 1), "soak"), 2, 1)
        assert kept(tmp_path / WORKING_FILE, made) == made
        page.get_by_text(f"{made.name}, invented: saved as {WORKING_FILE}").wait_for(timeout=90_000)
        page.get_by_role("button", name="Undo", exact=True).click()
        before = add_stage(duplicate_piece(starting_batch(), 1), "soak")
        assert kept(tmp_path / WORKING_FILE, before) == before

        page.evaluate(DROP, ["broken.toml", "schema = 1\nname = 3\n"])
        page.get_by_text("name: 3 is not a text").wait_for(timeout=90_000)
        cut = small_cut()
        page.evaluate(DROP, ["small.toml", dumps(cut)])
        page.get_by_text("small.toml is in hand now").wait_for(timeout=90_000)
        assert load(tmp_path / WORKING_FILE) == before  # what was in hand before is kept
        page.evaluate(DROP, ["fridge.csv", TABLE])
        cold = with_temperatures(cut, TABLE.encode()).batch
        assert kept(tmp_path / "small.toml", cold) == cold
        drawn(page)

        grip = page.locator(".cl-cut-thumb").last
        grip.scroll_into_view_if_needed()
        box = grip.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x - 30, y - 15, steps=4)
        told = page.locator(".cl-cut-grip .cl-cut-on").last.text_content()
        page.mouse.up()
        thick, at = (float(number) / 1000 for number in re.findall(r"([\d.]+) mm", told))
        dragged = change_station(cold, 0, 1, at=at, thickness=thick)
        assert at < 0.12 and thick > 0.03
        now = kept(tmp_path / "small.toml", dragged)
        assert now == dragged

        drawn(page)
        page.get_by_role("button", name="Read a place with the arrow keys").press("ArrowUp")
        cutting = page.get_by_role("button", name=re.compile("Cut small in two here"))
        where = float(re.search(r"([\d.]+) mm from", cutting.text_content())[1]) / 1000
        cutting.click()
        page.get_by_text("small, tail", exact=True).first.wait_for(timeout=90_000)
        parts = split_piece(now, 0, at=where)
        saved = kept(tmp_path / "small.toml", parts)
        assert [piece.name for piece in saved.pieces] == ["small, head", "small, tail"]
        assert saved.pieces[1].weight == pytest.approx(parts.pieces[1].weight, rel=1e-6)
        drawn(page)  # a page that is opened while its shapes are worked out may not find its widgets
        page.reload()
        page.get_by_text("Small cut, invented: saved as small.toml").wait_for(timeout=90_000)
        assert page.get_by_role("button", name="Remove: small, tail").count() == 1
        assert page.problems == [] and page.outside == []


SHAPING = """unit => {
  %s
  window.wanted = [];
  document.body.innerHTML = '<div id="field" style="position:relative;width:400px"></div><div id="stage"></div>';
  const field = document.getElementById('field');
  const hand = shaping(field, { stage: document.getElementById('stage') }, each => window.wanted.push(each));
  const piece = { name: 'flat', stations: [[0, 5.08], [12.7, 5.08]], along: 12.7, head: 0, x: [6.1] };
  hand.placed({ pieces: [piece] }, { W: 400, H: 200, scale: 20, boxes: [{ x: 20, y: 20, h: 150 }] }, unit);
  field.firstChild.setAttribute('width', 400);
  hand.touched({ pieces: [piece] }, null, { piece: 0, column: 0 });
}"""


@pytest.mark.parametrize(
    "unit, step, thick, cut",
    [
        ({"factor": 1 / 2.54, "name": "depth, in"}, 0.003175, "1 5/8 in thick", "2 3/8 in from the head"),
        ({"factor": 10, "name": "depth, mm"}, 0.001, "41 mm thick", "61 mm from the head"),
    ],
)
def test_a_hand_moves_by_mm_and_in_a_us_batch_by_eighths_of_an_inch(stage, unit, step, thick, cut):
    """The drawing alone, without a lab behind it: 1 cm is 20 px here."""
    with stage.watched_page() as page:
        page.evaluate(SHAPING % joined("page.js", "drawing.js", "section_shaping.js"), unit)
        box = page.locator(".cl-cut-thumb").last.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x, y + 20, steps=3)
        assert thick in page.locator(".cl-cut-on").last.text_content()
        page.mouse.up()
        (wanted,) = page.evaluate("() => window.wanted")
        assert wanted["thickness"] == pytest.approx(round(0.0408 / step) * step, rel=1e-6)
        assert wanted["at"] == pytest.approx(0.127)
        assert cut in page.locator(".cl-cut-split").text_content()
        assert page.problems == []


@pytest.mark.repeats
def test_at_phone_width_every_button_and_field_is_large_enough_for_a_thumb(stage, tmp_path):
    with stage.running_lab("batch.ipynb", tmp_path) as (address, _), stage.watched_page(width=400) as page:
        page.goto(address)
        page.get_by_role("button", name="Write a reading down").click(timeout=90_000)
        page.get_by_role("button", name="Write into the log").wait_for()
        # One tap brings the form under the thumb.
        page.wait_for_function(
            """() => document.activeElement?.tagName === 'SELECT' && document.activeElement.getBoundingClientRect().top < 200"""
        )
        small = page.evaluate(
            """() => [...document.querySelectorAll('.cl-control :is(button, select, input[type=text]), .cl-nav button')]
              .filter(e => e.offsetParent).map(e => [e.textContent || e.id, e.getBoundingClientRect()])
              .filter(([name, box]) => box.height < 43.5 || box.width < 43.5 || box.right > 400.5).map(([name, box]) => [name, box.width, box.height, box.right])"""
        )
        assert small == []
        page.get_by_label("Reading", exact=True).fill("2.1 kg")
        page.get_by_role("button", name="It starts now").click()
        page.get_by_text("saved as my-batch.toml").wait_for(timeout=90_000)
        page.get_by_label("Of which piece").select_option("thick end")
        page.get_by_label("Reading", exact=True).fill("2.1")
        assert page.get_by_label("Reading", exact=True).get_attribute("inputmode") == "decimal"
        page.get_by_role("button", name="Write into the log").click()
        page.get_by_text("weight 2.1 kg").first.wait_for(timeout=90_000)
        assert [entry.value for entry in load(tmp_path / WORKING_FILE).log] == ["2.1 kg"]
        assert page.problems == []
