"""Notebooks that have already run when they are opened.

JupyterLab has no setting to run a notebook when it opens, and rightly so for notebooks of strangers. Ours are known by name: when the
page asks for one, its session is started, its cells are run in it, and the page gets the notebook with its outputs. JupyterLab then finds
the session by the notebook's path and draws the live widgets. The file on the disk is not touched.

Half of the wait for a page is a kernel that starts and loads the library. So one is kept ready: it has loaded what every page loads, is
taken by the next page, and followed by another.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections import defaultdict
from collections.abc import AsyncIterator, Iterator
from queue import Empty
from typing import Any

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager
from jupyter_server.utils import ensure_async
from nbclient import NotebookClient

PRINTED = frozenset({"proof.ipynb"})  # comes with its outputs, to be read; running it anew takes the test extra
LONGEST_START = 60  # s until a kernel must have said something
ASK = 0.1  # s between two questions to a kernel that starts
TIMEOUT = 120  # s, for one cell; judgement: a cell that takes longer is stuck
LOADED = "import curelab.lab.benches as _loaded; del _loaded"  # by the kernel that is kept ready
QUIET = (
    3.0  # s after a page was run until the next kernel is made ready: the browser is busy showing the page till then
)


class LiveNotebooks(AsyncLargeFileManager):
    """Files as JupyterLab knows them; the notebooks whose paths stand in `live` are run when they are first asked for."""

    parent: Any  # the server this belongs to
    live: frozenset[str] = frozenset()

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        self._locks: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)
        # path -> (time of the file that was run, process it ran in, its cells with outputs)
        self._ran: dict[str, tuple[Any, Any, list[Any]]] = {}
        self._ready: asyncio.Task[str | None] | None = (
            None  # the id of the kernel that is kept ready, for who awaits it
        )
        self._soon: asyncio.TimerHandle | None = None  # when the next one is begun
        self._closed = False
        self._busy: set[asyncio.Task[Any]] = set()  # what is broken off when the lab ends
        self._starting: set[asyncio.Future[str]] = (
            set()
        )  # kernels on their way: they are waited for, or they outlive the lab

    async def get(
        self,
        path: str,
        content: bool = True,
        type: str | None = None,
        format: str | None = None,
        require_hash: bool = False,
    ) -> dict[str, Any]:
        model = await super().get(path, content=content, type=type, format=format, require_hash=require_hash)
        if content and model["type"] == "notebook" and path.strip("/") in self.live:
            if path.strip("/") in PRINTED:
                for cell in model["content"]["cells"]:
                    cell["metadata"]["trusted"] = True  # else the page leaves its pictures out
            else:
                with self._under_way():
                    await self._enliven(path.strip("/"), model)
        return model

    @contextlib.contextmanager
    def _under_way(self) -> Iterator[None]:
        """The task we are in is broken off when the lab ends."""
        task = asyncio.current_task()
        assert task is not None
        self._busy.add(task)
        try:
            yield
        finally:
            self._busy.discard(task)

    async def _enliven(self, path: str, model: dict[str, Any]) -> None:
        """Put into `model` the outputs of the running session, after starting one if there is none."""
        async with self._locks[path]:
            sessions = self.parent.session_manager
            there = await ensure_async(sessions.session_exists(path=path))
            if there:
                session = await ensure_async(sessions.get_session(path=path))
            else:
                session = await ensure_async(
                    sessions.create_session(
                        path=path,
                        name=path.rpartition("/")[2],
                        type="notebook",
                        kernel_name="python3",
                        kernel_id=await self._take_ready() or await self._start(),
                    )
                )
            kernel = self.parent.kernel_manager.get_kernel(session["kernel"]["id"])
            when, process, cells = self._ran.get(path, (None, None, []))
            if there and process == kernel.provisioner.pid:
                if when == model["last_modified"]:
                    model["content"]["cells"] = cells  # a file saved since then brings its own outputs
                return
            if there and path not in self._ran:
                return  # a session somebody else began
            try:
                await self._run(path, model["content"], kernel)
                self._soon = asyncio.get_running_loop().call_later(QUIET, self._begin_ready)
            except Exception as error:  # the notebook still opens, as it stands on the disk
                if not self._closed:
                    print(f"curelab: {path} could not be run: {error}", file=sys.stderr, flush=True)
                return
            self._ran[path] = (model["last_modified"], kernel.provisioner.pid, model["content"]["cells"])

    async def _run(self, path: str, notebook: Any, manager: Any) -> None:
        """Run the cells in a kernel; after a restart it is a new process, and what ran in the old one is gone."""
        client = NotebookClient(notebook, km=manager, timeout=TIMEOUT, allow_errors=True, record_timing=False)
        async with _channels(manager) as client.kc:
            count = 0
            for place, cell in enumerate(notebook.cells):
                if cell.cell_type == "code":
                    count += 1
                    cell.outputs = []
                    await client.async_execute_cell(cell, place, execution_count=count, store_history=True)
                    cell.metadata["trusted"] = True  # else the page hides the widgets; it was run here, a moment ago
                    for output in cell.outputs:
                        if output.output_type == "error":
                            print(
                                f"curelab: a cell of {path} failed: {output.ename}: {output.evalue}",
                                file=sys.stderr,
                                flush=True,
                            )

    def _begin_ready(self) -> None:
        self._ready = self._ready or asyncio.ensure_future(self._make_ready())

    async def _start(self) -> str:
        """Start a kernel and return its id. To break this off leaves no process behind that nobody knows."""
        if self._closed:
            raise RuntimeError("the lab is ending")
        manager = self.parent.kernel_manager
        started = asyncio.ensure_future(ensure_async(manager.start_kernel(kernel_name="python3", path="")))
        self._starting.add(started)
        started.add_done_callback(self._starting.discard)
        return await asyncio.shield(started)

    async def _make_ready(self) -> str | None:
        """Start a kernel for a page to come, and return its id; None where that did not work, and the page starts its own."""
        try:
            with self._under_way():
                name = await self._start()
                async with _channels(self.parent.kernel_manager.get_kernel(name)) as channels:
                    await ensure_async(channels.execute(LOADED, silent=True, reply=True, timeout=TIMEOUT))
            return name
        except Exception:
            return None

    async def _take_ready(self) -> str | None:
        """The id of a kernel that has loaded the library, or None where none has been begun."""
        ready, self._ready = self._ready, None
        if self._soon is not None:
            self._soon.cancel()
        return await ready if ready is not None else None

    async def close(self) -> None:
        """Make no kernel ready any more, and break off what is under way; the lab is ending."""
        self._closed = True
        if self._soon is not None:
            self._soon.cancel()
        busy = list(self._busy)
        for task in busy:
            task.cancel()
        await asyncio.gather(*busy, *self._starting, return_exceptions=True)


@contextlib.asynccontextmanager
async def _channels(manager: Any) -> AsyncIterator[Any]:
    channels = manager.client()
    channels.start_channels()
    try:
        await _heard(channels, manager)
        yield channels
    finally:
        channels.stop_channels()


async def _heard(channels: Any, manager: Any) -> None:
    """Until something comes from the kernel. Jupyter's own way listens for a fifth of a second more, to what we need not hear. Raises RuntimeError
    for a kernel that died, or that says nothing.
    """
    for _ in range(int(LONGEST_START / ASK)):
        channels.kernel_info()
        with contextlib.suppress(Empty):
            await ensure_async(channels.iopub_channel.get_msg(timeout=ASK))
            return
        if not await ensure_async(manager.is_alive()):
            raise RuntimeError("its kernel died while it started")
    raise RuntimeError(f"its kernel said nothing within {LONGEST_START} s")
