"""The page to carry, opened from a file as a phone opens it: by hand, by key, in the dark, printed, closed and opened again."""

from __future__ import annotations

import re
from itertools import product
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from handful import handful

from curelab.__main__ import main
from curelab.batch import dumps, load
from curelab.paper.kitchen_page import page_html
from curelab.paper.schedule import schedule
from curelab.paper.sheet import sheet
from curelab.sources import datasets_folder

HOSTILE = "<img src=x onerror='window.struck=1'>\"'</script>{{7*7}}"
LARGE = "document.documentElement.style.fontSize = '212.5%'"  # twice what the style sheet asks for


@pytest.fixture(scope="module")
def carried(tmp_path_factory):
    """A page of the demo brisket with names that would do harm if they could, in a kitchen with a time zone."""
    base = load(datasets_folder() / "demo_brisket.toml")
    first, *others = base.pieces
    batch = base.but(
        name=HOSTILE, id="a|b \\ <i>", pieces=(first.but(name=HOSTILE), *others), plan={"zone": "Europe/Berlin"}
    )
    folder = tmp_path_factory.mktemp("page")
    found = schedule(batch)
    (folder / "page.html").write_text(page_html(found), encoding="utf-8")
    (folder / "batch.toml").write_text(dumps(batch), encoding="utf-8")
    return SimpleNamespace(
        address=(folder / "page.html").as_uri(), file=folder / "batch.toml", found=found, sheet=sheet(found)
    )


@pytest.fixture
def phone(stage, carried):
    """A browser with a memory of its own; `open()` opens the page in it and notes what goes wrong."""
    context = stage.browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    problems: list[str] = []

    def opened(**more: Any) -> Any:
        page = context.new_page()
        page.on("pageerror", lambda error: problems.append(str(error)))
        page.on("console", lambda message: message.type in ("error", "warning") and problems.append(message.text))
        page.on(
            "request",
            lambda request: (
                request.url != carried.address and not request.url.startswith("data:") and problems.append(request.url)
            ),
        )
        page.on("dialog", lambda dialog: (problems.append(dialog.message), dialog.dismiss()))
        page.goto(carried.address)
        return page

    yield SimpleNamespace(open=opened, context=context, problems=problems)
    context.close()
    assert problems == []


def lines(page: Any) -> list[str]:
    """The lines to be sent, without the one that says how many they are."""
    found = page.locator("[data-lines]").input_value().splitlines()
    assert not found or found[-1] == f"curelab1 end {len(found) - 1}"
    return found[:-1]


def typed(page: Any, label: str) -> Any:
    return page.locator("[data-form]").get_by_label(label)


def test_what_is_ticked_and_written_is_kept_and_comes_back_once(phone, carried, capsys):
    page = phone.open()
    assert page.locator("[data-kept]").inner_text() == "Nothing is ticked or written down yet."
    assert page.locator("[data-next]").inner_text().endswith("Into the brine")
    # By keyboard alone.
    page.get_by_role("checkbox", name=re.compile(r"^5 kg")).focus()
    page.keyboard.press("Space")
    page.get_by_role("checkbox", name=re.compile(r"^Turn over Wed 4 Mar")).focus()
    page.keyboard.press("Space")
    typed(page, "What").select_option("weight")
    typed(page, "Reading").fill("2,31")
    typed(page, "Unit").select_option("kg")
    typed(page, "Piece").select_option(HOSTILE)
    typed(page, "Note").fill(r"floats | a \ bit")
    typed(page, "When").fill("2026-03-05T10:30")
    page.keyboard.press("Enter")
    before = lines(page)
    assert len(before) == 3 and page.locator("[data-entries] li").count() == 3
    page.close()
    page = phone.open()
    assert lines(page) == before
    assert page.get_by_role("checkbox", name=re.compile(r"^Turn over Wed 4 Mar")).is_checked()
    assert page.evaluate("window.struck") is None
    said = carried.file.parent / "lines.txt"
    said.write_text(page.locator("[data-lines]").input_value(), encoding="utf-8")
    known = len(load(carried.file).log)
    for wrote in ("Wrote 3 readings", "Nothing to write. 3 are there already"):
        assert main(["log", str(carried.file), "--paste", str(said), "--yes"]) == 0
        assert wrote in capsys.readouterr().out
    added = load(carried.file).log[known:]
    weight = next(each for each in added if each.what == "weight")
    assert (weight.number, weight.piece, weight.note) == (pytest.approx(2.31), HOSTILE, r"floats | a \ bit")
    assert weight.at == pytest.approx(3 * 86400 + 1.5 * 3600, rel=1e-12)
    assert {each.what for each in added} == {"note", "turned", "weight"}
    page.get_by_role("checkbox", name=re.compile(r"^5 kg")).uncheck()
    delete = page.get_by_role("button", name=re.compile("^Delete entry: Thu 5 Mar 10:30: weight"))
    delete.click()
    assert (
        len(lines(page)) == 1
        and "Taken out: Thu 5 Mar 10:30: weight, 2.31 kg" in page.locator("[data-gone]").inner_text()
    )
    page.get_by_role("button", name="Put it back").click()
    assert (
        lines(page) == [each for each in before if "weighed" not in each]
        and page.locator("[data-gone]").inner_text() == ""
    )
    delete.click()
    page.get_by_role("checkbox", name=re.compile(r"^5 kg")).check()
    assert len(lines(page)) == 2 and page.locator("[data-gone]").inner_text() == ""


def test_what_cannot_be_a_reading_is_told_beside_the_field(phone):
    page = phone.open()
    press = page.get_by_role("button", name="Write it down")
    for what, value, when, told in (
        ("weight", "heavy", "", "is not a number"),
        ("brine strength", "41", "", "more than can be (26"),
        ("salometer", "140", "", "more than can be (100)"),
        ("temperature", "3", "2026-02-01T10:00", "before the start"),
        ("note", None, "", "The note is empty"),
    ):
        typed(page, "What").select_option(what)
        if value is not None:
            typed(page, "Reading").fill(value)
        typed(page, "When").fill(when)
        press.click()
        assert told in page.locator("[data-wrong]").inner_text()
        assert page.locator("[aria-invalid=true]").count() == 1
    assert lines(page) == []
    typed(page, "What").select_option("taste")
    typed(page, "When").fill("")
    typed(page, "Taste").select_option("too salty")
    press.click()
    assert "| taste | too salty |" in lines(page)[0] and page.locator("[data-wrong]").inner_text() == ""


REFUSED = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } })"
FULL = "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }"


@pytest.mark.parametrize(("broken", "told"), [(REFUSED, "keeps nothing for this page"), (FULL, "no room for it")])
def test_a_memory_that_is_refused_or_full_loses_nothing_that_is_on_the_page(phone, broken, told):
    phone.context.add_init_script(broken)
    page = phone.open()
    boxes = page.locator("[data-tick]")
    boxes.nth(0).check()
    boxes.nth(1).check()
    assert len(lines(page)) == 2 and boxes.nth(0).is_checked()
    assert re.search(f"{told}|no room for it", page.locator("[data-trouble]").inner_text())
    assert page.locator("[data-kept]").inner_text() == "Not kept on this phone."


def test_what_another_version_kept_stays_and_is_told(phone, carried):
    page = phone.open()
    page.locator("[data-tick]").nth(0).check()
    (key,) = page.evaluate("Object.keys(localStorage)")
    other = f"{key[:-8]}00000000"
    page.evaluate("([from, to]) => localStorage.setItem(to, localStorage.getItem(from))", [key, other])
    page.evaluate('key => localStorage.setItem(key, \'{"stored": 9, "entries": [\')', key)
    page.reload()
    assert "cannot be read. It was left as it is" in page.locator("[data-trouble]").inner_text()
    assert "made for another plan" in page.locator("[data-older]").inner_text()
    assert '"stored": 9' in page.locator("[data-older] code").inner_text()
    assert not page.locator("[data-tick]").nth(0).is_checked() and len(lines(page)) == 1
    page.locator("[data-tick]").nth(1).check()
    page.reload()
    assert page.locator("[data-tick]").nth(1).is_checked() and len(lines(page)) == 2
    assert page.evaluate("key => localStorage.getItem(key)", key) == '{"stored": 9, "entries": ['


def test_two_tabs_take_nothing_from_each_other(phone):
    one, other = phone.open(), phone.open()
    one.locator("[data-tick]").nth(0).check()
    other.locator("[data-tick]").nth(1).check()
    one.locator("[data-tick]").nth(2).check()
    assert len(lines(one)) == 3
    other.wait_for_function("document.querySelector('[data-lines]').value.split('\\n').length === 4")
    # Written by another tab whose word has not come yet: what is kept is read anew before it is written.
    one.evaluate(
        """() => { const key = Object.keys(localStorage)[0], kept = JSON.parse(localStorage.getItem(key));
             kept.entries.push({ ...kept.entries[0], id: 'late', tick: 'row-0' }); localStorage.setItem(key, JSON.stringify(kept)); }"""
    )
    one.locator("[data-tick]").nth(3).check()
    assert len(lines(one)) == 5


@pytest.mark.parametrize(
    ("width", "scheme"), handful(product((360, 1280), ("light", "dark")), [(360, "dark"), (1280, "light")])
)
def test_it_fits_and_can_be_read(stage, carried, width, scheme):
    with stage.watched_page(width=width, height=800, color_scheme=scheme) as page:
        page.goto(carried.address)
        for letters in ("", LARGE):
            page.evaluate(letters or "0")
            page.wait_for_timeout(150)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            cut = page.evaluate(
                """[...document.querySelectorAll('main *')].filter(e => e.childElementCount === 0 && e.textContent.trim() && !e.closest('.cl-live, svg, select'))
                   .filter(e => { const r = e.getBoundingClientRect(); return r.width && (r.right > innerWidth + 1 || r.left < -1); }).map(e => e.textContent)"""
            )
            assert cut == []
            broken = page.evaluate(
                """[...document.querySelectorAll('.large')].filter(e => { const range = document.createRange(), text = e.firstChild;
                     return text.data.split(' ').some((word, k, all) => { const from = all.slice(0, k).join(' ').length + (k ? 1 : 0);
                       range.setStart(text, from); range.setEnd(text, from + word.length); return range.getClientRects().length > 1; }); }).map(e => e.textContent)"""
            )
            assert broken == []  # a weight is never broken within its number
        small = page.evaluate(
            """[...document.querySelectorAll('button:not(.cl-cut-keys), nav a, summary, label.tick, select, form input, .cl-cut-choice label')]
               .filter(e => e.getClientRects().length).map(e => [e.outerHTML.slice(0, 60), e.getBoundingClientRect().height]).filter(([, high]) => high < 44)"""
        )
        assert small == []  # WCAG 2.2, success criterion 2.5.5: 44 CSS pixels, for wet hands
        pairs = page.evaluate(
            """['.large', 'small', '.when', '.next p', '.answer p', 'h2', 'nav a', 'footer'].map(q => { let e = document.querySelector(q), back = e;
                 while (getComputedStyle(back).backgroundColor === 'rgba(0, 0, 0, 0)') back = back.parentElement;
                 return [q, getComputedStyle(e).color, getComputedStyle(back).backgroundColor]; })"""
        )
        for what, ink, ground in pairs:
            a, b = sorted((luminance(ink), luminance(ground)))
            assert (b + 0.05) / (a + 0.05) >= 4.5, what  # WCAG 2.2, 1.4.3
        assert (luminance(page.evaluate("getComputedStyle(document.documentElement).backgroundColor")) < 0.2) == (
            scheme == "dark"
        )
        assert page.problems == []


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def test_a_screen_reader_hears_names_and_the_picture_follows_the_day(phone, carried):
    page = phone.open()
    nameless = page.evaluate(
        """[...document.querySelectorAll('input, select, textarea, button')].filter(e => e.getClientRects().length && !e.labels?.length && !e.getAttribute('aria-label')
             && !e.getAttribute('aria-labelledby') && !e.textContent.trim()).map(e => e.outerHTML)"""
    )
    assert nameless == []
    for role, name in (
        ("heading", "What to do, and when"),
        ("slider", "Day"),
        ("navigation", "On this page"),
        ("region", "Next"),
    ):
        assert page.get_by_role(role, name=name, exact=True).count() == 1, (role, name)
    told, planned = page.locator(".cl-cut-told"), carried.found.told
    slider = page.get_by_role("slider", name="Day", exact=True)
    slider.focus()
    page.keyboard.press("End")
    page.wait_for_function("document.querySelector('.cl-cut-told').textContent.includes('soak')")
    flat = planned.band("average", "salt", 2, "flat")[0]
    assert f"average {100 * flat:.2f}" in told.inner_text().split("Flat")[1]
    before = told.inner_text()
    for _ in range(3):
        page.keyboard.press("PageDown")
    assert told.inner_text() != before and slider.get_attribute("aria-valuetext") == told.inner_text()


def test_a_name_can_do_nothing_and_no_other_script_runs(phone, carried):
    page = phone.open()
    assert page.locator("h1").inner_text() == HOSTILE
    assert page.evaluate("[window.struck ?? 0, document.images.length, document.scripts.length]") == [0, 0, 2]
    page.evaluate(
        "() => { const made = document.createElement('script'); made.textContent = 'window.struck = 2'; document.body.append(made); }"
    )
    assert page.evaluate("window.struck ?? 0") == 0
    assert [each for each in phone.problems if "Content Security Policy" in each or "violates" in each]
    phone.problems.clear()


def test_it_prints_all_that_a_kitchen_needs(phone, carried):
    page = phone.open()
    page.locator("[data-tick]").nth(0).check()
    page.emulate_media(media="print", color_scheme="dark")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    seen = " ".join(page.locator("body").inner_text().split())
    for words in (
        *carried.sheet.answer,
        *carried.sheet.cautions,
        *carried.sheet.rests_on,
        carried.sheet.rows[-1].title,
    ):
        assert " ".join(words.split()) in seen
    assert not page.locator("[data-form]").is_visible() and not page.locator("nav").is_visible()
    assert luminance(page.evaluate("getComputedStyle(document.documentElement).backgroundColor")) > 0.9
