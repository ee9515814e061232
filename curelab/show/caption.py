"""The words under a picture that is taken away: of which batch it is, what was assumed, and the version."""

from __future__ import annotations

from collections.abc import Sequence

from .. import __version__
from ..batch import Batch

NOT_A_PERMIT = "A guide, not a permit: local code and licensed practice go first."


def caption(batch: Batch, assumed: Sequence[str]) -> str:
    """One paragraph. `assumed`: sentences, as a history tells them.

    >>> from curelab.batch import load
    >>> from curelab.sources import datasets_folder
    >>> caption(load(datasets_folder() / "demo_loin.toml"), ("Made up.",)).partition(" Made up.")[0]
    'Pork loin in a strong brine, an invented example. Assumed:'
    """
    invented = ", an invented example" if batch.invented else ""
    said = f" Assumed: {' '.join(assumed)}" if assumed else ""
    return f"{batch.name}{invented}.{said} {NOT_A_PERMIT} curelab {__version__}."
