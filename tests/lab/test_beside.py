"""Work in a process of its own: what it gives, refuses and fails with comes back; to break it off ends it."""

import asyncio
import contextlib
import os
import time

import psutil
import pytest

from curelab import InputError
from curelab.batch import load
from curelab.lab.benches import bench
from curelab.lab.benches.soak import TRIED
from curelab.lab.beside import beside
from curelab.lab.state import State


def ours():
    found = []
    for child in psutil.Process().children():
        with contextlib.suppress(psutil.Error):  # one that ends just now
            found += [child] if "answer()" in " ".join(child.cmdline()) else []
    return found


def test_what_it_gives_refuses_or_fails_with_comes_back():
    assert asyncio.run(beside(os.path.join, "a", "b")) == os.path.join("a", "b")
    with pytest.raises(InputError) as here:
        load("nowhere.toml")
    with pytest.raises(InputError) as there:
        asyncio.run(beside(load, "nowhere.toml"))
    assert there.value.problems == here.value.problems
    with pytest.raises(RuntimeError, match="integer division"):
        asyncio.run(beside(divmod, 1, 0))


def test_to_break_it_off_ends_it():
    async def broken_off():
        work = asyncio.get_running_loop().create_task(beside(time.sleep, 60))
        while not ours():
            await asyncio.sleep(0.01)
        work.cancel()
        while ours():
            await asyncio.sleep(0.01)

    asyncio.run(asyncio.wait_for(broken_off(), 30))


def test_a_paper_is_made_beside_the_page_and_a_second_press_stops_it(monkeypatch):
    page = bench("batch", State(strict=True))
    button, got = page.controls["label"], []
    monkeypatch.setattr(type(button), "hand_over", lambda self, file, made, *more, **kind: got.append((file, made)))

    async def pressed():
        words = button.label
        button.press()
        assert not got
        await asyncio.sleep(0)
        assert button.label != words and "Stop" in button.label
        button.press()
        while button.label != words:
            await asyncio.sleep(0.01)
        assert not got and not ours()
        button.press()
        while not got:
            await asyncio.sleep(0.01)
        assert got[0][0] == "label.html" and page.state.batch.name in got[0][1] and button.label == words

    asyncio.run(asyncio.wait_for(pressed(), 60))


def test_an_answer_to_what_was_changed_meanwhile_is_left_out():
    page = bench("soak", State(strict=True))
    button = page.controls["ask"]

    async def asked(meanwhile):
        words = button.label
        button.press()
        await asyncio.sleep(0)
        meanwhile()
        while button.label != words:
            await asyncio.sleep(0.01)
        page.stop_settling()
        return page.says["needed"].text

    told = asyncio.run(asyncio.wait_for(asked(lambda: None), 60))
    assert told and told == (button.press(), page.says["needed"].text)[1]
    assert asyncio.run(asyncio.wait_for(asked(lambda: page.state.set_own(target=0.03)), 60)) == TRIED
