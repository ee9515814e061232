"""Plotly figures hold what the pictures say, to the last digit."""

import html

import numpy as np
import pytest

from curelab.batch import load
from curelab.outcome import run
from curelab.show import figures, pictures, ranking
from curelab.sources import datasets_folder
from curelab.spread import Spread

OUTCOME = run(load(str(datasets_folder() / "demo_brisket.toml")), log=False)
MANY = run(load(str(datasets_folder() / "demo_brisket.toml")), draws=16, log=False).spread


@pytest.mark.parametrize(
    "picture",
    [
        pictures.profile(MANY, 864000.0, ("salt",), "point"),
        pictures.profile(MANY, 864000.0, ("nitrite", "free nitrite"), "point", "us"),
        pictures.over_time(MANY, "salt", "flat", target=0.022, target_label="wanted", now=864000.0),
        pictures.middles(MANY, ["point", "flat"], 864000.0),
        pictures.bath(MANY),
        pictures.before_and_after(MANY, *OUTCOME.history.span(2), "flat"),
        pictures.soak_hours(MANY, OUTCOME.history.span(2)[0], "flat", 0.02),
    ],
    ids=lambda picture: picture.y_label,
)
def test_lines(picture):
    figure = figures.lines(picture)
    drawn = {trace.name: trace for trace in figure.data if trace.name}
    for series in picture.series:
        assert (
            np.array_equal(drawn[series.label].y, series.y, equal_nan=True)
            and drawn[series.label].line.color == series.colour
        )
        if series.low is not None:
            there = np.isfinite(series.y)  # while the pieces rest there is no bath to draw
            assert np.array_equal(there, np.isfinite(series.low)) and np.array_equal(there, np.isfinite(series.high))
            low, y, high = (part[there] for part in (series.low, series.y, series.high))
            assert len(y) and np.all(low <= y + 1e-12) and np.all(y <= high + 1e-12)
    assert figure.layout.title.text == picture.sentence and picture.sentence.endswith(".")
    assert figure.layout.xaxis.title.text == picture.x_label and figure.layout.yaxis.title.text == picture.y_label


def test_map_and_its_line():
    picture = pictures.depth_map(
        OUTCOME.history, "salt", "flat", level=0.9 * OUTCOME.history.resting("salt", 0, "flat")
    )
    figure = figures.depth_map(picture)
    assert np.array_equal(figure.data[0].z, picture.z, equal_nan=True) and picture.z.shape == (
        len(picture.y),
        len(picture.x),
    )
    depth = picture.line[1][np.isfinite(picture.line[1])]
    assert depth.min() >= 0 and depth.max() <= picture.y[-1] / 2 + 1e-9


def test_what_a_picture_shows_is_what_the_history_says():
    picture = pictures.profile(MANY, 864000.0, ("salt",), "point")
    middle = np.interp(picture.series[0].x[-1] / 2, picture.series[0].x, picture.series[0].y)
    band = MANY.at("core", "salt", [864000.0], "point")
    assert middle == pytest.approx(100 * band.middle[0], rel=2e-2)
    assert band.low[0] < OUTCOME.history.core("salt", 864000.0, "point") < band.high[0]
    assert pictures.shared_range(picture)[1] >= picture.series[0].high.max()


def test_with_bands_off_nothing_is_shaded_and_no_draws_are_told():
    alone, name = Spread.single(OUTCOME.history), "flat"
    for make in (
        lambda many: pictures.profile(many, 864000.0, ("salt",), name),
        lambda many: pictures.over_time(many, "salt", name),
        lambda many: pictures.middles(many, [name]),
        lambda many: pictures.before_and_after(many, *OUTCOME.history.span(2), name),
        lambda many: pictures.soak_hours(many, OUTCOME.history.span(2)[0], name),
        pictures.bath,
    ):
        off, on = make(alone), make(MANY)
        assert off.note == "" and all(line.low is None and line.high is None for line in off.series)
        assert on.note.startswith("shaded: 8 of 10 simulated batches, of 16 draws of ")
        assert any(line.low is not None for line in on.series)


def test_bars_show_the_shares_from_the_top():
    """Invented shares: what is drawn begins at 0, ends at share and total, and stands on an axis from 0 to 100 %."""
    long = "the thickness of the piece that lies at the bottom, <far> below"
    shown = (
        ranking.Bar(long, 61.5, 70.25, "measure it again"),
        ranking.Bar("the temperature", 20.0),
        ranking.Bar("the pH", 0.0, 3.0),
    )
    picture = ranking.Bars("Measure it again.", "share, %", shown, "Invented shares.\nSecond line.")
    figure = figures.bars(picture)
    alone, more = figure.data
    assert list(alone.x) == [61.5, 20.0, 0.0] and list(more.x) == [8.75, 0.0, 3.0]
    assert figure.layout.barmode == "stack" and more.marker.pattern.shape and not alone.marker.pattern.shape
    assert list(figure.layout.xaxis.range) == [0, 100]
    assert figure.layout.yaxis.range[0] > figure.layout.yaxis.range[1]  # the first is at the top
    written = figure.layout.yaxis.ticktext[0]
    assert (
        html.unescape(written.replace("<br>", " ")) == long
        and max(map(len, html.unescape(written).split("<br>"))) <= 30
    )
    ends = {note.text: (note.x, note.y) for note in figure.layout.annotations}
    assert ends["62 % (70)"] == (70.25, 0) and ends["20 %"] == (20.0, 1) and ends["0 % (3)"] == (3.0, 2)
    assert figure.layout.title.text == picture.sentence and "Invented shares.<br>Second line." in ends
    assert "measure it again" in alone.hovertext[0]
    assert figures.bars(picture) == figure
    flat = figures.bars(ranking.Bars("Hardly changes.", "share, %", (), "Invented."))
    assert not flat.layout.xaxis.visible and [note.text for note in flat.layout.annotations] == ["Invented."]
