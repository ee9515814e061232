"""`curelab split`, `trim` and `fold` as a person meets it, and what `check` says of a weight that does not fit the measures."""

from __future__ import annotations

import re
import tomllib

import pytest

from curelab import Piece
from curelab.__main__ import main
from curelab.batch import from_table, load
from curelab.fields import from_plain, refuse, to_plain
from curelab.outcome import run
from curelab.paper.cutting_command import _rounded
from curelab.recipe.cutting import split
from curelab.sources import default_numbers
from curelab.units import read

pytestmark = pytest.mark.usefixtures("few_reports")

BATCH = """
schema = 1
name = "strip"
[[pieces]]
name = "strip"
shape = "block"
thickness = "5 cm"
width = "8 cm"
length = "16 cm"
weight = "WEIGHT"
[[pieces]]
name = "other"
thickness = "3 cm"
weight = "500 g"
[[stages]]
do = "brine"
bath = { water = "2 kg", salt = "90 g" }
temperature = "3 degC"
lasts = "6 d"
lying = false
[[stages]]
do = "rest"
temperature = "3 degC"
lasts = "2 d"
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "strip.toml"
    path.write_text(BATCH.replace("WEIGHT", "680 g"), encoding="utf-8")
    return path


def said(arguments, capsys):
    code = main(arguments)
    out, err = capsys.readouterr()
    return code, out, err


def test_it_compares_and_writes_the_parts(file, capsys, monkeypatch):
    monkeypatch.setattr("curelab.progress.DELAY", 0.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    code, out, err = said(["split", str(file), "--at", "6 cm"], capsys)
    assert code == 0 and "comparing it whole and split" in err and "\n" not in err  # what takes long counts in one line
    assert re.search(
        r"The strip, cut across: out .*after .* \(.* to .*, fast to slow meat\)\.",
        out.split("Whole")[0].replace("\n", " "),
    )
    assert "taken alone in the brine" in out and "not safe to eat" in out and "strip, tail: 425 g, 5 cm thick, 8 cm wide, 10 cm long (block)" in out  # fmt: skip
    pieces = tomllib.loads(out[out.index("[[pieces]]") :])["pieces"]
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    made = from_table(table | {"pieces": pieces})
    assert sum(piece.weight for piece in made.pieces) == pytest.approx(0.68, rel=1e-9)


def test_a_trimmed_cap_is_compared_too(file, capsys):
    fat = file.read_text(encoding="utf-8").replace('weight = "500 g"', 'weight = "500 g"\nfat_cap = "8 mm"')
    file.write_text(fat, encoding="utf-8")
    code, out, _ = said(["trim", str(file), "--to", "2 mm"], capsys)
    assert code == 0 and "Fat trimmed off: 9" in out and "THE PIECE TRIMMED" in out and "Trimming costs" not in out
    (trimmed,) = tomllib.loads(out[out.index("[[pieces]]") :])["pieces"]
    assert trimmed["fat_cap"] == "2 mm" and read(trimmed["thickness"], "length") == pytest.approx(0.024, rel=1e-9)


def test_a_fold_takes_longer_for_its_halves_take_salt_through_one_face(file, capsys):
    code, out, _ = said(["fold", str(file), "--at", "8 cm"], capsys)
    assert code == 0 and "Folding costs" in out
    found = tomllib.loads(out[out.index("[[pieces]]") :])["pieces"]
    assert [piece["faces"]["second"] for piece in found] == ["touching"] * 2


@pytest.mark.parametrize(
    ("system", "length", "fat", "mass"),
    [("metric", "10.16 cm", "8 mm", "404.6 g"), ("us", "4 inch", "0.315 inch", "0.892 lb")],
)
def test_the_parts_are_written_in_the_units_of_the_batch(system, length, fat, mass):
    """4 inches are 10.16 cm; before, a length came in metres, centimetres or millimetres as it happened to be short."""
    piece = Piece(shape="block", thickness="4.9 cm", width="8 cm", length="16 cm", weight="637.2 g", fat_cap="8 mm")
    head = _rounded(to_plain(split(piece, at="4 in")[0], system), system)
    assert (head["length"], head["fat_cap"], head["weight"]) == (length, fat, mass)
    assert from_plain(Piece, head).thickness == pytest.approx(0.049, rel=1e-3)


def test_it_counts_with_the_usual_meat_of_the_report(file, capsys, monkeypatch):
    """The middle of what is possible, and what a log taught; the printed values of its own before."""
    seen = {}

    def refused(piece, stages, **how):
        seen.update(how, piece=piece, stages=stages)
        raise refuse("piece", "enough was seen")  # the command ends there

    monkeypatch.setattr("curelab.forecast.trimmed_or_whole", refused)
    text = file.read_text(encoding="utf-8").replace('weight = "500 g"', 'weight = "500 g"\nfat_cap = "8 mm"')
    log = '[[log]]\nat = "2 d"\nwhat = "core salt"\nvalue = "1.2 %"\npiece = "other"\n'
    for logged in ("", log):
        file.write_text(text + logged, encoding="utf-8")
        assert main(["trim", str(file), "--to", "2 mm"]) == 2
        usual = run(load(file)).history
        for key in ("fat.relative_diffusivity", "obstruction.lean", "ratio.nitrite"):
            assert seen["numbers"].si(key) == pytest.approx(usual.numbers.si(key), rel=1e-6), key
        assert seen["piece"].thickness == pytest.approx(usual.pieces[1].thickness, rel=1e-6)
        assert seen["stages"][0].temperature == usual.stages[0].temperature
    assert seen["numbers"].si("obstruction.lean") != default_numbers().si("obstruction.lean")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (["--at", "20 cm"], "does not lie between the ends"),
        (["--along", "seam"], "has no seam"),
        (["--at", "4 cm", "--piece", "other"], 'there is no piece "other" with a length; there is strip'),
    ],
)
def test_what_cannot_be_split_is_said(file, capsys, more, sentence):
    code, out, err = said(["split", str(file), *more], capsys)
    assert code == 2 and sentence in err and out == ""


def test_check_says_that_weight_and_measures_do_not_agree(file, capsys):
    assert "By its measures" not in said(["check", str(file)], capsys)[1]
    file.write_text(BATCH.replace("WEIGHT", "900 g"), encoding="utf-8")
    code, out, _ = said(["check", str(file)], capsys)
    assert (
        code == 0 and "By its measures the strip weighs 67" in out and "the scale says 900 g" in " ".join(out.split())
    )
    file.write_text(BATCH.replace("WEIGHT", "7 kg"), encoding="utf-8")
    code, _, err = said(["check", str(file)], capsys)
    assert code == 2 and "pieces[1].weight: 7 kg cannot be" in err
