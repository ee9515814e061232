"""Line pictures and maps without a browser: axes, what is sent, what is refused."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from curelab.lab import DepthMap, Knob, Picture
from curelab.lab.bars import BarPicture
from curelab.lab.drawing import axis_range, tick_step
from curelab.show.ranking import Bar, Bars

LINE = {"x": [0.0, 10.0, 20.0], "y": [4.4, 2.0, 1.0], "label": "day 3"}


def draw(picture, top, **more):
    picture.show([{"x": [0.0, 10.0], "y": [top, top / 2], "label": "salt"}], "depth, mm", "salt, %", **more)


@given(st.floats(1e-12, 1e12), st.integers(2, 10))
def test_tick_steps_are_round_and_few(span, parts):
    step = tick_step(span, parts)
    digits = f"{step:.6e}"
    assert digits[0] in "125" and set(digits[1:8]) <= set(".0")
    assert span / step <= parts * (1 + 1e-6)
    assert span / step > parts / 2.5 * (1 - 1e-6)  # the next smaller round step would give too many


@example(0.0, 5e-324, 0.0, 1.0)  # a span too small to be divided once stopped every picture
@given(st.floats(-1e6, 1e6), st.floats(0, 1e6), st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_an_axis_holds_its_data_and_only_grows_while_held(low, span, start, wide):
    high, before = low + span, (start, start + wide)
    fresh, held = axis_range(low, high), axis_range(low, high, before=before)
    slack = 1e-6 * max(1.0, abs(low), abs(high), abs(start) + wide)
    assert fresh[0] <= low + slack and fresh[1] >= high - slack and fresh[0] < fresh[1]
    assert fresh[0] == pytest.approx(0, abs=1e-300) or low < 0
    assert held[0] <= min(low, before[0]) + slack and held[1] >= max(high, before[1]) - slack


def test_ends_that_are_asked_for_are_kept():
    assert axis_range(1, 4, (0.3, 7.7)) == (0.3, 7.7)
    assert axis_range(1, 4.4, (0.5, None)) == (0.5, 5.0)
    assert axis_range(1, 4, (0.3, 7.7), before=(0, 99)) == (0.3, 7.7)
    assert axis_range(0, 0)[0] < axis_range(0, 0)[1]
    assert axis_range(3, 3, tight=True)[0] < axis_range(3, 3, tight=True)[1]
    for wrong, words in (((5, 1), "increase"), ((0, float("inf")), "finite"), ((1, 2, 3), "two ends")):
        with pytest.raises(ValueError, match=words):
            axis_range(0, 1, wrong)


def test_the_frame_holds_the_numbers_in_the_order_the_page_cuts_them():
    picture = Picture()
    low, high = np.array([4.0, 1.8, 0.9]), np.array([4.8, 2.2, 1.1])
    picture.show([{**LINE, "low": low, "high": high}, {"x": [0, 20], "y": [3, np.nan]}], "depth, mm", "salt, %")
    sent = np.frombuffer(picture.frame, "<f4")
    expected = np.concatenate([LINE["x"], LINE["y"], low, high, [0, 20], [3, np.nan]])
    np.testing.assert_allclose(sent, expected, rtol=1e-6)
    assert [(one["n"], one["band"]) for one in picture.meta["series"]] == [(3, True), (2, False)]
    assert picture.meta["x_range"] == [0, 20] and picture.meta["y_range"] == [0, 5]
    assert picture.revision == 1


def test_axes_are_held_while_a_hand_is_on_a_knob():
    picture, knob, other = Picture(), Knob("a", 1, 0, 10, 1), Knob("b", 1, 0, 10, 1)
    picture.follow(knob, other)
    draw(picture, 9.0)
    knob.dragging = True
    draw(picture, 3.0)
    assert picture.meta["y_range"] == [0, 10]
    draw(picture, 14.0)
    assert picture.meta["y_range"] == [0, 15]
    draw(picture, 3.0)
    revision = picture.revision
    other.dragging = True
    knob.dragging = False
    assert picture.meta["y_range"] == [0, 15] and picture.revision == revision
    other.dragging = False
    assert picture.meta["y_range"] == [0, 3] and picture.revision == revision + 1
    assert np.frombuffer(picture.frame, "<f4")[2] == 3
    other.dragging = True
    other.dragging = False
    assert picture.revision == revision + 1  # nothing to fit, nothing sent


def test_a_failure_stands_until_the_next_picture():
    picture = Picture()
    draw(picture, 3.0)
    picture.hold = True
    picture.fail("The bath holds no water.")
    assert (picture.problem, picture.revision) == ("The bath holds no water.", 2)
    picture.hold = False
    assert picture.problem  # letting go does not bring old numbers back
    draw(picture, 3.0)
    assert (picture.problem, picture.revision) == ("", 3)


def test_marks_widen_the_axis_unless_told_not_to():
    picture = Picture()
    draw(picture, 3.0, marks=[{"axis": "y", "at": 7.0, "label": "limit"}])
    assert picture.meta["y_range"] == [0, 8]
    draw(picture, 3.0, marks=[{"axis": "y", "at": 7.0, "fit": False}])
    assert picture.meta["y_range"] == [0, 3]


def test_the_summary_names_the_last_values():
    picture = Picture()
    picture.show([LINE, {"x": [0, 1], "y": [np.nan, np.nan], "label": "no meat"}], "depth, mm", "salt, %")
    assert picture.meta["summary"] == "salt, % against depth, mm. At the right end: day 3 1, no meat no value."
    picture.show([LINE], "depth, mm", "salt, %", summary="The core is at 1 %.")
    assert picture.meta["summary"] == "The core is at 1 %."


def test_everything_wrong_is_said_at_once_and_nothing_is_drawn():
    picture = Picture()
    with pytest.raises(ValueError) as told:
        picture.show(
            [
                {"x": [0, 1], "y": [1], "label": "short"},
                {"x": [1, 0], "y": [1, 2], "label": "backward"},
                {"x": [0, 1], "y": [1, np.inf], "label": "endless"},
                {"x": [0, 1], "y": [1, 2], "low": [0, 1], "label": "half a band"},
            ],
            "x",
            "y",
            marks=[{"axis": "z", "at": 1.0}],
        )
    for name in ("short", "backward", "endless", "half a band", "'z'"):
        assert name in str(told.value)
    assert picture.revision == 0


def test_a_map_sends_depth_time_and_field_in_the_order_the_page_cuts_them():
    chart = DepthMap()
    x, y = np.array([0.0, 1.0, 4.0]), np.array([0.0, 10.0])
    z = np.arange(6.0).reshape(2, 3)
    chart.show(x, y, z, "days", "depth, mm", "salt, %", line=([0.0, 4.0], [1.0, np.nan]), line_label="90 %")
    np.testing.assert_allclose(
        np.frombuffer(chart.frame, "<f4"), np.concatenate([x, y, z[0], z[1], [0, 4], [1, np.nan]]), rtol=1e-6
    )
    assert (chart.meta["nx"], chart.meta["ny"], chart.meta["line"]) == (3, 2, 2)
    with pytest.raises(ValueError) as told:
        chart.show([0, 0], y, z, "days", "depth, mm", "salt, %", line=([1], [1, 2]))
    for words in ("x must be", r"(len(y), len(x)) = (2, 2), not (2, 3)", "line must be"):
        assert words in str(told.value)


def test_bars_send_share_and_total_of_each_and_its_words():
    picture, shown = BarPicture(), (Bar("the temperature", 61.5, 70.25, "log it"), Bar("the thickness", 20.0))
    picture.show(Bars("Log it.", "share, %", shown, "Invented."))
    np.testing.assert_allclose(np.frombuffer(picture.frame, "<f4"), [61.5, 70.25, 20, 20], rtol=1e-6)
    assert picture.meta["bars"] == [
        {"label": "the temperature", "reading": "62 % (70)", "remedy": "log it"},
        {"label": "the thickness", "reading": "20 %", "remedy": ""},
    ]
    assert (picture.meta["sentence"], picture.meta["note"], picture.meta["x_label"]) == (
        "Log it.",
        "Invented.",
        "share, %",
    )
    assert picture.meta["summary"] == "Bars, share, %: the temperature 62 %, with others 70 %; the thickness 20 %."
    picture.show(Bars("Hardly changes.", "share, %", (), "Invented."))
    assert picture.frame == b"" and picture.meta["bars"] == [] and picture.meta["summary"] == "Hardly changes."
    picture.fail("No.")
    assert (picture.problem, picture.revision) == ("No.", 3)


def test_bars_that_do_not_fit_their_axis_are_all_named_and_none_is_drawn():
    picture = BarPicture()
    wrong = (Bar("a", 101.0), Bar("b", -1.0), Bar("c", 50.0, 40.0), Bar("d", float("nan")), Bar("fine", 1.0, 2.0))
    with pytest.raises(ValueError) as told:
        picture.show(Bars("x.", "share, %", wrong, ""))
    assert [name for name in ("a", "b", "c", "d", "fine") if f"{name}: share" in str(told.value)] == [
        "a",
        "b",
        "c",
        "d",
    ]
    assert picture.revision == 0
