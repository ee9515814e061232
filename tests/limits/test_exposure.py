"""The two clocks of raw meat against figures worked out by hand and by brute force; and that no verdict hangs on a cliff."""

import re

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad

from curelab import Bath, Brine, Piece, Rest, SealedCure, Soak, Water, simulate
from curelab.limits import UNPROTECTED, WARM, check_process, exposures, keeping
from curelab.limits.exposure import between
from curelab.limits.protection import DISCARD
from curelab.proof.safety import tried
from curelab.sources import default_numbers, read_table

DAY = 86400.0
POINT = Piece(name="point", thickness="5 cm", weight="1 kg")
NUMBERS = default_numbers()
COLD, WARM_CLOCK = keeping.clock("cold", NUMBERS), keeping.clock("warm", NUMBERS)
# keeping.csv, from the abstracts: days to harm on the cold clock
PRINTED = {3.0: 35.0, 4.0: 21.0, 5.0: 14.0, 8.0: 6.0, 12.0: 3.0}


def named(verdicts):
    return {each.name: each for each in verdicts}


def raw(celsius, days, piece=POINT, **more):
    return simulate(
        piece,
        Rest(temperature=celsius if isinstance(celsius, list) else f"{celsius} degC", lasts=f"{days} d"),
        cells=8,
        **more,
    )


# ---- the clocks ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("celsius", "days"), PRINTED.items())
def test_printed_days_are_kept(celsius, days):
    assert 1 / COLD.pace(np.array(celsius + 273.15)) == approx(days * DAY, rel=1e-9)
    assert exposures(raw(celsius, 2))[0].cold == approx(2 / days, rel=1e-9)


@pytest.mark.parametrize("celsius", [-1.0, 0.0, 1.0, 2.9])
def test_colder_than_any_printed_safety_meat_keeps_no_longer_than_there(celsius):
    """Nor by either reading: beef that was not spoiled by 120 d at 0 degC is no time of safety."""
    found = exposures(raw(celsius, 30))[0]
    assert found.cold == approx(30 / 35, rel=1e-9)
    assert found.harm == approx(30 / 35, rel=1e-9)
    for lasts, outcome in ((20.9, "pass"), (21.1, "unknown"), (34.9, "unknown"), (35.1, "fail")):
        assert named(check_process(raw(celsius, lasts)))[UNPROTECTED].outcome == outcome, lasts


def test_nitrite_alone_carries_no_pass():
    """With all nitrite at once and no salt to speak of: what passes has not come to the 35 d to toxin of bare meat, and fails only where
    six of 35 days would not save it either.
    """
    slowed, lenient = keeping.hurdles(NUMBERS), keeping.hurdles(NUMBERS, lenient=True)
    assert 21 / slowed.left_over(np.array(0.0), np.array(1.0)) == approx(35, rel=1e-9)
    assert 35 / lenient.left_over(np.array(0.0), np.array(1.0)) == approx(35 * 35 / 6, rel=0.01)
    assert slowed.left_over(np.array(0.05), np.array(0.0)) == 0  # salt alone does carry one: printed


def test_days_that_are_told_beyond_harm_are_a_fail_or_reach_back_before_it():
    """No check says 39 days beside toxin from 35 on and leaves it open, but where nitrite may have helped: then both ends are told."""
    bare = named(check_process(raw(2.0, 39)))[UNPROTECTED]
    assert (
        bare.outcome == "fail" and "for 39 days" in bare.sentence and "Colder than 3 °C counts as 3 °C" in bare.sentence
    )
    batch = next(each.batch for each in tried() if each.id == "nitrite-60d-3")
    found = named(check_process(simulate(batch.pieces, batch.filled())))[UNPROTECTED]
    assert found.outcome == "unknown" and found.statistic > 35
    low, high = map(float, re.search(r"bare raw meat for ([\d.]+) to (\d+) days", found.sentence).groups())
    assert low < 21 < 35 <= high


def test_between_printed_days_a_straight_line_of_logarithms():
    # By hand: at 3.5 degC the geometric mean of 35 and 21 d, at 3.2 degC a fifth of the way.
    assert exposures(raw(3.5, 14))[0].cold == approx(14 / (35 * 21) ** 0.5, rel=1e-9)
    assert exposures(raw(3.2, 40))[0].cold == approx(40 / (35 * (21 / 35) ** 0.2), rel=1e-9)


def test_no_cliff():
    """From freezing upwards harm grows, and nowhere by a jump: a tenth of a degree adds at most a tenth to the cold clock."""
    kelvin = np.arange(273.15, 298.15, 0.1)
    for clock in (COLD, WARM_CLOCK):
        assert (np.diff(clock.pace(kelvin)) >= 0).all()
    assert (np.diff(np.log(COLD.pace(kelvin))) <= 0.1).all()
    assert (COLD.pace(np.array([272.2, 273.0])) > 0).all() and COLD.pace(
        np.array(271.9)
    ) == 0  # raw meat freezes at -1.13 degC
    # Salmonella grows from 6.5 degC; near that the pace is as good as nothing, at 10 degC it is the printed one.
    assert (
        WARM_CLOCK.pace(np.array(279.6))
        == 0
        < WARM_CLOCK.pace(np.array(279.8))
        < 0.01 * WARM_CLOCK.pace(np.array(283.15))
    )


def test_hours_allowed_in_the_warm():
    # FDA, summary of Table A-2: 4 h above 10 degC, 2 h above 21.1 degC; allowed is protection.share, 0.6, of harm here: 6.67 h.
    assert exposures(raw(10, 4 / 24))[0].warm == approx(0.6, rel=1e-9)
    assert exposures(raw(22, 2 / 24))[0].warm == approx(0.6, rel=1e-9)
    for hours, outcome in ((3.9, "pass"), (4.1, "unknown"), (6.6, "unknown"), (6.7, "fail")):
        found = named(check_process(raw(10, hours / 24)))[WARM]
        assert found.outcome == outcome and found.statistic == approx(hours, rel=1e-9)
    assert found.sentence.startswith(DISCARD)


def test_a_fridge_that_warms_up_is_integrated():
    log = [["0 h", "2 degC"], ["30 h", "2 degC"], ["36 h", "9 degC"], ["40 h", "9 degC"], ["48 h", "3 degC"]]
    found = exposures(raw(log, 2))[0]
    at = lambda t: np.interp(t, [0, 30, 36, 40, 48], [275.15, 275.15, 282.15, 282.15, 276.15])  # noqa: E731
    for clock, ours in ((COLD, found.cold), (WARM_CLOCK, found.warm)):
        exact = quad(lambda t, c=clock: 3600 * float(c.pace(at(t))), 0, 48, points=[30, 36, 40], limit=400)[0]
        assert ours == approx(exact, rel=2e-4)


@pytest.mark.parametrize(
    "row", [row for row in read_table("keeping.csv") if row["clock"] == "check"], ids=lambda row: row["what"][:40]
)
def test_what_is_in_order_lies_near_printed_storage(row):
    """Six tenths of the time to harm against storage times that did not enter the clock: raw meat, and the rules of chilled food. Printed means
    have standard deviations as large as themselves.
    """
    days = 0.6 / float(COLD.pace(np.array(float(row["temperature_C"]) + 273.15))) / DAY
    assert 1 / 2.0 < days / float(row["time"]) < 2.7


def test_every_row_of_the_table_decides(monkeypatch):
    rows = read_table("keeping.csv")
    monkeypatch.setattr(keeping, "_clock", keeping._clock.__wrapped__)  # which remembers what it read
    for number, row in enumerate(rows):
        if row["clock"] == "check" or row["kind"] == "spoilage":
            continue
        changed = [
            each | ({"time": str(2 * float(each["time"]))} if n == number else {}) for n, each in enumerate(rows)
        ]
        monkeypatch.setattr(keeping, "read_table", lambda name, changed=changed: changed)
        kelvin = np.arange(274.15 if row["clock"] == "cold" else 281.15, 297.15, 1.0)
        before = {"cold": COLD, "warm": WARM_CLOCK}[row["clock"]].pace(kelvin)
        moved = keeping.clock(row["clock"], NUMBERS).pace(kelvin) / before
        assert moved.min() < 0.9, row


# ---- salt and nitrite ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("salt", "nitrite", "left"),
    [
        (0.0, 0.0, 1.0),
        (2.9, 0.0, 1.0),  # broth: below 3 % little effect
        (4.0, 0.0, 0.5),  # half of the way to the 5 % that stop it (Table A-1)
        (5.0, 0.0, 0.0),
        (1.0, 75.0, 0.17),  # 6 d over the 35 d without toxin beside 75 mg/kg
        (1.0, 37.5, 0.585),
        (1.0, 300.0, 0.17),  # more is not printed, so it counts no more
        (4.0, 75.0, 0.085),
    ],
)
def test_what_slows_the_clock(salt, nitrite, left):
    slowed = keeping.hurdles(NUMBERS, lenient=True)
    assert slowed.left_over(np.array(salt / 100), np.array(nitrite * 1e-6)) == approx(left, abs=1e-12)


def brute_force(history, piece, steps=1200):
    """`exposures` without any shortcut: every depth of the lean at every time."""
    cap, slowed = history.pieces[piece].fat_cap, keeping.hurdles(NUMBERS)
    depth = history.profile("salt", None, piece).depth
    lean = (depth > cap) | (cap == 0)
    if history.pieces[piece].capped == "both faces" and cap:
        lean &= depth < history.pieces[piece].thickness - cap
    cold, most, warm = 0.0, 0.0, 0.0
    for ran in history.ran:
        times = ran.begin + (np.arange(steps) + 0.5) * ran.length / steps
        kelvin = history.temperature(times)
        free = history.profile("free nitrite", times, piece, "green weight").values[:, lean]
        salt = history.profile("salt", times, piece, "water phase").values[:, lean]
        left = np.where((kelvin > 283.15)[:, None], 1.0, slowed.left_over(salt, free))
        cold = cold + (COLD.pace(kelvin)[:, None] * left).sum(axis=0) * ran.length / steps
        warm = warm + WARM_CLOCK.pace(kelvin).sum() * ran.length / steps
        most = np.maximum(most, free.max(axis=0))
    return cold.max(), warm, most.min()


WARMING = [["0 h", "3 degC"], ["9 h", "12 degC"], ["18 h", "6 degC"], ["60 h", "9 degC"], ["72 h", "3.5 degC"]]


@pytest.mark.parametrize("how", ["lying", "capped", "capped twice", "cylinder", "in company"])
def test_exposures_leave_nothing_out(how):
    slab = Piece(name="slab", thickness="4 cm", weight="1 kg")
    pieces = {
        "lying": (slab,),
        "capped": (slab.but(fat_cap="6 mm"),),
        "capped twice": (slab.but(fat_cap="6 mm", capped="both faces"),),
        "cylinder": (slab.but(shape="cylinder"),),
        "in company": (slab.but(name="other", thickness="2.5 cm"), slab),
    }[how]
    stages = (
        Brine(
            bath=Bath(water="5 kg", salt="900 g", nitrite="2.5 g"),
            temperature=WARMING,
            lasts="5 d",
            lying=how == "lying",
        ),
        Rest(temperature=WARMING, lasts="3 d"),
        Soak(waters=(Water(amount="20 kg", lasts="3 h", temperature="8 degC"),)),
    )
    history = simulate(pieces, stages, cells=12)
    for number, found in enumerate(exposures(history)):
        cold, warm, least = brute_force(history, number)
        assert cold > 0.1 and found.cold == approx(cold, rel=2e-2)
        assert found.warm == approx(warm, rel=1e-2) and found.nitrite == approx(least, rel=2e-2, abs=1e-9)


def test_the_slowest_spot_is_found():
    """Under fat on one face it lies off the middle of the piece, at the fat; on a sphere in its middle."""
    cure = Brine(
        bath=Bath(water="3 kg", salt="120 g", nitrite="0.6 g"), temperature="3 degC", lasts="12 d", lying=False
    )
    capped = exposures(simulate(POINT.but(thickness="6 cm", fat_cap="1 cm"), cure, cells=20))[0]
    # One open face, at depth 1; the tight cap leaves the lean beside it, at a sixth, the slowest.
    assert capped.bare == approx(1 / 6, abs=0.05) and capped.place < 0.4
    ball = exposures(simulate(POINT.but(shape="sphere", thickness="12 cm", weight="0.95 kg"), cure, cells=20))[0]
    assert ball.place == ball.bare == approx(0.5, abs=0.03)


def test_draws_say_what_one_case_says():
    draws = {"temperature": np.array([0.0, 2.0]), "obstruction.lean": np.array([0.33, 0.2])}
    cure = Brine(
        bath=Bath(water="3 kg", salt="120 g", nitrite="0.6 g"), temperature="3 degC", lasts="12 d", lying=False
    )
    many = simulate(POINT, cure, cells=12, draws=draws, few=False)
    for number in range(2):
        own = NUMBERS.with_values({"obstruction.lean": draws["obstruction.lean"][number]})
        alone = simulate(POINT, cure.but(temperature=f"{3 + draws['temperature'][number]} degC"), cells=12, numbers=own)
        assert exposures(many.of(number))[0].cold == approx(exposures(alone)[0].cold, rel=1e-3)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("protection.share", 0.2),
        ("protection.salt_felt", 1),
        ("growth.nonproteolytic.water_phase_salt", 3.5),
        ("protection.nitrite_full", 300),
        ("protection.nitrite_left", 0.9),
        ("freezing.meat", -0.1),
        ("growth.proteolytic.temperature", 7),
        ("growth.salmonella.temperature", 9),
    ],
)
def test_every_number_moves_the_exposure(key, value):
    """`freezing.meat` at the end of a night below freezing, the others in a salty cure with a warm spell."""
    log = [["0 h", "-0.5 degC"], ["20 h", "-0.5 degC"], ["40 h", "4 degC"], ["90 h", "9.5 degC"], ["120 h", "3 degC"]]
    cure = SealedCure(salt="45 g", nitrite="150 mg", temperature=log, lasts="8 d")
    history = simulate(POINT.but(thickness="2 cm"), cure, cells=8)
    changed = NUMBERS.with_values({key: value})
    before, after = (named(check_process(history, each)) for each in (NUMBERS, changed))
    assert before[UNPROTECTED].statistic != approx(after[UNPROTECTED].statistic, rel=1e-3) or (
        before[WARM].statistic != approx(after[WARM].statistic, rel=1e-3)
        or before[UNPROTECTED].limit != after[UNPROTECTED].limit
    )


# ---- what is said --------------------------------------------------------------------------------------


def test_the_verdict_by_the_share_that_is_used():
    # At 3 degC toxin came in 35 d; six tenths of that are in order.
    for days, outcome in ((20.9, "pass"), (21.1, "unknown"), (34.9, "unknown"), (35.1, "fail"), (400, "fail")):
        found = named(check_process(raw(3, days)))[UNPROTECTED]
        assert found.outcome == outcome and found.statistic == approx(days, rel=1e-9)
    assert found.sentence.startswith(DISCARD) and found.margin < 0


def test_nothing_printed_reaches_beyond_four_months():
    salty = Brine(
        bath=Bath(water="40 kg", salt="4.5 kg", nitrite="6 g"), temperature="1 degC", lasts="200 d", lying=False
    )
    found = named(check_process(simulate(POINT.but(thickness="1 cm", weight="0.2 kg"), salty, cells=8)))[UNPROTECTED]
    assert found.statistic < 5 and found.outcome == "unknown" and "nothing printed reaches" in found.sentence
    brief = named(
        check_process(simulate(POINT.but(thickness="1 cm", weight="0.2 kg"), salty.but(lasts="100 d"), cells=8))
    )
    assert brief[UNPROTECTED].outcome == "pass"


def test_a_sound_flat_comes_out_better_than_a_bare_block():
    bath = Bath(water="4 kg", salt="150 g", nitrite="0.75 g")
    flat = simulate(
        POINT.but(thickness="4 cm", weight="1.9 kg"),
        Brine(bath=bath, temperature="3.5 degC", lasts="14 d", lying=False),
    )
    several = {name: 5 * getattr(bath, name) for name in ("water", "salt", "nitrite")}
    block = simulate(
        POINT.but(thickness="30 cm", weight="20 kg"),
        Brine(bath=Bath(**several), temperature="4.4 degC", lasts="14 d", lying=False),
    )
    better, worse = (named(check_process(each))[UNPROTECTED] for each in (flat, block))
    assert better.outcome == "pass" and worse.outcome == "unknown" and worse.statistic > 1.5 * better.statistic
    assert named(check_process(block))["cure at the slowest spot"].outcome == "unknown"
    assert named(check_process(flat))["cure at the slowest spot"].outcome == "pass"


@pytest.mark.parametrize(
    ("grams", "says"),
    [
        (1, "does next to nothing"),  # 0.1 % in its water
        (13, "does little"),
        (32, "slows the botulism of the fridge"),  # between 3 and 5 %: Whiting & Oriente 1997, Table A-1
        (50, "stops the botulism of the fridge"),
        (100, "stops every botulism"),
    ],
)
def test_what_salt_alone_does_is_said_by_its_strength(grams, says):
    cure = SealedCure(salt=f"{grams} g", nitrite="150 mg", temperature="3 degC", lasts="40 d")
    found = named(check_process(simulate(POINT.but(thickness="1 cm"), cure, cells=8)))["cure at the slowest spot"]
    assert says in found.sentence and found.outcome == ("pass" if grams > 13 else "unknown")


def test_what_is_rinsed_off_was_there():
    """A soak takes salt and nitrite from the face at the end; the cure had come there all the same."""
    stages = (
        Brine(bath=Bath(water="3 kg", salt="120 g", nitrite="0.6 g"), temperature="3 degC", lasts="12 d", lying=False),
        Soak(waters=(Water(amount="20 kg", lasts="6 h", temperature="3 degC"),)),
    )
    found = exposures(simulate(POINT.but(thickness="3 cm"), stages, cells=12))[0]
    end = simulate(POINT.but(thickness="3 cm"), stages, cells=12).lean_profile("salt", None, 0, "water phase")
    assert end.min() < 0.01 < 0.02 < found.salt


@pytest.mark.parametrize("own", (True, False))
def test_many_rows_are_read_between_their_points_as_one_is(own):
    """numpy.interp, row by row: one grid for all or one for each, which may stand still, and times beyond both its ends."""
    chance = np.random.default_rng(3)
    steps = chance.random((6, 40)) * (chance.random((6, 40)) < 0.8) * 1e5
    values = np.cumsum(steps * chance.random((6, 40)), axis=1)
    grid = np.cumsum(steps, axis=1) if own else np.arange(40) * 5e4
    times = chance.uniform(-1e5, 3e6, (6, 90))
    rows = zip(times, np.broadcast_to(grid, values.shape), values, strict=True)
    assert between(times, grid, values) == approx(np.array([np.interp(*row) for row in rows]), rel=1e-9)
