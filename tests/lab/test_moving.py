"""While a hand moves a slider the usual case stands alone, with no word of how sure it is; that follows when the hand rests."""

import asyncio
import re

import numpy as np
import pytest
from handful import handful

from curelab.lab import settling
from curelab.lab import state as pages
from curelab.lab.benches import BENCHES, bench
from curelab.lab.state import State
from curelab.show.answer import CHECKS_FOLLOW, FOLLOWS
from curelab.show.to_the_plate import SAFE_FOLLOWS
from curelab.spread import Spread

# Of each bench that hurries, a slider and a value that it moves to.
MOVED = [
    ("thick point", "temperature", 2.5),
    ("equilibrium or strong", "strength", 15.0),
    ("equilibrium or strong", "salt", 2.8),
    ("soak", "hours", 3.0),
    ("to the plate", "water", 9.0),
    ("compare", "days", 9.0),
    ("batch", "Piece 1: thick end: thickness", "7 cm"),
]
HOW_SURE = r"\(\d[^()]* to |\bof 10\b|simulated"  # a range, a share of the simulated batches, or their number


def opened_up(name, state):
    page = bench(name, state)
    for fold in page.folds:
        if not fold.opened:
            fold.press()
    return page


def said(page):
    return {name: say.text for name, say in page.says.items()}


def drawn(page):
    return {name: (picture.frame, picture.problem) for name, picture in page.pictures.items()}


def banded(page):
    """Names of the pictures with a band, or a hatch, of how sure they are."""
    lines = {
        name for name, each in page.pictures.items() if any(one.get("band") for one in each.meta.get("series", ()))
    }
    return lines | {
        name for name, each in page.pictures.items() if any(p["banded"] for p in each.meta.get("pieces", ()))
    }


async def moved(page, slider, value):
    page.controls[slider].value = value
    page.stop_settling()  # as it stands while the hand moves on
    return said(page), drawn(page), banded(page)


@pytest.mark.parametrize(("name", "slider", "value"), handful(MOVED, [each for each in MOVED if each[1] != "salt"]))
def test_a_hand_sees_the_usual_case_at_once_and_nothing_of_the_value_before(name, slider, value):
    page = opened_up(name, State(strict=True))
    before, shown, were = said(page), drawn(page), banded(page)
    assert re.search(HOW_SURE, " ".join(before.values()))
    moving, pictures, bands = asyncio.run(moved(page, slider, value))
    fresh = opened_up(name, State(page.state.batch, strict=True))
    fresh.state.own = page.state.own
    now, seen = said(fresh), drawn(fresh)
    assert now != before and any(FOLLOWS in text or SAFE_FOLLOWS in text for text in moving.values())
    if name == "batch":  # no weight stands alone while its batch may be NOT OK
        assert moving["verdicts"] == CHECKS_FOLLOW and moving["weigh"].endswith(CHECKS_FOLLOW)
        assert CHECKS_FOLLOW not in now["weigh"]
    for key, text in moving.items():
        assert text != before[key] or before[key] == now[key], f"{key} still says {text}"
        assert not re.search(HOW_SURE, text) or text == now[key], f"{key} says how sure it is: {text}"
    for key, (frame, problem) in pictures.items():
        assert problem == FOLLOWS or frame != shown[key][0] or shown[key] == seen[key], f"{key} is the old picture"
    live = {key for key, (_, problem) in pictures.items() if not problem}
    # What hangs on something else, such as the other brine, keeps its bands, for they are still true.
    assert not bands & live if name != "equilibrium or strong" else bands & live < were
    list(page.settle(pages.FEW))  # the hand rests: all is as on a page that was opened with this batch
    assert said(page) == now and banded(page) == banded(fresh) != set()
    for key, (frame, problem) in drawn(page).items():
        ours, theirs = (np.frombuffer(each, "<f4") for each in (frame, seen[key][0]))
        assert problem == seen[key][1] and np.allclose(ours, theirs, rtol=1e-4, equal_nan=True), key
    assert not any(FOLLOWS in text or SAFE_FOLLOWS in text for text in said(page).values())


def test_what_a_hand_sees_is_the_usual_case():
    page = bench("thick point", State(strict=True))
    asyncio.run(moved(page, "temperature", 2.5))
    stages = page.state.cure_lasting(90 * 86400.0)
    quick = page.state.spread(stages)
    whole = State(page.state.batch).spread(stages).usual  # on all its terms
    times = np.linspace(0.5, 90.0, 40) * 86400.0
    assert not quick.banded and page.state.bare
    for place, worst in (("average", 4e-4), ("core", 6e-3)):
        ours, theirs = (
            many.at(place, "salt", times, 0, "equilibrium").middle for many in (quick, Spread.single(whole))
        )
        assert ours == pytest.approx(theirs, abs=worst)  # what `simulate` says that few terms cost
    found = quick.ready(0, at_most=quick.usual.length)[0]
    days = f"day {found.pull[0] / 86400:.0f}"
    assert days in page.says["answer"].text or "no day is safe" in page.says["answer"].text


def test_ranges_come_by_themselves_and_what_was_stopped_before_leaves_no_promise(monkeypatch):
    monkeypatch.setattr(settling, "SOON", 0.01)
    page = bench("thick point", State(strict=True))

    async def rests():
        page.controls["temperature"].value = 2.5
        assert FOLLOWS in page.says["answer"].text
        while FOLLOWS in page.says["answer"].text:
            await asyncio.sleep(0.005)
        assert not page.state.bare and page._settling is not None  # and the others are on their way
        page.stop_settling()
        page.controls["temperature"].value = 1.5
        assert FOLLOWS in page.says["answer"].text
        page.stop.press()
        assert page.says["answer"].text == "" and page.says["trouble"].text == settling.STOPPED_RANGES
        assert page.pictures["section"].problem
        page.stop.press()  # which now says that it goes on
        while FOLLOWS in page.says["answer"].text or not page.says["answer"].text:
            await asyncio.sleep(0.005)
        assert not page.state.bare and page.says["trouble"].text == page.pictures["section"].problem == ""
        page.stop.press()  # a few draws are there: they stay
        assert page.says["answer"].text and page.running.text == settling.STOPPED_MORE
        assert page.stop.label == settling.GO_ON and page.at_work.layout.visibility == "visible"
        page.controls["temperature"].value = 3.5
        assert page.at_work.layout.visibility == "hidden"
        page.stop_settling()

    asyncio.run(asyncio.wait_for(rests(), 60))


@pytest.mark.parametrize("name", sorted({name for name, _, _ in MOVED}))
def test_a_page_is_opened_on_the_usual_case_and_computes_no_more_until_it_is_seen(name, monkeypatch):
    monkeypatch.setattr(settling, "SOON", 0.0)
    monkeypatch.setattr(settling, "REST", 0.0)
    drawn = []
    monkeypatch.setattr(BENCHES[name], "draw", lambda page, draw=BENCHES[name].draw: (drawn.append(1), draw(page)))

    async def opens():
        page = bench(name, State(strict=True))
        for _ in range(20):
            await asyncio.sleep(0.005)
        assert len(drawn) == 1 and not re.search(HOW_SURE, " ".join(said(page).values()))
        page.nav.seen += 1
        while not re.search(HOW_SURE, " ".join(said(page).values())):
            await asyncio.sleep(0.005)
        page.stop_settling()

    asyncio.run(asyncio.wait_for(opens(), 60))


def test_a_page_that_nobody_looks_at_settles_all_the_same(monkeypatch):
    monkeypatch.setattr(settling, "LOADING", 0.01)

    async def opens():
        page = bench("thick point", State(strict=True))
        while FOLLOWS in page.says["answer"].text:
            await asyncio.sleep(0.005)
        page.stop_settling()

    asyncio.run(asyncio.wait_for(opens(), 60))
