"""Cooked through: every row of the printed tables gives its own time back, and a curve that is just short fails."""

import numpy as np
import pytest
from pytest import approx

from curelab.fields import InputError
from curelab.limits.curve import Curve
from curelab.limits.lethality import (
    LOGS,
    added_up,
    bag_share,
    check_bag,
    check_lethality,
    check_spores,
    dwell,
    equivalent_time,
    fitted,
    spore_rows,
    table,
)
from curelab.sources import read_table


def fahrenheit(degrees):
    return (np.asarray(degrees, dtype=float) - 32) / 1.8 + 273.15


def held(kelvin, seconds, start=278.15):
    """Cold, then at once so warm for so long, then cold."""
    return Curve([0.0, 10.0, 10.0 + seconds, 20.0 + seconds], [start, kelvin, kelvin, start])


def flat(kelvin, seconds):
    return Curve([0.0, seconds], [kelvin, kelvin])


# Other prints of the same columns, against a slip in ours. 6.5 log: FDA Food Code 3-401.11(B)(2), as adopted in S.C. Regs 61-25.3-401 Table 3.2,
# minutes, from 147 degF on seconds. 7 log: 3 CCR 910.11(a)(1), minutes. Between them the check values of FSIS's own p. 35.
FOOD_CODE = {130: 112, 131: 89, 133: 56, 135: 36, 136: 28, 138: 18, 140: 12, 142: 8, 144: 5, 145: 4}
FOOD_CODE |= {147: 134 / 60, 149: 85 / 60, 151: 54 / 60, 153: 34 / 60, 155: 22 / 60, 157: 14 / 60, 158: 0}
CALIFORNIA = {
    130: 121,
    131: 97,
    132: 77,
    133: 62,
    134: 47,
    135: 37,
    136: 32,
    137: 24,
    138: 19,
    139: 15,
    140: 12,
    141: 10,
    142: 8,
    143: 6,
    144: 5,
}
FSIS_7 = {145: 4, 150: 72 / 60, 155: 23 / 60, 157: 15 / 60, 158: 0}


@pytest.mark.parametrize(("logs", "printed"), [(6.5, FOOD_CODE), (7.0, CALIFORNIA), (7.0, FSIS_7)])
def test_rows_as_others_print_them(logs, printed):
    for degrees, minutes in printed.items():
        (row,) = (row for row in table(logs) if row.kelvin == approx(fahrenheit(degrees), rel=1e-9))
        assert row.seconds == approx(60 * minutes, rel=1e-9), degrees
    assert len(table(logs)) == 31


@pytest.mark.parametrize("logs", LOGS)
@pytest.mark.parametrize("number", range(28))
def test_a_constant_temperature_needs_the_time_of_its_row(number, logs):
    row = table(logs)[number]
    (just,) = check_lethality(flat(row.kelvin, row.seconds), [logs])
    (short,) = check_lethality(flat(row.kelvin, 0.99 * row.seconds), [logs])
    assert just.outcome == "pass" and short.outcome == ("fail" if logs == 6.5 else "unknown")
    assert just.margin == approx(0.0, abs=1e-9)
    assert added_up(flat(row.kelvin, row.seconds), logs) == approx(logs, rel=1e-12)


@pytest.mark.parametrize("number", range(1, 28))
def test_between_two_rows_the_colder_one_holds(number):
    colder, warmer = table()[number - 1], table()[number]
    between = 0.5 * (colder.kelvin + warmer.kelvin)
    assert check_lethality(flat(between, colder.seconds), [6.5])[0].outcome == "pass"
    if warmer.seconds < 0.98 * colder.seconds:
        assert check_lethality(flat(between, warmer.seconds), [6.5])[0].outcome == "fail"


def test_at_158_f_a_moment_is_enough_and_below_130_f_nothing_is():
    # Table 2: 0 s from 158 degF (70.0 degC) on, and no row below 130 degF.
    assert check_lethality(Curve([0, 1, 2], [280.0, 343.15, 280.0]))[0].outcome == "pass"
    assert check_lethality(Curve([0, 1, 2], [280.0, 343.0, 280.0]))[0].outcome == "fail"
    days = flat(fahrenheit(129.9), 10 * 24 * 3600.0)
    (verdict,) = check_lethality(days, [6.5])
    assert verdict.outcome == "fail" and verdict.margin < 0 and added_up(days) == 0


def test_the_time_counts_once_the_temperature_is_reached():
    # 3 CCR 910.11(a): "minimum processing time in minutes after minimum temperature is reached", in all parts.
    slow = Curve([0, 7200, 7200 + 11 * 60, 7200 + 11 * 60 + 1], [278.15, 333.15, 333.15, 300.0])
    assert dwell(slow, table()).held == approx(11 * 60, rel=2e-3)
    # The same held in two parts is not held: 7 and 7 minutes at 140 degF with a dip between.
    dip = Curve([0, 420, 430, 440, 860], [333.15, 333.15, 320.0, 333.15, 333.15])
    (verdict,) = check_lethality(dip, [6.5])
    assert verdict.outcome == "unknown" and "one temperature at a time" in verdict.sentence
    assert not verdict.counts_as_pass


def test_adding_up_is_exact_on_a_ramp():
    # By hand: at 1 K a minute each degF of a ramp lasts 60/1.8 s; the row that begins it sets the pace.
    ramp = Curve([0, 60 * 20], [fahrenheit(130), fahrenheit(130) + 20])
    by_hand = sum(6.5 * 60 / 1.8 / row.seconds for row in table()[:27])
    left = 20 * 60 - 27 * 60 / 1.8
    assert added_up(ramp) == approx(by_hand + 6.5 * left / table()[27].seconds, rel=3e-4)


def test_line_through_the_table():
    # properties.md section 5, worked out there by other means: z 10.01 degF (5.56 K), D60 1.77 min, worst row 9 %.
    fit = fitted(6.5)
    assert 1.8 * fit.z == approx(10.01, rel=1e-3) and fit.d60 / 60 == approx(1.77, rel=3e-3)
    assert fit.worst == approx(0.09, rel=0.05) and fit.rows == 28
    assert "9 %" in fit.sentence
    # Scott & Weddig 1998, as cited: Salmonella in patties D 0.172 min at 150 degF (65.6 degC), z 10 degF.
    (patty,) = (row for row in read_table("thermal_death.csv") if "patty" in row["organism"])
    one_log = fit.d60 * 10 ** ((333.15 - fahrenheit(150)) / fit.z)
    assert one_log / 60 == approx(float(patty["D_min"]), rel=fit.worst)


def test_spreadsheet_of_the_trade():
    # A printed example of a meat-industry foundation: 16 readings every half minute, z 10 degF, reference 150 degF.
    readings = [40, 64, 82, 97, 113, 128, 138, 142, 145, 148, 145, 140, 137, 136, 135, 134]
    printed = [0, 0, 0, 0, 0, 0.002, 0.019, 0.074, 0.193, 0.430, 0.667, 0.771, 0.808, 0.831, 0.849, 0.863]
    times = 30.0 * np.arange(16)
    for n in range(2, 17):
        curve = Curve(times[:n], fahrenheit(readings[:n]))
        assert abs(equivalent_time(curve, fahrenheit(150), 10 / 1.8) / 60 - printed[n - 1]) < 6e-4
    with pytest.raises(InputError, match="give a number above 0"):
        equivalent_time(curve, 330.0, 0.0)


def test_the_coldest_of_several_places_decides():
    done, raw = flat(345.0, 60.0), Curve([0, 60], [320.0, 320.0], "the middle of point")
    (verdict, _) = check_lethality([done, raw])
    assert verdict.outcome == "fail" and "the middle of point" in verdict.sentence
    assert check_lethality([done, done])[0].outcome == "pass"


def test_it_defers_to_the_code_of_the_place():
    for curve in (flat(333.15, 720.0), flat(333.15, 60.0), flat(300.0, 60.0), flat(350.0, 60.0)):
        assert all("licensed practice go first" in verdict.sentence for verdict in check_lethality(curve))
    assert "licensed practice go first" in check_bag(flat(333.15, 60.0)).sentence


# -- bags ------------------------------------------------------------------------------------------------------------------------------


def slab_middle(thickness, bath, beta, hours):
    """The middle of a slab in a bath as the guide sets it: 1.11e-7 m2/s, 95 W/m2K, k 0.48 W/mK (assumed); beta 0 slab to 2 sphere. By finite differences."""
    alpha, h, k, cells = 1.11e-7, 95.0, 0.48, 30
    r = thickness / 2
    dx = r / cells
    edges = np.linspace(0, r, cells + 1)
    area = (edges / r) ** beta if beta else np.ones(cells + 1)
    middle = 0.5 * (edges[1:] + edges[:-1])
    volume = dx * ((middle / r) ** beta if beta else np.ones(cells))
    kelvin, dt = np.full(cells, 278.15), 0.4 * dx**2 / alpha
    steps = int(hours * 3600 / dt)
    found = np.empty(steps + 1)
    found[0] = 278.15
    outer = 1 / (1 / h + dx / 2 / k) * alpha / k
    for n in range(steps):
        flow = np.concatenate([[0.0], alpha * np.diff(kelvin) / dx * area[1:-1], [outer * (bath - kelvin[-1])]])
        kelvin = kelvin + dt * np.diff(flow) / volume
        found[n + 1] = kelvin[0]
    return dt * np.arange(steps + 1), found


@pytest.mark.parametrize(
    "row",
    [r for r in read_table("pasteurisation.csv") if r["thickness_mm"] in ("20", "30", "50", "70")],
    ids=lambda r: f"{r['thickness_mm']} mm, {r['temperature_C']}",
)
def test_printed_table_for_bags(row):
    """Baldwin Table 5.1 rounds to a quarter of an hour and its conductivity is not printed: within 15 % and 15 min, as evidence/thermal.csv found too."""
    thickness, bath, minutes = (
        float(row["thickness_mm"]) / 1e3,
        float(row["temperature_C"]) + 273.15,
        float(row["minutes"]),
    )
    times, kelvin = slab_middle(thickness, bath, 0.28 if thickness > 0.03 else 0.0, 8)
    keep = slice(None, None, max(1, len(times) // 2000))
    curve = Curve(times[keep], kelvin[keep])
    low, high = 0.0, 8 * 3600.0
    for _ in range(40):
        half = 0.5 * (low + high)
        low, high = (low, half) if bag_share(curve.part(0.0, half))[0] >= 1 else (half, high)
    assert abs(high / 60 - minutes) < max(15.0, 0.15 * minutes)
    assert check_bag(curve.part(0.0, 0.95 * high)).outcome == "fail"


def test_a_bag_can_ask_and_never_pass():
    # By hand: at 55 degC E. coli needs 5 * 19.35 min, Listeria 6 * 12.66, Salmonella 6.5 * 13.18: E. coli lags.
    share, slowest = bag_share(flat(328.15, 5 * 19.35 * 60))
    assert share == approx(1.0, rel=1e-6) and slowest.organism == "Escherichia coli"
    enough = check_bag(flat(328.15, 24 * 3600.0))
    assert enough.outcome == "unknown" and "second-hand" in enough.sentence
    assert check_bag(flat(328.15, 0.9 * 5 * 19.35 * 60)).outcome == "fail"
    # At 62 degC Listeria lags (its z is large), by hand.
    assert bag_share(flat(335.15, 600.0))[1].organism == "Listeria monocytogenes"


def test_spores_are_told_and_never_pass():
    # UK FSA training module, citing the CFA: 10 min at 90 degC; 129 min at 80; 1 min at 100.
    assert [(row.kelvin, row.seconds) for row in spore_rows()][::10] == [
        (353.15, approx(7740)),
        (363.15, approx(600)),
        (373.15, approx(60)),
    ]
    assert "enough by a printed table" in check_spores(flat(363.15, 600.0)).sentence
    short = check_spores(flat(363.15, 590.0))
    assert short.outcome == "unknown" and "within 72 h" in short.sentence


# -- curves ----------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("times", "kelvin", "words"),
    [
        ([0.0], [300.0], "at least two readings"),
        ([0.0, 1.0], [300.0], "one temperature a time"),
        ([0.0, 0.0], [300.0, 300.0], "put the readings in order"),
        ([0.0, float("nan")], [300.0, 300.0], "must be finite"),
        ([0.0, 1.0], [60.0, 60.0], "60 degC is 333.15 K"),
        ([0.0, 1.0], [300.0, float("nan")], "nan K lies outside"),
        ([1.0, 0.0], [300.0, 9000.0], "put the readings in order"),
    ],
)
def test_bad_curves_are_one_sentence_each(times, kelvin, words):
    with pytest.raises(InputError, match=words) as caught:
        Curve(times, kelvin)
    assert all("\n" not in str(problem) for problem in caught.value.problems)
    if kelvin[-1] == 9000.0:
        assert len(caught.value.problems) == 2


def test_no_curve_is_refused():
    with pytest.raises(InputError, match="one curve at least"):
        check_lethality([])
    with pytest.raises(InputError, match="no column for 5 logs"):
        table(5)


def test_times_of_a_curve_against_fine_steps():
    """Exact for straight parts: held against a million steps of a crooked curve."""
    rng = np.random.default_rng(4)
    times, kelvin = np.cumsum(rng.uniform(10, 500, 40)), rng.uniform(280, 350, 40)
    curve = Curve(times, kelvin)
    fine = np.linspace(times[0], times[-1], 1_000_001)
    step = fine[1] - fine[0]
    for limit in (290.0, 310.0, 335.0):
        hot = np.interp(fine, times, kelvin) >= limit
        assert curve.above(limit) == approx(step * hot.sum(), rel=2e-4)
        runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], hot, [0]]))))[::2]
        assert curve.longest(limit) == approx(step * runs.max(), rel=2e-3)


def test_more_heat_never_kills_less():
    rng = np.random.default_rng(1)
    for _ in range(30):
        times, kelvin = np.arange(20) * 60.0, rng.uniform(320, 345, 20)
        warmer = Curve(times, kelvin + rng.uniform(0, 3, 20))
        assert added_up(warmer) >= added_up(Curve(times, kelvin)) * (1 - 1e-12)
        assert bag_share(warmer)[0] >= bag_share(Curve(times, kelvin))[0] * (1 - 1e-9)
