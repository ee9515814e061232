"""Pages that follow each other in one browser: each shows the batch in hand, nobody is asked, a reload brings every page back."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

# Timers of a tenth of a second come six seconds late, as on a machine that is busy with something else.
BUSY = "const soon = window.setTimeout; window.setTimeout = (work, time, ...more) => soon(work, time === 100 ? 6000 : time, ...more);"

BUSY_KERNEL = "() => { window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.requestExecute({ code: 'import time; time.sleep(1.5)' }); }"

LISTEN = """() => {
  window.told = [];
  const heard = all => all.filter(one => one.target.classList?.contains('cl-nav-batch')).forEach(one => window.told.push(one.target.textContent));
  new MutationObserver(heard).observe(document.body, { childList: true, subtree: true });
}"""


@pytest.fixture
def at(kitchen):
    """The address of a page, by the name of its notebook."""
    return lambda name: kitchen[0].replace("start.ipynb", f"{name}.ipynb")


@pytest.fixture
def page(stage):
    with stage.watched_page(width=1280, height=800) as page:
        page.dialogs = []
        page.on("dialog", lambda dialog: (page.dialogs.append(dialog.type), dialog.accept()))
        yield page


def nav(page, here: str):
    """The line at the top of the page that is seen, once it is this one."""
    line = page.locator(".cl-nav:visible").filter(
        has=page.get_by_role("link", name=here, exact=True).and_(page.locator("[aria-current]"))
    )
    line.wait_for(timeout=60_000)
    return line


def in_hand(page, here: str, words: str) -> None:
    nav(page, here).locator(".cl-nav-batch").filter(has_text=words).wait_for(timeout=30_000)


def test_every_page_shows_the_batch_in_hand_and_nobody_is_asked(page, at):
    page.set_viewport_size({"width": 400, "height": 800})
    page.goto(at("thick_point"))
    in_hand(page, "The cut", "My first batch")
    page.locator("[data-revision='0']:visible").wait_for(state="detached")
    first = page.get_by_role("slider", name="Thickness of the thick end").bounding_box()
    assert first["y"] + first["height"] < 800  # answer, picture, dials: a hand on the first one sees what it does
    page.set_viewport_size({"width": 1280, "height": 800})
    nav(page, "The cut").get_by_role("link", name="My batch").click()
    nav(page, "My batch")
    page.get_by_label("Invented template").select_option(label="belly")
    page.get_by_role("button", name="Start a new batch from it").click()
    nav(page, "My batch").get_by_role("link", name="The cut").click()
    in_hand(page, "The cut", "saved as belly.toml")
    page.reload()
    in_hand(page, "The cut", "saved as belly.toml")
    page.get_by_role("slider", name="Days in the cure").focus()
    page.keyboard.press("ArrowRight")
    days = page.get_by_role("slider", name="Days in the cure").get_attribute("aria-valuetext")
    page.evaluate(BUSY_KERNEL)
    page.evaluate(LISTEN)
    nav(page, "The cut").get_by_role("link", name="My batch").click()  # at once: what was changed is written first
    in_hand(page, "My batch", "saved as belly.toml")
    assert "Saving…" in page.evaluate("window.told")  # while the kernel was busy
    nav(page, "My batch").get_by_role("link", name="The cut").click()
    in_hand(page, "The cut", "saved as belly.toml")
    assert page.get_by_role("slider", name="Days in the cure").get_attribute("aria-valuetext") == days

    nav(page, "The cut").get_by_role("link", name="Show the notebook").click()
    page.get_by_text("from curelab.lab import bench").first.wait_for(timeout=60_000)
    assert page.get_by_role("menubar").first.is_visible()
    nav(page, "The cut").get_by_role("link", name="Back to the page").click()
    page.wait_for_url("**/doc/tree/thick_point.ipynb*")
    in_hand(page, "The cut", "saved as belly.toml")
    assert not page.get_by_text("from curelab.lab import bench").first.is_visible()
    assert not page.get_by_role("menubar").first.is_visible()
    assert page.dialogs == [] and page.problems == []


def test_a_widget_that_comes_when_jupyterlab_gives_it_up_is_shown_all_the_same(page, at):
    page.add_init_script(BUSY)
    page.goto(at("soak"))
    nav(page, "Soak")
    assert any("widget model not found" in problem for problem in page.problems)  # it was given up
    assert not page.get_by_text("Error displaying widget").count()
