"""One journey in a second browser, where Debian's Firefox is there: the page is live, a slider moves the picture, numbers agree."""

from __future__ import annotations

import os

import pytest
from firefox import FIREFOX, running_firefox

from curelab.lab.benches.plate import PlateBench
from curelab.lab.state import State

pytestmark = [
    pytest.mark.browser,
    pytest.mark.repeats,
]  # the journey of tests/browser/test_benches.py, in another browser
DRAWN = "[...document.querySelectorAll('[data-revision]')].filter(each => each.clientWidth).every(each => +each.dataset.revision > 0) && document.querySelector('[data-revision]')"

SLIDERS = "[...document.querySelectorAll('input[type=range]')]"


@pytest.mark.skipif(
    FIREFOX is None and os.environ.get("CURELAB_FIREFOX") != "required", reason="no Firefox on this machine"
)
def test_to_the_plate_in_firefox(start_lab, tmp_path):
    state = State()
    bench = PlateBench(state)
    bench.controls["middle"].value -= 1
    with start_lab("plate.ipynb", tmp_path) as (address, _), running_firefox() as page:
        page.open(address)
        page.wait(DRAWN)
        assert page.ask("document.querySelector('.cl-cut canvas').width") > 100
        page.ask(f"{SLIDERS}.find(each => (each.labels[0]?.textContent ?? '') === 'Middle to reach').focus()")
        page.press("ArrowLeft")
        words = bench.says["answer"].text
        page.wait(f"document.body.innerText.includes({words!r})")
        day = "document.querySelector('.cl-cut input[type=range]')"
        before = page.ask(f"{day}.getAttribute('aria-valuetext')")
        page.ask(f"{day}.focus()")
        page.press("ArrowRight")
        assert page.ask(f"{day}.getAttribute('aria-valuetext')") != before
        assert page.problems == [] and page.outside == []
