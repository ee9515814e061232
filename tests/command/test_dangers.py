"""What fails most dangerously is said by every word of the command that a cook may use alone."""

import pytest

from curelab.__main__ import main
from curelab.limits import DISCARD, Verdict
from curelab.limits.verdict import SIGNS
from curelab.show.dangers import failing, not_vouched, warnings

pytestmark = pytest.mark.usefixtures("few_reports")

POISON = """
schema = 1
name = "too much"
rules = "US"
units = "us"
[[pieces]]
name = "loin"
thickness = "4 cm"
weight = "1 kg"
[weigh_out]
method = "strong brine"
water = "5 kg"
strength = "15 %"
nitrite = "900 ppm"
[weigh_out.cure]
name = "pink"
nitrite = "6.25 %"
[[stages]]
do = "brine"
temperature = "37 degF"
lasts = "10 d"
lying = false
"""


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "batch.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def words_of(action, path, capsys, tmp_path):
    out = tmp_path / "label.html"
    more = ["-o", str(out), "--replace"] if action == "label" else []
    assert main([action, str(path), *more]) == 0
    said = out.read_text(encoding="utf-8") if action == "label" else capsys.readouterr().out
    return " ".join(said.split())


@pytest.mark.parametrize("action", ["check", "plan", "shop", "label"])
def test_too_much_nitrite_is_said(action, written, capsys, tmp_path):
    said = words_of(action, written(POISON), capsys, tmp_path)
    assert f"{SIGNS['fail']}: Ingoing nitrite: 900 mg/kg" in said and "at most 200" in said
    sound = POISON.replace("900 ppm", "130 ppm").replace("15 %", "3 %")
    assert SIGNS["fail"] not in words_of(action, written(sound), capsys, tmp_path)


@pytest.mark.parametrize("action", ["check", "plan", "shop", "label"])
def test_meat_to_be_thrown_away_is_said_first(action, written, capsys, tmp_path):
    hung = POISON + '[[stages]]\ndo = "rest"\ntemperature = "70 degF"\nlasts = "2 d"\n'
    said = words_of(action, written(hung), capsys, tmp_path)
    assert said.index(DISCARD) < said.index("Ingoing nitrite") and said.count(DISCARD) == 1


def made(name, outcome, statistic=1.0, limit=1.0, sentence="It is so. And so."):
    return Verdict(name, outcome, statistic, limit, "", None, sentence, "a table", "seen")


def test_order_and_number_of_what_is_said():
    every = [
        made("kept cold", "fail", sentence="Warm. Keep it cold."),
        made("US nitrite, most that remains", "fail", 9.0),
        made("US nitrite, most", "fail", 2.0, sentence="Two. Use less."),
        made("US nitrite, most, as simulated", "fail", 3.0, sentence="Three. Use less."),
        made("time unprotected", "fail", sentence=f"{DISCARD} Long. Colder."),
        made("time in the warm", "fail", sentence=f"{DISCARD} Hot. Colder."),
        made("soak water", "fail"),
        made("pH of the meat", "unknown", sentence="pH 6.3."),
        made("salt", "unknown"),
    ]
    said = [each.removeprefix(f"{SIGNS['fail']}: ") for each in failing(every, 9)]
    assert said == [
        f"{DISCARD} Long. Colder.",
        "Hot. Colder.",
        "Three. Use less.",
        "Two. Use less.",
        "Warm. Keep it cold.",
        "It is so. And so.",
    ]
    assert [len(failing(every, most)) for most in (1, 4)] == [1, 4]
    assert (
        warnings(every)[0] == f"{SIGNS['fail']}: {DISCARD} Long." and warnings(every)[2] == f"{SIGNS['fail']}: Three."
    )
    assert not_vouched(every) == [f"{SIGNS['unknown']}: pH 6.3."]
