"""Lines from a page to carry: read back, never doubled, each fault one sentence, nothing half-written."""

from __future__ import annotations

import io
from datetime import datetime

import pytest

from curelab.__main__ import main
from curelab.batch import Reading, load
from curelab.fields import InputError
from curelab.paper import pasted
from curelab.paper.pasted import line, new, readings
from curelab.sources import datasets_folder

DEMO = datasets_folder() / "demo_brisket.toml"
START = datetime(2026, 3, 2, 9)


@pytest.fixture(scope="module")
def batch():
    return load(DEMO)


@pytest.fixture
def file(tmp_path):
    made = tmp_path / "batch.toml"
    made.write_bytes(DEMO.read_bytes())
    return made


def one(batch, at="2026-03-04 09:12", what="note", value="", piece="", note="floats"):
    return line(batch.known_by, at, what, value, piece, note)


def problems(text, batch, start=START):
    with pytest.raises(InputError) as refused:
        readings(text, batch, start)
    return [str(problem) for problem in refused.value.problems]


def test_a_line_keeps_every_letter_of_a_note(batch):
    note = r'a | b \ c \| "d" é 肉 <b>'
    (found,) = readings(one(batch, note=note), batch, START)
    assert (found.note, found.at) == (note, 2 * 86400.0 + 12 * 60.0)


def test_lines_that_a_mail_broke_or_ran_together_are_whole_again(batch):
    first, second = one(batch), one(batch, "2026-03-05 10:00", "weight", "2.31 kg", "point")
    for text in (f"{first}\n{second}", f"{first} {second}", f"> {first}\n> {second}", f"{first}\r\n\n{second}\n"):
        assert [each.what for each in readings(text, batch, START)] == ["note", "weight"]
    broken = first.replace(" | ", "\n| ")
    assert readings(broken, batch, START) == readings(first, batch, START)


@pytest.mark.parametrize("cut", range(12, 66, 6))
def test_half_a_line_is_seen_wherever_it_was_cut(batch, cut):
    said = problems(one(batch)[:cut], batch)
    assert len(said) == 1 and ("copy it from the page again" in said[0] or "copy the lines" in said[0])


def test_each_fault_is_one_sentence_and_all_are_told_at_once(batch):
    said = problems(
        "\n".join(
            (
                "from the kitchen",
                line("another", "2026-03-04 09:12", "note", note="x"),
                one(batch).replace("floats", "sinks"),
                "curelab9 f0e00dab | x",
                one(batch, what="weight", value="2.3"),
                one(batch, "2026-02-30 09:12"),
                one(batch, "2026-03-01 09:12", "weight", "2.3 kg"),
                one(batch, what="weight", value="2.3 kg", piece="shank"),
                one(batch, what="unicorns"),
            )
        ),
        batch,
    )
    for place, words in zip(
        ("--paste", *(f"line {n}" for n in range(1, 9))),
        (
            "is no line of a page",
            'of batch "another"',
            "was changed",
            "use the version that made the page",
            "needs a unit",
            "",
            "before the start",
            'no piece "shank"',
            "unicorns",
        ),
        strict=True,
    ):
        assert any(each.startswith(f"{place}:") and words in each for each in said), (place, words, said)
    assert len(said) == 9


def test_the_end_says_how_many_lines_there_were(batch):
    second = one(batch, "2026-03-05 10:00")
    whole = f"{one(batch)}\n{second}\ncurelab1 end 2\n\nSent from a phone"
    assert len(readings(whole, batch, START)) == 2
    assert problems(whole.replace(second, ""), batch) == ["--paste: 2 lines were copied, and 1 came; copy them again"]
    (said,) = problems(f"{one(batch)} curelab1 end {'9' * 5000}", batch)  # a number that Python does not read
    assert "is not whole, or was changed" in said and len(said) < 200


def test_nothing_pasted_and_no_start_are_told(batch):
    assert "begins with" in problems("", batch)[0] and "begins with" in problems("hello", batch)[0]
    assert problems(one(batch), batch, None)[0].startswith("start: the batch has no start")


def test_a_note_from_before_the_start_is_kept_with_its_time(batch):
    (found,) = readings(one(batch, "2026-03-01 18:30", note="weighed: water, 5 kg"), batch, START)
    assert found.at == 0 and found.note == "weighed: water, 5 kg (2026-03-01 18:30, before the start)"


def test_what_is_there_already_is_not_new():
    log = (Reading(at="2 d", what="weight", value="2310 g", piece="a"), Reading(at="2 d", what="note", note="floats"))
    same = Reading(at="48 h", what="weight", value="2.31 kg", piece="a", note="other words")
    others = (
        Reading(at="48 h", what="weight", value="2.32 kg", piece="a"),
        Reading(at="48 h", what="weight", value="2.31 kg", piece="b"),
        Reading(at="49 h", what="weight", value="2.31 kg", piece="a"),
        Reading(at="2 d", what="note", note="sinks"),
    )
    assert new((same, *others, others[0], log[1]), log) == others


def test_the_checksum_is_the_published_one():
    """Fowler, Noll and Vo's own test vectors of FNV-1a, 32 bit (their test_fnv.c): of "", "a" and "foobar"."""
    assert [pasted.checked(each) for each in ("", "a", "foobar")] == ["811c9dc5", "e40c292c", "bf9cf968"]


# -- the command -------------------------------------------------------------------------------------------------------


def test_pasted_lines_are_shown_then_written_and_never_twice(file, tmp_path, capsys):
    batch, before = load(file), file.read_bytes()
    lines = tmp_path / "lines.txt"
    lines.write_text(
        f"{one(batch)}\n{one(batch, '2026-03-05 10:00', 'weight', '2.31 kg', 'point')}\n", encoding="utf-8"
    )
    assert main(["log", str(file), "--paste", str(lines)]) == 0
    said = capsys.readouterr().out
    assert "2 readings to write" in said and "weight 2.31 kg [point]" in said and "Nothing is written yet" in said
    assert file.read_bytes() == before
    assert main(["log", str(file), "--paste", str(lines), "--yes"]) == 0
    assert "Wrote 2 readings" in capsys.readouterr().out
    after = file.read_bytes()
    assert after.startswith(before)  # all that stood there stays to the byte
    assert load(file).log[len(batch.log) :] == readings(lines.read_text(encoding="utf-8"), batch, START)
    assert main(["log", str(file), "--paste", str(lines), "--yes"]) == 0
    assert "Nothing to write. 2 are there already" in capsys.readouterr().out
    assert file.read_bytes() == after
    assert main(["log", str(file), "--undo"]) == 0  # and each can be taken out again
    assert len(load(file).log) == len(batch.log) + 1


def test_one_bad_line_and_nothing_is_written(file, tmp_path, capsys):
    batch, before = load(file), file.read_bytes()
    lines = tmp_path / "lines.txt"
    lines.write_text(f"{one(batch)}\n{one(batch)[:-3]}", encoding="utf-8")
    assert main(["log", str(file), "--paste", str(lines), "--yes"]) == 2
    assert "line 2" in capsys.readouterr().err and file.read_bytes() == before


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", None])
def test_what_is_no_text_or_not_there_is_told(file, tmp_path, capsys, content):
    lines = tmp_path / "lines.txt"
    if content is not None:
        lines.write_bytes(content)
    assert main(["log", str(file), "--paste", str(lines)]) == 2
    said = capsys.readouterr().err
    assert ("is no text" if content else "cannot be read") in said


class Typed(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("answer", "written"), [("yes", 1), ("no", 0), ("", 0)])
def test_typed_in_the_command_asks_before_it_writes(file, monkeypatch, capsys, answer, written):
    batch = load(file)
    monkeypatch.setattr("sys.stdin", Typed(f"{one(batch)}\n\ncurelab1 end 1\n{answer}\n"))
    assert main(["log", str(file), "--paste"]) == 0
    shown = capsys.readouterr()
    assert "1 reading to write" in shown.err and "floats" in shown.err
    assert len(load(file).log) - len(batch.log) == written
    assert ("Wrote 1 reading" if written else "Nothing was written") in shown.out
