"""A thermometer's file becomes the fridge log: read as loggers write it, told line by line where it cannot be, and nothing half-written."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import InputError, Piece, SealedCure
from curelab.__main__ import main
from curelab.batch import Batch, load, save
from curelab.engine.simulate import simulate
from curelab.paper.fridge_log import joined, log_temperatures, with_temperatures
from curelab.paper.thermometer import decoded, read_thermometer
from curelab.paper.thinning import thinned
from curelab.recipe.plan import Plan
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")

BRISKET = load(datasets_folder() / "demo_brisket.toml")  # starts 2026-03-02 09:00; brine 10 d, rest 3 d, soak
LOIN = load(datasets_folder() / "demo_loin.toml")
START = datetime(2026, 3, 2, 9)


def problems(work, *given, **more):
    with pytest.raises(InputError) as refused:
        work(*given, **more)
    return [str(problem) for problem in refused.value.problems]


def celsius(readings):
    return [round(value - 273.15, 6) for value in readings.kelvin]


HOURS = "2026-03-02 09:00;3,4\n2026-03-02 10:00;3,9\n2026-03-02 11:00;-0,5\n"
WAYS = {
    "semicolons and decimal commas": ("Zeit;Temperatur °C\n" + HOURS, {}),
    "commas": ("time,temp (C)\n2026-03-02 09:00,3.4\n2026-03-02 10:00,3.9\n2026-03-02 11:00,-0.5\n", {}),
    "quoted decimal commas": ('"2026-03-02 09:00","3,4"\n"2026-03-02 10:00","3,9"\n"2026-03-02 11:00","-0,5"\n', {}),
    "tabs, date and time apart": ("date\ttime\tprobe\n2.3.2026\t9:00\t3.4\n2.3.2026\t10:00\t3.9\n2.3.2026\t11:00\t-.5\n".replace("-.5", "-0.5"), {}),
    "US dates": ("Date,Time,Temp °F\n03/02/2026,9:00 AM,38.12\n03/02/2026,10:00 AM,39.02\n03/02/2026,11:00:00 AM,31.1\n", {"dates": "month first"}),
    "letters behind the numbers": ("2026/03/02 09:00:00,3.4°C\n2026/03/02 10:00:00,3.9 C\n2026/03/02 11:00:00,−0.5°C\n", {}),
    "newest first": ("\n".join(["Zeit;Temp °C", *reversed(HOURS.split())]).replace("2026-03-02\n", "2026-03-02 "), {}),
    "words of the logger before": ("Logger 7\nSerial;123\n\nZeit;Temp °C;rel. %\n" + HOURS.replace("\n", ";80\n"), {}),
    "zones": ("t,T °C\n2026-03-02T09:00:00Z,3.4\n2026-03-02T11:00:00+01:00,3.9\n2026-03-02T11:00:00+0000,-0.5\n", {}),
    "asked": ("2026-03-02 09:00;1;3,4\n2026-03-02 10:00;2;3,9\n2026-03-02 11:00;3;-0,5\n", {"column": "3", "degrees": "C"}),
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_the_ways_loggers_write(way):
    words, asked = WAYS[way]
    if way == "newest first":
        words = "Zeit;Temp °C\n" + "\n".join(reversed(HOURS.splitlines()))
    readings = read_thermometer(words, **asked)
    assert celsius(readings) == [3.4, 3.9, -0.5]
    assert np.diff(readings.moments).tolist() == [3600.0, 3600.0]
    assert readings.zoned == (way == "zones")


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_codes_of_letters(code):
    assert celsius(read_thermometer(decoded(("Zeit;Temperatur °C\n" + HOURS).encode(code)))) == [3.4, 3.9, -0.5]


def test_degrees_are_told_from_the_numbers_or_asked():
    line = "2026-03-02 {:02}:00,{}\n"
    cold = "".join(line.format(h, t) for h, t in enumerate((3, 4, 2, 11)))
    warm = "".join(line.format(h, t) for h, t in enumerate((38, 39, 36, 20)))
    between = "".join(line.format(h, t) for h, t in enumerate((18, 22, 21, 20)))
    assert celsius(read_thermometer(cold))[:2] == [3.0, 4.0]
    assert celsius(read_thermometer(warm))[0] == pytest.approx(3.333333)
    assert "no fridge is that warm in °C" in read_thermometer(warm).notes[1]
    assert problems(read_thermometer, between) == [
        "degrees: the numbers, near 21, could be °C or °F; say which: C or F"
    ]
    assert celsius(read_thermometer(between, degrees="F"))[0] == pytest.approx(-7.777778)
    assert "neither C nor F" in problems(read_thermometer, between, degrees="kelvin")[0]


def test_the_order_of_day_and_month_is_told_by_the_whole_file_or_asked():
    line = "{:02}/{:02}/2026 08:00,3.0\n"
    row = "".join(line.format(day, 3) for day in (2, 3, 4, 5))
    assert "day first" in read_thermometer(row).notes[2]
    assert np.diff(read_thermometer(row).moments).tolist() == [86400.0] * 3
    other = "".join(line.format(3, day) for day in (2, 3, 4, 5))
    assert np.diff(read_thermometer(other).moments).tolist() == [86400.0] * 3
    assert np.diff(read_thermometer(line.format(3, 12) + line.format(3, 13)).moments).tolist() == [86400.0]
    one_day = line.format(2, 3) + line.format(2, 3).replace("08:", "09:")
    assert "could be two days; say day first or month first" in problems(read_thermometer, one_day)[0]
    first = read_thermometer(one_day, dates="day-first").moments[0]
    assert first == (datetime(2026, 3, 2, 8) - datetime(1970, 1, 1)).total_seconds()


def test_every_bad_line_is_told_by_its_number_and_a_message_lists_fifty():
    lines = [f"2026-03-02 {h:02}:{m:02};{3 + m / 60:.1f}" for h in range(2) for m in range(60)]
    lines[5], lines[7], lines[9] = "2026-03-02 00:05;--", "2026-02-30 00:07;3", "no date;3.1"
    told = problems(read_thermometer, "t;T °C\n" + "\n".join(lines))
    assert [each.split(":")[0] for each in told] == ["line 7", "line 9", "line 11"]
    assert (
        '"--" is no temperature' in told[0] and "no day of the calendar" in told[1] and "is no date and time" in told[2]
    )
    many = "t;T °C\n" + "\n".join(f"2026-03-02 {n // 60:02}:{n % 60:02};bad" if n > 20 else f"2026-03-02 00:{n:02};3" for n in range(200))  # fmt: skip
    with pytest.raises(InputError) as refused:
        read_thermometer(many)
    assert len(refused.value.problems) == 179
    assert len(str(refused.value).splitlines()) == 51 and str(refused.value).endswith("and 129 more")
    back = "t;T °C\n" + HOURS + "2026-03-02 10:30;3\n"
    assert problems(read_thermometer, back) == ["line 5: its time is before that of line 4; put the lines in order"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "fewer than two lines"),
        ("a\nb\nc\n", "no tabs, semicolons or commas"),
        ("a;b\nc;d\n", "no column of dates"),
        ("2026-03-02 09:00;x;a\n2026-03-02 10:00;y;b\n", "no column of temperatures"),
        ("t;T1 °C;T2 °C\n" + HOURS.replace("\n", ";4\n"), 'several could be the temperatures: "T1 °C", "T2 °C"'),
        ("t,T °C\n2026-03-02 09:00,3,4\n2026-03-02 10:00,3,9\n", "as decimal commas between commas would"),
        ("2026-03-02 09:00,3,4\n2026-03-02 10:00,3,9\n", "several could be the temperatures"),
        ("t;T °C\n2026-03-02 09:00Z;3\n2026-03-02 10:00;3\n", "some of its times carry a zone"),
        ("t;T °C\n0/9/9;3\n2026-03-02 10:00;3\n", '"0/9/9" is no day of the calendar'),  # in no order of day and month
        ("t;T °C\n0001-01-01 00:00;3\n2026-03-02 10:00;3\n", '"0001-01-01 00:00" is no day of the calendar'),
        (
            f"t;T °C\n2026-03-02 09:00;{'9' * 400}\n2026-03-02 10:00;3\n",
            '"' + "9" * 57 + '..." is no temperature',
        ),  # more than a float
    ],
)
def test_what_a_file_leaves_open_is_one_sentence(words, said):
    (told,) = problems(read_thermometer, words)
    assert said in told


def test_of_two_readings_at_one_time_the_warmer_counts():
    readings = read_thermometer("t;T °C\n" + HOURS + "2026-03-02 11:00;4,5\n")
    assert celsius(readings) == [3.4, 3.9, 4.5] and "the warmer counts" in readings.notes[-1]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(270, 285), min_size=30, max_size=300), st.integers(3, 25))
def test_a_thinned_log_is_as_near_as_it_says(values, most):
    times, kelvin = np.cumsum(1 + np.arange(len(values)) % 7).astype(float), np.array(values)
    few, left, off = thinned(times, kelvin, most)
    assert len(few) <= most and few[0] == times[0] and few[-1] == times[-1]
    assert set(zip(few, left, strict=True)) <= set(zip(times, kelvin, strict=True))
    assert np.abs(np.interp(times, few, left) - kelvin).max() == pytest.approx(off, rel=1e-12, abs=1e-12)


def logger(start, minutes, count, degrees=lambda n: 3.0, form="%Y-%m-%d %H:%M"):
    rows = (f"{start + timedelta(minutes=minutes * n):{form}};{degrees(n):.2f}" for n in range(count))
    return ("time;T °C\n" + "\n".join(rows)).encode()


def test_readings_go_to_the_stages_in_whose_time_they_fall():
    found = with_temperatures(BRISKET, logger(START + timedelta(days=8), 60, 24 * 4, lambda n: 4.0 if n < 49 else 2.0))
    brine, rest, soak = found.batch.stages
    assert [(part.stage, part.count) for part in found.parts] == [(0, 49), (1, 48)]  # one stands on the border of both
    assert soak == BRISKET.stages[2] and found.batch.log == BRISKET.log
    was = dict(BRISKET.stages[0].temperature)
    assert all(dict(brine.temperature)[time] == was[time] for time in was if time < 8 * 86400 - 60)
    assert max(kelvin for _, kelvin in brine.temperature) == pytest.approx(277.15)
    assert (
        rest.temperature[0] == (0.0, pytest.approx(277.15)) and rest.temperature[-1][1] == 276.15
    )  # as planned behind them
    assert "Stage 1, brine: 49 readings, Tue 10 Mar 09:00 to Thu 12 Mar 09:00" in found.lines[0]
    alone = with_temperatures(BRISKET, logger(START, 60, 24 * 12), stage=2)
    assert alone.batch.stages[0] == BRISKET.stages[0] and alone.batch.stages[1] != BRISKET.stages[1]
    assert any("outside of these stages" in line for line in alone.lines)


def test_a_log_of_every_hour_is_computed_as_it_was_read():
    """The mean temperature that the engine sees is that of the readings: an outside check by the trapezium rule."""
    degrees = lambda n: 3.0 + 1.5 * np.sin(n / 9.0)  # noqa: E731
    batch = with_temperatures(BRISKET, logger(START, 60, 24 * 10 + 1, degrees)).batch
    clock = simulate(batch.pieces, batch.filled()[:1]).state.runs[0].clock
    hours = 273.15 + np.round([degrees(n) for n in range(241)], 2)
    ours = np.trapezoid(clock.kelvin, clock.knots) / (clock.knots[-1] - clock.knots[0])
    assert ours == pytest.approx(np.trapezoid(hours) / 240, rel=1e-7)


def test_what_does_not_belong_is_told_and_nothing_is_changed():
    (told,) = problems(with_temperatures, BRISKET, logger(datetime(2026, 5, 1), 60, 30))
    assert "read from Fri 1 May 00:00 to Sat 2 May 05:00" in told and "stage 1 (brine) Mon 2 Mar 09:00" in told
    assert "3 is not kept in a fridge; these are: 1 (brine), 2 (rest)" in problems(with_temperatures, BRISKET, logger(START, 60, 9), stage=3)[0]  # fmt: skip
    hot = problems(with_temperatures, BRISKET, logger(START, 60, 30, lambda n: 85.0 if n in (4, 6) else 3.0))
    assert [each.split(":")[0] for each in hot] == ["line 6", "line 8"] and "too warm for raw meat" in hot[0]
    early = with_temperatures(BRISKET, logger(START - timedelta(hours=5), 60, 30, lambda n: 30.0 if n < 4 else 3.0))
    assert early.parts[0].count == 25  # it lay on the table before the start
    undated = BRISKET.but(start=None)
    assert "the batch has no start" in problems(with_temperatures, undated, logger(START, 60, 9))[0]


def test_a_long_silence_is_told():
    words = b"t;T \xc2\xb0C\n2026-03-02 09:00;3\n2026-03-03 09:00;3.5\n"
    (told,) = [line for line in with_temperatures(BRISKET, words).lines if "Nothing was read" in line]
    assert told == "Nothing was read for 24 h from Mon 2 Mar 09:00; a straight line stands there."


def test_zones_of_kitchen_and_thermometer():
    berlin = BRISKET.but(plan=Plan(zone="Europe/Berlin"), start="2026-03-28 12:00", log=())
    night = logger(
        datetime(2026, 3, 28, 11), 60, 24, lambda n: 2.0 + n / 10, "%Y-%m-%dT%H:%MZ"
    )  # UTC, over the change of clocks
    found = with_temperatures(berlin, night)
    assert found.parts[0].first == 0.0 and found.parts[0].last == 23 * 3600.0
    assert "Sat 28 Mar 12:00 to Sun 29 Mar 12:00" in found.lines[0]  # 23 h later the wall says 24
    bare = night.replace(b"Z;", b";")
    assert with_temperatures(berlin, bare, zone="UTC").batch == found.batch
    assert with_temperatures(berlin, bare).parts[0].first == 0.0  # read as the kitchen's own clock, from 12:00 on
    assert (
        "say the zone of the kitchen"
        in problems(with_temperatures, BRISKET, logger(START, 60, 9, form="%Y-%m-%dT%H:%MZ"))[0]
    )
    floating = with_temperatures(BRISKET, logger(START, 60, 9, form="%Y-%m-%dT%H:%MZ"), zone="America/Chicago")
    assert floating.parts[0].count == 3  # 09:00 in UTC is 03:00 there: six of nine came before the start
    assert "not a time zone" in problems(with_temperatures, BRISKET, bare, zone="Mars/Base")[0]
    twice = BRISKET.but(plan=Plan(zone="Europe/Berlin"), start="2026-10-24 20:00", log=())
    rows = ["2026-10-25 01:30;3", "2026-10-25 02:30;3", "2026-10-25 02:30;3.1", "2026-10-25 03:30;3"]
    part = with_temperatures(twice, ("t;T °C\n" + "\n".join(rows)).encode()).parts[0]
    assert part.count == 4 and part.last - part.first == 3 * 3600.0


def test_readings_of_one_week_after_another_come_together():
    once = with_temperatures(BRISKET, logger(START, 60, 24 * 10, lambda n: 3 + (n % 5) / 10))
    first = with_temperatures(BRISKET, logger(START, 60, 24 * 5, lambda n: 3 + (n % 5) / 10))
    both = with_temperatures(first.batch, logger(START + timedelta(days=5), 60, 24 * 5, lambda n: 3 + (n % 5) / 10))
    at = np.arange(0.0, 239 * 3600.0, 3600.0)
    one, two = (np.interp(at, *zip(*each.batch.stages[0].temperature, strict=True)) for each in (once, both))
    assert one == pytest.approx(two, rel=1e-12)


def test_joined_keeps_what_was_planned_outside():
    plan = ((0.0, 275.0), (86400.0, 277.0))
    log = joined(plan, ((600.0, 280.0), (1200.0, 281.0)), 86400.0)
    assert log[0] == (0.0, 275.0) and log[-1] == (86400.0, 277.0)
    assert [time for time, _ in log] == [0.0, 540.0, 600.0, 1200.0, 1260.0, 86400.0]
    assert log[1][1] == pytest.approx(275.0125) and log[4][1] == pytest.approx(275.0 + 2.0 * 1260 / 86400)
    assert joined(((0.0, 275.0),), ((0.0, 280.0), (86400.0, 281.0)), 86400.0) == ((0.0, 280.0), (86400.0, 281.0))


def test_a_hundred_thousand_lines_are_thinned_and_the_error_is_told(tmp_path):
    def degrees(n):
        return 3.0 + 0.6 * np.sin(n / 300) + 0.3 * np.sin(1.7 * n) + (6.0 if 50_000 < n < 50_200 else 0.0)

    rows = (f"{START + timedelta(seconds=10 * n):%d.%m.%Y %H:%M:%S};{degrees(n):.1f}" for n in range(100_000))
    words = ("time;T °C\n" + "\n".join(rows)).encode()
    found = with_temperatures(BRISKET, words)
    part = found.parts[0]
    assert part.count == 86_401 and part.kept <= 1000 and 0 < part.off < 0.5
    assert any(line.startswith("Thinned to") for line in found.lines)
    times, kelvin = zip(*found.batch.stages[0].temperature, strict=True)
    every = np.arange(0, 86_401)
    read = 273.15 + np.array([round(degrees(n), 1) for n in every])
    assert np.abs(np.interp(10.0 * every, times, kelvin) - read).max() <= part.off + 1e-9
    assert max(kelvin) >= read.max() - part.off  # half an hour with the door open is not lost


def test_the_command_writes_the_log_or_leaves_the_file_alone(tmp_path, capsys):
    file, table = tmp_path / "batch.toml", tmp_path / "fridge.csv"
    file.write_bytes((datasets_folder() / "demo_brisket.toml").read_bytes())
    before = file.read_bytes()
    table.write_bytes(logger(START, 60, 9, lambda n: 21.0 if n == 3 else float("nan")).replace(b"nan", b"?"))
    assert main(["log", str(file), "--temperatures", str(table)]) == 2
    said = capsys.readouterr().err
    assert said.count("is no temperature") == 8 and "nothing was written" in said and file.read_bytes() == before
    table.write_bytes(logger(START, 60, 9).replace(b"T \xc2\xb0C", b"T").replace(b";3.00", b";20"))
    assert main(["log", str(file), "--temperatures", str(table)]) == 2
    assert "could be °C or °F" in capsys.readouterr().err
    assert main(["log", str(file), "--temperatures", str(table), "--degrees", "C"]) == 0
    out = capsys.readouterr().out
    assert "Stage 1, brine: 9 readings, Mon 2 Mar 09:00 to Mon 2 Mar 17:00, 20 °C to 20 °C." in out
    after = load(file)
    assert after == with_temperatures(BRISKET, table.read_bytes(), degrees="C").batch
    assert b"Invented for teaching" in file.read_bytes() and after.log == BRISKET.log
    assert main(["log", str(file), "--temperatures", str(tmp_path / "none.csv")]) == 2
    assert main(["log", str(file), "note", "x", "--stage", "1"]) == 2
    assert "--temperatures" in capsys.readouterr().err


def test_the_log_of_a_us_batch_is_told_in_its_degrees(tmp_path):
    start = datetime(2026, 4, 10, 17)
    found = with_temperatures(LOIN, logger(start, 30, 40))
    assert "37.4 °F" in found.lines[0] or "37 °F" in found.lines[0]
    path = tmp_path / "loin.toml"
    save(LOIN, path)
    assert log_temperatures(path, logger(start, 30, 40)).batch == load(path)


def test_a_batch_that_waits_for_a_criterion_is_told_apart_by_the_model():
    bag = SealedCure(salt="30 g", temperature="3 degC", until="average salt >= 1.5 %", at_most="30 d")
    batch = Batch(
        schema=1, name="x", start="2026-03-02 09:00", pieces=[Piece(thickness="3 cm", weight="1 kg")],
        stages=[bag, BRISKET.stages[1]],
    )  # fmt: skip
    found = with_temperatures(batch, logger(START, 60, 24 * 20))
    end = simulate(batch.pieces, batch.stages).ends(0)
    assert [part.stage for part in found.parts] == [0, 1] and end - 3600 <= found.parts[0].last <= end
