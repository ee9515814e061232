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
from ..weighing import OVER_MEASURED, WHY_METHODS_DIFFER, by_label
from . import fields
from .check_names import INFORMS
from .dangers import once
from .fate import fate
from .in_short import checked, how_sure, how_sure_in_full, in_parts, often
from .own_units import own_units
from .plate import plate_sentences
from .to_the_plate import to_the_table
from .warm_lines import READ, cautions_of, warm_line

HEAD_WIDTH = 100  # columns of the answer under the title


def words(outcome: Outcome, long: bool = False) -> str:
    """The report a cook reads: the answer first, then what to weigh and do, and how sure it is. `long` adds ranges of every reading, all
    checks, sources and methods.
    """
    batch = outcome.batch
    first, more = in_parts(outcome)
    out = [f"{batch.name}{'  (an invented example)' if batch.invented else ''}"]
    out += [line for said in first for line in _wrapped(said, "  ", "", HEAD_WIDTH)]
    out += ["", *_points(more)]
    if long and batch.note:
        out += ["", *_wrapped(batch.note)]
    out += _what_to_do(outcome, long)
    out += ["", *(_stage_lines(outcome) if long else _stage_table(outcome))]
    for each in outcome.answers:
        if long or not isinstance(each, Windows):
            out += _wrapped(each.told if isinstance(each, Windows) else each.sentence)
    plate = [*to_the_table(outcome), *plate_sentences(outcome.history, outcome.batch.units)]
    becomes = fate(outcome.verdicts)
    if plate and becomes is not None:  # a taste and an hour to serve are no words for meat that nobody may eat
        plate = [becomes.sentence, *plate] if becomes.serve else [becomes.sentence]
    out += ["", "ON THE PLATE", *_points(plate)] if plate else []
    out += _check_lines(outcome, long)
    out += ["", "CAUTIONS", *_points(cautions_of(outcome))]
    if long:
        out += _meaning_lines(outcome)
    out += ["", "HOW SURE", *_points(how_sure_in_full(outcome) if long else how_sure(outcome))]
    if outcome.said and long:
        out += ["", "WHAT THE LOG SAYS", *_points(outcome.said)]
    if long:
        out += ["", "WHAT IT RESTS ON", *_points((*rests_on(outcome, long), _numbers_used(outcome, long)))]
        return "\n".join([*out, f"  curelab {__version__}"]) + "\n"
    out += _points([f"{_numbers_used(outcome, long)} `--long` says all it rests on."])
    return "\n".join(out) + "\n"


def _points(sentences: Sequence[str]) -> list[str]:
    return [line for sentence in sentences for line in _wrapped(sentence, "    ", "  - ")]


def _what_to_do(outcome: Outcome, long: bool) -> list[str]:
    """What to weigh, and the vessel; `long`: and the meat."""
    system, out = outcome.batch.units, []
    notes = [note for piece in outcome.batch.pieces if (note := weight_note(piece, system))]
    if long:
        out += ["", "THE MEAT"]
        for piece in outcome.batch.pieces:
            meat = f"{piece.tissue}, {units.show(piece.weight, 'mass', system)} raw"
            out += _wrapped(f"{piece.name}: {meat}, {told(piece, system)}", "      ")
    out += [line for note in notes for line in _wrapped(note)]
    if outcome.weighed is not None:
        out += ["", "WEIGH OUT", *(f"  {line}" for line in outcome.weighed.lines(system))]
        for caution in outcome.weighed.cautions:
            out += _wrapped(f"CAUTION  {caution}")
    own = [(stage.tag, getattr(stage.put_in, "nitrite", 0.0)) for stage in outcome.batch.stages]
    if any(nitrite for _, nitrite in own):
        out += ["", "THE CURE MIX"]
        out += [line for tag, nitrite in own if nitrite for line in _wrapped(f"{tag}: {by_label(nitrite)}.", "    ")]
        out += _wrapped(f"CAUTION  Never use pure nitrite. {OVER_MEASURED}")
    if outcome.vessel is not None:
        out += ["", *_wrapped(f"THE VESSEL: {own_units(outcome.vessel.sentence, system)}", "  ", "")]
    return out


def _check_lines(outcome: Outcome, long: bool) -> list[str]:
    """What the checks came to: those that are not ok; all of them with their sources when `long`."""
    rules = (
        f"CHECKS  (rules: {outcome.batch.rules}; a guide, not a permit: your local code and licensed practice go first)"
    )
    out = ["", rules]
    for verdict in outcome.verdicts if long else once(outcome.verdicts):
        if long or (verdict.outcome != "pass" and verdict.name not in INFORMS):
            source = f"{often(outcome, verdict)} [{verdict.source}]" if long else ""
            brief = verdict.outcome == "unknown" and not long
            said = f"{verdict.sentence.partition('. ')[0].removesuffix('.')}." if brief else verdict.sentence
            out += _wrapped(f"{SIGNS[verdict.outcome]}: {said}{source}", "      ", "  ")
    if long:
        out += _wrapped(
            f"In brackets: how often, of {checked(outcome.chances)} simulated batches; nothing where all agree."
        )
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
    said = (*outcome.history.assumptions, *(ALWAYS if long else ()))
    return tuple(own_units(each, outcome.batch.units) for each in said)


def _numbers_used(outcome: Outcome, long: bool) -> str:
    """How many published numbers were used, and how many of them are not well known."""
    sources = outcome.history.sources
    uncertain = [number for number in sources if number.how in ("memory", "judgement")]
    told = f": {', '.join(number.key for number in uncertain)}" if long else ""
    kept = " They stand in the tables of datasets/ with their sources." if long else ""
    return (
        f"{len(sources)} published numbers were used; {len(uncertain)} of them rest on memory or judgement{told}.{kept}"
    )


def _wrapped(sentence: str, later: str = "  ", first: str = "  ", width: int = WIDTH) -> list[str]:
    return textwrap.wrap(sentence, width, initial_indent=first, subsequent_indent=later, break_long_words=False) or [
        first
    ]


def _stage_table(outcome: Outcome) -> list[str]:
    """One line for each stage and piece, in the middle of the simulated batches: salt, nitrite and weight when the stage ends."""
    history, system = outcome.history, outcome.batch.units
    every = [n for n in range(len(history.stages)) if history.has(n)]
    read = [("average", "salt"), ("core", "salt"), ("surface", "salt"), ("average", "nitrite"), ("core", FREE)]
    ahead(outcome, every, read)
    out = [
        f"{'':34}{'salt, % of the meat':>25}{'nitrite, mg/kg':>26}",
        f"{'WHEN IT ENDS':34}{'whole':>8}{'middle':>8}{'outside':>9}{'taken in':>12}{'free, middle':>14}{'weight':>9}",
    ]
    for index in every:
        begin, end = history.span(index)
        if end - begin < 1.0:
            out.append(f"  {index + 1}. {history.stages[index].tag}: not needed")
            continue
        for piece in outcome.batch.pieces:
            salt = [100 * outcome.band(place, "salt", index, piece.name)[0] for place in ("average", "core", "surface")]
            taken = 1e6 * outcome.band("average", "nitrite", index, piece.name)[0]
            free = 1e6 * outcome.band("core", FREE, index, piece.name)[0]
            weight = units.show(outcome.spread.weight_at_end(index, piece.name).middle[0], "mass", system, digits=2)
            what = f"  {index + 1}. {history.stages[index].tag}, day {units.day_number(end, 2)}, {piece.name}"
            out.append(f"{what[:34]:34}{salt[0]:8.1f}{salt[1]:8.1f}{salt[2]:9.1f}{taken:12.0f}{free:14.0f}{weight:>9}")
        for piece in outcome.batch.pieces:
            made = history.stages[index]
            if made.heats and made.is_about(piece.name):
                out += _wrapped(warm_line(outcome, index, piece.name), "     ", "     ")
        waits = outcome.waits(index)
        out += _wrapped(f"waited: {waits}.", "     ", "     ") if waits else []
    fat = [piece.name for piece in outcome.batch.pieces if piece.fatty]
    out += _wrapped(f"The whole of the {units.listed(fat)} counts its fat, which holds little salt.") if fat else []
    for name in fields.solid_names(history):
        out += _wrapped(f"{name}, {fields.slowest_words(history, history.length, name, system)}")
    return out


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
        ended = f"ended {own_units(history.ending(index, system), system)}{f' ({waits})' if waits else ''}"
        out += _wrapped(f"{index + 1}. {history.stages[index].tag.capitalize()}, {days}: {ended}")
        for piece in outcome.batch.pieces:
            if told := warm_line(outcome, index, piece.name):
                out += _wrapped(told, "         ", "     ")
            salt = "; ".join(
                f"{place} {_band(outcome, key, 'salt', index, piece.name)}"
                for place, key in (("overall", "average"), ("middle", "core"), ("outside", "surface"))
            )
            out += _wrapped(f"{piece.name}: salt, % of the meat: {salt}.", "         ", "     ")
            there = fields.slowest_words(history, end, piece.name, system)
            out += _wrapped(there, "         ", "         ") if there else []
            if history.average("nitrite", end, piece.name) > 0:
                taken = _band(outcome, "average", "nitrite", index, piece.name, ppm=True)
                free = _band(outcome, "core", FREE, index, piece.name, ppm=True)
                said = f"nitrite, mg per kg of raw weight: taken in {taken}; left in the middle {free}."
                out += _wrapped(said, "         ", "         ")
            weighs = outcome.spread.weight_at_end(index, piece.name)
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
