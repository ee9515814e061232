"""Pieces in one bath after another, in every case: the networks they form, each solved once."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..recipe.stages import Stretch
from ..transport.modes import Modes, modes_of
from ..transport.network import Network, assemble
from .cases import Cases
from .meat import Meat
from .run import Lying


class Vessel:
    """The networks that these pieces form with one bath after another; those met before are not solved again: a soak's second water is
    often like its first, a piece that is turned is often its own mirror image, and a loss takes from both alike.
    """

    def __init__(self, meats: Sequence[Meat]):
        signs = [meat.body.sign if meat.body.two_sided else np.ones(meat.body.count) for meat in meats]
        self._sign = None if any(sign is None for sign in signs) else np.concatenate([*signs, [1.0]])  # type: ignore[list-item]
        self._solved: list[tuple[Network, list[tuple[np.ndarray | None, Modes]]]] = []
        starts = np.cumsum([0] + [meat.body.count for meat in meats])
        self.slices = tuple(slice(int(a), int(b)) for a, b in pairwise(starts))

    def lying(
        self, meats: Sequence[Meat], bath: np.ndarray, stretch: Stretch, cases: Cases, turned: bool = False
    ) -> Lying:
        """The pieces in a bath of capacity (d,), inf where it is held, as they lie in a stretch, or after they were turned over."""
        parts = [meat.part for meat in meats]
        if stretch.sealed:
            return Lying(None, self._modes(assemble(parts, bath, ())))
        moved = cases.film("stirred" if stretch.stirred else "still")
        below = cases.film("contact") if stretch.lying else moved
        films = (below, moved) if turned else (moved, below)
        made = [meat.contact(number, films) for number, meat in enumerate(meats)]
        network = assemble(parts, bath, [contact for contact, _ in made])
        return Lying(tuple(shares for _, shares in made), self._modes(network))

    def _modes(self, network: Network):
        """Makes the modes of a network for a loss (d, n), None: without one."""
        known, sign = self._known(network)

        def solve(loss: np.ndarray | None) -> Modes:
            modes = next((one for lost, one in known if _close(lost, loss)), None)
            if modes is None:
                assert loss is not None  # the first one known has none
                modes = known[0][1].losing(loss)
                known.append((loss, modes))
            if sign is None:
                return modes
            key = id(modes)
            if key not in flipped:  # one object for each, so that legs on the same modes are known by it
                flipped[key] = modes.flipped(sign)
            return flipped[key]

        flipped: dict[int, Modes] = {}
        return solve

    def _known(self, network: Network) -> tuple[list[tuple[np.ndarray | None, Modes]], np.ndarray | None]:
        """The modes so far of a network, first those without a loss, and which of its nodes count the other way round."""
        for met, modes in self._solved:
            if _close(met.capacity, network.capacity):
                if _close(met.laplacian, network.laplacian):
                    return modes, None
                if self._sign is not None and _close(
                    met.laplacian, network.laplacian, np.outer(self._sign, self._sign)
                ):
                    return modes, self._sign
        self._solved.append((network, [(None, modes_of(network))]))
        return self._solved[-1][1], None

    def release(self) -> None:
        """Let go of the modes: a batch of them is large."""
        self._solved.clear()


def dried(meats: Sequence[Meat], purge: np.ndarray) -> tuple[Meat, ...]:
    """The pieces after they gave up `purge` (d,) kg of water together, each in proportion to what it holds."""
    left = 1 - purge / sum(meat.held / meat.partition for meat in meats)
    return tuple(meat.dried(left) for meat in meats)


def _close(one: np.ndarray | None, other: np.ndarray | None, sign: np.ndarray | float = 1.0) -> bool:
    """Equal but for a sign and rounding, which a small entry takes over from the large ones it is the rest of."""
    if one is None or other is None:
        return one is other
    for draws in (slice(1), slice(None)):  # what differs, mostly does so in the first draw
        here, there = one[draws] * sign, other[draws]
        if np.array_equal(here, there):
            continue
        finite = np.isfinite(here)
        if not np.array_equal(finite, np.isfinite(there)):
            return False
        if not finite.all():
            here, there = here[finite], there[finite]
        if np.abs(here - there).max() > 1e-13 * np.abs(here).max():
            return False
    return True
