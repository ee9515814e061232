"""A thermometer pushed into the meat while it cooks or cools: which stage it was read in, what cannot be, and what it says of the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from .. import units
from ..batch import Batch, Reading
from ..engine.history import History
from ..engine.readout import Ran
from ..limits.cooked import check_cooked, check_read_cooling
from ..limits.cooling import rules
from ..limits.lethality import DEFER
from ..limits.verdict import OUTCOMES, Verdict, Verdicts, undecided, unknown
from ..recipe.criterion import TEMPERATURE
from ..recipe.stages import Stage
from ..spread import Request, Spread
from ..spread.answers import ordered
from .warm_log import IN_THE_MEAT

WARMTH = "core temperature"
TURNED = 5.0  # K back from the furthest reading: the next stage has begun (judgement)
DOUBTED = 5.0  # K that a probe may say less than is computed, before no check of heat is vouched for (judgement)
HOTTER = 2.0  # K that a probe may read beyond its bath, for a probe and an oven that are both a little off (judgement)


def lived(batch: Batch, usual: History) -> tuple[Stage, ...]:
    """The stages by the clock, as a fit reads them: those that wait for a criterion as long as in the usual case; those that go by a
    thermometer in the meat as long as the readings of it say.
    """
    stages, begin = list(usual.held(batch.filled())), 0.0
    for number, stage in enumerate(usual.stages):
        spent = sum(usual.spent(number))
        if stage.until is not None and stage.until.quantity == TEMPERATURE:
            last = max(_lasted(batch, stage, begin, spent), 60.0)
            if last != spent:
                stages[number], spent = stage.lasting(last), last
        begin += spent
    return tuple(stages)


def _lasted(batch: Batch, stage: Stage, begin: float, usually: float) -> float:
    """s that a stage lasted: to where the line between two readings meets its criterion; while none does, at least to its last reading, as
    long as no other piece is probed, whose own stage has begun then.
    """
    assert stage.until is not None
    probed = [entry for entry in sorted(batch.log, key=lambda one: one.at) if entry.what == WARMTH]
    others = [entry.at - begin for entry in probed if not stage.is_about(_name(entry, stage, batch))]
    most = min([each for each in others if each > usually], default=stage.longest)
    rows = [
        (entry.at - begin, entry.number)
        for entry in probed
        if entry.number is not None and 0 < entry.at - begin <= most and stage.is_about(_name(entry, stage, batch))
    ]
    way = 1.0 if stage.until.sign == ">=" else -1.0
    found, furthest, before = usually, -np.inf, None
    for at, kelvin in rows:
        margin = way * (kelvin - stage.until.target)
        if margin >= 0:
            if before is None:
                return min(usually, at)
            share = -before[1] / (margin - before[1]) if margin > before[1] else 1.0
            return before[0] + share * (at - before[0])
        if margin < furthest - TURNED:
            break
        furthest, before, found = max(furthest, margin), (at, margin), max(usually, at)
    return found


def _name(entry: Reading, stage: Stage, batch: Batch) -> str:
    """The piece that was probed: the one named, else the first that the stage is about."""
    return entry.piece or next(piece.name for piece in batch.pieces if stage.is_about(piece.name))


def _probed(entry: Reading, batch: Batch, history: History) -> str:
    """`_name`, wherever in a history the entry falls."""
    return _name(entry, history.stages[history.ran_at(min(entry.at, float(history.length))).stage], batch)


def placed(entry: Reading, ran: Ran, history: History, batch: Batch) -> tuple[Reading, str]:
    """(the reading with its piece, why it cannot be taken up or ""), where it falls into the stretch `ran` of `history`."""
    stage, when, kelvin = history.stages[ran.stage], units.day(entry.at, 2), entry.number
    assert kelvin is not None
    entry = entry.but(piece=_name(entry, stage, batch))
    said = f"The {WARMTH} of {when} is left out"
    if ran.stretch.heating is None:
        return entry, f"{said}: by the plan nothing is cooked or cooled then; check the time."
    if not stage.is_about(entry.piece):
        return entry, f"{said}: {entry.piece} waits in the fridge then; check the piece and the time."
    times, bath = (np.array(each) for each in zip(*ran.stretch.temperature, strict=True))
    so_far = [float(np.interp(entry.at - ran.begin, times, bath)), *bath[times <= entry.at - ran.begin]]
    if stage.aim != "chill" and kelvin > max(so_far) + HOTTER:
        shown, most = (units.show(each, "temperature", batch.units) for each in (kelvin, max(so_far)))
        return (
            entry,
            f"{said}: {shown} is hotter than its {stage.noun} of {most}; push the tip into the meat, and check both thermometers.",
        )
    if stage.aim == "chill" and kelvin < min(so_far) - HOTTER:
        shown, least = (units.show(each, "temperature", batch.units) for each in (kelvin, min(so_far)))
        return entry, f"{said}: {shown} is colder than what cools it, {least}; check both thermometers."
    return entry, ""


def forecast(batch: Batch, history: History, planned: Spread, learned: Spread) -> Iterator[str]:
    """When each stage that was probed and goes by the thermometer is over, after and before the readings; one sentence each."""
    for number in range(len(history.stages)):
        stage = learned.case.stages[number]
        if stage.until is None or stage.until.quantity != TEMPERATURE or not history.has(number):
            continue
        begin, end = history.span(number)
        read = [each for each in batch.log if each.what == WARMTH and begin < each.at <= end + 1.0]
        if not read or _met(stage, max(read, key=lambda each: each.at)):
            continue
        asked = [Request.of(what, stage=number) for what in ("ends", "begin")]
        now, was = (np.subtract(*many.readings(asked)) for many in (learned, planned))
        early, middle, late = (units.roughly(each) for each in ordered(now))
        first, _, last = (units.roughly(each) for each in ordered(was))
        yield (
            f"{units.capital(stage.tag)}: {units.show(stage.until.target, 'temperature', batch.units)} in the middle after {middle} "
            f"({early} to {late} in 8 of 10 simulated batches), by your probe; before it {first} to {last}. Go by the thermometer, not by this."
        )


def _met(stage: Stage, entry: Reading) -> bool:
    assert stage.until is not None and entry.number is not None
    return bool(stage.until.margin(np.array(entry.number)) >= 0)


def judged_probe(batch: Batch, history: History) -> tuple[Verdict, ...]:
    """What readings of the meat say of its cooling before any model: too slow is a fail; quick enough makes no check easier, for nobody read it
    all the time.
    """
    return tuple(
        replace(verdict, name=f"{verdict.name}, by the probe")
        for _, verdicts in _read_cooling(batch, history)
        for verdict in verdicts
        if verdict.outcome == "fail"
    )


def _read_cooling(batch: Batch, history: History) -> Iterator[tuple[float, Verdicts]]:
    """(hottest reading [K], checks of cooling by its readings alone) of every piece that was probed; none where it was once."""
    for piece in batch.pieces:
        rows = {
            entry.at: entry.number
            for entry in batch.log
            if entry.what == WARMTH and entry.number is not None and _probed(entry, batch, history) == piece.name
        }
        times = np.array(sorted(rows))
        kelvin = np.array([rows[time] for time in times])
        if len(times):
            alone = len(times) < 2
            yield kelvin.max(), Verdicts() if alone else check_read_cooling(history, piece.name, times, kelvin)


def no_easier(
    found: Sequence[Verdict], batch: Batch, history: History, planned: Callable[[], History]
) -> list[Verdict]:
    """Verdicts with those of cooling no better than `planned` has them, the batch without its log: one reading of a chill says little of the rest of
    it. They stand where the readings of every piece that was probed were themselves quick enough, from where a limit begins on.
    """
    read = list(_read_cooling(batch, history))
    begins = max(rule.begin for rule in rules("cooling"))
    if not read or all(
        hottest >= begins and any(each.counts_as_pass for each in verdicts) for hottest, verdicts in read
    ):
        return list(found)
    worse = {
        each.name: replace(each, sentence=f"By the plan, for too few readings tell of the chill: {each.sentence}")
        for each in check_cooked(planned(), batch.units)
        if each.name.startswith("cooling")
    }
    alone = [
        each for name, each in worse.items() if name not in {own.name for own in found} and not each.counts_as_pass
    ]
    return [
        *(min(each, worse.get(each.name, each), key=lambda one: OUTCOMES.index(one.outcome)) for each in found), *alone
    ]  # fmt: skip


def doubted(batch: Batch, history: History) -> tuple[Verdict, ...]:
    """Unknown, where a reading says that meat is less cooked, or less cooled, than `history` has it: so looks a bath that failed."""
    return tuple(verdict for _, verdict in _doubts(batch, history))[:1]


def in_doubt(found: Sequence[Verdict], batch: Batch, history: History) -> list[Verdict]:
    """Verdicts, none of heat a pass where a thermometer said that meat was less cooked; none of cooling where it said that it was less cooled."""
    doubts = [aim for aim, _ in _doubts(batch, history)]
    if not doubts:
        return list(found)
    names = {each.name for each in check_cooked(history)}
    if all(aim == "chill" for aim in doubts):
        names = {name for name in names if name.startswith("cooling")}
    why = "The thermometer in the meat says otherwise than this:"
    return [undecided(each, why) if each.name in names else each for each in found]


def _doubts(batch: Batch, history: History) -> Iterator[tuple[str, Verdict]]:
    """(aim of its stage, verdict) of every reading that is so far from what `history` has, in order of time."""
    for entry in sorted(batch.log, key=lambda each: each.at):
        if entry.what != WARMTH or entry.number is None or entry.at > float(history.length):
            continue
        ran, name = history.ran_at(entry.at), _probed(entry, batch, history)
        stage = history.stages[ran.stage]
        if ran.stretch.heating is None or not stage.is_about(name):
            continue
        expected = float(history.temperature(entry.at, "core", name))
        less = entry.number - expected if stage.aim == "chill" else expected - entry.number
        if less > DOUBTED:
            read, computed = (units.show(each, "temperature", batch.units) for each in (entry.number, expected))
            remedy = (
                "Chill it faster, and ask who inspects you."
                if stage.aim == "chill"
                else "Cook on until it says enough."
            )
            said = f"Believe the thermometer in the {name}, not the checks below: it says {read} where {computed} were expected. {remedy} {DEFER}"
            yield stage.aim, unknown(IN_THE_MEAT, said, "a reading of this batch", "judgement")


def settings(readings: Sequence, usual: History) -> tuple[str, ...]:
    """The settings of heat in which pieces were probed."""
    heatings = [usual.ran_at(each.at).stretch.heating for each in readings if each.what == WARMTH]
    return tuple(dict.fromkeys(each.setting for each in heatings if each is not None))


__all__ = [
    "WARMTH",
    "doubted",
    "forecast",
    "in_doubt",
    "judged_probe",
    "lived",
    "no_easier",
    "placed",
    "settings",
]
