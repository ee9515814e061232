"""The networks of a batch in every draw: pieces and bath joined as they lie, each network solved once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..transport.stack import Stack, stack_of
from .cut import Cut
from .stretch import Wires


class Networks:
    """The networks that these pieces form with one bath after another. `solved`: those met so far, as (capacity,
    links, stacks by their loss), the first of the stacks without one.

    sign (n + 1,): what every term changes to when the pieces are turned over, the bath last; None where a piece is not its mirror image.
    """

    def __init__(self, cuts: Sequence[Cut]):
        self._count = len(cuts[0].held)
        signs = [np.ones(each.count) if each.faces == (1,) else each.terms.sign for each in cuts]
        self.sign = None if any(sign is None for sign in signs) else np.concatenate([*signs, [1.0]])
        self.solved: list[tuple[np.ndarray, np.ndarray, list[tuple[np.ndarray | None, Stack]]]] = []

    def wires(self, cuts: tuple[Cut, ...], water: np.ndarray, faces) -> Wires:
        """Links of the pieces in one bath; `faces`: films (d,) at the first and second face, None: sealed."""
        starts = np.cumsum([0] + [each.count for each in cuts])
        size = int(starts[-1]) + 1
        laplacian = np.zeros((self._count, size, size))
        shares = []
        for begin, each in zip(starts, cuts, strict=False):
            mine = slice(begin, begin + each.count)
            laplacian[:, mine, mine] = each.inner
            share = np.zeros((self._count, 2))
            for face in each.faces if faces is not None else ():
                film = faces[face] if len(each.faces) == 2 else np.maximum(*faces)  # as in assembly.wire
                outside, half = film * each.area[:, face], each.half[:, face]
                share[:, face] = outside / (half + outside)
                conductance, ends = (half * share[:, face])[:, None], each.terms.values[(0, -1)[face]]
                laplacian[:, mine, mine] += conductance[:, :, None] * np.outer(ends, ends)
                laplacian[:, mine, -1] -= conductance * ends
                laplacian[:, -1, -1:] += conductance
            laplacian[:, -1, mine] = laplacian[:, mine, -1]
            shares.append(share)
        constant = np.concatenate([*[each.terms.average for each in cuts], [1.0]])
        capacity = np.repeat(np.stack([*[each.held for each in cuts], water], axis=1), [*np.diff(starts), 1], axis=1)
        known, sign = self._known(capacity, laplacian, constant)

        def solve(loss: np.ndarray | None) -> Stack:
            stack = next((one for lost, one in known if _close(lost, loss)), None)
            if stack is None:
                stack = known[0][1].losing(loss)
                known.append((loss, stack))
            return stack if sign is None else stack.flipped(sign)

        return Wires(tuple(shares), solve)

    def _known(self, capacity, laplacian, constant) -> tuple[list, np.ndarray | None]:
        """The stacks so far of a network, first that without a loss, and which of its nodes count the other way round.

        The same network is solved once: a soak's second water is often like its first, a piece that is turned is often its own mirror
        image, and a loss takes from both alike.
        """
        for size, links, stacks in self.solved:
            if _close(size, capacity):
                if _close(links, laplacian):
                    return stacks, None
                if self.sign is not None and _close(links, laplacian, np.outer(self.sign, self.sign)):
                    return stacks, self.sign
        self.solved.append((capacity, laplacian, [(None, stack_of(capacity, laplacian, constant))]))
        return self.solved[-1][2], None


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
