"""Verdicts: printed limits, what an outcome means, and that every rule and threshold decides something."""

import dataclasses
import math

import pytest
from pytest import approx

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.limits import (
    CAUTIONS,
    RULE_SETS,
    Verdict,
    check_all,
    check_ingoing,
    check_process,
    check_residual,
    check_taken_up,
    find,
    picks,
    process,
    rule_sets,
    unprotected_time,
)
from curelab.limits.verdict import judge, unknown, worst_first
from curelab.matter.solutes import nitrite_as
from curelab.sources import default_numbers, read_table

POINT = Piece(name="point", thickness="5 cm", weight="1 kg")
LITTLE = Piece(name="little", thickness="2 cm", weight="1 kg")
DAY = 86400.0


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
    # 9 CFR 424.21(c): no nitrate in bacon; 3.5 oz per 100 lb dry cured is 2187 ppm (limit from memory).
    bacon = by_name(check_ingoing(dry(150, nitrate=10), POINT, "US", "bacon"))["US nitrate, most"]
    assert bacon.outcome == "fail" and bacon.limit == 0
    assert by_name(check_ingoing(dry(150), POINT, "US", "bacon"))["US nitrate, most"].outcome == "pass"
    name = "US nitrate, most"
    assert by_name(check_ingoing(dry(150, nitrate=2187), POINT))[name].outcome == "pass"
    much = by_name(check_ingoing(dry(150, nitrate=2300), POINT))[name]
    assert much.outcome == "fail" and "from memory" in much.sentence
    # In a brine nitrate is shared out as nitrite is: 750 mg/kg of 2.04 kg and the nitrate itself, by hand.
    bath = Bath(water="1 kg", salt="40 g", nitrate=750e-6 * 2.04 / (1 - 750e-6))
    assert by_name(check_ingoing(bath, POINT))[name].statistic == approx(750, rel=1e-9)
    assert by_name(check_ingoing(bath, POINT))[name].outcome == "fail"
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
    assert outcomes == (["pass", "fail"] if pick.kind == "min_ingoing" else ["fail", "pass"])


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
    assert check_taken_up(history, "EU") == ()


def test_a_soak_after_the_cure_does_not_undo_what_went_in():
    soak = Soak(waters=(Water(amount="40 kg", lasts="9 d", temperature="3 degC"),))
    cure = Brine(bath=wet(190), temperature="2 degC", lasts="60 d", lying=False)
    (verdict,) = check_taken_up(simulate(POINT, (cure, soak)))
    (unsoaked,) = check_taken_up(simulate(POINT, cure))
    assert verdict.statistic == approx(unsoaked.statistic, rel=1e-9)


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
    assert found["kept cold"].outcome == "pass"
    assert found["kept cold"].limit == approx((40 - 32) / 1.8, rel=1e-9)  # FB 2265: 36 to 40 degF
    assert found["not too cold"].outcome == "pass"
    assert found["not too cold"].limit == approx((34 - 32) / 1.8, rel=1e-9)  # Clemson HGIC 3603: stops below 34 degF
    assert found["core unprotected and warm"].statistic == 0
    assert found["soak water"].limit == approx((70 - 32) / 1.8, rel=1e-9)  # FB 2265: not above 70 degF
    salt = found["salt in the water of the core"]
    assert salt.outcome == "unknown" and "second-hand" in salt.sentence and "cooking" in salt.sentence
    # FB 2265: 3.5 days a pound; 1 kg is 2.2046 lb, so 7.7 days, and 9 are enough.
    assert found["days in brine"].limit == approx(3.5 / 0.45359237, rel=1e-9)
    assert found["days in brine"].outcome == "pass"


def test_a_fridge_that_warms_up():
    log = [
        ["0 h", "3 degC"],
        ["24 h", "3 degC"],
        ["25 h", "11 degC"],
        ["31 h", "11 degC"],
        ["32 h", "3 degC"],
    ]
    history = simulate(POINT, Brine(bath=wet(150), temperature=log, lasts="3 d"))
    kept = by_name(check_process(history))["kept cold"]
    assert kept.outcome == "fail" and kept.statistic == approx(11, rel=1e-9)
    # By hand: 6 h at the top, and (11 - 4.444) / 8 of each hour of rise and fall: 7.64 h.
    assert "7.64 h" in kept.sentence
    bare = by_name(check_process(history))["core unprotected and warm"]
    # By hand: above 4 degC for 6 h and 7/8 of two hours, the core of a thick piece bare all along.
    assert bare.statistic == approx(7.75, rel=1e-2) and bare.outcome == "fail"
    assert bare.how == "judgement" and "judgement" in bare.sentence


def test_a_protected_core_does_not_count():
    stages = (
        Brine(bath=wet(190).but(salt="90 g"), temperature="3 degC", lasts="9 d", lying=False),
        Rest(temperature="10 degC", lasts="1 d"),
    )
    history = simulate(LITTLE, stages)
    assert history.core("salt", 9 * DAY, basis="water phase") > 0.035
    assert unprotected_time(history) == 0
    numbers = default_numbers()
    # Either hurdle alone protects; with both out of reach, the warm day counts in full.
    for key in ("protection.water_phase_salt", "protection.free_nitrite"):
        assert unprotected_time(history, numbers=numbers.with_values({key: 1000 if "nitrite" in key else 50})) == 0
    out_of_reach = numbers.with_values({"protection.water_phase_salt": 50, "protection.free_nitrite": 1000})
    assert unprotected_time(history, numbers=out_of_reach) == approx(DAY, rel=1e-6)
    assert unprotected_time(history, numbers=out_of_reach.with_values({"protection.cold": 11})) == 0
    verdicts = by_name(check_process(history, out_of_reach.with_values({"protection.warm_hours": 30})))
    assert verdicts["core unprotected and warm"].outcome == "pass"
    assert by_name(check_process(history, out_of_reach))["core unprotected and warm"].outcome == "fail"


def test_growth_limits_decide(kept_cold):
    numbers = default_numbers()
    name = "salt in the water of the core"
    low = numbers.with_values({"growth.nonproteolytic.water_phase_salt": 1.0})
    verdict = by_name(check_process(kept_cold, low))[name]
    assert verdict.outcome == "pass" and "from 10 degC" in verdict.sentence
    lower = low.with_values({"growth.proteolytic.water_phase_salt": 1.1})
    assert "from 10 degC" not in by_name(check_process(kept_cold, lower))[name].sentence


def test_too_cold_and_too_short_and_too_warm_a_soak():
    history = simulate(
        POINT,
        (
            SealedCure(salt="25 g", temperature="0.5 degC", lasts="2 d"),
            Soak(waters=(Water(amount="3 kg", lasts="2 h", temperature="22 degC"),)),
        ),
    )
    found = by_name(check_process(history))
    assert found["not too cold"].outcome == "fail" and "add those days" in found["not too cold"].sentence
    assert found["days in dry cure"].outcome == "unknown"
    assert found["days in dry cure"].limit == approx(2 / 0.45359237, rel=1e-9)  # Clemson HGIC 3603: 2 days a pound
    assert found["soak water"].outcome == "fail"
    assert "days in brine" not in found


@pytest.mark.parametrize(
    ("rule_id", "column", "text", "name", "outcome"),
    [
        ("FB2265-06", "value", "33-34", "kept cold", "fail"),
        ("CLEM-04", "value", "50", "not too cold", "fail"),
        ("FB2265-01", "value", "30-40", "days in brine", "unknown"),
        ("FB2265-08", "note", "water not above 34 F", "soak water", "fail"),
    ],
)
def test_every_trade_rule_in_use_decides(rule_id, column, text, name, outcome, monkeypatch, kept_cold):
    assert by_name(check_process(kept_cold))[name].outcome == "pass"
    rows = [row | {column: text} if row["rule_id"] == rule_id else row for row in read_table("trade_rules.csv")]
    monkeypatch.setattr(process, "read_table", lambda table: rows)
    assert by_name(check_process(kept_cold))[name].outcome == outcome


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
        "4 degc",
        "botulism",
        "cook",
        "licensed",
    ):
        assert word in together
