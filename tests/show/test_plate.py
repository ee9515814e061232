"""What the report says of the plate: a slice of each piece that was cooked, tenderness of a brisket, nothing of a raw cure."""

import pytest

from curelab import Bath, Brine, Piece, outcome, simulate
from curelab.batch import load
from curelab.forecast import slice_of
from curelab.matter.tenderness import SKEWER
from curelab.recipe.stages import BagCook, Chill, Simmer
from curelab.show import data, report
from curelab.show.plate import JUICE_OF_PORK, juice_caution, plate_sentences
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

CURE = Brine(bath=Bath(water="3 kg", salt="150 g", nitrite="0.6 g"), temperature="3 degC", lasts="8 d", lying=False)
LOIN = Piece(name="loin", thickness="6 cm", weight="1.5 kg", tissue="pork loin")
FLAT = Piece(name="flat", thickness="4 cm", weight="1.5 kg", tissue="brisket flat")
BAG = BagCook(temperature="70 degC", lasts="6 h", pieces=["flat"])
ICE = Chill(medium="ice water", temperature="1 degC", lasts="6 h")


def test_only_what_was_cooked_comes_to_the_plate():
    assert plate_sentences(simulate((LOIN, FLAT), CURE)) == []
    history = simulate((LOIN, FLAT), [CURE, BAG, ICE])
    said = plate_sentences(history)
    assert said[0] == slice_of(history, "flat").sentence and not any(each.startswith("Loin") for each in said)
    assert SKEWER in said[1] and "comes to 70 °C" in said[1] and "Ruusunen" in said[-1] and len(said) == 3
    # No published row for a loin: nothing is said of how tender it is.
    alone = plate_sentences(simulate(LOIN, [CURE, BAG.but(pieces=[]), ICE]))
    assert len(alone) == 3 and not any(SKEWER in each for each in alone)
    assert alone[1] == JUICE_OF_PORK and JUICE_OF_PORK not in said


def test_juice_that_is_kept_is_as_the_meat_is():
    kept = BAG.but(juice="kept")
    pot = Simmer(water="4 kg", temperature="90 degC", lasts="3 h", pieces=["loin"])
    (both,) = juice_caution(simulate((LOIN, FLAT), [CURE, kept, pot, ICE]))
    assert (
        both.startswith("Juice of the flat and broth: cooked as far as the meat, and no further.")
        and "curing salt" in both
    )
    bare = CURE.but(bath=Bath(water="3 kg", salt="150 g"))
    (plain,) = juice_caution(simulate((LOIN, FLAT), [bare, kept, ICE]))
    assert "Juice of the flat:" in plain and "curing salt" not in plain
    assert juice_caution(simulate((LOIN, FLAT), [CURE, BAG, ICE])) == [] and "boil it" in kept.hint


@pytest.mark.parametrize(("name", "there"), [("demo_plate", True), ("demo_loin", False)])
def test_the_report_has_it(name, there):
    ran = outcome.run(load(str(datasets_folder() / f"{name}.toml")), draws=16)
    assert ("ON THE PLATE" in report.words(ran)) is there
    told = data.plain(ran)
    rows = told["plate"]
    assert [row["piece"] for row in rows] == (["point", "flat"] if there else [])
    assert all(0 < row["salt"] < row["kept low"] < row["kept"] < row["kept high"] for row in rows)
    assert ("lethality, 6.5 log" in [verdict["name"] for verdict in told["verdicts"]]) is there
