"""How long a cook waits: from the command to a live picture, from a key to the repaint, and from the end of a drag to the last value.

    python tests/speed/bench_lab.py                                   the notebook of widgets that the browser tests use
    python tests/speed/bench_lab.py --notebook soak.ipynb --slider "Hours in the soak"

Not a test: it prints figures for the machine it runs on. Needs playwright and a Chromium.
"""

from __future__ import annotations

import argparse
import json
import runpy
import statistics
import sys
import tempfile
import time
from pathlib import Path

HELP = runpy.run_path(str(Path(__file__).resolve().parents[1] / "browser" / "conftest.py"))

# Notes, for the event asked for and for every repaint, when it happened: `shown` is the frame after the change of the drawing.
WATCH = """event => {
  const log = window.curelabLog = { begun: [], shown: [] };
  document.addEventListener(event, () => log.begun.push(performance.now()), true);
  const seen = new MutationObserver(() => requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => log.shown.push(performance.now());
    channel.port2.postMessage(0);
  }));
  const what = { attributes: true, attributeFilter: ['data-revision'] };
  for (const drawing of document.querySelectorAll('[data-revision]')) seen.observe(drawing, what);
}"""
ANSWERED = """() => {
  const log = window.curelabLog, begun = log.begun[0], shown = log.shown.find(when => when > begun);
  return shown === undefined ? null : shown - begun;
}"""
SWEEP = 12  # steps one way, then the other: more than a page remembers (`lab/state.MOST_KEPT`), so that every answer is worked out
QUIET = """since => {
  const now = performance.now(), log = window.curelabLog, last = log.shown.at(-1);
  return log.shown.length && last > log.begun.at(-1) && now - last > since;
}"""


def steps(page, slider, count: int) -> list[float]:
    """Milliseconds from each of `count` key presses to the last repaint that it caused."""
    slider.focus()
    page.evaluate(WATCH, "keydown")
    waited = []
    for number in range(count):
        page.evaluate("() => { window.curelabLog.begun.length = window.curelabLog.shown.length = 0; }")
        page.keyboard.press("ArrowRight" if (number // SWEEP) % 2 == 0 else "ArrowLeft")
        page.wait_for_function(QUIET, arg=200, timeout=10_000)
        log = page.evaluate("window.curelabLog")
        waited.append(log["shown"][-1] - log["begun"][0])
    return waited


def again(page, slider, count: int, gap: float) -> list[float]:
    """Milliseconds from each of `count` key presses to the first repaint after it, each pressed `gap` s after the answer to the one before:
    so it meets the draws that settle. An answer that the settled bands bring counts as well, as it shows the new value.
    """
    slider.focus()
    page.evaluate(WATCH, "keydown")
    waited = []
    for number in range(count):
        page.evaluate("() => { window.curelabLog.begun.length = window.curelabLog.shown.length = 0; }")
        page.keyboard.press("ArrowRight" if (number // SWEEP) % 2 == 0 else "ArrowLeft")
        page.wait_for_function(ANSWERED, timeout=10_000)
        waited.append(page.evaluate(ANSWERED))
        page.wait_for_timeout(1000 * gap)
    page.wait_for_timeout(3000)  # all settled, before the next row
    return waited


def disturbed(page, slider, count: int = 20) -> list[dict[str, float]]:
    """A row for every gap: the median and the worst answer over those of a move that nothing disturbs (2.5 s after the one before)."""
    calm = again(page, slider, count, 2.5)
    usual = statistics.median(calm)
    rows = [{"gap_s": 2.5, "median_ms": round(usual), "worst_ratio": round(max(calm) / usual, 2)}]
    for gap in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7):
        waited = again(page, slider, count, gap)
        rows.append(
            {
                "gap_s": gap,
                "median_ratio": round(statistics.median(waited) / usual, 2),
                "worst_ratio": round(max(waited) / usual, 2),
            }
        )
    return rows


def drag(page, slider) -> dict[str, float | bool]:
    """A hand that moves over the middle half of the slider in 1.5 s: how long that took, and how soon the last value was shown."""
    box = slider.bounding_box()
    y, start, far = box["y"] + box["height"] / 2, box["x"] + 0.3 * box["width"], 0.4 * box["width"]
    # Take it by the handle, wherever it is: a press beside it makes it jump there.
    page.mouse.move(start, y)
    page.mouse.down()
    page.wait_for_timeout(700)
    page.evaluate(WATCH, "input")
    begun = time.perf_counter()
    for move in range(1, 61):
        due = begun + 0.025 * move
        page.mouse.move(start + far * move / 60, y)
        time.sleep(max(0.0, due - time.perf_counter()))
    took = time.perf_counter() - begun
    page.wait_for_function(QUIET, arg=300, timeout=20_000)
    log = page.evaluate("window.curelabLog")
    agrees = slider.evaluate("input => Math.abs(input.value - input.closest('.cl-knob').dataset.value) < 1e-9")
    page.mouse.up()
    return {
        "took_s": round(took, 2),
        "repaints": len(log["shown"]),
        "last_value_after_ms": round(log["shown"][-1] - log["begun"][-1]),
        "agrees": agrees,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--notebook", help="a notebook of curelab, by name, or a file")
    parser.add_argument("--slider", default="Strength", help="the slider to move, by its name on the page")
    parser.add_argument("--steps", type=int, default=40)
    parser.add_argument("--again", action="store_true", help="also move it again 0.1 to 0.7 s after it rested (3 min)")
    parser.add_argument("--screenshot", type=Path, help="write a picture of the page here")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        notebook = given.notebook
        if notebook is None:
            (folder / "synthetic").mkdir()
            notebook = HELP["write_synthetic"](folder / "synthetic")
        begun = time.perf_counter()
        with HELP["running_lab"](notebook, folder / "work") as (address, _):
            up = time.perf_counter() - begun
            with HELP["running_browser"]() as browser, HELP["watched_page"](browser) as page:
                opened = time.perf_counter()
                page.goto(address)
                page.locator("[data-revision]").first.wait_for(state="attached", timeout=60_000)
                slider = page.get_by_role("slider", name=given.slider, exact=True)
                slider.wait_for()
                drawn = time.perf_counter()
                page.wait_for_timeout(1500)
                waited = sorted(steps(page, slider, given.steps))
                page.wait_for_timeout(800)
                moved = drag(page, slider)
                page.wait_for_timeout(3000)
                again_rows = disturbed(page, slider) if given.again else []
                if given.screenshot:
                    page.screenshot(path=given.screenshot, full_page=True)
                figures = {
                    "address_after_s": round(up, 2),
                    "picture_after_opening_s": round(drawn - opened, 2),
                    "start_to_picture_s": round(up + drawn - opened, 2),
                    "step_median_ms": round(statistics.median(waited)),
                    "step_p95_ms": round(waited[int(0.95 * (len(waited) - 1))]),
                    "drag": moved,
                    "moved_again": again_rows,
                    "errors_on_the_page": page.problems,
                    "asked_of_other_machines": page.outside,
                }
    print(json.dumps(figures, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
