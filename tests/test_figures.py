"""Plotly figures hold what the pictures say, to the last digit."""

import numpy as np
import pytest

from curelab import figures, pictures
from curelab.batch import load
from curelab.outcome import run
from curelab.sources import datasets_folder

OUTCOME = run(load(str(datasets_folder() / "demo_brisket.toml")))
TRIO = pictures.Trio(OUTCOME.history, OUTCOME.slow, OUTCOME.fast)


@pytest.mark.parametrize(
    "picture",
    [
        pictures.profile(TRIO, 864000.0, ("salt",), "point"),
        pictures.profile(TRIO, 864000.0, ("nitrite", "free nitrite"), "point", "us"),
        pictures.over_time(TRIO, "salt", "flat", target=0.022, target_label="wanted", now=864000.0, window=(1e5, 2e5)),
        pictures.middles(TRIO, ["point", "flat"], 864000.0),
        pictures.bath(TRIO),
        pictures.before_and_after(TRIO, *OUTCOME.history.span(2), "flat"),
        pictures.soak_hours(TRIO, OUTCOME.history.span(2)[0], "flat", 0.02),
    ],
    ids=lambda picture: picture.y_label,
)
def test_lines(picture):
    figure = figures.lines(picture)
    drawn = {trace.name: trace for trace in figure.data if trace.name}
    for series in picture.series:
        assert np.array_equal(drawn[series.label].y, series.y) and drawn[series.label].line.color == series.colour
        if series.low is not None:
            assert np.all(series.low <= series.y + 1e-12) and np.all(series.y <= series.high + 1e-12)
    assert figure.layout.title.text == picture.sentence and picture.sentence.endswith(".")
    assert figure.layout.xaxis.title.text == picture.x_label and figure.layout.yaxis.title.text == picture.y_label


def test_map_and_its_line():
    picture = pictures.depth_map(
        OUTCOME.history, "salt", "flat", level=0.9 * OUTCOME.history.resting("salt", 0, "flat")
    )
    figure = figures.depth_map(picture)
    assert np.array_equal(figure.data[0].z, picture.z) and picture.z.shape == (len(picture.y), len(picture.x))
    depth = picture.line[1][np.isfinite(picture.line[1])]
    assert depth.min() >= 0 and depth.max() <= picture.y[-1] / 2 + 1e-9


def test_what_a_picture_shows_is_what_the_history_says():
    picture = pictures.profile(TRIO, 864000.0, ("salt",), "point")
    middle = np.interp(picture.series[0].x[-1] / 2, picture.series[0].x, picture.series[0].y)
    assert middle == pytest.approx(100 * OUTCOME.history.core("salt", 864000.0, "point"), rel=2e-2)
    assert pictures.shared_range(picture)[1] >= picture.series[0].high.max()
