"""The words of the page on which a batch is put together."""

from __future__ import annotations

from ..batch import Batch

BUTTONS = ("Earlier", "Later", "Double", "Remove")  # of a piece and of a stage
BY_CLOCK, BY_THERMOMETER = "by the clock", "by a thermometer in the meat"
STATION_BUTTONS = ("Add one behind it", "Take it out")
STATIONS = "The shape in figures: each place where it was measured"
OWN_GRAMS = "grams of its own"  # a batch without a weigh-out
FOLD = "Put the batch together: pieces, way of curing, stages"
DROP = "Drop a batch file or a thermometer's CSV anywhere on this page, or choose it:"
TOO_LARGE = "This file is too large for the page. Use: curelab log FILE --temperatures CSV"
NEITHER = "is neither a batch file (.toml) nor a thermometer's table (.csv, .tsv, .txt)"
WEIGHED = "What goes in is weighed out once: the grams stand under **Weigh out**."
ASKED = "What a thermometer's file does not say"


def piece_title(batch: Batch, number: int) -> str:
    """ "Piece 1: point". Counts from 0."""
    return f"Piece {number + 1}: {batch.pieces[number].name}"


def stage_title(batch: Batch, number: int) -> str:
    """ "Stage 1: brine". Counts from 0."""
    return f"Stage {number + 1}: {batch.stages[number].tag}"


def water_title(number: int) -> str:
    """ "Water 1", of a soak. Counts from 0."""
    return f"Water {number + 1}"


def station_title(number: int) -> str:
    """ "Station 1". Counts from 0."""
    return f"Station {number + 1}"


def taken(name: str, lines: tuple[str, ...]) -> str:
    """What was done with a thermometer's file."""
    return "\n".join((f"**{name}** is the fridge log now. Undo takes it out again.", *lines))


def started(template: str, kept_as: str, before: str) -> str:
    """That a new batch was begun from a template, and where the one before is."""
    rest = f" The batch before stays in {before}." if before and before != kept_as else ""
    return f"A new batch from **{template}** is in hand now, kept as {kept_as}.{rest}"


def begun(name: str, kept_as: str) -> str:
    """That a batch file was brought in."""
    return f"**{name}** is in hand now, kept as {kept_as}."


__all__ = [
    "ASKED", "BUTTONS", "BY_CLOCK", "BY_THERMOMETER", "DROP", "FOLD", "NEITHER", "OWN_GRAMS", "STATIONS", "STATION_BUTTONS", "TOO_LARGE", "WEIGHED", "begun", "piece_title", "stage_title", "started", "station_title", "taken", "water_title",
]  # fmt: skip
