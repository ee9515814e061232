"""One command: the browser opens on a lab that has already run.

JupyterLab is started in this process, on this machine only, with a random token and with settings of its own: what you have set up in
your own JupyterLab is neither read nor changed, and nothing is asked of the internet.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ..sources import datasets_folder

START = "start.ipynb"
RECORD = ".curelab.json"  # what was copied into the working folder, so that a file the cook changed is known

_SETTINGS: dict[str, dict[str, Any]] = {
    "@jupyterlab/apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    "@jupyterlab/application-extension/shell": {"startMode": "single"},
    "@jupyterlab/statusbar-extension/plugin": {"visible": False},
    "@jupyterlab/notebook-extension/tracker": {"windowingMode": "none", "scrollPastEnd": False},
    # A cook needs no tool for cells; what stays is "run it all again" and the state of the kernel.
    "@jupyterlab/notebook-extension/panel": {
        "toolbar": [
            {"name": name, "disabled": True}
            for name in ("save", "insert", "cut", "copy", "paste", "run", "interrupt", "restart", "cellType")
        ]
    },
    "@jupyterlab/docmanager-extension/plugin": {"autosave": False},
}

# Parts of JupyterLab for people who write programs, each with what cannot work without it. The side bars are nearly empty without them.
_LEFT_OUT = (
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
    "@jupyterlab/running-extension",
    "@jupyterlab/workspaces-extension:sidebar",
    "@jupyterlab/toc-extension",
    "@jupyterlab/notebook-extension:toc",
    "@jupyterlab/cell-toolbar-extension",
)


def notebooks_folder() -> Path:
    """The notebooks of this installation: in the package (wheel) or at the top of the checkout. Raises FileNotFoundError."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "notebooks", package.parent / "notebooks"):
        if any(folder.glob("*.ipynb")):
            return folder
    raise FileNotFoundError("the notebooks are missing from this installation of curelab; install it again.")


def furnish(folder: Path, shipped: dict[str, Path]) -> list[str]:
    """Copy the `shipped` files (name in the folder -> where it is now) into the working `folder`, making it if need be.

    A file that is missing is copied, one that was copied before and not changed since is brought up to date, and one the cook has
    changed is kept. Outputs of a notebook are no change. Returns a sentence for each file kept.
    """
    record = folder / RECORD
    known: dict[str, str] = json.loads(record.read_text(encoding="utf-8")) if record.exists() else {}
    kept = []
    for name, source in shipped.items():
        target, new = folder / name, _digest(source)
        now = _digest(target) if target.exists() else None
        if now not in (None, new, known.get(name)):
            kept.append(f"kept your own {name}; rename it to get the one that came with this version.")
            continue
        if now != new:
            target.parent.mkdir(parents=True, exist_ok=True)
            beside = target.with_name(f".{target.name}.new")
            shutil.copyfile(source, beside)
            os.replace(beside, target)
        known[name] = new
    folder.mkdir(parents=True, exist_ok=True)
    record.write_text(json.dumps(known, indent=1), encoding="utf-8")
    return kept


def _digest(path: Path) -> str:
    data = path.read_bytes()
    if path.suffix == ".ipynb":
        with contextlib.suppress(ValueError, KeyError, TypeError):  # not a notebook after all: compare it whole
            cells = json.loads(data)["cells"]
            data = json.dumps([[cell["cell_type"], "".join(cell["source"])] for cell in cells]).encode()
    return hashlib.sha256(data).hexdigest()


@contextlib.contextmanager
def _private_jupyter() -> Iterator[Path]:
    """A folder for settings, trust, kernels' addresses and page layout of this one run, named in the environment while it lasts."""
    with tempfile.TemporaryDirectory(prefix="curelab-", ignore_cleanup_errors=True) as name:
        own = {f"JUPYTER_{kind}_DIR": os.path.join(name, kind.lower()) for kind in ("CONFIG", "DATA", "RUNTIME")}
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
) -> int:
    """Open the lab, and return 0 when it has been stopped by Ctrl-C (or SIGTERM).

    `notebook` is a notebook of this installation by name, or a file; without one, the start page. `folder` is where the cook's copies
    are kept (default: curelab in the home folder). `port` 0 takes any free one. Without a `browser` only the address is printed.
    Raises FileNotFoundError for a notebook that is not there.
    """
    work = Path(folder) if folder is not None else Path.home() / "curelab"
    shipped: dict[str, Path] = {}
    if notebook is None or not Path(notebook).is_file():
        home = notebooks_folder()
        shipped = {path.name: path for path in sorted(home.glob("*.ipynb"))}
        start = START if notebook is None else os.fspath(notebook)
        if start not in shipped:
            raise FileNotFoundError(f"there is no notebook {start!r}; there are {', '.join(shipped)}.")
    else:
        shipped = {path.name: path for path in sorted(Path(notebook).resolve().parent.glob("*.ipynb"))}
        start = Path(notebook).name
    batches = {f"batches/{path.name}": path for path in sorted(Path(str(datasets_folder())).glob("*.toml"))}
    for sentence in furnish(work, {**shipped, **batches}):
        print(f"curelab: {sentence}", file=sys.stderr)
    with _private_jupyter() as private, contextlib.suppress(KeyboardInterrupt):
        _serve(work.resolve(), start, frozenset(shipped), private, port, browser)
    return 0


def _write_settings(private: Path) -> None:
    """The settings of the page, and what is left out of it, into the folder of this run."""
    for name, value in _SETTINGS.items():
        file = private / "settings" / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(value), encoding="utf-8")
    page = private / "config" / "labconfig" / "page_config.json"
    page.parent.mkdir(parents=True)
    page.write_text(json.dumps({"disabledExtensions": dict.fromkeys(_LEFT_OUT, True)}), encoding="utf-8")


def _serve(work: Path, start: str, live: frozenset[str], private: Path, port: int, browser: bool) -> None:
    # An optional check inside jsonschema that nobody asks for here; leaving it out brings the lab up about a second earlier.
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
    from jupyterlab.labapp import LabApp

    _write_settings(private)
    arguments = [
        f"--ServerApp.root_dir={work}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.contents_manager_class=curelab.lab.live.LiveNotebooks",
        "--ServerApp.log_level=ERROR",
        "--LabApp.log_level=ERROR",
        "--no-browser",  # it is opened below, when there is something to see
        f"--LabApp.user_settings_dir={private / 'settings'}",
        f"--LabApp.workspaces_dir={private / 'workspaces'}",
        f"--LabApp.default_url=/doc/tree/{start}",
        "--LabApp.news_url=None",
        "--LabApp.extension_manager=readonly",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--allow-root")
        print(
            "curelab: you are root, so whoever holds the address below can do anything on this machine.",
            file=sys.stderr,
        )
    server = LabApp.initialize_server(argv=arguments)
    server.contents_manager.live = live
    opening: list[asyncio.Task[None]] = []

    async def open_page() -> None:
        await server.contents_manager.get(start)
        token = server.identity_provider.token
        address = f"{server.connection_url.rstrip('/')}/doc/tree/{start}{f'?token={token}' if token else ''}"
        print(f"curelab: open {address}\nStop with Ctrl-C.", flush=True)
        if browser:
            server.launch_browser()  # through a file, so that the token does not show in the list of processes

    def begin() -> None:
        opening.append(asyncio.ensure_future(open_page()))

    def end() -> None:
        for task in opening:
            task.cancel()
        server.stop()

    def stopped(number: int, frame: Any) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a second Ctrl-C does not wait for the kernels
        server.io_loop.add_callback_from_signal(end)

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, stopped)
    server.io_loop.add_callback(begin)
    server.start()
