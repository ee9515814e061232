"""Pieces of a batch added, taken out, doubled, moved, renamed and cut in two. Numbers count from 0.

A stage that names the pieces it is about follows. A reading of the log stays with its piece: a piece with readings is not taken out.
Every function raises InputError, one sentence for each problem, and changes nothing then.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..batch import Batch
from ..fields import InputError, Problem, refuse
from ..letters import quoted
from ..recipe.cutting import split, station_at
from ..recipe.piece import MAY, NEEDS, Piece
from ..recipe.stages import Stage
from ..recipe.stations import ROUNDED, Faces, Station
from .sound import chosen, moved, replaced, sound
from .templates import starting

MEASURES = {
    "width": "width",
    "length": "length",
    "fat_cap": "fat_cap",
    "capped": "fat_cap",
    "edges": "edges",
}  # field: what it goes with
LONGER = 1.5  # times as long as wide is a piece whose measures nobody has taken (judgement)
LONGEST_NAME = 60  # letters, as `Piece` takes them


def add_piece(batch: Batch, piece: Piece | None = None) -> Batch:
    """One piece more, at the end; without `piece` an invented one to start from, of the animal that the last piece is of."""
    if piece is None:
        piece = Piece(**starting("piece", batch.units)).but(tissue=f"lean {batch.pieces[-1].species}")
    return sound(batch.but(pieces=(*batch.pieces, piece.but(name=free_name(batch, piece.name)))))


def duplicate_piece(batch: Batch, number: int) -> Batch:
    """A second piece like this one behind it; stages that name the first name both."""
    piece = chosen(batch.pieces, number, "pieces")
    copy = piece.but(name=free_name(batch, piece.name))
    pieces = replaced(batch.pieces, number, piece, copy)
    return sound(batch.but(pieces=pieces, stages=_renamed(batch.stages, piece.name, (piece.name, copy.name))))


def remove_piece(batch: Batch, number: int) -> Batch:
    """Without this piece."""
    piece = chosen(batch.pieces, number, "pieces")
    if len(batch.pieces) == 1:
        raise refuse("pieces", f"{quoted(piece.name)} is the only piece; add another one first")
    problems = _logged(batch, piece.name)
    problems += [
        Problem(f"stages[{place}]", f"the {stage.tag} is about {quoted(piece.name)} alone; take out this stage first")
        for place, stage in enumerate(batch.stages, 1)
        if stage.named == (piece.name,)
    ]
    if problems:
        raise InputError(problems)
    pieces = replaced(batch.pieces, number)
    return sound(batch.but(pieces=pieces, stages=_renamed(batch.stages, piece.name, ())))


def move_piece(batch: Batch, number: int, to: int) -> Batch:
    """The piece at another place of the list; what is computed stays the same."""
    chosen(batch.pieces, number, "pieces")
    return sound(batch.but(pieces=moved(batch.pieces, number, to)))


def change_piece(batch: Batch, number: int, **changes: Any) -> Batch:
    """The piece with some fields changed; stages that named it use its new name.

    Another shape begins with measures that follow from weight and thickness: a ruler then says better. What that shape cannot have is left out.
    """
    piece = chosen(batch.pieces, number, "pieces")
    if changes.get("shape", piece.shape) != piece.shape:
        changes = _measures(piece, changes["shape"]) | changes
    made = piece.but(**changes)
    if made.name != piece.name and (problems := _logged(batch, piece.name)):
        raise InputError(problems)
    pieces = replaced(batch.pieces, number, made)
    return sound(batch.but(pieces=pieces, stages=_renamed(batch.stages, piece.name, (made.name,))))


def change_station(batch: Batch, number: int, station: int, **changes: Any) -> Batch:
    """The piece with some fields of one of its stations changed; stations count from 0."""
    stations = chosen(batch.pieces, number, "pieces").stations
    made = chosen(stations, station, "stations").but(**changes)
    return change_piece(batch, number, stations=replaced(stations, station, made))


def add_station(batch: Batch, number: int, behind: int) -> Batch:
    """The piece with one more station, half-way between one and the next, as the cut is there: its shape stays until somebody measures. Where
    the tissue changes between them it gets two, a third of the way from each, so that the border stays half-way as well.
    """
    piece = chosen(batch.pieces, number, "pieces")
    here = chosen(piece.stations, behind, "stations")
    if behind + 1 == len(piece.stations):
        raise refuse("stations", "nothing is known behind the last station; add one between two others, then move it")
    there = piece.stations[behind + 1]
    alike = (here.tissue, here.below) == (there.tissue, there.below)
    shares = (1 / 2,) if alike else (1 / 3, 2 / 3)
    made = [station_at(piece, here.at + share * (there.at - here.at)) for share in shares]
    return change_piece(batch, number, stations=replaced(piece.stations, behind, here, *made))


def remove_station(batch: Batch, number: int, station: int) -> Batch:
    """The piece without one of its stations. A cut keeps one at each end; without the first, places count from the next one."""
    stations = chosen(batch.pieces, number, "pieces").stations
    chosen(stations, station, "stations")
    left = replaced(stations, station)
    return change_piece(batch, number, stations=tuple(each.but(at=each.at - left[0].at) for each in left))


def shaped(batch: Batch, wanted: Mapping[str, Any]) -> Batch:
    """What a hand did to the shape on a drawing: {"piece", "split"} cuts a piece in two; {"piece", "station", "at", "thickness"} moves a station.
    Numbers from 0, lengths in m.
    """
    if "split" in wanted:
        return split_piece(batch, wanted["piece"], at=wanted["split"])
    at = wanted["at"] if wanted["station"] else 0.0  # places count from the first station, so it stays
    return change_station(batch, wanted["piece"], wanted["station"], at=at, thickness=wanted["thickness"])


def split_piece(batch: Batch, number: int, *, at: str | float | None = None, along: str | None = None) -> Batch:
    """The piece cut in two, across `at` a place [m] from its head or `along` its "seam"; stages that name it name both parts."""
    piece = chosen(batch.pieces, number, "pieces")
    if problems := _logged(batch, piece.name):
        raise InputError(problems)
    parts = split(piece, at=at, along=along)
    stages = _renamed(batch.stages, piece.name, tuple(part.name for part in parts))
    return sound(batch.but(pieces=replaced(batch.pieces, number, *parts), stages=stages))


def unknown_to(shape: str) -> tuple[str, ...]:
    """Names of fields that a piece of this shape cannot have."""
    known = {*NEEDS.get(shape, ("thickness",)), *MAY.get(shape, ())}
    return tuple(name for name, like in MEASURES.items() if like not in known)


def free_name(batch: Batch, name: str) -> str:
    """This name, or with the first number behind it that no other piece has: "flat", "flat 2"."""
    taken, count, found = {piece.name for piece in batch.pieces}, 1, name
    while found in taken:
        count += 1
        found = f"{name[: LONGEST_NAME - 3]} {count}"
    return found


def _measures(piece: Piece, shape: str) -> dict[str, Any]:
    """Fields of a piece in another shape, as thick as before and as heavy: what lies flat is half as long again as it is wide."""
    thick, volume = piece.thickness, piece.volume()
    wide = (volume / thick / LONGER) ** 0.5
    found: dict[str, Any] = {"thickness": thick, "width": None, "length": None, "stations": (), "faces": Faces()}
    if shape not in ("slab", "block", "cut"):
        found |= {"fat_cap": 0.0}
    if shape == "block":
        found |= {"width": wide, "length": LONGER * wide}
    if shape == "cut":
        rounded = (
            ROUNDED * min(thick, wide) ** 2 / thick if piece.edges == "rounded" else 0.0
        )  # what the edges leave out
        ends = ({"at": place, "thickness": thick, "width": wide + rounded} for place in (0.0, LONGER * wide))
        found |= {"thickness": None, "stations": tuple(Station(**end) for end in ends)}
    return found


def _logged(batch: Batch, name: str) -> list[Problem]:
    """That the log speaks of a piece of this name."""
    count = sum(entry.piece == name for entry in batch.log)
    told = "one reading" if count == 1 else f"{count} readings"
    return [Problem("log", f"holds {told} of {quoted(name)}; keep the piece and its name")] if count else []


def _renamed(stages: tuple[Stage, ...], name: str, names: tuple[str, ...]) -> tuple[Stage, ...]:
    """Stages that named a piece, with these names in its place."""
    made = []
    for stage in stages:
        if name in stage.named and names != (name,):
            every = [each for old in stage.named for each in (names if old == name else (old,))]
            stage = stage.but(pieces=tuple(every))
        made.append(stage)
    return tuple(made)


__all__ = [
    "add_piece",
    "change_piece",
    "change_station",
    "duplicate_piece",
    "free_name",
    "move_piece",
    "remove_piece",
    "split_piece",
]
