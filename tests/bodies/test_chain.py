"""Cells of a body: volumes and areas by school geometry, and conductances that carry a steady flux."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies.chain import SHAPES, Layer, build, graded
from curelab.transport.modes import modes_of
from curelab.transport.network import Contact, assemble


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
    chain = build([Layer(0.1, 2.0, 1.0, 4), Layer(0.2, 2.0, 1.0, 7)], shape)
    assert chain.capacity.sum() == pytest.approx(2.0 * volume, rel=1e-12)
    np.testing.assert_allclose(chain.area, area, rtol=1e-12)
    assert chain.layer.tolist() == [0] * 4 + [1] * 7
    assert chain.edges[4] == pytest.approx(0.1, rel=1e-12) and chain.edges[-1] == pytest.approx(0.3, rel=1e-12)
    assert np.all(np.diff(chain.edges) > 0) and np.all(chain.inner > 0)


@pytest.mark.parametrize("shape", SHAPES)
def test_fine_at_the_faces(shape):
    widths = np.diff(graded(40, shape))
    assert widths.sum() == pytest.approx(1.0, rel=1e-12)
    assert widths[-1] < 0.5 * widths[0 if shape != "slab" else 20]
    if shape == "slab":
        np.testing.assert_allclose(widths, widths[::-1], rtol=1e-10)


def test_unknown_shape():
    with pytest.raises(ValueError, match="'cone' is not one of slab, half slab, cylinder, sphere"):
        build([Layer(1.0, 1.0, 1.0, 4)], "cone")


def test_layers_in_series():
    """Between two held baths a slab of two layers and a film carries what resistances in series say (0.1/2 + 0.3/0.5 + 1/4)."""
    chain = build([Layer(0.1, 1.0, 2.0, 5), Layer(0.3, 1.0, 0.5, 9)], "slab")
    network = assemble([chain], [np.inf, np.inf], [Contact(0, 0, 0, np.inf), Contact(0, 1, 1, 4.0)])
    start = np.zeros((1, 16))
    start[0, 14] = 1.0
    w = modes_of(network).at(start, np.array([[1e4]]))[0, 0]
    first = network.conductance[-2] * (w[14] - w[0])
    assert first == pytest.approx(1 / (0.1 / 2 + 0.3 / 0.5 + 1 / 4), rel=1e-10)
    last = network.conductance[-1] * (w[13] - w[15])
    assert last == pytest.approx(first, rel=1e-10)


def test_scaled_is_more_of_the_same():
    """Twice the body and twice the bath: the same values."""
    chain = build([Layer(0.1, 1.0, 2.0, 6)], "cylinder")
    twice = chain.scaled(2 * chain.capacity.sum())
    start = np.array([[0.0] * 6 + [1.0]])
    one, two = (
        modes_of(assemble([c], [bath], [Contact(0, 1, 0, 5.0)])).at(start, np.array([[0.002]]))
        for c, bath in ((chain, 0.1), (twice, 0.2))
    )
    np.testing.assert_allclose(one, two, rtol=1e-12)
    assert two.max() < 0.99
