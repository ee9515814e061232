"""Temperatures and times as a stage holds them: constant, or a log; and lists of times."""

from __future__ import annotations

import itertools

from .. import units
from ..fields import InputError, Problem, Quantity, Rule, refuse

COLD = {
    "metric": "1 to 3 °C",
    "us": "34 to 37 °F",
}  # where raw meat in cure is kept (judgement; above ice, below 40 degF)
KEEP_COLD = f"{COLD['metric']} ({COLD['us']})"
TIME = ("1 min", "400 d")  # least and longest time of a stage

Log = tuple[tuple[float, float], ...]  # ((s, K), ...), straight lines between the points


class _Kept(Quantity):
    """How warm raw meat is kept; one that is too warm is told so before anything else."""

    def read(self, given, strict):
        try:
            return super().read(given, strict)
        except InputError as error:
            raise InputError(
                [Problem(each.where, self._too_warm(given, each.sentence)) for each in error.problems]
            ) from None

    def _too_warm(self, given, sentence: str) -> str:
        said, out, rest = sentence.partition(f" is out of range (from {self.low} to {self.high}); ")
        if not out or units.read(given, self.kind) <= units.read(self.high, self.kind):
            return sentence
        hint = f"; {rest}" if rest != self.remedy else ""
        return f"{said} is too warm for raw meat: {self.remedy} (stages run from {self.low} to {self.high}){hint}"


_COLD = _Kept("temperature", "-3 degC", "25 degC", f"keep it at {KEEP_COLD}")


class LogRule(Rule):
    """ "3 degC", or straight lines [["0 h", "3 degC"], ["9 h", "5 degC"], ...] between two temperatures; kept as ((s, K), ...).

    one: reads a temperature; noun: what the list is called; longest: its last time; example: an entry; most: entries.
    """

    one: Quantity
    noun: str
    longest: str
    example: str
    most: int

    def read(self, given, strict):
        if not isinstance(given, (list, tuple)):
            return ((0.0, self.one.read(given, strict)),)
        problems, points = [], []
        for number, entry in enumerate(given, 1):
            try:
                time, temperature = entry
                points.append(
                    (Quantity("time", "0 s", self.longest).read(time, strict), self.one.read(temperature, strict))
                )
            except InputError as error:
                problems += error.under(f"[{number}]")
            except (TypeError, ValueError):
                problems.append(Problem(f"[{number}]", f"{entry!r} is not a pair like {self.example}"))
        if not problems and (not points or any(b[0] <= a[0] for a, b in itertools.pairwise(points))):
            problems.append(
                Problem("", f"the times of a {self.noun} must grow from entry to entry, and one entry is the least")
            )
        if len(points) > self.most:
            problems.append(
                Problem("", f"the {self.noun} has {len(points)} entries; at most {self.most} are read, so thin it out")
            )
        if problems:
            raise InputError(problems)
        return tuple(points)

    def write(self, value, system):
        if len(value) == 1 and value[0][0] == 0.0:
            return units.text(value[0][1], "temperature", system)
        return [[units.text(time, "time", system), units.text(kelvin, "temperature", system)] for time, kelvin in value]

    def entry(self, value, system):
        return (
            units.entry(value[0][1], "temperature", system)
            if len(value) == 1
            else f"a {self.noun} of {len(value)} entries"
        )


class TemperatureRule(LogRule):
    """How warm raw meat is kept: a temperature, or the log of a fridge."""

    one, noun, longest, example, most = _COLD, "fridge log", "400 d", '["9 h", "5 degC"]', 20000


class TimesRule(Rule):
    """A list of times since the stage began, growing: ["2 d", "4 d 3 h"]; kept as seconds."""

    def read(self, given, strict):
        if isinstance(given, str) or not isinstance(given, (list, tuple)):
            raise refuse("", f'{given!r} is not a list of times; write it like ["2 d", "4 d"]')
        if len(given) > 2000:
            raise refuse("", f"there are {len(given)} times; at most 2000 are read, so leave some out")
        problems, times = [], []
        for number, time in enumerate(given, 1):
            try:
                times.append(Quantity("time", "0 s", "400 d", "give days or hours", above_low=True).read(time, strict))
            except InputError as error:
                problems += error.under(f"[{number}]")
        if not problems and any(b <= a for a, b in itertools.pairwise(times)):
            problems.append(Problem("", "the times must grow from entry to entry"))
        if problems:
            raise InputError(problems)
        return tuple(times)

    def write(self, value, system):
        return [units.text(time, "time", system) for time in value]


def constant(temperature: str | float) -> Log:
    """A temperature that does not change."""
    return TemperatureRule().read(temperature, False)


def warmed(log: Log, by: float) -> Log:
    return tuple((time, kelvin + by) for time, kelvin in log)
