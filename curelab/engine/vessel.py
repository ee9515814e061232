"""Pieces in one bath after another, in every case: the networks they form, each solved once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise

import numpy as np

from ..recipe.stages import Stretch
from ..transport.network import Contact
from ..transport.star import Solved, Spokes
from .alike import alike
from .cases import Cases
from .meat import Films, Meat
from .run import Lying

Shares = tuple[np.ndarray, ...] | None
Names = tuple[str, str, str]  # of the films at the first, the second and all other faces


class Vessel:
    """The networks that these pieces form with one bath after another; those met before are not solved again: a soak's second water is
    often like its first, a piece that is turned is often its own mirror image, and a loss takes from both alike.
    """

    def __init__(self, meats: Sequence[Meat]):
        signs = [meat.body.sign if meat.body.two_sided else np.ones(meat.body.count) for meat in meats]
        self._sign = None if any(sign is None for sign in signs) else np.concatenate([*signs, [1.0]])  # type: ignore[list-item]
        self._ways: dict[tuple, tuple[Sequence[Meat], Shares, Spokes]] = {}
        self._solved: dict[tuple, list[tuple[np.ndarray | None, Solved]]] = {}
        starts = np.cumsum([0] + [meat.body.count for meat in meats])
        self.slices = tuple(slice(int(a), int(b)) for a, b in pairwise(starts))
        self.alike = alike(meats, self.slices)

    def lying(
        self, meats: Sequence[Meat], bath: np.ndarray, stretch: Stretch, cases: Cases, turned: bool | None = False,
        named: tuple[str, ...] = (),
    ) -> Lying:  # fmt: skip
        """The pieces in a bath of capacity (d,), inf where it is held, as they lie in a stretch, after they were turned over, or (None) on
        average of both ways. named: those that lie in it, the others being sealed; none: all.
        """
        if named and not stretch.sealed:
            moved = "stirred" if stretch.stirred else "still"
            return self._in(meats, bath, (moved,) * 3, cases, tuple(meat.piece.name in named for meat in meats))
        moved = "stirred" if stretch.stirred else "still"
        films = None if stretch.sealed else (moved, "contact" if stretch.lying else moved, moved)
        if turned is None and films is not None:
            return self._in(meats, bath, (" and ".join(films[:2]),) * 2 + (moved,), cases)
        if not turned or films is None or films[0] == films[1]:
            return self._in(meats, bath, films, cases)
        over = (films[1], films[0], films[2])
        if self._sign is None:
            return self._in(meats, bath, over, cases)
        return Lying(self._way(meats, over, cases)[0], _flipped(self._in(meats, bath, films, cases), self._sign), False)

    def _way(
        self, meats: Sequence[Meat], films: Names | None, cases: Cases, inside: tuple[bool, ...] | None = None
    ) -> tuple[Shares, Spokes]:
        """How the pieces meet a bath with these films at their first, second and other faces ("still and contact": the mean), None: sealed. inside:
        which of them do, None: all.
        """
        key = (id(meats), films, inside)
        if key not in self._ways:
            parts = tuple(meat.part for meat in meats)
            if films is None:
                self._ways[key] = meats, None, Spokes(parts, None)
            else:
                both = tuple(np.mean([cases.film(each) for each in kind.split(" and ")], axis=0) for kind in films)
                every = [both if inside is None or inside[n] else (0.0 * both[0],) * 3 for n in range(len(meats))]
                shares = tuple(meat.shares(own) for meat, own in zip(meats, every, strict=True))
                contacts = partial(_contacts, meats, every)
                self._ways[key] = meats, shares, Spokes(parts, contacts)
        return self._ways[key][1:]

    def _in(
        self, meats: Sequence[Meat], bath: np.ndarray, films: Names | None, cases: Cases,
        inside: tuple[bool, ...] | None = None,
    ) -> Lying:  # fmt: skip
        shares, spokes = self._way(meats, films, cases, inside)
        key = (id(meats), films, inside, bath.tobytes())
        if key not in self._solved:
            self._solved[key] = [(None, spokes.in_bath(bath))]
        known = self._solved[key]

        def solve(loss: np.ndarray | None) -> Solved:
            modes = next((one for lost, one in known if _close(lost, loss)), None)
            if modes is None:
                assert loss is not None  # the first one known has none
                modes = known[0][1].losing(loss)
                known.append((loss, modes))
            return modes

        return Lying(shares, solve, films is None or films[0] == films[1])

    def release(self) -> None:
        """Let go of the modes: a batch of them is large."""
        for meats, _, _ in self._ways.values():
            for meat in meats:
                meat.shared.clear()
        self._solved.clear()
        self._ways.clear()


def _contacts(meats: Sequence[Meat], films: Sequence[Films]) -> list[Contact]:
    """What links each piece to a bath with its films (d,) at its faces."""
    return [meat.contact(number, own) for number, (meat, own) in enumerate(zip(meats, films, strict=True))]


def _flipped(lying: Lying, sign: np.ndarray) -> Callable[[np.ndarray | None], Solved]:
    """Makes the modes of pieces that lie the other way round: the nodes with sign -1 count the other way."""
    made: dict[int, Solved] = {}

    def solve(loss: np.ndarray | None) -> Solved:
        modes = lying.modes(loss)
        if id(modes) not in made:  # one object for each, so that legs on the same modes are known by it
            made[id(modes)] = modes.flipped(sign)
        return made[id(modes)]

    return solve


def dried(meats: Sequence[Meat], purge: np.ndarray) -> tuple[Meat, ...]:
    """The pieces after they gave up `purge` (d,) kg of water together, each in proportion to what it holds."""
    left = 1 - purge / sum(meat.held / meat.partition for meat in meats)
    return tuple(meat.dried(left) for meat in meats)


def _close(one: np.ndarray | None, other: np.ndarray | None) -> bool:
    """Equal but for rounding."""
    if one is None or other is None:
        return one is other
    # What differs, mostly does so in the first draw.
    return all(np.abs(one[d] - other[d]).max() <= 1e-13 * np.abs(one[d]).max() for d in (slice(1), slice(None)))
