"""Knobs and plain controls without a browser: what they refuse, and what their observers are told."""

import pytest
from traitlets import TraitError

from curelab.lab import Knob, Line, Pick, Press, Say, Switch, column, row


def heard(widget, name="value"):
    told = []
    widget.observe(lambda change: told.append(change["new"]), name)
    return told


def test_a_knob_refuses_what_does_not_fit_and_stays_as_it_was():
    knob = Knob("Thickness", 7, 1, 20, 0.5, unit="cm")
    told = heard(knob)
    for wrong in (
        {"value": 21},
        {"value": float("nan")},
        {"min": 8},
        {"max": 6},
        {"step": 0},
        {"min": 30, "value": 31},
    ):
        with pytest.raises(TraitError, match="Thickness"):
            knob.refit(**wrong)
        assert (knob.value, knob.min, knob.max, knob.step) == (7, 1, 20, 0.5)
    with pytest.raises(TraitError, match=r"between 1\.0 and 20\.0 cm"):
        knob.value = 0
    with pytest.raises(TraitError, match=r"min 5.0 must be below max 2.0.*step -1.0 must be above 0"):
        Knob("Thickness", 3, 5, 2, -1)
    with pytest.raises(KeyError, match="colour"):
        knob.refit(colour="red")
    assert told == []


def test_switching_units_tells_one_value_with_everything_in_place():
    knob = Knob("Thickness", 7, 1, 20, 0.5, unit="cm")
    seen = []
    knob.observe(lambda change: seen.append((change["new"], knob.unit, knob.min, knob.max, knob.step)), "value")
    knob.refit(unit="in", min=0.5, max=6, step=0.25, value=7 / 2.54)  # 7 would be above the new max, on the way
    assert seen == [(7 / 2.54, "in", 0.5, 6, 0.25)]
    knob.refit(unit="cm", min=1, max=20, step=0.5, value=7)
    assert seen[1:] == [(7, "cm", 1, 20, 0.5)]
    knob.refit(label="Thickest point", help="measured across", value=7)
    assert len(seen) == 2


def test_a_message_from_the_page_says_that_a_hand_is_on_the_knob_before_the_value_is_told():
    knob = Knob("Thickness", 7, 1, 20, 0.5)
    seen = []
    knob.observe(lambda change: seen.append((change["new"], knob.dragging)), "value")
    knob.set_state({"dragging": True, "value": 7.5})
    assert seen == [(7.5, True)]


def test_a_pick_takes_any_object_and_tells_each_change_once():
    flat, round_ = object(), object()
    pick = Pick("Shape", [(flat, "flat"), (round_, "round")], round_)
    told = heard(pick)
    assert (pick.index, pick.labels) == (1, ["flat", "round"])
    pick.set_state({"index": 0})
    pick.value = round_
    assert told == [flat, round_] and pick.index == 1
    pick.refit(["one", "two"], "two")
    assert told[2:] == ["two"] and pick.index == 1
    with pytest.raises(TraitError, match="'three' is not one of"):
        pick.value = "three"
    with pytest.raises(TraitError, match="index 2"):
        pick.index = 2
    with pytest.raises(TraitError, match="at least one"):
        pick.refit([])
    assert pick.value == "two" and len(told) == 3


def test_a_pick_whose_options_change_under_the_same_index_tells_the_new_value():
    pick = Pick("Cut", ["loin", "belly"])
    told = heard(pick)
    pick.refit(["brisket", "belly"])
    assert told == ["brisket"] and pick.index == 0


def test_a_press_calls_back_in_order_and_lets_errors_through():
    button, calls = Press("Save"), []
    button.on_press(lambda pressed: calls.append(("first", pressed)))
    button.on_press(lambda pressed: calls.append(("second", pressed)))
    button.press()
    assert calls == [("first", button), ("second", button)]
    button.on_press(lambda pressed: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        button.press()


def test_a_press_hands_over_bytes_as_they_are():
    button, sent = Press("Save"), []
    button.send = lambda content, buffers: sent.append((content, buffers))
    button.hand_over("batch.toml", "strength = '5 °C'")
    button.hand_over("sheet.html", b"<p>", "text/html", new_tab=True)
    assert sent == [
        (
            {"name": "batch.toml", "media_type": "text/plain;charset=utf-8", "new_tab": False},
            ["strength = '5 °C'".encode()],
        ),
        ({"name": "sheet.html", "media_type": "text/html", "new_tab": True}, [b"<p>"]),
    ]


def test_the_small_ones():
    assert Switch("Bands", True).value is True
    assert Line("Name", "Loin", "what you call it").placeholder == "what you call it"
    with pytest.raises(TraitError):
        Say("no such kind", "shout")
    assert [repr(one) for one in (Switch("Bands"), Line("Name"), Press("Save"), Pick("Shape", "ab"))] == [
        "Switch('Bands')",
        "Line('Name')",
        "Press('Save')",
        "Pick('Shape')",
    ]  # short, and the same in every run, so that a notebook can be compared


def test_say_changes_kind_and_text_together():
    say, seen = Say("9 days"), []
    say.observe(lambda change: seen.append((say.kind, say.text)), "text")
    say.tell("The bath is empty.", "alert")
    assert seen == [("alert", "The bath is empty.")]


def test_boxes_share_the_width_and_can_wrap():
    narrow, wide = Switch("a"), Switch("b")
    box = row(narrow, wide, share=(1, 2), at_least=200)
    assert box.children == (narrow, wide) and box.layout.flex_flow == "row wrap"
    assert [one.layout.flex for one in box.children] == ["1 1 200px", "2 1 400px"]
    with pytest.raises(ValueError, match="3 numbers for 2 widgets"):
        row(narrow, wide, share=(1, 2, 3))
    assert column(Switch("c")).children[0].layout.width == "100%"
