"""The border again: which letters are taken, how much of a message is a quote, how large and deep a file may be, and records that check themselves."""

from __future__ import annotations

import dataclasses
import os
import threading
import time

import pytest

from curelab import Criterion, InputError, Piece, files
from curelab.batch import Batch, Reading, load
from curelab.fields import MOST_PROBLEMS, Problem, Record, Rule, Words, from_plain, refuse, ruled
from curelab.letters import clipped, quoted, refused_letter, shown, visible
from curelab.recipe import criterion
from curelab.sources import datasets_folder
from curelab.tomlfile import LARGEST, read_table

# -- letters ---------------------------------------------------------------------------------------------------------------------------

REFUSED = {
    "ESC": "\x1b", "BEL": "\x07", "NUL": "\x00", "CR": "\r", "delete": "\x7f", "next line": "\x85", "C1": "\x9b", "line separator": "\u2028",
    "paragraph separator": "\u2029", "right-to-left override": "\u202e", "isolate": "\u2066", "half a letter": "\ud83e",
}  # fmt: skip


@pytest.mark.parametrize("letter", REFUSED.values(), ids=REFUSED)
def test_control_letters_are_refused_in_names_and_notes(letter):
    for make in (
        lambda: Piece(name=f"flat{letter}", thickness="6 cm", weight="2 kg"),
        lambda: from_plain(Piece, {"name": f"flat{letter}", "thickness": "6 cm", "weight": "2 kg"}),
        lambda: Reading(at="1 d", what="note", note=f"flat{letter}"),
    ):
        with pytest.raises(InputError) as refused:
            make()
        written = ascii(letter)[1:-1]
        where = refused.value.problems[0].where
        assert str(refused.value) == f'{where}: "flat{written}" holds the control letter {written}; take it out'


def test_a_name_is_one_line_and_a_note_may_be_several():
    assert Reading(at="1 d", what="note", note="one\n\ttwo").note == "one\n\ttwo"
    with pytest.raises(InputError, match="holds the control letter"):
        Piece(name="one\ntwo", thickness="6 cm", weight="2 kg")
    for name in ("Räucherlachs", "خروف", "\N{BACON}\u200d\N{FIRE}", "a\u00a0b"):
        assert Piece(name=name, thickness="6 cm", weight="2 kg").name == name


def test_any_rule_is_kept_from_control_letters_and_from_long_quotes():
    class Echo(Rule):
        def read(self, given, strict):
            raise refuse("", f'{given!r} and "{given}" and {given[:1]!r} are wrong')

    class Parrot(Record):
        words: str = ruled(Echo())

    for given in ("\x07", ["flat", "\x07"]):  # alone, and in a list of names
        with pytest.raises(InputError, match=r'"\\x07" holds the control letter \\x07'):
            Parrot(words=given)
    with pytest.raises(InputError) as refused:
        Parrot(words="x" * 5000)
    assert str(refused.value).count("x") < 130
    with pytest.raises(InputError) as refused:
        Parrot(words=["y" * 5000, 3])
    assert str(refused.value).count("y") < 240


@pytest.mark.parametrize(
    "words",
    [quoted("\x1b" * 5000), shown("\x1b" * 5000), shown(["z" * 5000] * 5000), shown(10**5000), shown(b"\x1b" * 99)],
)
def test_a_quote_is_short_and_clean(words):
    assert refused_letter(words) is None and len(words) <= 4 * 60 + 2


def test_a_problem_can_be_printed_whoever_made_it():
    problem = Problem("a\x1b" * 500, "b\n\u2028" * 5000)
    assert refused_letter(str(problem)) is None and len(str(problem)) < 1100
    assert (clipped("a" * 61), visible("a\tb\n", lines=True)) == ("a" * 57 + "...", "a\tb\n")


def test_a_message_lists_fifty_problems_and_keeps_them_all():
    error = InputError([Problem(f"[{n}]", "is wrong; mend it") for n in range(MOST_PROBLEMS + 7)])
    assert len(error.problems) == 57 and str(error).splitlines()[-2:] == ["[49]: is wrong; mend it", "and 7 more"]
    assert "more" not in str(InputError(error.problems[:MOST_PROBLEMS]))


def test_a_table_of_strange_fields_is_refused_at_once():
    begun = time.perf_counter()
    with pytest.raises(InputError) as refused:
        from_plain(Piece, {f"thicknes{n}": n for n in range(100_000)})
    assert time.perf_counter() - begun < 10 and len(refused.value.problems) == 100_002
    assert 'did you mean "thickness"?' in str(refused.value)


# -- files -----------------------------------------------------------------------------------------------------------------------------

FILES = {
    "an integer of 5,000 digits": ("a = " + "9" * 5000, "more than 18 digits"),
    "the same in base sixteen": ("a = 0x" + "f" * 5000, "more than 18 digits"),
    "one above 64 bits, deep inside": ("a = [[{b = 9223372036854775808}]]", "more than 18 digits"),
    "keys 3,000 deep": (".".join("a" * 3000) + " = 1", "nested too deeply"),
    "keys 100,000 deep": (".".join("a" * 100_000) + " = 1", "nested too deeply"),
    "quoted keys": ('"a b" . ' * 3000 + "'c' = 1", "nested too deeply"),
    "text keys of many lines": ("'a' . \"b\" . " * 5 + "c = 1", "nested too deeply"),
    "keys behind a text that ends in quotes": (
        'a = {b = """c""""", ' + ".".join("d" * 3000) + " = 1}",
        "nested too deeply",
    ),
    "texts that never end": ('"\\' * 1_000_000, "is not complete TOML"),
    "a head 3,000 deep": (f"[{'.'.join('a' * 3000)}]", "nested too deeply"),
    "keys inside a table": (f"a = {{{'.'.join('a' * 3000)} = 1}}", "nested too deeply"),
    "lists 100 deep": ("a = " + "[" * 100 + "]" * 100, "nested too deeply"),
    "lists 100,000 deep": ("a = " + "[" * 100_000 + "]" * 100_000, "nested too deeply"),
    "tables 21 deep": ("a = " + "{a = " * 21 + "1" + "}" * 21, "nested too deeply"),
    "a day that is not": ("a = 2026-02-30", "is not complete TOML"),
}


@pytest.mark.parametrize(("text", "sentence"), FILES.values(), ids=FILES)
def test_a_file_that_no_batch_is_like_is_refused_at_once(text, sentence, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(text, encoding="utf-8")
    begun = time.perf_counter()
    with pytest.raises(InputError, match=sentence) as refused:
        read_table(path)
    assert time.perf_counter() - begun < 5 and len(str(refused.value)) < 300


def test_what_is_deep_but_not_too_deep_is_read(tmp_path):
    path = tmp_path / "deep.toml"
    path.write_text(
        f'{".".join("a" * 8)} = "{"x." * 40}" # {"y." * 40}\n"c.{"c." * 40}" = {"[" * 18 + "]" * 18}\nb = -9223372036854775807\n',
        encoding="utf-8",
    )
    assert read_table(path)["b"] == -(2**63) + 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of a Unix")
def test_a_pipe_is_read_and_an_endless_one_is_left(tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)

    left = []

    def write(content):
        try:
            pipe.write_bytes(content)
        except BrokenPipeError:
            left.append(len(content))

    demo = datasets_folder() / "demo_loin.toml"
    for content, wanted in ((demo.read_bytes(), load(demo)), (b" " * 3 * LARGEST, None)):
        writer = threading.Thread(target=write, args=(content,))
        writer.start()
        if wanted is None:
            with pytest.raises(InputError, match="has more than 5 MB"):
                load(pipe)
        else:
            assert load(pipe) == wanted
        writer.join(timeout=30)
        assert not writer.is_alive()
    assert left == [3 * LARGEST]  # the rest was not asked for


def test_files_keep_mode_and_links_when_written_over(tmp_path):
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("old", encoding="utf-8")
    real.chmod(0o640)
    link.symlink_to(real)
    files.write(link, b"new", overwrite=True)
    assert link.is_symlink() and real.read_bytes() == b"new" and real.stat().st_mode & 0o777 == 0o640
    files.write(tmp_path / "fresh.txt", b"x")
    mask = os.umask(0)
    os.umask(mask)
    assert (tmp_path / "fresh.txt").stat().st_mode & 0o777 == 0o666 & ~mask
    with pytest.raises(InputError, match="left as it was"):
        files.write_new({tmp_path / "other.txt": b"x", link: b"newer"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fresh.txt", "link.txt", "real.txt"]


# -- records check themselves ----------------------------------------------------------------------------------------------------------

GOOD = {"place": "core", "quantity": "salt", "sign": ">=", "target": 0.9, "basis": "equilibrium"}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("place", "edge"), ("place", None), ("place", ["core"]), ("quantity", "NaCl"), ("quantity", "Salt"), ("sign", "=>"), ("sign", ">"),
        ("basis", "dry"), ("basis", ""), ("target", 0.0), ("target", 1.5), ("target", float("nan")), ("target", "90 kg"), ("target", True),
    ],
)  # fmt: skip
def test_a_criterion_checks_itself_however_it_is_made(field, value):
    for make in (
        lambda: Criterion(**GOOD | {field: value}),
        lambda: dataclasses.replace(Criterion(**GOOD), **{field: value}),
    ):
        with pytest.raises(InputError) as refused:
            make()
        assert [problem.where for problem in refused.value.problems] == [field]


def test_a_criterion_tells_all_that_is_wrong_and_reads_middle_as_core():
    with pytest.raises(InputError) as refused:
        Criterion("centre", "slat", "=>", 3.0, "of the meat")
    assert [problem.where for problem in refused.value.problems] == ["place", "quantity", "sign", "target", "basis"]
    assert 'did you mean "salt"?' in str(refused.value)
    assert Criterion("middle", "salt", ">=", "90 %", "equilibrium") == Criterion(**GOOD)
    assert Criterion.parse("Middle salt >= 90 % of equilibrium") == Criterion(**GOOD)
    with pytest.raises(ValueError, match="is not a criterion"):
        Criterion.parse("core salt => 90 %")
    with pytest.raises(ValueError) as long:
        Criterion.parse("core salt >= " + "9" * 5000)
    assert len(str(long.value)) < 200


def test_the_words_of_a_reading_go_through_one_validator():
    assert (
        criterion.place_of("middle") == "core"
        and criterion.basis_of("meat") == "meat"
        and criterion.sign_of("<=") == "<="
    )
    assert criterion.quantity_of("free nitrite") == "free nitrite"
    assert criterion.place_of("first bite", ("core", "first bite")) == "first bite"
    for read, word in (
        (criterion.place_of, "rim"),
        (criterion.quantity_of, "NaCl"),
        (criterion.basis_of, "all"),
        (criterion.sign_of, "="),
    ):
        with pytest.raises(InputError, match=f'^{read.__name__.removesuffix("_of")}: "{word}" is not one of'):
            read(word)


def every_record(record=Record):
    for each in record.__subclasses__():
        if each.__module__.startswith("curelab."):
            yield from ([each] if "<locals>" not in each.__qualname__ else [])
            yield from every_record(each)


class Strange:
    """What no field takes."""


RECORDS = sorted({each for each in every_record() if dataclasses.fields(each)}, key=lambda each: each.__qualname__)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_every_record_checks_every_field_however_it_is_made(record):
    """Each field is given a thing that no rule takes; whichever way it comes, its name stands among the problems."""
    assert len(RECORDS) > 15 and Batch in RECORDS
    names = [spec.name for spec in dataclasses.fields(record)]
    strange = {name: Strange() for name in names}
    for make in (lambda: record(**strange), lambda: from_plain(record, strange)):
        with pytest.raises(InputError) as refused:
            make()
        assert {problem.where for problem in refused.value.problems} >= set(names)
    for name in names:
        with pytest.raises(InputError) as refused:
            record(
                **{name: Strange()} | {other.name: 1.0 for other in dataclasses.fields(record) if other.name != name}
            )
        assert name in {problem.where for problem in refused.value.problems}


def test_a_choice_takes_its_own_sort_only():
    """True is 1 to Python, and no number of a schema."""
    for given in (True, 1.0, "1", 2, [1]):
        with pytest.raises(InputError, match=r"^schema: "):
            Batch(schema=given, name="x", pieces=(), stages=())


def test_words_longer_than_a_name_are_notes():
    assert (Words(200).lines, Words(201).lines) == (False, True)
