"""The outline of a body in three dimensions, and the grid of elements that fills it. Geometry alone, in units of its thickness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .cells import graded
from .elements import Elements

ACROSS = 6  # elements from face to face, and from the axis of a round body outwards
ASIDE, ALONG = 4.0, 13.0  # elements over half the width and over the length of a cut of the usual form, which has
USUAL = (
    1.1,
    3.75,
)  # half a width and a length in units of its thickness; others get them by the square root, if not fewer:
# In a body longer than LONG times that an element is as long as FIRST, GROWS, FASTER times the powers 0, 1, 2 of its distance from an open
# end, so that their number is bounded: nothing changes along the middle. At a station and at a closed edge it is as long as at a distance of
# INNER from an open end. Thickness, width and the shares of layers change by at most BENDS of themselves in an element. All in units of the
# thickness; against twice as many elements see tests/bodies/test_outline.py.
LONG, FIRST, GROWS, FASTER, INNER, BENDS = 2.0, 0.1, 0.4, 0.2, 1.0, 0.15
FAR = 1e6  # from anything that makes a profile steep
FLAT = 0.1  # of the width: less than that between two round edges gets no elements of its own
# A half round edge is carried as a parabola that takes the same area and leaves this share of the thickness at the very edge, so that no
# element is bent flat.
EDGE = 3 * np.pi / 4 - 2
THINNEST = 0.004  # of the thickness: a layer that ends somewhere goes on so thin, as what lies beside it where it is nowhere thicker
OF_WIDEST = (
    0.25  # of a layer where it is widest: one that is thin everywhere ends thinner, and is a layer where it does not
)
LEAST = 1e-6  # of the thickness: a layer that is thinner everywhere is so thin, which no answer tells from none and elements can be


@dataclass(frozen=True)
class Outline:
    """A body between k stations, linear between them; everything in units of one length.

    at, thickness, width (k,); borders (k, b + 1): depths of the borders between b layers, from 0 to the thickness; tissues (k, b): number of
    the tissue of each layer, which reaches half-way to the stations beside it; rounded: whether the long edges are half round; closed:
    the faces, of `stations.FACES`, that nothing crosses; turned: a round body of this thickness as its diameter, one layer throughout.
    """

    at: tuple[float, ...]
    thickness: tuple[float, ...]
    width: tuple[float, ...]
    borders: tuple[tuple[float, ...], ...]
    tissues: tuple[tuple[int, ...], ...]
    rounded: bool = False
    closed: tuple[str, ...] = ()
    turned: bool = False

    @property
    def length(self) -> float:
        """From head to tail."""
        return self.at[-1] - self.at[0]

    @property
    def halved(self) -> bool:
        """Whether one half of its width mirrors the other, so that one is enough."""
        return not self.turned and ("left" in self.closed) == ("right" in self.closed)

    @property
    def mirrored(self) -> bool:
        """Whether the half under its first face mirrors that under its second."""
        if self.turned or ("first" in self.closed) != ("second" in self.closed):
            return False
        alike = [np.allclose(np.add(row, row[::-1]), row[-1], rtol=0, atol=1e-9 * row[-1]) for row in self.borders]
        return all(alike) and all(row == row[::-1] for row in self.tissues)


@dataclass(frozen=True, eq=False)
class Grid:
    """The elements of an outline: axes along, across (of a body that is not turned), and from face to face or from the axis outwards.

    along (i,), aside (j,), depth (k,): where the planes of nodes lie, as a share of the length, of the half width from the middle, and of
    the thickness under the first face.
    """

    outline: Outline
    elements: Elements
    along: np.ndarray
    aside: np.ndarray
    depth: np.ndarray

    @property
    def faces(self) -> dict[str, np.ndarray]:
        """Area (n,) of the nodes of each face that is open."""
        outline, last = self.outline, self.elements.points.shape[1] - 1
        ends = {"head": (0, 0), "tail": (0, -1), "second": (last, -1)}
        if not outline.turned:
            ends |= {"first": (last, 0), "right": (1, -1)} | ({} if outline.halved else {"left": (1, 0)})
        if outline.turned:
            ends["side"] = ends.pop("second")
        return {name: self.elements.face(*end) for name, end in ends.items() if name not in outline.closed}


def grid(outline: Outline, fine: float = 1.0) -> Grid:
    """Elements of an outline; `fine`: times as many along every axis as usual."""
    at = np.array(outline.at)
    halfway = 0.5 * (at[1:] + at[:-1])
    changes = [place for place, (a, b) in zip(halfway, pairwise(outline.tissues), strict=True) if a != b]
    breaks = np.sort(np.concatenate([at, changes]))
    ends = "head" not in outline.closed, "tail" not in outline.closed
    usual = max(3, round(ALONG * fine * (outline.length / USUAL[1]) ** 0.5))
    along = _edges(breaks, *_fewer(usual, outline.length, USUAL[1], ends, fine, breaks[1:-1] - at[0], _bends(outline)))
    middles = 0.5 * (along[1:] + along[:-1])
    stations = np.searchsorted(halfway, middles, side="right")
    across = max(2, round(ACROSS * fine))
    x = _nodes(along)
    if outline.turned:
        radius = _nodes(graded(across, "cylinder"))
        radii = 0.5 * np.interp(x, at, outline.thickness)[:, None] * radius
        points = np.stack([np.broadcast_to(x[:, None], radii.shape), radii], axis=-1).reshape(-1, 2)
        numbers = np.repeat(np.array([row[0] for row in outline.tissues])[stations][:, None], across, axis=1)
        elements = Elements((len(x), len(radius)), points, numbers, round=True)
        return Grid(outline, elements, (x - at[0]) / outline.length, np.zeros(1), 0.5 + 0.5 * radius)
    half = 0.5 * float(np.mean(outline.width))
    aside = max(2, round(ASIDE * fine * (half / USUAL[0]) ** 0.5))
    open_side = "right" not in outline.closed
    if outline.halved:
        y = _nodes(_edges(_rims(outline, 0.0), *_fewer(aside, half, USUAL[0], (False, open_side), fine)))
    else:
        sides = "left" not in outline.closed, open_side
        y = _nodes(
            _edges(_rims(outline, -1.0), *_fewer(2 * aside, 2 * half, 2 * USUAL[0], sides, fine, edges=outline.rounded))
        )
    own = np.array([np.diff(row) / row[-1] for row in outline.borders])
    own[:, own.max(axis=0) < LEAST] = LEAST
    thinnest = np.minimum(THINNEST, OF_WIDEST * own.max(axis=0))
    shares = np.array([_kept_apart(row, thinnest) for row in own])
    z, owner = _through(shares, across)  # (k, places)
    z_at = np.stack([np.interp(x, at, column) for column in z.T], axis=1)
    thick, wide = (np.interp(x, at, each) for each in (outline.thickness, outline.width))
    local = _thickness(thick[:, None], wide[:, None], y, outline.rounded)
    shape = (len(x), len(y), z.shape[1])
    points = np.empty((*shape, 3))
    points[..., 0] = x[:, None, None]
    points[..., 1] = (0.5 * wide[:, None] * y)[:, :, None]
    points[..., 2] = local[:, :, None] * (z_at - 0.5)[:, None, :]
    numbers = _tissues(outline, shares, thinnest, stations, middles)[:, owner]
    every = np.broadcast_to(numbers[:, None, :], (len(along) - 1, (len(y) - 1) // 2, len(owner)))
    elements = Elements(shape, points.reshape(-1, 3), every, 2.0 if outline.halved else 1.0)
    return Grid(outline, elements, (x - at[0]) / outline.length, y, z_at)


def _rims(outline: Outline, begin: float) -> np.ndarray:
    """Shares of half the width from `begin` to 1, between them where round edges begin: an element across that border would be bent wrongly."""
    flat = 1 - float(np.mean(np.minimum(outline.thickness, outline.width) / np.array(outline.width)))
    inner = [side * flat for side in (-1, 1) if side * flat > begin] if outline.rounded and flat > FLAT else []
    return np.array([begin, *inner, 1.0])


def _thickness(thick: np.ndarray, wide: np.ndarray, y: np.ndarray, rounded: bool) -> np.ndarray:
    """(i, j) thickness at shares y (j,) of the half width."""
    if not rounded:
        return np.broadcast_to(thick, (len(thick), len(y)))
    round_off = 0.5 * np.minimum(thick, wide)
    inside = np.clip(0.5 * wide * (1 - np.abs(y)) / round_off, 0.0, 1.0)
    return thick - 2 * round_off * (1 - EDGE) * (1 - inside) ** 2


def _kept_apart(shares: np.ndarray, thinnest: np.ndarray) -> np.ndarray:
    """Shares (b,) of the thickness with none below `thinnest` (b,)."""
    shares = np.maximum(shares, thinnest) if len(shares) > 1 else shares
    return shares / shares.sum()


def _through(shares: np.ndarray, across: int) -> tuple[np.ndarray, np.ndarray]:
    """(places (k, p) of the planes of nodes as a share of the thickness at each station, layer (e,) of each element between them)."""
    mean = shares.mean(axis=0)
    counts = [max(1 if share < 0.1 else 2, round(across * float(share))) for share in mean]
    starts = np.concatenate([np.zeros((len(shares), 1)), np.cumsum(shares, axis=1)], axis=1)
    parts = []
    for number, count in enumerate(counts):
        ends = number == 0, number == len(counts) - 1
        inside = _edges(np.array([0.0, 1.0]), count, *_ends(*ends))
        parts.append(
            starts[:, number, None] + shares[:, number, None] * inside[: -1 if number < len(counts) - 1 else None]
        )
    edges = np.concatenate(parts, axis=1)
    return np.stack([_nodes(row) for row in edges]), np.repeat(np.arange(len(counts)), counts)


def _tissues(
    outline: Outline, shares: np.ndarray, thinnest: np.ndarray, stations: np.ndarray, middles: np.ndarray
) -> np.ndarray:
    """(e, b) tissue of each layer in each element along; one that has ended is what lies beside it."""
    found = np.array(outline.tissues)[stations]
    thin = np.stack([np.interp(middles, outline.at, column) for column in shares.T], axis=1) < 1.01 * thinnest
    for layer in range(shares.shape[1]):
        beside = layer - 1 if layer > 0 else layer + 1
        if shares.shape[1] > 1:
            found[thin[:, layer], layer] = found[thin[:, layer], beside]
    return found


def _ends(first: bool, last: bool) -> tuple[np.ndarray, np.ndarray]:
    """(shares of the length, shares of the elements before them): finer at ends that are open."""
    table = np.linspace(0.0, 1.0, 401)
    if first and last:
        return graded(400), table
    if first or last:
        one = graded(400, "cylinder")
        return one if last else 1 - one[::-1], table
    return table, table


def _fewer(
    usual: int,
    length: float,
    form: float,
    ends: tuple[bool, bool],
    fine: float,
    inner: Sequence[float] | np.ndarray = (),
    bends: tuple[np.ndarray, np.ndarray] | None = None,
    edges: bool = False,
) -> tuple[int, np.ndarray, np.ndarray]:
    """(elements; shares of the length, shares of the elements before them): as usual, or fewer where the body is long.

    usual: elements by the root of the length, which is `form` in the usual form; ends: which are open; inner: places between them where something begins; bends: places, and how many times BENDS the form has changed
    up to each; edges: both ends are round edges.
    """
    places = [
        (at, 0.0 if is_open else INNER) for at, is_open in zip((0.0, length), ends, strict=True) if is_open or edges
    ]
    places += [(float(each), INNER) for each in inner]
    steps = np.concatenate([[0.0], np.geomspace(0.01 * FIRST, length, 300)])
    every = [np.zeros(1), np.full(1, length), *(at + side * steps for at, _ in places for side in (1, -1))]
    x = np.unique(np.clip(np.concatenate(every), 0.0, length))
    away = np.min([np.full(len(x), FAR), *(np.abs(x - at) + begin for at, begin in places)], axis=0)
    dense = 1.0 / (FIRST + GROWS * away + FASTER * away**2)
    before = np.concatenate([[0.0], np.cumsum(0.5 * (dense[1:] + dense[:-1]) * np.diff(x))])
    if bends is not None:
        before = before + np.interp(x, *bends)
    number = max(3, int(np.ceil(fine * before[-1])))
    if number >= usual or length <= LONG * form:
        return usual, *_ends(*ends)
    return number, x / length, before / before[-1]


def _bends(outline: Outline) -> tuple[np.ndarray, np.ndarray]:
    """(places from the head, how many times BENDS the form has changed up to each), between its stations and at them."""
    at = np.array(outline.at)
    x = np.unique(np.concatenate([np.linspace(a, b, 33) for a, b in pairwise(at)]))
    forms = [np.log(np.interp(x, at, each)) for each in (outline.thickness, outline.width)]
    forms += [np.interp(x, at, row) for row in np.transpose([np.divide(row, row[-1]) for row in outline.borders])]
    return x - at[0], np.concatenate(
        [[0.0], np.cumsum(np.sum([np.abs(np.diff(each)) for each in forms], axis=0)) / BENDS]
    )


def _edges(breaks: np.ndarray, steps: int, shares: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Edges of about so many elements over the breaks, each of which is an edge; shares, before: how they crowd, as `_ends`."""
    found = [breaks[:1]]
    length, counts = breaks[-1] - breaks[0], np.interp((breaks - breaks[0]) / (breaks[-1] - breaks[0]), shares, before)
    for (a, b), stop in zip(pairwise(counts), breaks[1:], strict=True):
        edges = breaks[0] + length * np.interp(np.linspace(a, b, max(1, round(steps * (b - a))) + 1), before, shares)
        edges[-1] = stop
        found.append(edges[1:])
    return np.concatenate(found)


def _nodes(edges: np.ndarray) -> np.ndarray:
    """Edges of elements and the middles between them."""
    found = np.empty(2 * len(edges) - 1)
    found[::2] = edges
    found[1::2] = 0.5 * (edges[1:] + edges[:-1])
    return found


def block(width: float, length: float, closed: Sequence[str] = (), tissue: int = 0) -> Outline:
    """A block one unit thick of one tissue."""
    return Outline((0.0, length), (1.0, 1.0), (width,) * 2, ((0.0, 1.0),) * 2, ((tissue,),) * 2, False, tuple(closed))


def cylinder(length: float, closed: Sequence[str] = ()) -> Outline:
    """A cylinder one unit across, with ends."""
    return Outline((0.0, length), (1.0, 1.0), (1.0,) * 2, ((0.0, 1.0),) * 2, ((0,),) * 2, True, tuple(closed), True)
