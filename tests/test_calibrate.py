"""Learning from a batch: what instruments show, recovery of hidden values, honest notes, forecasts, profiles and the log."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from curelab import Bath, Brine, InputError, Piece, simulate
from curelab.batch import Batch, Reading, load, save
from curelab.learn.calibrate import Measurement, fit, from_log, learned, measure, salometer, tasted
from curelab.learn.update import MeatAndFridge, compare, load_profile, save_profile, update
from curelab.matter import brine
from curelab.paper.logbook import append_reading, locked
from curelab.sources import default_numbers, read_table
from curelab.spread.uncertain import inputs_for

DAY = 86400.0
PIECE = Piece(name="p", thickness="5 cm", weight="2 kg")
CURE = Brine(bath=Bath(water="2 kg", salt="120 g", sugar="30 g"), temperature="3 degC", lasts="14 d", lying=False)
DAYS = (0.5, 1, 2, 3, 5, 8)


def history(**values):
    numbers = default_numbers().with_values({key.replace("__", "."): value for key, value in values.items()})
    return simulate(PIECE, CURE, cells=16, numbers=numbers)


def readings(of, what="salometer", error=0.5, days=DAYS, noise=None, piece=""):
    made = [Measurement(what, day * DAY, 1.0, error, piece) for day in days]
    return [
        replace(one, value=measure(of, one) + (noise.normal(0, error) if noise is not None else 0.0)) for one in made
    ]


def batch(log, **more):
    plain = CURE.but(bath=Bath(water="2 kg", salt="120 g"))
    return Batch(schema=1, name="A test", pieces=(PIECE,), stages=(plain,), log=tuple(log), **more)


# ---- instruments -----------------------------------------------------------------------------------------------------


def test_salometer_shows_its_scale_at_60_fahrenheit():
    """By definition of the scale: 26.395 % of salt reads 100 (Salt Institute table at 60 degF, coefficients.csv)."""
    for share in (0.05, 0.5, 1.0):
        x = 0.26395 * share
        shown = float(salometer(np.array(x / (1 - x)), np.array(0.0), np.array(brine.SIXTY_FAHRENHEIT)))
        assert shown == pytest.approx(100 * share, rel=1e-6)


def test_salometer_in_the_cold_follows_the_handbook_densities():
    """Handbook densities (brine_density.csv) at another temperature, read back on the same handbook's own column at 60 degF
    (between its columns at 10 and 20 degC, straight)."""
    rows = [row for row in read_table("brine_density.csv") if row["role"] == "check" or row["role"] == "fit"]
    sources = {row["source"] for row in rows}
    tried = 0
    for source in sources:
        mine: dict[float, dict[float, float]] = {}
        for row in rows:
            if row["source"] == source:
                mine.setdefault(float(row["temperature_C"]), {})[float(row["mass_percent"])] = float(
                    row["density_kg_m3"]
                )
        if not {0.0, 10.0, 20.0} <= set(mine):
            continue
        for percent in sorted(set(mine[0.0]) & set(mine[10.0]) & set(mine[20.0])):
            if not 4 <= percent <= 20:
                continue
            grid = sorted(set(mine[10.0]) & set(mine[20.0]))
            at_sixty = [mine[10.0][p] + (mine[20.0][p] - mine[10.0][p]) * 0.5556 for p in grid]
            expected = np.interp(mine[0.0][percent], at_sixty, grid) / 0.26395
            x = percent / 100
            shown = float(salometer(np.array(x / (1 - x)), np.array(0.0), np.array(273.15)))
            assert shown == pytest.approx(expected, abs=0.25)
            assert shown > percent / 0.26395
            tried += 1
    assert tried >= 3


def test_sugar_floats_a_salometer_as_about_half_as_much_salt():
    """A solution of 10 % sucrose has 1038 kg/m3 at 20 degC, one of salt 1071 (the second from the handbook table): (38-(-2)) / (71-(-2))
    is near a half. The first figure is from memory, so the band is wide."""
    plain = float(salometer(np.array(0.05), np.array(0.0), np.array(277.15)))
    sweet = float(salometer(np.array(0.05), np.array(0.02), np.array(277.15)))
    salty = float(salometer(np.array(0.07), np.array(0.0), np.array(277.15)))
    assert 0.4 < (sweet - plain) / (salty - plain) < 0.65


def test_measure_reads_the_history():
    of = history()
    assert measure(of, Measurement("core salt", 3 * DAY, 1, 1)) == of.core("salt", 3 * DAY)
    assert measure(of, Measurement("weight", 3 * DAY, 1, 1)) == of.weight(3 * DAY)
    assert measure(of, Measurement("taste", 3 * DAY, 1, 1)) == of.average("salt", 3 * DAY)
    assert measure(of, Measurement("brine strength", 3 * DAY, 1, 1)) == of.bath("salt", 3 * DAY)
    warm = measure(of, Measurement("salometer", 3 * DAY, 1, 1, temperature=293.15))
    assert warm < measure(of, Measurement("salometer", 3 * DAY, 1, 1))
    right = tasted("right", DAY)
    assert 0.015 < right.value < 0.022 and right.value < tasted("too salty", DAY).value
    with pytest.raises(KeyError, match="bland, right"):
        tasted("nice", DAY)
    with pytest.raises(ValueError, match="not one of"):
        Measurement("colour", 0, 1, 1)


# ---- fits ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hidden", [0.25, 0.42])
def test_recovery_in_200_repeats(hidden):
    """The 90 % interval covers a hidden obstruction in 85 to 95 % of 200 repeats (binomial: 90 +- 4.2 %)."""
    of = history(obstruction__lean=hidden)
    noise = np.random.default_rng(7)
    held = []
    for _ in range(200):
        row = fit((PIECE,), (CURE,), readings(of, noise=noise))["obstruction.lean"]
        held.append(row.low <= hidden <= row.high)
    assert 0.85 <= np.mean(held) <= 0.95


def test_recovery_when_the_hidden_value_is_drawn_from_the_prior():
    noise = np.random.default_rng(11)
    held = []
    for _ in range(60):
        hidden = float(np.exp(np.log(0.334) + 0.366 * noise.normal()))
        of = history(obstruction__lean=min(hidden, 0.95))
        row = fit((PIECE,), (CURE,), readings(of, error=1.5, days=(1, 4), noise=noise))["obstruction.lean"]
        held.append(row.low <= hidden <= row.high)
    assert 0.8 <= np.mean(held) <= 0.99


def test_sharp_readings_give_the_hidden_value_and_no_residual():
    found = fit((PIECE,), (CURE,), readings(history(obstruction__lean=0.5), error=0.01))
    assert found["obstruction.lean"].value == pytest.approx(0.5, rel=1e-3)
    assert max(abs(row.off) for row in found.residuals) < 0.1
    assert found.told and "Taken as known" in found.sentence and "thickness of p" in found.sentence


def test_more_readings_narrow_the_interval():
    of = history()
    few, many = (fit((PIECE,), (CURE,), readings(of, days=days))["obstruction.lean"] for days in ((2,), DAYS))
    assert many.high / many.low < few.high / few.low < few.before[2] / few.before[0]


def test_says_when_the_data_cannot_tell():
    of = history()
    vague = fit((PIECE,), (CURE,), readings(of, error=50.0, days=(2,)))
    assert not vague.told and any("next to nothing" in note for note in vague.notes)
    assert vague["obstruction.lean"].low == pytest.approx(vague["obstruction.lean"].before[0], rel=0.05)
    both = fit((PIECE,), (CURE,), readings(of, days=(2,)), parameters=("obstruction.lean", "film.still"))
    assert any("fewer readings (1) than things to find (2)" in note for note in both.notes)
    # Thickness and obstruction act through one product only: D / L^2.
    alike = fit(
        (PIECE,), (CURE,), readings(of, what="core salt", error=1e-5), parameters=("obstruction.lean", "thickness of p")
    )
    assert abs(alike.correlation[0, 1]) > 0.9 and any("told apart" in note for note in alike.notes)


def test_says_when_it_is_stuck_or_the_readings_quarrel():
    asked = [
        replace(one, value=one.value - 6.0)
        for one in readings(history(obstruction__lean=0.95), error=0.2, days=(0.25, 0.5))
    ]
    stuck = fit((PIECE,), (CURE,), asked)
    assert any("stuck at the end" in note for note in stuck.notes)
    quarrel = readings(history(), error=0.3)
    quarrel[2] = replace(quarrel[2], value=quarrel[2].value + 5.0)
    calm, angry = fit((PIECE,), (CURE,), readings(history(), error=0.3)), fit((PIECE,), (CURE,), quarrel)
    assert any("do not agree" in note for note in angry.notes) and not calm.notes
    width = [row["obstruction.lean"].high / row["obstruction.lean"].low for row in (calm, angry)]
    assert width[1] > 1.5 * width[0]


def test_weight_tells_water_uptake_and_not_pace():
    of = history()
    heavy = [replace(one, value=one.value + 0.06) for one in readings(of, what="weight", error=0.005, days=(10, 14))]
    pace = fit((PIECE,), (CURE,), heavy)
    assert any("next to nothing" in note for note in pace.notes)
    water = fit((PIECE,), (CURE,), heavy, parameters=("water uptake",))
    assert 1.5 < water["water uptake"].value < 4.5  # 60 g of 2 kg are 3 points


def test_refuses_what_cannot_be_fitted():
    with pytest.raises(ValueError, match="not uncertain"):
        fit((PIECE,), (CURE,), readings(history()), parameters=("obstruction.cooked",))
    with pytest.raises(ValueError, match="no reading"):
        fit((PIECE,), (CURE,), [])
    with pytest.raises(ValueError, match="after the end"):
        fit((PIECE,), (CURE,), [Measurement("weight", 40 * DAY, 2.0, 0.01)])


# ---- forecasts from a log --------------------------------------------------------------------------------------------


def logged(obstruction, days=(0, 2, 4, 6)):
    plain = CURE.but(bath=Bath(water="2 kg", salt="120 g"))
    of = simulate(PIECE, plain, numbers=default_numbers().with_values({"obstruction.lean": obstruction}))
    return batch(
        Reading(at=day * DAY, what="brine strength", value=f"{100 * of.bath('salt', day * DAY):.4f} %", error="0.05 %")
        for day in days
    )


def test_update_moves_the_day_the_right_way():
    fast, slow = update(logged(0.5), count=64), update(logged(0.22), count=64)
    assert "faster than typical" in fast.sentence and "slower than typical" in slow.sentence
    assert fast.after.quantile(0.5) < fast.before.quantile(0.5) < slow.after.quantile(0.5)
    assert fast.before.quantile(0.5) == slow.before.quantile(0.5)
    for one in (fast, slow):
        wide, narrow = (times.quantile(0.9) / times.quantile(0.1) for times in (one.before, one.after))
        assert narrow < 0.7 * wide
        assert (
            "64 draws" in one.sentence
            and "thickness of p" in one.sentence
            and "Your brine fell from 5.66 to" in one.sentence
        )


def test_update_needs_readings():
    with pytest.raises(InputError, match="no reading to learn from"):
        update(batch([Reading(at=DAY, what="turned")]))


def test_log_is_read_with_its_errors_and_remarks():
    found, remarks = from_log(
        batch(
            [
                Reading(at=DAY, what="brine strength", value="5 %", error="0.329 %"),
                Reading(at=DAY, what="weight", value="2.05 kg", piece="p"),
                Reading(at=DAY, what="acidity", value="5.7"),
                Reading(at=DAY, what="note", note="smells good"),
            ]
        )
    )
    assert [one.what for one in found] == ["brine strength", "weight"]
    assert found[0].error == pytest.approx(0.002, rel=1e-3)  # 90 % of a normal lies within 1.645 deviations
    assert any("ph" in remark for remark in remarks)


def test_profile_is_kept_and_used_as_prior(tmp_path):
    found = update(logged(0.5), count=64)
    profile = MeatAndFridge.of("my butcher", found.fit, "A test")
    save_profile(profile, tmp_path / "mine.toml")
    assert load_profile(tmp_path / "mine.toml") == profile
    usual = simulate(PIECE, CURE, cells=12)
    inputs = inputs_for((PIECE,), (CURE,), "nordin", default_numbers(), usual.numbers.used)
    row = next(row for row in profile.applied(inputs) if row.key == "obstruction.lean")
    fitted = found.fit["obstruction.lean"]
    assert row.low < fitted.low and row.high > fitted.high  # the next piece is another animal
    assert row.high / row.low < 0.61 / 0.183
    again = update(logged(0.5, days=(0, 1)), known=profile, count=64)
    alone = update(logged(0.5, days=(0, 1)), count=64)
    width = [one.fit["obstruction.lean"].high / one.fit["obstruction.lean"].low for one in (again, alone)]
    assert width[0] < width[1]
    with pytest.raises(InputError):
        (tmp_path / "broken.toml").write_text(
            'schema = 1\nname = "x"\n[[known]]\nkey = "a"\nlow = 2.0\nvalue = 1.0\nhigh = 3.0\n'
        )
        load_profile(tmp_path / "broken.toml")
    after = {row.key: row for row in learned(inputs, found.fit)}["obstruction.lean"]
    assert (after.low, after.high) == (fitted.low, fitted.high)


def test_batches_are_compared_in_one_table():
    rows = compare([logged(0.5), batch([])])
    assert [row["batch"] for row in rows] == ["A test", "A test"]
    assert rows[0]["pace"] == pytest.approx(0.5 / 0.334, rel=0.1) and rows[1]["pace"] is None
    assert rows[0]["salt, average"] == rows[1]["salt, average"]


def test_two_writers_lose_no_line(tmp_path):
    path = tmp_path / "batch.toml"
    save(batch([]), path)
    path.write_text("# kept\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    lines = [Reading(at=hour * 3600.0, what="note", note=f"line {hour}") for hour in range(24)]
    with ThreadPoolExecutor(6) as writers:
        list(writers.map(lambda line: append_reading(path, line), lines))
    kept = load(path)
    assert sorted(line.note for line in kept.log) == sorted(line.note for line in lines)
    assert path.read_text(encoding="utf-8").startswith("# kept\n") and not list(tmp_path.glob("*.lock"))


def test_a_line_that_is_no_good_changes_nothing(tmp_path):
    path = tmp_path / "batch.toml"
    save(batch([]), path)
    before = path.read_bytes()
    with pytest.raises(InputError, match="no piece"):
        append_reading(path, Reading(at=0.0, what="weight", value="2 kg", piece="nobody"))
    with locked(path), pytest.raises(InputError, match="another program"):
        append_reading(path, Reading(at=0.0, what="turned"), wait=0.05)
    assert path.read_bytes() == before


def test_a_log_written_as_one_list_is_kept(tmp_path):
    path = tmp_path / "batch.toml"
    save(batch([]), path)
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace('name = "A test"', 'name = "A test"\nlog = [{ at = "1 d", what = "turned" }]', 1), encoding="utf-8"
    )
    append_reading(path, Reading(at=2 * DAY, what="turned"))
    assert [line.at for line in load(path).log] == [DAY, 2 * DAY]
