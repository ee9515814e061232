"""Brine properties against two other programs, run now, and against printed handbook nodes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..matter import brine
from ..show.pictures import Lines
from ..sources import read_table
from .case import Case, Missing, both, largest

KELVIN = 273.15
PERCENTS = np.array([1.0, 2.0, 3.5, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5, 20.0, 22.5])


def density_by_coolprop(celsius: float = 5.0) -> Case | Missing:
    """Density against the incompressible brine INCOMP::MNA, which reaches to 23 % of salt."""
    what = f"Density of brine at {celsius:g} degC"
    try:
        from CoolProp.CoolProp import PropsSI
    except ImportError:
        return Missing(what, "CoolProp")
    theirs = np.array([PropsSI("D", "T", celsius + KELVIN, "P", 101325.0, f"INCOMP::MNA[{p / 100}]") for p in PERCENTS])
    ours = np.asarray(brine.density(PERCENTS / 100, celsius + KELVIN))
    return _percents(
        what, "CoolProp, INCOMP::MNA", theirs, ours, "kg/m3", largest(ours / theirs - 1), 5e-4, "the density"
    )


def freezing_by_coolprop() -> Case | Missing:
    """Freezing point as degrees below zero."""
    what = "Freezing point of brine, degrees below zero"
    try:
        from CoolProp.CoolProp import PropsSI
    except ImportError:
        return Missing(what, "CoolProp")
    theirs = np.array(
        [KELVIN - PropsSI("T_FREEZE", "T", 290.0, "P", 101325.0, f"INCOMP::MNA[{p / 100}]") for p in PERCENTS]
    )
    ours = KELVIN - np.asarray(brine.freezing_point(PERCENTS / 100))
    remark = "CoolProp lies some 2 % above the handbooks at the weak end; ours follows the handbooks."
    return _percents(
        what, "CoolProp, INCOMP::MNA", theirs, ours, "K", largest(ours / theirs - 1), 3e-2, "the depression", remark
    )


def activity_by_phreeqc() -> Case | Missing:
    """Lowering of the water activity at 25 degC, by the Pitzer model of the US Geological Survey."""
    what = "Water activity of brine at 25 degC: how far below 1"
    try:
        import phreeqc
    except ImportError:
        return Missing(what, "phreeqc")
    engine = phreeqc.Phreeqc()
    engine.SetErrorFileOn(False)
    engine.LoadBuiltInDatabase("pitzer.dat")
    solutions = "".join(
        f"SOLUTION {n}\n temp 25\n units mol/kgw\n Na {m:.10f}\n Cl {m:.10f} charge\n"
        for n, m in enumerate(1000 * PERCENTS / (100 - PERCENTS) / 58.4428, start=1)
    )
    punch = "USER_PUNCH\n -headings aw\n 10 PUNCH ACT('H2O')\nSELECTED_OUTPUT\n -reset false\n -user_punch true\n -high_precision true\n"
    if engine.RunString(f"{punch}{solutions}END\n") != 0:
        raise ArithmeticError(engine.GetErrorString())
    theirs = 1 - np.array(
        [float(engine.GetSelectedOutputValue(row, 0)) for row in range(1, engine.GetSelectedOutputRowCount())]
    )
    ours = 1 - np.asarray(brine.water_activity(PERCENTS / 100))
    return _percents(
        what, "phreeqc, pitzer.dat", theirs, ours, "1 - aw", largest(ours / theirs - 1), 5e-3, "the lowering"
    )


def handbook_density() -> Case:
    """Every printed density that was read by someone, the two sources of the fit apart from the rest."""
    rows = [row for row in read_table("brine_density.csv") if row["how"] != "memory" and row["role"] == "check"]
    return _nodes("Density of brine at printed nodes that the fit did not see", rows, 1.1e-3)


def fitted_density() -> Case:
    """The printed densities that the polynomial was fitted to: how closely it keeps them."""
    rows = [row for row in read_table("brine_density.csv") if row["how"] != "memory" and row["role"] == "fit"]
    return _nodes("Density of brine at the printed nodes of the fit", rows, 3e-4)


def _nodes(what: str, rows: list[Mapping[str, str]], tolerance: float) -> Case:
    x = np.array([float(row["mass_percent"]) for row in rows])
    celsius = np.array([float(row["temperature_C"]) for row in rows])
    theirs = np.array([float(row["density_kg_m3"]) for row in rows])
    ours = np.asarray(brine.density(x / 100, celsius + KELVIN))
    apart = np.abs(ours / theirs - 1)
    worst = np.argsort(-apart, kind="stable")[:6]
    labels = tuple(f"{x[n]:g} % at {celsius[n]:g} degC" for n in worst)
    sources = dict.fromkeys(row["source"].split(",")[0] for row in rows)
    how = "second-hand" if any(row["how"] == "second-hand" for row in rows) else "seen"
    return Case(
        f"{what} ({len(rows)} nodes; the six furthest apart)", "; ".join(sources), how, labels, tuple(theirs[worst]), tuple(ours[worst]), "kg/m3",
        float(apart.max()), tolerance, "the density",
    )  # fmt: skip


def _percents(what, source, theirs, ours, unit, error, tolerance, measure, remark="") -> Case:
    some = slice(1, None, 2)
    labels = tuple(f"{p:g} % salt" for p in PERCENTS[some])
    picture = Lines(what, "% salt by weight of the brine", unit, both("", PERCENTS, theirs, PERCENTS, ours))
    return Case(
        what,
        source,
        "computed",
        labels,
        tuple(theirs[some]),
        tuple(ours[some]),
        unit,
        error,
        tolerance,
        measure,
        picture,
        remark,
    )
