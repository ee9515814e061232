"""Fields as a cook fills them in: units of the batch, sentences under the field, and no old number beside a field that is wrong."""

import pytest

from curelab.batch import dumps, load
from curelab.compose import cure_by, template
from curelab.lab.benches import bench
from curelab.lab.state import State, starting_batch
from curelab.sources import datasets_folder


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Nothing is computed: what the page draws is tested elsewhere."""
    monkeypatch.setattr("curelab.lab.benches.batch.BatchBench.draw", lambda self: self.says["answer"].tell("figures"))


def page_of(batch):
    state = State(batch, strict=True)
    return state, bench("batch", state)


def field(page, end):
    """The one text box whose key ends so."""
    (key,) = (key for key in page.controls if key.endswith(end))
    return page.controls[key]


def test_a_us_batch_has_us_units_in_every_field_and_none_of_physics_in_its_file():
    metric = template("simmered and smoked")
    state, page = page_of(metric)
    page.units.value = "us"
    texts = {
        key: control.value for key, control in page.controls.items() if isinstance(getattr(control, "value", None), str)
    }
    wrong = {
        key: text
        for key, text in texts.items()
        if text.endswith((" m", " cm", " mm", " K", " kg", " g", "°C", "degC", " inch"))
    }
    assert (
        wrong == {}
        and any(text.endswith(" °F") for text in texts.values())
        and any(text.endswith(" lb") for text in texts.values())
    )
    assert not any(each in dumps(state.batch) for each in (' m"', ' K"'))
    assert state.batch.but(units="metric") == metric  # to look at it in other units changes nothing


def test_what_was_typed_stays_as_it_was_typed():
    state, page = page_of(starting_batch().but(units="us"))
    thick = field(page, "thick end: thickness")
    for words in ("1 3/16 in", "3 cm", "4,5 cm"):
        thick.value = words
        assert thick.value == words and thick.problem == ""
    state.edit(lambda batch: batch.but(rules="EU"))
    assert (
        thick.value == "4,5 cm"
        and state.batch.pieces[0].thickness == 0.045
        and 'thickness = "45 mm"' in dumps(state.batch)
    )
    page.units.value = "metric"
    assert thick.value == "45 mm"
    state.edit_piece(0, thickness="5 cm")
    assert thick.value == "5 cm"
    thick.value = "1,500 mm"
    assert "may mean 1.5 or 1500; write" in thick.problem and state.batch.pieces[0].thickness == 0.05


def test_a_number_without_a_unit_is_told_so_with_an_example_of_its_field():
    _, page = page_of(starting_batch())
    for end, words, said in (
        ("equilibrium brine: nitrite", "150", '"150" needs a unit, like "120 ppm".'),
        ("equilibrium brine: salt", "2.2", '"2.2" needs a unit, like "2.2 %".'),
        ("label nitrite", "6.25", '"6.25" needs a unit, like "6.25 %".'),
    ):
        field(page, end).value = words
        assert field(page, end).problem == said


def test_what_the_weigh_out_fills_is_no_field_of_the_stage():
    state, page = page_of(cure_by(starting_batch(), "sealed dry cure"))
    keys = [key for key in page.controls if key.startswith("Stage 1: sealed cure")]
    assert keys and not any(key.endswith((": salt", ": sugar", ": nitrite", ": nitrate")) for key in keys)
    assert "Weigh-out: sealed dry cure: nitrite" in page.controls
    own = state.batch.but(
        weigh_out=None, stages=(state.batch.stages[0].but(salt="60 g", nitrite="0.2 g"), *state.batch.stages[1:])
    )
    _, page = page_of(own)
    assert (
        page.controls["Stage 1: sealed cure: nitrite"].value == "0.2 g"
    )  # grams of its own are set there, and nowhere else


def test_stages_that_heat_or_cool_have_a_temperature_and_an_end_a_cook_can_set():
    batch = template("simmered and smoked")
    state, page = page_of(batch)
    for number, stage in enumerate(batch.stages):
        if stage.heats:
            assert f"Stage {number + 1}: {stage.tag}: temperature" in page.controls
    number, stage = next(
        (n, s) for n, s in enumerate(batch.stages) if s.heats and s.until is not None and len(s.temperature) == 1
    )
    core, warm = (page.controls[f"Stage {number + 1}: {stage.tag}: {name}"] for name in ("until", "temperature"))
    assert core.label == "Core temperature at least" and core.value.endswith(" °C")
    core.value, warm.value = "71 C", "82 °C"
    now = state.batch.stages[number]
    assert (str(now.until), now.warmest) == ("core temperature >= 71 degC", pytest.approx(355.15))
    core.value = "400 degC"
    assert "-1 °C to 120 °C" in core.problem.replace("degC", "°C") and state.batch.stages[number] == now
    page.units.value = "us"
    assert core.problem and core.value == "400 degC"  # what is wrong waits for who typed it
    page.nav.undone += 1
    assert core.problem == ""


def test_a_program_of_several_lines_says_where_it_is_set_and_one_temperature_takes_its_place():
    batch = template("simmered and smoked")
    number = next(n for n, s in enumerate(batch.stages) if s.tag == "smoke")
    program = [["0 h", "60 degC"], ["2 h", "80 degC"]]
    stages = [s.but(temperature=program) if n == number else s for n, s in enumerate(batch.stages)]
    state, page = page_of(batch.but(stages=stages))
    warm = page.controls[f"Stage {number + 1}: smoke: temperature"]
    assert warm.value == "a program of 2 entries" and "in the file" in warm.help
    warm.value = "75 °C"
    assert state.batch.stages[number].temperature == ((0.0, 348.15),) and warm.help == ""


def test_no_old_number_stands_beside_a_field_that_is_wrong(monkeypatch):
    state, page = page_of(starting_batch())
    thick, weight = field(page, "thick end: thickness"), field(page, "thick end: weight")
    for words in ("abc", "", "900 cm"):
        before, thick.value = state.batch, words
        assert thick.value == words and thick.problem and page.says["answer"].text == ""
        assert all(picture.problem for picture in page.pictures.values())
        assert "Piece 1: thick end, thickness: " in page.says["trouble"].text and state.batch == before
    monkeypatch.setattr(type(page.controls["report"]), "hand_over", lambda *given, **more: pytest.fail("an old report"))
    page.controls["report"].press()
    assert page.says["trouble"].text.endswith("Put this right first; then the paper can be made.")
    weight.value = "3 kg"  # all else goes on, but the page stays as it is told
    assert state.batch.pieces[0].weight == 3.0 and page.says["answer"].text == "" and thick.value == "900 cm"
    thick.value = "7 cm"
    assert page.says["answer"].text == "figures" and page.says["trouble"].text == thick.problem == ""
    assert not state.problems and state.batch.pieces[0].thickness == 0.07
    thick.value = "abc"
    page.nav.undone += 1
    assert thick.problem == "" and thick.value != "abc" and page.says["answer"].text == "figures"
    state.edit(lambda batch: batch)
    lasts = field(page, "Stage 2: rest: lasts")
    lasts.value = ""
    assert "an empty text is not a time" in lasts.problem and "lasts" not in lasts.problem  # no word of the file


def test_a_field_that_does_not_go_with_another_says_so_in_words_of_the_page():
    _, page = page_of(load(datasets_folder() / "template_strong_brine_and_soak.toml"))
    strength = field(page, "strong brine: strength")
    strength.value = ""
    assert (
        "say how strong" in strength.problem
        and "weigh_out" not in strength.problem
        and "strength: " not in strength.problem
    )
    assert page.says["answer"].text == "" and strength.value == ""


def test_a_stage_ends_by_the_clock_or_by_a_thermometer_as_the_cook_chooses():
    batch = template("simmered and smoked")
    number, stage = next((n, s) for n, s in enumerate(batch.stages) if s.tag == "simmer")
    state, page = page_of(batch)
    key = f"Stage {number + 1}: simmer"
    page.controls[f"stage {number + 1} ends"].value = False
    now = state.batch.stages[number]
    assert (now.until, now.lasts) == (None, stage.at_most) and f"{key}: lasts" in page.controls
    page.controls[f"stage {number + 1} ends"].value = True
    now = state.batch.stages[number]
    assert now.until is not None and now.at_most == stage.at_most and f"{key}: until" in page.controls
    assert not any(f"stage {n + 1} ends" in page.controls for n, s in enumerate(batch.stages) if s.cures)


def test_the_waters_of_a_soak_are_fields_too():
    state, page = page_of(load(datasets_folder() / "template_strong_brine_and_soak.toml"))
    number, soak = next((n, s) for n, s in enumerate(state.batch.stages) if s.desalts)
    key = f"Stage {number + 1}: soak, water 1"
    page.controls[f"{key}: amount"].value = "9,5 kg"
    page.controls[f"{key}: lasts"].value = "90 min"
    first, *rest = state.batch.stages[number].waters
    assert (first.amount, first.lasts) == (9.5, 5400.0) and tuple(rest) == soak.waters[1:]
    page.controls[f"{key}: amount"].value = "much"
    assert "is not an amount of water" in page.controls[f"{key}: amount"].problem and page.says["answer"].text == ""
