"""Places that share out a tissue: together they are the whole of it, in layers and in three dimensions."""

import numpy as np
import pytest

from curelab import Piece
from curelab.engine.cases import Cases
from curelab.engine.meat import meat_of
from curelab.sources import default_numbers

SLAB = {"thickness": "6 cm", "weight": "1.5 kg"}
BLOCK = {"shape": "block", "width": "10 cm", "length": "15 cm"} | SLAB
PIECES = (SLAB, SLAB | {"shape": "sphere"}, SLAB | {"fat_cap": "8 mm"}, BLOCK, BLOCK | {"fat_cap": "8 mm"})


@pytest.mark.parametrize("few", [False, True])
@pytest.mark.parametrize("given", PIECES, ids=("slab", "sphere", "capped", "block", "capped block"))
def test_places_are_the_whole_of_a_tissue(given, few):
    """Their volumes add up to it, their means to its integral, and each reads 1 where all is 1."""
    meat = meat_of(Piece(**given), 24, few, Cases(default_numbers()))
    rows, volumes, tissues = meat.body.places(meat.lean)
    assert meat.lean[tissues].all() and len(volumes) > 10
    assert volumes.sum() == pytest.approx(meat.body.volumes[meat.lean].sum(), rel=1e-9)
    np.testing.assert_allclose(rows @ meat.body.mean, 1.0, rtol=1e-7)
    whole = sum(meat.body.integral(tissue) for tissue in np.flatnonzero(meat.lean))
    np.testing.assert_allclose(volumes @ rows, whole, atol=1e-9 * np.abs(whole).max())
