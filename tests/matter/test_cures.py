"""Cure mixes and spooned weights: refusals, labels, and household measures."""

import pytest

from curelab.matter.cures import CRYSTALS, CURE_LABELS, CureMix, from_volume
from curelab.sources import HOW

US_CUP = 236.5882365e-6  # m3, by definition
US_TABLESPOON = US_CUP / 16.0


def test_salt_is_the_remainder_unless_given() -> None:
    assert CureMix("a", 0.0625).salt == pytest.approx(0.9375, rel=1e-12)
    assert CureMix("a", 0.0625, 0.04).salt == pytest.approx(0.8975, rel=1e-12)
    assert CureMix("a", 0.005, other=0.1).salt == pytest.approx(0.895, rel=1e-12)
    assert CureMix("a", 0.005, other=0.1, salt=0.895) == CureMix("a", 0.005, other=0.1)


@pytest.mark.parametrize(
    "fractions, words",
    [
        ({"nitrite": -0.01}, "must be a fraction"),
        ({"nitrite": float("nan")}, "must be a fraction"),
        ({"nitrite": 6.25}, "6.25 % is 0.0625"),
        ({"nitrite": 0.1, "nitrate": 0.95}, "exceeds 1"),
        ({"nitrite": 0.06, "salt": 0.5}, "add up to 0.56"),
        ({"nitrite": 0.99}, "pure nitrite: never use it"),
        ({"nitrite": 0.21, "nitrate": -0.1}, "must be a fraction.*pure nitrite"),
    ],
)
def test_impossible_mix_is_refused(fractions: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        CureMix("bag", **fractions)


def test_no_mix_is_assumed() -> None:
    with pytest.raises(TypeError):
        CureMix("bag")  # type: ignore[call-arg]


@pytest.mark.parametrize("name", CURE_LABELS)
def test_labels_say_what_their_names_say(name: str) -> None:
    label = CURE_LABELS[name]
    percents = [float(part.split()[0]) for part in name.split(" + ")]
    expected = percents + [0.0] * (2 - len(percents))
    assert [100.0 * label.mix.nitrite, 100.0 * label.mix.nitrate] == pytest.approx(expected, rel=1e-12)
    assert label.mix.nitrite + label.mix.nitrate + label.mix.salt == pytest.approx(1.0, rel=1e-12)
    assert label.how in HOW


# Common practice, no source: what cooks' tables give for these measures.
@pytest.mark.parametrize(
    "volume, crystal, grams, tolerance",
    [
        (1.5 * US_CUP, "coarse salt", 420.0, 0.10),
        (1.5 * US_TABLESPOON, "fine curing salt", 27.0, 0.05),
        (0.75 * US_CUP, "packed brown sugar", 150.0, 0.10),
    ],
)
def test_household_measures(volume: float, crystal: str, grams: float, tolerance: float) -> None:
    spooned = from_volume(volume, crystal)
    assert 1000.0 * spooned.mass == pytest.approx(grams, rel=tolerance)
    assert 1000.0 * spooned.low <= grams <= 1000.0 * spooned.high


def test_teaspoon_of_table_salt() -> None:
    """Salt Institute: 1217 kg/m3 is 6.0 g to the US teaspoon of 4.93 mL."""
    assert 1000.0 * from_volume(US_CUP / 48.0, "fine salt").mass == pytest.approx(6.0, rel=0.05)


@pytest.mark.parametrize("name", CRYSTALS)
def test_crystals_lie_between_loose_snow_and_solid_salt(name: str) -> None:
    row = CRYSTALS[name]
    assert row.low <= row.bulk_density <= row.high
    assert row.low > 500.0 and row.high < 2160.0  # solid halite 2160 kg/m3


def test_spooned_weight_warns() -> None:
    spooned = from_volume(US_TABLESPOON, "fine curing salt")
    assert "weigh it instead" in spooned.warning and "toxic" in spooned.warning
    assert "toxic" not in from_volume(US_TABLESPOON, "fine salt").warning
    with pytest.raises(KeyError, match="coarse salt"):
        from_volume(US_CUP, "gravel")
    for volume in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="positive"):
            from_volume(volume, "fine salt")
