"""An outcome in words: what to weigh, how long, how salty, what the rules say, what it rests on."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from .. import __version__, units
from ..engine.assumptions import ALWAYS
from ..engine.run import FREE
from ..limits.verdict import SIGNS
from ..outcome import Outcome
from ..recipe.measured import told, weight_note
from ..spread import Windows
from ..units import WIDTH
from ..weighing import WHY_METHODS_DIFFER
from .in_short import checked, how_sure, in_short, often
from .plate import plate_sentences
from .warm_lines import READ, cautions_of, warm_line


def words(outcome: Outcome, long: bool = False) -> str:
    """The report a cook reads: what to know first, then what to weigh and do, how sure it is, and what it rests on. `long` adds sources
    and methods.
    """
    batch = outcome.batch
    out = [batch.name, "=" * min(len(batch.name), WIDTH)]
    if batch.invented:
        out.append("(An invented example, to learn from.)")
    if batch.note:
        out += _wrapped(batch.note)
    drawn = f"(in brackets: 8 cases of 10, of {outcome.draws} draws; see HOW SURE)"
    out += ["", f"IN SHORT  {drawn}", *_points(in_short(outcome))]
    out += _what_to_do(outcome)
    out += ["", f"STAGE BY STAGE  {drawn}", *_stage_lines(outcome)]
    for each in outcome.answers:
        if not isinstance(each, Windows):  # the window stands at the top
            out += _wrapped(each.sentence)
    plate = plate_sentences(outcome.history)
    out += ["", "ON THE PLATE", *_points(plate)] if plate else []
    out += _check_lines(outcome, long)
    out += ["", "CAUTIONS", *_points(cautions_of(outcome))]
    if long:
        out += _meaning_lines(outcome)
    out += ["", "HOW SURE", *_points(how_sure(outcome))]
    if outcome.said:
        out += ["", "WHAT THE LOG SAYS", *_points(outcome.said)]
    out += ["", "WHAT IT RESTS ON", *_points((*rests_on(outcome, long), _numbers_used(outcome, long)))]
    out.append(f"  curelab {__version__}")
    return "\n".join(out) + "\n"


def _points(sentences: Sequence[str]) -> list[str]:
    return [line for sentence in sentences for line in _wrapped(sentence, "    ", "  - ")]


def _what_to_do(outcome: Outcome) -> list[str]:
    """The meat, what to weigh, and the vessel."""
    system, out = outcome.batch.units, ["", "THE MEAT"]
    for piece in outcome.batch.pieces:
        raw = units.show(piece.weight, "mass", system)
        out.append(f"  {piece.name}: {piece.tissue}, {raw} raw, {told(piece, system)}")
        note = weight_note(piece, system)
        out += _wrapped(note) if note else []
    if outcome.weighed is not None:
        out += ["", "WEIGH OUT", *(f"  {line}" for line in outcome.weighed.lines(system))]
        for caution in outcome.weighed.cautions:
            out += _wrapped(f"CAUTION  {caution}")
    if outcome.vessel is not None:
        out += ["", "THE VESSEL", *_wrapped(outcome.vessel.sentence)]
    return out


def _check_lines(outcome: Outcome, long: bool) -> list[str]:
    """What the checks came to: all of them with their sources when `long`, else in full only those that want a look."""
    drawn = (
        f"In brackets: how often, of {checked(outcome.chances)} draws (see HOW SURE); nothing where all draws agree."
    )
    rules = (
        f"CHECKS  (rules: {outcome.batch.rules}; a guide, not a permit: your local code and licensed practice go first)"
    )
    out = ["", rules, *_wrapped(drawn)]
    for verdict in outcome.verdicts:
        if verdict.outcome != "pass" or long:
            source = f" [{verdict.source}]" if long else ""
            said = f"{SIGNS[verdict.outcome]}: {verdict.sentence}{often(outcome, verdict)}{source}"
            out += _wrapped(said, "      ", "  ")
    if long:
        return out
    passed = [verdict for verdict in outcome.verdicts if verdict.outcome == "pass"]
    always = dict.fromkeys(verdict.name for verdict in passed if not often(outcome, verdict))
    some = dict.fromkeys(f"{each.name}{often(outcome, each)}" for each in passed if often(outcome, each))
    for names, what in ((always, "in order"), (some, "in order as planned, not in every case")):
        if names:
            out += _wrapped(f"{what}: {'; '.join(names)}.", "      ", "  ")
    return out


def _meaning_lines(outcome: Outcome) -> list[str]:
    """What the grams of each cure mean, by every way of counting."""
    out = []
    for index, meaning in outcome.meanings:
        out += ["", f"WHAT THE GRAMS MEAN  (stage {index + 1}, {outcome.history.stages[index].tag})"]
        for line in meaning.lines():
            out += _wrapped(line, "    ")
        if len(meaning.nitrite) > 1 and any(row.value for row in meaning.nitrite):
            out += _wrapped(WHY_METHODS_DIFFER, "    ")
    return out


def rests_on(outcome: Outcome, long: bool) -> tuple[str, ...]:
    return (*outcome.history.assumptions, *(ALWAYS if long else ()))


def _numbers_used(outcome: Outcome, long: bool) -> str:
    """How many published numbers were used, and how many of them are not well known."""
    sources = outcome.history.sources
    uncertain = [number for number in sources if number.how in ("memory", "judgement")]
    told = f": {', '.join(number.key for number in uncertain)}" if long else ""
    return (
        f"{len(sources)} published numbers were used; {len(uncertain)} of them rest on memory or judgement{told}. "
        f"They stand in the tables of datasets/ with their sources.{'' if long else ' --long prints sources and ways of counting.'}"
    )


def _wrapped(sentence: str, later: str = "  ", first: str = "  ") -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=False) or [
        first
    ]


def _stage_lines(outcome: Outcome) -> list[str]:
    history, system = outcome.history, outcome.batch.units
    out = []
    every = [n for n in range(len(history.stages)) if history.has(n)]
    read = [("average", "salt"), ("core", "salt"), ("surface", "salt"), ("average", "nitrite"), ("core", FREE)]
    ahead(outcome, every, read)
    for index in every:
        begin, end = history.span(index)
        days = (
            f"{units.day(begin, 2)} to {units.day_number(end, 2)}"
            if end - begin > 12 * units.HOUR
            else f"on {units.day(begin, 2)}"
        )
        if end - begin < 1.0:
            out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: not needed.")
            continue
        waits = outcome.waits(index)
        ended = f"ended {history.ending(index)}{f' ({waits})' if waits else ''}"
        out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: {ended}")
        for piece in outcome.batch.pieces:
            if told := warm_line(outcome, index, piece.name):
                out += _wrapped(told, "         ", "     ")
            salt = "; ".join(
                f"{place} {_band(outcome, key, 'salt', index, piece.name)}"
                for place, key in (("overall", "average"), ("middle", "core"), ("outside", "surface"))
            )
            out += _wrapped(f"{piece.name}: salt, % of the meat: {salt}.", "         ", "     ")
            if history.average("nitrite", end, piece.name) > 0:
                taken = _band(outcome, "average", "nitrite", index, piece.name, ppm=True)
                free = _band(outcome, "core", FREE, index, piece.name, ppm=True)
                out += _wrapped(
                    f"nitrite, mg per kg of raw weight: taken in {taken}; left in the middle {free}.",
                    "         ",
                    "         ",
                )
            weighs = outcome.spread.weight((end,), piece.name)
            middle, low, high = (
                units.show(part[0], "mass", system, digits=2) for part in (weighs.middle, weighs.low, weighs.high)
            )
            out += _wrapped(f"weighs {middle} ({low} to {high}).", "         ", "         ")
    return out


def ahead(outcome: Outcome, stages: Sequence[int], read: Sequence[tuple[str, str]]) -> None:
    """Read all that is about to be told of these stages in one pass."""
    own = {n: (*read, *(READ if outcome.history.stages[n].heats else ())) for n in stages}
    pieces = outcome.batch.pieces
    outcome.look_ahead(((*each, n, piece.name) for n in stages for piece in pieces for each in own[n]), True)


def _band(outcome: Outcome, place: str, quantity: str, stage: int, piece: str, ppm: bool = False) -> str:
    value, low, high = outcome.band(place, quantity, stage, piece)
    if ppm:
        return f"{1e6 * value:.0f} ({1e6 * low:.0f} to {1e6 * high:.0f})"
    return f"{100 * value:.1f} ({100 * low:.1f} to {100 * high:.1f})"


__all__ = ["WIDTH", "ahead", "words"]
