"""What a cook puts together: pieces and stages added, moved and taken out, ways of curing, templates. Pure functions from batch to batch."""

from .curing import WAYS, cure_by, way_of
from .merging import merged
from .pieces import (
    add_piece,
    add_station,
    change_piece,
    change_station,
    duplicate_piece,
    move_piece,
    remove_piece,
    remove_station,
    shaped,
    split_piece,
)
from .stages import add_stage, duplicate_stage, move_stage, remove_stage
from .templates import TEMPLATES, template, template_text

__all__ = [
    "TEMPLATES", "WAYS", "add_piece", "add_stage", "add_station", "change_piece", "change_station", "cure_by", "duplicate_piece", "duplicate_stage", "merged", "move_piece",
    "move_stage", "remove_piece", "remove_stage", "remove_station", "shaped", "split_piece", "template", "template_text", "way_of",
]  # fmt: skip
