"""How many elements a body gets, what they lose against twice as many, and what is refused because it would get too many."""

from __future__ import annotations

import math

import numpy as np
import pytest

from curelab import Bath, Brine, InputError, Piece, simulate
from curelab.bodies import Outline, outline
from curelab.bodies.outline import block, grid
from curelab.bodies.reduced import ASKED, bytes_of
from curelab.bodies.solid import MOST_BYTES, problem

RATES, FILM = (
    (0.3, 2.0, 10.0, 60.0),
    300.0,
)  # of a bath that comes and goes, by the clock of the thickness; a still brine on 8 cm of lean


def cut(
    length: float, thickness=(1.0, 1.0), width: float = 6.0, cap: float = 0.0, closed: tuple[str, ...] = ()
) -> Outline:
    borders = tuple((0.0, cap, thick) if cap else (0.0, thick) for thick in thickness)
    return Outline((0.0, length), thickness, (width, width), borders, ((1, 0) if cap else (0,),) * 2, True, closed)


def answers(made, ratio, led) -> tuple[np.ndarray, np.ndarray]:
    """(average (r,), least (r,)) of all nodes, of a bath of 1 at each rate."""
    posed = problem(made, ratio, (led,))
    loads = posed.film((FILM,) * 3)
    found = [posed.solver(rate, loads)(loads[:, None])[:, 0] for rate in RATES]
    return np.array([posed.mass @ each for each in found]) / posed.mass.sum(), np.min(found, axis=1)


@pytest.mark.parametrize(("wide", "long"), [(10, 20), (30, 60), (500, 1000)])
def test_elements_are_bounded_however_long_and_thin_a_body_is(wide, long):
    assert grid(block(wide, long)).elements.count < 6000
    assert grid(block(wide, long, ("left",))).elements.count < 9000


@pytest.mark.parametrize(
    "shape",
    [block(10, 20), cut(20, cap=1 / 6), cut(20, (0.3, 1.0)), cut(12, closed=("left", "head"))],
    ids=["thin block", "belly", "long wedge", "closed"],
)
def test_twice_as_many_elements_tell_the_same(shape, monkeypatch):
    """Along and across, for those from face to face are the same in bodies of every length; averages to twice what is asked of the terms, for a
    round edge costs as much in a body of the usual form.
    """
    ratio, led = ((1.0, 0.14), (1.0, 0.04)) if shape.tissues[0] == (1, 0) else ((1.0,), (1.0,))
    average, least = answers(grid(shape), ratio, led)
    monkeypatch.setattr(outline, "ACROSS", outline.ACROSS / 2)
    finer, deeper = answers(grid(shape, 2.0), ratio, led)
    assert np.abs(average - finer).max() < 2 * ASKED[1] and np.abs(least - deeper).max() < ASKED[0]


@pytest.mark.parametrize("caps", [(0.0, 0.0), (0.0, 1e-12), (0.0035, 0.0035)])
def test_a_layer_that_is_thin_everywhere_is_a_layer_still(caps):
    """Its fat leads a fiftieth: of 0.35 % of the thickness it slows the salt, of next to nothing not at all."""
    made = grid(Outline((0.0, 3.0), (1.0, 1.0), (3.0, 3.0), tuple((0.0, cap, 1.0) for cap in caps), ((1, 0),) * 2))
    assert np.isclose(made.elements.volumes[1].sum(), 9 * np.mean(caps), atol=1e-5)
    average, bare = answers(made, (1.0, 0.14), (1.0, 0.02))[0], answers(grid(block(3.0, 3.0)), (1.0,), (1.0,))[0]
    assert np.allclose(average, bare, rtol=4e-3) if max(caps) < 1e-6 else np.all(average[1:] < 0.98 * bare[1:])


@pytest.mark.parametrize("width", [1.5, 3.0, 10.0])
def test_half_round_edges_take_the_volume_that_they_have(width):
    """By the formula: two half circles at the ends of a section; a parabola that crossed the border of an edge was off by a thousandth."""
    made = grid(cut(4, width=width))
    assert made.elements.volumes.sum() == pytest.approx(4 * (width - (1 - math.pi / 4)), rel=1e-9)


def test_what_would_take_too_much_is_refused_in_one_sentence():
    rows = [
        {
            "at": f"{n} cm",
            "thickness": f"{5 + n % 3} cm",
            "width": "16 cm",
            "seam": "2.5 cm",
            "seam_thickness": "3 mm",
            "tissue": f"brisket {['flat', 'point'][n % 2]}",
        }
        for n in range(40)
    ]
    piece = Piece(
        shape="cut", stations=rows, weight="3.7 kg", fat_cap="5 mm", capped="both faces", faces={"left": "skin"}
    )
    bath = Bath(water="4 kg", salt="180 g")
    with pytest.raises(
        InputError, match=r"stations: \d+ x \d+ x \d+ places are \d+, and .* GB, at most 0.9; keep fewer"
    ) as said:
        simulate(piece, Brine(bath=bath, temperature="3 degC", lasts="9 d"))
    assert len(said.value.problems) == 1
    belly = grid(cut(20, width=10.0, cap=1 / 6, closed=("left",))).elements.shape
    assert bytes_of(belly, 3, False) < MOST_BYTES
