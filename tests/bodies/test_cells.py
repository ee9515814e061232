"""Cells of a body: volumes and areas by school geometry, and conductances that carry a steady flux."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies import layered
from curelab.bodies.cells import SHAPES, cut, graded
from curelab.engine.cases import Cases
from curelab.engine.meat import Meat, meat_of
from curelab.recipe.piece import Piece
from curelab.sources import default_numbers
from curelab.transport.modes import modes_of
from curelab.transport.network import assemble


@pytest.mark.parametrize(
    ("shape", "volume", "area"),
    [
        ("slab", 0.3, (1.0, 1.0)),
        ("half slab", 0.3, (0.0, 1.0)),
        ("cylinder", np.pi * 0.09, (0.0, 2 * np.pi * 0.3)),
        ("sphere", 4 / 3 * np.pi * 0.027, (0.0, 4 * np.pi * 0.09)),
    ],
)
def test_volume_and_area(shape, volume, area):
    cells, body = cut((0.1, 0.2), (4, 7), shape), layered((0.1, 0.2), (0, 1), shape, counts=(4, 7))
    assert cells.volume.sum() == pytest.approx(volume, rel=1e-12)
    assert body.volumes.sum() == pytest.approx(volume, rel=1e-12)
    np.testing.assert_allclose(cells.area, area, rtol=1e-12)
    np.testing.assert_allclose([face.area for face in body.faces], [each for each in area if each], rtol=1e-12)
    assert cells.layer.tolist() == [0] * 4 + [1] * 7
    assert cells.edges[4] == pytest.approx(0.1, rel=1e-12) and cells.edges[-1] == pytest.approx(0.3, rel=1e-12)
    assert np.all(np.diff(cells.edges) > 0) and np.all(cells.outward > 0) and np.all(cells.inward > 0)


@pytest.mark.parametrize("shape", SHAPES)
def test_fine_at_the_faces(shape):
    widths = np.diff(graded(40, shape))
    assert widths.sum() == pytest.approx(1.0, rel=1e-12)
    assert widths[-1] < 0.5 * widths[0 if shape != "slab" else 20]
    if shape == "slab":
        np.testing.assert_allclose(widths, widths[::-1], rtol=1e-10)


def test_unknown_shape():
    with pytest.raises(ValueError, match="'cone' is not one of slab, half slab, cylinder, sphere"):
        layered((1.0,), (0,), "cone", counts=(4,))


def test_layers_in_series(one_body):
    """A unit flux through a slab of two layers and a film needs what resistances in series say (0.1/2 + 0.3/0.5 + 1/4)."""
    body = layered((0.1, 0.3), (0, 1), counts=(5, 9))
    network = one_body(body, [1.0, 1.0], [2.0, 0.5], np.inf, [0.0, 4.0])
    first, second = body.faces
    led = np.array([[2.0, 0.5]])
    inside = network.laplacian[0, :-1, :-1]
    levels = np.linalg.solve(inside, first.row)  # over the bath, while a unit flux enters the outermost cell
    at_face = first.row @ levels + first.resistance / led[0, first.tissue]
    assert at_face == pytest.approx(0.1 / 2 + 0.3 / 0.5 + 1 / 4, rel=1e-10)
    leaving = second.conductance(np.array([4.0]), led, np.ones(1))[0] * (second.row @ levels)
    assert leaving == pytest.approx(1.0, rel=1e-10)


def test_scaled_is_more_of_the_same():
    """Twice the body and twice the bath: the same values."""
    piece = Piece(shape="cylinder", thickness="6 cm", weight="1 kg")
    one, two = (meat_of(each, 6, False, Cases(default_numbers())) for each in (piece, piece.but(weight="2 kg")))

    def levels(meat: Meat, bath: float) -> np.ndarray:
        films = (np.full(1, 5e4),) * 3
        network = assemble([meat.part], np.array([bath]), [meat.contact(0, films)])
        return modes_of(network).at(np.eye(meat.body.count + 1)[None, None, -1], np.full((1, 1, 1), 2e-4))

    np.testing.assert_allclose(levels(one, 0.1), levels(two, 0.2), rtol=1e-12)
    assert 0.01 < levels(two, 0.2)[..., -1] < 0.99
