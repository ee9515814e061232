"""A tissue of one's own: its diffusivity is what the meat then has, at any temperature, in a file, in draws and in words."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from curelab import Bath, Brine, InputError, Piece, Tissue, outcome, simulate
from curelab.batch import Batch, Reading, dumps
from curelab.engine.cases import Cases
from curelab.engine.clock import Clock
from curelab.engine.drawn import drawn_case
from curelab.fields import from_plain
from curelab.matter import solutes
from curelab.matter.tissue import obstruction
from curelab.proof import series
from curelab.proof.meat import STILL
from curelab.show import report
from curelab.sources import default_numbers
from curelab.spread import spread

DAY = 86400.0
HALF = 0.02  # m
D = 2.2e-10  # m2/s at 5 degC
BARE = default_numbers().with_values(
    {"film.still": 1e3, **STILL}
)  # no layer at a face that counts, no water that moves


def own(**changes) -> Tissue:
    given = {"name": "my loin", "species": "pork", "water": "72 %", "protein": "22 %", "fat": "5 %"}
    return Tissue(**(given | {"diffusivity": f"{D} m2/s", "measured_at": "5 degC"} | changes))


def running(temperature="5 degC", **changes) -> Brine:
    bath = Bath(water="10 kg", salt="500 g")
    return Brine(
        **({"bath": bath, "temperature": temperature, "lasts": "10 d", "lying": False, "running": True} | changes)
    )


def core(tissue, stage, **more) -> np.ndarray:
    piece = Piece(thickness=2 * HALF, weight="1 kg", tissue=tissue)
    return simulate(piece, stage, numbers=BARE, **more).core("salt", TIMES, basis="equilibrium")


TIMES = np.array([0.5, 1.0, 2.0, 5.0, 10.0]) * DAY


def crank(diffusivity: float) -> np.ndarray:
    return series.constant("half slab").profile(np.zeros(1), diffusivity * TIMES / HALF**2)[:, 0]


NEAR = 1e-4  # of the driving force: what 60 cells cost; a diffusivity that is off by 1 % moves the core by forty times as much


def off(ours, exact) -> float:
    return float(np.max(np.abs(ours - exact)))


def test_a_slab_of_ones_own_tissue_equals_cranks_series_at_its_diffusivity():
    assert off(core(own(), running()), crank(D)) < NEAR


def test_an_activation_energy_moves_it_as_arrhenius_says():
    """30 kJ/mol from 5 to 12 degC: exp(-E/R (1/T - 1/T0)), by hand."""
    faster = np.exp(-30e3 / 8.314462618 * (1 / 285.15 - 1 / 278.15))
    assert faster == pytest.approx(1.375, rel=1e-3)
    assert off(core(own(activation_energy="30 kJ/mol"), running("12 degC")), crank(D * faster)) < NEAR


def test_without_one_it_grows_as_in_water_whatever_the_log():
    as_water = solutes.water_diffusivity(285.15) / solutes.water_diffusivity(278.15)
    assert off(core(own(), running("12 degC")), crank(D * as_water)) < NEAR
    # A log changes nothing but the clock: half the time at either temperature.
    log = [["0 h", "5 degC"], ["5 d", "5 degC"], ["120.001 h", "12 degC"], ["10 d", "12 degC"]]
    done = core(own(), running(log))[-1]
    assert off(done, crank(D * (1 + as_water) / 2)[-1]) < NEAR


def test_under_a_log_the_end_of_a_bare_slab_has_the_mean_of_its_own_diffusivity():
    """With nothing but one tissue on the way, the state at the end of a stretch hangs on the integral of D alone."""
    tissue = own(activation_energy="60 kJ/mol")
    log = [["0 h", "1 degC"], ["10 d", "15 degC"]]
    kelvin = np.linspace(274.15, 288.15, 20001)
    mean = np.mean(D * np.exp(-60e3 / 8.314462618 * (1 / kelvin - 1 / 278.15)))
    assert off(core(tissue, running(log))[-1], crank(mean)[-1]) < NEAR


def test_a_mean_over_a_log_is_weighted_by_time():
    """1 d at 2 degC, a straight line to 12 degC over 1 d, 2 d there: (2 + 7 + 2 * 12) / 4."""
    log = ((0.0, 275.15), (DAY, 275.15), (2 * DAY, 285.15))
    clock = Clock.of(log, 4 * DAY, Cases(default_numbers()))
    assert clock.mean(lambda kelvin: kelvin - 273.15) == pytest.approx([33 / 4], rel=1e-12)


def test_it_is_read_back():
    assert solutes.diffusivity("salt", 278.15, own()) == pytest.approx(D, rel=1e-12)
    assert solutes.diffusivity("nitrite", 278.15, own()) == pytest.approx(D * solutes.ratio("nitrite"), rel=1e-12)
    warm = solutes.diffusivity("salt", [278.15, 288.15], own(activation_energy=30))
    assert warm[1] / warm[0] == pytest.approx(np.exp(-30e3 / 8.314462618 * (1 / 288.15 - 1 / 278.15)), rel=1e-12)
    published = obstruction(Tissue(**TABLE)) * solutes.water_diffusivity(280.0)
    assert solutes.diffusivity("salt", 280.0, Tissue(**TABLE)) == pytest.approx(published, rel=1e-12)
    assert solutes.diffusivity("salt", 280.0, "lean pork") == pytest.approx(published, rel=1e-12)
    with pytest.raises(KeyError, match="no tissue 'unicorn'"):
        solutes.diffusivity("salt", 280.0, "unicorn")


TABLE = {"name": "by the table", "water": "72 %", "protein": "22 %", "fat": "5 %"}


def test_a_draw_equals_simulate_of_that_draw():
    columns = {"temperature": np.array([0.0, 1.5, -1.0]), "activation energy": np.array([0.0, 4.0, -3.0])}
    piece, stage = Piece(thickness="4 cm", weight="1 kg", tissue=own(activation_energy=40)), running(running=False)
    many = simulate(piece, stage, draws=columns, few=False)
    for n in range(3):
        alone = simulate(*drawn_case((piece,), (stage,), default_numbers(), {k: c[n] for k, c in columns.items()})[:2],
                         numbers=drawn_case((piece,), (stage,), default_numbers(), {k: c[n] for k, c in columns.items()})[2])  # fmt: skip
        assert many.core("salt", TIMES)[n] == pytest.approx(alone.core("salt", TIMES), rel=1e-9)
        assert many.of(n).core("salt", TIMES) == pytest.approx(alone.core("salt", TIMES), rel=1e-9)


def test_what_is_given_is_known_and_said():
    piece = Piece(name="loin", thickness="4 cm", weight="1 kg", tissue=own(activation_energy=40))
    many = spread(piece, running(), count=16)
    assert "obstruction.lean" not in [row.key for row in many.inputs]
    assert "obstruction.lean" in [
        row.key for row in spread(Piece(thickness="4 cm", weight="1 kg"), running(), count=16).inputs
    ]
    said = " ".join(many.usual.assumptions)
    assert "2.2e-10 m2/s at 5 °C" in said and "40 kJ/mol" in said and "mean over the log" in said


def test_a_whole_batch_runs_and_its_log_is_told_why_it_teaches_nothing():
    reading = Reading(at="2 d", what="average salt", value="1.2 %", error="0.2 %")
    piece = Piece(name="loin", thickness="4 cm", weight="1 kg", tissue=own())
    batch = Batch(schema=1, name="own", pieces=piece, stages=running(running=False), log=[reading])
    said = outcome.run(batch, draws=16)
    assert len(said.said) == 1 and "is given as its diffusivity" in said.said[0]
    assert "my loin" in report.words(said, long=True)


def test_its_ph_is_that_of_the_piece():
    given = Piece(thickness="4 cm", weight="1 kg", tissue=own(ph=6.1))
    assert given.acidity() == 6.1 and given.but(ph=5.5).acidity() == 5.5
    assert Piece(thickness="4 cm", weight="1 kg", tissue=own()).acidity() == default_numbers().si("ph.pork")
    nitrite = running(bath=Bath(water="10 kg", salt="500 g", nitrite="2 g"))
    assert simulate(given, nitrite).core("free nitrite") > simulate(given.but(ph=5.3), nitrite).core("free nitrite")


@pytest.mark.parametrize("tissue", [own(), own(activation_energy=25.5, ph=5.9), Tissue(**TABLE), "pork loin"])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_file_keeps_it(tissue, system):
    batch = Batch(
        schema=1, name="own", units=system, pieces=[Piece(name="a", thickness="4 cm", weight="1 kg", tissue=tissue)], stages=[running()]
    )  # fmt: skip
    assert from_plain(Batch, tomllib.loads(dumps(batch))) == batch


def test_a_file_may_say_it_in_one_line():
    text = """
    name = "loin"
    thickness = "4 cm"
    weight = "1 kg"
    tissue = { name = "mine", water = "70 %", protein = "20 %", fat = "9 %", diffusivity = "2.2e-10 m2/s" }
    """
    read = from_plain(Piece, tomllib.loads(text))
    assert read.tissue.diffusivity == 2.2e-10 and read.tissue.reference == 276.15


@pytest.mark.parametrize(
    ("changes", "where", "sentence"),
    [
        ({"diffusivity": "2.2e-10"}, "diffusivity", "is not a diffusivity; write it like"),
        ({"diffusivity": "2.2e-10 m/s"}, "diffusivity", "is not a diffusivity; write it like"),
        ({"diffusivity": "2.2e-1 m2/s"}, "diffusivity", "out of range"),
        ({"diffusivity": float("nan")}, "diffusivity", "out of range"),
        (
            {"diffusivity": 2e-9},
            "diffusivity",
            "more than in free water at 5 °C (8.8e-10); check the power of ten and `measured_at`",
        ),
        ({"activation_energy": "30"}, "activation_energy", "is not an activation energy"),
        (
            {"diffusivity": None, "measured_at": None, "activation_energy": 30},
            "activation_energy",
            "only goes with a diffusivity",
        ),
        ({"water": "90 %"}, "water", "add up to 117 %"),
        ({"species": "fish"}, "species", "is not one of beef, pork"),
        ({"ph": 3}, "ph", "out of range"),
    ],
)
def test_bad_values_get_one_sentence_each(changes, where, sentence):
    with pytest.raises(InputError) as refused:
        own(**changes)
    assert [problem.where for problem in refused.value.problems] == [where]
    assert sentence in str(refused.value)


def test_a_piece_is_not_made_of_fat():
    with pytest.raises(InputError, match=r"tissue\.kind: a piece is made of lean"):
        Piece(thickness="4 cm", weight="1 kg", tissue=own(kind="fat"))
    with pytest.raises(InputError, match=r'"lean beaf" is not one of .* did you mean "lean beef"'):
        Piece(thickness="4 cm", weight="1 kg", tissue="lean beaf")
    with pytest.raises(InputError, match=r"tissue\.protein: missing"):
        from_plain(
            Piece, {"thickness": "4 cm", "weight": "1 kg", "tissue": {"name": "a", "water": "70 %", "fat": "1 %"}}
        )
