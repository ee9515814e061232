"""Every published number that a run may use must do something: each row is moved in turn, and some answer must move with it.

A row that moves nothing is a lie in a table: it looks as if the model rested on it. Exempt rows stand in EXEMPT, each with its
reason; an exempt row that does move something is an error too, so that the list stays true.
limits.csv and trade_rules.csv are moved row by row in tests/limits/test_limits.py.
"""

from __future__ import annotations

import importlib.util
import sys
from functools import cache

import numpy as np
import pytest
from handful import handful

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, outcome, simulate, sources
from curelab.batch import load
from curelab.engine.run import QUANTITIES
from curelab.forecast import time_to
from curelab.learn.calibrate import Measurement, fit
from curelab.limits import check_all
from curelab.matter import brine, cures, heat, juice, solutes, taste, tissue
from curelab.recipe.stages import BagCook, Chill, Reheat, Simmer, Smoke
from curelab.show import report
from curelab.sources import datasets_folder, default_numbers, read_table
from curelab.weighing import EquilibriumBrine, Vessel, fits, ingoing_table, weigh

DAY = 86400.0
MIXED = Bath(water="2 kg", salt="100 g", sugar="40 g", nitrate="0.3 g", nitrite="0.4 g")


def cure(**changes) -> Brine:
    return Brine(**({"bath": MIXED, "temperature": "4 degC", "lasts": "6 d", "lying": False} | changes))


def piece(**changes) -> Piece:
    return Piece(**({"thickness": "5 cm", "weight": "1.5 kg"} | changes))


def readings(numbers, meat, *stages, loss="nordin"):
    """Everything a history says at its end, and the verdicts on it."""
    history = simulate(meat, list(stages), cells=8, numbers=numbers, loss=loss)
    values = [
        history.at(place, name, basis=basis)
        for name in QUANTITIES
        for place, basis in (("core", "water phase"), ("average", "meat"))
    ]
    return [*values, history.weight()], [str(verdict) for verdict in check_all(history, numbers=numbers)]


def cooked(numbers, *stages):
    """What a history says of pieces that are cooked after a brine."""
    history = simulate(piece(), [cure(), *stages], cells=8, numbers=numbers)
    values = [history.temperature(place=place) for place in ("core", "average", "surface")]
    return [*values, history.weight(), history.core("salt"), history.average("salt"), history.average("free nitrite")]


# -- what a cook can ask, small enough to be asked a hundred times -----------------------------------------------------------------------

LOG = [["0 h", "3 degC"], ["40 h", "3 degC"], ["50 h", "9 degC"], ["90 h", "9 degC"], ["96 h", "4 degC"]]
PANEL = {
    "plain brine": lambda n: readings(n, piece(), cure()),
    "two stages and a soak": lambda n: readings(
        n, piece(tissue="lean pork"), cure(lying=True, turn_every="1 d"), Rest(temperature="4 degC", lasts="2 d"),
        Soak(waters=[Water(amount="3 kg", lasts="6 h", temperature="8 degC")]),
    ),
    "stirred": lambda n: readings(n, piece(tissue="pork loin"), cure(stirred=True)),
    "sealed": lambda n: readings(n, piece(tissue="brisket flat"), SealedCure(salt="40 g", nitrite="0.2 g", temperature="3 degC", lasts="8 d")),
    "other loss": lambda n: readings(n, piece(), cure(), loss="takagi"),
    "fast first day": lambda n: readings(n, piece(), cure(), loss="first day"),
    "beef with a cap, thawed": lambda n: readings(n, piece(tissue="brisket point", fat_cap="8 mm", frozen_before=True), cure()),
    "pork with a cap": lambda n: readings(n, piece(tissue="lean pork", fat_cap="8 mm"), cure()),
    "cooked": lambda n: readings(n, piece(tissue="cooked brisket"), cure()),
    **{f"at {t} degC": (lambda n, t=t: readings(n, piece(), cure(temperature=f"{t} degC"))) for t in (8, 15, 22, 25)},
    **{f"{s:.0%} brine": (lambda n, s=s: readings(n, piece(thickness="2 cm"), cure(bath=Bath(water="50 kg", salt=50 * s / (1 - s)))))
       for s in (0.02, 0.06, 0.13, 0.16, 0.2, 0.25)},
    "a warm spell": lambda n: readings(n, piece(thickness="7 cm"), cure(temperature=LOG, bath=MIXED.but(salt=0.14))),
    **{name: (lambda n, made=made: cooked(n, *made)) for name, made in {
        "simmered and chilled": (Simmer(temperature="88 degC", water="4 kg", lasts="3 h"), Chill(medium="ice water", temperature="1 degC", lasts="1 h")),
        "in a bag, cooled in a fridge": (BagCook(temperature="64 degC", lasts="5 h"), Chill(medium="fridge air", temperature="2 degC", lasts="3 h")),
        "steamed, cooled in moving air": (BagCook(temperature="75 degC", lasts="2 h", steam=True), Chill(medium="moving air", temperature="2 degC", lasts="3 h")),
        "smoked and warmed": (Smoke(temperature="95 degC", humidity="10 %", lasts="30 h"), Reheat(medium="oven air", temperature="140 degC", lasts="1 h")),
        "barely warm": (BagCook(temperature="49 degC", lasts="9 h"),),
        "hot": (Simmer(temperature="95 degC", water="4 kg", lasts="4 h"),),
    }.items()},
    "much nitrite near the surface, and meat of high pH": lambda n: readings(
        n, piece(thickness="8 cm", ph=6.3), cure(bath=MIXED.but(nitrite=4e-3), lasts="1 d"),
    ),
    "so long and warm that nitrite does not save it": lambda n: readings(n, piece(thickness="2 cm"), cure(temperature="8 degC", lasts="80 d")),
    "half a day at 5 degC": lambda n: readings(n, piece(), cure(temperature="5 degC", lasts="23 h"), Rest(temperature="3 degC", lasts="2 d")),
    "an icy night": lambda n: readings(n, piece(), cure(temperature=[["0 h", "3 degC"], ["20 h", "-1.2 degC"], ["40 h", "3 degC"]])),
    "how long": lambda n: [str(time_to("core salt >= 60 % of equilibrium", piece(), cure(), numbers=n))],
    "weighed out": lambda n: [repr(weigh(EquilibriumBrine(water="1 kg", salt="2 %", basis="water phase"), piece(), n))],
    "nitrite counted": lambda n: [repr(ingoing_table(MIXED, piece(), 0.1, n))],
    "the vessel": lambda n: [repr(fits(Vessel(shape="round", diameter="26 cm", height="20 cm"), piece(), MIXED, n))],
    "nitrite on other bases": lambda n: [solutes.nitrite_as(100.0, "KNO2", "NO2 ion", n), solutes.nitrite_as(100.0, "KNO2", "NaNO2", n)],
    "what cooking takes": lambda n: [*juice.juice_lost([0.0, 900.0, 3e4], [300.0, 345.0, 330.0], 0.7, numbers=n), *juice.juice_lost([0.0, 9e4], [355.0, 355.0], 0.7, numbers=n), *juice.cook_loss(0.3, n)],
    "what a slice tastes of": lambda n: [*(taste.saltiness(salt, n).word for salt in (0.0115, 0.0145, 0.0215, 0.0275, 0.0295)), taste.sodium(0.019, numbers=n)],
    "a weight in the log": lambda n: [fit((piece(),), (cure(),), [Measurement("weight", 4 * 86400.0, 1.65, 0.005)], numbers=n, cells=8).estimates[0].value],
    "a whole batch, in words": lambda n: [report.words(outcome.run(load(str(datasets_folder() / "demo_brisket.toml")), draws=16, numbers=n))],
}  # fmt: skip

EXEMPT = {
    "molar.H": "molar mass of sugar; only SOLUTES['sugar'].molar_mass holds it, and no answer counts moles of sugar",
    "molar.C": "molar mass of sugar; as molar.H",
}
KEYS = [key for key in default_numbers() if not key.startswith("rival.")]


@cache
def base(name: str):
    return PANEL[name](default_numbers())


LIKELY: dict[
    str, str
] = {}  # kind of row -> the question whose answer moved with the last of its kind, which is asked first


def moved_by(*keys: str) -> str | None:
    """Name of a question of the panel whose answer moves with these rows, or None."""
    changed = {}
    for key in keys:
        value = default_numbers()[key].value
        # parts of a tissue must not sum to more than the whole, and pH has a narrow range
        other = value * (0.97 if key.startswith(("tissue.", "ph.")) else 0.9) if value else 1.0
        least, most = default_numbers().bounds(key)
        changed[key] = min(max(other, least), most)
    moved = default_numbers().with_values(changed)
    kind = keys[0].split(".")[0]
    for name in sorted(PANEL, key=lambda name: name != LIKELY.get(kind)):
        if differs(base(name), PANEL[name](moved)):
            LIKELY[kind] = name
            return name
    return None


def differs(one, other) -> bool:
    """Numbers by more than rounding, words by anything."""
    if isinstance(one, (list, tuple)):
        return len(one) != len(other) or any(differs(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, str):
        return one != other
    return bool(abs(one - other) > 1e-9 * max(abs(one), abs(other)))


ASKED = [key for key in KEYS if key not in EXEMPT]


# Rows of how raw meat is protected are seen by a whole batch alone, which takes a second each: one of them in every run.
SOME = [key for key in ASKED[::3] if not key.startswith("protection.") or key == "protection.share"]


@pytest.mark.parametrize("key", handful(ASKED, SOME))
def test_every_row_moves_an_answer(key):
    assert moved_by(key), (
        f"{key} = {default_numbers()[key].value:g} moves nothing: use it, or take it out of numbers.csv"
    )


def test_exempt_rows_and_rivals_move_nothing():
    """All at once. If this goes red, one of them is in use by now: take it off the list, or it is no rival."""
    rivals = [key for key in default_numbers() if key.startswith("rival.")]
    assert len(rivals) >= 5
    assert moved_by(*EXEMPT, *rivals) is None


def test_the_exempt_rows_exist():
    assert set(EXEMPT) <= set(KEYS) and all(EXEMPT.values())


@pytest.mark.parametrize("celsius", [40, 65, 80, 100])
def test_exempt_diffusivities_serve_their_relation(celsius):
    key = f"water.salt_diffusivity.{celsius}C"
    changed = default_numbers().with_values({key: 0.9 * default_numbers()[key].value})
    assert solutes.water_diffusivity(celsius + 273.15, changed) == pytest.approx(
        0.9 * solutes.water_diffusivity(celsius + 273.15), rel=1e-9
    )


def test_what_counts_as_moved():
    """The comparison itself: rounding is no difference, a word or a digit is."""
    assert moved_by("obstruction.lean") in PANEL
    assert not differs([1.0, "a", [2.0]], [1.0 + 1e-13, "a", [2.0]]) and differs(
        [1.0, "a", [2.0]], [1.0, "a", [2.0001]]
    )


# -- tables that are read at import: a fresh copy of the module reads a table with one row moved -----------------------------------------


def fresh(module, table: str, number: int, column: str, monkeypatch, by=lambda value: 0.98 * value if value else 0.1):
    """A copy of `module` that read `table` with row `number` changed."""
    real = sources.read_table

    def changed(name):
        rows = real(name)
        if name == table:
            rows[number] = rows[number] | {column: repr(by(float(rows[number][column])))}
        return rows

    with monkeypatch.context() as patch:
        patch.setattr(sources, "read_table", changed)
        name = f"moved_{module.__name__.rsplit('.', 1)[-1]}"
        spec = importlib.util.spec_from_file_location(name, module.__file__)
        copy = importlib.util.module_from_spec(spec)
        patch.setitem(sys.modules, name, copy)  # dataclasses look their module up
        spec.loader.exec_module(copy)
    return copy


X = np.array([0.005, 0.01, 0.02, 0.03, 0.04, 0.05, 0.07, 0.1, 0.13, 0.15, 0.18, 0.2, 0.22, 0.2320, 0.25, 0.26])
COLD, WARM, FROZEN = np.linspace(273.15, 298.15, 51), np.linspace(298.2, 313.1, 9), np.linspace(252.6, 373.0, 200)


def brine_answers(module) -> list[float]:
    grid, warm = np.meshgrid(X, COLD), np.meshgrid(X, WARM)
    scales = [module.from_strength(50.0, "salometer", scale=name) for name in module.SALOMETER_SCALES]
    parts = (
        module.density(*grid),
        module.density(*warm),
        module.water_activity(X),
        module.freezing_point(X[X < 0.2325]),
    )
    parts += (module.solubility(FROZEN), module.viscosity(*grid))
    return np.concatenate([np.ravel(part) for part in (*parts, scales)])


def tissue_answers(module) -> list[float]:
    return np.array([module.tissue_density(0.6, 0.2, 0.1, kelvin) for kelvin in (277.15, 300.0, 340.0)])


def heat_answers(module) -> np.ndarray:
    part = tissue.Tissue(name="fatty", water=0.6, protein=0.2, fat=0.1)
    return np.concatenate([np.ravel(each) for warm in (277.15, 340.0) for each in module.thermal(part, warm)])


COEFFICIENTS = read_table("coefficients.csv")
TABLES = [
    ("coefficients.csv", "value", lambda row: not row["relation"].startswith("component_"), brine, brine_answers),
    ("coefficients.csv", "value", lambda row: row["relation"].startswith("component_density"), tissue, tissue_answers),
    ("coefficients.csv", "value", lambda row: row["relation"].startswith("component_"), heat, heat_answers),
    ("freezing.csv", "freezing_point_C", lambda row: row["role"] == "model" and float(row["mass_percent"]) > 0, brine, brine_answers),
    ("solubility.csv", "mass_percent", lambda row: row["role"] == "model", brine, brine_answers),
    ("viscosity.csv", "viscosity_mPa_s", lambda row: row["role"] == "model", brine, brine_answers),
    ("cure_labels.csv", "nitrite_percent", lambda row: True, cures, lambda m: np.array([label.mix.nitrite for label in m.CURE_LABELS.values()])),
    ("crystals.csv", "bulk_density_kg_m3", lambda row: True, cures, lambda m: np.array([m.from_volume(1e-5, c).mass for c in m.CRYSTALS])),
]  # fmt: skip
ROWS = [
    pytest.param(table, column, number, module, ask, id=f"{table} row {number + 1}")
    for table, column, wanted, module, ask in TABLES
    for number, row in enumerate(read_table(table))
    if wanted(row)
]


@pytest.mark.parametrize(("table", "column", "number", "module", "ask"), ROWS)
def test_every_row_read_at_import_moves_its_relation(table, column, number, module, ask, monkeypatch):
    moved = fresh(module, table, number, column, monkeypatch)
    assert np.abs(ask(moved) / ask(module) - 1).max() > 1e-8


@pytest.mark.parametrize(
    ("table", "role"), [("freezing.csv", "check"), ("solubility.csv", "check"), ("viscosity.csv", "check")]
)
def test_check_rows_move_nothing(table, role, monkeypatch):
    """They stand beside the model and must not leak into it."""
    column = {"freezing.csv": "freezing_point_C", "solubility.csv": "mass_percent", "viscosity.csv": "viscosity_mPa_s"}[
        table
    ]
    numbers = [n for n, row in enumerate(read_table(table)) if row["role"] == role]
    for number in numbers[:3]:
        np.testing.assert_array_equal(
            brine_answers(fresh(brine, table, number, column, monkeypatch)), brine_answers(brine)
        )


def test_constants_read_at_import(monkeypatch):
    """The molar mass of chlorine reaches molality and water activity."""
    rows = read_table("numbers.csv")
    number = next(n for n, row in enumerate(rows) if row["key"] == "molar.Cl")
    default_numbers.cache_clear()
    try:
        # The hard bounds of a molar mass lie 1 % to either side.
        moved = fresh(solutes, "numbers.csv", number, "value", monkeypatch, lambda value: 0.991 * value)
    finally:
        default_numbers.cache_clear()
    assert moved.SOLUTES["salt"].molar_mass < 0.995 * solutes.SOLUTES["salt"].molar_mass
    monkeypatch.setattr(brine, "SOLUTES", moved.SOLUTES)
    assert brine.molality(0.1) > 1.005 * 0.1 / 0.9 / solutes.SOLUTES["salt"].molar_mass
