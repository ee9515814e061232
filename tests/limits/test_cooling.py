"""Come-up, cooling, holding, reheating: each printed span at its limit, just beyond it, and with what it asks for missing."""

import numpy as np
import pytest
from pytest import approx

from curelab.fields import InputError
from curelab.limits import cooling
from curelab.limits.cooling import Cured, check_come_up, check_cooling, check_holding, check_reheating, rules
from curelab.limits.curve import Curve
from curelab.sources import read_table

CURED = Cured(nitrite=150e-6, brine=0.04)  # meets 120 mg/kg with 3.5 %
WEAK = Cured(nitrite=105e-6, brine=0.03)  # meets the 100 mg/kg of the federal option alone


def through(*points, place="the slowest spot"):
    """A curve through (hours, degF)."""
    hours, degrees = np.array(points, dtype=float).T
    return Curve(3600 * hours, (degrees - 32) / 1.8 + 273.15, place)


def outcomes(curve, cured=None):
    return {verdict.name.removeprefix("cooling, "): verdict for verdict in check_cooling(curve, cured)}


# Printed: 3 CCR 910.15(a)(1) and (b); Appendix B of 1999 as reprinted; option 3 as the CFIA restates it.
PRINTED = [
    ("the food code", 135, 70, 2), ("the food code", 70, 41, 4),
    ("Appendix B option 1", 130, 80, 1.5), ("Appendix B option 1", 80, 40, 5),
    ("Appendix B option 2", 120, 80, 1), ("Appendix B option 2", 120, 55, 6),
    ("Appendix B option 3", 130, 80, 5), ("Appendix B option 3", 80, 45, 10),
    ("California's slow cooling", 120, 40, 20),
]  # fmt: skip


@pytest.mark.parametrize(("option", "begin", "end", "hours"), PRINTED)
def test_printed_spans_stand_in_the_table(option, begin, end, hours):
    kelvin = [(each - 32) / 1.8 + 273.15 for each in (begin, end)]
    found = [rule for rule in rules("cooling") if rule.option == option and rule.begin == approx(kelvin[0], rel=1e-9)]
    assert any(rule.end == approx(kelvin[1], rel=1e-9) and rule.seconds == 3600 * hours for rule in found)
    assert all(rule.how == ("seen" if "Appendix" not in option else "second-hand") for rule in found)


def quick(scale=1.0):
    """Just within the food code, and slower by `scale`."""
    return through((0, 160), (0.3, 135), (0.3 + 2 * scale, 70), (0.3 + 6 * scale, 41), (0.4 + 6 * scale, 39))


def test_the_food_code_at_its_limit_and_beyond():
    at, beyond = outcomes(quick())["food code"], outcomes(quick(1.02))["food code"]
    assert at.outcome == "pass" and at.margin == approx(0.0, abs=1e-9)
    assert beyond.outcome == "fail" and beyond.margin == approx(-0.04, rel=0.05) and "throw it away" in beyond.sentence
    # Each of its two spans binds by itself.
    first = through((0, 135), (2.1, 70), (3, 41), (3.1, 39))
    second = through((0, 135), (0.5, 70), (4.6, 41), (4.7, 39))
    for curve, words in ((first, "57.2 °C to 21.1 °C"), (second, "21.1 °C to 5 °C")):
        assert outcomes(curve)["food code"].outcome == "fail" and words in outcomes(curve)["food code"].sentence


def test_what_was_not_read_never_passes():
    plunged = through((0, 160), (0.1, 130), (0.5, 80), (1, 40), (1.1, 36))
    for cured in (None, WEAK, CURED):
        federal = outcomes(plunged, cured)["federal stabilization"]
        assert federal.outcome == "unknown" and not federal.counts_as_pass
        assert "not read" in federal.sentence and "second-hand" in federal.sentence
    assert outcomes(plunged)["food code"].outcome == "pass"


@pytest.mark.parametrize(
    ("curve", "cured", "outcome"),
    [
        (through((0, 140), (0.5, 130), (2.0, 80), (7.0, 40), (7.1, 38)), None, "unknown"),  # option 1, at its limit
        (through((0, 140), (0.5, 130), (2.1, 80), (7.0, 40), (7.1, 38)), None, "fail"),
        (through((0, 140), (0.5, 130), (5.5, 80), (15.5, 45), (15.6, 44)), CURED, "unknown"),  # option 3, at its limit
        (
            through((0, 140), (0.5, 130), (5.5, 80), (15.5, 45), (15.6, 44)),
            None,
            "fail",
        ),  # which is not for uncured meat
        (through((0, 140), (0.5, 130), (5.7, 80), (15.5, 45), (15.6, 44)), WEAK, "fail"),
        (
            through((0, 140), (0.5, 130), (5.5, 80), (15.5, 45), (15.6, 44)),
            Cured(99e-6, 0.05),
            "fail",
        ),  # short of 100 ppm
    ],
)
def test_federal_options(curve, cured, outcome):
    assert outcomes(curve, cured)["federal stabilization"].outcome == outcome


def test_slow_cooling_asks_for_salt_and_nitrite():
    slow = through((0, 150), (1, 120), (21, 40), (21.1, 39))
    at = outcomes(slow, CURED)
    assert at["slow for cured meat"].outcome == "pass"
    # An alternative that was read is kept: the quicker ones then ask, and do not condemn.
    assert at["food code"].outcome == at["federal stabilization"].outcome == "unknown"
    assert not any("throw it away" in verdict.sentence for verdict in at.values())
    assert "quick enough for California" in at["food code"].sentence and at["food code"].how == "seen"
    later = outcomes(through((0, 150), (1, 120), (21.2, 40), (21.3, 39)), CURED)
    assert {verdict.outcome for verdict in later.values()} == {"fail"}
    for cured, met in (
        (Cured(120e-6, 0.035), True),
        (Cured(119e-6, 0.035), False),
        (Cured(120e-6, 0.034), False),
        (Cured(40e-6, 0.06), True),
        (Cured(39e-6, 0.2), False),
    ):
        found = outcomes(slow, cured)["slow for cured meat"]
        assert found.outcome == ("pass" if met else "unknown")
        assert ("120 ppm with 3.5 %" in found.sentence) is not met
    assert "slow for cured meat" not in outcomes(slow)


def test_slow_cooling_is_for_meat_that_cools_all_the_time():
    # 3 CCR 910.15(b)(2)(A): a continuous drop in product temperature.
    again = through((0, 150), (1, 120), (5, 80), (6, 84), (20, 40), (20.1, 39))
    assert outcomes(again, CURED)["slow for cured meat"].outcome == "unknown"


def test_a_chill_that_has_not_ended():
    open_ = through((0, 150), (0.2, 135), (1, 100))
    assert {verdict.outcome for verdict in outcomes(open_, CURED).values()} == {"unknown"}
    assert "The chill ends at 37.8 °C" in outcomes(open_)["food code"].sentence
    # Too long already, whatever comes.
    assert outcomes(through((0, 150), (0.2, 135), (3, 100)))["food code"].outcome == "fail"
    # Still as hot as it was: nothing has cooled, so nothing has passed.
    assert {verdict.outcome for verdict in outcomes(through((0, 150), (3, 150)), CURED).values()} == {"unknown"}
    # Cooked gently, never as hot as the limit begins: it counts from its hottest moment.
    gentle = through((0, 40), (4, 131), (6.2, 70), (9, 41), (9.1, 40))
    assert outcomes(gentle)["food code"].outcome == "fail"
    # Hours at one temperature are not yet cooling, though rounding makes their hottest moment an early one.
    level = through((0, 40), (4, 131.0000001), (9, 131), (10.5, 70), (13, 41), (13.1, 40))
    assert outcomes(level)["food code"].statistic == approx(1.5, rel=1e-3)


def test_the_slowest_of_several_places_decides():
    slow = through((0, 160), (0.3, 135), (3, 70), (6, 41), (6.1, 39), place="the middle of point")
    (retail, *_) = check_cooling([quick(0.5), slow, quick(0.7)])
    assert retail.outcome == "fail" and "the middle of point" in retail.sentence


def test_come_up():
    # FSIS Appendix A 2021, p. 23-24: 6 h at most from 50 to 130 degF.
    at, beyond = (check_come_up(through((0, 40), (1, 50), (1 + hours, 130), (9, 150))) for hours in (6, 6.05))
    assert at.outcome == "pass" and at.statistic == approx(6.0, rel=1e-4)
    assert beyond.outcome == "fail" and "toxin" in beyond.sentence
    # Days at 50 degF or colder before that do not count; a start from 60 degF counts from the start.
    assert check_come_up(through((0, 50), (100, 50), (103, 130), (104, 140))).statistic == approx(3.0, rel=1e-4)
    assert check_come_up(through((0, 60), (3, 130), (4, 140))).statistic == approx(3.0, rel=1e-3)
    # Warmed, cooled below 50 degF again, warmed: all of it counts, 25/6, 5/6 and 16/9 h.
    twice = check_come_up(through((0, 40), (5, 100), (6, 40), (8, 130), (9, 140)))
    assert twice.outcome == "fail" and twice.statistic == approx(5 + 16 / 9, rel=1e-3)
    never = check_come_up(through((0, 40), (3, 120)))
    assert never.outcome == "fail" and never.margin is None and "not cooked" in never.sentence
    assert check_come_up(through((0, 45), (7, 120))).outcome == "fail"


def test_holding():
    # WAC 246-215-03525: 135 degF or above; 130 degF for roasts cooked by the table.
    assert check_holding(through((0, 150), (3, 135))).outcome == "pass"
    cooler = through((0, 150), (2, 133), (3, 140))
    assert check_holding(cooler).outcome == "fail" and check_holding(cooler, by_the_table=True).outcome == "pass"
    assert check_holding(through((0, 150), (2, 129), (3, 140)), by_the_table=True).outcome == "fail"
    assert "steam burns" in check_holding(cooler).sentence


def test_reheating():
    # S.C. 61-25.3-403 (3-403.11): 165 degF for 15 s, within 2 h from 41 degF.
    at = through((0, 39), (0.1, 41), (2.1, 165), (2.2, 166))
    assert check_reheating(at).outcome == "pass" and check_reheating(at).statistic == approx(2.0, rel=1e-3)
    assert check_reheating(through((0, 39), (0.1, 41), (2.2, 165), (2.3, 166))).outcome == "fail"
    assert check_reheating(through((0, 39), (1, 164), (2, 164))).outcome == "fail"
    moment = through((0, 39), (1, 165.1), (1.0005, 150))
    assert check_reheating(moment).outcome == "unknown" and "too short a time" in check_reheating(moment).sentence


def test_bad_strengths_are_one_sentence_each():
    with pytest.raises(InputError) as caught:
        Cured(nitrite=120.0, brine=3.5)
    assert [problem.where for problem in caught.value.problems] == ["nitrite", "brine"]
    assert "120 ppm is 0.00012" in str(caught.value)


def test_every_verdict_defers_to_the_code_of_the_place():
    found = [
        *check_cooling(quick(), CURED),
        *check_cooling(quick(9), WEAK),
        check_come_up(quick()),
        check_holding(quick()),
        check_reheating(quick()),
    ]
    assert all("licensed practice go first" in verdict.sentence for verdict in found)


ANSWERS = [through((0, 150), (hours, 135), (hours + first, 70), (hours + first + second, 38)) for hours in (0.2,) for first in (1, 1.7, 2.5, 6, 9) for second in (3, 5, 9, 14, 25)]  # fmt: skip


def answers():
    kept = [Cured(nitrite, brine) for nitrite in (45e-6, 98e-6, 108e-6, 125e-6) for brine in (0.036, 0.061)]
    rises = [through((0, 40), (hours, 131), (hours + 1, 170)) for hours in (5, 6.5)]
    found = [str(verdict) for curve in ANSWERS for cured in (None, *kept) for verdict in check_cooling(curve, cured)]
    found += [str(check_come_up(curve)) for curve in rises]
    found += [str(check_holding(through((0, 150), (1, 132)), table)) for table in (True, False)]
    return [*found, *(str(check_reheating(through((0, 40), (hours, 166), (hours + 0.1, 166)))) for hours in (1, 2.05))]


@pytest.mark.parametrize(
    "number", [n for n, row in enumerate(read_table("heat_rules.csv")) if row["kind"] not in ("keeping", "cooking")]
)
def test_every_printed_span_decides_something(number, monkeypatch):
    before, rows = answers(), read_table("heat_rules.csv")
    moved = {
        name: f"{0.93 * float(rows[number][name]):g}" for name in ("from_F", "to_F", "hours") if rows[number][name]
    }
    for name, value in moved.items():
        changed = [row | {name: value} if n == number else row for n, row in enumerate(rows)]
        rules.cache_clear()
        monkeypatch.setattr(cooling, "read_table", lambda table, changed=changed: changed)
        assert answers() != before, name
    rules.cache_clear()
