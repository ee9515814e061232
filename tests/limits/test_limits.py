"""Verdicts: printed limits, what an outcome means, and that every rule and threshold decides something."""

import dataclasses
import math
import re

import numpy as np
import pytest
from pytest import approx

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate, sources
from curelab.batch import Batch
from curelab.forecast import corners
from curelab.limits import (
    CAUTIONS,
    RULE_SETS,
    UNPROTECTED,
    WARM,
    Verdict,
    check_all,
    check_ingoing,
    check_process,
    check_residual,
    check_taken_up,
    find,
    picks,
    rule_sets,
    uncovered_time,
)
from curelab.limits.protection import spot
from curelab.limits.verdict import judge, unknown, worst_first
from curelab.matter.solutes import nitrite_as
from curelab.outcome import run
from curelab.sources import default_numbers, read_table
from curelab.weighing import CureLabel, StrongBrine

POINT = Piece(name="point", thickness="5 cm", weight="1 kg")


def dry(ppm, nitrate=0.0):
    """A sealed cure with so many mg of nitrite on POINT's kilogram."""
    return SealedCure(salt="25 g", nitrite=ppm * 1e-6, nitrate=nitrate * 1e-6, temperature="3 degC", lasts="14 d")


def wet(ppm, **more):
    """A bath whose nitrite is so many mg per kg of meat and pickle, the handbook's equilibrium on POINT."""
    made = Bath(water="1 kg", salt="40 g", **more)
    share = ppm * 1e-6
    return made.but(nitrite=share * 2.04 / (1 - share))


def by_name(verdicts):
    return {verdict.name: verdict for verdict in verdicts}


@pytest.fixture(scope="module")
def kept_cold():
    stages = (
        Brine(bath=wet(150), temperature="2 degC", lasts="9 d", turn_every="2 d"),
        Soak(waters=(Water(amount="4 kg", lasts="1 h", temperature="3 degC"),)),
        Rest(temperature="2 degC", lasts="2 d"),
    )
    return simulate(POINT, stages)


# ---- the law as printed --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule_set", "product", "made", "limit"),
    [
        ("US", "cured meat", wet, 200),  # Directive 7620.3: 200 ppm, immersion
        ("US", "cured meat", dry, 625),  # 9 CFR 424.21(c): 1 oz per 100 lb
        ("US", "bacon", wet, 120),  # 9 CFR 424.22(b)
        ("US", "bacon", dry, 200),  # 9 CFR 424.22(b)
        ("GB", "cured meat", dry, 150),  # UK SI 2007/1778 schedule 1
        ("Canada", "cured meat", dry, 200),  # Health Canada list, second-hand
        ("Canada", "bacon", dry, 120),  # the same
        ("EU", "cured meat", dry, 120),  # Regulation (EU) 2023/2108: 80 as ion, 120 as NaNO2, second-hand
    ],
)
def test_most_that_may_go_in(rule_set, product, made, limit):
    name = f"{rule_set} nitrite, most"
    at = by_name(check_ingoing(made(limit), POINT, rule_set, product))[name]
    above = by_name(check_ingoing(made(1.01 * limit), POINT, rule_set, product))[name]
    assert at.outcome == "pass" and above.outcome == "fail"
    assert above.margin < 0 and not above.counts_as_pass
    assert above.statistic == approx(above.limit * 1.01, rel=3e-4)


@pytest.mark.parametrize(("rule_set", "least"), [("US", 120), ("Canada", 100)])
def test_least_that_must_go_in(rule_set, least):
    # Directive 7620.3 p. 12 (policy) and CFIA manual, both second-hand.
    name = f"{rule_set} nitrite, least"
    assert by_name(check_ingoing(wet(least), POINT, rule_set))[name].outcome == "pass"
    short = by_name(check_ingoing(wet(0.98 * least), POINT, rule_set))[name]
    assert short.outcome == "fail" and "second-hand" in short.sentence
    none = by_name(check_ingoing(Bath(water="1 kg", salt="40 g"), POINT, rule_set))[name]
    assert none.outcome == "fail" and "Without nitrite" in none.sentence


def test_ion_and_salt_are_kept_apart():
    # 80 mg/kg of NO2 ion is 119.98 mg/kg of NaNO2 by molar masses (row CONV-NO2);
    # 9 CFR 424.22(b) prints 120 of NaNO2 as 148 of KNO2.
    rows = {row["example_id"]: row for row in read_table("federal_amounts.csv")}
    assert nitrite_as(80.0) == approx(float(rows["CONV-NO2"]["answer"]), rel=1e-4)
    assert round(nitrite_as(120.0, "NaNO2", "KNO2")) == 148
    (verdict,) = (v for v in check_ingoing(dry(110), POINT, "EU") if v.name == "EU nitrite, most")
    assert verdict.limit == 80 and verdict.unit == "mg/kg as NO2 ion"
    assert verdict.statistic == approx(110 * 46.005 / 68.995, rel=1e-6)
    # A mix-up of the two bases would fail this one: 110 > 80.
    assert verdict.outcome == "pass"


def test_nitrate():
    # 9 CFR 424.21(c): no nitrate in bacon; 3.5 oz per 100 lb dry cured is 2187 ppm.
    bacon = by_name(check_ingoing(dry(150, nitrate=10), POINT, "US", "bacon"))["US nitrate, most"]
    assert bacon.outcome == "fail" and bacon.limit == 0
    assert by_name(check_ingoing(dry(150), POINT, "US", "bacon"))["US nitrate, most"].outcome == "pass"
    name = "US nitrate, most"
    assert by_name(check_ingoing(dry(150, nitrate=2187), POINT))[name].outcome == "pass"
    much = by_name(check_ingoing(dry(150, nitrate=2300), POINT))[name]
    assert much.outcome == "fail"
    # In a brine nitrate is shared out as nitrite is: 750 mg/kg of 2.04 kg and the nitrate itself, by hand.
    bath = Bath(water="1 kg", salt="40 g", nitrate=750e-6 * 2.04 / (1 - 750e-6))
    assert by_name(check_ingoing(bath, POINT))[name].statistic == approx(750, rel=1e-9)
    # 700 mg/kg for immersion rests on memory: it may ask, and not fail.
    asked = by_name(check_ingoing(bath, POINT))[name]
    assert asked.outcome == "unknown" and "from memory" in asked.sentence
    # No row: said, not passed over.
    assert by_name(check_ingoing(bath, POINT, "EU"))["EU nitrate ingoing"].outcome == "unknown"


def test_rules_on_what_remains_do_not_judge_what_goes_in():
    (verdict,) = check_ingoing(wet(100), POINT, "Codex")
    assert verdict.outcome == "unknown" and "see the residual" in verdict.sentence
    (tongue,) = check_ingoing(wet(100), POINT, "GB", "cured tongue")
    assert tongue.outcome == "unknown"


def test_method_is_named_and_others_stand_beside_it():
    bath = wet(180)
    default = by_name(check_ingoing(bath, POINT))["US nitrite, most"]
    assert default.statistic == approx(180, rel=1e-9) and "by water phase" in default.sentence
    phase = by_name(check_ingoing(bath, POINT, method="water phase"))["US nitrite, most"]
    assert phase.statistic < 180
    lost = by_name(check_ingoing(bath, POINT, method="pick-up"))["US nitrite, most"]
    assert lost.outcome == "unknown" and "weigh before and after" in lost.sentence
    # By hand: 10 % pick-up takes a tenth of the pickle's own share.
    pickle = 1.04 + bath.nitrite
    weighed = by_name(check_ingoing(bath, POINT, method="pick-up", pick_up=0.1))["US nitrite, most"]
    assert weighed.statistic == approx(1e6 * bath.nitrite * 0.1 / pickle, rel=1e-9)


def test_two_cures_are_added_up():
    both = by_name(check_ingoing([wet(120), dry(120)], POINT))
    assert both["US nitrite, most"].statistic == approx(240, rel=1e-9)
    assert both["US nitrite, most"].limit == 200 and both["US nitrite, most"].outcome == "fail"


def test_unknown_names_are_refused_in_words():
    with pytest.raises(ValueError, match="is not one of US, EU"):
        check_ingoing(dry(100), POINT, "Mars")
    with pytest.raises(ValueError, match="there is cured meat, bacon"):
        check_ingoing(dry(100), POINT, "US", "jerky")
    with pytest.raises(ValueError, match="method"):
        check_ingoing(wet(100), POINT, method="guess")


def changed_rows(monkeypatch, matches, **changes):
    rows = [row | changes if matches(row) else row for row in read_table("limits.csv")]
    assert rows != read_table("limits.csv")
    monkeypatch.setattr(rule_sets, "read_table", lambda name: rows)


EVERY_PICK = [
    (rules.name, product, pick)
    for rules in RULE_SETS.values()
    for product, chosen in rules.products.items()
    for pick in chosen
]


@pytest.fixture(scope="module")
def brief_histories():
    return {
        made: simulate(POINT, stage)
        for made, stage in (
            ("wet", Brine(bath=wet(60, nitrate=1e-4), temperature="2 degC", lasts="2 d")),
            ("dry", dry(60, nitrate=50)),
        )
    }


@pytest.mark.parametrize(("rule_set", "product", "pick"), EVERY_PICK, ids=lambda value: str(value)[:60])
def test_every_rule_row_in_use_decides(rule_set, product, pick, monkeypatch, brief_histories):
    """Move a limit to either side of the statistic, and its verdict turns."""
    kind = "wet" if pick.process == "immersion" else "dry"
    made = wet(60, nitrate=1e-4) if kind == "wet" else dry(60, nitrate=50)
    outcomes = []
    for value in ("0.001", "1e6"):
        with monkeypatch.context() as patch:
            changed_rows(
                patch,
                lambda row: (
                    (row["jurisdiction"], row["product_class"], row["kind"], row["agent"].split("+")[0])
                    == (pick.jurisdiction, pick.product_class, pick.kind, pick.agent)
                ),
                limit_mg_per_kg=value,
            )
            verdicts = (
                check_residual(brief_histories[kind], rule_set, product)
                if pick.kind == "max_residual"
                else check_ingoing(made, POINT, rule_set, product)
            )
            mine = [v for v in verdicts if v.limit == float(value)]
            assert len(mine) == 1
            outcomes.append(mine[0].outcome)
    broken = "unknown" if find(pick).how == "memory" else "fail"  # what is remembered may ask, and not fail
    assert outcomes == (["pass", broken] if pick.kind == "min_ingoing" else [broken, "pass"])


def test_how_a_limit_is_known_is_said(monkeypatch):
    for how, words in (
        ("memory", "from memory"),
        ("second-hand", "second-hand"),
        ("judgement", "a judgement"),
    ):
        with monkeypatch.context() as patch:
            changed_rows(patch, lambda row: row["jurisdiction"] == "UK (GB)", how=how)
            verdict = by_name(check_ingoing(dry(100), POINT, "GB"))["GB nitrite, most"]
            assert verdict.how == how and words in verdict.sentence
    seen = by_name(check_ingoing(dry(100), POINT, "GB"))["GB nitrite, most"]
    assert seen.how == "seen" and "read second-hand" not in seen.sentence


def test_a_pick_without_its_row_is_an_error():
    with pytest.raises(LookupError):
        find(picks("US", "bacon")[0]._replace(product_class="no such"))


# ---- verdicts ------------------------------------------------------------------------------------------


def test_judging():
    good = judge("n", 3.0, "<=", 5.0, "h", "x", "s", "seen")
    bad = judge("n", 3.0, ">=", 5.0, "h", "x", "s", "seen")
    shrug = judge("n", 3.0, ">=", 5.0, "h", "x", "s", "seen", otherwise="unknown")
    lost = judge("n", math.nan, ">=", 5.0, "h", "x", "s", "seen")
    assert [v.outcome for v in (good, bad, shrug, lost)] == ["pass", "fail", "unknown", "unknown"]
    assert [v.margin for v in (good, bad, shrug, lost)] == [2.0, -2.0, None, None]
    assert [v.counts_as_pass for v in (good, bad, shrug, lost)] == [True, False, False, False]
    assert [v.outcome for v in worst_first((good, lost, bad))] == ["fail", "unknown", "pass"]
    assert judge("n", 5.01, "<=", 5.0, "h", "x", "s", "seen").outcome == "fail"
    asked = judge("n", 9.0, "<=", 5.0, "h", "x", "s", "memory")  # what is remembered may ask, and not fail
    assert asked.outcome == "unknown" and asked.margin is None and "from memory" in asked.sentence
    fridge = judge("n", 5.0, "<=", 4.0, "degC", "x", "s", "seen", told=lambda celsius: f"{1.8 * celsius + 32:.4g} °F")
    assert fridge.sentence == "X: 41 °F, at most 39.2 °F." and fridge.statistic == 5.0
    assert not unknown("n", "why", "s", "seen").counts_as_pass
    with pytest.raises(ValueError, match="sign"):
        judge("n", 1, "<", 2, "", "x", "s", "seen")
    with pytest.raises(dataclasses.FrozenInstanceError):
        good.outcome = "fail"


# ---- what got in ------------------------------------------------------------------------------------


def test_a_piece_lifted_too_soon_passes_the_formula_only():
    outcomes = []
    for lasts in ("2 d", "200 d"):
        history = simulate(POINT, Brine(bath=wet(190), temperature="2 degC", lasts=lasts, lying=False))
        found = by_name(check_all(history))
        assert found["US nitrite, least"].outcome == "pass"
        verdict = found["US nitrite, least, as simulated"]
        assert verdict.statistic == approx(1e6 * history.average("nitrite"), rel=1e-9)
        outcomes.append(verdict.outcome)
    assert outcomes == ["unknown", "pass"]
    assert [v.name for v in check_taken_up(history, "EU")] == ["EU nitrite, most, as simulated"]


def test_a_soak_after_the_cure_does_not_undo_what_went_in():
    soak = Soak(waters=(Water(amount="40 kg", lasts="9 d", temperature="3 degC"),))
    cure = Brine(bath=wet(190), temperature="2 degC", lasts="60 d", lying=False)
    soaked, unsoaked = check_taken_up(simulate(POINT, (cure, soak))), check_taken_up(simulate(POINT, cure))
    assert {v.name for v in soaked} == {f"US nitrite, {word}, as simulated" for word in ("most", "least")}
    for verdict, other in zip(soaked, unsoaked, strict=True):
        assert verdict.statistic == approx(other.statistic, rel=1e-9)


# ---- what remains --------------------------------------------------------------------------------------


def test_residual_is_unknown_where_only_the_loss_decides(monkeypatch):
    history = simulate(POINT, SealedCure(salt="25 g", nitrite=300e-6, temperature="4 degC", lasts="60 d"))
    name = "any cured product except bacon"
    most = 1e6 * history.average("nitrite", basis="meat")
    free = 1e6 * history.average("free nitrite", basis="meat")
    assert free < 200 < most
    (verdict,) = (v for v in check_residual(history) if name in v.name)
    assert verdict.outcome == "unknown" and "laboratory" in verdict.sentence
    for limit, outcome in ((0.9 * free, "fail"), (1.1 * most, "pass")):
        with monkeypatch.context() as patch:
            changed_rows(patch, lambda row: row["product_class"] == name, limit_mg_per_kg=str(limit))
            (verdict,) = (v for v in check_residual(history) if name in v.name)
            assert verdict.outcome == outcome


def test_residual_nitrate_of_a_home_cure():
    # 21 CFR 172.170(a)(2): at most 500 ppm nitrate in the finished meat.
    for grams, outcome in (("300 mg", "pass"), ("900 mg", "fail")):
        cure = SealedCure(salt="25 g", nitrate=grams, temperature="4 degC", lasts="60 d")
        (verdict,) = (v for v in check_residual(simulate(POINT, cure)) if "nitrate" in v.name)
        assert verdict.outcome == outcome and verdict.limit == 500


# ---- the process ---------------------------------------------------------------------------------------


def test_a_cold_batch(kept_cold):
    found = by_name(check_process(kept_cold))
    assert found["kept cold"].outcome == "pass" and found["kept cold"].statistic == 0
    assert "at most 4.4 °C" in found["kept cold"].sentence  # FB 2265: 36 to 40 degF
    assert found["not too cold"].outcome == "pass"
    assert found["not too cold"].limit == approx(-1.13, rel=1e-9)  # freezing point of raw meat, mean of 103 samples
    assert found[UNPROTECTED].outcome == found[WARM].outcome == "pass" and found[WARM].statistic == 0
    assert found["soak time"].outcome == "pass"
    assert found["soak water"].limit == approx((70 - 32) / 1.8, rel=1e-9)  # FB 2265: not above 70 degF
    slowest = found["cure at the slowest spot"]
    # By hand: the middle of 5 cm after nine days has little salt yet; what salt of 0.5 to 1.5 % does alone is said, and decides nothing.
    assert (
        slowest.outcome == "unknown" and "at least 2." in slowest.sentence and "only cold protects" in slowest.sentence
    )
    assert "days in brine" not in found  # the old rule is for strong pickles


@pytest.mark.parametrize("cap", ["0 mm", "6 mm"])
def test_the_lean_is_all_of_a_profile_but_the_cap(cap):
    lying = Brine(bath=wet(150), temperature="3 degC", lasts="1 d", lying=True)
    history, times = simulate(POINT.but(fat_cap=cap), lying, cells=8), np.array([3600.0, 5e4])
    for name, basis in (("salt", "water phase"), ("free nitrite", "green weight"), ("salt", "meat")):
        across = history.profile(name, times, 0, basis)
        lean = np.flatnonzero(
            (across.depth > history.pieces[0].fat_cap) | (cap == "0 mm")
        )  # the cap is on the first face
        np.testing.assert_allclose(
            history.lean_profile(name, times, 0, basis), across.values[:, lean], rtol=1e-9, atol=1e-15
        )
    assert (lean[0] > 0) == (cap == "6 mm") and lean[-1] == len(across.depth) - 1


@pytest.mark.parametrize(
    ("lasts", "temperature", "outcome"),
    [
        ("18 min", "20 degC", "pass"),  # FB 2265: 2 min for each of 9 days
        ("19 min", "20 degC", "unknown"),
        ("119 min", "8 degC", "unknown"),
        ("121 min", "8 degC", "fail"),
        ("10 h", "20 degC", "fail"),
        ("24 h", "4.4 degC", "pass"),  # 40 degF is cold
        ("24 h", "4.9 degC", "unknown"),
    ],
)
def test_how_long_a_soak(lasts, temperature, outcome):
    soak = Soak(waters=(Water(amount="4 kg", lasts=lasts, temperature=temperature),))
    history = simulate(POINT, (Brine(bath=wet(150), temperature="2 degC", lasts="9 d"), soak), cells=8)
    found = by_name(check_process(history))["soak time"]
    assert found.outcome == outcome
    if lasts == "121 min":
        for key, value in (("protection.soak_hours", 3), ("protection.soak_cold", 9)):
            changed = default_numbers().with_values({key: value})
            assert by_name(check_process(history, changed))["soak time"].outcome == "unknown"


def test_holes_in_the_fridge_log():
    def kept(log, lasts="3 d"):
        history = simulate(POINT, Brine(bath=wet(150), temperature=log, lasts=lasts), cells=8)
        found = by_name(check_process(history))
        return uncovered_time(history) / 3600, {found[name].outcome for name in ("kept cold", UNPROTECTED)}

    every = [[f"{hour} h", "3 degC"] for hour in range(0, 73, 12)]
    assert kept("3 degC") == (0, {"pass"})
    assert kept(every) == (0, {"pass"})
    assert kept(every[:-1]) == (0, {"pass"})  # twelve hours short at the end is about whole
    assert kept(every[:-2]) == (24, {"unknown"})
    assert kept(every[:2] + every[4:]) == (36, {"unknown"})
    assert kept(every[2:]) == (24, {"unknown"})
    assert kept([["30 h", "3 degC"]]) == (72, {"unknown"})
    warm = [*every[:2], ["18 h", "20 degC"], ["72 h", "20 degC"]]
    assert kept(warm)[1] == {"fail"}
    history = simulate(POINT, Brine(bath=wet(150), temperature=every[:-2], lasts="3 d"), cells=8)
    assert "24 h uncovered" in by_name(check_process(history))["kept cold"].sentence.replace("1 d", "24 h")
    assert uncovered_time(history, default_numbers().with_values({"protection.log_gap": 25})) == 0
    waters = tuple(
        Water(amount="4 kg", lasts="20 h", temperature=log)
        for log in ("3 degC", [["0 h", "3 degC"], ["1 h", "3 degC"]])
    )
    soaked = simulate(POINT, (Brine(bath=wet(150), temperature="3 degC", lasts="3 d"), Soak(waters=waters)), cells=8)
    assert uncovered_time(soaked) / 3600 == approx(19)


def test_days_to_come_are_no_holes_in_the_fridge_log():
    """Readings to hour 72 of 14 days: what is missing since then counts as far as now, and a hole in the past counts whenever it is asked."""
    every = [[f"{hour} h", "3 degC"] for hour in range(0, 73, 12)]

    def kept(log, now):
        history = simulate(
            POINT,
            (Brine(bath=wet(150), temperature=log, lasts="14 d"), Rest(temperature="3 degC", lasts="2 d")),
            cells=8,
        )
        verdicts = by_name(check_process(history, now=now))
        hours = uncovered_time(history, now=now) / 3600
        return hours, {verdicts[name].outcome for name in ("kept cold", UNPROTECTED)}

    assert kept(every, 72 * 3600) == kept(every, 84 * 3600) == (0, {"pass"})
    assert kept(every, 96 * 3600) == (24, {"unknown"})  # a log that simply stopped
    assert kept(every, 0) == (0, {"pass"})  # a clock that is behind the log
    assert kept(every, None) == kept(every, 99 * 86400) == (11 * 24, {"unknown"})
    assert kept(every[:2] + every[4:], 72 * 3600) == (36, {"unknown"})


def test_too_cold_and_too_short_and_too_warm_a_soak():
    history = simulate(
        POINT,
        (
            SealedCure(salt="25 g", temperature="0.5 degC", lasts="2 d"),
            Soak(waters=(Water(amount="3 kg", lasts="2 h", temperature="22 degC"),)),
        ),
    )
    found = by_name(check_process(history))
    assert found["not too cold"].outcome == "unknown" and "add 48 h" in found["not too cold"].sentence  # CLEM-04
    assert "days in dry cure" not in found
    assert found["soak water"].outcome == "fail"
    assert "days in brine" not in found


@pytest.mark.parametrize(
    ("rule_id", "column", "text", "name", "outcome"),
    [
        ("FB2265-06", "value", "33-34", "kept cold", "fail"),
        ("CLEM-04", "value", "50", "not too cold", "unknown"),
        ("FB2265-08", "value", "0", "soak time", "unknown"),
        ("FB2265-08w", "value", "34", "soak water", "fail"),
    ],
)
def test_every_trade_rule_in_use_decides(rule_id, column, text, name, outcome, monkeypatch, kept_cold):
    if name == "soak time":
        soak = Soak(waters=(Water(amount="4 kg", lasts="10 min", temperature="8 degC"),))
        kept_cold = simulate(POINT, (*kept_cold.stages[:1], soak))
    if name == "not too cold":  # a rule of dry cures
        kept_cold = simulate(POINT, dry(150))
    assert by_name(check_process(kept_cold))[name].outcome == "pass"
    rows = [row | {column: text} if row["rule_id"] == rule_id else row for row in read_table("trade_rules.csv")]
    monkeypatch.setattr(sources, "read_table", lambda table: rows)
    assert by_name(check_process(kept_cold))[name].outcome == outcome


def test_old_rules_of_days_inform_and_never_pass():
    # FB 2265: 3.5 days a pound, Clemson HGIC 3603: 2 days a pound; 1 kg is 2.2046 lb.
    strong = Bath(water="5 kg", salt="900 g", nitrite="1 g")
    for lasts in ("2 d", "60 d"):
        brine = by_name(check_process(simulate(POINT, Brine(bath=strong, temperature="3 degC", lasts=lasts))))
        mild = by_name(check_process(simulate(POINT, Brine(bath=wet(150), temperature="3 degC", lasts=lasts))))
        salty = by_name(check_process(simulate(POINT, dry(150).but(salt="60 g", lasts=lasts))))
        assert brine["days in brine"].limit == approx(3.5 / 0.45359237, rel=1e-9)
        assert salty["days in dry cure"].limit == approx(2 / 0.45359237, rel=1e-9)
        assert brine["days in brine"].outcome == salty["days in dry cure"].outcome == "unknown"
        assert brine["days in brine"].sentence.startswith("For information")
        assert "days in brine" not in mild


# ---- all together --------------------------------------------------------------------------------------


def test_everything_worst_first(kept_cold):
    verdicts = check_all(kept_cold, "US", "bacon")
    order = [verdict.outcome for verdict in verdicts]
    assert order == sorted(order, key=["fail", "unknown", "pass"].index)
    assert order[0] == "fail"  # 150 mg/kg is above the 120 of 9 CFR 424.22(b)
    assert {"US nitrite, most", "kept cold", "soak water"} <= set(by_name(verdicts))
    for verdict in verdicts:
        assert isinstance(verdict, Verdict) and verdict.source and verdict.sentence.endswith(".")


def test_every_rule_set_answers(kept_cold):
    for rules in RULE_SETS.values():
        for product in rules.products:
            assert any(v.name.startswith(rules.name) for v in check_all(kept_cold, rules.name, product))


def test_running_brine_cannot_be_counted():
    running = Brine(bath=wet(100), temperature="3 degC", lasts="1 d", running=True)
    verdicts = by_name(check_all(simulate(POINT, running)))
    assert verdicts["US ingoing"].outcome == "unknown"
    assert "US nitrite, most" not in verdicts


def test_cautions_say_what_they_must():
    together = " ".join(CAUTIONS).lower()
    for word in (
        "poison",
        "weigh",
        "label",
        "locked",
        "children",
        "thrown away",
        "4 °c (40 °f)",
        "botulism",
        "cook",
        "licensed",
    ):
        assert word in together


# ---- found wanting by a food engineer ----------------------------------------------------------------


def loin_batch(pick_up="5 %"):
    plan = StrongBrine(
        water="5 kg", strength="15 %", nitrite="150 ppm", counted="pick-up", pick_up=pick_up,
        cure=CureLabel(name="pink", nitrite="6.25 %"),
    )  # fmt: skip
    return Batch(
        schema=1, name="poison", rules="GB", pieces=[Piece(name="loin", thickness="4 cm", weight="1 kg")],
        weigh_out=plan, stages=[Brine(temperature="3 degC", lasts="10 d", lying=False)],
    )  # fmt: skip


def test_a_declared_pick_up_does_not_hide_a_poisonous_brine():
    # 3 g/kg of nitrite in 5 kg of pickle: 5 % picked up is 150 mg/kg, but diffusion goes on towards 2000.
    found = by_name(run(loin_batch()).verdicts)
    formula, taken = found["GB nitrite, most"], found["GB nitrite, most, as simulated"]
    assert formula.outcome == "unknown" and "on time" in formula.sentence
    assert taken.outcome == "fail" and taken.statistic > 3 * taken.limit and taken.limit == 150
    history = run(loin_batch()).history
    assert taken.statistic == approx(1e6 * history.average("nitrite"), rel=1e-9)


def test_the_piece_that_takes_up_most_is_judged():
    thin = Piece(name="thin", thickness="1 cm", weight="100 g")
    thick = Piece(name="thick", thickness="12 cm", weight="5 kg")
    bath = Bath(water="5 kg", salt="250 g", nitrite="1.7 g")
    history = simulate((thick, thin), Brine(bath=bath, temperature="3 degC", lasts="5 d", lying=False))
    found = by_name(check_all(history))
    assert found["US nitrite, most"].outcome == "pass"
    peak = 1e6 * history.average("nitrite", history.times, "thin").max()
    assert found["US nitrite, most, as simulated"].statistic == approx(peak, rel=1e-9)
    assert peak > 200 and found["US nitrite, most, as simulated"].outcome == "fail"


def test_a_running_brine_is_judged_by_what_it_lets_in():
    running = Brine(bath=wet(200).but(salt="90 g"), temperature="3 degC", lasts="60 d", running=True, lying=False)
    assert by_name(check_all(simulate(POINT, running)))["US nitrite, most, as simulated"].outcome == "fail"


def test_nitrate_may_become_nitrite():
    # 9 CFR 424.21(c): nitrite and nitrate may not leave more than 200 mg/kg of nitrite; 85 of NaNO3 make 69 of NaNO2.
    history = simulate(POINT, dry(150, nitrate=500))
    for verdict in check_residual(history):
        if "nitrite" in verdict.name:
            most = 1e6 * (
                history.average("nitrite", basis="meat") + 68.995 / 84.995 * history.average("nitrate", basis="meat")
            )
            assert (
                verdict.outcome == "unknown" and f"{most:.0f} if nothing were lost and all nitrate" in verdict.sentence
            )
    assert all(v.outcome == "pass" for v in check_residual(simulate(POINT, dry(150))))


def test_the_products_a_limit_is_for_are_said():
    # UK SI 2007/1778: nitrate 150 is for products that are not heated.
    found = by_name(check_ingoing(dry(100, nitrate=100), POINT, "GB"))["GB nitrate, most"]
    assert found.outcome == "pass" and "non-heat-treated" in found.sentence


def test_verdicts_mind_the_band():
    cure = Brine(bath=wet(190), temperature="2 degC", lasts="40 d", lying=False)
    usual, slow, fast = (simulate(POINT, cure, numbers=each) for each in (default_numbers(), *corners()))
    name = "US nitrite, least, as simulated"
    limit = 1e6 * 0.5 * (slow.average("nitrite") + usual.average("nitrite"))
    assert 1e6 * slow.average("nitrite") < limit < 1e6 * usual.average("nitrite")

    def judged(histories, value):
        with pytest.MonkeyPatch.context() as patch:
            changed_rows(patch, lambda row: row["kind"] == "min_ingoing", limit_mg_per_kg=str(value))
            return by_name(check_all(histories[0], corners=histories[1:]))[name]

    assert judged((usual,), limit).outcome == "pass"
    split = judged((usual, slow, fast), limit)
    assert split.outcome == "unknown" and split.margin is None
    assert split.sentence.startswith("In slow meat (nitrite lost 3 times as fast): ")
    assert split.statistic == approx(1e6 * slow.average("nitrite"), rel=1e-9)
    assert judged((usual, slow, fast), 1).outcome == "pass"
    assert judged((slow, fast, usual), limit).outcome == "unknown"  # not a pass to begin with
    too_much = by_name(check_all(fast, "Canada", "bacon", corners=(usual, slow)))["Canada nitrite, most, as simulated"]
    assert too_much.outcome == "fail"  # fails in the usual meat: no corner saves it


def test_a_batch_is_judged_with_its_corners():
    batch = loin_batch("50 %").but(rules="Canada", stages=[Brine(temperature="3 degC", lasts="4 d", lying=False)])
    found = run(batch)
    alone = check_all(found.history, "Canada", "cured meat", "pick-up", 0.5, found.history.numbers)
    changed = {v.name for v in found.verdicts if re.match("In (slow|fast) meat|In meat that", v.sentence)}
    assert changed and changed <= {v.name for v in alone if v.outcome == "pass"}


def test_a_place_is_told_from_the_head_and_from_the_first_face():
    """Of a cut: where the profile that was judged lies, and the thickness there; of a slab, from the first face, beyond the middle as well."""
    ends = [{"at": "0 cm", "thickness": "3 cm", "width": "9 cm"}, {"at": "20 cm", "thickness": "5 cm", "width": "9 cm"}]
    wedge = Piece(name="wedge", shape="cut", stations=ends, weight="0.75 kg", edges="square")
    slab = Piece(name="slab", thickness="8 cm", weight="2 kg", fat_cap="1 cm")
    cure = Brine(bath=Bath(water="3 kg", salt="140 g", nitrite="0.5 g"), temperature="3 degC", lasts="6 d")
    history = simulate([wedge, slab], cure)
    along, depth = (float(each) for each in history.slowest_place("salt", 3 * 86400.0, 0))
    there = 0.03 + 0.02 * along / 0.2
    told = spot(history, 0, depth / there)
    found = re.fullmatch(r"Wedge, (\d+) cm from the head, ([\d.]+) cm deep", told)
    assert abs(float(found[1]) - 100 * along) < 1.5 and float(found[2]) == approx(100 * depth, abs=0.1)
    assert spot(history, 1, 0.9) == "Slab, 7.2 cm deep" and spot(history, 1, 0.1) == "Slab, 8 mm deep"
    assert spot(history, 1, 0.55) == "Middle of the slab" and spot(history, 0, 0.995) == "Outside of the wedge"
