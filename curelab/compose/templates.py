"""Invented batches and stages to start from, as files in datasets/: nobody's recipe, every figure made up."""

from __future__ import annotations

import functools
import secrets
from typing import Any

from ..batch import Batch, load
from ..fields import nearest, refuse
from ..letters import quoted
from ..sources import datasets_folder
from ..tomlfile import read_table

FIRST = "new_batch.toml"  # the commented file of `curelab new`
TEMPLATES = {
    "equilibrium brine": "template_equilibrium_brine.toml",
    "strong brine and soak": "template_strong_brine_and_soak.toml",
    "sealed dry cure": "template_sealed_dry_cure.toml",
    "belly": "template_belly.toml",
    "loin": "template_loin.toml",
    "simmered and smoked": "template_simmered_and_smoked.toml",
}


def template(name: str) -> Batch:
    """The batch of a template, by a key of TEMPLATES. Raises InputError for another name."""
    return load(datasets_folder() / _file(name))


def template_text(name: str | None = None) -> str:
    """The text of a template, or of the commented first file for None, with an id of its own: a calendar tells two batches of one name
    apart by it. Raises InputError for a name that is none.
    """
    words = (datasets_folder() / (FIRST if name is None else _file(name))).read_text(encoding="utf-8")
    return words.replace("\nschema = 1\n", f'\nschema = 1\nid = "{new_id()}"\n', 1)


def new_id() -> str:
    """Eight letters and digits that no other batch has."""
    return secrets.token_hex(4)


def starting(what: str, system: str) -> dict[str, Any]:
    """Invented figures for a new "piece", or for a new stage of a kind, as a batch file holds them, in units a cook of that system uses."""
    table = dict(_starting()[what])
    own = table.pop("us", {})
    return table | own if system == "us" else table


@functools.cache
def _starting() -> dict[str, Any]:
    return read_table(datasets_folder() / "starting_figures.toml")


def _file(name: str) -> str:
    if name not in TEMPLATES:
        near = nearest(name, TEMPLATES)
        raise refuse("template", f"{quoted(name)} is not one of {', '.join(TEMPLATES)}{f'; {near}' if near else ''}")
    return TEMPLATES[name]


__all__ = ["FIRST", "TEMPLATES", "new_id", "starting", "template", "template_text"]
