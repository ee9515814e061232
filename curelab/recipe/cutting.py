"""What a knife and a crowded tub do to pieces: split, trim, fold, touch. Pure functions from pieces to pieces; no meat is lost.

A face that the knife made is open; a face that another piece lies against is closed (see `stations.Faces`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from .. import units
from ..fields import InputError, Problem, refuse, unchecked
from ..letters import quoted
from .piece import Piece
from .stations import Faces, Station

THINNEST_SEAM = 0.0001  # m; a thinner one is not told apart from the lean
WAYS = {"stacked": ("second", "first"), "side by side": ("right", "left"), "end to end": ("tail", "head")}


def split(piece: Piece, *, at: str | float | None = None, along: str | None = None) -> tuple[Piece, Piece]:
    """Two pieces of one: cut across `at` a place [m] from its head, or `along` its "seam".

    Across: head and tail. Along the seam: the upper and the lower muscle, with the fat of the seam trimmed off; where the seam has run out
    the knife goes on at the same share of the thickness. The lower one is turned over, so that its fat lies on its first face. New faces
    are open; weights are shared out by the measures. Raises InputError for a piece without a length or a seam, and for a part too small.

    >>> block = Piece(name="loin", shape="block", thickness="8 cm", width="16 cm", length="25 cm", weight="3.4 kg")
    >>> [(part.name, part.length, round(part.weight, 3)) for part in split(block, at="10 cm")]
    [('loin, head', 0.1, 1.36), ('loin, tail', 0.15, 2.04)]
    """
    if (at is None) == (along is None):
        raise refuse("", 'say one of at (a place, like "12 cm") and along ("seam")')
    if at is not None:
        return _across(piece, _length(at, "at"))
    if along != "seam":
        raise refuse("along", f'{quoted(along)} is nothing a knife can follow; write "seam", or give a place by "at"')
    return _along_the_seam(piece)


def trim(piece: Piece, to: str | float = 0.0) -> Piece:
    """The piece with its fat cap cut down to at most `to` [m] everywhere: thinner, and lighter by what was cut off.

    >>> fat = Piece(shape="block", thickness="6 cm", width="10 cm", length="20 cm", weight="1.24 kg", fat_cap="1 cm")
    >>> trimmed = trim(fat, "4 mm")
    >>> trimmed.thickness, round(fat.weight - trimmed.weight, 3)
    (0.054, 0.113)
    """
    if not piece.has_cap:
        raise refuse("fat_cap", f"{quoted(piece.name)} has no fat cap, so there is nothing to trim")
    left, faces = _length(to, "to"), 2 if piece.capped == "both faces" else 1
    cap, whole = min(piece.fat_cap, left), piece.whole()
    if whole is None:
        widths = piece.layers()
        off = faces * widths[0][0].density * (piece.fat_cap - cap) / sum(part.density * width for part, width in widths)
    else:
        # The cap in two layers, of which the knife takes the outer one.
        borders = tuple((0.0, max(0.0, row[1] - left), *row[1:]) for row in whole.borders)
        kilograms = replace(whole, borders=borders, tissues=tuple((row[0], *row) for row in whole.tissues)).heavy()
        off = faces * float(kilograms[0] / kilograms.sum())
    changes: dict[str, Any] = {"fat_cap": cap, "weight": piece.weight * (1 - off)}
    if piece.stations:
        changes["stations"] = tuple(_trimmed(each, piece.fat_cap, left, faces) for each in piece.stations)
    else:
        changes["thickness"] = piece.thickness - faces * (piece.fat_cap - cap)
    return piece.but(**changes)


def sliced(piece: Piece) -> Piece:
    """A piece that is to be cut into slices, as one slab: what has a length is then cured through its broad faces, and the edges, which
    only help, are left out. A slab, a sphere and an endless cylinder stay as they are.
    """
    if piece.solid() is None:
        return piece
    return piece.but(
        shape="slab", thickness=piece.thickness, width=None, length=None, stations=(), faces=Faces(), edges="rounded",
    )  # fmt: skip


def fold(piece: Piece, at: str | float) -> tuple[Piece, Piece]:
    """A piece folded over at a place [m] from its head, second face on second face: both halves, closed where they touch and where they
    hang together. What of the longer half lies bare is counted as touching. Raises InputError as `split`, and for a round piece.
    """
    if problem := _no_faces(piece):
        raise InputError([problem])
    head, tail = split(piece, at=at)
    return (
        head.but(faces=head.faces.but(tail="cut off", second="touching")),
        tail.but(faces=tail.faces.but(head="cut off", second="touching")),
    )


def touch(pieces: Sequence[Piece], how: str = "stacked") -> tuple[Piece, ...]:
    """Pieces that lie against each other in the order given: "stacked", "side by side" or "end to end"; the faces between them are closed,
    as wholly as if all were of one size.
    """
    if how not in WAYS:
        raise refuse("how", f"{quoted(how)} is not one of {', '.join(WAYS)}")
    problems = [problem for each in pieces if (problem := _no_faces(each))]
    if problems:
        raise InputError(problems)
    here, there = WAYS[how]
    return tuple(
        piece.but(
            faces=piece.faces.but(
                **({there: "touching"} if number else {}), **({here: "touching"} if number < len(pieces) - 1 else {})
            )
        )
        for number, piece in enumerate(pieces)
    )


def _no_faces(piece: Piece) -> Problem | None:
    """Why its faces cannot lie against others."""
    if piece.shape in ("block", "cut"):
        return None
    return Problem(piece.name, f"a {piece.shape} has no faces that can be told apart; write it as a block or a cut")


def _across(piece: Piece, at: float) -> tuple[Piece, Piece]:
    whole = piece.whole()
    if whole is None:
        raise refuse("at", f"{quoted(piece.name)} is a {piece.shape} without a length; write it as a block or a cut")
    place = whole.at[0] + at
    if not 0 < at < whole.length:
        raise refuse(
            "at", f"{_cm(at)} does not lie between the ends of {quoted(piece.name)} (0 to {_cm(whole.length)})"
        )
    parts = []
    for end, lengths in (("head", (0.0, at)), ("tail", (at, whole.length))):
        other = "tail" if end == "head" else "head"
        changes: dict[str, Any] = {"name": _named(piece, end), "faces": piece.faces.but(**{other: "open"})}
        if piece.stations:
            changes["stations"] = _stations_between(piece, place, end)
        else:
            changes["length"] = lengths[1] - lengths[0]
        solid = unchecked(piece, **changes).solid()
        assert solid is not None
        parts.append((changes, solid.weight))
    return _weighed(piece, parts)


def _stations_between(piece: Piece, place: float, end: str) -> tuple[Station, ...]:
    """The stations on one side of a place, and one at the place itself; counted from the first of them. Where the tissue changes between
    two stations, one more keeps the border where it was, half-way between them.
    """
    behind = sum(each.at <= place for each in piece.stations)
    before, after = piece.stations[behind - 1], piece.stations[behind]
    places = [place]
    if (before.tissue, before.below) != (after.tissue, after.below):
        places.append(before.at + after.at - place)
    mine = (lambda where: where <= place) if end == "head" else (lambda where: where >= place)
    middle = 0.5 * (before.at + after.at)  # there the knife leaves each part its own tissue
    near = lambda where: before if where < middle or (where == middle and end == "head") else after  # noqa: E731
    there = {each.at: each for each in piece.stations} | {
        where: station_at(piece, where, near(where)) for where in places
    }
    chosen = [there[where] for where in sorted(there) if mine(where)]
    return tuple(unchecked(each, at=each.at - chosen[0].at) for each in chosen)


def station_at(piece: Piece, place: float, near: Station | None = None) -> Station:
    """What a ruler would find at a place [m] along a cut, from its head; `near`: the station whose tissue it has, if not that of its place."""
    whole = piece.whole()
    assert whole is not None
    thick, wide, depths = whole.section(place)
    near = near or piece.stations[whole.station(place)]
    seam = depths[3] - depths[2]
    found = unchecked(
        near, at=place, thickness=thick, width=wide, fat_cap=depths[1], seam=None, seam_thickness=None, below=None
    )
    if seam < THINNEST_SEAM:
        return found
    return unchecked(found, seam=depths[2], seam_thickness=seam, below=near.below)


def _along_the_seam(piece: Piece) -> tuple[Piece, Piece]:
    whole = piece.whole()
    if whole is None or not any(each.seam for each in piece.stations):
        raise refuse("along", f'{quoted(piece.name)} has no seam; give one to its stations, or cut it across by "at"')
    upper, lower = [], []
    for each, row in zip(piece.stations, whole.borders, strict=True):
        bare = unchecked(each, seam=None, seam_thickness=None, below=None)
        upper.append(unchecked(bare, thickness=row[2], fat_cap=row[1]))
        under = each.below or each.tissue
        lower.append(unchecked(bare, thickness=row[5] - row[3], fat_cap=row[5] - row[4], tissue=under))
    faces, kilograms = piece.faces, whole.heavy()
    changes: list[tuple[dict[str, Any], float]] = [
        (
            {"name": _named(piece, "upper"), "stations": tuple(upper), "faces": faces.but(second="open")},
            kilograms[:2].sum(),
        ),
        (
            {
                "name": _named(piece, "lower"),
                "stations": tuple(lower),
                "faces": faces.but(first=faces.second, second="open"),
            },
            kilograms[3:].sum(),
        ),
    ]
    for own, _ in changes:
        own |= {"capped": "one face", "thickness": None}
    return _weighed(piece, changes, kilograms.sum())


def _weighed(
    piece: Piece, parts: Sequence[tuple[dict[str, Any], float]], total: float | None = None
) -> tuple[Piece, Piece]:
    """The parts of a piece, its weight shared out by their kilograms. Every problem of both at once."""
    total = sum(kilograms for _, kilograms in parts) if total is None else total
    made, problems = [], []
    for changes, kilograms in parts:
        try:
            made.append(piece.but(**changes, weight=piece.weight * float(kilograms / total)))
        except InputError as error:
            problems += error.under(changes["name"])
    if problems:
        raise InputError(problems)
    return made[0], made[1]


def _trimmed(station: Station, usual: float, left: float, faces: int) -> Station:
    cap = usual if station.fat_cap is None else station.fat_cap
    off = max(0.0, cap - left)
    seam = None if station.seam is None else station.seam - off
    return unchecked(
        station,
        thickness=station.thickness - faces * off,
        seam=seam,
        fat_cap=None if station.fat_cap is None else cap - off,
    )


def _named(piece: Piece, part: str) -> str:
    """A name of at most 60 letters."""
    return f"{piece.name[: 58 - len(part)]}, {part}"


def _length(given: str | float, where: str) -> float:
    try:
        metres = units.read(given, "length")
    except ValueError as error:
        raise refuse(where, str(error)) from None
    if metres < 0:
        raise refuse(where, f"{quoted(given)} is below zero; give a length")
    return metres


def _cm(metres: float) -> str:
    return units.show(metres, "length")


__all__ = ["WAYS", "fold", "sliced", "split", "touch", "trim"]
