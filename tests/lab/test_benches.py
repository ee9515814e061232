"""State and benches in this process, with exceptions in callbacks fatal: what the sliders write is what the file says and what runs."""

import asyncio
import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from handful import handful

from curelab import Brine, InputError, Problem, Soak, Water
from curelab import outcome as outcomes
from curelab.batch import dumps, load
from curelab.compose import template
from curelab.lab import settling
from curelab.lab import state as pages
from curelab.lab.benches import BENCHES, bench
from curelab.lab.benches.soak import NEEDLESS, PLATE, SOAKED
from curelab.lab.papers import report
from curelab.lab.questions import soak
from curelab.lab.state import State, opened, starting_batch
from curelab.lab.tried import with_soak
from curelab.outcome import run
from curelab.recipe.meat_and_fridge import Known, MeatAndFridge
from curelab.show.answer import TOO_WARM
from curelab.show.in_short import in_short
from curelab.show.report import words
from curelab.sources import datasets_folder
from curelab.spread import Spread, spread

QUICKER = [name for name in BENCHES if name != "to the plate"]  # which has a cook to work out at every step


@pytest.fixture(params=list(BENCHES))
def name(request):
    return request.param


def made(name):
    state = State(strict=True)
    return state, opened_up(bench(name, state))


def opened_up(page):
    """A bench with nothing folded away, so that all it has is drawn."""
    for fold in page.folds:
        if not fold.opened:
            fold.press()
    return page


def short(page):
    """What the batch bench says over its picture and under it."""
    return (page.says["answer"].text + "\n" + page.says["more"].text).split("\n")


def test_every_bench_speaks_and_draws(name):
    _, page = made(name)
    assert page.says["answer"].text and page.says["caution"].text
    assert all(picture.revision > 0 and not picture.problem for picture in page.pictures.values())
    for picture in page.pictures.values():  # saved, each says of what it is, what was assumed, and by which version
        assert picture.caption.startswith(page.state.batch.name) and picture.caption.endswith("curelab 0.1.0.")
        assert "Assumed: " in picture.caption or name == "learning"


@pytest.mark.parametrize("bench_name", ["thick point", "soak"])
def test_the_answer_on_the_first_screen_is_two_short_sentences(bench_name):
    """Whatever the days and the fridge are; all else that is said stands below, or is folded away."""
    state = State(strict=True)
    page = bench(bench_name, state)
    lead = [page.says[key] for key in ("answer", "after") if key in page.says]
    assert list(page.box.children[1].children[1 : 1 + len(lead)]) == lead
    heads = set()
    for days, celsius in ((10, 3), (3, 3), (40, 1), (10, 14)):
        state.edit_stage(state.cure, lasts=f"{days} d", temperature=f"{celsius} degC", until=None, at_most=None)
        said = " ".join(say.text for say in lead).replace("\n", " ")
        flat = re.sub(r"\([^()]*\)", "", said)
        sentences = [each for each in re.split(r"(?<=[.!?])\s+", flat) if each]
        assert 1 <= len(sentences) <= 2 and all(len(each.split()) <= 24 for each in sentences), sentences
        heads.add(said)
    assert len(heads) == 4


@pytest.mark.parametrize("name", handful(BENCHES, QUICKER))
def test_every_slider_moves_the_batch_and_the_pictures(name):
    state, page = made(name)
    for label, knob in page.controls.items():
        if not hasattr(knob, "dragging"):
            continue
        before = {key: picture.revision for key, picture in page.pictures.items()}
        knob.value = knob.value + knob.step if knob.value + knob.step <= knob.max else knob.value - knob.step
        assert not state.problems, label
        assert any(page.pictures[key].revision > count for key, count in before.items()), label


@pytest.mark.parametrize("name", handful(BENCHES, ("thick point",)))
def test_extremes_of_every_slider_leave_a_picture_or_a_reason(name):
    for end in ("min", "max"):
        state, page = made(name)
        for label, knob in page.controls.items():
            if hasattr(knob, "dragging"):
                before = {key: picture.revision for key, picture in page.pictures.items()}
                moved = knob.value != getattr(knob, end)
                knob.value = getattr(knob, end)
                for key, picture in page.pictures.items():
                    assert bool(picture.problem) == bool(state.problems), label
                    assert picture.revision > before[key] or not moved, label
                if state.problems:
                    assert page.says["trouble"].text and page.says["trouble"].kind == "alert", label
                    assert page.says["answer"].text == "", label


@pytest.mark.parametrize("name", handful(BENCHES, QUICKER))
def test_units_switch_everywhere_at_once_and_lose_nothing(name):
    state, page = made(name)
    before = state.batch
    page.units.value = "us"
    assert all(getattr(control, "unit", "") not in ("cm", "mm", "kg", "°C") for control in page.controls.values())
    assert state.batch.but(units="metric") == before
    page.units.value = "metric"
    assert state.batch == before


def test_the_thick_point_bench_builds_the_batch_an_api_would():
    state, page = made("thick point")
    page.controls["thickness 1"].value = 9.5
    page.controls["thickness 2"].value = 3.0
    page.controls["fat cap"].value = 6
    page.controls["days"].value = 21
    page.controls["temperature"].value = 2.0
    page.controls["salt"].value = 2.6
    page.controls["turning"].value = "1 d"
    start = starting_batch()
    one, two = start.pieces
    stage = start.stages[0].but(lasts="21 d", temperature="2 degC", turn_every="1 d")
    api = start.but(
        pieces=[one.but(thickness="9.5 cm", fat_cap="6 mm"), two.but(thickness="3 cm")],
        stages=[stage, start.stages[1]],
        weigh_out=start.weigh_out.but(salt="2.6 %"),
    )
    assert state.batch == api
    assert dumps(state.batch) == dumps(api)


def test_the_soak_bench_builds_the_batch_an_api_would():
    state, page = made("soak")
    page.controls["water"].value = 6.0
    page.controls["count"].value = 3
    page.controls["hours"].value = 1.5
    page.controls["temperature"].value = 6
    page.controls["rest"].value = 24
    soak = state.batch.stages[-2]
    assert [(w.amount, w.lasts, w.temperature[0][1]) for w in soak.waters] == [(6.0, 5400.0, 279.15)] * 3
    assert state.batch.stages[-1].lasts == 86400.0


def test_the_answer_to_the_soak_question_stays_while_the_bands_settle_and_goes_with_the_next_change():
    state, page = made("soak")
    state.set_own(target="1.2 %")
    page.controls["ask"].press()
    said = page.says["needed"].text
    assert "Least water" in said
    list(page.settle())
    assert page.says["needed"].text == said
    state.set_own(target="1.4 %")
    assert "Least water" not in page.says["needed"].text


def test_a_soak_can_aim_at_the_plate():
    """Where a batch is cooked the soak is tried before it, and what is wanted may be the salt of the slice, which the pot lowers too."""
    start = load(datasets_folder() / "demo_plate.toml")
    point = start.pieces[0]
    cooked = start.but(
        pieces=(point,), stages=(start.stages[0], *(stage for stage in start.stages if stage.named == (point.name,)))
    )
    page = bench("soak", State(cooked, strict=True))
    hot = [stage.heats for stage in with_soak(cooked).stages]
    assert hot == sorted(hot) and sum(stage.desalts for stage in with_soak(cooked).stages) == 1
    page.state.set_own(target="1.5 %")
    page.controls["ask"].press()
    raw = page.says["needed"].text
    page.controls["aim"].value = PLATE
    page.controls["ask"].press()
    assert "on the plate" in page.says["needed"].text and "on the plate" not in raw
    assert page.says["needed"].text.startswith("No soak is needed") and raw.startswith("Soak it")
    assert "aim" not in bench("soak", State(starting_batch(), strict=True)).controls  # nothing is cooked there
    in_pounds = soak(with_soak(cooked.but(units="us")), 0.01, on_the_plate=True)
    assert " qt" in in_pounds and "kg" not in in_pounds


def test_a_soak_before_another_brine_as_weighed_out_has_no_rest_to_set():
    start = starting_batch()
    soak = Soak(waters=(Water(amount="4 kg", lasts="1 h", temperature="4 degC"),))
    state = State(start.but(stages=(start.stages[0], soak, start.stages[0])), strict=True)
    page = bench("soak", state)
    assert "rest" not in page.controls and page.says["answer"].text and not page.says["trouble"].text


def test_the_strong_brine_is_put_into_the_batch_only_when_asked():
    state, page = made("equilibrium or strong")
    before = state.batch.weigh_out
    page.controls["strength"].value = 15
    assert state.batch.weigh_out == before
    page.controls["choose"].press()
    assert state.batch.weigh_out.tag == "strong brine" and state.batch.weigh_out.strength == 0.15
    assert "now uses the 15 % brine" in page.says["chosen"].text
    state.undo()
    assert state.batch.weigh_out == before and page.says["chosen"].text == ""


def test_the_batch_bench_shows_what_the_command_computes():
    state, page = made("batch")
    title = next(key for key in page.controls if key.endswith(": thickness"))
    page.controls[title].value = "7 cm"
    assert in_short(replace(run(state.batch, draws=pages.QUICK), passing=True), chances={}, made={}) == short(page)
    list(page.settle())
    assert short(page) == in_short(run(state.batch))
    assert report(state.batch, datetime.now(UTC)) == words(run(state.batch), long=True)


def test_the_batch_bench_takes_up_the_log_as_the_command_does():
    demo = load(datasets_folder() / "demo_brisket.toml")
    state = State(demo, strict=True)
    page = opened_up(bench("batch", state=state))
    list(page.settle())
    outcome = run(demo)
    assert outcome.said and outcome.learned is not None
    assert short(page) == in_short(outcome)
    assert "as far as your log leaves it open" in page.says["rests"].text
    assert page.pictures["matters"].meta["sentence"].startswith("Before your readings, how fast meat takes salt makes")


def test_numbers_of_a_longer_look_are_those_of_the_run():
    """Benches simulate past the planned day to show what comes; at the planned day that is the same to rounding."""
    state = State(strict=True)
    many = state.spread(state.cure_lasting(90 * 86400.0))
    _, end = run(state.batch).history.span(0)
    for place in ("core", "average", "surface"):
        for quantity in ("salt", "free nitrite"):
            assert many.usual.at(place, quantity, end) == pytest.approx(
                run(state.batch).history.at(place, quantity, end), rel=1e-9
            )


def test_an_impossible_edit_keeps_the_batch_greys_the_pictures_and_says_what_is_possible():
    state, page = made("thick point")
    before = state.batch
    state.edit_piece(0, thickness="5 mm", fat_cap="10 mm")
    assert state.batch is before
    assert all(picture.problem for picture in page.pictures.values())
    assert page.says["answer"].text == "" and "2 mm of lean" in page.says["trouble"].text
    state.edit_piece(0, thickness="6 cm")
    assert not any(picture.problem for picture in page.pictures.values())
    assert page.says["trouble"].text == ""


def test_an_exception_greys_the_pictures_and_reaches_the_tests(monkeypatch):
    state, page = made("thick point")

    def broken(self, *more):
        raise ZeroDivisionError("made to fail")

    monkeypatch.setattr(State, "spread", broken)
    with pytest.raises(ZeroDivisionError):
        state.edit_piece(0, thickness="6 cm")
    assert all("made to fail" in picture.problem for picture in page.pictures.values())
    state.strict = False
    state.edit_piece(0, thickness="7 cm")
    assert "made to fail" in page.says["trouble"].text


def test_save_reopen_and_never_over_another_file(tmp_path):
    state, page = made("batch")
    page.file.value = str(tmp_path / "mine.toml")
    page.controls["save"].press()
    assert state.saved and load(tmp_path / "mine.toml") == state.batch
    state.edit_piece(0, thickness="5 cm")
    assert not state.saved
    page.controls["save"].press()
    assert load(tmp_path / "mine.toml").pieces[0].thickness == 0.05
    (tmp_path / "other.toml").write_text("not mine", encoding="utf-8")
    page.file.value = str(tmp_path / "other.toml")
    before, drawn = state.batch, page.pictures["section"].frame
    stood = {name: say.text for name, say in page.says.items()}
    for name, why in (("save", "is there already"), ("open", "is not complete TOML")):
        page.controls[name].press()
        assert why in page.file.problem and page.file.value.endswith("other.toml")  # as it was typed
        assert (
            {name: say.text for name, say in page.says.items()} == stood
            and state.batch is before
            and not state.problems
        )
        assert page.pictures["section"].frame == drawn and not page.pictures["section"].problem
        assert (tmp_path / "other.toml").read_text(encoding="utf-8") == "not mine"
    page.file.value = str(tmp_path / "mine.toml")
    drawn, draw = [], page.draw
    page.draw = lambda: (drawn.append(1), draw())
    page.controls["open"].press()
    assert len(drawn) == 1 and not state.problems and page.says["trouble"].text == page.file.problem == ""


def test_why_something_was_not_done_stays_until_the_batch_is_another():
    state, page = made("batch")
    page.refuse("That cannot be.")
    page.draw_all()  # as once the draws have settled
    assert "That cannot be." in page.says["trouble"].text
    state.edit_piece(0, thickness="6.5 cm")
    assert "That cannot be." not in page.says["trouble"].text


def test_a_bench_opens_the_working_file_of_its_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    state = State()
    state.edit_piece(0, thickness="6.5 cm")
    assert state.save()
    assert opened().batch == state.batch
    (tmp_path / "my-batch.toml").write_text("broken = ", encoding="utf-8")
    again = opened()
    assert again.problems and again.batch == starting_batch()


def test_a_field_that_does_not_read_says_why_and_changes_nothing():
    state, page = made("batch")
    key = next(key for key in page.controls if key.endswith(": weight"))
    before = state.batch
    page.controls[key].value = "heavy"
    assert "not a mass" in page.controls[key].problem and state.batch == before
    page.controls[key].value = "3 kg"
    assert page.controls[key].problem == "" and state.batch.pieces[0].weight == 3.0


def test_axes_hold_still_while_a_hand_moves():
    _, page = made("equilibrium or strong")
    knob, picture = page.controls["salt"], page.pictures["equilibrium salt"]
    knob.dragging = True
    wide = picture.meta["y_range"]
    knob.value = knob.min
    assert picture.meta["y_range"] == wide
    knob.dragging = False
    assert picture.meta["y_range"][1] < wide[1]


def test_bands_hold_the_usual_line_and_go_away():
    state = State()
    many = state.spread()
    for quantity in ("salt", "nitrite", "free nitrite"):
        middle, low, high = many.at("core", quantity, many.usual.times, "thick end")
        usual = many.usual.core(quantity, many.usual.times, "thick end")
        slack = 6e-3 * many.usual.surface(quantity, many.usual.times, "thick end").max()  # what few terms cost
        assert np.all(low <= middle) and np.all(middle <= high)
        assert np.all(low <= usual + slack) and np.all(usual <= high + slack)
    alone = tuple(Spread.single(many.usual).at("core", "salt", [86400.0]))
    assert alone == (pytest.approx(many.usual.core("salt", [86400.0]), rel=1e-12), None, None)


def test_what_was_carried_over_moves_the_usual_line_with_the_draws():
    own = MeatAndFridge(schema=1, name="x", known=[Known(key="obstruction.lean", low=0.5, value=0.52, high=0.54)])
    plain, carried = (State(starting_batch().but(meat_and_fridge=each)).spread() for each in (None, own))
    assert carried.usual.numbers["obstruction.lean"].value == 0.52 != plain.usual.numbers["obstruction.lean"].value
    core = [each.at_end("core", "salt", 0, "thick end").middle[0] for each in (plain, carried)]
    usual = [each.usual.core("salt", each.usual.ends(0), "thick end") for each in (plain, carried)]
    assert core[1] > 1.2 * core[0] and usual[1] > 1.2 * usual[0]


@pytest.mark.usefixtures("all_draws")
@pytest.mark.parametrize("name", handful(("thick point", "equilibrium or strong", "soak", "batch"), ("thick point",)))
def test_a_hand_sees_few_draws_and_at_rest_all_of_them(name):
    """The bands of a settled page are those of a spread made in one piece, and the page says how many draws they rest on."""
    state, page = made(name)
    shown = "answer" if name == "batch" else "rests"
    everything = " ".join(say.text for say in page.says.values())
    few = pages.QUICK if name == "batch" else pages.FEW
    assert f"{few} draws" in everything and "Varied within" in everything, page.says[shown].text
    steps = list(page.settle())
    assert len(steps) >= 4  # none of them long
    full = pages.PAGE_DRAWS if name != "batch" else outcomes.REPORT_DRAWS
    everything = " ".join(say.text for say in page.says.values())
    assert f"{full} draws" in everything and f"{few} draws of" not in everything
    if name == "thick point":
        stages = state.cure_lasting(90 * 86400.0)
        many = spread(state.batch.pieces, stages, count=pages.PAGE_DRAWS)
        times = state.spread(stages).usual.times
        both = (each.at("core", "salt", times, 0, "equilibrium") for each in (state.spread(stages), many))
        for ours, theirs in zip(*both, strict=True):
            assert ours == pytest.approx(theirs, rel=1e-8, abs=1e-12)
    assert not list(page.settle()) or name == "batch"  # settled once is settled


@pytest.mark.usefixtures("all_draws")
def test_a_page_that_computes_says_so_and_can_be_stopped(monkeypatch):
    """Hidden at first, shown while it computes and when it was stopped, hidden again when a slider moves, and when it is done."""
    monkeypatch.setattr(settling, "UNSEEN", 0.0)
    monkeypatch.setattr(settling, "REST", 0.0)
    _, page = made("thick point")
    look = page.at_work.layout

    async def until(seen):
        while look.visibility != seen:
            await asyncio.sleep(0.001)

    async def driven():
        page.state.edit(lambda batch: batch.but(name="of another name"))
        assert "of another name" not in page.pictures["section"].caption  # nobody saves a picture while a slider moves
        await asyncio.wait_for(until("visible"), 20)
        assert page.pictures["section"].caption.startswith("of another name")
        assert page.running.text == settling.RANGES
        page.stop.press()
        assert page.stop.label == settling.GO_ON and page._settling is None
        await asyncio.sleep(0.3)
        assert page.running.text == settling.STOPPED_MORE and f"{pages.FEW} draws" in page.says["rests"].text
        page.stop.press()
        assert look.visibility == "hidden"
        await asyncio.wait_for(until("visible"), 20)
        assert page.stop.label == settling.STOP
        page.fail("A fault.")  # what settles would draw over it
        assert look.visibility == "hidden" and page._settling is None
        page.redraw()
        await asyncio.wait_for(until("visible"), 20)
        page.redraw()
        assert look.visibility == "hidden"
        await asyncio.wait_for(until("visible"), 20)
        await asyncio.wait_for(until("hidden"), 60)
        assert f"{pages.PAGE_DRAWS} draws" in page.says["rests"].text

    assert look.visibility == "hidden"
    asyncio.run(driven())


def bands_of(page):
    return [
        key for key, picture in page.pictures.items() if any(one.get("band") for one in picture.meta.get("series", ()))
    ]


@pytest.mark.parametrize("name", handful(BENCHES, ("thick point", "batch", "learning")))
def test_the_box_hides_the_shading_and_nothing_else(name):
    """A tick must not change what is said, or how sure it is."""
    _, page = made(name)
    words, shaded = {key: say.text for key, say in page.says.items()}, bands_of(page)
    assert shaded == [key for key, picture in page.pictures.items() if "series" in picture.meta]
    page.bands.value = False
    assert {key: say.text for key, say in page.says.items()} == words and not bands_of(page)
    page.bands.value = True
    assert bands_of(page) == shaded and (shaded or name == "learning")


def test_a_batch_without_a_brine_says_so_on_the_brine_page():
    state, page = made("equilibrium or strong")
    cure = {"salt": "80 g", "temperature": "3 degC", "lasts": "10 d"}
    from curelab import SealedCure

    state.edit(lambda batch: batch.but(weigh_out=None, stages=[SealedCure(**cure)]))
    assert "without one" in page.says["trouble"].text
    assert isinstance(starting_batch().stages[0], Brine)
    with pytest.raises(InputError):
        SealedCure(**(cure | {"lasts": None}))


def handed_over(page, name, monkeypatch):
    got = []
    monkeypatch.setattr(
        type(page.controls[name]),
        "hand_over",
        lambda self, file, content, media_type="", new_tab=False: got.append((file, content)),
    )
    page.controls[name].press()
    return got


PAPERS = {
    "sheet": ["sheet", "FILE", "-o", "MADE"],
    "label": ["label", "FILE", "-o", "MADE"],
    "page": ["page", "FILE", "-o", "MADE"],
    "plan": ["plan", "FILE"],
    "report": ["run", "FILE", "--long"],
}


@pytest.mark.parametrize("name", handful(PAPERS, ("sheet", "plan")))
def test_papers_of_the_bench_are_those_of_the_command(name, monkeypatch, tmp_path, capsys):
    from curelab.__main__ import main

    state, page = made("batch")
    state.edit(lambda batch: batch.but(start="2026-03-02 09:00"))
    file, paper = tmp_path / "mine.toml", tmp_path / "made.html"
    assert state.save(file)
    (_, content), *_ = handed_over(page, name, monkeypatch)
    capsys.readouterr()
    assert main([{"FILE": str(file), "MADE": str(paper)}.get(word, word) for word in PAPERS[name]]) == 0
    assert content == (paper.read_text(encoding="utf-8") if "-o" in PAPERS[name] else capsys.readouterr().out)


def test_a_paper_that_cannot_be_made_says_why(monkeypatch):
    _, page = made("batch")

    def refuse_it(*given, **more):
        raise InputError([Problem("plan.serve", "lies in the past; give a later day")])

    monkeypatch.setattr("curelab.lab.papers.schedule", refuse_it)
    assert handed_over(page, "sheet", monkeypatch) == []
    assert "later day" in page.says["trouble"].text


def test_the_log_of_the_bench_is_that_of_the_file(tmp_path):
    state, page = made("batch")
    page.reading["at"].value, page.reading["what"].value, page.reading["value"].value = "2 d", "brine strength", "3.4 %"
    page.controls["log"].press()
    assert "save the batch first" in page.says["written"].text and page.says["answer"].text
    assert state.save(tmp_path / "mine.toml")
    page.controls["log"].press()
    assert load(tmp_path / "mine.toml").log == state.batch.log != ()
    assert "brine strength 3.4 %" in page.says["log"].text
    page.controls["unlog"].press()
    assert load(tmp_path / "mine.toml").log == state.batch.log == ()


def test_saving_keeps_what_others_logged_meanwhile(tmp_path):
    from curelab.batch import Reading
    from curelab.paper.logbook import append_reading

    state, _ = made("batch")
    assert state.save(tmp_path / "mine.toml")
    append_reading(tmp_path / "mine.toml", Reading(at="3 d", what="turned"))
    state.edit_piece(0, thickness="7 cm")
    assert state.save()
    saved = load(tmp_path / "mine.toml")
    assert saved.pieces[0].thickness == 0.07 and saved.log[0].what == "turned" and state.batch == saved


@pytest.mark.parametrize("bench_name", ["thick point", "equilibrium or strong", "soak"])
def test_no_page_names_a_day_for_meat_that_lies_warm(bench_name):
    """What the report throws away the pages may not let ripen: the clock of warm meat is in the answer itself."""
    state = State(strict=True)
    page = bench(bench_name, state)
    state.edit_stage(state.cure, temperature="14 degC")
    said = page.says["cure" if bench_name == "soak" else "answer"].text
    assert TOO_WARM in said + page.says["spot"].text if "spot" in page.says else TOO_WARM in said
    assert "cook on" not in said and "cook it then" not in said


def test_a_batch_that_needs_no_soak_leads_to_one_that_does(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    state, page = made("soak")
    assert page.says["after"].text == NEEDLESS and page.to_see.layout.display == "flex"
    page.begin.press()
    assert state.batch.but(id="") == template(SOAKED) and state.path == "strong-brine-and-soak.toml"
    assert page.to_see.layout.display == "none" and "strength" in page.controls
    assert NEEDLESS not in page.says["after"].text and page.says["needed"].text == ""


def test_what_the_days_hide_stands_beside_them():
    """Both brines: a head with a day also says how often the slowest spot is protected; a planned soak is no cure that is too long."""
    state = State(template(SOAKED), strict=True)
    page = bench("equilibrium or strong", state)
    spots = page.says["spot"].text.split("\n")
    for head, spot in zip((page.says["answer"].text, page.says["strong answer"].text), spots, strict=True):
        often = re.search(r"in (\d of 10|no|hardly any) batch", spot)
        assert "ut on day" in head or "ut at hour" in head
        assert f"its slowest spot is protected {often[0]}" in head
        assert "alone in its share" not in head
    state = State(strict=True)  # of two pieces
    assert "the thick end alone in its share of the water" in bench("equilibrium or strong", state).says["answer"].text
    state = State(template(SOAKED), strict=True)
    for said in (bench("thick point", state).says["answer"].text, bench("soak", state).says["cure"].text):
        assert "2 days and 11 hours of soak leave 2." in said and "too long" not in said
    assert "(2.2 to" not in bench("soak", state).says["answer"].text.split(";")[0], "a soak goes by the clock"
