"""Federal curing arithmetic: pounds and ounces as the law prints them, through the library's own units and formulas."""

from __future__ import annotations

import json

from ..matter.solutes import nitrite_as
from ..recipe.piece import Piece
from ..recipe.stages import Bath, SealedCure
from ..sources import read_table
from ..weighing.methods import ingoing, ingoing_table
from .case import Case

# example in federal_amounts.csv: the whole number that stands in print, and where it was read. Those from memory are left out.
PRINTED = {
    "LAW-COMM": (156, "9 CFR 424.21(c) chart: 1/4 oz to 100 lb"),
    "LAW-DRY": (625, "9 CFR 424.21(c) chart: 1 oz to 100 lb"),
    "LAW-PUMP-10": (200, "9 CFR 424.21(c) chart: 2 lb to 100 gallons, pumped to 10 %, at 10 lb a gallon"),
    "CONV-NO2": (120, "Commission Regulation (EU) 2023/2108: 80 mg/kg of ion"),
    "CONV-KNO2": (148, "9 CFR 424.22(b): 120 of NaNO2 is 148 of KNO2"),
}


def amounts() -> Case:
    """Each printed amount in mg/kg; ours comes from "1 oz" and "100 lb" as a cook would type them."""
    rows = {row["example_id"]: json.loads(row["inputs"]) for row in read_table("federal_amounts.csv")}
    ours = []
    for name in PRINTED:
        given = rows[name]
        if "meat_lb" in given:  # a piece of so many pounds does not exist; a hundredth of both is the same share
            meat = Piece(thickness="8 cm", weight=f"{given['meat_lb'] / 100} lb")
            cure = SealedCure(
                salt="10 g", nitrite=f"{given['nitrite_oz'] / 100} oz", temperature="3 degC", lasts="10 d"
            )
            ours.append(1e6 * (ingoing_table(cure, meat)[0].value or 0.0))
        elif "pump" in given:
            pickle = given["pickle_gal"] * given["pickle_lb_per_gal"]
            ours.append(1e6 * ingoing("pumped", nitrite=given["nitrite_lb"], pickle=pickle, share=given["pump"]))
        elif "NO2_mg_per_kg" in given:
            ours.append(float(nitrite_as(given["NO2_mg_per_kg"], "NO2 ion", "NaNO2")))
        else:
            ours.append(float(nitrite_as(given["NaNO2_ppm"], "NaNO2", "KNO2")))
    theirs = [float(number) for number, _ in PRINTED.values()]
    error = max(abs(mine - printed) for mine, printed in zip(ours, theirs, strict=True))
    return Case(
        "Federal amounts of nitrite, mg/kg as printed", "; ".join(text for _, text in PRINTED.values()), "second-hand", tuple(PRINTED),
        tuple(theirs), tuple(ours), "mg/kg", error, 0.5, "a whole mg/kg, as printed",
        remark="The law prints whole numbers, so half of one is allowed. What is known from memory alone is left out; that a gallon of pickle counts as 10 lb is the "
        "handbook's convention (memory), and without it 2 lb in 100 gallons would be 240.",
    )  # fmt: skip


def cover_pickle() -> Case:
    """The handbook's equilibrium method (FORM-EQUIL): nitrite over meat and pickle together, worked in pounds by hand and in our units."""
    pounds = {"meat": 12.0, "water": 16.0, "salt": 1.5, "nitrite": 0.004}
    bath = Bath(**{name: f"{pounds[name]} lb" for name in ("water", "salt", "nitrite")})
    by_hand = 1e6 * pounds["nitrite"] / sum(pounds.values())
    ours = 1e6 * (ingoing_table(bath, Piece(thickness="8 cm", weight=f"{pounds['meat']} lb"))[0].value or 0.0)
    return Case(
        "Nitrite in a cover pickle, in pounds by hand", "USDA FSIS Directive 7620.3, immersion, method two (formula second-hand; no printed example)",
        "derived", ("12 lb meat, 16 lb water, 1.5 lb salt, 0.004 lb nitrite",), (by_hand,), (ours,), "mg/kg", abs(ours / by_hand - 1), 1e-12, "the amount",
        names=("by hand", "ours"),
    )  # fmt: skip
