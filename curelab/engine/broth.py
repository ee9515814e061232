"""What pieces lie in while they simmer: water that takes their juice with all that is dissolved in it.

In the network juice stays where it was: its salt is not in the bath that the faces meet, and the pieces hold as much as before. Here the
bath of the network is as large, against the pieces, as the broth is in the end against what is left of them; the stretch is cut into legs, and
as each begins the bath is brought to the strength of the broth as it will be half way through the leg. What was put in for that is taken off
the amounts again (`Run.bath_amount`), so that salt out of the meat is salt in the broth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..transport.star import Solved
from .clock import Clock
from .heat import Heat
from .track import Leg, Track, onwards

LEGS = 12  # in each of which as much juice is given (measured: eight times as many move the salt of a slice by 4 parts in 10,000)
NEARLY = 0.999  # of the juice


@dataclass(frozen=True, eq=False)
class Lent:
    """kg (d, l, s) that a bath was lent of each solute as legs begin, at begins (d, l) in s; water (d,): kg of it in the network."""

    begins: np.ndarray
    given: np.ndarray
    water: np.ndarray

    def until(self, times: np.ndarray, place: int) -> np.ndarray:
        """kg (d, t) of one solute before times (d, t)."""
        later = times[:, :, None] > self.begins[:, None, :]
        return (later * self.given[:, None, :, place]).sum(axis=2)


def in_network(water: np.ndarray, heat: Heat, about: Sequence[bool]) -> np.ndarray:
    """kg (d,) of the bath in the network for so much water (d,): broth over the share that the pieces it is `about` keep, when it is likely to
    end.
    """
    end, none = heat.likely[:, None], np.zeros(len(water))
    own = [(number, meat) for number, meat in enumerate(heat.meats) if about[number]]
    juice = sum((heat.juice_given(number, end)[:, 0] * meat.weight for number, meat in own), none)
    kept = sum((heat.kept(number, end)[:, 0] * meat.held for number, meat in own), none)
    return (water + juice) * sum((meat.held for _, meat in own), none) / kept


def legs_of_juice(heat: Heat, longest: float) -> np.ndarray:
    """Ends (d, LEGS + 1) [s] of legs in each of which the pieces give as much juice until the stretch is likely to end; the first is half as
    large, for it is lent nothing; the last begins when next to none is left to give.
    """
    given = sum(one.juice * meat.weight[:, None] for one, meat in zip(heat.through, heat.meats, strict=True))
    shares = np.append((np.arange(1, LEGS) - 0.5) / (LEGS - 0.5), NEARLY)
    ends = np.full((len(given), LEGS + 1), longest)
    for draw, own in enumerate(given):
        ends[draw, :-1] = np.interp(shares * np.interp(heat.likely[draw], heat.grid, own), own, heat.grid)
    return np.maximum.accumulate(ends, axis=1)


def in_broth(
    names: Sequence[str], start: np.ndarray, ends: np.ndarray, modes: Sequence[Solved], ratios: np.ndarray, clock: Clock,
    heat: Heat, slices: Sequence[slice], water: np.ndarray, bath: np.ndarray,
) -> tuple[Track, Lent]:  # fmt: skip
    """The track of solutes (s) from a start (d, s, n) along legs that end at ends (d, l) on their modes, in `water` kg (d,) that is `bath` kg
    (d,) in the network, and what that was lent.
    """
    meats = heat.meats
    begins = np.concatenate([np.zeros((len(ends), 1)), ends[:, :-1]], axis=1)
    legs = tuple(Leg(begin, end, solved) for begin, end, solved in zip(begins.T, ends.T, modes, strict=True))
    kept = [heat.kept(piece, begins) for piece in range(len(meats))]
    later = [heat.kept(piece, ends) for piece in range(len(meats))]
    pieces = list(enumerate(meats))
    juice, more = (
        sum((heat.juice_given(n, times) * meat.weight[:, None] for n, meat in pieces), np.zeros(ends.shape))
        for times in (begins, ends)
    )
    every, lent = [start], np.zeros((len(ends), len(legs), len(names)))
    for number in range(1, len(legs)):
        now = onwards(legs[number - 1], every[-1], ratios, clock)
        salt, soon = np.zeros(now.shape[:2]), np.zeros(now.shape[:2])
        for (piece, meat), nodes in zip(pieces, slices, strict=True):
            held = now[:, :, nodes] @ meat.total[:, :, None]
            salt += held[..., 0] * (1 - kept[piece][:, number, None])
            soon += held[..., 0] * (kept[piece][:, number] - later[piece][:, number])[:, None]
        broth = now[:, :, -1] * bath[:, None] + salt - lent.sum(axis=1) + 0.5 * soon
        level = broth / (water + 0.5 * (juice + more)[:, number])[:, None]
        lent[:, number] = (level - now[:, :, -1]) * bath[:, None]
        now[:, :, -1] = level
        every.append(now)
    return Track(tuple(names), legs, clock, ratios, tuple(every)), Lent(begins, lent, bath)
