"""Temperature in one piece through one stretch, in every case: its own network of heat, solved by modes, in a bath that follows straight lines.

The network is that of salt with other coefficients: a volume stores heat, lean and fat conduct it, and a film stands between face and bath. Each
piece has its own, because a bath that is kept at a temperature couples nothing. With T = bath + u, a bath that changes by a constant s per second
leaves u' = -(rates) u - s, which is exact in time for every mode.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..bodies import Body, Solid
from ..matter.heat import thermal
from ..transport.modes import Part, modes_of
from ..transport.network import assemble
from .cases import Cases
from .meat import Meat

_DEAD = -600.0  # exp of less is as good as zero
WARM = 320.0  # K at which terms in three dimensions are made
SHELLS = 12  # parts of equal volume in which juice is counted


@dataclass(frozen=True, eq=False)
class HotLeg:
    """Unchanging film and skin, from the first to the last of knots (d, k) [s], between which the bath (d, k) [K] is straight.

    parts: modes; u (d, k, m): their amounts at each knot, one array for each part; ones (d, m): amounts of u = 1; shares (d, f): weight of the
    bath in the value at each face; mean (r,): the terms of the state 1.
    """

    knots: np.ndarray
    bath: np.ndarray
    parts: tuple[Part, ...]
    u: tuple[np.ndarray, ...]
    ones: tuple[np.ndarray, ...]
    shares: np.ndarray
    mean: np.ndarray

    @property
    def slopes(self) -> np.ndarray:
        """K/s (d, k - 1) of the bath between knots."""
        steps = np.diff(self.knots, axis=1)
        return np.diff(self.bath, axis=1) / np.where(steps > 0, steps, 1.0)

    def bath_at(self, times: np.ndarray) -> np.ndarray:
        """K (d, t) of the bath."""
        owner, since = self._line(times)
        return np.take_along_axis(self.bath, owner, axis=1) + np.take_along_axis(self.slopes, owner, axis=1) * since

    def read(self, rows: np.ndarray, times: np.ndarray) -> np.ndarray:
        """Sums `rows` (n, r) or (d, n, r) over the terms of T (d, t, n), at times (d, t)."""
        owner, since = self._line(times)
        slope = np.take_along_axis(self.slopes, owner, axis=1)
        bath = np.take_along_axis(self.bath, owner, axis=1) + slope * since
        found = bath[:, :, None] * (rows @ self.mean)[..., None, :]
        for part, u, ones in zip(self.parts, self.u, self.ones, strict=True):
            begun = np.take_along_axis(u, owner[:, :, None], axis=1)
            now = _onwards(part, begun, ones[:, None], slope[..., None], since[..., None])
            found = found + now @ part.shapes(np.ascontiguousarray(rows[..., part.nodes])).swapaxes(-1, -2)
        return found

    def gained(self, times: np.ndarray, feed: Sequence[np.ndarray]) -> np.ndarray:
        """J (d, t) that came in through the faces since the leg began, integrated mode by mode; feed: what each mode draws at 1 K."""
        owner, since = self._line(times)
        total = np.zeros(times.shape)
        steps = np.diff(self.knots, axis=1)
        for part, u, ones, drawn in zip(self.parts, self.u, self.ones, feed, strict=True):
            rates, slope = part.solved[0][:, None], self.slopes[..., None]
            whole = -_integral(rates, u[:, :-1], ones[:, None], slope, steps[..., None]) @ drawn[:, :, None]
            before = np.concatenate([np.zeros((len(u), 1)), np.cumsum(whole[..., 0], axis=1)], axis=1)
            begun = np.take_along_axis(u, owner[:, :, None], axis=1)
            now = np.take_along_axis(self.slopes, owner, axis=1)[..., None]
            rest = -_integral(rates, begun, ones[:, None], now, since[..., None]) @ drawn[:, :, None]
            total += np.take_along_axis(before, owner, axis=1) + rest[..., 0]
        return total

    def _line(self, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(number (d, t) of the line that each time lies on, s since it began)."""
        owner = (times[:, :, None] > self.knots[:, None, 1:-1]).sum(axis=2)
        since = times - np.take_along_axis(self.knots, owner, axis=1)
        return owner, np.maximum(since, 0.0)


def _onwards(part: Part, begun, ones, slope, since) -> np.ndarray:
    rates = part.solved[0][:, None]
    fallen = np.exp(np.maximum(-rates * since, _DEAD))
    return begun * fallen - slope * ones * (1 - fallen) / rates


def _integral(rates, begun, ones, slope, since) -> np.ndarray:
    """Integral over time of `_onwards`."""
    phi = (1 - np.exp(np.maximum(-rates * since, _DEAD))) / rates
    return begun * phi - slope * ones * (since - phi) / rates


def leg(meat: Meat, film: np.ndarray, start: np.ndarray, knots: np.ndarray, bath: np.ndarray) -> HotLeg:
    """The leg of a piece whose `storage` is heat and whose `conductivity` conducts it, from a start (d, r) in terms of K, with film (d,) in
    W/(m2 K), along a bath (d, k) [K] at knots (d, k) [s].
    """
    endless = np.full(len(film), np.inf)
    network = assemble([meat.part], endless, [meat.contact(0, (film, film, film))])
    mean = meat.body.mean
    ones = np.broadcast_to(mean, start.shape)
    off = start - bath[:, :1] * mean
    parts, amounts, one = [], [], []
    steps = np.diff(knots, axis=1)
    slopes = np.diff(bath, axis=1) / np.where(steps > 0, steps, 1.0)
    for part in modes_of(network).parts:
        alone = part.amounts(ones[:, None, part.nodes])[:, 0]
        now = part.amounts(off[:, None, part.nodes])[:, 0]
        if not (alone.any() or now.any()):
            continue
        u = [now]
        for k in range(steps.shape[1]):
            now = _onwards(part, now[:, None], alone[:, None], slopes[:, k, None, None], steps[:, k, None, None])[:, 0]
            u.append(now)
        parts.append(part)
        amounts.append(np.stack(u, axis=1))
        one.append(alone)
    return HotLeg(knots, bath, tuple(parts), tuple(amounts), tuple(one), meat.shares((film, film, film)), mean)


def as_heat(meat: Meat, kelvin: np.ndarray, cases: Cases) -> Meat:
    """The same piece with what it stores and conducts of heat at kelvin (d,), in J/(m3 K) and W/(m K)."""
    both = [thermal(part, kelvin, cases) for part in meat.parts]  # type: ignore[arg-type]
    conductivity, stored = (np.stack([cases.full(each[k]) for each in both], axis=1) for k in (0, 1))
    body = hot_body(meat)
    if isinstance(body, Solid):
        stored = stored[:, :1] * body.ratio  # tissues keep their ratio there, which hardly moves with temperature
    return replace(meat, body=body, storage=stored, conductivity=conductivity)


def hot_body(meat: Meat) -> Body | Solid:
    """The geometry of a piece for heat: its own, but for one in three dimensions of several tissues, whose terms go by what they store, or
    with a skin, which no salt passes and heat does.
    """
    body = meat.body
    if not isinstance(body, Solid):
        return body
    closed = tuple(name for name in body.grid.outline.closed if getattr(meat.piece.faces, name) != "skin")
    if len(meat.parts) == 1 and closed == body.grid.outline.closed:
        return body
    led, stored = (np.array(each) for each in zip(*(thermal(part, WARM) for part in meat.parts), strict=True))
    ratio, pace = (tuple(float(f"{share:.2g}") for share in each / each[0]) for each in (stored, led))
    return body.made_for(ratio, pace, closed)


@dataclass(frozen=True, eq=False)
class Warmth:
    """One piece through one stretch: meat, whose storage and conductivity are those of heat, and its legs, one after the other."""

    meat: Meat
    legs: tuple[HotLeg, ...]

    def read(self, rows: np.ndarray, times: np.ndarray) -> np.ndarray:
        """K (d, t, n) of sums `rows` over the terms."""
        found = self.legs[0].read(rows, times)
        for each in self.legs[1:]:
            found = np.where((times > each.knots[:, :1])[..., None], each.read(rows, times), found)
        return found

    def bath(self, times: np.ndarray) -> np.ndarray:
        """K (d, t) of what is around the piece; of air around a wet skin, that of the wet skin at rest."""
        found = self.legs[0].bath_at(times)
        for each in self.legs[1:]:
            found = np.where(times > each.knots[:, :1], each.bath_at(times), found)
        return found

    def ended(self, length: np.ndarray) -> np.ndarray:
        """Terms of K (d, r) after `length` (d,) s."""
        return self.read(np.eye(self.meat.body.count), length[:, None])[:, 0]

    def mean(self, times: np.ndarray) -> np.ndarray:
        """K (d, t) on average over the volume."""
        row = self.meat.body.mean
        return self.read(row[None] / (row @ row), times)[..., 0]

    def core(self, times: np.ndarray) -> np.ndarray:
        """K (d, t) at the place in the lean that heat or cold reaches last."""
        spots = self.meat.spots
        return spots.value(self.read(spots.rows, times))

    def profile(self, times: np.ndarray, places=slice(None)) -> np.ndarray:
        """K (d, t, x) at the places of a profile of the body, faces included."""
        body = self.meat.body
        numbers = np.arange(len(body.depth))[places]
        found = self.read(body.rows[numbers], times)
        for point, face in body.at_face.items():
            for place in np.flatnonzero(numbers == point):
                found[..., place] = self._outside(found[..., place], times, face)
        return found

    def profile_at(self, depth: np.ndarray, times: np.ndarray) -> np.ndarray:
        """K (d, t, x) at places of a profile by their depth (x,), as a share of the thickness: where heat has a grid of its own, straight
        between its places.
        """
        own = self.meat.body.depth
        right = np.clip(np.searchsorted(own, depth), 1, len(own) - 1)
        share = np.clip((depth - own[right - 1]) / (own[right] - own[right - 1]), 0.0, 1.0)
        found = self.profile(times)
        return found[..., right - 1] * (1 - share) + found[..., right] * share

    def _outside(self, inside: np.ndarray, times: np.ndarray, face: int) -> np.ndarray:
        """K (d, t) at a face, from what is just inside it."""
        share = np.broadcast_to(self.legs[0].shares[:, face, None], times.shape)
        for each in self.legs[1:]:
            share = np.where(times > each.knots[:, :1], each.shares[:, face, None], share)
        return share * self.bath(times) + (1 - share) * inside

    def surface(self, times: np.ndarray) -> np.ndarray:
        """K (d, t) at the face that is farther from the core: the hotter one while it heats."""
        rims = self.meat.body.rims(np.ones(len(self.meat.parts), dtype=bool))
        inside = self.read(np.array([row for _, row in rims]), times)
        for number, (face, _) in enumerate(rims):
            if face is not None:
                inside[..., number] = self._outside(inside[..., number], times, face)
        far = np.argmax(np.abs(inside - self.core(times)[..., None]), axis=-1)
        return np.take_along_axis(inside, far[..., None], axis=-1)[..., 0]

    def shells(self, times: np.ndarray) -> np.ndarray:
        """K (d, t, s) on average in parts of the lean of equal volume, from face to face."""
        return self.read(shells_of(self.meat)[0], times)

    def stored(self, times: np.ndarray) -> np.ndarray:
        """J (d, t) in the piece above 0 K."""
        return self.read(np.eye(self.meat.body.count), times) @ self.meat.total[:, :, None]

    def gained(self, times: np.ndarray) -> np.ndarray:
        """J (d, t) that came in through the faces."""
        total = np.zeros(times.shape)
        for each in self.legs:
            feed = [part.fed for part in each.parts]
            until = np.clip(times, each.knots[:, :1], each.knots[:, -1:])
            total += each.gained(until, feed)
        return total


def shells_of(meat: Meat) -> tuple[np.ndarray, np.ndarray]:
    """(rows (s, r) that read the mean of parts of the lean, share (s,) of the piece's volume that each is)."""
    return meat.body.shells(meat.lean, SHELLS)
