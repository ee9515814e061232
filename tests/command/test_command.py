"""The command as a person meets it: exit codes, sentences, no traceback, nothing overwritten; and the same from an installed wheel."""

import json
import os
import subprocess
import sys
import venv
from pathlib import Path

import pandas
import pytest

from curelab.__main__ import main
from curelab.batch import Reading, load
from curelab.learn.warm_log import judged_log
from curelab.outcome import run
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_draws")

DEMO = datasets_folder() / "demo_brisket.toml"


def said(arguments: list[str], capsys) -> tuple[int, str, str]:
    code = main(arguments)
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.usefixtures("all_draws")
def test_run_prints_a_report_with_every_part(capsys):
    code, out, err = said(["run", str(DEMO)], capsys)
    assert code == 0 and err == ""
    for part in (
        "invented",
        "WEIGH OUT",
        "WHEN IT ENDS",
        "too short",
        "CHECKS",
        "CAUTIONS",
        "HOW SURE",
        "--long",
        "poison",
    ):
        assert part in out
    assert max(map(len, out.splitlines())) <= 100 and len(out.splitlines()) <= 70
    first = " ".join(
        out.partition("\n\n")[0].split()
    )  # what a cook can act on alone: both pieces, their days, and what to change
    for part in (
        "Point, 8 cm:",
        "Do not wait",
        "past 21 days",
        "Split it into two of 4 cm",
        "Flat, 4 cm:",
        "Out on day",
        "rest 2",
    ):
        assert part in first
    assert "THE MEAT" in said(["run", str(DEMO), "--long"], capsys)[1]


def test_json_holds_the_same_floats_as_the_library(capsys):
    code, out, _ = said(["run", str(DEMO), "--json"], capsys)
    found = json.loads(out)
    outcome = run(load(DEMO))
    assert code == 0 and outcome.learned is not None  # the log of the demo is taken up
    _, end = outcome.history.span(0)
    row = found["stages"][0]["salt core"]
    assert row["usual"] == outcome.history.core("salt", end, "point")
    assert (row["middle"], row["low"], row["high"]) == outcome.band("core", "salt", 0, "point")
    assert found["cured"][0]["chance"] == outcome.cured[0].chance and found["draws"]["count"] == outcome.draws
    assert found["cautions"] and found["sources"] and found["verdicts"]


def test_csv_writes_tables_and_never_over_old_ones(capsys, tmp_path):
    code, _, err = said(["run", str(DEMO), "--draws", "32", "--csv", str(tmp_path / "out")], capsys)
    assert code == 0 and "places.csv" in err
    before = (tmp_path / "out" / "places.csv").read_bytes()
    bands = pandas.read_csv(tmp_path / "out" / "bands.csv")
    outcome = run(load(DEMO), draws=32)
    _, end = outcome.history.span(0)
    row = bands[
        (bands.piece == "flat") & (bands.quantity == "salt") & (bands.place == "core") & (abs(bands.time_s - end) < 1)
    ].iloc[0]
    assert (row.middle, row.low, row.high) == pytest.approx(outcome.band("core", "salt", 0, "flat"), rel=1e-9)
    assert (row.draws, row.seed, row.basis) == (32, 0, "meat") and (bands.low <= bands.high).all()
    code, _, err = said(["run", str(DEMO), "--draws", "32", "--csv", str(tmp_path / "out")], capsys)
    assert code == 2 and "left as it was" in err
    assert (tmp_path / "out" / "places.csv").read_bytes() == before


def test_new_check_run_walk(capsys, tmp_path):
    path = tmp_path / "mine.toml"
    assert said(["new", str(path)], capsys)[0] == 0
    code, out, _ = said(["check", str(path)], capsys)
    assert code == 0 and '"My first batch" can be read: 2 pieces, 2 stages, 0 readings in the log' in out
    code, out, _ = said(["check", "--deep", str(path)], capsys)
    assert (
        code == 0 and "can be read and run" in out and "too short" in out
    )  # readable is not safe: it says what it comes to
    assert said(["run", str(path)], capsys)[0] == 0
    path.write_text("schema = 1\n", encoding="utf-8")
    code, _, err = said(["new", str(path)], capsys)
    assert code == 2 and "left as it was" in err and path.read_text(encoding="utf-8") == "schema = 1\n"


def test_check_lists_every_problem_with_exit_code_2(capsys, tmp_path):
    path = tmp_path / "bad.toml"
    text = DEMO.read_text(encoding="utf-8").replace('"8 cm"', '"7 kg"').replace('lasts = "10 d"', 'last = "10 d"')
    path.write_text(text, encoding="utf-8")
    code, out, err = said(["check", str(path)], capsys)
    assert code == 2 and out == ""
    assert "pieces[1].thickness" in err and 'did you mean "lasts"' in err
    assert "Traceback" not in err


def test_what_cannot_be_simulated_is_a_sentence_too(capsys, tmp_path):
    path = tmp_path / "frozen.toml"
    text = DEMO.read_text(encoding="utf-8").replace(
        'temperature = "3 degC"\nlasts = "3 d"', 'temperature = "-40 degC"\nlasts = "3 d"'
    )
    path.write_text(text, encoding="utf-8")
    code, _, err = said(["run", str(path)], capsys)
    assert code == 2 and "stages[2].temperature" in err


def test_unknown_words_after_the_command_are_exit_code_2():
    with pytest.raises(SystemExit) as caught:
        main(["dance"])
    assert caught.value.code == 2


def test_a_reader_that_goes_away_is_no_error():
    command = f'"{sys.executable}" -m curelab run "{DEMO}" | head -n 1'
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True)
    assert "Traceback" not in done.stderr
    assert done.stdout.startswith("Brisket half")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    root = Path(__file__).parents[2]
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, root],
        check=True,
        capture_output=True,
    )
    return next(out.glob("*.whl"))


def test_datasets_and_notebooks_work_from_a_wheel_outside_the_checkout(wheel, tmp_path):
    """The wheel alone, unpacked into a bare environment that borrows only the third-party libraries."""
    venv.create(tmp_path / "env", with_pip=False, system_site_packages=False)
    python = tmp_path / "env" / "bin" / "python"
    site = next((tmp_path / "env").glob("lib/python*/site-packages"))
    subprocess.run([sys.executable, "-m", "zipfile", "-e", wheel, site], check=True)
    borrowed = [path for path in sys.path if path.endswith("site-packages")]
    # Only the libraries: the editable install's own finder would bring the checkout back, so .pth files are not processed here.
    (site / "borrow.py").write_text(f"import sys; sys.path += {borrowed!r}", encoding="utf-8")
    code = (
        "import borrow, curelab, pathlib; from curelab.sources import datasets_folder; from curelab.__main__ import main;"
        f"assert pathlib.Path(curelab.__file__).is_relative_to({str(site)!r}), curelab.__file__;"
        f"assert str(datasets_folder()).startswith({str(site)!r});"
        "from curelab.lab.launcher import notebooks_folder; assert (notebooks_folder() / 'start.ipynb').is_file();"
        "raise SystemExit(main(['run', str(datasets_folder() / 'demo_loin.toml')]))"
    )
    clean = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run([python, "-c", code], cwd=tmp_path, capture_output=True, text=True, env=clean)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Pork loin")


def test_how_sure_it_is_stands_in_report_and_json(capsys):
    loin = str(datasets_folder() / "demo_loin.toml")
    _, out, _ = said(["run", loin, "--draws", "16"], capsys)
    assert "HOW SURE" in out and "(16 simulated)" in out
    _, out, _ = said(["run", loin, "--draws", "16", "--json"], capsys)
    assert any("(16 simulated)" in sentence for sentence in json.loads(out)["how_sure"])
    code, _, err = said(["run", loin, "--draws", "3"], capsys)
    assert code == 2 and "out of range" in err


def test_a_warm_log_comes_first_and_says_no_day(tmp_path, capsys):
    """Warm meat cures sooner, which must never read as good news."""
    path = tmp_path / "warm.toml"
    said(["new", str(path)], capsys)
    for day in ("2 d", "6 d"):
        code, _, err = said(["log", str(path), "temperature", "9 degC", "--after", day], capsys)
        assert code == 0, err
    _, out, _ = said(["run", str(path), "--draws", "16"], capsys)
    assert out.splitlines()[1].startswith("NOT OK: The log says 9 °C, too warm in 2") and "throw it away" in out
    assert "out on day" not in out.lower()
    _, out, _ = said(["learn", str(path)], capsys)
    _, plan, _ = said(["plan", str(path)], capsys)
    assert plan.splitlines()[2].startswith("NOT OK: The log says 9 °C") and "throw it away" in plan
    assert "NOT OK: The log says 9 °C" in out and "out on day" not in out and "Caution" in out


@pytest.mark.parametrize(
    ("reading", "outcome"), [("4 degC", "pass"), ("4.8 degC", "unknown"), ("5.2 degC", "fail"), ("41.5 degF", "fail")]
)
def test_a_thermometer_is_judged_with_its_error(reading, outcome):
    log = (Reading(at="1 d", what="temperature", value=reading), Reading(at="2 d", what="temperature", value="2 degC"))
    batch = load(DEMO).but(log=log)
    (verdict,) = judged_log(batch)
    assert verdict.outcome == outcome and "day 1" in verdict.sentence
    assert judged_log(batch.but(log=())) == ()
    # Water that is planned warm is the soak's own affair: 10 d of brine, 3 d of rest, then 45 min of it.
    *cold, soak = batch.stages
    warm = soak.but(waters=[water.but(temperature="14 degC") for water in soak.waters])
    late = (Reading(at="13 d 30 min", what="temperature", value="14 degC"),)
    assert judged_log(batch.but(stages=(*cold, warm), log=late)) == ()
    assert judged_log(batch.but(log=late))[0].outcome == "fail"
