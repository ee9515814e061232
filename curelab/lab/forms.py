"""Forms made from records: one control for each field, by the rule it carries. What is typed is what a batch file would say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, replace
from types import MappingProxyType
from typing import Any

from .. import units
from ..fields import Choice, Flag, InputError, Problem, Quantity, Record, Rule, Words, sentences
from ..letters import quoted
from ..recipe.criterion import BASES, Criterion, CriterionRule, default_basis, target_of, warmth_of
from ..recipe.plan import LocalTimeRule
from ..recipe.times import LogRule
from ..show.own_units import own_units
from .controls import Line, Pick, Switch
from .state import State

# What a field is called on the page, where its name in the file is too short to be understood there.
LABELS = {
    "amount": "How much water",
    "at_most": "At most",
    "basis": "Salt counted on",
    "begins_at": "Meat begins at, if not as it comes",
    "capped": "Fat on",
    "fat_cap": "Fat cap",
    "frozen_before": "Was frozen before",
    "humidity": "Moisture of the air",
    "lasts": "How long",
    "lying": "Lies on the floor of the vessel",
    "counted": "Nitrite counted by",
    "medium": "In what",
    "ph": "pH, if measured",
    "pick_up": "Weight picked up",
    "purge": "Water drawn, of green weight",
    "running": "Very large tub: the brine stays strong",
    "tissue": "Cut",
    "start": "Starts on, like 2026-03-02 09:00",
    "stirred": "Brine is stirred",
    "turn_every": "Turn every",
    "wet_bulb": "Moisture of the air, by a wet thermometer",
}
SIGNS = {">=": "at least", "<=": "at most"}
ENDS = ("lasts", "until", "at_most")  # of the end rule a form shows, none may be left out
IN_THE_FILE = "Set in the file, line by line. One temperature typed here takes its place."


def label_of(name: str) -> str:
    """What a field is called on the page."""
    return LABELS.get(name, name.replace("_", " ").capitalize())


def form(
    state: State,
    get: Callable[[Any], Record],
    put: Callable[..., Any],
    leave_out: tuple[str, ...] = (),
    title: str = "",
    labels: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, Any]:
    """Controls for the plain fields of the record that `get` finds in the batch; `put(name=value)` edits it. title: of the form, for what is
    said far from it; labels: of fields that are called otherwise here.

    A field that does not read, or that the batch cannot have, says why under itself. The batch then stays as it was, and the page shows no
    number until the field is put right (`State.faults`).
    """
    made: dict[str, Any] = {}
    for spec in fields(get(state.batch)):  # type: ignore[arg-type]
        rule = spec.metadata["rule"]
        if spec.name in leave_out:
            continue
        label = labels.get(spec.name) or label_of(spec.name)
        if isinstance(rule, Choice):
            made[spec.name] = _pick(state, label, rule, spec.name, get, put)
        elif isinstance(rule, Flag):
            made[spec.name] = _switch(state, label, spec.name, get, put)
        elif isinstance(rule, CriterionRule):
            if getattr(get(state.batch), spec.name) is not None:
                made[spec.name] = _line(state, _Target, spec.name, get, put, title)
        elif isinstance(rule, (Quantity, Words, LogRule, LocalTimeRule)):
            optional = spec.default is None and spec.name not in ENDS
            made[spec.name] = _line(state, _Plain(rule, label, optional), spec.name, get, put, title)
    return made


class _Plain:
    """How the value of a field stands in a text box, and is read from it, by its rule."""

    def __init__(self, rule: Rule, label: str, optional: bool) -> None:
        self.rule, self._label, self.optional = rule, label, optional

    def label(self, value: Any) -> str:
        return self._label

    def help(self, value: Any) -> str:
        return IN_THE_FILE if isinstance(self.rule, LogRule) and len(value) > 1 else ""

    def entry(self, value: Any, system: str) -> str:
        return "" if value is None else self.rule.entry(value, system)

    def read(self, words: str, old: Any) -> Any:
        return None if self.optional and not words else self.rule.take(words, True)


class _Target:
    """How a criterion stands on the page: its label says what is waited for, "Core temperature at least", and the box holds the number."""

    @staticmethod
    def label(value: Criterion) -> str:
        basis = "" if value.basis == default_basis(value.quantity) else f", {BASES[value.basis]}"
        return f"{units.capital(value.place)} {value.quantity} {SIGNS[value.sign]}{basis}"

    @staticmethod
    def help(value: Criterion) -> str:
        return ""

    @staticmethod
    def entry(value: Criterion, system: str) -> str:
        return units.entry(value.target, value.kind, system)

    @staticmethod
    def read(words: str, old: Criterion) -> Criterion:
        if old.kind == "fraction" and units.bare(words):
            raise InputError([Problem("", units.needs_unit(words, f"{words} %"))])
        return replace(old, target=(warmth_of if old.kind == "temperature" else target_of)(words))


def _line(state, kind, name, get, put, title):
    """A text box. What was typed stays as it was typed as long as it means what the batch holds."""
    typed = ("", "")  # words, and the system of units they were typed in
    busy = False

    def value_now():
        return getattr(get(state.batch), name)

    def refuse(problems: Iterable[Problem]) -> None:
        """Say it under the field, in the units of the batch but for what was typed, and beside the answer."""
        said = quoted(line.value.strip())
        own = (
            said.join(own_units(part, state.batch.units) for part in told.split(said)) for told in _told(problems, name)
        )
        line.problem = sentences(own)
        where = f"{title}, {line.label[:1].lower()}{line.label[1:]}" if title else line.label
        state.fault(line, f"{where}: {line.problem}")

    def take(change):
        nonlocal typed, busy
        if busy:
            return
        words = line.value.strip()
        try:
            value = kind.read(words, value_now())
        except InputError as error:
            refuse(error.problems)
            return
        state.faults.pop(line, None)
        typed, busy = (words, state.batch.units), True
        try:
            done = put(**{name: value})
        finally:
            busy = False
        if done:
            follow({"name": "batch"})
        else:
            refuse(state.refused)

    def follow(change):
        nonlocal busy
        if busy or (line in state.faults and change["name"] != "opened"):
            return
        value, system = value_now(), state.batch.units
        words = kind.entry(value, system)
        if typed[1] == system and typed[0] == line.value.strip() and _means(kind, typed[0], value):
            words = line.value
        busy = True
        try:
            with line.hold_sync():
                line.label, line.help, line.problem, line.value = kind.label(value), kind.help(value), "", words
        finally:
            busy = False

    value = value_now()
    line = Line(kind.label(value), kind.entry(value, state.batch.units), help=kind.help(value))
    line.observe(take, "value")
    state.observe(follow, ["batch", "opened", "problems"])
    return line


def _means(kind, words: str, value) -> bool:
    """Whether words that were typed still say this value."""
    try:
        return kind.read(words, value) == value
    except InputError:
        return False


def _told(problems: Iterable[Problem], name: str) -> list[str]:
    """The sentences of problems under a field: what is about another field names it as the page does."""
    said = []
    for problem in problems:
        last = problem.where.rpartition(".")[2]
        other = "" if last in ("", name) or "[" in last else f"{label_of(last)}: "
        said.append(f"{other}{problem.sentence}")
    return said


def _pick(state, label, rule, name, get, put):
    def offered(value):
        """The options, and a value of one's own that a file may hold beside them."""
        return [(each, str(each)) for each in dict.fromkeys([*rule.options, value])]

    def follow(change):
        value = getattr(get(state.batch), name)
        if value in [known for known, _ in pick.options]:
            pick.value = value
        else:
            pick.refit(offered(value), value)

    value = getattr(get(state.batch), name)
    pick = Pick(label, offered(value), value)
    pick.observe(lambda change: put(**{name: pick.value}), "value")
    state.observe(follow, "batch")
    return pick


def _switch(state, label, name, get, put):
    switch = Switch(label, getattr(get(state.batch), name))
    switch.observe(lambda change: put(**{name: switch.value}), "value")
    state.observe(lambda change: setattr(switch, "value", getattr(get(state.batch), name)), "batch")
    return switch
