"""Exact evolution of a batch of linear networks: no time steps, any output times, one symmetric eigenproblem for each coupled part.

With C the capacities and K the Laplacian, y = C^(1/2) w obeys y' = -(C^(-1/2) K C^(-1/2) + loss) y + source, whose matrix is symmetric:
its modes decay independently and are evaluated at any clock reading. Nodes that nothing couples fall into parts, which are solved alone,
and only when something in them moves. Longer than others because the parts of a batch, and what they share, stand here. A closed part
conserves its amount exactly, because its constant mode is known in advance.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .memory import Kept
from .network import Network
from .rows import Rows

if TYPE_CHECKING:
    from .star import Solved

Asked = Rows | np.ndarray | None  # sums over the nodes; None: every node
ALIKE = 1e-12  # relative; matrices in proportion to within this share a basis
UNCOUPLED = 1e-13  # of the largest entry; what is smaller is rounding
REMEMBERED = 48  # single networks; two pieces that lie in a vessel take about 1 MB each
MOST_WRITTEN = (
    1_000_000  # numbers that say what the modes of one part are in those of another; more are not written down
)
_DEAD = -600.0  # exp of less is as good as zero, but as a denormal number it would slow everything that touches it


class Begun(NamedTuple):
    """What networks begin with: amounts (d, s, m) of the modes of each part, None where nothing moves in it, for s states; and w of the bath (d, s)
    where it is no part's.
    """

    inside: tuple[np.ndarray | None, ...]
    bath: np.ndarray | None

    @classmethod
    def of(cls, every: Sequence[Begun], place: int, put: Callable[[list[np.ndarray]], np.ndarray]) -> Begun:
        """State number `place` of each, as `put` puts their arrays (d, ...) together, one after the other as (d, g, ...) say."""

        def line(arrays: Sequence[np.ndarray | None]) -> np.ndarray | None:
            moving = next((each for each in arrays if each is not None), None)
            if moving is None:
                return None
            return put([0.0 * moving[:, place] if each is None else each[:, place] for each in arrays])

        inside = zip(*(each.inside for each in every), strict=True)
        return cls(tuple(map(line, inside)), line([each.bath for each in every]))


@dataclass(frozen=True, eq=False)
class Part:
    """Nodes that are coupled to each other and to no others, f of them, in every network.

    make: makes the symmetric matrix (d, f, f), which only an eigenproblem asks for; root (d, f): square root of the capacities, negative for nodes that count the other way round; feed (d, f): conductance from the
    held node, None where there is none; constant (f,): the state that stays as it is when nothing enters or leaves, None where something does; source: makes
    `solved` without an eigenproblem, None where there is no such way.
    """

    nodes: np.ndarray
    make: Callable[[], np.ndarray]
    root: np.ndarray
    feed: np.ndarray | None
    constant: np.ndarray | None
    source: Callable[[], tuple[np.ndarray, np.ndarray]] | None = None
    kept: Kept = field(default_factory=Kept, repr=False)  # what modes add to sums that were asked for

    @cached_property
    def solved(self) -> tuple[np.ndarray, np.ndarray]:
        """rates (d, m), vectors (d or 1, f, m)."""
        if self.source is not None:
            return self.source()
        matrix = self.make()
        pace = self._pace(matrix)
        rates, vectors = np.linalg.eigh(matrix if pace is None else matrix[:1])
        if pace is not None:
            rates = rates * pace[:, None]
        rates = np.maximum(rates, 0.0)
        if self.constant is not None:
            level(rates, vectors, self.constant * (self.root if pace is None else self.root[:1]))
        return rates, vectors

    @cached_property
    def fed(self) -> np.ndarray:
        """(d, m) what the held node at 1 feeds into each mode."""
        assert self.feed is not None  # parts have a feed wherever a node is held
        return self._of_rows(self.feed[:, None, :])[:, 0]

    def _pace(self, matrix: np.ndarray) -> np.ndarray | None:
        """(d,) pace of each network over that of the first, if pace is all that differs."""
        if len(matrix) == 1 or np.ptp(self.root / self.root[:, :1], axis=0).max() > ALIKE:
            return None
        size = np.abs(matrix[0]).max()
        if size == 0:
            return None
        pace = np.einsum("dij,ij->d", matrix, matrix[0]) / (matrix[0] ** 2).sum()
        gap = np.abs(matrix - pace[:, None, None] * matrix[0]).max(axis=(1, 2))
        return pace if np.all(gap <= ALIKE * size * np.abs(pace)) else None

    def amounts(self, start: np.ndarray) -> np.ndarray:
        """Modal amounts (d, s, m) of a start (d, s, f)."""
        return self.into(start * self.root[:, None, :])

    def fed_by(self, held: np.ndarray | None) -> bool:
        """Whether a held node at these values feeds anything into it."""
        return bool(held is not None and self.feed is not None and self.feed.any() and held.any())

    def taken_over(self, before: Part, amounts: np.ndarray, kept: Kept | None) -> np.ndarray:
        """Amounts (d, s, m) of what has these amounts in the modes of another part, of the same nodes."""
        count, size = self.root.shape

        def over(values: np.ndarray) -> np.ndarray:
            return self.into(before.out_of(values) * (self.root / before.root)[:, None])

        if kept is None or count * size**2 > MOST_WRITTEN:
            return over(amounts)
        key = "taken over", id(before), id(self)
        found = kept.get(key)
        if found is None:
            found = kept[key] = over(np.broadcast_to(np.eye(size), (count, size, size)))
        return amounts @ found

    def into(self, values: np.ndarray) -> np.ndarray:
        """(d, k, m) of each mode in values (d, k, f), scaled by the root."""
        return values @ self.solved[1]

    def out_of(self, amounts: np.ndarray) -> np.ndarray:
        """The values (d, k, f) that amounts (d, k, m) of the modes add up to."""
        return amounts @ self.solved[1].swapaxes(1, 2)

    def shapes(self, rows: np.ndarray) -> np.ndarray:
        """What each mode adds to sums `rows` (k, f) or (d, k, f) over the nodes: (d, k, m)."""
        key = rows.tobytes()
        found = self.kept.get(key)
        if found is None:  # one quantity after the other is asked for the same sums
            found = self.kept[key] = self._of_rows(rows)
        return found

    def _of_rows(self, rows: np.ndarray) -> np.ndarray:
        return self.into(rows / self.root[:, None, :])

    def evolved(self, amounts: np.ndarray, clock: np.ndarray, held: np.ndarray | None) -> np.ndarray:
        """Modal amounts (d, ..., m) at clock readings (d, ...), from amounts and a held value that broadcast with them."""
        rates = self.solved[0].reshape(len(clock), *(1,) * (clock.ndim - 1), -1)
        now = rates * -clock[..., None]
        np.maximum(now, _DEAD, out=now)
        fed = None
        if held is not None:
            phi = np.where(rates > 0, -np.expm1(now) / np.where(rates > 0, rates, 1.0), clock[..., None])
            fed = self._source(held) * phi
        np.exp(now, out=now)
        now *= amounts
        return now if fed is None else now + fed

    def integrated(self, amounts: np.ndarray, clock: np.ndarray, held: np.ndarray | None) -> np.ndarray:
        """Integral of `evolved` over the clock from 0, exact and smooth through rates of 0."""
        rates = self.solved[0].reshape(len(clock), *(1,) * (clock.ndim - 1), -1)
        tau = clock[..., None]
        safe = np.where(rates > 0, rates, 1.0)
        phi = np.where(rates > 0, -np.expm1(-rates * tau) / safe, tau)
        if held is None:
            return amounts * phi
        slow = rates * tau < 1e-5
        psi = np.where(slow, 0.5 * tau**2 * (1 - rates * tau / 3), (tau - phi) / safe)
        return amounts * phi + self._source(held) * psi

    def summed(self, now: np.ndarray, rows: np.ndarray | None) -> np.ndarray:
        """(d, t, k) sums over the nodes, or all nodes, of modal amounts (d, t, m)."""
        # Of few times all nodes are quicker found than what each mode adds to many sums.
        few = rows is not None and rows.ndim == 2 and now.shape[1] < len(rows) and self.kept.get(rows.tobytes()) is None
        if rows is not None and not few:
            return now @ self.shapes(rows).swapaxes(1, 2)
        states = self.out_of(now) / self.root[:, None, :]
        return states if rows is None else states @ rows.T

    def _source(self, held: np.ndarray) -> np.ndarray:
        """What the held node at `held` (d, ...) feeds into each mode, (d, ..., m)."""
        return held[..., None] * self.fed.reshape(len(self.fed), *(1,) * (held.ndim - 1), -1)

    def flipped(self, sign: np.ndarray) -> Part:
        """The part with the nodes of sign -1 counted the other way round."""
        mine = sign[self.nodes]
        feed = None if self.feed is None else self.feed * mine
        # Into the amounts of the modes goes root * w alone, so they stay as they are.
        return replace(self, root=self.root * mine, feed=feed, source=lambda: self.solved, kept=Kept())

    def losing(self, loss: np.ndarray) -> Part:
        """The same nodes with a loss (d, f) >= 0, which takes from all states: none stays."""
        if not loss.any():
            return self
        alike = np.ptp(loss, axis=1).max() <= ALIKE * loss.max()
        made = Part(
            self.nodes, lambda: self.make() + loss[:, :, None] * np.eye(len(self.nodes)), self.root, self.feed, None,
            (lambda: (self.solved[0] + loss[:, :1], self.solved[1])) if alike else None,
        )  # fmt: skip
        if alike or not isinstance(self.source, Once):
            return made
        return replace(made, source=Once(self.source.shared, (self.source.kind, loss.tobytes()), made))

    def of(self, draws: np.ndarray) -> Part:
        """Some of the networks."""

        def source() -> tuple[np.ndarray, np.ndarray]:
            rates, vectors = self.solved
            return rates[draws], vectors if len(vectors) == 1 else vectors[draws]

        feed = None if self.feed is None else self.feed[draws]
        return Part(self.nodes, lambda: self.make()[draws], self.root[draws], feed, self.constant, source)


def level(rates: np.ndarray, vectors: np.ndarray, flat: np.ndarray) -> None:
    """Puts the state `flat` (d, f), which stays as it is when nothing leaves, for the slowest mode: it is known without arithmetic and kept exactly."""
    flat = flat / np.linalg.norm(flat, axis=1, keepdims=True)
    rates[:, 0] = 0.0
    vectors[:, :, 0] = flat
    vectors[:, :, 1:] -= flat[:, :, None] * (flat[:, None, :] @ vectors[:, :, 1:])


@dataclass(frozen=True, eq=False)
class Once:
    """`solved` of a part, found once for all that are in proportion to it: they share a dict, and are of one kind."""

    shared: dict
    kind: Hashable
    part: Part

    def __call__(self) -> tuple[np.ndarray, np.ndarray]:
        if self.kind not in self.shared:
            self.keep(self.part.solved)
        return self.shared[self.kind]

    def keep(self, solved: tuple[np.ndarray, np.ndarray]) -> None:
        self.shared[self.kind] = solved


@dataclass(frozen=True, eq=False)
class Modes:
    """Modes of d networks of `size` nodes; make them with `modes_of`. drain (d,): all that leaves the held node, per unit of its w; None:
    no node is held.
    """

    size: int
    parts: tuple[Part, ...]
    drain: np.ndarray | None = None

    @cached_property
    def _nodes(self) -> list[bytes]:
        """The numbers of the nodes of each part."""
        return [part.nodes.tobytes() for part in self.parts]

    def at(self, start: np.ndarray, clock: np.ndarray, rows: Asked = None) -> np.ndarray:
        """States (d, s, t, n) of s solutes that begin as start (d, s, n), at clock readings (d, s, t) >= 0.

        `rows`, or an array (k, n) or (d, k, n): sums over the nodes to return instead, (d, s, t, k).
        """
        return self._each(start, clock, Rows.of(rows), Part.evolved, 1.0)

    def integral(self, start: np.ndarray, clock: np.ndarray, rows: Asked = None) -> np.ndarray:
        """Integral of `at` over the clock from 0, exact: what is lost and supplied is counted from it."""
        return self._each(start, clock, Rows.of(rows), Part.integrated, clock)

    def _each(self, start, clock, rows: Rows | None, one, held_for) -> np.ndarray:
        """`one` of the parts in which something moves, summed over nodes; a held node counts `held_for` times its value."""
        d, s, t = clock.shape
        begun = self.begin(start)
        held = begun.bath

        def now(part: Part, amounts: np.ndarray) -> np.ndarray:
            found = one(part, amounts[:, :, None], clock, None if held is None else held[..., None])
            return found.reshape(d, s * t, -1)

        level = None if held is None else np.broadcast_to(held[..., None] * held_for, clock.shape).reshape(d, s * t)
        return self._gathered((d, s * t), begun, rows, now, level).reshape(d, s, t, -1)

    # -- one network after the other -----------------------------------------------------------------------------------

    def begin(self, start: np.ndarray) -> Begun:
        """What states (d, s, n) are in the modes."""
        held = None if self.drain is None else start[..., -1].copy()  # which lets go of the rest

        def of(part: Part) -> np.ndarray | None:
            mine = start[..., part.nodes]
            return part.amounts(mine) if part.fed_by(held) or mine.any() else None

        inside = tuple(map(of, self.parts))
        if held is None and all(each is None for each in inside):  # so much of nothing
            inside = (np.zeros((*start.shape[:2], len(self.parts[0].nodes))), *inside[1:])
        return Begun(inside, held)

    def after(self, begun: Begun, clock: np.ndarray) -> Begun:
        """What has become of it at clock readings (d, s)."""
        every = zip(self.parts, begun.inside, strict=True)
        return Begun(tuple(None if each is None else part.evolved(each, clock, begun.bath) for part, each in every), begun.bath)  # fmt: skip

    def state(self, begun: Begun) -> np.ndarray:
        """States (d, s, n) of what the modes begin with."""
        shape = next(each for each in (*begun.inside, begun.bath) if each is not None).shape[:2]
        return self._gathered(shape, begun, None, lambda part, amounts: amounts, begun.bath)

    def onto(self, begun: Begun, other: Solved, kept: Kept | None = None) -> Begun:
        """The same in the modes of other networks, in which it goes on node by node. kept: where it is remembered how their modes are made of these,
        because they follow upon them often; None: nothing is.
        """
        if other is self:
            return begun
        if not isinstance(other, Modes) or self._nodes != other._nodes:
            return other.begin(self.state(begun))

        def into(before: Part, part: Part, amounts: np.ndarray | None) -> np.ndarray | None:
            if amounts is not None:
                return part.taken_over(before, amounts, kept)
            if begun.bath is None or not part.fed_by(begun.bath):
                return None
            return np.zeros((*begun.bath.shape, len(part.nodes)))

        return Begun(tuple(map(into, self.parts, other.parts, begun.inside)), begun.bath)

    def along(
        self, begun: Begun, owner: np.ndarray | None, clock: np.ndarray, rows: Asked, kept: dict | Kept,
        wanted: np.ndarray | None = None,
    ) -> np.ndarray:  # fmt: skip
        """States (d, t, n), or sums `rows` (d, t, k), of one solute that sets out again and again on the same networks, as g states say;
        owner (d, t): from which of them each clock reading (d, t) counts, None where there is one. `kept`: the modal amounts at the
        clock readings last asked for, part by part, filled at one reading and used at the next. wanted (d, t): where
        anyone looks at the answer, None: everywhere.
        """
        held = begun.bath
        if held is not None:
            held = held[:, :1] if owner is None else np.take_along_axis(held, owner, axis=1)

        def now(part: Part, amounts: np.ndarray) -> np.ndarray:
            return self._evolved(part, amounts, owner, clock, held, kept)

        level = None if held is None else np.broadcast_to(held, clock.shape)
        return self._gathered(clock.shape, begun, Rows.of(rows), now, level)

    def _gathered(self, shape, begun: Begun, rows: Rows | None, now, level: np.ndarray | None) -> np.ndarray:
        """(d, m, n) or (d, m, k) of modal amounts `now(part, amounts)` (d, m, f) of all parts in which something moves; level (d, m): of the held node."""
        if rows is None:
            result = np.zeros((*shape, self.size))
            for part, amounts in zip(self.parts, begun.inside, strict=True):
                if amounts is not None:
                    result[..., part.nodes] = part.summed(now(part, amounts), None)
            if level is not None:
                result[..., -1] = level
            return result
        total: np.ndarray | None = None
        for part, amounts in zip(self.parts, begun.inside, strict=True):
            mine = rows.over(part.nodes) if amounts is not None else None
            if mine is not None:
                found = part.summed(now(part, amounts), mine)
                total = found if total is None else np.add(total, found, out=total)
        if total is None:
            total = np.zeros((*shape, rows.count))
        if level is not None and rows.bath is not None:
            total += rows.of_bath(level)
        return total

    @staticmethod
    def _evolved(part: Part, amounts, owner, clock: np.ndarray, held, kept: dict | Kept) -> np.ndarray:
        """Modal amounts (d, t, m) of a part as `along`: other places are often asked for at the same times."""
        place = int(part.nodes[0])
        asked = clock.tobytes(), None if owner is None else owner.tobytes()
        last = kept.get(("now", place))
        if last is not None and last[0] == asked:
            return last[1]
        if owner is not None:
            d, g, m = amounts.shape
            amounts = amounts.reshape(d * g, m).take(owner + g * np.arange(d)[:, None], axis=0)
        now = part.evolved(amounts, clock, held)
        kept["now", place] = asked, now
        return now

    def supplied(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """Amount (d, s, t) that the held node has given to the others, less what it took; zero when no node is held."""
        if self.drain is None:
            return np.zeros(clock.shape)
        rows = np.zeros((len(start), 1, self.size))
        for part in self.parts:
            rows[:, 0, part.nodes] = -part.feed  # type: ignore[operator]
        rows[:, 0, -1] = self.drain
        return self.integral(start, clock, rows)[..., 0]

    @property
    def slowest(self) -> np.ndarray:
        """(d,) the smallest rate above zero: the long-time approach to equilibrium, per unit clock."""
        rates = np.concatenate([part.solved[0] for part in self.parts], axis=1)
        return np.where(rates > 1e-12 * rates.max(axis=1, keepdims=True), rates, np.inf).min(axis=1)

    def flipped(self, sign: np.ndarray) -> Modes:
        """The modes of the networks in which the nodes with sign -1 count the other way round."""
        return Modes(self.size, tuple(part.flipped(sign) for part in self.parts), self.drain)

    def losing(self, loss: np.ndarray) -> Modes:
        """The modes of the networks with a loss (d, n) >= 0: what loses alike everywhere in a part keeps its modes."""
        return replace(self, parts=tuple(part.losing(loss[:, part.nodes]) for part in self.parts))

    def of(self, draws: np.ndarray) -> Modes:
        """The modes of some of the networks."""
        drain = None if self.drain is None else self.drain[draws]
        return Modes(self.size, tuple(part.of(draws) for part in self.parts), drain)


_remembered: OrderedDict[bytes, Modes] = OrderedDict()


def modes_of(network: Network) -> Modes:
    """The modes of a batch of networks; each eigenproblem is solved when it is first needed. Cost grows with the cube of the nodes in a
    part (60: about 0.3 ms).
    """
    return _made(network) if len(network.capacity) > 1 else remembered(network, lambda: _made(network))


def remembered(network: Network, make: Callable[[], Modes]) -> Modes:
    """The modes of one network. The last ones are remembered by its content, because stages, waters and the positions of a slider often repeat
    one; `forget()` lets go of them.
    """
    loss = b"" if network.loss is None else network.loss.tobytes()
    key = network.capacity.tobytes() + network.laplacian.tobytes() + loss
    if key in _remembered:
        _remembered.move_to_end(key)
    else:
        _remembered[key] = make()
        if len(_remembered) > REMEMBERED:
            _remembered.popitem(last=False)
    return _remembered[key]


def forget() -> None:
    """Let go of all remembered networks."""
    _remembered.clear()


def _made(network: Network) -> Modes:
    held = network.held
    size = network.capacity.shape[1]
    free = size - held
    root = np.sqrt(network.capacity[:, :free])
    matrix = network.laplacian[:, :free, :free] / root[:, :, None] / root[:, None, :]
    feed = -network.laplacian[:, -1, :free] if held else None
    parts = []
    for nodes in _coupled(matrix, network.blocks):
        inside = matrix[:, nodes[:, None], nodes]
        fed = None if feed is None else feed[:, nodes]
        # A part that is fed has no state of its own that stays.
        stays = (fed is None or not fed.any()) and network.equilibrium[nodes].any()
        parts.append(
            Part(nodes, partial(np.asarray, inside), root[:, nodes], fed, network.equilibrium[nodes] if stays else None)
        )
    modes = Modes(size, tuple(parts), network.laplacian[:, -1, -1] if held else None)
    return modes if network.loss is None else modes.losing(network.loss)


def _coupled(matrix: np.ndarray, blocks: tuple[np.ndarray, ...]) -> list[np.ndarray]:
    """Node numbers of each part: blocks, and the bath where it is not held, that anything links."""
    met = np.abs(matrix).max(axis=0)
    own = [*blocks, *([np.array([len(met) - 1])] if sum(map(len, blocks)) < len(met) else [])]
    most = UNCOUPLED * met.max()
    group = list(range(len(own)))
    for a in range(len(own)):
        for b in range(a):
            if group[a] != group[b] and met[np.ix_(own[a], own[b])].max() > most:
                old = group[a]
                group = [group[b] if one == old else one for one in group]
    return [
        np.sort(np.concatenate([own[n] for n in range(len(own)) if group[n] == each])) for each in dict.fromkeys(group)
    ]
