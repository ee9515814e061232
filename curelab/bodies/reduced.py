"""Few terms that carry what can happen in a body of many nodes: a reduced basis, with its own estimate of its error.

What a bath does to meat is smooth in space after minutes, so it lies in a small space whatever happens. Two steps find it:

- a rich space: answers of all nodes to baths that come and go at a few rates, for a few films at the faces and for a body that is closed
  (a rational Krylov space: Ruhe, Linear Algebra and its Applications 58, 1984; Druskin and Simoncini, Systems and Control Letters 60, 2011);
- the terms: what most of the states on random courses through baths, turns and rests have in common, computed in the rich space (proper
  orthogonal decomposition: Sirovich, Quarterly of Applied Mathematics 45, 1987), the state that is 1 everywhere first, so that nothing
  is lost. Among them are the courses of something that begins at the deepest place alone: what a place tells of a course is also what
  that course would tell of it (reciprocity), so the error there is a product of two small ones, as it is for the average.

The error is what terms and rich space tell differently on other random courses, and what the rich space tells differently from all nodes
at a rate and a film that were not used. Lengths here are in units of the thickness, and one tissue conducts 1; a film is then
a Biot number, and one basis serves every size, temperature and solute. Longer than others because the rich space, the courses that
choose among it and the estimate of the error rest on one another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg as la

from .kept import COUNTS, FEW, Basis
from .problem import Problem

# Films over conductivity and thickness, of a moved bath at the faces that lie free, and of the wall at the one that lies; from a small
# piece in slow meat to a ham in quick meat, with the published range of films (numbers.csv).
HARD, SOFT, LYING = 3000.0, 60.0, (30.0, 300.0, 300.0)
# Moved and lying, on the courses that make the terms. The skin an hour after a change is what tells them apart, so they lie close.
COURSES = ((3000.0, 300.0), (1000.0, 100.0), (350.0, 35.0), (130.0, 13.0), (50.0, 5.0))
OTHERS = ((1000.0, 60.0), (130.0, 13.0))  # on those that test them
RATES = (
    1.0,
    2e4,
)  # slowest over the lag of the body, quickest over the square of its thickness: the first is weeks, the second minutes
SINCE = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.6])  # over the lag: when the courses of the deepest place are looked at
SHORTEST = 1.4e-4  # of the clock: an hour in 8 cm of lean meat
STEPS, FINER = 7, 2  # rates, and how often their steps are halved, less one, at most
KEPT = 40  # answers of one space that are carried to the next
TOO_SMALL = 1e-7  # of the largest: rounding
MADE, TESTED = 40, 12  # random courses of each film
# Of a random course, and states that are taken in each stretch, besides those an hour after its beginning and at its end.
STRETCHES, SNAPS = 4, 3
LONGEST = 0.3  # of the clock: a stretch, or four times the lag, if that is longer
MOST_BYTES = 110_000_000  # of factors that are kept at once
RICH, MORE = 400, 60  # terms of the rich space, at most; and for each further way to conduct
# What is asked, of the driving strength: at the slowest spot, on average, root mean square over the body, anywhere an hour after a change.
ASKED = (5e-4, 1e-4, 2e-3, 1e-2)
LOOSER = 4.0  # for draws


@dataclass(frozen=True, eq=False)
class Small:
    """A body carried by r terms that are orthonormal in its mass. stiffness: (r, r) for each way its tissues may conduct; faces (3, r, r) and
    feeds (3, r): films of 1 on the first, the second and all other faces; even (r,): the state that is 1 everywhere; longest: a stretch; sign (r,):
    what each changes to when the body is turned over, None without a mirror.
    """

    stiffness: tuple[np.ndarray, ...]
    faces: np.ndarray
    feeds: np.ndarray
    even: np.ndarray
    longest: float
    sign: np.ndarray | None

    def of(self, terms: np.ndarray, sign: np.ndarray) -> Small:
        """Carried by sums `terms` (r, m) of its own, each even or odd as `sign` (m,) says."""
        return Small(
            tuple(terms.T @ matrix @ terms for matrix in self.stiffness),
            terms.T @ self.faces @ terms,
            self.feeds @ terms,
            terms.T @ self.even,
            self.longest,
            None if self.sign is None else sign,
        )

    def course(self, way: int, films: tuple[float, float], sequences: int, seed: int) -> np.ndarray:
        """States (r, k) on random courses through stretches with a bath or none, turned or not, the same ones for the same `seed`."""
        chance = np.random.default_rng(seed)
        ways = self._ways(films)
        modes = [self._modes(way, each) for each in ways]
        state, level, found = np.zeros((len(self.even), sequences)), np.ones(sequences), []
        for stretch in range(STRETCHES):
            which = chance.integers(0, len(ways), sequences)
            which = np.where((which == 1) & (stretch == 0), 0, which)
            last = np.exp(chance.uniform(np.log(10 * SHORTEST), np.log(self.longest), sequences))
            level = np.where(chance.random(sequences) < 0.6, level, chance.random(sequences) < 0.3)
            shares = (np.arange(SNAPS) + chance.random((sequences, SNAPS))) / SNAPS
            ends = np.zeros((sequences, 1)), np.ones((sequences, 1))
            times = SHORTEST * (last[:, None] / SHORTEST) ** np.concatenate([ends[0], shares, ends[1]], axis=1)
            now = np.empty((len(self.even), sequences, SNAPS + 2))
            for number, (rates, vectors, goal) in enumerate(modes):
                own = np.flatnonzero(which == number)
                towards = goal[:, None] * level[own]
                amounts = (vectors.T @ state[:, own] - towards)[:, :, None] * np.exp(-rates[:, None, None] * times[own])
                now[:, own] = (vectors @ (towards[:, :, None] + amounts).reshape(len(rates), -1)).reshape(
                    len(rates), len(own), SNAPS + 2
                )
            found.append(now.reshape(len(self.even), sequences * (SNAPS + 2)))
            state = now[:, :, -1]
        return np.hstack(found)

    def spread(self, place: np.ndarray, films: tuple[float, float], times: np.ndarray) -> np.ndarray:
        """States (r, k), each as large as 1 everywhere, of what begins at one place, read by `place` (r,), in every way to lie."""
        found = []
        for each in self._ways(films):
            rates, vectors, _ = self._modes(0, each)
            found.append(vectors @ (np.exp(-rates[:, None] * times) * (vectors.T @ place)[:, None]))
        states = np.hstack(found)
        return states * (np.linalg.norm(self.even) / np.linalg.norm(states, axis=0))

    def _ways(self, films: tuple[float, float]) -> list[tuple[float, float, float]]:
        """Films on the first, the second and all other faces: in a bath, closed, and lying on the first or on the second face."""
        moved, contact = films
        lying = [(contact, moved, moved), (moved, contact, moved)] if self.faces[:2].any() else []
        return [(moved, moved, moved), (0.0, 0.0, 0.0), *lying]

    @cached_property
    def _known(self) -> dict[tuple, tuple[np.ndarray, np.ndarray, np.ndarray]]:
        return {}

    def _modes(self, way: int, films: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """As `_solved`, each once: all films share the body that is closed, and what begins at a place goes through what courses do."""
        if (way, films) not in self._known:
            self._known[way, films] = self._solved(way, films)
        return self._known[way, films]

    def _solved(self, way: int, films: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(rates (r,), vectors (r, r), amounts (r,) to which a bath at 1 leads)."""
        if self.sign is not None and films[0] > films[1]:
            rates, vectors, goal = self._modes(way, (films[1], films[0], films[2]))
            return rates, self.sign[:, None] * vectors, goal
        matrix = self.stiffness[way] + np.tensordot(np.array(films), self.faces, 1)
        rates, vectors = np.empty(len(matrix)), np.zeros_like(matrix)
        sides = [np.full(len(matrix), True)]
        if self.sign is not None and films[0] == films[1]:  # then even and odd terms do not meet
            sides = [self.sign > 0, self.sign < 0]
        for side in sides:
            rates[side], vectors[np.ix_(side, side)] = la.eigh(matrix[np.ix_(side, side)], check_finite=False)
        if not any(films):
            return np.maximum(rates, 0.0), vectors, np.zeros(len(rates))
        return rates, vectors, vectors.T @ self.even


def reduced(problem: Problem, step: Callable[[], object] = lambda: None) -> Basis:
    """A basis that holds what is ASKED, as far as COUNTS go; `step` is called as it goes on."""
    lag = problem.solver(0.0, problem.film((HARD, HARD, HARD)))(problem.mass[:, None])[:, 0]
    deepest = int(np.argmax(lag))
    rates = np.geomspace(RATES[0] / (8 * lag[deepest]), RATES[1], STEPS)
    for _ in range(FINER):
        values, sign = _rich(problem, rates, step)
        small = _carried(problem, values, sign, max(LONGEST, 4 * lag[deepest]))
        beyond = _off(problem, values, small, rates, deepest)
        if np.all(beyond[:3] <= ASKED[:3]):
            break
        rates = np.geomspace(rates[0], rates[-1], 2 * len(rates) - 1)
    place = values[deepest]
    # Half of what counts is volume, half the nodes: a corner has next to no volume, and is seen all the same.
    counts_as = np.eye(values.shape[1]) + problem.mass.sum() / len(values) * (values.T @ values)
    courses = [small.course(way, films, MADE, 10 + n) for n, (films, way) in enumerate(_each(COURSES, small))]
    tests = [
        (way, films, 90 + n, small.course(way, films, TESTED, 90 + n))
        for n, (films, way) in enumerate(_each(OTHERS, small))
    ]

    def chosen(states: list[np.ndarray], counts: Sequence[int], tests: list, asked: np.ndarray):
        """(terms, sign, error): as few as hold what is asked in the tests."""
        every, signs = _leading(np.hstack(states), counts_as, small.even, sign, max(counts))
        for count in [count for count in counts if count < every.shape[1]] + [every.shape[1]]:
            step()
            terms = every[:, :count]
            own, off = small.of(terms, signs[:count]), beyond
            for way, films, seed, known in tests:
                gap = known - terms @ own.course(way, films, TESTED, seed)
                off = np.maximum(off, _differences(gap, values, small.even, deepest))
                if count < every.shape[1] and np.any(off > asked):
                    break  # there are more terms, and all of them are tested if none are enough
            if np.all(off <= asked):
                break
        return values @ terms, signs[:count], off

    usual = [states for states, (_, way) in zip(courses, _each(COURSES, small), strict=True) if way == 0]
    spread = [small.spread(place, films, SINCE * lag[deepest]) for films in COURSES[:2]]
    most = chosen([*usual, *spread], COUNTS, [test for test in tests if test[0] == 0], np.array(ASKED))
    few = chosen(
        [*courses, small.spread(place, COURSES[1], SINCE * lag[deepest])], FEW, tests, LOOSER * np.array(ASKED)
    )
    return Basis(most[0], few[0], most[1], few[1], np.stack([most[2], few[2]]), lag)


def _each(pairs: Sequence[tuple[float, float]], small: Small) -> list[tuple[tuple[float, float], int]]:
    """Films, each with a way to conduct: all films with the usual one, and one of them with each of the others."""
    return [(pair, 0) for pair in pairs] + [(pairs[n % len(pairs)], n) for n in range(1, len(small.stiffness))]


def _differences(gap: np.ndarray, values: np.ndarray, even: np.ndarray, deepest: int) -> np.ndarray:
    """(4,) worst of gaps (r, k) between states, as ASKED."""
    total = np.linalg.norm(even)
    return np.array(
        [
            np.abs(values[deepest] @ gap).max(),
            np.abs(even @ gap).max() / total**2,
            np.linalg.norm(gap, axis=0).max() / total,
            np.abs(values.astype(np.float32) @ gap.astype(np.float32)).max(),  # the largest part of the work
        ]
    )


def _rich(problem: Problem, rates: np.ndarray, step: Callable[[], object]) -> tuple[np.ndarray, np.ndarray | None]:
    """(values (n, r) of the rich space, sign (r,) of each, None without a mirror)."""
    ways = [(HARD, HARD, HARD), (SOFT, SOFT, SOFT)]
    if problem.turns:
        ways += [LYING] if problem.flipped is not None else [LYING, (LYING[1], LYING[0], LYING[2])]
    asked = [
        (rate, problem.film(way), number)
        for number in range(len(problem.stiffness))
        for way in (*(ways if number == 0 else ways[:1]), (0.0, 0.0, 0.0))
        for rate in rates[:: 1 if number == 0 else 2]
    ]
    # What is asked twice is kept, as far as there is room: all together take most of the memory.
    room, kept = MOST_BYTES, dict[int, Callable[[np.ndarray], np.ndarray]]()

    def solver(number: int) -> Callable[[np.ndarray], np.ndarray]:
        return kept.get(number) or problem.solver(*asked[number])

    for number, each in enumerate(asked):
        size = problem.factor_bytes(each[1])
        if each[1].any() and size <= room:
            kept[number], room = problem.solver(*each), room - size
    first = np.hstack([solver(n)(each[1][:, None]) for n, each in enumerate(asked) if each[1].any()])
    some, _ = _compressed(problem, first.copy(), min(KEPT, first.shape[1]))
    fed, begin = problem.mass[:, None] * some, first.shape[1]
    every = np.empty((len(fed), begin + len(asked) * fed.shape[1]))
    every[:, :begin] = first
    for number in range(len(asked)):
        every[:, begin + number * fed.shape[1] : begin + (number + 1) * fed.shape[1]] = solver(number)(fed)
        step()
    return _compressed(problem, every, RICH + MORE * (len(problem.stiffness) - 1))


def bytes_of(shape: Sequence[int], ways: int, mirrored: bool) -> int:
    """About what it takes, at most, to find the terms of a grid of this shape: answers, three sets of terms, the bands of each way to conduct."""
    nodes, beside = int(np.prod(shape)), sorted(shape)[:-1]
    rates = (STEPS - 1) * 2 ** (FINER - 1) + 1
    answers = KEPT * (5 * rates + (ways - 1) * (rates + 1)) * (3 if mirrored else 1)
    band = 2 * int(np.prod(beside)) + 2 * beside[0] + 3
    return 8 * nodes * (answers + 3 * (RICH + MORE * (ways - 1)) + band * (ways + 1))


def _compressed(problem: Problem, columns: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray | None]:
    """(terms (n, r), orthonormal in the mass, of which columns (n, k) are sums; sign): the constant, and what else weighs most. The columns are
    written over, for nothing takes more room.
    """
    mass, root = problem.mass, np.sqrt(problem.mass)
    even = np.ones(len(mass)) / np.sqrt(mass.sum())
    columns /= np.sqrt(np.einsum("n,nk,nk->k", mass, columns, columns))
    columns -= ((even * mass) @ columns) * even[0]  # even is the same at every node
    if problem.flipped is None:
        return np.c_[even, _main(columns, root, most - 1)], None
    over = columns[problem.flipped]
    halves = [_main(0.5 * (columns + side * over), root, most // 2) for side in (1.0, -1.0)]
    return np.c_[even, *halves], np.repeat([1.0, 1.0, -1.0], [1, *(half.shape[1] for half in halves)])


def _main(columns: np.ndarray, root: np.ndarray, most: int) -> np.ndarray:
    """Terms (n, r) that carry most of the columns (n, k): a singular value decomposition on a random sketch (Halko, Martinsson and Tropp,
    SIAM Review 53, 2011). Nodes that store nothing get what the columns have there.
    """
    empty = root == 0
    there = columns[empty]
    columns *= root[:, None]
    weighted = sketch = columns
    if columns.shape[1] > most:
        sketch = weighted @ np.random.default_rng(0).standard_normal((columns.shape[1], most))
    frame = la.qr(sketch, mode="economic", check_finite=False)[0]
    along = frame.T @ weighted
    sizes, vectors = la.eigh(along @ along.T, check_finite=False)
    kept = sizes > TOO_SMALL**2 * sizes[-1]
    vectors, sizes = vectors[:, kept][:, ::-1], sizes[kept][::-1]
    found = (frame @ vectors) / np.where(root > 0, root, 1.0)[:, None]
    found[empty] = there @ (along.T @ (vectors / sizes))
    return found


def _carried(problem: Problem, values: np.ndarray, sign: np.ndarray | None, longest: float) -> Small:
    """A body carried by terms (n, r), each even or odd as `sign` (r,) says."""
    roles = (problem.first, problem.second, problem.rest)
    return Small(
        tuple(values.T @ (matrix @ values) for matrix in problem.stiffness),
        np.array([values.T @ (area[:, None] * values) for area in roles]),
        np.array([area @ values for area in roles]),
        problem.mass @ values,
        longest,
        sign,
    )


def _off(problem: Problem, values: np.ndarray, small: Small, rates: np.ndarray, deepest: int) -> np.ndarray:
    """(4,) what the rich space tells differently from all nodes, of a bath that comes at a rate and through a film that were not used."""
    worst, root = np.zeros(4), np.sqrt(problem.mass.sum())
    for rate, film in ((np.sqrt(rates[2] * rates[3]), 300.0), (np.sqrt(rates[-3] * rates[-2]), 1000.0)):
        loads = problem.film((film,) * 3)
        exact = problem.solver(rate, loads)(loads[:, None])[:, 0]
        matrix = small.stiffness[0] + film * small.faces.sum(axis=0) + rate * np.eye(values.shape[1])
        gap = values @ la.solve(matrix, loads @ values, assume_a="pos") - exact
        mean, square = problem.mass @ gap / root**2, np.sqrt(problem.mass @ gap**2) / root
        worst = np.maximum(worst, np.abs([gap[deepest], mean, square, np.abs(gap).max()]))
    return worst


def _leading(
    states: np.ndarray, norm: np.ndarray, even: np.ndarray, sign: np.ndarray | None, most: int
) -> tuple[np.ndarray, np.ndarray]:
    """(sums (r, m) of terms, orthonormal, that carry most of the states (r, k) as `norm` (r, r) weighs them, the even state first; sign (m,)):
    each is even or odd with a mirror.
    """
    flat = even / np.linalg.norm(even)
    states = states - np.outer(flat, flat @ states)
    sides = [np.ones(len(flat), bool)] if sign is None else [sign > 0, sign < 0]
    found, sizes, signs = [], [], []
    for side, own in zip((1.0, -1.0), sides, strict=False):
        root = la.cholesky(norm[np.ix_(own, own)])
        weighed = root @ states[own]
        size, vectors = la.eigh(weighed @ weighed.T, check_finite=False)
        column = np.zeros((len(flat), len(size)))
        column[own] = la.solve_triangular(root, vectors)
        found.append(column)
        sizes.append(size)
        signs.append(np.full(len(size), side))
    size = np.concatenate(sizes)
    first = np.argsort(-size, kind="stable")[: min(most - 1, int((size > TOO_SMALL**2 * size.max()).sum()))]
    terms, _ = la.qr(np.c_[flat, np.hstack(found)[:, first]], mode="economic", check_finite=False)
    return terms * np.sign(flat @ terms[:, 0]), np.append(1.0, np.concatenate(signs)[first])
