"""Work in a process of its own: what it gives, refuses and fails with comes back; to break it off ends it."""

import asyncio
import os
import time

import pytest
from started import started

from curelab import InputError
from curelab.batch import load
from curelab.fields import refuse
from curelab.lab import beside as besides
from curelab.lab.benches import bench
from curelab.lab.benches.soak import TRIED
from curelab.lab.beside import beside
from curelab.lab.state import State
from curelab.lab.workbench import CHANGED


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
        while not started("answer()"):
            await asyncio.sleep(0.01)
        work.cancel()
        while started("answer()"):
            await asyncio.sleep(0.01)

    asyncio.run(asyncio.wait_for(broken_off(), 30))


def test_a_paper_is_made_beside_the_page_and_a_second_press_stops_it(monkeypatch):
    page = bench("batch", State(strict=True))
    button, got = page.controls["label"], []
    monkeypatch.setattr(type(button), "hand_over", lambda self, file, made, *more, **kind: got.append((file, made)))

    async def pressed():
        words = button.label
        button.press()
        assert not got and button.label != words and "Stop" in button.label
        button.press()  # in the same turn of the loop: before the work has begun
        while button.label != words:
            await asyncio.sleep(0.01)
        assert not got and not started("answer()")
        button.press()
        while not got:
            await asyncio.sleep(0.01)
        assert got[0][0] == "label.html" and page.state.batch.name in got[0][1] and button.label == words

    asyncio.run(asyncio.wait_for(pressed(), 60))


def test_a_paper_of_a_batch_that_was_changed_meanwhile_is_left_out_and_a_newer_reason_stays(monkeypatch):
    page = bench("batch", State(strict=True))
    button, got, done, refused = page.controls["label"], [], [], []
    monkeypatch.setattr(type(button), "hand_over", lambda self, file, made, *more, **kind: got.append(made))

    async def made(work, name, batch, now):
        while not done:
            await asyncio.sleep(0)
        if refused:
            raise refuse("label", f"cannot be of {batch.name}")
        return batch.name

    monkeypatch.setattr(besides, "beside", made)

    async def pressed(meanwhile):
        words = button.label
        done.clear()
        button.press()
        await asyncio.sleep(0)
        meanwhile()
        done.append(True)
        while button.label != words:
            await asyncio.sleep(0)
        page.stop_settling()
        return page.says["trouble"].text

    def run(meanwhile=lambda: None):
        return asyncio.run(asyncio.wait_for(pressed(meanwhile), 60))

    def named(name):
        return lambda: page.state.edit(lambda batch: batch.but(name=name))

    assert run(named("second")) == CHANGED and not got
    assert run(lambda: page.refuse("a newer reason")) == "a newer reason" and got == ["second"]
    assert run() == "" and len(got) == 2  # the next press begins anew
    refused.append(True)
    assert "cannot be of second" in run()
    assert run(named("third")) == CHANGED and len(got) == 2


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
    assert page.says["trouble"].text == CHANGED
