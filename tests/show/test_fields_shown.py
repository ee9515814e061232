"""A piece in three dimensions in the report, on the sheet, as JSON, as tables and in the section: the same numbers everywhere."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest

from curelab.batch import from_table
from curelab.outcome import run
from curelab.paper.pages import sheet_html
from curelab.paper.schedule import schedule
from curelab.paper.sheet import sheet
from curelab.show import cut_section, data, report
from curelab.show.draw import draw

pytestmark = pytest.mark.usefixtures("few_reports")

WEDGE = {
    "name": "wedge", "shape": "cut", "weight": "1.1 kg", "edges": "square",
    "stations": [{"at": "0 cm", "thickness": "3 cm", "width": "12 cm"}, {"at": "16 cm", "thickness": "7 cm", "width": "12 cm"}],
}  # fmt: skip
SLAB = {"name": "slab", "thickness": "4 cm", "weight": "1 kg"}
TABLE = {
    "schema": 1, "name": "uneven", "start": "2026-05-04 08:00", "pieces": [WEDGE, SLAB],
    "stages": [{"do": "brine", "bath": {"water": "2 kg", "salt": "110 g", "nitrite": "0.4 g"}, "temperature": "3 degC", "lasts": "9 d", "lying": False}],
}  # fmt: skip


@pytest.fixture(scope="module")
def outcome():
    return run(from_table(TABLE), draws=16)


def test_the_report_names_the_slowest_spot(outcome):
    words = report.words(outcome, long=True)
    along, depth = outcome.history.slowest_place("salt", outcome.history.length, "wedge")
    assert 0.08 < along < 0.15 and depth == pytest.approx(0.5 * (0.03 + 0.25 * along), rel=0.2)
    assert f"middle: the slowest spot, {100 * along:.2g} cm from the head" in " ".join(words.split())
    assert words.count("middle: the slowest spot") == 1  # the slab has none
    assert "wedge, middle: the slowest spot, " in report.words(outcome)
    assert "wedge: lean beef, 1.1 kg raw, 3 to 7 cm thick, 12 cm wide, 16 cm long (cut)" in " ".join(words.split())
    assert "The edges of slab are left out" in " ".join(words.split()) and "The edges of wedge" not in words


def test_json_has_the_section(outcome):
    plain = json.loads(data.as_json(outcome))
    (found,) = plain["sections"]
    along, depth, salt = (np.array(found[key]) for key in ("along_m", "depth_m", "fraction"))
    assert along.shape == depth.shape == salt.shape and along.max() == pytest.approx(0.16)
    assert depth.min() == pytest.approx(0.0, abs=1e-12) and depth.max() == pytest.approx(0.07)
    row = next(each for each in plain["stages"] if each["piece"] == "wedge")
    spot = row["slowest spot"]
    near = np.argmin((along - spot["along_m"]) ** 2 + (depth - spot["depth_m"]) ** 2)
    least = outcome.history.core("salt", None, "wedge")
    assert salt.ravel()[near] == pytest.approx(least, rel=0.02) and salt.min() >= 0.98 * least
    assert "slowest spot" not in next(each for each in plain["stages"] if each["piece"] == "slab")


def test_the_table_of_the_field(outcome, tmp_path):
    written = data.write_csv(outcome, tmp_path / "out")
    assert [path.name for path in written] == [*data.TABLES, data.FIELDS]
    rows = list(csv.DictReader((tmp_path / "out" / data.FIELDS).read_text(encoding="utf-8").splitlines()))
    assert {row["quantity"] for row in rows} == {"salt", "free nitrite"} and {row["piece"] for row in rows} == {"wedge"}
    salt = [row for row in rows if row["quantity"] == "salt"]
    sides = [
        {
            (row["along_m"], abs(float(row["across_m"])), row["depth_m"], row["fraction"], row["stage"])
            for row in salt
            if side * float(row["across_m"]) > 0
        }
        for side in (-1, 1)
    ]
    assert sides[0] == sides[1] and sides[0]  # both halves of the width, though one was computed
    assert len({(row["along_m"], row["across_m"], row["depth_m"], row["stage"]) for row in salt}) == len(salt)
    place = salt[len(salt) // 2]
    probed = outcome.history.probe(
        "salt",
        None,
        "wedge",
        along=float(place["along_m"]),
        across=float(place["across_m"]),
        depth=float(place["depth_m"]),
    )
    assert float(place["fraction"]) == pytest.approx(float(probed), rel=1e-3)
    plain = run(from_table(TABLE | {"pieces": [SLAB]}), draws=16)
    assert data.FIELDS not in [path.name for path in data.write_csv(plain, tmp_path / "flat")]


def test_the_filled_section(outcome):
    """Values between the nodes against a probe; nothing outside of the piece."""
    filled = cut_section.filled(outcome.history, "salt", piece="wedge")
    field = filled.field
    for i, k in ((40, 20), (100, 30), (150, 10)):
        x, y = field.x[i] / 100, field.y[k] / 100
        thick = 0.03 + 0.25 * x
        probed = outcome.history.probe("salt", None, "wedge", along=x, depth=thick - y)
        assert field.z[k, i] == pytest.approx(100 * probed, rel=0.03)  # straight lines between nodes
    outside = field.y[:, None] / 100 > 0.03 + 0.25 * field.x / 100 + 1e-9
    assert np.array_equal(np.isnan(field.z), outside)
    figure = draw(outcome.history, "salt", section=True, piece="wedge", time="9 d")
    assert figure.data[0].type == "heatmap" and figure.layout.yaxis.scaleanchor == "x"
    assert cut_section.of(outcome.history, 0.0, "slab") is None


def test_the_sheet_shows_the_section(outcome):
    made = sheet(schedule(outcome.batch))
    profile, section = made.pictures
    assert profile.sentence.startswith("Wedge") and isinstance(section, cut_section.CutSection)
    assert "slowest spot lies" in section.sentence
    wedge = next(meat for meat in made.meat if meat.name == "wedge")
    assert (wedge.thick, wedge.what) == ("3 to 7 cm", "lean beef, cut, 12 cm wide, 16 cm long")
    page = sheet_html(made)
    assert page.count("<svg") == 2 and "slowest spot" in page
