"""How long a cook waits: from the command to a live picture, from a key to the repaint, and from the end of a drag to the last value.

    python tests/speed/bench_lab.py                                   the notebook of widgets that the browser tests use
    python tests/speed/bench_lab.py --notebook soak.ipynb --slider "Hours in the soak"

Not a test: it prints figures for the machine it runs on. Needs playwright and a Chromium.
"""

from __future__ import annotations

import argparse
import itertools
import json
import runpy
import statistics
import sys
import tempfile
import time
from pathlib import Path

import psutil

HELP = runpy.run_path(str(Path(__file__).resolve().parents[1] / "browser" / "conftest.py"))

# Notes, for the event asked for and for every repaint, when it happened: `shown` is the frame after the change of a drawing, `said` that of an answer.
WATCH = """event => {
  const log = window.curelabLog = { begun: [], shown: [], said: [] };
  document.addEventListener(event, () => log.begun.push(performance.now()), true);
  const noted = list => new MutationObserver(() => requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => log[list].push(performance.now());
    channel.port2.postMessage(0);
  }));
  const drawings = noted('shown'), words = noted('said');
  for (const each of document.querySelectorAll('[data-revision]')) drawings.observe(each, { attributes: true, attributeFilter: ['data-revision'] });
  for (const each of document.querySelectorAll('.cl-answer')) words.observe(each, { childList: true });
}"""
FORGET = "() => { for (const list of Object.values(window.curelabLog)) list.length = 0; }"
ANSWERED = """() => {
  const log = window.curelabLog, begun = log.begun[0], shown = log.shown.find(when => when > begun);
  return shown === undefined ? null : shown - begun;
}"""
SWEEP = 12  # steps one way, then the other: more than a page remembers (`lab/state.MOST_KEPT`), so that every answer is worked out
QUIET = """since => {
  const now = performance.now(), log = window.curelabLog, last = log.shown.at(-1);
  return log.shown.length && last > log.begun.at(-1) && now - last > since;
}"""


def pressed(page, so_far=itertools.count()) -> None:  # noqa: B008 - one count for all presses of a run
    """One step of the slider that has the keyboard: SWEEP of them one way, then as many back."""
    page.evaluate(FORGET)
    page.keyboard.press("ArrowRight" if (next(so_far) // SWEEP) % 2 == 0 else "ArrowLeft")


def steps(page, slider, count: int, gap: float = 2.5) -> tuple[list[float], list[float]]:
    """Milliseconds from each of `count` key presses to the first repaint of a picture after it, and of an answer; each pressed `gap` s after the
    picture of the one before, so that a short gap meets what settles.
    """
    slider.focus()
    page.evaluate(WATCH, "keydown")
    drawn, told = [], []
    for _ in range(count):
        pressed(page)
        page.wait_for_function(ANSWERED, timeout=10_000)
        drawn.append(page.evaluate(ANSWERED))
        page.wait_for_timeout(1000 * gap)
        log = page.evaluate("window.curelabLog")
        told += [when - log["begun"][0] for when in log["said"] if when > log["begun"][0]][:1]
    page.wait_for_timeout(3000)  # all settled, before the next row
    return drawn, told


def held(page, slider, kernels, count: int = 24) -> dict[str, float]:
    """Processor time [ms] of one of many steps that follow each other, as those of a hand that does not rest: in the kernels, and in the page."""
    slider.focus()
    page.evaluate(WATCH, "keydown")
    watched = page.context.new_cdp_session(page)
    watched.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent() -> tuple[float, float]:
        metrics = {each["name"]: each["value"] for each in watched.send("Performance.getMetrics")["metrics"]}
        return sum(sum(each.cpu_times()[:2]) for each in kernels), metrics["TaskDuration"]

    before = spent()
    for _ in range(count):
        pressed(page)
        page.wait_for_function(ANSWERED, timeout=10_000)
    after = spent()
    page.wait_for_timeout(3000)
    return {name: round(1000 * (b - a) / count) for name, a, b in zip(("kernel", "page"), before, after, strict=True)}


def at(waited: list[float], share: float) -> int:
    return round(sorted(waited)[int(share * (len(waited) - 1))])


def summed_up(waited: list[float]) -> dict[str, int]:
    return {"median_ms": at(waited, 0.5), "p95_ms": at(waited, 0.95)}


def disturbed(page, slider, count: int = 20) -> list[dict[str, float]]:
    """A row for every gap: the median and the worst answer over those of a move that nothing disturbs (2.5 s after the one before)."""
    calm, _ = steps(page, slider, count)
    usual = statistics.median(calm)
    rows = [{"gap_s": 2.5, "median_ms": round(usual), "worst_ratio": round(max(calm) / usual, 2)}]
    for gap in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7):
        waited, _ = steps(page, slider, count, gap)
        over = {"median_ratio": statistics.median(waited) / usual, "worst_ratio": max(waited) / usual}
        rows.append({"gap_s": gap, **{name: round(value, 2) for name, value in over.items()}})
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


def shown(page) -> float:
    """When the first picture of a page stands there."""
    page.locator("[data-revision]:visible").first.wait_for(state="attached", timeout=60_000)
    return time.perf_counter()


def others(page, rest: float = 6.0) -> list[float]:
    """Seconds from a press on the link to another page until its first picture, one after the other, each read for so many s before."""
    names = page.locator(".cl-nav:visible a").all_inner_texts()
    waited = []
    for name in ("Soak", "To the plate", "The cut", "Compare", "My batch"):
        if name not in names or page.locator(".cl-nav:visible [aria-current]").inner_text() == name:
            continue
        page.wait_for_timeout(1000 * rest)
        begun = time.perf_counter()
        page.locator(".cl-nav:visible a", has_text=name).click()
        page.locator(".cl-nav:visible [aria-current]", has_text=name).wait_for(timeout=60_000)
        waited.append(shown(page) - begun)
    return waited


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
        with HELP["running_lab"](notebook, folder / "work") as (address, lab):
            up = time.perf_counter() - begun
            with HELP["running_browser"]() as browser, HELP["watched_page"](browser) as page:
                opened = time.perf_counter()
                page.goto(address)
                slider = page.get_by_role("slider", name=given.slider, exact=True)
                drawn = shown(page) - opened
                slider.wait_for()
                page.wait_for_timeout(1500)
                kernels = [
                    each
                    for each in psutil.Process(lab.pid).children(recursive=True)
                    if "ipykernel" in str(each.cmdline())
                ]
                drawings, answers = steps(page, slider, given.steps)
                figures = {
                    "address_after_s": round(up, 2),
                    "picture_after_opening_s": round(drawn, 2),
                    "start_to_picture_s": round(up + drawn, 2),
                    "picture": summed_up(drawings),
                    "answer": summed_up(answers) if answers else {},
                    "again_after_half_a_second": summed_up(steps(page, slider, given.steps, 0.5)[0]),
                    "processor_ms_of_a_step": held(page, slider, kernels),
                    "drag": drag(page, slider),
                    "moved_again": disturbed(page, slider) if given.again else [],
                }
                if given.screenshot:
                    page.screenshot(path=given.screenshot, full_page=True)
                figures |= {
                    "another_page_s": [round(each, 2) for each in others(page)],
                    "errors_on_the_page": page.problems,
                    "asked_of_other_machines": page.outside,
                }
    print(json.dumps(figures, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
