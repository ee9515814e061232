"""A lab started as a cook starts it, a browser to look at it, and a small notebook made of every widget.

Needs playwright (the Python package only; it drives the Chromium of the system). Without either the browser tests are skipped.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for what the tests of this folder share
from ending import end

from curelab.lab.hand import NOTE

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome") or shutil.which("chromium-browser")
FEW = "--IPKernelApp.exec_lines=import few_draws; few_draws.few()"  # said to every kernel of a lab that is tested
FLAGS = [
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# Invented numbers; no meat in here. Six lines of 200 points with bands, a map of 60 by 100, and 10 ms of "computing".
SYNTHETIC = """
import time
import numpy as np
from curelab.lab import DepthMap, Knob, Line, Pick, Picture, Press, Say, Switch, column, row

knob = Knob("Strength", 5, 0, 26, 0.5, unit="%", help="Invented, to try the widgets with.")
size = Knob("Thickness", 7, 1, 20, 0.5, unit="cm")
units = Pick("Units", [("metric", "metric"), ("US", "US")], radio=True)
shape = Pick("Shape", ["flat", "round", "uneven"])
bands = Switch("Show the bands", True)
fault = Switch("Let the model fail")
name = Line("Name of the batch", "Demo (invented)")
save = Press("Save this batch", main=True)
answer, note, told = Say(), Say("", "caution"), Say("", "note")
picture, chart = Picture(), DepthMap()
x, t, seen = np.linspace(0, 35, 200), np.linspace(0, 20, 100), []
colours = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#0072B2"]

def profile(day, depth):
    return knob.value * (1 - np.exp(-0.15 * day)) * np.exp(-depth / (4 + 3 * day))

def draw(change=None):
    seen.append(knob.value)
    stop = time.perf_counter() + 0.010
    while time.perf_counter() < stop:
        pass
    try:
        if fault.value:
            raise ValueError("the bath holds no water; give it some.")
        series = []
        for k, day in enumerate((1, 2, 4, 7, 12, 20)):
            y = profile(day, x)
            band = dict(low=0.85 * y, high=1.15 * y) if bands.value else {}
            series.append(dict(x=x, y=y, label=f"day {day}", colour=colours[k], **band))
        picture.show(series, "depth, mm", "salt, %", marks=[dict(axis="y", at=3.0, label="as salty as the recipe wants"),
                     dict(axis="x", at=28, label="core")])
        depth = np.linspace(0, 35, 60)
        chart.show(t, depth, profile(t[None, :], depth[:, None]), "days", "depth, mm", "salt, %",
                   line=(t, np.clip(4 + 1.6 * t, 0, 35)), line_label="90 % there", y_down=True)
        answer.tell(f"The middle reaches **{profile(20, 35):.1f} %** after 20 days.")
        note.tell("An invented curve: it shows the widgets, not meat.", "caution")
    except ValueError as error:
        picture.fail(f"This could not be computed: {error}")
        chart.fail(f"This could not be computed: {error}")
        answer.tell("", "answer")
        note.tell(str(error), "alert")

def convert(change):
    if units.value == "US":
        size.refit(unit="in", min=0.5, max=8, step=0.25, value=size.value / 2.54)
    else:
        size.refit(unit="cm", min=1, max=20, step=0.5, value=size.value * 2.54)

sizes = []
def tell(change):
    sizes.append(f"{change['new']:.6g} {size.unit}")
    told.text = "told: " + ", ".join(sizes)

size.observe(tell, "value")
units.observe(convert, "value")
for control in (knob, bands, fault):
    control.observe(draw, "value")
save.on_press(lambda button: button.hand_over("batch.toml", f"name = '{name.value}'"))
picture.follow(knob)
draw()
"""
SHOWN = "row(column(knob, size, units, shape, bands, fault, name, save), column(answer, note, picture, chart, told), share=(1, 2.2))"


def write_notebook(path: Path, *sources: str) -> Path:
    """A notebook of these cells: markdown where a source begins with #+space, folded code otherwise."""
    import nbformat.v4 as v4

    cells = [
        v4.new_markdown_cell(source)
        if source.startswith("# ")
        else v4.new_code_cell(
            source, metadata={"jupyter": {"source_hidden": True}, "editable": False, "deletable": False}
        )
        for source in (textwrap.dedent(source).strip() for source in sources)
    ]
    import nbformat

    notebook = v4.new_notebook(cells=cells)
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, path)
    return path


def write_synthetic(folder: Path) -> Path:
    """start.ipynb and second.ipynb in `folder`, each with a link to the other, and a figure of somebody's own."""
    own = "import plotly.graph_objects as own\nown.Figure(own.Bar(x=[1, 2], y=[2, 5]))"
    write_notebook(folder / "figure.ipynb", "# A figure", own)
    write_notebook(
        folder / "second.ipynb",
        "# Second page\n\nBack to [the start](start.ipynb), on to [a figure](figure.ipynb).",
        SYNTHETIC + SHOWN,
    )
    return write_notebook(
        folder / "start.ipynb", "# Widgets\n\nSee [the second page](second.ipynb).", SYNTHETIC + SHOWN
    )


@contextlib.contextmanager
def running_lab(
    notebook: Path | str | None, folder: Path, inside: str = "", few: bool = False
) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """(address, process) of a lab started by the launcher in a process of its own. few: with few draws behind its pages."""
    what = None if notebook is None else str(notebook)
    call = f"launch({what!r}, folder={str(folder)!r}, browser=False, inside={inside!r})"
    code = (
        f"import sys; from curelab.lab import launcher; launcher._KERNEL += {(FEW,) * few}; sys.exit(launcher.{call})"
    )
    path = os.pathsep.join(filter(None, [str(Path(__file__).parents[1] / "few"), os.environ.get("PYTHONPATH")]))
    own = dict(os.environ, PYTHONUNBUFFERED="1", PYTHONPATH=path)
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=own
    )
    guard = threading.Timer(90, process.kill)  # so that a lab that never comes up fails the test instead of holding it
    guard.start()
    said: list[str] = []
    try:
        assert process.stdout is not None
        for line in process.stdout:
            said.append(line)
            if "curelab: open " in line:
                break
        else:
            raise AssertionError(f"the lab did not start: {''.join(said)}")
        guard.cancel()
        yield said[-1].split("open ", 1)[1].strip(), process
    finally:
        guard.cancel()
        end(process, signal.SIGINT)
        process.stdout.close()


def end_kernels(address: str) -> None:
    """End what the pages of a lab that were left keep running, as closing them by hand would."""

    def asked(method: str, path: str) -> bytes:
        begin, _, rest = address.partition("/doc/tree/")
        token = rest.partition("?token=")[2]
        request = urllib.request.Request(
            f"{begin}/api/{path}", method=method, headers={"Authorization": f"token {token}"}
        )
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.read()

    for session in json.loads(asked("GET", "sessions")):
        with contextlib.suppress(urllib.error.HTTPError):  # one that died may be gone by itself
            asked("DELETE", f"sessions/{session['id']}")


@contextlib.contextmanager
def running_browser(profile: Path | None = None) -> Iterator[Any]:
    """A Chromium without a window; only one process of ours can drive it at a time. profile: a folder in which a second one keeps, from page to
    page, what it compiled of JupyterLab, which is a third of the work of a page.
    """
    from playwright.sync_api import sync_playwright

    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS + root)
        browser.kept = profile and play.chromium.launch_persistent_context(
            profile, executable_path=CHROMIUM, args=FLAGS + root
        )
        yield browser
        if browser.kept:
            browser.kept.close()
        browser.close()


@contextlib.contextmanager
def watched_page(browser: Any, width: int = 1280, height: int = 1000, **more: Any) -> Iterator[Any]:
    """A page with a memory of its own that notes errors in `problems` and requests to other machines in `outside`."""
    if browser.kept and not more:
        page = browser.kept.new_page()
        page.set_viewport_size({"width": width, "height": height})
    else:
        page = browser.new_page(viewport={"width": width, "height": height}, **more)
    page.problems, page.outside = [], []
    page.on("pageerror", lambda error: page.problems.append(str(error)))
    page.on("console", lambda message: message.type == "error" and page.problems.append(message.text))
    page.on(
        "request",
        lambda request: (
            request.url.startswith("http") and "//127.0.0.1:" not in request.url and page.outside.append(request.url)
        ),
    )
    yield page
    if page.context is browser.kept and page.url.startswith("http"):
        forget(page)
    page.close()


def forget(page: Any) -> None:
    """Nothing that a page kept is met by the next one; what was compiled stays."""
    session = page.context.new_cdp_session(page)
    origin = "/".join(page.url.split("/")[:3])
    session.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "cookies,indexeddb,local_storage"})


def faults_for_those_who_cannot_see(page: Any) -> list[str]:
    """What axe-core calls serious or critical on a page, one line each. The checker is bundled with its Python package; nothing is fetched."""
    import axe_playwright_python

    script = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text(encoding="utf-8")
    page.evaluate(f"() => {{ {script} }}")
    found = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    return [
        f"{fault['id']}: {fault['help']}: {node['target']} {node['html'][:120]}"
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]


@pytest.fixture(scope="session")
def start_lab() -> Any:
    """`running_lab`, for a test that brings its own browser."""
    return partial(running_lab, few=True)


@pytest.fixture(scope="session")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The helpers of this file, for tests that need a lab or a page of their own."""
    if os.environ.get("CURELAB_BROWSER") != "required":
        pytest.importorskip("playwright.sync_api")
    if not CHROMIUM and os.environ.get("CURELAB_BROWSER") != "required":
        pytest.skip("no Chromium on this machine")
    with running_browser(tmp_path_factory.mktemp("profile")) as browser:
        yield SimpleNamespace(
            running_lab=partial(running_lab, few=True),
            watched_page=partial(watched_page, browser),
            write_notebook=write_notebook,
            browser=browser,
            faults=faults_for_those_who_cannot_see,
        )


@pytest.fixture(scope="session")
def lab(stage: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a running lab with the synthetic notebooks."""
    notebook = write_synthetic(tmp_path_factory.mktemp("notebooks"))
    with running_lab(notebook, tmp_path_factory.mktemp("folder"), few=True) as (address, _):
        yield address


@pytest.fixture(scope="session")
def shipped(stage: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path, subprocess.Popen[str]]]:
    """(address of the first page, folder, process) of a lab with the notebooks that are shipped."""
    folder = tmp_path_factory.mktemp("kitchen")
    with running_lab(None, folder, few=True) as (address, process):
        yield address, folder, process


@pytest.fixture
def kitchen(shipped: Any) -> Iterator[tuple[str, Path, subprocess.Popen[str]]]:
    """The same, without the batches that other tests saved there, and in the end without what runs."""
    address, folder, _ = shipped
    for file in (*folder.glob("*.toml"), folder / NOTE):
        file.unlink(missing_ok=True)
    yield shipped
    end_kernels(address)


@pytest.fixture(autouse=True)
def quick_pages(few_draws):
    """What is worked out beside a page has as few draws behind it as the page."""
