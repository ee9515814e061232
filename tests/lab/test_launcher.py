"""The working folder: what is copied, brought up to date, and left alone; and how a lab ends. (What it shows: the browser tests.)"""

import asyncio
import contextlib
import errno
import json
import os
import signal
import subprocess
import sys
import tempfile
import urllib.request
from pathlib import Path

import psutil
import pytest
from handful import handful

from curelab.__main__ import main
from curelab.lab.ending import Ending, keep_quiet
from curelab.lab.folder import RECORD, furnish, page_to_open, put_away
from curelab.lab.launcher import _doing, _working_folder, launch

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name == "nt", reason="signals, pipes and links of a Unix")


def notebook(path, text, outputs=()):
    path.parent.mkdir(exist_ok=True)
    cell = {"cell_type": "code", "source": [text], "outputs": list(outputs), "metadata": {}, "execution_count": None}
    path.write_text(json.dumps({"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}))
    return path


def test_files_are_copied_once_brought_up_to_date_and_kept_when_changed(tmp_path):
    work, home = tmp_path / "work", tmp_path / "home"
    shipped = {"a.ipynb": notebook(home / "a.ipynb", "one"), "batches/b.toml": home / "b.toml"}
    shipped["batches/b.toml"].write_text("x = 1\n")
    assert furnish(work, shipped) == []
    assert "one" in (work / "a.ipynb").read_text() and (work / "batches/b.toml").read_text() == "x = 1\n"

    notebook(work / "a.ipynb", "one", outputs=[{"output_type": "stream", "name": "stdout", "text": "ran"}])
    notebook(home / "a.ipynb", "two")
    assert furnish(work, shipped) == []  # outputs are no change of the cook's
    assert "two" in (work / "a.ipynb").read_text()

    notebook(work / "a.ipynb", "my own words")
    (work / "batches/b.toml").write_text("x = 2\n")
    notebook(home / "a.ipynb", "three")
    shipped["batches/b.toml"].write_text("x = 3\n")
    assert [sentence.split("; ")[0] for sentence in furnish(work, shipped)] == [
        "kept your own a.ipynb",
        "kept your own batches/b.toml",
    ]
    assert "my own words" in (work / "a.ipynb").read_text() and (work / "batches/b.toml").read_text() == "x = 2\n"

    (work / "a.ipynb").rename(work / "mine.ipynb")
    assert len(furnish(work, shipped)) == 1
    assert "three" in (work / "a.ipynb").read_text()
    assert sorted(path.name for path in work.rglob("*")) == sorted(
        [RECORD, "a.ipynb", "b.toml", "batches", "mine.ipynb"]
    )


def test_a_folder_that_another_hand_filled_is_not_overwritten(tmp_path):
    home = notebook(tmp_path / "home" / "a.ipynb", "ours")
    notebook(tmp_path / "work" / "a.ipynb", "theirs")
    assert len(furnish(tmp_path / "work", {"a.ipynb": home})) == 1
    assert "theirs" in (tmp_path / "work" / "a.ipynb").read_text()


def test_a_notebook_that_is_not_there_is_named(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"no notebook 'nowhere.ipynb'; there are "):
        launch("nowhere.ipynb", folder=tmp_path / "work")
    assert not (tmp_path / "work").exists()


def test_the_launcher_does_not_wait_for_the_widgets():
    late = {"ipywidgets", "anywidget", "plotly", "pandas", "jupyterlab"}
    code = f"import sys, curelab.lab.launcher; print(sorted({late!r} & set(sys.modules)))"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )


# -- a folder that is not as it should be ----------------------------------------------------------


@pytest.fixture
def shipped(tmp_path):
    home = tmp_path / "shipped"
    return {name: notebook(home / name, name) for name in ("start.ipynb", "soak.ipynb")}


@pytest.mark.parametrize(
    "broken", ["", "{", '{"start.ipynb": "half', "[]", "7", "\0\0", '{"start.ipynb": 7}', "[" * 100_000]
)
def test_a_record_that_is_broken_loses_nothing_and_is_made_anew(tmp_path, shipped, broken):
    work = tmp_path / "work"
    furnish(work, shipped)
    notebook(work / "soak.ipynb", "my own words")
    (work / RECORD).write_text(broken)
    told = furnish(work, shipped)
    assert "my own words" in (work / "soak.ipynb").read_text()
    assert told[-1].startswith("kept your own soak.ipynb") and ("cannot be read" in told[0]) == ("7}" not in broken)
    assert set(json.loads((work / RECORD).read_text())) >= {"start.ipynb"}
    notebook(shipped["start.ipynb"], "newer")
    furnish(work, shipped)
    assert "newer" in (work / "start.ipynb").read_text()  # known again as unchanged


def test_a_record_is_replaced_and_never_half_written(tmp_path, shipped, monkeypatch):
    work = tmp_path / "work"
    furnish(work, shipped)
    before = (work / RECORD).read_bytes()
    notebook(shipped["start.ipynb"], "newer")

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    told = furnish(work, shipped)
    assert len(told) == 2 and all("No space left on device" in sentence for sentence in told)
    assert (work / RECORD).read_bytes() == before and len(list(work.iterdir())) == 3


@posix
@pytest.mark.parametrize("what", ["folder", "pipe", "link to nowhere"])
@pytest.mark.parametrize("name", ["soak.ipynb", RECORD])
def test_what_is_no_file_is_left_as_it_is(tmp_path, shipped, what, name):
    work = tmp_path / "work"
    work.mkdir()
    {"folder": Path.mkdir, "pipe": os.mkfifo, "link to nowhere": lambda path: path.symlink_to("nowhere")}[what](
        work / name
    )
    told = furnish(work, shipped)
    assert len(told) == 1 and name in told[0] and ("cannot be read" in told[0] or "is not noted" in told[0])
    assert not (work / name).is_file() and (work / "start.ipynb").is_file()
    assert furnish(work, shipped) == told


@posix
@pytest.mark.parametrize(
    "what", ["folder", "not JSON", "no notebook", "a list", "empty", "a pipe", "linked to nowhere"]
)
def test_a_start_page_that_cannot_be_opened_is_left_and_another_is_opened(tmp_path, shipped, what):
    work = tmp_path / "work"
    work.mkdir()
    mine = work / "start.ipynb"
    words = {"not JSON": '{"cells": [', "no notebook": '{"cells": 3}', "a list": "[]", "empty": ""}
    if what in words:
        mine.write_text(words[what])
    else:
        {"folder": Path.mkdir, "a pipe": os.mkfifo, "linked to nowhere": lambda p: p.symlink_to("nowhere")}[what](mine)
    furnish(work, shipped)
    for _ in range(2):  # the second time it finds its own copy again
        name, told = page_to_open(work, "start.ipynb", shipped["start.ipynb"])
        assert (
            name == "start-1.ipynb" and len(told) == 1 and "was left as it is; opening start-1.ipynb instead" in told[0]
        )
    assert (work / name).read_bytes() == shipped["start.ipynb"].read_bytes()
    if what in words:
        assert mine.read_text() == words[what]
    notebook(work / "start-1.ipynb", "my own words")
    assert page_to_open(work, "start.ipynb", shipped["start.ipynb"]) == ("start-1.ipynb", told)


def test_a_start_page_of_the_cooks_own_is_opened(tmp_path, shipped):
    work = tmp_path / "work"
    work.mkdir()
    mine = {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    (work / "start.ipynb").write_text(json.dumps(mine))
    assert page_to_open(work, "start.ipynb", shipped["start.ipynb"]) == ("start.ipynb", [])


@posix
@pytest.mark.parametrize(
    "where, reason",
    [
        ("file", "is a file"),
        ("file/below", "cannot be used: Not a directory"),
        ("x" * 300, "cannot be used: File name too long"),
    ],
)
def test_a_folder_that_cannot_be_is_one_sentence(tmp_path, capsys, where, reason):
    (tmp_path / "file").write_text("mine")
    assert main(["--no-browser", "--folder", str(tmp_path / where)]) == 2
    said = capsys.readouterr()
    assert said.out == "" and len(said.err.splitlines()) == 2 and reason in said.err
    assert (tmp_path / "file").read_text() == "mine"


@posix
@pytest.mark.parametrize("home", ["a file", "missing", "read-only", "none"])
def test_without_a_usable_home_the_pages_are_in_a_fresh_folder(tmp_path, shipped, monkeypatch, capsys, home):
    (tmp_path / "temporary").mkdir()
    (tmp_path / "home").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    if home == "a file":
        monkeypatch.setenv("HOME", str(shipped["start.ipynb"]))
    elif home == "missing":
        monkeypatch.setenv("HOME", "/dev/null/nobody")
    elif home == "read-only":  # root may write wherever rights forbid it, so the disk has to refuse
        right = tempfile.TemporaryFile

        def refusing(dir):
            if "temporary" in str(dir):
                return right(dir=dir)
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))

        monkeypatch.setattr(tempfile, "TemporaryFile", refusing)
    else:

        def nowhere():
            raise RuntimeError("Could not determine home directory.")

        monkeypatch.setattr(Path, "home", nowhere)
    work, fresh = _working_folder(None, shipped)
    said = capsys.readouterr().err
    assert fresh and len(said.splitlines()) == 1 and f"fresh folder {work}" in said
    assert work.parent == tmp_path / "temporary" and (work / "start.ipynb").is_file()
    (work / "my-batch.toml").write_text("mine")
    assert not put_away(work) and (work / "my-batch.toml").is_file()  # never what the cook made
    (work / "my-batch.toml").unlink()
    assert put_away(work) and list((tmp_path / "temporary").iterdir()) == []


# -- a lab that is started and ended ---------------------------------------------------------------


@pytest.fixture
def started(tmp_path):
    """Starts the command with a home and a temporary folder of its own; `terminal` receives what it says on stderr."""
    import pty

    running = []
    for name in ("home", "temporary"):
        (tmp_path / name).mkdir()

    def start():
        ours, theirs = pty.openpty()
        own = dict(
            os.environ, HOME=str(tmp_path / "home"), TMPDIR=str(tmp_path / "temporary"), PYTHONDONTWRITEBYTECODE="1"
        )
        before = signal.signal(signal.SIGHUP, signal.SIG_DFL)  # tests started by nohup would hand on that it is ignored
        for key in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "XDG_DATA_HOME"):
            own.pop(key, None)
        process = subprocess.Popen(
            [sys.executable, "-m", "curelab", "--no-browser"],
            stdout=subprocess.PIPE,
            stderr=theirs,
            text=True,
            env=own,
            cwd=ROOT,
        )
        signal.signal(signal.SIGHUP, before)
        os.close(theirs)
        running.append((process, ours))
        return process, os.fdopen(ours, encoding="utf-8", newline="\n", buffering=1, errors="replace", closefd=False)

    yield start
    for process, ours in running:
        process.kill()
        process.wait()
        process.stdout.close()
        os.close(ours)


def left(tmp_path):
    found = [
        path.relative_to(tmp_path).as_posix() for name in ("home", "temporary") for path in (tmp_path / name).iterdir()
    ]
    return sorted(found)


def rest_of(terminal):
    said = []
    with contextlib.suppress(OSError):  # how a terminal ends
        said.extend(terminal)
    return "".join(said)


@posix
@pytest.mark.parametrize("number", handful(["SIGINT", "SIGTERM", "SIGHUP"], ["SIGINT"]))
def test_a_lab_that_ran_a_page_ends_cleanly_and_leaves_only_the_folder(tmp_path, started, number):
    (tmp_path / "home" / "curelab").mkdir()
    old = {
        "cells": [{"cell_type": "raw", "source": "", "metadata": {}}],
        "metadata": {},
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    (tmp_path / "home" / "curelab" / "old.ipynb").write_text(json.dumps(old))  # no id: a library warns of that
    process, terminal = started()
    address = process.stdout.readline().split("open ")[1].strip()
    page = address.replace("/doc/tree/", "/api/contents/").replace("?", "?content=1&type=notebook&")
    with urllib.request.urlopen(page, timeout=60) as answer:
        cells = json.load(answer)["content"]["cells"]
    assert any("application/vnd.jupyter.widget-view+json" in str(cell.get("outputs")) for cell in cells)
    with urllib.request.urlopen(page.replace("start.ipynb", "old.ipynb"), timeout=60) as answer:
        assert len(json.load(answer)["content"]["cells"]) == 1
    kernels = [child.pid for child in psutil.Process(process.pid).children(recursive=True)]
    assert kernels
    process.send_signal(getattr(signal, number))
    assert process.wait(30) == 0
    assert left(tmp_path) == ["home/curelab"]
    assert not any(psutil.pid_exists(kernel) and psutil.Process(kernel).status() != "zombie" for kernel in kernels)
    said = [line.strip() for line in rest_of(terminal).splitlines() if line.strip()]
    doing = ["copying the pages", "starting JupyterLab", "running the first page, while the browser opens"]
    assert [line for line in said if "you are root" not in line] == [f"curelab: {what} ..." for what in doing]


@posix
@pytest.mark.parametrize("number", handful(["SIGINT", "SIGTERM", "SIGHUP"], ["SIGINT"]))
def test_a_lab_that_is_still_starting_ends_as_cleanly(tmp_path, started, number):
    process, terminal = started()
    for line in terminal:
        if "starting JupyterLab" in line:
            break
    process.send_signal(getattr(signal, number))
    assert process.wait(30) == 0 and process.stdout.read() == ""
    assert left(tmp_path) == ["home/curelab"] and "Traceback" not in rest_of(terminal)


@posix
def test_between_two_files_of_a_library_nothing_is_raised_and_the_start_ends_at_its_next_step():
    """A KeyboardInterrupt through code made from text ends Python by the signal, though it is caught; so there is none."""
    code = """
import os, signal
from curelab.lab.ending import polite_end
with polite_end() as ending:
    exec("os.kill(os.getpid(), signal.SIGINT)")
    print("went on", flush=True)
    ending.here()
    print("never")
"""
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "went on\n", "")
    impatient = code.replace("exec(", "exec('os.kill(os.getpid(), signal.SIGINT)'); exec(")
    ran = subprocess.run([sys.executable, "-c", impatient], capture_output=True, text=True)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")


def test_a_message_to_a_page_that_was_closed_is_no_news_and_at_the_end_nothing_is():
    from tornado.websocket import WebSocketClosedError

    ending, told = Ending(), []
    loop = asyncio.new_event_loop()
    loop.default_exception_handler = told.append
    keep_quiet(loop, ending)
    loop.call_exception_handler({"message": "gone", "exception": WebSocketClosedError()})
    assert told == []
    loop.call_exception_handler({"message": "a fault", "exception": ValueError()})
    assert len(told) == 1
    ending.count = 1
    loop.call_exception_handler({"message": "broken off", "exception": ValueError()})
    assert len(told) == 1
    loop.close()


@posix
def test_what_it_is_doing_is_said_on_a_terminal_only(capsys, monkeypatch):
    _doing("starting")
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    _doing("starting")
    assert capsys.readouterr().err == "curelab: starting ...\n"
