"""A body with numbers of our own in a bath, straight on the network: what exact problems and peers are posed with."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

# Before numpy is imported, here and in what tests start: threads that spin on small matrices take the other worker's core.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "few"))  # kernels that tests start read it too
from few_draws import few

from curelab.bodies import Body, Solid
from curelab.transport.network import Contact, Network, Part, assemble

# What is compiled once is kept, or each of the hundred processes that tests start would compile the library anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# An optional check inside jsonschema that nobody asks for here takes a second to load; the launcher leaves it out too.
sys.modules.setdefault("rfc3987_syntax", None)


def network_of(
    body: Body | Solid,
    storage: Sequence[float],
    conductivity: Sequence[float],
    bath: float = 1.0,
    films: Sequence[float] = (),
) -> Network:
    """One body in a bath of so much capacity, inf: held. storage, conductivity: of each tissue; films: conductance per area outside of each
    face, 0 for a closed one, inf for a bare one; none: the body touches no bath.
    """
    one, held, led = np.ones(1), np.array([storage], dtype=float), np.array([conductivity], dtype=float)
    part = Part(body.capacity(held), body.inner(led), body.mean, body.sign)
    contacts = []
    if films:
        met = [
            [
                face.conductance(one * film, led, one)[0] * each[None]
                for each in (face.matrix, face.column, np.array(face.total))
            ]
            for face, film in zip(body.faces, films, strict=True)
        ]
        contacts = [Contact(0, *(sum(each) for each in zip(*met, strict=True)))]
    return assemble([part], np.array([bath]), contacts)


@pytest.fixture(scope="session", autouse=True)
def bodies_of_this_run(tmp_path_factory):
    """Terms of bodies are kept in a folder of this run alone, so that no test rests on what another run left; its workers share them."""
    place = tmp_path_factory.getbasetemp()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CURELAB_CACHE", str((place.parent if "PYTEST_XDIST_WORKER" in os.environ else place) / "bodies"))
        yield


@pytest.fixture(scope="session")
def one_body():
    return network_of


@pytest.fixture
def all_draws():
    """Asked for by tests of how sure a page is: as many draws as a cook gets."""


@pytest.fixture
def few_draws(request, monkeypatch):
    """Few draws behind every page of this process, where the test does not ask for all."""
    if "all_draws" not in request.fixturenames:
        few(monkeypatch.setattr)


@pytest.fixture(scope="module")
def few_reports():
    """Few draws behind every report, also in what the tests of a module share."""
    with pytest.MonkeyPatch.context() as patch:
        few(patch.setattr)
        yield
