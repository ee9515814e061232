"""The networks of a batch in every draw: pieces and bath joined as they lie, each network solved once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..transport.stack import Stack, stack_of
from .cut import Cut
from .stretch import Wires


class Networks:
    """The networks that these pieces form with one bath after another. `solved`: those met so far, with their modes.

    sign (n + 1,): what every term changes to when the pieces are turned over, the bath last; None where a piece is not its mirror image.
    """

    def __init__(self, cuts: Sequence[Cut]):
        self._count = len(cuts[0].held)
        signs = [np.ones(each.count) if each.faces == (1,) else each.terms.sign for each in cuts]
        self.sign = None if any(sign is None for sign in signs) else np.concatenate([*signs, [1.0]])
        self.solved: list[tuple[tuple, Stack]] = []

    def wires(self, cuts: tuple[Cut, ...], water: np.ndarray, faces) -> Wires:
        """Links of the pieces in one bath; `faces`: films (d,) at the first and second face, None: sealed."""
        starts = np.cumsum([0] + [each.count for each in cuts])
        size = int(starts[-1]) + 1
        laplacian = np.zeros((self._count, size, size))
        constant = np.zeros(size)
        constant[-1] = 1.0
        shares = []
        for begin, each in zip(starts, cuts, strict=False):
            mine = slice(begin, begin + each.count)
            laplacian[:, mine, mine] = each.inner
            constant[mine] = each.terms.average
            share = np.zeros((self._count, 2))
            for face in each.faces if faces is not None else ():
                film = faces[face] if len(each.faces) == 2 else np.maximum(*faces)  # as in assembly.wire
                outside, half = film * each.area[:, face], each.half[:, face]
                share[:, face] = outside / (half + outside)
                step = np.zeros(size)
                step[mine], step[-1] = each.terms.values[(0, -1)[face]], -1.0
                laplacian += (half * share[:, face])[:, None, None] * np.outer(step, step)
            shares.append(share)
        capacity = np.repeat(np.stack([*[each.held for each in cuts], water], axis=1), [*np.diff(starts), 1], axis=1)
        return Wires(tuple(shares), lambda loss: self._stack(capacity, laplacian, constant, loss))

    def _stack(self, capacity, laplacian, constant, loss) -> Stack:
        """The same network is solved once: a soak's second water is often like its first, and a piece that is turned is
        often its own mirror image.
        """
        sign = self.sign
        for (size, links, lost), stack in self.solved:
            if (
                size.shape == capacity.shape
                and _close(size, capacity)
                and (lost is None) == (loss is None)
                and (loss is None or _close(lost, loss))
            ):
                if _close(links, laplacian):
                    return stack
                if sign is not None and _close(links * np.outer(sign, sign), laplacian):
                    return stack.flipped(sign)
        stack = stack_of(capacity, laplacian, constant, loss)
        self.solved.append(((capacity, laplacian, loss), stack))
        return stack


def _close(one: np.ndarray, other: np.ndarray) -> bool:
    """Equal but for rounding, which a small entry takes over from the large ones it is the rest of."""
    if np.array_equal(one, other):
        return True
    finite = np.isfinite(one)
    return bool(
        np.array_equal(finite, np.isfinite(other))
        and np.abs(one[finite] - other[finite]).max() <= 1e-13 * np.abs(one[finite]).max()
    )
