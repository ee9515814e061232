"""The form that writes a reading into the log: one for every page that has a log, with what came of it right under its buttons."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from .. import units
from ..batch import READINGS, Reading
from ..fields import InputError, Problem, from_plain
from ..learn.readings import IN_THE_BATH, USUAL_ERROR, usually_off
from ..paper.logbook import log_words
from ..paper.moments import moment_of
from .boxes import buttons, column, row
from .controls import Line, Pick, Press
from .kept_batch import KeptBatch
from .reading_words import ALONE, CALLED, LIKE, OF_A_PIECE
from .say import Say
from .tables import folded

Do = Callable[[Callable[[], bool | str]], Any]  # does something, and says in `written` what came of it


class LogForm:
    """The fields of a reading by name, the buttons `write` and `back`, what came of the last press (`written`) and the log (`listed`).

    what: the sort of reading that it opens with; do: how a page does what is asked, for example `attempt`.
    """

    def __init__(self, state: KeptBatch, what: str, do: Do | None = None) -> None:
        self.state, do = state, do or self.attempt
        self.fields: dict[str, Any] = {
            "what": Pick("What", [(each, CALLED.get(each, each)) for each in READINGS], what),
            "value": Line("Reading"),
            "at": Line("When", "", "now", help="Now if left empty; or 4 d after the start, or 2026-03-04 09:00."),
            "piece": Pick("Of which piece", [""]),
            "error": Line("How far off it may be"),
            "note": Line("Note", "", "floats a little"),
        }
        self.write, self.back = Press("Write into the log", main=True), Press("Take the last one out")
        self.write.on_press(lambda pressed: do(self._log))
        self.back.on_press(lambda pressed: do(self._unlog))
        self.written, self.listed = Say("", "note"), Say("", "note")
        self.fields["what"].observe(lambda change: self._fit(), "value")
        state.observe(lambda change: self._follow(), "batch")
        self._follow()

    @property
    def controls(self) -> dict[str, Any]:
        """All controls, as a page names them."""
        return {f"log {name}": each for name, each in self.fields.items()} | {"log": self.write, "unlog": self.back}

    def box(self, *more: Any) -> Any:
        """The whole form; more: buttons beside its own."""
        return column(
            row(*self.fields.values(), at_least=180), buttons(self.write, self.back, *more), self.written, self.listed
        )

    def attempt(self, work: Callable[[], bool | str]) -> None:
        """Do one thing and say under the form what came of it."""
        said, problems = self.state.attempt(work)
        self.written.tell(said, "alert" if problems else "note")

    def _log(self) -> bool | str:
        given = {name: control.value for name, control in self.fields.items()}
        alone = ALONE.get(given["what"], ("", ""))[self.state.batch.units == "us"]
        for name in ("value", "error"):
            given[name] = f"{given[name]} {alone}" if alone and units.bare(given[name]) else given[name]
        problems: list[Problem] = []
        at = 0.0
        try:
            at = moment_of(self.state.batch, given["at"])
        except InputError as error:
            problems += [Problem("at", one.sentence) for one in error.problems]
        try:
            reading = from_plain(Reading, given | {"at": units.text(at, "time")})
        except InputError as error:
            problems += error.problems
        if given["what"] in OF_A_PIECE and not given["piece"]:
            problems.append(Problem("piece", "is not said; pick the piece that was measured"))
        if problems:  # as the page calls the fields
            raise InputError([Problem(self.fields[one.where].label, one.sentence) for one in problems])
        if not self.state.log(reading):
            return False
        for name in ("value", "error", "note", "at"):  # so that a second press does not write it twice
            self.fields[name].value = ""
        return f"Written down: {' '.join(log_words(self.state.batch).splitlines()[-1].split()[1:])}."

    def _unlog(self) -> bool | str:
        return "The last reading is out of the log again." if self.state.unlog() else False

    def _follow(self) -> None:
        self.listed.text = f"**The log**\n{folded(log_words(self.state.batch))}"
        self._fit()

    def _fit(self) -> None:
        """Say in the fields what each sort of reading looks like, and offer the pieces of this batch."""
        batch, what = self.state.batch, self.fields["what"].value
        us = batch.units == "us"
        measured, sized = what in LIKE, what in USUAL_ERROR and what != "taste"
        value, error, piece = (self.fields[name] for name in ("value", "error", "piece"))
        value.placeholder, value.disabled = (LIKE[what][us] if measured else ""), not measured
        value.help = f"A number alone is in {ALONE[what][us]}." if what in ALONE else ""
        value.keypad = error.keypad = "decimal" if sized else ""
        error.placeholder = f"{usually_off(what, batch.units)} if left empty" if sized else ""
        error.disabled = not sized
        for line in (value, error):
            if line.disabled:
                line.value = ""
        names = [each.name for each in batch.pieces]
        piece.disabled = what in (*IN_THE_BATH, "temperature")
        only = names[0] if what in OF_A_PIECE and len(names) == 1 else ""
        wanted = "" if piece.disabled else piece.value if piece.value in names else only
        piece.refit([("", "pick one" if what in OF_A_PIECE else "none"), *((name, name) for name in names)], wanted)


__all__ = ["LogForm"]
