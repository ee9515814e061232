"""Parts of equal volume: they read 1 where all is 1, and together they are the mean of what counts."""

from __future__ import annotations

import numpy as np
import pytest

from curelab import Piece
from curelab.engine.cases import Cases
from curelab.engine.meat import meat_of
from curelab.sources import default_numbers

PIECES = {
    "slab": Piece(thickness="6 cm", weight="1 kg"),
    "cylinder": Piece(thickness="6 cm", weight="1 kg", shape="cylinder"),
    "capped": Piece(thickness="6 cm", weight="1 kg", fat_cap="1 cm"),
    "block": Piece(shape="block", thickness="6 cm", width="10 cm", length="16 cm", weight="1 kg"),
}


@pytest.mark.parametrize("few", [False, True])
@pytest.mark.parametrize("name", PIECES)
def test_shells(name, few):
    meat = meat_of(PIECES[name], 30, few, Cases(default_numbers()))
    rows, shares = meat.body.shells(meat.lean, 12)
    np.testing.assert_allclose(rows @ meat.body.mean, 1.0, rtol=1e-9)
    lean = meat.body.volumes[meat.lean].sum() / meat.body.volumes.sum()
    assert shares.sum() == pytest.approx(lean, rel=1e-9) and 8 <= len(rows) <= 12
    assert shares.max() < 2.2 * lean / 12
    if len(meat.parts) == 1:
        whole = meat.body.mean / (meat.body.mean @ meat.body.mean)
        np.testing.assert_allclose(shares @ rows, whole, atol=1e-9 * np.abs(whole).max())
