"""A shape that nobody has computed yet: the page stays in use, says so, can be stopped, and shows no number that is not its own."""

import asyncio
import time

import numpy as np
import pytest
from started import started

from curelab.bodies.kept import NotKept, get, known_only
from curelab.bodies.solid import _basis, solid
from curelab.compose import change_station, template
from curelab.lab import new_shape, settling
from curelab.lab.benches import bench
from curelab.lab.new_shape import NEW_SHAPE, SCALED, STOPPED_SHAPE, WORKING_SHAPE
from curelab.lab.state import State

LONGEST = 120.0  # s, on a machine with much else to do
STATIONS = [
    {"at": "0 cm", "thickness": "2 cm", "width": "6 cm"},
    {"at": "8 cm", "thickness": "3 cm", "width": "6 cm"},
]


def small_cut():
    bag = template("sealed dry cure")
    piece = bag.pieces[0].but(
        name="small", shape="cut", thickness=None, stations=STATIONS, weight="125 g", tissue="lean beef"
    )
    return bag.but(pieces=[piece], stages=[bag.stages[0].but(lasts="3 d")])


@pytest.fixture
def nothing_kept(tmp_path, monkeypatch):
    monkeypatch.setenv("CURELAB_CACHE", str(tmp_path))
    solid.cache_clear()
    _basis.cache_clear()
    yield tmp_path
    solid.cache_clear()
    _basis.cache_clear()


async def until(true, what):
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < LONGEST, what
        await asyncio.sleep(0.02)


def thicker_meanwhile(page):
    """Another shape: the old one is drawn at once, as thick as the new one is on average, and marked; no answer, nothing to take hold of."""
    picture = page.pictures["section"]
    before = picture.meta["pieces"][0], tall(picture)
    page.says["rests"].text = "of the old shape"
    page.state.edit(lambda batch: change_station(batch, 0, 1, thickness="4 cm"))
    assert (
        picture.caption == SCALED and page.says["answer"].text == page.says["trouble"].text == ""
    )  # said once, and no fault
    after = picture.meta["pieces"][0]
    assert picture.problem == "" and len(before[0]["stations"]) == 2 and after["stations"] == [] and after["along"] == 0
    assert tall(picture) == pytest.approx(before[1] * (2 + 4) / (2 + 3), rel=1e-5)
    assert page.state.batch.pieces[0].stations[1].thickness == 0.04
    # No place is said to be cured, or the slowest; no course over the days, no band: the colours alone are those of the old shape.
    assert unsaid(picture) == 2 * 3 * picture.meta["frames"] and not picture.meta["spot"]
    assert after["banded"] == [] and picture.meta["sketch"] == SCALED
    assert page.says["rests"].text == ""
    page.state.undo()
    assert (
        page.says["answer"].text
        and unsaid(picture) == 0
        and not picture.meta["sketch"]
        and picture.caption.startswith(page.state.batch.name)
    )
    page.stop_settling()


def unsaid(picture):
    """How many numbers of the picture are none: times at which no level says what is cured, or protected."""
    return int(np.isnan(np.frombuffer(picture.frame, "<f4")).sum())


def tall(picture):
    """cm from the lowest to the highest node of the first piece."""
    numbers, piece = np.frombuffer(picture.frame, "<f4"), picture.meta["pieces"][0]
    nodes = piece["rows"] * piece["columns"]
    return np.ptp(numbers[picture.meta["frames"] + nodes :][:nodes])


def test_a_new_shape_is_made_beside_the_page_and_the_work_can_be_stopped(nothing_kept):
    batch = small_cut()

    async def page_in_a_kernel():
        page = bench("thick point", State(batch, strict=True))
        assert page.says["trouble"].text == page.says["answer"].text == ""
        assert (
            page.pictures["section"].problem == NEW_SHAPE and page.pictures["section"].waits
        )  # said once, and no fault
        await until(lambda: len(started("# keep_terms")) == 1, "a process makes the terms")
        assert page.running.text == WORKING_SHAPE and page.at_work.layout.visibility == "visible"
        page.stop.press()
        await until(lambda: not started("# keep_terms"), "the process ends")
        assert page.says["trouble"].text == STOPPED_SHAPE and page.says["answer"].text == ""
        assert page.stop.label == settling.GO_ON and page.at_work.layout.visibility == "visible"
        assert not list(nothing_kept.glob("*.npz"))
        page.stop.press()
        await until(lambda: page.says["answer"].text and not page.state.bare, "the answer, and how sure it is")
        assert page.says["trouble"].text == page.pictures["section"].problem == ""
        assert page.stop.label == settling.STOP or page.at_work.layout.visibility == "hidden"
        answer = page.says["answer"].text
        thicker_meanwhile(page)
        return answer

    answer = asyncio.run(page_in_a_kernel())
    assert answer == bench("thick point", State(batch, strict=True)).says["answer"].text


def test_a_shape_that_is_too_large_is_said_to_be(nothing_kept, monkeypatch):
    async def here(work, *given):
        return work(*given)

    monkeypatch.setattr(new_shape, "beside", here)
    monkeypatch.setitem(_basis.__wrapped__.__globals__, "MOST_BYTES", 1)

    async def page_in_a_kernel():
        page = bench("thick point", State(small_cut(), strict=True))
        await until(lambda: "keep fewer stations" in page.says["trouble"].text, "the reason")
        assert page.at_work.layout.visibility == "hidden" and page.says["answer"].text == ""

    asyncio.run(asyncio.wait_for(page_in_a_kernel(), 20))


def test_where_nothing_can_be_kept_terms_are_made_where_they_are_asked_for(nothing_kept, monkeypatch):
    def make():
        raise LookupError("made")

    with pytest.raises(NotKept) as missing, known_only():
        get(("a shape",), make)
    assert missing.value.key == ("a shape",)
    with pytest.raises(LookupError):
        get(("a shape",), make)
    monkeypatch.setenv("CURELAB_CACHE", "off")
    with pytest.raises(LookupError), known_only():
        get(("a shape",), make)
