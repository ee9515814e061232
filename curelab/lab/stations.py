"""The stations of a cut as a ruler found them: a row of fields for each, with a button that adds one behind it and one that takes it out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ..batch import Batch
from ..compose import add_station, change_station, remove_station
from ..recipe.stations import FEWEST, MOST
from ..show.composing import STATION_BUTTONS, station_title
from .boxes import row
from .controls import Press
from .forms import form
from .say import Say
from .state import State

Edit = Callable[[Callable[[Batch], Batch], str], Any]  # a change, and the control that has the keyboard after it


def station_rows(state: State, number: int, edit: Edit) -> tuple[dict[str, Any], list[Any]]:
    """(controls by name, one row for each station) of a piece that counts from 0."""
    controls: dict[str, Any] = {}
    rows = [_row(state, number, k, edit, controls) for k in range(len(state.batch.pieces[number].stations))]
    return controls, rows


def _row(state: State, number: int, k: int, edit: Edit, controls: dict[str, Any]) -> Any:
    """The row of one station; its controls are added to `controls`."""
    piece = state.batch.pieces[number]
    last = len(piece.stations) - 1

    def put(**changes: Any) -> bool:
        return state.edit(lambda batch: change_station(batch, number, k, **changes))

    def key(station: int, what: str) -> str:
        return f"piece {number + 1} {station_title(station).lower()} {what}"

    fields = form(
        state,
        lambda batch: batch.pieces[number].stations[k],
        put,
        ("tissue", "below"),
        f"{station_title(k)}, {piece.name}",
    )
    add, remove = (Press(words, spoken=f"{words}: {station_title(k)}, {piece.name}") for words in STATION_BUTTONS)
    add.disabled, remove.disabled = k == last or last + 1 == MOST, last + 1 == FEWEST
    add.on_press(lambda pressed: edit(lambda batch: add_station(batch, number, k), key(k + 1, "remove")))
    remove.on_press(lambda pressed: edit(lambda batch: remove_station(batch, number, k), key(max(0, k - 1), "add")))
    controls |= {key(k, name): each for name, each in fields.items()} | {key(k, "add"): add, key(k, "remove"): remove}
    line = row(Say(f"**{station_title(k)}**", "note"), *fields.values(), add, remove, at_least=90, gap=8)
    for button in (add, remove):
        button.small, button.layout.flex = True, "0 0 auto"
    return line


__all__ = ["station_rows"]
