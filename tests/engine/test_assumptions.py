"""The sentences of what is taken for granted follow the numbers in use."""

import re

import pytest

from curelab import Bath, Brine, Piece, SealedCure, Soak, Tissue, simulate
from curelab.engine import assumptions as module
from curelab.engine.assumptions import assumptions, beyond_log, pace, part, replaced, times, water_moved
from curelab.recipe.stages import Water
from curelab.sources import default_numbers

CURE = Brine(bath=Bath(water="4 kg", salt="180 g", nitrite="0.7 g"), temperature="3 degC", lasts="10 d")
POINT = Piece(name="point", thickness="8 cm", weight="2.2 kg")
NUMBERS = default_numbers()


def said(pieces=(POINT,), stages=(CURE,), numbers=NUMBERS, loss="nordin", spans=None) -> str:
    return " ".join(assumptions(pieces, stages, numbers, loss, spans or [None] * len(stages)))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.25, "a quarter"),
        (0.29, "0.29"),
        (0.5, "half"),
        (0.6, "three fifths"),
        (1.0, "the whole"),
        (0.02, "0.02"),
        (0.14, "a seventh"),
    ],
)
def test_the_pace_is_that_of_the_number_in_use(value, words):
    """The words lie within a tenth of the number, and the published range stays beside it."""
    sentence = pace(NUMBERS.with_values({"obstruction.lean": value}))
    assert (
        f"at {words} of its pace in water" in sentence
        and "most experiments lie between a fifth and three fifths" in sentence
    )
    assert "a third" not in sentence


def test_the_pace_is_left_out_where_every_piece_has_its_own():
    mine = Tissue(name="mine", water="72 %", protein="22 %", fat="5 %", diffusivity="2.2e-10 m2/s")
    own = POINT.but(name="flat", tissue=mine)
    assert "of its pace in water" not in said((own,)) and "of its pace in water" in said((own, POINT))
    assert "Chill it through before it goes in" in said((own,)) and "Chill it through before it goes in" in said()


def test_a_changed_number_reaches_the_history():
    history = simulate(POINT, CURE, cells=8, numbers=NUMBERS.with_values({"obstruction.lean": 0.5}))
    assert "at half of its pace" in history.assumptions[0]
    assert "at a third of its pace" in simulate(POINT, CURE, cells=8).assumptions[0]


def test_asking_leaves_the_record_of_numbers_used_as_it_was():
    history = simulate(POINT, CURE, cells=8)
    before = history.numbers.used
    assert history.assumptions and history.numbers.used == before and "water_change.band" not in before


def test_the_water_sentence_follows_the_rows():
    assert "off by six points" in water_moved(NUMBERS)
    assert "off by four points" in water_moved(NUMBERS.with_values({"water_change.band": 4}))


def test_the_log_that_ends_early_is_told_by_the_number_of_the_longest_gap():
    stage = CURE.but(temperature=[["0 h", "3 degC"], ["9 d", "4 degC"]])
    day = 86400.0
    sentence = beyond_log(2, stage, (5 * day, 15 * day), NUMBERS)
    assert sentence is not None and "stage 2 ends 24 h before" in sentence
    assert beyond_log(2, stage, (5 * day, 15 * day), NUMBERS.with_values({"protection.log_gap": 25})) is None
    assert beyond_log(2, stage, None, NUMBERS) is None and beyond_log(1, CURE, (0.0, 10 * day), NUMBERS) is None


def test_a_replaced_number_of_the_loss_is_told():
    changed = NUMBERS.with_values({"nitrite.takagi.half_life": 10})
    sentence = "Half-life of nitrite in raw meat during cure: 10 d is used here in place of 4.5 d."
    assert sentence in said(numbers=changed, loss="takagi")
    assert sentence not in said(numbers=changed) and "in place of" not in said(loss="takagi")
    assert "in place of" not in said(numbers=NUMBERS.with_values({"nitrite.loss_multiplier": 1.001}))
    assert replaced(NUMBERS["obstruction.lean"]) is None


def test_what_a_batch_does_not_have_is_not_said():
    round_piece = Piece(name="loin", shape="cylinder", thickness="6 cm", weight="1 kg")
    soak = Soak(waters=(Water(amount="4 kg", lasts="2 h", temperature="24 degC"),), lying=True)
    sealed = SealedCure(salt="30 g", nitrate="0.2 g", temperature="3 degC", lasts="3 d")
    plain, rich = said(), said((round_piece, POINT), (sealed, soak))
    for words in ("ends of a cylinder", "along a line", "purge", "one bag", "Nitrate is carried", "extrapolated to 24"):
        assert words in rich and words not in plain
    assert "edges of loin" not in rich and "edges of point" in rich


def test_a_stage_without_its_span_is_an_error():
    with pytest.raises(ValueError):
        assumptions((POINT,), (CURE, CURE), NUMBERS, "nordin", [None])


@pytest.mark.parametrize("hundredths", range(1, 101))
def test_a_share_in_words_lies_near_the_share(hundredths):
    share, words = hundredths / 100, part(hundredths / 100)
    bottoms = {name: number for number, name in module._PARTS.items()}
    match = re.fullmatch(r"(?:(a|an|two|three|four) )?(\w+?)s?", words)
    if words == "the whole":
        meant = 1.0
    elif match and match[2] in bottoms:
        meant = {"two": 2, "three": 3, "four": 4}.get(match[1], 1) / bottoms[match[2]]
    else:
        meant = float(words)
    assert share == pytest.approx(meant, rel=0.1 + 1e-9)


def test_factors_in_words():
    assert [times(f) for f in (1.0, 1.5, 2.1, 2.8, 9.6, 40)] == [
        "1 times", "1.5 times", "twice", "three times", "ten times", "40 times",
    ]  # fmt: skip
