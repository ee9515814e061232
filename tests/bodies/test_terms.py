"""Terms: orthonormal, complete when there are as many as cells, right in parity, and near the cells when there are few."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from curelab.bodies import layered
from curelab.bodies.cells import cut
from curelab.bodies.terms import terms_of

# layers [m], their tissues, shape, cells and few terms in each; storage and conductivity of each tissue; what few terms may cost
BODIES = {
    "slab": ((0.06,), (0,), "slab", (40,), (14,), (1.0,), (1e-3,), 5e-3),
    "cylinder": ((0.03,), (0,), "cylinder", (20,), (13,), (1.0,), (1e-3,), 5e-3),
    "sphere": ((0.03,), (0,), "sphere", (20,), (13,), (1.0,), (1e-3,), 5e-3),
    "cap on one face": ((0.01, 0.05), (1, 0), "slab", (8, 40), (6, 14), (1.0, 0.2), (1e-3, 1e-5), 5e-3),
    "cap on both": ((0.01, 0.05, 0.01), (1, 0, 1), "slab", (8, 40, 8), (6, 14, 6), (1.0, 0.2), (1e-3, 1e-5), 5e-3),
}


def body_of(name, few):
    widths, tissues, shape, cells = BODIES[name][:4]
    return layered(widths, tissues, shape, few=few, counts=cells)


def by_hand(name):
    """(storage (n,), links (n, n), conductance of the last face) of the cells, from their resistances."""
    widths, tissues, shape, counts, _, storage, conductivity, _ = BODIES[name]
    cells = cut(widths, counts, shape)
    owner = np.array(tissues)[cells.layer]
    led = np.array(conductivity)[owner]
    n = len(owner)
    links = np.zeros((n, n))
    i = np.arange(n - 1)
    links[i, i + 1] = links[i + 1, i] = -1 / (cells.outward[:-1] / led[:-1] + cells.inward[1:] / led[1:])
    return cells.volume * np.array(storage)[owner], links - np.diag(links.sum(axis=1)), led[-1] / cells.outward[-1]


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("complete", (False, True))
def test_terms_are_orthonormal_and_hold_the_constant(name, complete):
    body = body_of(name, few=not complete)
    widths, _, shape, counts, few = BODIES[name][:5]
    volume, values = cut(widths, counts, shape).volume, body._values
    assert values.shape[1] == body.count == sum(counts if complete else few)
    assert values.T @ (volume[:, None] * values) == pytest.approx(np.eye(body.count), abs=1e-12)
    assert values @ body.mean == pytest.approx(np.ones(len(volume)), rel=1e-10)
    assert (body.sign is not None) == (name in ("slab", "cap on both"))
    if body.sign is not None:
        assert values[::-1] == pytest.approx(values * body.sign, abs=1e-10 * np.abs(values).max())
    owner = np.repeat(BODIES[name][1], counts)
    assert not values[owner[:, None] != body.tissue].any()  # each lies in one tissue


@pytest.mark.parametrize("name", BODIES)
def test_links_are_those_of_the_cells(name):
    body = body_of(name, few=False)
    _, links, _ = by_hand(name)
    theirs = body._values.T @ links @ body._values
    assert body.inner(np.array([BODIES[name][6]]))[0] == pytest.approx(theirs, abs=1e-10 * np.abs(theirs).max())


@pytest.mark.parametrize("name", BODIES)
def test_few_terms_follow_the_cells(name):
    """A step at the last face, by the matrix exponential of the cells: from a two-thousandth of the time to equilibrium on."""
    *_, storage, conductivity, most = BODIES[name]
    body = body_of(name, few=True)
    held, links, half = by_hand(name)
    last = body.faces[-1].row
    few = body.inner(np.array([conductivity]))[0] + half * np.outer(last, last)
    links[-1, -1] += half
    slow = 1 / np.linalg.eigvalsh(links / np.sqrt(np.outer(held, held)))[0]
    for share in (5e-4, 5e-3, 0.05, 0.3):
        exact = expm(-share * slow * links / held[:, None]) @ np.ones(len(links))
        ours = body._values @ (expm(-share * slow * few / np.array(storage)[body.tissue][:, None]) @ body.mean)
        assert np.abs(ours - exact).max() <= (most if share >= 5e-3 else 12 * most), share


def test_more_terms_than_cells_are_refused():
    with pytest.raises(ValueError, match="do not go on layers"):
        terms_of(cut((1.0,), (8,)), (0,), [9])


@pytest.mark.parametrize("few", (False, True))
def test_a_mirrored_cut_of_unlike_tissues_is_no_mirror_image(few):
    """A cap as thick as the lean: the cells are mirrored, the tissues in them are not, and a piece that is turned is another network."""
    widths, counts = (0.03, 0.03), (20, 20)
    assert cut(widths, counts).mirrored
    alike, unlike = (layered(widths, tissues, few=few, counts=counts) for tissues in ((0, 0), (0, 1)))
    assert alike.sign is not None and unlike.sign is None
    led = np.array([[1.0, 0.02]])
    core = unlike.core(led, np.array([True, False]))[0]
    assert core @ unlike.mean == pytest.approx(1.0, rel=1e-9)
    assert (
        np.abs(core[unlike.tissue == 1]).max() == 0
    )  # the core lies in the lean, where the cap lies on the other face
