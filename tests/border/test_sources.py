"""The published numbers: every row is well formed, and the lookup refuses what it should."""

import math
from pathlib import Path

import pytest

from curelab.sources import (
    HOW,
    UNITS,
    Number,
    Numbers,
    datasets_folder,
    default_numbers,
    load_numbers,
    read_table,
    to_si,
)

COLUMNS = [
    "key",
    "quantity",
    "value",
    "unit",
    "low",
    "high",
    "least",
    "most",
    "conditions",
    "source",
    "locator",
    "how",
    "note",
]
ROWS = read_table("numbers.csv")
FLAGS = {"seen", "second-hand", "derived", "computed", "memory", "judgement"}
TABLES = [
    "brine_density",
    "freezing",
    "solubility",
    "water_activity",
    "viscosity",
    "composition",
    "diffusivity",
    "analytic_values",
    "crank_roots",
    "trade_rules",
    "limits",
    "federal_amounts",
    "validation_data",
    "coefficients",
    "cure_labels",
    "crystals",
    "lethality",
    "pasteurisation",
    "thermal_death",
    "heat_rules",
    "cook_loss",
    "cured_meats",
    "measured_cooling",
    "tenderness",
    "thermal",
]


def row(**changes: str) -> dict[str, str]:
    base = dict.fromkeys(COLUMNS, "") | {"key": "a", "value": "1", "unit": "%", "how": "seen"}
    return base | changes


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry["key"])
def test_row_is_complete_and_ordered(entry: dict[str, str]) -> None:
    assert list(entry) == COLUMNS
    assert entry["quantity"] and entry["source"]
    assert entry["how"] in set(HOW) - {"given"}
    value = float(entry["value"])
    assert math.isfinite(value)
    low = float(entry["low"] or value)
    high = float(entry["high"] or value)
    assert low <= value <= high
    assert bool(entry["low"]) == bool(entry["high"])
    assert math.isfinite(default_numbers()[entry["key"]].si)


@pytest.mark.parametrize("name", TABLES)
def test_every_table_row_carries_source_and_flag(name: str) -> None:
    rows = read_table(f"{name}.csv")
    assert len(rows) > 4
    for entry in rows:
        assert entry["source"], entry
        assert entry["how"] in FLAGS, entry


# SI values by definition of the units (SI Brochure, 9th ed.): a day is 86400 s, 0 degC is 273.15 K
@pytest.mark.parametrize(
    "value, unit, expected",
    [
        (2.7, "1e-10 m2/s", 2.7e-10),
        (4.5, "d", 388800.0),
        (-21.12, "degC", 252.03),
        (12.0, "ppm", 0.000012),
        (60.3, "kJ/mol", 60300.0),
        (69.0, "g/mol", 0.069),
        (1.002, "mPa s", 0.001002),
        (30.0, "mm", 0.03),
    ],
)
def test_units_convert_to_the_nearest_float(value: float, unit: str, expected: float) -> None:
    assert to_si(value, unit) == expected


def test_every_unit_but_celsius_is_a_pure_factor() -> None:
    for name in set(UNITS) - {"degC"}:
        assert to_si(0.0, name) == 0.0
        assert to_si(3.0, name) == pytest.approx(3.0 * to_si(1.0, name), rel=1e-15)


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"unit": "furlong"}, "unit 'furlong' is not known"),
        ({"value": "nan"}, "not finite"),
        ({"value": "inf"}, "not finite"),
        ({"value": "much"}, "could not convert"),
        ({"low": "2", "high": "3"}, "not in order"),
        ({"how": "guess"}, "must be one of"),
        ({"key": ""}, "empty"),
    ],
)
def test_malformed_row_is_refused(changes: dict[str, str], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        load_numbers([row(**changes)])


def test_duplicate_key_is_refused() -> None:
    with pytest.raises(ValueError, match="duplicated"):
        load_numbers([row(), row()])


def test_unknown_key_names_near_ones() -> None:
    with pytest.raises(KeyError, match=r"obstruction\.lean"):
        default_numbers().si("obstruction.leen")
    with pytest.raises(KeyError, match=r"obstruction\.lean"):
        default_numbers().with_values({"obstruction.leen": 1.0})


def test_with_values_replaces_in_printed_units_and_leaves_the_original() -> None:
    numbers = default_numbers()
    changed = numbers.with_values({"nitrite.takagi.half_life": 10.0})
    assert changed.si("nitrite.takagi.half_life") == 864000.0
    assert numbers.si("nitrite.takagi.half_life") == 388800.0
    record = changed["nitrite.takagi.half_life"]
    assert record.how == "given" and "in place of 4.5" in record.source
    with pytest.raises(ValueError, match="finite"):
        numbers.with_values({"obstruction.lean": math.nan})


def test_tracking_lists_keys_in_order_of_first_use() -> None:
    tracked = default_numbers().tracked()
    tracked.si("obstruction.lean")
    tracked["ratio.sugar"]
    tracked.si("obstruction.lean")
    assert tracked.used == ("obstruction.lean", "ratio.sugar")
    assert tracked.tracked().used == ()
    assert default_numbers().used == ()
    assert "ratio.nitrite" in tracked and tracked.used == ("obstruction.lean", "ratio.sugar")


def test_numbers_cannot_be_assigned() -> None:
    with pytest.raises(TypeError):
        default_numbers()["obstruction.lean"] = 1.0  # type: ignore[index]


def test_describe_tells_value_range_flag_and_source() -> None:
    number = Number("k", "q", 2.7, "1e-10 m2/s", 1.5, 5.0, "", "someone 1999", "", "judgement", "")
    assert number.describe() == "2.7e-10 m2/s (1.5e-10 to 5e-10), judgement: someone 1999"
    assert (number.si, number.si_low, number.si_high) == (2.7e-10, 1.5e-10, 5e-10)


def test_missing_table_is_named() -> None:
    with pytest.raises(FileNotFoundError, match=r"nothing\.csv"):
        read_table("nothing.csv")


def test_datasets_inside_the_package_come_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "curelab"
    monkeypatch.setattr("curelab.sources.__file__", str(package / "sources.py"))
    with pytest.raises(FileNotFoundError, match="reinstall curelab"):
        datasets_folder()
    (tmp_path / "datasets").mkdir()
    assert datasets_folder() == tmp_path.resolve() / "datasets"
    (package / "datasets").mkdir(parents=True)
    assert datasets_folder() == package.resolve() / "datasets"


def test_nobody_changes_a_table_for_the_next_reader() -> None:
    with pytest.raises(TypeError):
        read_table("solubility.csv")[0]["mass_percent"] = "99"  # type: ignore[index]
    rows = read_table("solubility.csv")
    rows.clear()
    assert read_table("solubility.csv")[0]["mass_percent"] != "99"


def test_composition_rows_agree_with_the_composition_table() -> None:
    """Two files hold the same facts (USDA SR27); a slip in one of them shows here."""
    table = {entry["ndb"]: entry for entry in read_table("composition.csv")}
    numbers: Numbers = default_numbers()
    compared = 0
    for key, number in numbers.items():
        if key.startswith("tissue.") and number.locator.startswith("NDB "):
            entry = table[number.locator[4:].zfill(5)]
            assert number.value == float(entry[f"{key.rsplit('.', 1)[1]}_g"]), key
            compared += 1
    assert compared == 18


# -- hard bounds -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry["key"])
def test_hard_bounds_hold_the_row_and_every_end_that_is_varied(entry: dict[str, str]) -> None:
    least, most = float(entry["least"]), float(entry["most"])
    assert math.isfinite(least) and math.isfinite(most)
    ends = [entry[name] for name in ("low", "value", "high") if entry[name]]
    for varied in read_table("uncertain.csv"):
        if varied["key"] == entry["key"]:
            assert varied["unit"] == entry["unit"]
            ends += [varied[name] for name in ("low", "mode", "high") if varied[name]]
    assert all(least <= float(end) <= most for end in ends)
    assert default_numbers().bounds(entry["key"]) == (least, most)


def test_nothing_in_meat_is_faster_than_in_free_water() -> None:
    numbers = default_numbers()
    assert all(
        numbers.bounds(key)[1] == 1 for key in ("obstruction.lean", "obstruction.cooked", "fat.relative_diffusivity")
    )


def test_every_value_out_of_bounds_is_told_at_once() -> None:
    with pytest.raises(ValueError) as refused:
        default_numbers().with_values(
            {"obstruction.lean": 5, "ratio.sugar": 0.4, "ph.beef": 55, "film.still": math.inf, "purge.per_salt": -1}
        )
    assert str(refused.value).splitlines() == [
        "obstruction.lean: 5 lies outside 0.01 to 1; give a value within these bounds",
        "ph.beef: 55 lies outside 4.5 to 7.5; give a value within these bounds",
        "film.still: inf is not a finite number; give a value in m/s",
        "purge.per_salt: -1 kg/kg lies outside 0 to 20 kg/kg; give a value within these bounds",
    ]


def test_the_bounds_themselves_are_taken() -> None:
    numbers = default_numbers()
    for key in numbers:
        for bound in numbers.bounds(key):
            assert numbers.with_values({key: bound})[key].value == bound


def test_bounds_that_cut_the_range_are_refused() -> None:
    with pytest.raises(ValueError, match="do not enclose"):
        load_numbers([row(least="2", most="3")])
    with pytest.raises(ValueError, match="do not enclose"):
        load_numbers([row(low="0.5", high="2", least="0", most="1.5")])
    assert load_numbers([row()]).bounds("a") == (-math.inf, math.inf)
