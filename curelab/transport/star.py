"""Many parts that meet in one bath only: a star, answered without the modes of the whole.

Each part has its own modes, found once whatever the bath (`Part`); only the bath couples them. For a complex z the resolvent
(z + A)^-1 of such a network takes as many steps as there are nodes, and exp(-clock A) is a short sum of resolvents:

- at a few clock readings the best rational approximation of exp on the negative axis, RATIONAL, good to 3e-10 of what there is, or 3e-8;
- at many readings a hyperbola around the spectrum, whose points serve a whole window of readings, the last of them WINDOW times the first
  (Weideman and Trefethen, Mathematics of Computation 76, 2007): to 6e-10, or 2e-6 where parts have so few nodes that they are coarse themselves.

So time grows with the number of nodes, where an eigenproblem grows with its cube. A bath that changes nothing leaves a closed star's
amounts as they are, which is put right by hand. `Star` answers as `Modes` does. Longer than others
because it does all that `Modes` does, in another way.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, partial

import numpy as np

from .arrow import met
from .memory import Kept
from .modes import UNCOUPLED, Asked, Begun, Modes, Once, Part, remembered
from .network import Contact, assemble
from .network import Part as Nodes
from .rows import Rows

MANY = 4  # parts from which on a star is quicker than the modes of the whole, in one case and in many (measured, tests/speed)
FEW = 34  # clock readings that are answered one by one, once for all pieces, which are mostly asked at the same (measured)
WINDOW = 64.0
POINTS, POINTS_COARSE = 32, 20  # of a hyperbola: 6e-10, 2e-6
COARSE = 30  # nodes; parts that have no more are themselves off by more than 1e-4
AT_ONCE = 100_000  # numbers that are worked on at once, so that they stay near the processor
# exp(-x) on x >= 0 as the real part of sum(weight / (x + pole)), to 3e-10, and coarse to 3e-8: the poles and weights of the
# Caratheodory-Fejer approximations of type (10, 10) and (8, 8) (Trefethen, Weideman and Schmelzer, BIT 46, 2006), one of each conjugate pair.
RATIONAL = (
    np.array(
        [
            4.0277324837297535 + 1.1938560673334335j, 3.2837529000988401 + 3.5943867748123672j,
            1.7154060337877302 + 6.0389349290433154j, -0.89440468217118418 + 8.5827569025058636j,
            -5.1611912516459428 + 11.375156254838243j,
        ]
    ),
    -2 * np.array(
        [
            -4.8183820590063329 - 21.054597597144859j, 7.1171652095003077 + 8.8195333231058921j,
            -2.5655849971270768 - 1.2163857358593981j, 0.27258698546166249 + 0.014211728317987423j,
            -0.0057849039773353378 + 0.00068585070451673315j,
        ]
    ),
)  # fmt: skip
RATIONAL_COARSE = (
    np.array(
        [
            3.2209452450543408 + 1.1936196054193322j, 2.2922491478210563 + 3.6007714960771353j,
            0.26949098736749649 + 6.082032592700096j, -3.4085395014618016 + 8.7730345644080945j,
        ]
    ),
    -2 * np.array(
        [
            -1.8317717106328966 - 9.5256081299437376j, 2.436240732924865 + 3.7167556408605296j,
            -0.63258805373268545 - 0.44392310270015201j, 0.028129757161818793 + 0.011577384568874135j,
        ]
    ),
)  # fmt: skip


ALL = slice(None)
_room = threading.local()  # where resolvents are written


@cache
def hyperbola(points: int, window: float) -> tuple[np.ndarray, np.ndarray]:
    """(poles, weights) (p,): exp(-x t) for t from 1 / window to 1 is the real part of sum(weight * exp(pole * t) / (x + pole)), for all
    x >= 0.
    """
    angles = np.linspace(0.25 * np.pi, 0.5 * np.pi, 2001)[1:-1]
    width = np.arccosh(((np.pi - 2 * angles) * window + 4 * angles - np.pi) / ((4 * angles - np.pi) * np.sin(angles)))
    best = np.argmax((np.pi - 2 * angles) / width)
    angle, step = angles[best], width[best] / points
    reach = (4 * np.pi * angle - np.pi**2) / step
    along = 1j * (np.arange(points) + 0.5) * step - angle
    return reach * (1 + np.sin(along)), step / np.pi * reach * np.cos(along)


@dataclass(frozen=True, eq=False)
class Spokes:
    """Parts and what links each to a bath, whatever the bath. make: makes the contact of each part, in order; None: the parts are closed."""

    parts: tuple[Nodes, ...]
    make: Callable[[], Sequence[Contact]] | None

    @cached_property
    def own(self) -> tuple[Part, ...]:
        """Each part by itself, the bath being held; of few parts each of the halves that nothing couples."""
        found, begin = [], 0
        contacts = {contact.part: contact for contact in self.contacts}
        for number, part in enumerate(self.parts):
            root, contact = np.sqrt(part.capacity), contacts.get(number)
            shared, kind = part.shared, "closed" if contact is None else contact.kind
            if shared is None or kind is None:
                shared, kind = {}, None
            for half, feed in _halves(part, contact, len(self.parts) < MANY):
                stays = part.equilibrium[half] if feed is None or not feed.any() else np.zeros(1)
                alone = Part(
                    half + begin, partial(_scaled, part, contact, root, half), root if len(half) == root.shape[1] else root[:, half], feed,
                    stays if stays.any() else None,
                )  # fmt: skip
                found.append(replace(alone, source=Once(shared, (kind, int(half[0]), len(half)), alone)))
            begin += len(part.equilibrium)
        return tuple(found)

    @cached_property
    def contacts(self) -> tuple[Contact, ...]:
        """What links each part to the bath."""
        return () if self.make is None else tuple(self.make())

    @cached_property
    def ends(self) -> np.ndarray:
        """(p,) number of the node after the last of each part."""
        return np.cumsum([len(part.equilibrium) for part in self.parts])

    @cached_property
    def total(self) -> np.ndarray:
        """(d,) conductance to the bath in all."""
        return np.sum([contact.total for contact in self.contacts], axis=0)

    @cached_property
    def alike(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """(nodes (p, r), vectors (d, p, r, r)) of parts with equally many nodes."""
        found = []
        for size in dict.fromkeys(len(part.nodes) for part in self.own):
            same = [part for part in self.own if len(part.nodes) == size]
            every = same[0].solved[1].base
            if every is None or any(part.solved[1].base is not every for part in same):
                every = np.empty((len(self.root), len(same), size, size))
                for number, part in enumerate(same):
                    every[:, number] = part.solved[1]
                    part.__dict__["solved"] = part.solved[0], every[:, number]  # the same numbers are not kept twice
                    if isinstance(part.source, Once):
                        part.source.keep(part.solved)
            found.append((np.stack([part.nodes for part in same]), every))
        return tuple(found)

    @cached_property
    def root(self) -> np.ndarray:
        """(d, f) square root of the capacities."""
        return np.concatenate([part.root for part in self.own], axis=1)

    @cached_property
    def rates(self) -> np.ndarray:
        """(d, f) of the modes of all parts, the bath being held."""
        return np.concatenate([part.solved[0] for part in self.own], axis=1)

    @cached_property
    def fed(self) -> np.ndarray:
        """(d, f) what the bath at 1 feeds into each mode."""
        feed = np.concatenate([np.zeros_like(p.root) if p.feed is None else p.feed for p in self.own], axis=1)
        return self.into(feed[:, None] / self.root[:, None])[:, 0]

    @cached_property
    def even(self) -> np.ndarray:
        """(d, f) amounts of the state that is 1 everywhere."""
        flat = np.concatenate([part.equilibrium for part in self.parts])
        return self.into(flat * self.root[:, None])[:, 0]

    @cached_property
    def even_square(self) -> np.ndarray:
        """(d,) the sum of their squares."""
        return (self.even**2).sum(axis=1)

    def amounts(self, start: np.ndarray) -> np.ndarray:
        """Modal amounts (d, s, f) of states (d, s, f)."""
        return self.into(start * self.root[:, None])

    def states(self, amounts: np.ndarray) -> np.ndarray:
        """States (d, m, f) of modal amounts (d, m, f)."""
        return self.out_of(amounts) / self.root[:, None]

    def out_of(self, amounts: np.ndarray, some: slice = ALL) -> np.ndarray:
        """The values (d, m, f) at the nodes, scaled by the root, that modal amounts (d, m, f) add up to; in some of the networks."""
        found = np.empty_like(amounts)
        for nodes, vectors in self.alike:
            _each_part(amounts, nodes, vectors[some].swapaxes(2, 3), found)
        return found

    def into(self, values: np.ndarray, some: slice = ALL) -> np.ndarray:
        """(d, s, f) of each mode in values (d, s, f) at the nodes; in some of the networks."""
        found = np.empty_like(values)
        for nodes, vectors in self.alike:
            _each_part(values, nodes, vectors[some], found)
        return found

    def of(self, draws: np.ndarray) -> Spokes:
        """Some of the networks, already solved; the last ones asked for are remembered, for one bath after the other asks for them."""
        last = self.__dict__.get("_last")
        if last is None or not np.array_equal(last[0], draws):
            parts = tuple(
                replace(part, capacity=part.capacity[draws], inner=part.stiffness[draws], shared=None)
                for part in self.parts
            )
            made = Spokes(parts, None)
            made.__dict__["own"] = tuple(part.of(draws) for part in self.own)
            last = self.__dict__["_last"] = draws, made
        return last[1]

    def losing(self, loss: np.ndarray) -> Spokes:
        """With a loss (d, n) in their own modes, the bath last."""
        made = Spokes(self.parts, None)
        made.__dict__["own"] = tuple(part.losing(loss[:, part.nodes]) for part in self.own)
        return made

    def in_bath(self, bath: np.ndarray) -> Modes | Star:
        """In a bath of capacity (d,), inf where it is held."""
        many = len(self.parts) >= MANY
        if many and self.make is not None and not np.isinf(bath[0]):
            return Star(int(self.ends[-1]) + 1, self, bath, self.total)
        if many or len(bath) > 1:
            return self._modes(bath)
        network = assemble(self.parts, bath, self.contacts)
        return remembered(network, partial(self._modes, bath))

    def _modes(self, bath: np.ndarray) -> Modes:
        """As `in_bath`, of parts that are few or that nothing couples."""
        last = int(self.ends[-1])
        if self.make is not None and np.isinf(bath[0]):
            return Modes(last + 1, self.own, self.total)
        fed = [part for part in self.own if part.feed is not None and part.feed.any()]
        alone = (part for part in self.own if part not in fed)
        if not fed:
            one = np.zeros((len(bath), 1, 1))
            return Modes(
                last + 1, (*alone, Part(np.array([last]), lambda: one, np.sqrt(bath)[:, None], None, np.ones(1)))
            )
        flat = np.concatenate([part.equilibrium for part in self.parts])
        stays = np.append(flat[np.concatenate([part.nodes for part in fed])], 1.0)
        return Modes(last + 1, (met(fed, bath, self.total, last, stays), *alone))


@dataclass(frozen=True, eq=False)
class Star:
    """Spokes in a bath of capacity `bath` (d,), to which conductances `total` (d,) lead in all, the last of `size` nodes. loss (d, n), alike
    within a part, None for none; sign (n - 1,): -1 for nodes that count the other way round, None where all count as they are.
    """

    size: int
    spokes: Spokes
    bath: np.ndarray
    total: np.ndarray
    loss: np.ndarray | None = None
    sign: np.ndarray | None = None

    @cached_property
    def rates(self) -> np.ndarray:
        """(d, f) of the modes of all parts, f = n - 1, the bath being held."""
        return self.spokes.rates if self.loss is None else self.spokes.rates + self.loss[:, :-1]

    def _amounts(self, start: np.ndarray) -> np.ndarray:
        """Modal amounts (d, s, f) of states (d, s, n)."""
        inside = start[..., :-1]
        return self.spokes.amounts(inside if self.sign is None else inside * self.sign)

    def at(self, start: np.ndarray, clock: np.ndarray, rows: Asked = None) -> np.ndarray:
        """As `Modes.at`."""
        return self._each(start, clock, rows, integral=False)

    def integral(self, start: np.ndarray, clock: np.ndarray, rows: Asked = None) -> np.ndarray:
        """As `Modes.integral`."""
        return self._each(start, clock, rows, integral=True)

    def _each(self, start: np.ndarray, clock: np.ndarray, rows: Asked, integral: bool) -> np.ndarray:
        d, s, t = clock.shape
        which = np.broadcast_to(np.repeat(np.arange(s), t), (d, s * t))
        now, bath = self._reached(self._amounts(start), start[..., -1], which, clock.reshape(d, s * t), None, integral)
        return self._summed(now, bath, Rows.of(rows)).reshape(d, s, t, -1)

    def turned(self, other: Modes | Star) -> bool:
        """Whether another network is this one, but for nodes that count the other way round."""
        same = isinstance(other, Star) and other.spokes is self.spokes and other.bath is self.bath
        return same and other.loss is self.loss  # type: ignore[union-attr]

    def turning(self, begun: Begun, clock: np.ndarray, signs: Sequence[np.ndarray | None]) -> tuple[list[Begun], Begun]:
        """What equal spans of the clock (d, s), one after the other, begin with after the first, and what the last ends with: each as `after`, of this
        network with its nodes counted by one of `signs` (n - 1,), None: as they are. What a span does is worked out once.
        """
        if len(signs) == 1:
            return [], self.after(begun, clock)
        amounts, bath = self._of(begun)
        poles, weights = RATIONAL_COARSE if self._coarse else RATIONAL
        found = [(np.empty_like(amounts), np.empty_like(bath)) for _ in signs]
        step = max(1, AT_ONCE // (2 * len(poles) * bath.shape[1] * self.rates.shape[1]))
        for begin in range(0, len(bath), step):
            some = slice(begin, begin + step)
            into = [(inside[some], level[some]) for inside, level in found]
            self._turning(amounts[some], bath[some], clock[some], signs, some, poles, weights, into)
        *between, last = [Begun((inside,), level) for inside, level in found]
        return between, last

    def _turning(self, amounts, bath, clock, signs, some: slice, poles, weights, found) -> None:
        """`turning` of some of the networks, written into `found`."""
        spokes, (d, s), p = self.spokes, bath.shape, len(poles)
        draws = np.repeat(np.arange(d), s)
        tau, holds, bath = clock.reshape(-1, 1), np.repeat(self.bath[some], s), bath.reshape(-1)
        fed, even, rates = (each[some][draws] for each in (spokes.fed, spokes.even, self.rates))
        passed = _resolvent(tau * rates, poles)
        sums = (fed**2)[:, None] @ passed.swapaxes(1, 2)
        back = sums[:, 0, :p] + 1j * sums[:, 0, p:]
        below = holds[:, None] * poles + tau * np.repeat(self.total[some], s)[:, None] - tau**2 * back
        stays = np.concatenate([weights.real, -weights.imag]) @ passed
        whole = np.repeat(spokes.even_square[some], s) + holds
        amounts = amounts.reshape(d * s, -1)
        for number, (inside, level) in enumerate(found):
            sums = (fed * amounts)[:, None] @ passed.swapaxes(1, 2)
            u = (holds[:, None] * bath[:, None] + tau * (sums[:, 0, :p] + 1j * sums[:, 0, p:])) / below * weights
            reached = (np.concatenate([u.real, -u.imag], axis=1)[:, None] @ passed)[:, 0]
            reached *= tau * fed
            reached += stays * amounts
            now = u.real.sum(axis=1)
            if self.loss is None:  # nothing leaves, so the sum is known
                off = (np.einsum("df,df->d", amounts - reached, even) + (bath - now) * holds) / whole
                reached += off[:, None] * even
                now += off
            amounts, bath = reached.reshape(d, s, -1), now
            if number + 1 < len(signs) and signs[number] is not signs[number + 1]:
                flip = np.prod([sign for sign in signs[number : number + 2] if sign is not None], axis=0)
                amounts = spokes.into(spokes.out_of(amounts, some) * flip, some)
            inside[...], level[...] = amounts, bath.reshape(d, s)
            amounts = amounts.reshape(d * s, -1)

    def supplied(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """As `Modes.supplied`: no node is held."""
        return np.zeros(clock.shape)

    def begin(self, start: np.ndarray) -> Begun:
        """As `Modes.begin`."""
        return Begun((self._amounts(start),), start[..., -1].copy())  # which lets go of the rest

    def after(self, begun: Begun, clock: np.ndarray) -> Begun:
        """As `Modes.after`."""
        which = np.broadcast_to(np.arange(clock.shape[1]), clock.shape)
        now, bath = self._reached(*self._of(begun), which, clock, None, integral=False)
        return Begun((now,), bath)

    def state(self, begun: Begun) -> np.ndarray:
        """As `Modes.state`."""
        return self._summed(*self._of(begun), None)

    def onto(self, begun: Begun, other: Solved, kept: Kept | None = None) -> Begun:
        """As `Modes.onto`: the modes are those of the parts alone."""
        alike = isinstance(other, Star) and other.spokes is self.spokes and other.sign is self.sign
        return begun if alike else other.begin(self.state(begun))

    @staticmethod
    def _of(begun: Begun) -> tuple[np.ndarray, np.ndarray]:
        """Modal amounts (d, s, f) and bath (d, s)."""
        (amounts,), bath = begun
        assert amounts is not None and bath is not None
        return amounts, bath

    def along(
        self, begun: Begun, owner: np.ndarray | None, clock: np.ndarray, rows: Asked, kept: dict | Kept,
        wanted: np.ndarray | None = None,
    ) -> np.ndarray:  # fmt: skip
        """As `Modes.along`."""
        asked_of = Rows.of(rows)
        amounts, bath = self._of(begun)
        which = np.zeros(clock.shape, dtype=int) if owner is None else owner
        if clock.shape[1] > FEW * len(np.unique(which)):
            return self._windows(amounts, bath, which, clock, asked_of, kept)
        asked = clock.tobytes(), which.tobytes(), None if wanted is None else wanted.tobytes()
        last, (now, level) = kept.get("reached") or (None, (amounts, bath))
        if last != asked:
            now, level = self._reached(amounts, bath, which, clock, wanted, integral=False)
            kept["reached"] = asked, (now, level)
        return self._summed(now, level, asked_of)

    # -- sums of resolvents --------------------------------------------------------------------------------------------

    def _reached(self, amounts, bath, which, clock, wanted, integral: bool) -> tuple[np.ndarray, np.ndarray]:
        """Modal amounts (d, m, f) and bath (d, m) at clock readings (d, m), each from the start `which` (d, m) of amounts (d, g, f) and bath
        (d, g), where `wanted` (d, m), None: everywhere; or their integrals.
        """
        poles, weights = hyperbola(14, 1.0) if integral else RATIONAL_COARSE if self._coarse else RATIONAL
        if integral:
            weights = weights * np.exp(poles) / poles
        now, into = (np.zeros((*clock.shape, amounts.shape[2])), np.zeros(clock.shape))
        draws, columns = np.nonzero(np.ones(clock.shape, dtype=bool) if wanted is None else wanted)
        row = np.concatenate([weights.real, -weights.imag])
        step = max(1, AT_ONCE // (2 * len(poles) * self.rates.shape[1]))
        for begin in range(0, len(draws), step):
            d, m = draws[begin : begin + step], columns[begin : begin + step]
            tau, fed = clock[d, m][:, None], self.spokes.fed[d]
            start, held = amounts[d, which[d, m]], bath[d, which[d, m]]
            found = _resolvent(tau * self.rates[d], poles)
            u = self._bath(found, tau, start, held, poles, d)
            # One row for what each mode began with, one for what the bath fed into it.
            rows = np.empty((len(tau), 2, len(row)))
            rows[:, 0] = row
            rows[:, 1, : len(poles)], rows[:, 1, len(poles) :] = (weights * u).real, -(weights * u).imag
            rows[:, 1] *= tau
            both = rows @ found
            level = (u @ weights).real
            reached = both[:, 0] * start
            both[:, 1] *= fed
            reached += both[:, 1]
            if integral:
                reached *= tau
            elif self.loss is None:  # nothing leaves, so the sum is known
                even, holds = self.spokes.even[d], self.bath[d]
                before, after = (np.einsum("df,df->d", each, even) for each in (start, reached))
                off = (before - after + (held - level) * holds) / (self.spokes.even_square[d] + holds)
                reached += off[:, None] * even
                level += off
            into[d, m], now[d, m] = level, reached
        return now, into * clock if integral else into

    def _bath(self, found, tau, start, bath, poles, draws) -> np.ndarray:
        """(d, p) of the bath in (pole + tau A)^-1 applied to amounts (d, f) and bath (d,)."""
        fed = self.spokes.fed[draws]
        both = np.empty((len(fed), 2, fed.shape[1]))
        np.multiply(fed, start, out=both[:, 0])
        np.multiply(fed, fed, out=both[:, 1])
        sums = both @ found.swapaxes(1, 2)
        p = len(poles)
        from_start, back = np.moveaxis(sums[..., :p] + 1j * sums[..., p:], 1, 0)
        holds = self.bath[draws, None]
        return (holds * bath[:, None] + tau * from_start) / (
            holds * poles + tau * self.total[draws, None] - tau**2 * back
        )

    def _windows(self, amounts, bath, which, clock: np.ndarray, rows, kept: dict | Kept) -> np.ndarray:
        """Sums (d, t, k) at many clock readings, window by window."""
        poles, weights = self._points
        with np.errstate(divide="ignore"):
            # Windows at powers of their width, so that the same reading gives the same digits whatever is asked beside it.
            number = np.ceil(np.log(clock) / np.log(WINDOW) - 1e-12)
        moved = np.isfinite(number)
        asked = clock.tobytes()
        last, waves = kept.get("waves") or (None, clock)
        if last != asked:  # other places are often read at the same times
            share = np.where(moved, clock / WINDOW ** np.where(moved, number, 0.0), 1.0)[..., None]
            now = np.exp(poles * share) * weights
            waves = np.concatenate([now.real, -now.imag], axis=2)
            kept["waves"] = asked, waves
        result = np.zeros((*clock.shape, self.size if rows is None else rows.count))
        for leg in np.unique(which):
            here = moved & (which == leg)
            for window in np.unique(number[here]):
                mine = here & (number == window)
                within = np.flatnonzero(mine.any(axis=0))
                columns = slice(within[0], within[-1] + 1)
                lines = self._lines(amounts[:, leg], bath[:, leg], leg, window, rows, kept)
                np.copyto(result[:, columns], waves[:, columns] @ lines, where=mine[:, columns, None])
        if not moved.all():
            began = np.take_along_axis(self._summed(amounts, bath, rows), which[:, :, None], axis=1)
            np.copyto(result, began, where=~moved[:, :, None])
        return result

    @cached_property
    def _points(self) -> tuple[np.ndarray, np.ndarray]:
        return hyperbola(POINTS_COARSE if self._coarse else POINTS, WINDOW)

    @property
    def _coarse(self) -> bool:
        return all(len(part.equilibrium) <= COARSE for part in self.spokes.parts)

    def _lines(self, amounts, bath, leg: int, window: float, rows, kept: dict | Kept) -> np.ndarray:
        """(d, 2 p, k) sums `rows` of the resolvents of one start in one window, real and imaginary parts."""
        tau, poles = np.full((len(self.bath), 1), WINDOW**window), self._points[0]
        p = len(poles)
        u = kept.get(("bath", leg, window))
        if u is None:
            u = np.empty((len(tau), p), complex)
            step = max(1, AT_ONCE // (2 * p * self.rates.shape[1]))
            for draws in (slice(a, a + step) for a in range(0, len(tau), step)):
                found = _resolvent(tau[draws] * self.rates[draws], poles)
                u[draws] = self._bath(found, tau[draws], amounts[draws], bath[draws], poles, draws)
            kept["bath", leg, window] = u
        width = self.size if rows is None else rows.count
        lines = np.zeros((len(tau), p, width), complex)
        for numbers, shapes in self._asked(rows):
            nodes = slice(numbers[0], numbers[-1] + 1)
            found = _resolvent(tau * self.rates[:, nodes], poles)
            own, other = (
                found @ (shapes * each[:, None, nodes]).swapaxes(1, 2) for each in (amounts, tau * self.spokes.fed)
            )
            here = own[:, :p] + 1j * own[:, p:] + u[:, :, None] * (other[:, :p] + 1j * other[:, p:])
            if rows is None:
                lines[..., numbers] = here
            else:
                lines += here
        if rows is None:
            lines[..., -1] = u
        else:
            lines += rows.of_bath(u)
        return np.concatenate([lines.real, lines.imag], axis=1)

    def _asked(self, rows: Rows | None) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """(nodes, what each mode of the part adds to the sums (d, k, m)) of the parts that `rows` (None: all nodes) reach."""
        own = self.spokes.own
        if rows is not None:  # most are of one part
            first, last = np.searchsorted(
                self.spokes.ends, [rows.begin, rows.begin + rows.inner.shape[-1] - 1], "right"
            )
            own = own[first : last + 1]
        for part in own:
            mine = np.eye(len(part.nodes)) if rows is None else rows.over(part.nodes)
            if mine is not None:
                sign = 1.0 if self.sign is None else self.sign[part.nodes]
                yield part.nodes, (mine * sign / part.root[:, None]) @ part.solved[1]

    def _summed(self, now: np.ndarray, bath: np.ndarray, rows: Rows | None) -> np.ndarray:
        """(d, m, k) sums `rows` over the nodes, None: all nodes, of modal amounts (d, m, f) and bath (d, m)."""
        if rows is None:
            states = self.spokes.states(now)
            return np.concatenate([states if self.sign is None else states * self.sign, bath[..., None]], axis=2)
        result = np.zeros((*bath.shape, rows.count))
        for nodes, shapes in self._asked(rows):
            result += now[..., nodes[0] : nodes[-1] + 1] @ shapes.swapaxes(1, 2)
        return result + rows.of_bath(bath)

    # -- like it -------------------------------------------------------------------------------------------------------

    def flipped(self, sign: np.ndarray) -> Star:
        """As `Modes.flipped`."""
        return replace(self, sign=sign[:-1] if self.sign is None else self.sign * sign[:-1])

    def losing(self, loss: np.ndarray) -> Star:
        """As `Modes.losing`; raises ValueError for a loss in the bath. A part that does not lose alike everywhere is solved anew."""
        if loss[:, -1].any():
            raise ValueError("a star loses nothing in its bath")
        if not loss.any():
            return self
        if all(np.ptp(loss[:, part.nodes], axis=1).max() == 0 for part in self.spokes.own):
            return replace(self, loss=loss)
        return replace(self, spokes=self.spokes.losing(loss), loss=np.zeros_like(loss))

    def of(self, draws: np.ndarray) -> Star:
        """As `Modes.of`."""
        loss = None if self.loss is None else self.loss[draws]
        return Star(self.size, self.spokes.of(draws), self.bath[draws], self.total[draws], loss, self.sign)


def _each_part(values: np.ndarray, nodes: np.ndarray, vectors: np.ndarray, found: np.ndarray) -> None:
    """Writes values (d, s, f) at the nodes (p, r) of each part times vectors (d, p, r, r) into found (d, s, f)."""
    d, s, _ = values.shape
    first, last = nodes[0, 0], nodes[-1, -1] + 1
    if last - first == nodes.size:  # one after the other: nothing is copied
        own, into = (each[..., first:last].reshape(d, s, *nodes.shape).swapaxes(1, 2) for each in (values, found))
        np.matmul(own, vectors, out=into)
    else:
        found[:, :, nodes] = (values[:, :, nodes].swapaxes(1, 2) @ vectors).swapaxes(1, 2)


def _scaled(part: Nodes, contact: Contact | None, root: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """(d, f, f) symmetric matrix of some nodes of a part in a held bath."""
    matrix = part.stiffness if contact is None else part.stiffness + contact.matrix
    matrix = matrix if len(nodes) == root.shape[1] else matrix[:, nodes[:, None], nodes]
    return matrix / root[:, nodes, None] / root[:, None, nodes]


def _halves(part: Nodes, contact: Contact | None, split: bool) -> list[tuple[np.ndarray, np.ndarray | None]]:
    """(nodes (f,), what the bath feeds into them (d, f)) of a part or, to `split` it, of its even and its odd half where the bath feeds one of them
    alone, for then nothing couples them.
    """
    whole = np.arange(len(part.equilibrium))
    if not split:
        return [(whole, None if contact is None else contact.column)]
    sides = [whole]
    if part.sign is not None:
        sides = [side for side in (np.flatnonzero(part.sign > 0), np.flatnonzero(part.sign < 0)) if len(side)]
    if contact is None:
        return [(side, None) for side in sides]
    feeds = [contact.column[:, side] for side in sides]
    most = [float(np.abs(feed).max()) for feed in feeds]
    if len(sides) > 1 and min(most) > UNCOUPLED * max(most):
        return [(whole, contact.column)]
    return [
        (side, feed if each > UNCOUPLED * max(most) else np.zeros_like(feed))
        for side, feed, each in zip(sides, feeds, most, strict=True)
    ]


def _resolvent(x: np.ndarray, poles: np.ndarray) -> np.ndarray:
    """(d, 2 p, f) real and imaginary parts of 1 / (x + pole) for x (d, f), good until the next ones are asked for: to ask for memory takes
    longer than to fill it.
    """
    p, size = len(poles), 2 * len(poles) * x.size
    room = getattr(_room, "numbers", None)
    if room is None or len(room) < size:
        room = _room.numbers = np.empty(max(size, 2 * AT_ONCE))
    found = room[:size].reshape(len(x), 2 * p, x.shape[1])
    real, over = found[:, :p], found[:, p:]
    np.add(x[:, None, :], poles.real[:, None], out=real)
    np.multiply(real, real, out=over)
    over += poles.imag[:, None] ** 2
    np.divide(1.0, over, out=over)
    real *= over
    over *= -poles.imag[:, None]
    return found


Solved = Modes | Star
