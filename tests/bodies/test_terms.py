"""Terms: orthonormal, complete when there are as many as cells, right in parity, and near the cells when there are few."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from curelab.bodies.chain import Layer, build
from curelab.bodies.terms import terms_of

CHAINS = {
    "slab": (build([Layer(0.06, 1.0, 1e-3, 40)]), [14], 5e-3),
    "cylinder": (build([Layer(0.03, 1.0, 1e-3, 20)], "cylinder"), [13], 5e-3),
    "sphere": (build([Layer(0.03, 1.0, 1e-3, 20)], "sphere"), [13], 5e-3),
    "cap on one face": (build([Layer(0.01, 0.2, 1e-5, 8), Layer(0.05, 1.0, 1e-3, 40)]), [6, 14], 5e-3),
    "cap on both": (
        build([Layer(0.01, 0.2, 1e-5, 8), Layer(0.05, 1.0, 1e-3, 40), Layer(0.01, 0.2, 1e-5, 8)]), [6, 14, 6], 5e-3,
    ),
}  # fmt: skip


def laplacian(chain):
    n = len(chain.capacity)
    links = np.zeros((n, n))
    i = np.arange(n - 1)
    links[i, i + 1] = links[i + 1, i] = -chain.inner
    return links - np.diag(links.sum(axis=1))


def joint(chain):
    return chain.inner[np.flatnonzero(np.diff(chain.layer))]


@pytest.mark.parametrize("name", CHAINS)
@pytest.mark.parametrize("complete", (False, True))
def test_terms_are_orthonormal_and_hold_the_constant(name, complete):
    chain, counts, _ = CHAINS[name]
    terms = terms_of(chain, None if complete else counts)
    share = chain.capacity / chain.capacity.sum()
    size = terms.values.shape[1]
    assert size == (len(share) if complete else sum(counts))
    assert terms.values.T @ (share[:, None] * terms.values) == pytest.approx(np.eye(size), abs=1e-12)
    assert terms.values @ terms.average == pytest.approx(np.ones(len(share)), rel=1e-10)
    assert (terms.sign is not None) == (name in ("slab", "cap on both"))
    if terms.sign is not None:
        assert terms.values[::-1] == pytest.approx(terms.values * terms.sign, abs=1e-10 * np.abs(terms.values).max())


@pytest.mark.parametrize("name", CHAINS)
def test_links_are_those_of_the_chain(name):
    chain, _, _ = CHAINS[name]
    terms = terms_of(chain, None)
    whole = terms.stiffness.sum(axis=0) + np.einsum("j,jr,js->rs", joint(chain), terms.joints, terms.joints)
    theirs = terms.values.T @ laplacian(chain) @ terms.values
    assert whole == pytest.approx(theirs, abs=1e-10 * np.abs(theirs).max())


@pytest.mark.parametrize("name", CHAINS)
def test_few_terms_follow_the_cells(name):
    """A step at the last face, by the matrix exponential of the cells: from a two-thousandth of the time to equilibrium on."""
    chain, counts, most = CHAINS[name]
    terms = terms_of(chain, counts)
    few = terms.stiffness.sum(axis=0) + np.einsum("j,jr,js->rs", joint(chain), terms.joints, terms.joints)
    last = terms.values[-1]
    few = few + chain.half[1] * np.outer(last, last)
    links = laplacian(chain)
    links[-1, -1] += chain.half[1]
    total = chain.capacity.sum()
    slow = 1 / np.linalg.eigvalsh(links / np.sqrt(np.outer(chain.capacity, chain.capacity)))[0]
    for share in (5e-4, 5e-3, 0.05, 0.3):
        exact = expm(-share * slow * links / chain.capacity[:, None]) @ np.ones(len(links))
        ours = terms.values @ (expm(-share * slow * few / total) @ terms.average)
        assert np.abs(ours - exact).max() <= (most if share >= 5e-3 else 12 * most), share


def test_more_terms_than_cells_are_refused():
    with pytest.raises(ValueError, match="do not go on layers"):
        terms_of(build([Layer(1.0, 1.0, 1.0, 8)]), [9])
