"""Forms made from records: one control for each field, by the rule it carries. What is typed is what a batch file would say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Any

from ..fields import Choice, Flag, InputError, Quantity, Record, Words
from ..recipe.criterion import CriterionRule
from ..recipe.plan import LocalTimeRule
from ..recipe.times import TemperatureRule
from .controls import Line, Pick, Switch
from .state import State

# What a field is called on the page, where its name in the file is too short to be understood there.
LABELS = {
    "at_most": "At most",
    "basis": "Salt counted on",
    "capped": "Fat on",
    "fat_cap": "Fat cap",
    "frozen_before": "Was frozen before",
    "lasts": "How long",
    "lying": "Lies on the floor of the vessel",
    "counted": "Nitrite counted by",
    "ph": "pH, if measured",
    "pick_up": "Weight picked up",
    "purge": "Water drawn, of green weight",
    "running": "Very large tub: the brine stays strong",
    "tissue": "Cut",
    "start": "Starts on, like 2026-03-02 09:00",
    "stirred": "Brine is stirred",
    "turn_every": "Turn every",
}


def form(
    state: State, get: Callable[[Any], Record], put: Callable[..., Any], leave_out: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Controls for the plain fields of the record that `get` finds in the batch; `put(name=value)` edits it.

    A field that does not read says why under itself, and the batch stays as it was.
    """
    made: dict[str, Any] = {}
    for spec in fields(get(state.batch)):  # type: ignore[arg-type]
        rule = spec.metadata["rule"]
        if spec.name in leave_out:
            continue
        label = LABELS.get(spec.name, spec.name.replace("_", " ").capitalize())
        if isinstance(rule, Choice):
            made[spec.name] = _pick(state, label, rule, spec.name, get, put)
        elif isinstance(rule, Flag):
            made[spec.name] = _switch(state, label, spec.name, get, put)
        elif isinstance(rule, (Quantity, Words, TemperatureRule, CriterionRule, LocalTimeRule)):
            made[spec.name] = _line(state, label, rule, spec.name, get, put, optional=spec.default is None)
    return made


def _line(state, label, rule, name, get, put, optional):
    def write(value) -> str:
        if value is None:
            return ""
        words = rule.write(value, state.batch.units)
        return (
            words
            if isinstance(words, str)
            else f"a log of {len(words)} readings"
            if isinstance(words, list)
            else f"{words:g}"
        )

    line = Line(label, write(getattr(get(state.batch), name)))
    busy = [False]

    def typed(change):
        if busy[0]:
            return
        words = line.value.strip()
        try:
            value = None if optional and not words else rule.read(float(words) if _plain(rule, words) else words, True)
        except InputError as error:
            line.problem = str(error)
            return
        except ValueError:
            line.problem = f'"{words}" is not a plain number'
            return
        line.problem = ""
        if not put(**{name: value}):
            line.problem = " ".join(state.problems)

    def follow(change):
        words = write(getattr(get(state.batch), name))
        if words != line.value or change["name"] == "opened":
            busy[0] = True
            try:
                line.value, line.problem = words, ""
            finally:
                busy[0] = False

    line.observe(typed, "value")
    state.observe(follow, ["batch", "opened"])
    return line


def _plain(rule, words) -> bool:
    return isinstance(rule, Quantity) and rule.kind == "plain" and bool(words)


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
