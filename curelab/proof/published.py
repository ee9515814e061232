"""Published meat experiments beside the model, with what is missing about each said plainly; and rules of thumb.

No public table was found that gives size, time, temperature, bath and measured salt together, so no experiment here tests the model as a
whole. What each can and cannot say stands beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from ..forecast.practice import held_against_model, mean_ratio
from ..matter import brine, tissue
from ..sources import default_numbers, read_table
from ..units import HOUR
from . import meat, series
from .case import Case, Table

LARGE = 4.0  # kg of water to each kg of meat: a brine that the meat hardly weakens


@dataclass(frozen=True)
class Experiment:
    """One data set of validation_data.csv: what was measured, what the model says to it, what is missing, and in a word or two how they agree."""

    dataset: str
    measured: str
    model: str
    missing: str
    verdict: str


def values(dataset: str) -> dict[str, float]:
    """quantity and place -> printed value, for the rows of one data set that carry a plain number."""
    found = {}
    for row in read_table("validation_data.csv"):
        if row["dataset_id"] == dataset:
            try:
                found[f"{row['quantity']} {row['time_h']}".strip()] = float(row["value"])
            except ValueError:  # a printed range like 18-24
                continue
    return found


def experiments() -> tuple[Experiment, ...]:
    """Every data set, in the order of the file."""
    numbers = default_numbers()
    cube = {key.split()[0]: value for key, value in values("aykin2021").items()}
    inside = 100 * cube["salt"] / (cube["salt"] + cube["moisture"])
    fourier = brentq(lambda fo: float(series.constant("sphere").uptake(np.array([fo]))[0]) - inside / 4, 1e-3, 1.0)
    hours = lambda size: fourier * (size / 2) ** 2 / (meat.salt_diffusivity() * HOUR)  # noqa: E731
    saturated = float(brine.solubility(277.15))
    cod = _cod()
    flat = 2 * np.sqrt(21 * HOUR * meat.salt_diffusivity() / _ninety())
    free = numbers["water.salt_diffusivity.25C"].value * 1e-9
    low, high = (numbers["obstruction.lean"].low or 0.0, numbers["obstruction.lean"].high or 0.0)
    uptake = [100 * float(tissue.water_change(x)) for x in (0.02, 0.05, 0.10)]
    return (
        Experiment(
            "aykin2021", f"beef cube in 4 % brine: {cube['salt']:.2f} % salt, {cube['moisture']:.1f} % water, so {inside:.2f} % of its water phase",
            f"half of the brine's 4 %; a ball of 1 cm would be there in {hours(0.01):.1f} h, of 3 cm in {hours(0.03):.0f} h at 3 degC",
            "size, time and temperature are not in the abstract; vacuum and ultrasound drove salt in", "cannot be compared",
        ),
        Experiment(
            "sabadini1998", "beef slab of 10 mm: 7.7 % of its water lost in 2 h of saturated brine, 35 % in 96 h on dry salt",
            f"{100 * float(tissue.water_change(0.25)):.0f} % of green weight at equilibrium in 25 % brine; drying on salt is not modelled",
            "salt in the meat is not in the abstract; its diffusivity, a tenth of ours, comes from two hours", "cannot be compared",
        ),
        Experiment(
            "cod_gudjon2015", f"pickle-salted cod: {cod[0]:.1f} % salt, {cod[1]:.1f} % water, hence {cod[2]:.3f} kg salt per kg of salt and water",
            f"{saturated:.3f}, the strength of saturated brine, with the default share between meat and brine of 1",
            "fish, not meat; and this row is where that share of 1 came from", "not independent",
        ),
        Experiment(
            "bertram2005", "whole beef of 1 kg in 10 % brine: 10e-10 m2/s after 3 h, 8e-10 later, by resonance imaging",
            f"{1e10 * low * free:.1f}e-10 to {1e10 * high * free:.1f}e-10 at 25 degC (default {1e10 * meat.salt_diffusivity() / 0.82e-9 * free:.1f}e-10)",
            "the temperature; at 3 degC its later figure would be that of free water", "agrees in part",
        ),
        Experiment(
            "ham_scirep2019", "whole ham in dry salt: 2.45 and 3.03 % of raw weight lost by the end of salting",
            f"{numbers['purge.per_salt'].value:g} kg of water drawn for each kg of salt in a sealed cure, by default",
            "salt was not measured at that point; the default purge was taken from these rows", "not independent",
        ),
        Experiment(
            "bacon_jfst2016", "dry-cured bacon: water 74.1 % raw, 71.3 % after salting, then ripening in air",
            "no drying in air is modelled", "salt, size and times of the salting are not in the table", "cannot be compared",
        ),
        Experiment(
            "beefslice_us", "thin beef slices: +6.1 % weight in a still cure, -6.9 % at most under ultrasound",
            f"{uptake[0]:+.0f}, {uptake[1]:+.0f} and {uptake[2]:+.0f} % (each +-6) at equilibrium in 2, 5 and 10 % brine",
            "strength of the brine, time and size are not stated", "cannot be compared",
        ),
        Experiment(
            "devivo2025", "pork pieces at equilibrium after 18 to 24 h (news digest)",
            f"a flat piece {100 * flat:.1f} cm thick has nine tenths of its salt in 21 h at 3 degC",
            "size, temperature and what counts as equilibrium", "cannot be compared",
        ),
        Experiment(
            "purslow2023", "pork blocks of 61 to 91 g in 3 % saline for 144 to 168 h: protein found in the saline",
            "no protein is modelled", "salt in the meat was not measured: only what protein left it", "cannot be compared",
        ),
    )  # fmt: skip


def published_meat() -> Table:
    """The experiments as a table."""
    rows = tuple((each.dataset, each.measured, each.model, each.missing, each.verdict) for each in experiments())
    return Table(
        "Published meat data beside the model", ("data set", "measured", "model", "what is missing", "verdict"), rows,
        "Not one of these tests the model as a whole. The pace of salt rests on the spread of published diffusivities, and every answer carries "
        "that band. A cook's own measurements (a batch log, calibrate) say more about a cook's own meat than all of these.",
    )  # fmt: skip


def published_diffusivities() -> Table:
    """Salt in raw lean beef and pork, as read, beside our band at the same temperature."""
    numbers = default_numbers()
    share = numbers["obstruction.lean"]
    free = {3.0: 0.82e-9, 25.0: 1.61e-9}
    assert free[3.0] == numbers.si("water.salt_diffusivity.3C") and free[25.0] == numbers.si(
        "water.salt_diffusivity.25C"
    )
    low, high = (share.low or 0.0) * free[3.0], (share.high or 0.0) * free[25.0]
    rows = []
    for row in read_table("diffusivity.csv"):
        if row["solute"].startswith("NaCl") and row["species"] in ("beef", "pork") and row["how"] == "seen":
            ends = [float(row[key]) for key in ("D_low_m2_s", "D_m2_s", "D_high_m2_s") if row[key]]
            if not ends or "kV" in row["basis"]:
                continue
            inside = low <= min(ends) and max(ends) <= high
            verdict = (
                "inside"
                if inside
                else "above"
                if max(ends) > high and min(ends) >= low
                else "below"
                if max(ends) < low
                else "partly"
            )
            told = " to ".join(f"{1e10 * end:.3g}" for end in (ends[0], ends[-1])[: 1 if ends[0] == ends[-1] else 2])
            rows.append(
                (
                    row["source"].split("(")[0].strip(" '\"")[:60],
                    f"{row['tissue']}, {row['species']}",
                    row["temperature_C"] or "not given",
                    told,
                    verdict,
                )
            )
    return Table(
        "Salt in raw lean meat, 1e-10 m2/s, as read", ("source", "meat", "degC", "printed", "in our band"), tuple(rows),
        f"Our band runs from {1e10 * low:.1f} at 3 degC to {1e10 * high:.1f} at 25 degC, wide enough for a temperature that is not given. What lies "
        "above free water (8.2 at 3 degC, 16 at 25 degC) cannot be diffusion alone; what lies far below came from two hours in saturated brine.",
    )  # fmt: skip


def rules_of_thumb() -> Case:
    """Days on old cards beside the day on which the whole has its salt, and the geometric mean of their ratios."""
    every = held_against_model()
    middle, large = mean_ratio(every), mean_ratio(held_against_model(water=LARGE))
    federal = tuple(each for each in every if each.row["rule_id"].startswith("FB2265"))
    ratios = sorted(each.ratio for each in every)
    return Case(
        "Days on old cards, and the day on which the whole has nine tenths of its salt",
        "FB2265, a farmers' bulletin of the USDA (days seen); the others: common practice, no source", "common practice",
        tuple(each.row["cut"] for each in every), tuple(each.days for each in every), tuple(each.ratio * each.days for each in every), "days",
        abs(math.log(middle)), math.log(1.25), "the logarithm of the mean ratio",
        remark=f"Ours over the printed days: {middle:.2f} on the geometric mean of {len(every)} rules, {ratios[0]:.2f} to {ratios[-1]:.2f} each. Of a range the "
        "geometric middle counts. Thickness is assumed from cut and weight, the amount of pickle is printed, its strength is from memory. No number of the model "
        "was tuned. How much brine a rule takes was settled after a first look at the ratios, so this is no blind check. "
        f"The {len(federal)} federal rules alone: {mean_ratio(federal):.2f}. With {LARGE:g} kg of water to each kg of meat: {large:.2f}. "
        "Not computed: game legs (CLEM-03), because they are pumped; 3.5 to 4 days per pound (FB2265-01), because its two printed "
        "examples stand here. That they scatter so is the lesson: days without a thickness are a guess.",
        names=("printed", "ours"),
    )  # fmt: skip


def _ninety() -> float:
    """Fo at which a plane sheet has taken up nine tenths."""
    return float(brentq(lambda fo: float(series.constant("half slab").uptake(np.array([fo]))[0]) - 0.9, 0.01, 3.0))


def _cod() -> tuple[float, float, float]:
    """(% salt, % water, salt over salt and water) of the pickled arm."""
    rows = {
        r["quantity"]: float(r["value"]) for r in read_table("validation_data.csv") if r["geometry"] == "fillet pickled"
    }
    return rows["salt"], rows["water"], rows["salt"] / (rows["salt"] + rows["water"])
