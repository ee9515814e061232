"""The log: nothing else in the file is touched, and nothing is lost by a crash, a full disk, or two writers."""

from __future__ import annotations

import csv
import errno
import io
import os
import signal
import subprocess
import sys
import textwrap
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curelab.__main__ import main
from curelab.batch import READINGS, Reading, load
from curelab.fields import InputError
from curelab.letters import refused_letter
from curelab.paper import logbook
from curelab.paper.carry import carry
from curelab.paper.logbook import append_reading, as_csv, locked, save_keeping_log, undo
from curelab.recipe.meat_and_fridge import Known, MeatAndFridge
from curelab.recipe.stages import Rest
from curelab.sources import datasets_folder

DAY = 86400.0
TEXT = """# My own words; curelab keeps them.
schema = 1
name = "test"   # here too
start = "2026-03-28 09:00"

[[pieces]]
name = "point"
thickness = "8 cm"
weight = "2 kg"

[[stages]]
do = "rest"
temperature = "3 degC"
lasts = "9 d"

[plan]
zone = "Europe/Berlin"
"""
TURNED = Reading(at=DAY, what="turned")
posix = pytest.mark.skipif(os.name == "nt", reason="signals and limits of a Unix")


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "batch.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def litter(file):
    return sorted(path.name for path in file.parent.iterdir() if path != file)


# -- append, undo ----------------------------------------------------------------------------------


def test_a_reading_is_added_and_the_rest_stays_to_the_byte(file):
    reading = Reading(
        at=2.5 * DAY, what="weight", value="2.1 kg", error="20 g", piece="point", note='after "rinsing"\\ it'
    )
    after = append_reading(file, reading)
    assert file.read_text(encoding="utf-8").startswith(TEXT) and not litter(file)
    assert load(file) == after and after.log == (reading,)
    append_reading(file, TURNED)
    assert load(file).log == (reading, TURNED)


def test_the_clock_time_stands_beside_as_a_comment(file):
    from datetime import datetime
    from zoneinfo import ZoneInfo

    start = datetime(2026, 3, 28, 9, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    append_reading(file, TURNED, start=start)
    assert 'at = "1 d"  # Sun 29 Mar 2026 10:00\n' in file.read_text(
        encoding="utf-8"
    )  # an hour later: the clocks went forward
    assert undo(file) == TURNED and file.read_text(encoding="utf-8") == TEXT


LETTERS = st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")).filter(
    lambda letter: refused_letter(letter) is None
)
VALUES = {"mass": "2.1 kg", "fraction": "3.4 %", "temperature": "38 degF", "plain": "5.6", "word": "Too salty", "": ""}
readings = st.builds(
    lambda at, what, note: Reading(at=at, what=what, value=VALUES[READINGS[what]], note=note),
    st.floats(0, 400 * DAY), st.sampled_from(sorted(READINGS)), st.text(LETTERS, max_size=60),
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    many=st.lists(readings, min_size=1, max_size=4),
    ends=st.sampled_from(["\n", "", "\n\n\n", "\n# the end", "\r\n"]),
)
def test_whatever_was_added_is_read_back_and_undone(file, many, ends):
    text = TEXT.rstrip("\n") + ends
    if ends == "\r\n":
        text = TEXT.replace("\n", "\r\n")
    file.write_bytes(text.encode("utf-8"))
    for number, reading in enumerate(many, 1):
        append_reading(file, reading)
        assert load(file).log == tuple(many[:number]) and file.read_bytes().startswith(text.encode("utf-8"))
    for reading in reversed(many):
        assert undo(file) == reading
    assert file.read_bytes().rstrip() == text.encode("utf-8").rstrip() and load(file).log == ()


def test_undo_takes_only_what_was_added_here(file):
    with pytest.raises(InputError, match="is empty"):
        undo(file)
    by_hand = TEXT + '\n[[log]]\nat = "1 d"\nwhat = "turned"\n'
    file.write_text(by_hand, encoding="utf-8")
    with pytest.raises(InputError, match="by hand"):
        undo(file)
    append_reading(file, Reading(at=2 * DAY, what="weight", value="2 kg"))
    touched = (
        file.read_text(encoding="utf-8")
        .replace('"2 kg"\n', '"2.05 kg"\n')
        .replace('weight = "2.05 kg"', 'weight = "2 kg"')
    )
    for text in (
        touched,
        file.read_text(encoding="utf-8") + "# so it was\n",
        file.read_text(encoding="utf-8") + 'note = "mine"\n',
        file.read_text(encoding="utf-8") + "\n[x]\n",
    ):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(InputError):
            undo(file)
        assert file.read_text(encoding="utf-8") == text
        file.write_text(by_hand, encoding="utf-8")
        append_reading(file, Reading(at=2 * DAY, what="weight", value="2 kg"))
    undo(file)
    assert file.read_text(encoding="utf-8") == by_hand


def test_a_reading_that_is_no_good_changes_nothing(file):
    with pytest.raises(InputError, match="no piece"):
        append_reading(file, Reading(at=0.0, what="weight", value="2 kg", piece="nobody"))
    file.write_text(TEXT + "[broken", encoding="utf-8")
    with pytest.raises(InputError, match="not complete TOML"):
        append_reading(file, TURNED)
    assert file.read_text(encoding="utf-8") == TEXT + "[broken"
    with pytest.raises(InputError, match="does not exist"):
        append_reading(file.with_name("none.toml"), TURNED)


def test_a_log_in_brackets_is_kept_with_what_is_said_around_it(file):
    text = TEXT.replace("start =", 'log = [{ at = "1 h", what = "turned" }]  # on one line\nstart =')
    file.write_text(text, encoding="utf-8")
    append_reading(file, TURNED)
    assert [entry.at for entry in load(file).log] == [3600.0, DAY]
    after = file.read_text(encoding="utf-8").splitlines()
    assert [line for line in after if line[:3] != "log"] == [line for line in text.splitlines() if line[:3] != "log"]
    assert any(line.endswith("]  # on one line") for line in after)


@posix
def test_a_link_stays_a_link_and_rights_stay(file):
    file.chmod(0o640)
    link = file.with_name("link.toml")
    link.symlink_to(file)
    append_reading(link, TURNED)
    assert link.is_symlink() and len(load(file).log) == 1 and file.stat().st_mode & 0o777 == 0o640


def test_saving_a_batch_keeps_what_others_logged_meanwhile(file):
    mine = load(file)
    append_reading(file, TURNED)
    with_log = file.read_text(encoding="utf-8")
    kept = save_keeping_log(mine.but(name="renamed"), file)
    assert kept.log == (TURNED,) and load(file) == kept and kept.name == "renamed"
    assert file.read_text(encoding="utf-8") == with_log.replace('name = "test"', 'name = "renamed"')  # comments too


def comments(words):
    return [line[line.index("#") :] for line in words.splitlines() if "#" in line]


def test_saving_changes_what_differs_and_keeps_the_comments(file):
    before = (datasets_folder() / "new_batch.toml").read_text(encoding="utf-8")
    file.write_bytes(before.replace("\n", "\r\n").encode("utf-8"))
    batch = load(file)
    piece, *others = batch.pieces
    stages = (*batch.stages, Rest(temperature="3 degC", lasts="2 d"))
    kept = save_keeping_log(batch.but(pieces=(replace(piece, weight=3.25), *others), stages=stages), file)
    assert load(file) == kept and kept.pieces[0].weight == 3.25 and len(kept.stages) == len(batch.stages) + 1
    assert len(comments(before)) > 10 and comments(file.read_text(encoding="utf-8")) == comments(before)
    assert b"\n" not in file.read_bytes().replace(b"\r\n", b"")
    save_keeping_log(batch, file)
    assert load(file) == batch and comments(file.read_text(encoding="utf-8")) == comments(before)


def test_what_cannot_be_changed_in_place_is_left(file, monkeypatch):
    monkeypatch.setattr(logbook, "edited", lambda words, before, after: words)
    with pytest.raises(InputError, match="without losing what else stands in it"):
        save_keeping_log(load(file).but(name="renamed"), file)
    assert file.read_text(encoding="utf-8") == TEXT


# -- an editor, which knows of no lock --------------------------------------------------------------


def saved_meanwhile(monkeypatch, file, words, times=1, by_rename=False):
    """Just before ours is put in its place, an editor saves the file, so many times."""
    left, sync = [times], os.fsync

    def editor(handle):
        sync(handle)
        if left[0]:
            left[0] -= 1
            target = file.with_name("editor~") if by_rename else file
            target.write_text(words + "\n" * left[0], encoding="utf-8")
            os.replace(target, file)

    monkeypatch.setattr(logbook.files.os, "fsync", editor)


@pytest.mark.parametrize("by_rename", [True, False])
@pytest.mark.parametrize("act", ["append", "undo", "save", "carry"])
def test_a_save_between_our_reading_and_our_writing_stays_and_so_does_ours(file, monkeypatch, capsys, act, by_rename):
    if act == "undo":
        append_reading(file, TURNED)
    mine, theirs = load(file), file.read_text(encoding="utf-8").replace("# here too", "# edited meanwhile")
    saved_meanwhile(monkeypatch, file, theirs, by_rename=by_rename)
    if act == "append":
        append_reading(file, TURNED)
        assert load(file).log == (TURNED,)
    elif act == "undo":
        undo(file)
        assert load(file).log == ()
    elif act == "save":
        save_keeping_log(mine.but(name="renamed"), file)
        assert load(file).name == "renamed"
    else:
        known = [Known(key="obstruction.lean", low=0.4, value=0.46, high=0.53)]
        carry(file, MeatAndFridge(schema=1, name="My butcher", known=known, learned_from="March (m1)"))
        assert load(file).meat_and_fridge.name == "My butcher"
    assert "# edited meanwhile" in file.read_text(encoding="utf-8") and not litter(file)
    assert "batch.toml was saved by another program meanwhile; what it saved stays" in capsys.readouterr().err


def test_a_save_while_we_read_is_seen_too(file, monkeypatch):
    right, saves = logbook.bytes_of, [TEXT.replace("8 cm", "7.5 cm")]

    def read_and_saved(path):
        content = right(path)
        if saves:
            file.write_text(saves.pop(), encoding="utf-8")
        return content

    monkeypatch.setattr(logbook, "bytes_of", read_and_saved)
    assert append_reading(file, TURNED) == load(file)
    assert load(file).pieces[0].thickness == 0.075 and load(file).log == (TURNED,)


def test_a_save_that_is_broken_is_left_and_told(file, monkeypatch):
    saved_meanwhile(monkeypatch, file, TEXT + "[half", by_rename=True)
    with pytest.raises(InputError, match="not complete TOML"):
        append_reading(file, TURNED)
    assert file.read_text(encoding="utf-8") == TEXT + "[half" and not litter(file)


def test_a_file_that_is_saved_without_end_is_left(file, monkeypatch):
    saved_meanwhile(monkeypatch, file, TEXT, times=1000)
    with pytest.raises(InputError, match="again and again; nothing was changed"):
        append_reading(file, TURNED)
    assert load(file).log == () and not litter(file)


@posix
def test_a_file_that_may_only_be_read_is_not_logged_into(file):
    file.chmod(0o444)
    with pytest.raises(InputError, match="may only be read"):
        append_reading(file, TURNED)
    assert file.read_text(encoding="utf-8") == TEXT and not litter(file)


# -- faults ----------------------------------------------------------------------------------------


def child(file, words, **more):
    """Start another Python on this file."""
    code = (
        f"import sys\nfrom curelab.paper import logbook\nfrom curelab.batch import Reading\nfile = {str(file)!r}\n"
        + textwrap.dedent(words)
    )
    return subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=Path(logbook.__file__).parents[1],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,
    )


@posix
@pytest.mark.parametrize("where", ["os.replace", "os.fsync", "os.chmod", "secrets.token_hex"])
def test_a_crash_in_mid_write_leaves_the_old_file(file, where):
    before = file.read_bytes()
    module, name = where.split(".")
    dead = child(
        file,
        f"""
        import os, signal, {module}
        {module}.{name} = lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL)
        logbook.append_reading(file, Reading(at=0.0, what="turned"))
        """,
    )
    assert dead.wait(60) == -signal.SIGKILL
    dead.communicate()
    assert file.read_bytes() == before
    append_reading(file, TURNED, wait=1.0)  # no lock is left behind
    assert load(file).log == (TURNED,) and not litter(file)  # and the dead one's half file is gone


@posix
def test_killed_at_any_moment_every_line_that_was_acknowledged_is_there(file):
    """A writer is killed at many moments: what it said it wrote is in the file, and at most the one line it was busy with besides."""
    seen = 0
    for round_ in range(8):
        writer = child(
            file,
            """
            print("ready", flush=True)
            for n in range(10000):
                logbook.append_reading(file, Reading(at=60.0 * n, what="note", note="x" * 400))
                print(n, flush=True)
            """,
        )
        assert writer.stdout.readline() == "ready\n"
        acknowledged = [writer.stdout.readline()]  # one line is safe; the kill comes at some moment of a later one
        time.sleep(0.011 * round_)
        writer.kill()
        said = len(acknowledged) + len(
            writer.stdout.read().split()
        )  # what readline() read ahead too, which communicate() passes over
        writer.communicate()
        count = len(load(file).log)
        assert seen + said <= count <= seen + said + 1
        seen = count
    assert seen >= 8
    append_reading(file, TURNED)
    assert not litter(file)


@pytest.mark.parametrize("function", ["fsync", "fdopen", "replace"])
def test_a_full_disk_changes_nothing_and_says_so(file, monkeypatch, function):
    before = file.read_bytes()

    def full(*arguments, **names):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(logbook.files.os, function, full)
    with pytest.raises(InputError, match="No space left on device; nothing was changed"):
        append_reading(file, TURNED)
    monkeypatch.undo()
    assert file.read_bytes() == before and not litter(file)
    append_reading(file, TURNED)


@posix
def test_a_limit_of_the_system_on_file_size_changes_nothing(file):
    """A real short write: the system lets the file grow to 100 bytes and no further."""
    before = file.read_bytes()
    writer = child(
        file,
        """
        import resource, signal
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        try:
            logbook.append_reading(file, Reading(at=0.0, what="turned"))
        except ValueError as error:
            print(error)
        """,
    )
    said, _ = writer.communicate(timeout=60)
    assert "nothing was changed" in said and file.read_bytes() == before and not litter(file)


def test_two_writers_lose_no_line_of_each_other(file):
    words = """
    for n in range(50):
        logbook.append_reading(file, Reading(at=60.0 * n, what="note", note=f"{WHO} {n}"), wait=60.0)
    """
    writers = [child(file, f"WHO = {who!r}\n" + textwrap.dedent(words)) for who in ("anna", "ben")]
    for writer in writers:
        _, trouble = writer.communicate(timeout=120)
        assert writer.returncode == 0, trouble
    notes = [entry.note for entry in load(file).log]
    assert sorted(notes) == sorted(f"{who} {n}" for who in ("anna", "ben") for n in range(50))
    for who in ("anna", "ben"):  # each in its own order
        assert [note for note in notes if note.startswith(who)] == [f"{who} {n}" for n in range(50)]
    assert not litter(file)


def test_who_waits_too_long_is_told(file):
    with locked(file), pytest.raises(InputError, match="another program is writing"):
        append_reading(file, TURNED, wait=0.05)
    assert file.read_text(encoding="utf-8") == TEXT


# -- CSV and command -------------------------------------------------------------------------------


def test_the_table_holds_every_reading(file):
    append_reading(file, Reading(at=1.5 * DAY, what="temperature", value="38 degF", error="1"))
    append_reading(file, Reading(at=2 * DAY, what="note", note='with "quotes", commas\nand lines'))
    from datetime import datetime
    from zoneinfo import ZoneInfo

    rows = list(
        csv.DictReader(io.StringIO(as_csv(load(file), datetime(2026, 3, 28, 9, 0, tzinfo=ZoneInfo("Europe/Berlin")))))
    )
    assert [row["note"] for row in rows] == ["", 'with "quotes", commas\nand lines']
    assert (
        float(rows[0]["value_si"]) == pytest.approx(273.15 + (38 - 32) / 1.8, rel=1e-12) and rows[0]["si_unit"] == "K"
    )
    assert rows[0]["at_days"] == "1.5000" and rows[0]["clock"] == "2026-03-29 22:00+02:00" and rows[1]["si_unit"] == ""


def test_the_command_logs_lists_and_undoes(file, capsys, tmp_path):
    def run(*words):
        code = main(["log", str(file), *words])
        return code, capsys.readouterr()

    assert run("weight", "2.1", "kg", "--piece", "point", "--after", "3 d")[0] == 0
    assert run("brine", "strength", "3.4 %", "--at", "2026-03-30 10:00", "--error", "0.1 %")[0] == 0
    assert run("turned", "floats", "a little", "--after", "2 d")[0] == 0
    log = load(file).log
    assert [(entry.what, entry.value, entry.note) for entry in log] == [
        ("weight", "2.1 kg", ""), ("brine strength", "3.4 %", ""), ("turned", "", "floats a little"),
    ]  # fmt: skip
    assert log[1].at == 2 * DAY  # from 09:00 of winter time to 10:00 of summer time
    listed = run()[1].out
    assert len(listed.splitlines()) == 3 and "Mon 30 Mar 2026 10:00" in listed
    assert run("--csv", str(tmp_path / "log.csv"))[0] == 0 and len((tmp_path / "log.csv").read_text().splitlines()) == 4
    assert run("--undo")[0] == 0 and len(load(file).log) == 2
    before = file.read_bytes()
    for words in (
        ("weight", "2.1", "--after", "1 d"), ("height", "3"), ("turned", "--at", "2026-03-01 09:00"), ("turned", "--after", "soon"),
        ("turned", "--undo"), ("turned", "--at", "2026-03-29 02:30"), ("--csv", str(tmp_path / "log.csv")),
    ):  # fmt: skip
        code, said = run(*words)
        assert code == 2 and "nothing was written" in said.err and "Traceback" not in said.err, words
    assert file.read_bytes() == before


def test_a_batch_without_dates_wants_to_know_after_how_long(file, capsys):
    file.write_text(
        TEXT.replace('start = "2026-03-28 09:00"\n', "").replace('[plan]\nzone = "Europe/Berlin"\n', ""),
        encoding="utf-8",
    )
    assert main(["log", str(file), "turned"]) == 2 and "--after" in capsys.readouterr().err
    assert main(["log", str(file), "turned", "--after", "1 d"]) == 0 and load(file).log == (TURNED,)
