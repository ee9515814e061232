"""Whatever happens behind the front door, a person reads one sentence a problem: bad words, a full or narrow screen, Ctrl-C, a fault of ours."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from handful import handful

from curelab import __version__, files, progress
from curelab.__main__ import main
from curelab.batch import load
from curelab.fields import InputError
from curelab.letters import refused_letter
from curelab.outcome import run, run_for
from curelab.show import data, report
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

DEMO = datasets_folder() / "demo_loin.toml"
BACON = "\N{BACON}"
linux = pytest.mark.skipif(not Path("/dev/full").exists(), reason="devices of Linux")


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(DEMO.read_text(encoding="utf-8"), encoding="utf-8")
    return path


def said(arguments: list[str], capsys) -> tuple[int, str, str]:
    code = main(arguments)
    out, err = capsys.readouterr()
    return code, out, err


def command(*words: str, **how) -> subprocess.CompletedProcess:
    env = os.environ | how.pop("env", {})
    return subprocess.run([sys.executable, "-m", "curelab", *words], env=env, timeout=100, **how)


# -- words that cannot be used ---------------------------------------------------------------------------------------------------------

LONG = "9" * 5000


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["log", "FILE", "brine strength", " ", "--after", "1 d"], 'value: "brine strength" has no value; write it like "4.1 %"'),
        (["log", "FILE", ""], "what: nothing is named; say one of weight"),
        (["log", "FILE", "weight", "2.2 kg*9**9**9", "--after", "1 d"], 'value: "2.2 kg*9**9**9" is not a mass'),
        (["log", "FILE", "weight", "10 lb{", "--after", "1 d"], 'value: "10 lb{" is not a mass'),
        (["log", "FILE", "note", "x", "--after", "1 d*9**9**9"], '--after: "1 d*9**9**9" is not a time'),
        (["log", "FILE", "note", "x", "--at", "9999-12-31 23:59"], '--at: "9999-12-31 23:59" is out of range (years 1900 to 2199)'),
        (["log", "FILE", "note", "red\x1b[31m", "--after", "1 d"], 'note: "red\\x1b[31m" holds the control letter \\x1b; take it out'),
        (["scale", "FILE", "-o", "OUT", "--count", "loin=²"], '--count: "loin=²" is not a piece and a number'),
        (["scale", "FILE", "-o", "OUT", "--count", "loin=99999999999999999999"], '--count: "loin=99999999999999999999" is not'),
        (["scale", "FILE", "-o", "OUT", "--count", f"loin={LONG}"], f'--count: "loin={"9" * 52}..." is not'),
        (["scale", "FILE", "-o", "OUT", "--count", "loin=21"], "at most 20 of a piece"),
        (["scale", "FILE", "-o", "OUT", "--weight", "2.2 kg)"], 'weight: "2.2 kg)" is not a mass'),
        (["check", "/dev/zero"], "zero: has more than 5 MB"),
        (["check", "FOLDER"], "is a folder; name the file in it"),
        (["run", "FILE", "--csv", "FILE/x"], "is a file; name a folder"),
    ],
)  # fmt: skip
def test_words_that_cannot_be_used_are_one_sentence(words, sentence, file, capsys):
    if "/dev/zero" in words and not Path("/dev/zero").exists():
        pytest.skip("devices of a Unix")
    before = file.read_bytes()
    places = {"FILE": file, "OUT": file.with_name("new.toml"), "FOLDER": file.parent, "FILE/x": file / "x"}
    code, out, err = said([str(places.get(word, word)) for word in words], capsys)
    assert code == 2 and out == "" and sentence in err and len(err.splitlines()) == 2
    assert file.read_bytes() == before and os.listdir(file.parent) == [file.name]


@pytest.mark.parametrize("year", ["9999-12-31 23:59", "0001-01-01 00:00", "1899-12-31 23:59", "2200-01-01 00:00"])
@pytest.mark.parametrize("where", ["start", "serve"])
def test_no_clock_is_told_at_the_ends_of_the_calendar(year, where, file, capsys):
    text = re.sub(
        r'start = ".*"\n', f'start = "{year}"\n' if where == "start" else "", file.read_text(encoding="utf-8")
    )
    serve = f'serve = "{year}"\n' if where == "serve" else ""
    file.write_text(f'{text}\n[plan]\nzone = "America/Chicago"\n{serve}', encoding="utf-8")
    code, _, err = said(["plan", str(file)], capsys)
    assert code == 2 and f'"{year}" is out of range (years 1900 to 2199)' in err


def test_words_of_the_command_line_itself_are_quoted_short_and_clean(file, capsys):
    for words in (["run", str(file), "--draws", LONG], ["check", str(file), "more\x1b[2J"]):
        with pytest.raises(SystemExit) as ended:
            main(words)
        err = capsys.readouterr().err
        assert ended.value.code == 2 and len(err.splitlines()[-1]) < 400 and "\x1b" not in err


def test_at_most_fifty_problems_are_listed(file, capsys):
    with file.open("a", encoding="utf-8") as more:
        more.write('\n[[log]]\nat = "1 d"\nwhat = "wait"\n' * 70)
    code, _, err = said(["check", str(file)], capsys)
    lines = err.splitlines()
    assert code == 2 and len(lines) == 52 and lines[-2:] == ["curelab: and 20 more", "curelab: 70 problems."]


# -- check only reads ------------------------------------------------------------------------------------------------------------------


def test_check_reads_and_runs_no_draws(file):
    """What it loads is what its time is made of."""
    code = f"import sys; from curelab.__main__ import main; main(['check', {str(file)!r}]); print(*sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60).stdout
    first, _, loaded = out.splitlines()
    assert first == '"Pork loin in a strong brine" can be read: 1 piece, 3 stages, 0 readings in the log.'
    assert "curelab.batch" in loaded.split()
    assert not {"pandas", "pint", "scipy.stats", "plotly", "ipywidgets", "curelab.outcome", "curelab.spread"} & set(
        loaded.split()
    )


# -- the screen ------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_letters_that_the_screen_lacks_cost_no_reading(encoding, file):
    words = ("log", str(file), "note", f"{BACON} good", "--after", "1 d")
    done = command(*words, env={"PYTHONIOENCODING": encoding}, capture_output=True)
    assert done.returncode == 0 and b"note ? good" in done.stdout and done.stderr == b""
    assert [entry.note for entry in load(file).log] == [f"{BACON} good"]


def test_a_narrow_screen_gets_all_of_the_json(file):
    file.write_text(file.read_text(encoding="utf-8").replace("Pork loin in", f"{BACON} in"), encoding="utf-8")
    words = ("run", str(file), "--draws", "16", "--json")
    done = command(*words, env={"PYTHONIOENCODING": "ascii"}, capture_output=True)
    assert done.returncode == 0 and json.loads(done.stdout)["batch"]["name"] == f"{BACON} in a strong brine"


@linux
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ["log", "FILE", "note", "floats", "--after", "1 d"],
            "; the reading stands in the file, so do not log it again.",
        ),
        (["scale", "FILE", "--by", "2", "-o", "OUT"], "; wrote OUT."),
        (["check", "FILE"], "."),
        (["--version"], "."),
    ],
)
def test_a_full_screen_says_what_was_done_all_the_same(words, told, file):
    places = {"FILE": str(file), "OUT": str(file.with_name("new.toml"))}
    with open("/dev/full", "w") as full:
        done = command(*(places.get(word, word) for word in words), stdout=full, stderr=subprocess.PIPE, text=True)
    told = told.replace("OUT", places["OUT"])
    assert done.returncode == 74
    assert done.stderr == f"curelab: the answer cannot be printed: No space left on device{told}\n"
    assert len(load(file).log) == (words[0] == "log")


def test_no_control_letter_reaches_the_screen_even_in_the_name_of_a_file(tmp_path, capsys):
    path = tmp_path / "a\x1b[31m.toml"
    path.write_bytes(DEMO.read_bytes())
    code, out, _ = said(["check", str(path)], capsys)
    assert code == 0 and refused_letter(out, lines=True) is None and "a\\x1b[31m.toml" in out
    code, out, err = said(["check", str(path.with_name("b\x1b.toml"))], capsys)
    assert code == 2 and refused_letter(out + err, lines=True) is None and "b\\x1b.toml" in err


# -- stopped ---------------------------------------------------------------------------------------------------------------------------


def hears_ctrl_c():
    """In the process that is about to start: what a shell puts into the background ignores Ctrl-C, and so would all that it starts."""
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="signals of a Unix")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_ctrl_c_is_one_line_and_130_and_so_is_whatever_asks_to_end(name, tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    running = subprocess.Popen(
        [sys.executable, "-m", "curelab", "check", str(pipe)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=hears_ctrl_c,
    )  # fmt: skip
    with pipe.open("wb"):  # opens once the command reads, which is when it is stopped
        running.send_signal(getattr(signal, name))
        out, err = running.communicate(timeout=60)
    assert (running.returncode, out, err) == (130, b"", b"curelab: stopped.\n")


def on_a_terminal(arguments, folder, stop):
    """(exit code, what was printed, what stood on the terminal) of a command; stopped when the pattern `stop` stands on it."""
    import pty

    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "curelab", *arguments]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=theirs, cwd=folder, text=True, preexec_fn=hears_ctrl_c
    ) as running:
        os.close(theirs)
        seen = b""
        try:
            while got := os.read(ours, 4096):
                seen += got
                if stop and re.search(stop, seen):
                    running.send_signal(signal.SIGINT)
                    stop = None
        except OSError:  # how a terminal ends
            pass
        out = running.stdout.read()
    os.close(ours)
    return running.returncode, out, seen.decode(errors="replace")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="terminals of a Unix")
def test_draws_show_a_percentage_on_a_terminal_and_stop_at_ctrl_c_with_nothing_written(tmp_path):
    words = ["run", str(DEMO), "--draws", "20000", "--csv", "tables"]
    code, out, seen = on_a_terminal(words, tmp_path, stop=rb"simulating 20000 draws: +\d+ %")
    assert re.search(r"simulating 20000 draws: +\d+ %", seen)
    assert (code, out, list(tmp_path.iterdir())) == (130, "", [])
    assert seen.splitlines()[-1].split("\r")[-1] == "curelab: stopped." and "Traceback" not in seen


def test_no_progress_goes_into_a_pipe_or_out_of_the_library(monkeypatch, capfd):
    monkeypatch.setattr("curelab.progress.DELAY", 0.0)
    assert main(["run", str(DEMO), "--draws", "600"]) == 0
    assert capfd.readouterr().err == ""
    with progress.shown(True), progress.counted("at work", 2) as step:
        step()
    assert "at work" in capfd.readouterr().err
    with progress.shown(True), progress.counted("at work", about=4) as step:
        for _ in range(9):  # more than anybody knew
            step()
            time.sleep(0.02)  # what is drawn more often is left out
    assert re.findall(r"at work: +(\d+) %", capfd.readouterr().err)[-1] == "75"
    with progress.counted("at work", 2) as step:
        step()
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("words", "doing"),
    [
        (["compare", "demo_brisket.toml", "demo_brisket.toml"], "comparing batches"),
        (["learn", "demo_brisket.toml"], "fitting the model to the readings"),
    ],
)
def test_what_takes_long_counts_in_one_line_on_a_terminal(words, doing, monkeypatch, capfd):
    monkeypatch.setattr("curelab.progress.DELAY", 0.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    folder = datasets_folder()
    assert main([str(folder / word) if word.endswith(".toml") else word for word in words]) == 0
    shown = capfd.readouterr().err
    assert doing in shown and "\n" not in shown


def test_a_comparison_that_is_stopped_says_one_line_and_writes_nothing(monkeypatch, capsys, tmp_path):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("curelab.learn.compare.simulate", stopped)
    table = tmp_path / "table.csv"
    code, out, err = said(["compare", str(DEMO), str(DEMO), "--csv", str(table)], capsys)
    assert (code, out, err) == (130, "", "curelab: stopped.\n") and not table.exists()


def test_a_report_from_many_draws_asks_them_once_and_says_the_same(monkeypatch):
    for module in ("curelab.outcome", "curelab.spread.spread"):
        monkeypatch.setattr(sys.modules[module], "CHUNK", 64)  # draws beyond these are many
    batch = load(DEMO.with_name("demo_brisket.toml"))
    assert report.words(run_for(report.words, batch, 72)) == report.words(run(batch, draws=72))


# -- a fault of ours -------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def broken(monkeypatch, tmp_path):
    """A curelab that divides by zero, in a folder of its own."""
    monkeypatch.setattr("curelab.batch.load", lambda path: 1 / 0)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", "/home/anna")
    return tmp_path


def test_a_fault_of_ours_is_one_sentence_and_a_file_to_send(broken, capsys):
    code, out, err = said(["check", "/home/anna/secret.toml"], capsys)
    (kept,) = broken.iterdir()
    assert (code, out) == (70, "") and len(err.splitlines()) == 1 and "Traceback" not in err
    assert err.startswith("curelab: curelab met a fault of its own (ZeroDivisionError") and kept.name in err
    words = kept.read_text(encoding="utf-8")
    for part in (
        f"curelab {__version__}, Python 3.",
        "numpy",
        "['check', '~/secret.toml']",
        "ZeroDivisionError: division by zero",
    ):
        assert part in words
    assert "anna" not in words and "Nothing was sent" in words and "may say who you are" in words


def test_the_file_goes_where_one_can_be_written(broken, capsys, monkeypatch):
    make, other = tempfile.mkstemp, broken / "tmp"
    other.mkdir()

    def here_is_full(*, dir, **how):
        if dir == ".":
            raise PermissionError
        return make(dir=dir, **how)

    monkeypatch.setattr(tempfile, "mkstemp", here_is_full)
    monkeypatch.setattr(tempfile, "tempdir", str(other))
    code, _, err = said(["check", "x"], capsys)
    assert code == 70 and str(next(other.iterdir())) in err
    monkeypatch.setattr(tempfile, "mkstemp", lambda **how: make(dir="/nowhere/at/all"))
    code, _, err = said(["check", "x"], capsys)
    assert code == 70 and "say --debug to see it" in err and len(err.splitlines()) == 1


@linux
def test_a_full_disk_keeps_no_half_of_the_file_and_is_no_second_fault(tmp_path):
    """A disk that takes no byte has no folder for temporary files either, and Python tells so with an error of its own."""
    words = "import curelab.batch, curelab.__main__; curelab.batch.load = lambda path: {}['x' * 3000]; curelab.__main__.main(['check', 'x'])"
    own = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}  # or what is compiled is cut short too, and stays so
    for blocks in (0, 1):
        limited = ["bash", "-c", f'ulimit -f {blocks}; exec "$0" -c "$1"', sys.executable, words]
        ran = subprocess.run(limited, cwd=tmp_path, capture_output=True, text=True, env=own)
        assert ran.stderr.count("\n") == 1 and "say --debug to see it" in ran.stderr and not list(tmp_path.iterdir())


@pytest.mark.parametrize("words", [["--debug", "check", "x"], ["check", "x", "--debug"]])
def test_debug_shows_the_fault_instead(words, broken, capsys):
    code, _, err = said(words, capsys)
    assert code == 70 and err.startswith("Traceback") and not list(broken.iterdir())


# -- all tables or none ----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def outcome():
    return run(load(DEMO), draws=16)


@pytest.mark.parametrize("there", [True, False], ids=["a folder that is there", "one that is not"])
@pytest.mark.parametrize("broken", handful(["link", "fsync"], ["link"]))
def test_all_tables_or_none(broken, there, outcome, monkeypatch, tmp_path):
    folder, calls = tmp_path / "of" / "tables", []
    if there:
        folder.mkdir(parents=True)
        (folder / "mine.txt").write_text("mine", encoding="utf-8")
    real = getattr(os, broken)

    def third_time_unlucky(*given):
        calls.append(given)
        if len(calls) == 3:
            raise OSError(28, "No space left on device")
        return real(*given)

    with monkeypatch.context() as patched:
        patched.setattr(files.os, broken, third_time_unlucky)
        with pytest.raises(InputError, match="cannot be written: No space left on device; nothing was changed"):
            data.write_csv(outcome, folder)
    left = sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*"))
    assert left == (["of", "of/tables", "of/tables/mine.txt"] if there else [])
    assert [path.name for path in data.write_csv(outcome, folder)] == list(data.TABLES)
    assert all((folder / name).stat().st_size > 100 for name in data.TABLES)


@linux
def test_a_folder_that_takes_none_is_refused_before_the_work(capsys, monkeypatch):
    monkeypatch.setattr("curelab.outcome.run", lambda *given, **more: pytest.fail("it was run"))
    code, _, err = said(["run", str(DEMO), "--csv", "/proc/version/tables"], capsys)
    assert code == 2 and "is a file; name a folder" in err


def test_a_word_that_is_none_of_ours_is_told_with_those_that_are(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["what-if"])
    assert ended.value.code == 2
    assert (
        "no such word: what-if; the words are run, check, new, teach, figures, split, trim, fold, plan"
        in capsys.readouterr().err
    )


def test_a_refusal_is_the_first_thing_said_where_nothing_can_be_printed():
    """With nothing to print, a full screen is no matter."""
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "curelab", "check", "none.toml"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2 and done.stderr.startswith("curelab: none.toml")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["log", "FILE", "note"], "note: nothing is said"),
        (["log", "FILE", "note", "a\x85b"], "holds the control letter \\x85; take it out"),
        (["log", "FILE", "note", "a\u2028b"], "holds the control letter \\u2028; take it out"),
        (["run", "FILE", "--draws", "9" * 4000], "draws are out of range"),
    ],
)
def test_words_that_say_nothing_or_too_much_are_refused_in_short(words, said, tmp_path, capsys):
    file, before = tmp_path / "b.toml", DEMO.read_bytes()
    file.write_bytes(before)
    assert main([str(file) if word == "FILE" else word for word in words]) == 2
    err = capsys.readouterr().err
    assert said in err and max(map(len, err.splitlines())) < 200 and file.read_bytes() == before
