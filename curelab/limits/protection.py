"""Checks of what protects the meat while it is raw, at the place where it is least: time, cold, salt and nitrite together; nitrite that comes
too late, or too much of it in one place.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .. import units
from ..engine.history import FIRST_BITE, History
from ..engine.simulate import simulate
from ..matter import brine
from ..recipe.stages import Rest
from ..recipe.times import COLD
from ..sources import Numbers
from . import keeping
from .exposure import Exposure, exposures
from .rule_sets import Limit, find, picks
from .verdict import DISCARD, ROUNDING, Verdict, caveat, judge, unknown

UNPROTECTED, WARM = "time unprotected", "time in the warm"
SLOWEST, LOCAL = "cure at the slowest spot", "nitrite near the surface"
OF_ONE_PLACE = (SLOWEST, LOCAL)
THREE, TEN = (
    276.15,
    283.15,
)  # K at which the two exposures are told, because a cook can picture days at 3 and hours at 10 degC
MIDDLE, SKIN = 0.15, 0.02  # shares of the thickness: so near the middle is "the middle", so near a face "the outside"
MOST_REST = 60 * units.DAY


def check_protection(history: History, numbers: Numbers, system: str = "metric") -> list[Verdict]:
    """Time unprotected and time in the warm (`exposure`), the cure at the place where least of it comes, and pH."""
    slowest = _slowest(history, exposures(history, numbers), numbers, system)
    return [*check_clocks(history, numbers, system), slowest, *_acid(history, numbers)]


def check_clocks(history: History, numbers: Numbers, system: str = "metric") -> list[Verdict]:
    """The two clocks of raw meat alone."""
    each = exposures(history, numbers)
    return [_unprotected(history, each, numbers, system), _warm(each, numbers, system)]


def _unprotected(history: History, each: Sequence[Exposure], numbers: Numbers, system: str) -> Verdict:
    """The share of the cold clock told as days of bare meat at 3 degC: up to `protection.share` of the time to harm there in order, if read
    strictly; beyond harm a fail, if read leniently; else not to be judged. Nor where the batch lasts longer than anything that is printed.
    """
    lasted = sum(_thawed(history, numbers))
    harm, row = keeping.days_to_harm(numbers, THREE), numbers["protection.share"]
    most, (source, how) = row.si * harm, keeping.source("cold", THREE)
    at = units.show(THREE, "temperature", system, digits=2)
    failed = max(exposure.harm for exposure in each) > 1 + ROUNDING
    number = int(np.argmax([exposure.harm if failed else exposure.cold for exposure in each]))
    worst = each[number]
    days = harm * (worst.harm if failed else worst.cold)
    least = (
        "" if failed or worst.cold <= 1 else f"{_count(harm * worst.harm)} to "
    )  # as much as nitrite helps, or as little
    said = f"{spot(history, number, worst.place, system)}: like bare raw meat for {least}{_count(days)} days at {at}"
    colder = bool(min(float(np.min(ran.kelvin)) for ran in history.ran) < THREE - 0.05)
    beside = f" Colder than {at} counts as {at}: no time is printed for colder meat." if colder else ""
    if failed:
        outcome, limit = "fail", harm
        said = f"{DISCARD} {said}. Toxin of botulism was found from {_count(harm)} days on.{beside}"
    elif worst.cold > row.si * (1 + ROUNDING):
        outcome, limit, how = "unknown", most, row.how
        said += f". Up to {most:.3g} is ok. Toxin of botulism was found from {_count(harm)} days on; between, nobody can say.{beside}"
    elif lasted > keeping.longest() * (1 + ROUNDING):
        outcome, limit = "unknown", most
        said = f"{units.roughly(lasted).capitalize()} in all: nothing printed reaches beyond {units.roughly(keeping.longest())}. {said}."
    else:
        outcome, limit, how = "pass", most, row.how
        said += f", at most {most:.3g}."
    return Verdict(
        UNPROTECTED,
        outcome,
        days,
        limit,
        f"d at {at}",
        limit - days if outcome != "unknown" else None,
        caveat(said, how),
        source,
        how,
    )


def _count(number: float) -> str:
    """Days or hours, whole from ten on."""
    return f"{number:.0f}" if number >= 10 else f"{number:.1f}".removesuffix(".0")


def _thawed(history: History, numbers: Numbers) -> list[float]:
    """s of each stretch, those that lie frozen left out."""
    frozen = numbers.si("freezing.meat")
    return [ran.length for ran in history.ran if float(np.max(ran.kelvin)) > frozen]


def _warm(each: Sequence[Exposure], numbers: Numbers, system: str) -> Verdict:
    """The share of the warm clock, told as hours at 10 degC. No cure counts here."""
    share = numbers.si("protection.share")
    harm = 1 / float(keeping.clock("warm", numbers).pace(np.array(TEN))) / units.HOUR
    used = max(exposure.warm for exposure in each)
    hours, most = used * harm, share * harm
    source, how = keeping.source("warm", TEN)
    at = units.show(TEN, "temperature", system)
    said = f"Warm: as much as {_count(hours)} h at {at}, at most {_count(most)}"
    outcome = "pass" if used <= share * (1 + ROUNDING) else "unknown" if used <= 1 + ROUNDING else "fail"
    if outcome == "unknown":
        said += f"; up to {_count(harm)} nobody can say. No cure helps where meat is warm"
    elif outcome == "fail":
        said = f"{DISCARD} {said}. No cure helps where meat is warm"
    return Verdict(
        WARM,
        outcome,
        hours,
        most,
        f"h at {at}",
        most - hours if outcome != "unknown" else None,
        caveat(f"{said}.", how),
        source,
        how,
    )


def _slowest(history: History, each: Sequence[Exposure], numbers: Numbers, system: str) -> Verdict:
    """Whether the cure has come to the place where least of it comes: free nitrite at its most there, where the cure has any, and salt in the
    water at its most. What salt alone does there is said, and decides nothing.
    """
    colour, there = numbers["colour.nitrite_minimum"], numbers["protection.slowest_salt"]
    cured = any(stage.cures and stage.put_in is not None and stage.put_in.nitrite for stage in history.stages)
    number = int(np.argmin([exposure.nitrite if cured else exposure.salt for exposure in each]))
    nitrite, salt = each[number].nitrite, min(exposure.salt for exposure in each)
    said = f"{spot(history, number, each[number].bare, system)}: "
    if cured:
        said += f"most free nitrite {1e6 * nitrite:.0f} mg/kg, at least {1e6 * colour.si:.3g}; "
    said += f"salt in its water {100 * salt:.1f} %, at least {100 * there.si:.3g}."
    good = salt >= there.si * (1 - ROUNDING) and (not cured or nitrite >= colour.si * (1 - ROUNDING))
    if not good:
        said += " Until the cure is there, only cold protects that place, and it stays grey."
    said += f" {_by_salt(salt, numbers, system)}"
    row, value, limit, unit = (
        (colour, 1e6 * nitrite, 1e6 * colour.si, "mg/kg") if cured else (there, 100 * salt, 100 * there.si, "%")
    )
    margin = value - limit if good else None
    return Verdict(
        SLOWEST, "pass" if good else "unknown", value, limit, unit, margin, caveat(said, row.how), row.source, row.how
    )


def _by_salt(salt: float, numbers: Numbers, system: str) -> str:
    """What so much salt [of the water phase] does alone."""
    felt, stops = numbers.si("protection.salt_felt"), numbers.si("growth.nonproteolytic.water_phase_salt")
    warm, ten = (
        numbers.si("growth.proteolytic.water_phase_salt"),
        units.show(numbers.si("growth.proteolytic.temperature"), "temperature", system),
    )
    activity = f"(water activity {float(brine.water_activity(min(salt, brine.STRONGEST))):.3f})"
    if salt < felt:
        does = "does little" if salt > 0.5 * felt else "does next to nothing"
        return (
            f"So much salt alone {does} {activity}; from {100 * stops:.2g} % it would stop the botulism of the fridge."
        )
    if salt < stops:
        return f"So much salt slows the botulism of the fridge {activity}; from {100 * stops:.2g} % it would stop it."
    if salt < warm:
        return f"So much salt stops the botulism of the fridge {activity}; the types that grow from {ten} need {100 * warm:.2g} %."
    return f"So much salt stops every botulism {activity}."


def _acid(history: History, numbers: Numbers) -> list[Verdict]:
    row = numbers["growth.ph"]
    known = {
        piece.name: piece.known_ph if piece.known_ph is not None else history.numbers.si(f"ph.{piece.species}")
        for piece in history.pieces
    }
    name, highest = max(known.items(), key=lambda pair: pair[1])
    if highest <= row.si:
        return []
    reason = (
        f"pH {highest:.2g} in the {name}: above {row.value:.2g} meat spoils sooner and nitrite protects less, and nothing here counts that. "
        "Use it fresh and well cooked, or take other meat."
    )
    return [unknown("pH of the meat", reason, row.source, row.how, row.value, "pH")]


def check_local(
    history: History, rule_set: str = "US", product: str = "cured meat", system: str = "metric"
) -> list[Verdict]:
    """Nitrite as added in the outer 5 mm when the plan ends, against the most that the rules let into a whole piece: more is not to be judged,
    for they count the whole; more than `protection.nitrite_burn` there is a fail. Says how long a rest evens it.
    """
    limit = _of_the_whole(history, rule_set, product)
    edges = [float(history.first_bite("nitrite", None, number)) for number in range(len(history.pieces))]
    if limit is None or not max(edges):
        return []
    number = int(np.argmax(edges))
    burn = history.numbers["protection.nitrite_burn"]
    edge, most = limit.on_its_basis(edges[number]), limit.value
    name = history.pieces[number].name
    what = f"outer {units.show(FIRST_BITE, 'length', system, digits=1)} of the {name} at the end: nitrite as added"
    if edge <= most * (1 + ROUNDING):
        return [judge(LOCAL, edge, "<=", most, f"mg/kg as {limit.ion_or_salt}", what, limit.source, limit.how)]
    help_ = evened(history, number, most / limit.on_its_basis(1.0), system)
    if edges[number] > burn.si:
        found = judge(
            LOCAL,
            1e6 * edges[number],
            "<=",
            1e6 * burn.si,
            "mg/kg as NaNO2",
            what,
            burn.source,
            burn.how,
            f"Do not eat it like this. {help_}",
        )
    else:
        remark = f"The rule counts the whole piece. {help_}"
        found = judge(
            LOCAL,
            edge,
            "<=",
            most,
            f"mg/kg as {limit.ion_or_salt}",
            what,
            limit.source,
            limit.how,
            remark,
            otherwise="unknown",
        )
    return [found]


def _of_the_whole(history: History, rule_set: str, product: str) -> Limit | None:
    """The most nitrite that may go into a whole piece; where only what remains is limited, that."""
    wet = any(stage.cures and stage.wet for stage in history.stages)
    rows = [
        pick
        for pick in picks(rule_set, product)
        if pick.agent == "nitrite"
        and pick.kind.startswith("max")
        and pick.process in ("", "immersion" if wet else "dry")
    ]
    rows.sort(key=lambda pick: pick.kind != "max_ingoing")
    return find(rows[0]) if rows else None


def evened(history: History, piece: int, most: float, system: str = "metric") -> str:
    """How long a rest brings the outer 5 mm of a piece down to `most` kg/kg of nitrite as added, in a sentence; looked for over 60 days."""
    if float(history.average("nitrite", None, piece, "meat")) > most:
        return "The whole piece holds too much, so a rest does not help: use less."
    end, kelvin = float(history.length), min(max(float(history.ran[-1].kelvin[-1]), 274.15), 276.15)
    rested = simulate((), Rest(temperature=kelvin, lasts=MOST_REST), after=history)
    when = end + np.linspace(0.0, MOST_REST, 241)
    there = np.flatnonzero(rested.first_bite("nitrite", when, piece) <= most)
    if not len(there):
        return f"Even a rest of {units.roughly(MOST_REST)} does not even it out: use less."
    return f"A rest of {units.roughly(float(when[there[0]] - end))} at {COLD[system]} evens it out."


def spot(history: History, number: int, depth: float, system: str = "metric") -> str:
    """A place of a piece in words, as the slowest spot is told: how far from the head, of a piece with a length, and how deep under the first
    face. depth: a share of the thickness there, of a round piece from one side to the other.
    """
    piece, body = history.pieces[number], history.body(number)
    off = abs(depth - 0.5)
    if off > 0.5 - SKIN:
        return f"Outside of the {piece.name}"
    solid = piece.solid() is not None
    if off < MIDDLE and not solid:
        return f"Middle of the {piece.name}"
    share = depth if body.two_sided else 0.5 - off
    deep = units.show(piece.thickness * body.across * share, "length", system, digits=2)
    if not solid:
        return f"{units.capital(piece.name)}, {deep} deep"
    along = units.show(piece.thickness * body.along, "length", system, digits=2)
    return f"{units.capital(piece.name)}, {along} from the head, {deep} deep"


__all__ = [
    "DISCARD",
    "LOCAL",
    "OF_ONE_PLACE",
    "SLOWEST",
    "UNPROTECTED",
    "WARM",
    "check_clocks",
    "check_local",
    "check_protection",
    "evened",
    "spot",
]
