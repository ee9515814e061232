"""The same batch for more or less meat, and what to buy for it.

A piece of another weight keeps its thickness and grows in area, as a longer or broader cut does (one whose
length was measured, in length): then salt needs the same days. All that is weighed grows with the green weight, so every strength stays what it was.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .. import units
from ..batch import Batch
from ..fields import InputError, Problem, refuse
from ..matter.solutes import SOLUTES
from ..recipe.measured import measures
from ..recipe.piece import Piece
from ..recipe.stages import Bath
from ..show.dangers import failing_as_written, warnings
from ..show.own_units import own_units
from ..weighing import EquilibriumBrine, StrongBrine, on_scale
from ..weighing.vessel import brine_volume, fits, footprint

SPARE = 1.15  # of brine and meat together, what a vessel should hold when none is named (judgement)


@dataclass(frozen=True)
class Scaled:
    """A batch made for other meat, and what was taken for granted."""

    batch: Batch
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Item:
    """One line of a shopping list: `amount` in words; `note` says what to look for."""

    what: str
    amount: str
    note: str = ""


def scale(
    batch: Batch,
    *,
    weight: str | float | None = None,
    by: float | None = None,
    counts: Mapping[str, int] | None = None,
    id: str = "",
) -> Scaled:
    """The same batch for another green weight in all, for so many times as much meat, or for other numbers of
    pieces.

    Parameters: one of `weight` (kg, or "6 kg"), `by` (a factor above 0), and `counts` (how many of each named
    piece; a piece that is not named stays as it is, 0 leaves it out). The log stays behind, and so does the
    id: give a new `id`, or a calendar takes the two for one batch. Raises InputError for what cannot be, all
    problems at once.

    >>> from curelab import Piece, SealedCure
    >>> one = Batch(schema=1, name="one", pieces=(Piece(name="loin", thickness="8 cm", weight="2 kg"),),
    ...             stages=(SealedCure(salt="50 g", temperature="3 degC", lasts="14 d"),))
    >>> three = scale(one, weight="6 kg").batch
    >>> three.pieces[0].thickness, round(three.stages[0].salt, 9)
    (0.08, 0.15)
    """
    if sum(each is not None for each in (weight, by, counts)) != 1:
        raise refuse("", "say one of weight, by and counts")
    green = sum(piece.weight for piece in batch.pieces)
    if counts is not None:
        pieces = _counted(batch, counts)
        notes = ["The pieces are taken as alike: of the same weight and thickness as the one they are copied from."]
    else:
        factor = _factor(by, weight, green)
        pieces = tuple(_of_weight(batch, factor))
        notes = [
            "Thickness stays, area grows with the weight: a longer or broader cut, not a thicker one. A "
            "thicker piece needs more days."
        ]
        notes += [note for piece in pieces if (note := _slender(piece))]
    ratio = sum(piece.weight for piece in pieces) / green
    changes: dict[str, Any] = {
        "pieces": pieces,
        "stages": tuple(stage.times(dict.fromkeys(("water", *SOLUTES), ratio)) for stage in batch.stages),
        "log": (),
        "id": id,
    }
    if isinstance(batch.weigh_out, (EquilibriumBrine, StrongBrine)):
        changes["weigh_out"] = batch.weigh_out.but(water=batch.weigh_out.water * ratio)
    vessel = batch.vessel
    made = batch.but(**changes, vessel=None)
    if vessel is not None:
        try:
            made = made.but(vessel=vessel)
        except InputError as error:
            notes.append(f"The vessel was left out, because it does not fit any more: {error.problems[0].sentence}")
    notes.append(
        f"All that is weighed, and every water, is {ratio:.4g} times what it was; every strength and every "
        "length stays."
    )
    return Scaled(made, tuple(notes))


def _factor(by: float | None, weight: str | float | None, green: float) -> float:
    if by is not None:
        if not (math.isfinite(by) and by > 0):
            raise refuse("by", f"{by!r} is not a factor above zero")
        return by
    try:
        wanted = units.read(weight, "mass")  # type: ignore[arg-type]
    except ValueError as error:
        raise refuse("weight", str(error)) from None
    if wanted <= 0:
        raise refuse("weight", f"{weight!r} is no weight; give the green weight of all pieces together")
    return wanted / green


def _of_weight(batch: Batch, factor: float):
    problems = []
    for piece in batch.pieces:
        if piece.shape == "sphere":
            problems.append(
                Problem(
                    piece.name,
                    "a ball of another weight is also thicker, so it is another batch; change the number of "
                    "pieces, or its thickness",
                )
            )
            continue
        try:
            yield _longer(piece, factor)
        except InputError as error:
            problems += error.under(piece.name)
    if problems:
        raise InputError(problems)


def _longer(piece: Piece, factor: float) -> Piece:
    """So many times as heavy: a piece whose length was measured is so much longer."""
    changes: dict[str, Any] = {"weight": piece.weight * factor}
    if piece.length:
        changes["length"] = piece.length * factor
    if piece.stations:
        stations, problems = [], []
        for number, each in enumerate(piece.stations, 1):
            try:
                stations.append(each.but(at=each.at * factor))
            except InputError as error:
                problems += error.under(f"stations[{number}]")
        if problems:
            raise InputError(problems)
        changes["stations"] = tuple(stations)
    return piece.but(**changes)


def _counted(batch: Batch, counts: Mapping[str, int]) -> tuple[Piece, ...]:
    names = [piece.name for piece in batch.pieces]
    problems = [
        Problem("pieces", f'there is no piece "{name}"; there is {", ".join(names)}')
        for name in counts
        if name not in names
    ]
    problems += [
        Problem("pieces", f'{count!r} is not a number of pieces for "{name}"; give a whole number')
        for name, count in counts.items()
        if isinstance(count, bool) or not isinstance(count, int) or count < 0
    ]
    if problems:
        raise InputError(problems)
    made: list[Piece] = []
    for piece in batch.pieces:
        count = counts.get(piece.name, 1)
        made += [piece.but(name=piece.name if count == 1 else f"{piece.name} {n}") for n in range(1, count + 1)]
    if not made:
        raise refuse("pieces", "no piece is left; keep at least one")
    return tuple(made)


def _slender(piece: Piece) -> str:
    solid = piece.solid()
    if solid is not None:
        across = min(solid.length, max(solid.width))
    else:
        across = math.sqrt(footprint(piece)) if piece.shape == "slab" else footprint(piece) / piece.thickness
    if across >= piece.thickness:
        return ""
    return (
        f"{piece.name[:1].upper()}{piece.name[1:]} would be only about "
        f"{units.show(across, 'length', digits=2)} across and "
        f"{units.show(piece.thickness, 'length', digits=2)} thick: measure its true thickness, for salt "
        "enters it from all sides."
    )


def shop(batch: Batch) -> tuple[Item, ...]:
    """What to buy and what to have at hand: meat, cure, salt, sugar, water, vessel or bags, and a scale.
    No waste is counted in.
    """
    need, baths, bags = _needed(batch)
    items = [*_meat_items(batch), *_cure_items(batch, need), *_vessels(batch, baths, bags)]
    if need["mix"] or need["nitrite"]:
        fine = on_scale(need["mix"] or need["nitrite"]).partition("(use a ")[2].removesuffix(" scale)")
        if fine:
            items.append(Item("a fine scale", f"shows {fine}", "for the cure mix"))
        items.append(Item("gloves", "1 pair", "for mixing the cure"))
    return (*items, *_tools(batch, bool(baths)))


def _tools(batch: Batch, wet: bool) -> tuple[Item, ...]:
    """What every cure takes, and what a brine and a cook take besides (common practice, no source)."""
    tools = [
        Item("a kitchen scale", "shows 1 g", "for meat, salt and sugar"),
        Item("a fridge thermometer", "1", "in the vessel or beside the bag"),
    ]
    if wet:
        tools.append(Item("a salometer", "1", "to read the brine on days 2, 4 and 7"))
    tools.append(Item("a probe thermometer", "1", "for the middle of the meat when it is cooked"))
    return tuple(tools)


def _grams(mass: float, system: str) -> str:
    """A mass as it is bought: what is small as finely as it is weighed."""
    return units.show(mass, "mass", system) if mass >= 0.1 else on_scale(mass).split(" (")[0]


def _meat_items(batch: Batch) -> list[Item]:
    items = []
    kinds = [(piece.tissue, measures(piece, batch.units), piece.shape) for piece in batch.pieces]
    for kind in dict.fromkeys(kinds):
        same = [piece for piece, its in zip(batch.pieces, kinds, strict=True) if its == kind]
        count = f"{len(same)} pieces, " if len(same) > 1 else ""
        thick, *others = kind[1]
        note = ", ".join((f"{thick} thick", *others, *(() if kind[2] == "slab" else (kind[2],))))
        items.append(Item(str(kind[0]), count + _grams(sum(piece.weight for piece in same), batch.units), note))
    return items


def _needed(batch: Batch) -> tuple[dict[str, float], list[Bath], bool]:
    """(kg of each thing over all stages, the baths of its brines, whether bags are needed)."""
    need = dict.fromkeys(("mix", "salt", "nitrite", "nitrate", "sugar", "water", "soak"), 0.0)
    weighed, baths, bags = batch.weighed, [], False
    for written, stage in zip(batch.stages, batch.filled(), strict=True):
        source = stage.put_in
        if source is None:
            need["soak"] += sum(stretch.water or 0.0 for stretch in stage.stretches)
            continue
        own = written.weighed
        need["sugar"] += source.sugar
        if weighed is not None and not own:
            need["mix"] += weighed.cure_mix
            need["salt"] += weighed.plain_salt
        else:
            need["salt"] += source.salt or 0.0
            need["nitrite"] += source.nitrite
            need["nitrate"] += source.nitrate
        if stage.wet:
            need["water"] += source.water
            baths.append(source)
        bags = bags or not stage.wet
    return need, baths, bags


def _cure_items(batch: Batch, need: dict[str, float]) -> list[Item]:
    """Cure mix, salt, sugar and water."""
    system, items = batch.units, []
    label = batch.weighed.weigh_out.cure if batch.weighed is not None else None
    if need["mix"]:
        assert label is not None
        strength = f"with exactly {units.text(label.nitrite, 'fraction')} nitrite on its label"
        items.append(Item(f"cure mix {label.name}", _grams(need["mix"], system), strength))
    if need["nitrite"]:
        held = f"with {_grams(need['nitrite'], system)} of sodium nitrite in it"
        items.append(Item("cure mix", held, "divide by the share on its label; its salt counts as salt"))
    if need["nitrate"]:
        items.append(Item("sodium nitrate", _grams(need["nitrate"], system), "in a mix made for curing"))
    if need["salt"]:
        note = "weigh it: a spoon of coarse salt holds less"
        items.append(Item("plain salt", _grams(need["salt"], system), note))
    if need["sugar"]:
        items.append(Item("sugar", _grams(need["sugar"], system), ""))
    for name, words in (("water", "cold water for the brine"), ("soak", "cold water for the soak")):
        if need[name]:
            items.append(Item(words, units.show(need[name], "water", system)))
    return items


def _vessels(batch: Batch, baths: list, bags: bool) -> list[Item]:
    items = []
    meat = sum(piece.volume() for piece in batch.pieces)
    if baths:
        most = max(baths, key=brine_volume)
        if batch.vessel is not None:
            said = own_units(fits(batch.vessel, batch.pieces, most).sentence, batch.units)
            items.append(Item("the vessel", _size(batch), said))
        else:
            room = SPARE * (meat + brine_volume(most))
            items.append(
                Item(
                    "a vessel",
                    f"of at least {units.show(room, 'volume', batch.units)}",
                    "of plastic or glass fit for food, never bare metal",
                )
            )
        items.append(Item("a plate or a weight", "1", "to hold the meat under the brine"))
    if bags:
        items.append(Item("bags that seal", f"{len(batch.pieces)}", "each large enough to lie flat"))
    return items


def _size(batch: Batch) -> str:
    vessel = batch.vessel
    assert vessel is not None
    show = lambda metres: units.show(metres, "length", batch.units)  # noqa: E731
    if vessel.shape == "round":
        return f"round, {show(vessel.diameter or 0.0)} across and {show(vessel.height)} high inside"
    return f"{show(vessel.length or 0.0)} by {show(vessel.width or 0.0)}, {show(vessel.height)} high inside"


def shop_words(batch: Batch) -> str:
    """The shopping list as text."""
    items = shop(batch)
    wide = max(len(item.what) for item in items)
    lines = [f"[ ] {item.what:{wide}}  {item.amount}" + (f"  ({item.note})" if item.note else "") for item in items]
    said = [line for each in warnings(failing_as_written(batch)) for line in textwrap.wrap(each, units.WIDTH)]
    return "\n".join([*said, *([""] if said else []), f"To have at hand for {batch.name}:", *lines]) + "\n"
