"""What is asked of a kernel that starts, and when it counts as started. (Pages that are run: the browser tests.)"""

import asyncio
from queue import Empty
from types import SimpleNamespace

import pytest

from curelab.lab import live


def kernel(says_after: float, dies_after: float = float("inf")):
    """(channels, manager, log) of a kernel that says something after so many questions, or dies."""
    asked: list[str] = []

    async def heard(timeout):
        if len(asked) < says_after:
            raise Empty
        return {"msg_type": "status"}

    async def alive():
        return len(asked) < dies_after

    channels = SimpleNamespace(
        kernel_info=lambda: asked.append("kernel_info"), iopub_channel=SimpleNamespace(get_msg=heard)
    )
    return channels, SimpleNamespace(is_alive=alive), asked


@pytest.mark.parametrize("after", [1, 5])
def test_a_kernel_is_ready_as_soon_as_it_is_heard(after):
    channels, manager, asked = kernel(after)
    asyncio.run(live._heard(channels, manager))
    assert len(asked) == after


@pytest.mark.parametrize(("dies", "why"), [(3, "died"), (float("inf"), "nothing")])
def test_a_kernel_that_is_never_heard_is_told(monkeypatch, dies, why):
    monkeypatch.setattr(live, "LONGEST_START", 1.0)
    channels, manager, asked = kernel(float("inf"), dies)
    with pytest.raises(RuntimeError, match=why):
        asyncio.run(live._heard(channels, manager))
    assert len(asked) == min(dies, 10)
