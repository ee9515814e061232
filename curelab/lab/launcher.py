"""One command: the browser opens on a lab that has already run.

JupyterLab is started in this process, on this machine only, with a random token and with settings of its own: what you have set up in
your own JupyterLab is neither read nor changed, and nothing is asked of the internet.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import secrets
import socket
import sys
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ..fields import InputError
from ..sources import datasets_folder
from .ending import Ending, finish, keep_quiet, polite_end
from .folder import fresh_folder, furnish, notebooks_folder, page_to_open, put_away
from .jupyter_page import parts_of_page, write_page

START = "start.ipynb"
LONGEST_SOCKET = (
    40  # letters of the private folder; a system may take no more than 104 for a socket, and Jupyter adds up to 60
)

# What a kernel is told: to keep its remarks on how it is connected to itself, and no record of what was run.
_KERNEL = ("--IPKernelApp.log_level=CRITICAL", "--HistoryManager.enabled=False")
# A kernel listens to an interrupt only while it runs a cell. One that is asked to end while it starts would tell where it was.
_DEAF = ("/bin/sh", "-c", "trap '' INT; exec \"$@\"", "sh") if os.name == "posix" else ()


def _say(words: str) -> None:
    print(f"curelab: {words}", file=sys.stderr, flush=True)


def _doing(words: str) -> None:
    """What the cook is waiting for, where somebody can be watching."""
    if sys.stderr.isatty():
        _say(f"{words} ...")


@contextlib.contextmanager
def _private_jupyter() -> Iterator[Path]:
    """A folder for settings, trust, kernels' addresses and page layout of this one run, named in the environment while it lasts."""
    with tempfile.TemporaryDirectory(prefix="curelab-", ignore_cleanup_errors=True) as name:
        own = {f"JUPYTER_{kind}_DIR": os.path.join(name, kind.lower()) for kind in ("CONFIG", "DATA", "RUNTIME")}
        own |= {
            "IPYTHONDIR": os.path.join(name, "ipython"),
            "JUPYTER_PREFER_ENV_PATH": "0",
        }  # what stands here comes first
        # For kernels: the matrices are small, and threads that compete for a few cores can make a step ten times slower.
        own |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        before = {key: os.environ.get(key) for key in own}
        os.environ.update(own)
        try:
            yield Path(name)
        finally:
            for key, value in before.items():
                if value is None:
                    os.environ.pop(key, None)
                else:
                    os.environ[key] = value


def launch(
    notebook: str | os.PathLike[str] | None = None,
    *,
    folder: str | os.PathLike[str] | None = None,
    port: int = 0,
    browser: bool = True,
    inside: str = "",
) -> int:
    """Open the lab, and return 0 when it has been stopped by Ctrl-C (or SIGTERM).

    `notebook` is a notebook of this installation by name, or a file; without one, the start page. `folder` is where the cook's copies
    are kept (default: curelab in the home folder, or a fresh one where that cannot be). `port` 0 takes any free one. Without a `browser`
    only the address is printed. `inside`: a folder among the notebooks, such as "course", whose pages are opened instead, and kept in a folder
    of that name. Raises FileNotFoundError for a notebook that is not there, and InputError for a `folder` that cannot be
    used.
    """
    if notebook is None or not os.path.isfile(notebook):
        home = notebooks_folder() / inside
        first = f"{inside}.ipynb" if inside else START
        start = first if notebook is None else os.fspath(notebook)
    else:
        home, start = Path(os.path.realpath(notebook)).parent, Path(notebook).name
    pages = {path.name: path for path in sorted(home.glob("*.ipynb"))}
    if start not in pages:
        raise FileNotFoundError(f"there is no notebook {start!r}; there are {', '.join(pages)}.")
    demos = [] if inside else sorted(Path(str(datasets_folder())).glob("*.toml"))
    batches = {f"batches/{path.name}": path for path in demos}
    with polite_end() as ending:
        _doing("copying the pages")
        work, fresh = _working_folder(folder, {**pages, **batches}, inside)
        try:
            start, told = page_to_open(work, start, pages[start])
            for sentence in told:
                _say(sentence)
            with _private_jupyter() as private:
                _serve(work, start, frozenset({*pages, start}), private, port, browser, ending)
        finally:
            if fresh and not put_away(work):
                _say(f"your files are in {work}; move them to where they can stay.")
    return 0


def _working_folder(
    folder: str | os.PathLike[str] | None, shipped: dict[str, Path], inside: str = ""
) -> tuple[Path, bool]:
    """The furnished folder, and whether it is a fresh one because there can be none in the home folder."""
    fresh = False
    try:
        work = (Path(folder) if folder is not None else Path.home() / "curelab") / inside
        told = furnish(work, shipped)
    except (InputError, RuntimeError) as error:
        if folder is not None:
            raise
        work, told = fresh_folder(shipped)
        fresh = True
        reason = error.problems[0].sentence if isinstance(error, InputError) else str(error)
        _say(f"{reason}. Until then the pages are in the fresh folder {work}.")
    for sentence in told:
        _say(sentence)
    return Path(os.path.realpath(work)), fresh


def _write_kernel(private: Path) -> None:
    """How a kernel is started, into the folder of this run."""
    kernel = private / "data" / "kernels" / "python3" / "kernel.json"
    kernel.parent.mkdir(parents=True)
    command = [*_DEAF, sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", *_KERNEL]
    kernel.write_text(json.dumps({"argv": command, "display_name": "Python 3", "language": "python"}), encoding="utf-8")


def _lab_app() -> Any:
    """JupyterLab itself, without what it does on the way that nobody here needs."""
    # An optional check inside jsonschema that nobody asks for here; leaving it out brings the lab up about a second earlier.
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
    # To build itself anew it asks yarn for its settings as soon as it is imported: half a second, and files in the home folder.
    from jupyterlab import commands

    commands._yarn_config = lambda logger: {"yarn config": {}, "npm config": {}}
    from jupyter_server.serverapp import ServerApp
    from jupyterlab.labapp import LabApp

    ServerApp.init_signal = lambda self: None  # type: ignore[method-assign]  # the signals are ours from first to last
    LabApp.load_other_extensions = False  # of the server: terminals, language servers, whatever else is installed
    return LabApp


def _arguments(work: Path, start: str, private: Path, port: int) -> list[str]:
    """What the server is started with."""
    arguments = [
        f"--ServerApp.root_dir={work}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.contents_manager_class=curelab.lab.live.LiveNotebooks",
        "--ServerApp.log_level=ERROR",
        f"--IdentityProvider.token={secrets.token_hex(24)}",  # given, because one it makes up is told on the terminal as well
        "--ServerApp.terminals_enabled=False",
        "--LabApp.log_level=ERROR",
        "--LabApp.custom_css=True",
        "--LabApp.expose_app_in_browser=True",  # for nav.js, which has a cell drawn again
        "--no-browser",  # it is opened below, when there is something to see
        f"--LabApp.user_settings_dir={private / 'settings'}",
        f"--LabApp.workspaces_dir={private / 'workspaces'}",
        f"--LabApp.default_url=/doc/tree/{start}",
        "--LabApp.news_url=None",
        "--LabApp.extension_manager=readonly",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]
    if hasattr(socket, "AF_UNIX") and len(str(private)) < LONGEST_SOCKET:
        # Files in our own folder, which nobody else can open; a port on this machine can be heard by all who work on it.
        arguments.append("--KernelManager.transport=ipc")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--allow-root")
        _say("you are root, so whoever holds the address below can do anything on this machine.")
    return arguments


def _serve(
    work: Path, start: str, live: frozenset[str], private: Path, port: int, browser: bool, ending: Ending
) -> None:
    ending.here()
    _doing("starting JupyterLab")
    app = _lab_app()
    ending.here()
    write_page(private)
    _write_kernel(private)
    server = app.initialize_server(argv=_arguments(work, start, private, port))
    server.contents_manager.live = live
    server.web_app.settings["page_config_hook"] = parts_of_page

    async def open_page() -> None:
        token = server.identity_provider.token
        address = f"{server.connection_url.rstrip('/')}/doc/tree/{start}{f'?token={token}' if token else ''}"
        print(f"curelab: open {address}\nStop with Ctrl-C.", flush=True)
        if browser:
            server.launch_browser()  # through a file, so that the token does not show in the list of processes
        _doing("running the first page, while the browser opens")
        try:
            await server.contents_manager.get(start)  # the page waits for this, and most of it is done when it asks
        except Exception as error:
            _say(f"{start} cannot be opened: {error}")

    async def end() -> None:
        logging.disable(logging.CRITICAL)  # what is still under way meets channels that are closed, and that is no news
        await server.contents_manager.close()
        server.stop()

    def hurry() -> None:
        for name in server.kernel_manager.list_kernel_ids():
            process = getattr(server.kernel_manager.get_kernel(name).provisioner, "process", None)
            if process is not None:
                process.kill()

    def asked(count: int) -> None:
        server.io_loop.add_callback_from_signal(
            end if count == 1 else hurry
        )  # the second does not wait for the kernels

    keep_quiet(server.io_loop.asyncio_loop, ending)
    server.io_loop.add_callback(open_page)
    ending.serve(asked)
    try:
        with warnings.catch_warnings(action="ignore"):  # of libraries, about pages: nobody here can mend them
            server.start()
        finish(server.io_loop.asyncio_loop)
    finally:
        logging.disable(logging.NOTSET)
