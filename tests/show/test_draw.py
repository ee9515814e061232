"""`plot` of a result: the figure shows what the readings say, on the scale that its axis names."""

import subprocess
import sys

import numpy as np
import plotly.graph_objects as go
import pytest

from curelab import Bath, Brine, Piece, simulate
from curelab.spread import spread

DAY = 86400.0
PIECE = Piece(name="point", thickness="4 cm", weight="1 kg")
CURE = Brine(bath=Bath(water="1 kg", salt="45 g", nitrite="0.2 g"), temperature="3 degC", lasts="7 d", lying=False)
HISTORY = simulate(PIECE, CURE, cells=12)


def line(figure: go.Figure, name: str):
    return next(each for each in figure.data if each.name == name)


def test_a_history_over_the_days():
    figure = HISTORY.plot("salt")
    assert isinstance(figure, go.Figure) and [each.name for each in figure.data] == ["surface", "average", "core"]
    assert line(figure, "core").y == pytest.approx(100 * HISTORY.core("salt", HISTORY.times))
    assert line(figure, "core").x == pytest.approx(HISTORY.times / DAY)
    assert "% of the meat" in figure.layout.yaxis.title.text
    assert HISTORY.plot().to_json() == figure.to_json()
    nitrite = HISTORY.plot("nitrite", piece="point")
    assert line(nitrite, "core").y == pytest.approx(1e6 * HISTORY.core("nitrite", HISTORY.times))


def test_across_the_piece_at_a_time_and_as_a_map():
    figure = HISTORY.plot("salt", time="5 d")
    profile = HISTORY.profile("salt", "5 d")
    assert figure.data[0].y == pytest.approx(100 * profile.values, rel=1e-5) and figure.data[0].x[-1] == pytest.approx(
        40
    )
    assert isinstance(HISTORY.plot("salt", depth=True, level=0.01).data[0], go.Heatmap)


def test_a_spread_with_its_bands():
    many = spread(PIECE, CURE, count=8)
    figure = many.plot("salt")
    assert len([each for each in figure.data if each.fill == "tonexty"]) == 3
    low, middle, high = many.at("core", "salt", many.usual.times).parts
    assert line(figure, "core").y == pytest.approx(100 * middle)
    assert any(np.allclose(each.y, 100 * high) for each in figure.data) and any(
        np.allclose(each.y, 100 * low) for each in figure.data
    )
    assert len(many.plot("salt", time="5 d").data) == 3


def test_a_profile_a_line_for_each_time():
    profile = HISTORY.profile("salt", ["1 d", "5 d"])
    figure = profile.plot()
    assert [each.name for each in figure.data] == ["24 h", "day 5"]
    assert figure.data[1].y == pytest.approx(100 * profile.values[1])
    assert len(HISTORY.profile("salt").plot(system="us").data) == 1


def test_many_draws_show_the_first():
    many = simulate(PIECE, CURE, draws={"obstruction.lean": np.array([0.2, 0.5])})
    assert line(many.plot("salt"), "core").y[-1] == pytest.approx(100 * float(many.core("salt")[0, 0]))


def test_no_picture_comes_in_before_one_is_asked_for():
    code = (
        "import sys, curelab; h = curelab.simulate(curelab.Piece(thickness='4 cm', weight='1 kg'), curelab.Rest(temperature='3 degC', lasts='1 d'));"
        "str(h), h._repr_html_(); assert 'plotly' not in sys.modules and 'pandas' not in sys.modules; h.plot(); assert 'plotly' in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
