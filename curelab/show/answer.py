"""The answer in a cook's words: in and out, the slowest spot, and what to change. The same sentences on every page, report and sheet.

Numbers in brackets hold 8 of 10 simulated batches; `RANGES` says so where the page does not.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .. import units
from ..fields import unchecked
from ..forecast.ready import LOOKED, Ready
from ..limits.verdict import SOME, SURE
from ..outcome import Outcome
from ..recipe.piece import Piece, alike_pieces
from ..recipe.times import COLD
from ..sources import Numbers
from ..spread.answers import ordered
from ..spread.changes import Change
from ..spread.forgiving import Forgiving
from ..units import DAY, HOUR, capital
from ..weighing import Weighed
from .days import SOON, Dated, count, day, on, span
from .how_often import in_batches, of_ten
from .lacking import bare_too_long, more_salt, why_bare, why_not_wait

OVER = 1.05  # of where a cure ends: more is told (judgement)
LITTLE = 0.05  # % of salt a day that nobody tastes (judgement)
NEAR = 1.1  # times the salt that is wanted after a soak, or its inverse: as wanted (judgement)
LEAST_REST = 6 * HOUR  # what is even sooner needs no rest to speak of (judgement)
HEAD = 3  # sentences of an answer that stand first: (a), (b) and the best of (c)
UNTIL_CURED = "Until the middle is cured"
NOT_YET = 'Cut it thinner: "The cut" says how thin.'
TOO_WARM = "Do not do this: the meat is warm for too long, and no cure helps there. Keep it colder."
NOTHING_ELSE = "Without nitrite nothing turns it pink: weigh in cure, or cook the meat fresh."
FOLLOWS, ANSWER_FOLLOWS = "How sure this is follows in a moment.", "The answer follows in a moment."
CHECKS_FOLLOW = "What the checks say follows in a moment."
NO_NITRITE = "Slowest spot: there is no nitrite in this cure. It stays grey; only cold and cooking protect it."


def ranges(count: int) -> str:
    """What the numbers in brackets mean."""
    return f'Brackets hold 8 of 10 simulated batches, and "5 of 10" counts them ({count} simulated).'


@dataclass(frozen=True)
class Planned:
    """What a plan does: when it takes a piece out [s since the start], and where its salt on the whole then stands over where the cure
    would come to rest.
    """

    out: float
    stands: float = 1.0


def in_and_out(
    found: Ready, piece: Piece, plan: Planned | None = None, system: str = "metric", dated: Dated | None = None
) -> str:
    """(a): whether the plan will do, when to take out, how long to rest, when to cook."""
    told = _named(piece, system)
    if plan is not None:
        told += f" {_planned(found, plan, dated)}"
    best = "Out" if plan is None or dated is None else "Best out"
    pull, ready = (ordered(each)[1] for each in (found.pull, found.ready))
    if not np.isfinite(pull):
        return f"{told} Even {LOOKED / DAY:.0f} days do not bring it its salt."
    if not worth_waiting(found):
        pulled = "" if found.bag or found.after is not None else f"have its salt {on(found.pull, dated)} and "
        if not np.isfinite(ready):
            return f"{told} It would {pulled}not be even after {LOOKED / DAY:.0f} days of rest."
        if pulled and ready - pull < LEAST_REST:
            return f"{told} It would have its salt {on(found.pull, dated)}."
        return f"{told} It would {pulled}be even {on(found.ready, dated)}."
    if found.bag:
        return f"{told} The bag is its rest too: cook {on(found.ready, dated)}."
    if found.after is not None:
        if not np.isfinite(ready):
            return f"{told} {LOOKED / DAY:.0f} days of rest do not even it out."
        return f"{told} Then rest {span(found.rest)}, cook {on(found.ready, dated)}."
    if not np.isfinite(ready):
        return f"{told} {best} {on(found.pull, dated)}; {LOOKED / DAY:.0f} days of rest do not even it out."
    if ready - pull < LEAST_REST:
        return f"{told} {best} {on(found.pull, dated)}, no rest, cook it then."
    middle = ready - pull
    if SOON <= middle < np.inf:  # the days that are shown add up
        middle = (round(ready / DAY) - round(pull / DAY)) * DAY
    return f"{told} {best} {on(found.pull, dated)}, rest {span(found.rest, middle)}, cook {on(found.ready, dated)}."


def _after_soak(found: Ready, plan: Planned, dated: Dated | None = None) -> str:
    """ "2 days and 11 hours of soak leave 2.2 % salt (1.9 to 2.5), as wanted." """
    assert found.after is not None and found.soaked is not None
    low, middle, high = (100 * each for each in ordered(found.after))
    days = f"{capital(units.roughly(plan.out))} and" if dated is None else f"Out on {dated(plan.out)}, as planned:"
    said = f"{days} {units.roughly(ordered(found.soaked - found.pull)[1])} of soak leave {middle:.1f} % salt ({low:.1f} to {high:.1f})"
    wanted = 100 * found.wanted.target
    if middle > NEAR * wanted:
        return f"{said}, more than the {wanted:.1f} % wanted. Soak it longer."
    return f"{said}, as wanted." if middle * NEAR >= wanted else f"{said}, less than the {wanted:.1f} % wanted."


def _planned(found: Ready, plan: Planned, dated: Dated | None = None) -> str:
    """ "10 days is too short.", or "Out on Thu 12 Mar, as planned, is too short." """
    if found.after is not None:
        return _after_soak(found, plan, dated)
    days = capital(units.roughly(plan.out)) if dated is None else f"Out on {dated(plan.out)}, as planned,"
    passed = float(np.mean(found.pull <= plan.out))
    if found.nitrite and np.isfinite(ordered(found.first)[1]) and float(np.mean(found.last < plan.out)) > 0.5:
        return f"{days} is too long for its slowest spot: that holds to day {count(ordered(found.last)[1], DAY)} only."
    if found.wanted.basis != "equilibrium":  # a brine that ends too salty: only one day is right
        mark = units.show(found.wanted.target, "fraction")
        if passed >= SURE:
            return f"{days} is too long. The whole is past {mark} salt by then."
        return f"{days} is too short." if passed <= 1 - SURE else f"{days} is past {mark} salt in {of_ten(passed)}."
    if passed >= SURE and plan.stands > OVER:
        return f"{days} is enough. It stands at {100 * plan.stands:.0f} % of where this cure ends, and comes back as the rest catches up."
    if passed >= SURE:
        return f"{days} is enough."
    return f"{days} is too short." if passed < SOME else f"{days} is enough in {of_ten(passed)}."


def headline(
    found: Ready,
    piece: Piece,
    plan: Planned,
    system: str = "metric",
    made: Sequence[Change] | None = None,
    numbers: Numbers | None = None,
) -> str:
    """The answer for one piece in one sentence, for the head of a page: whether the plan will do, and the days, or why there are none."""
    told = _named(piece, system)
    will = re.split("[.:](?: |$)", _planned(found, plan))[0]
    if never := _no_day(found):
        return f"{told} {never}."
    if not worth_waiting(found):
        best = to_change(made, system=system, found=found, numbers=numbers)[0]
        best = re.split("[:;.] ", best[0].lower() + best[1:])[0]
        return f"{told} {will}, and no day is safe to wait for; {best}."
    spot = (
        f"; its slowest spot is protected {in_batches(found.chance, down=True)}" if found.bare and found.nitrite else ""
    )
    return f"{told} {will}; {_days(found)}{spot}."


def in_usual_meat(found: Ready, piece: Piece, system: str = "metric") -> str:
    """The days of the usual case alone, while a hand moves a slider: no word of whether the plan will do, nor how sure they are."""
    never = _no_day(found) or ("" if worth_waiting(found) else "in usual meat no day is safe to wait for")
    return f"{_named(piece, system)} {never or f'in usual meat {_days(found)}'}."


def _named(piece: Piece, system: str) -> str:
    return f"{capital(piece.name)}, {units.show(piece.thickness, 'length', system, digits=2)}:"


def _no_day(found: Ready) -> str:
    """Why there is no day at all; nothing where there is one."""
    if too_warm(found):
        return "warm for too long, and no cure helps there; keep it colder"
    return "" if np.isfinite(ordered(found.pull)[1]) else f"even {LOOKED / DAY:.0f} days do not bring it its salt"


def _days(found: Ready) -> str:
    """ "out on day 24 (16 to 37), cook on day 36 (24 to 55)"."""
    days = [] if found.bag else [f"out {on(found.pull)}"]
    even = np.isfinite(ordered(found.ready)[1])
    return ", ".join([*days, f"cook {on(found.ready)}" if even else "no rest evens it out"])


def slowest_spot(found: Ready, numbers: Numbers, dated: Dated | None = None) -> str:
    """(b): from when to when the slowest spot has colour and protection, or how often it has not; first of all whether it can wait so long."""
    if too_warm(found):
        return TOO_WARM
    if _too_long(found):
        return bare_too_long(found, numbers)
    if not found.nitrite:
        return NO_NITRITE
    if not found.bare:
        held = found.holds
        last = found.last[held]
        until = day(last, dated) if np.isfinite(ordered(last)[1]) else "the end of what was looked at"
        return f"Slowest spot: pink and protected from {day(found.first[held], dated)} to {until}."
    return f"Slowest spot: pink and protected by then {in_batches(found.chance, down=True)}."


def danger(found: Ready) -> str:
    """What must stand beside the days wherever they stand, in few words; "" where the slowest spot holds."""
    if too_warm(found):
        return TOO_WARM
    if _too_long(found):
        return "Do not wait that long: the meat is too old by then."
    if not found.nitrite:
        return "No nitrite: only cold and cooking protect it."
    return f"Caution: its slowest spot is protected {in_batches(found.chance, down=True)}." if found.bare else ""


def worth_waiting(found: Ready) -> bool:
    """Whether the raw meat keeps until it is ready, but for a chance: else no day is one to act on."""
    return not too_warm(found) and float(np.mean(found.keeps)) >= 1 - SOME


def best_out(found: Ready) -> float | None:
    """s since the start of the day to take a piece out; None where no day is worth waiting for."""
    pull = ordered(found.pull)[1]
    return float(pull) if np.isfinite(pull) and worth_waiting(found) else None


def too_warm(found: Ready) -> bool:
    """Whether the meat is warm for too long on the way."""
    return float(np.mean(found.warmed <= found.allowed)) < SURE


def _too_long(found: Ready) -> bool:
    """Whether the ready day is known, and is no day to wait for."""
    return not worth_waiting(found) and bool(np.isfinite(ordered(found.ready)[1]))


# Two more cuts take as long to compute as all else in a report, so it offers the split and its command does it.
ALONG_THE_SEAM = "Or split it along its seam, and see what each part then needs."


def answer(
    found: Ready, piece: Piece, numbers: Numbers, plan: Planned | None = None, system: str = "metric", dated: Dated | None = None,
    made: Sequence[Change] | None = None, weighed: Weighed | None = None,
) -> list[str]:  # fmt: skip
    """The answer for one piece: (a), (b) and, where that fails, the best of (c); then what else there is to say. `made`: the changes, None
    where they are not worked out.
    """
    said = [in_and_out(found, piece, plan, system, dated), slowest_spot(found, numbers, dated)]
    if found.bare:
        best, *others = to_change(made, weighed, system, dated, found, numbers)
        why = [why_not_wait(numbers, system)] if _too_long(found) and not too_warm(found) else []
        why += [lacks] if found.nitrite and (lacks := why_bare(found, numbers)) else []
        said += [best, *why, *others]
        said += [ALONG_THE_SEAM] if any(each.seam is not None for each in piece.stations) else []
    return said


def to_change(
    made: Sequence[Change] | None, weighed: Weighed | None = None, system: str = "metric", dated: Dated | None = None,
    found: Ready | None = None, numbers: Numbers | None = None,
) -> list[str]:  # fmt: skip
    """(c): what each change would give for the slowest spot: in how many batches it then holds, and the day the piece is ready. `found`,
    `numbers`: the piece as it is, for what no cut changes: a cure without nitrite, or with too little salt.
    """
    if found is not None and not found.nitrite:
        return [NOTHING_ELSE]
    if made is None:
        weak = more_salt(found, (), numbers) if found is not None and numbers is not None else ""
        return [weak or NOT_YET]
    said: list[str] = []
    tried: list[str] = []
    for change in made:
        grams = 0.0 if weighed is None else change.value * weighed.cure_mix
        thick = units.show(change.value, "length", system, digits=2)
        if change.kind == "nitrite":
            mix = (
                f"weigh {units.show(grams, 'mass')} of cure mix"
                if grams
                else f"take {change.value:.2g} times the nitrite"
            )
            what = f"{mix}, near the limit" if change.enough else "weigh more cure, up to the limit"
        elif change.kind == "colder":
            what = f"keep it at {units.show(change.value, 'temperature', system, digits=2)}, and longer"
        else:
            what = f"cut it {thick} thick" if change.kind == "thinner" else f"split it into two of {thick}"
        if change.enough:
            after = change.ready.after
            salt = "" if after is None else f", {100 * ordered(after)[1]:.1f} % salt"
            holds = f"then {in_batches(change.ready.chance)}{salt}, ready {on(change.ready.ready, dated)}"
            said.append(f"{'Or ' if said else ''}{what if said else capital(what)}: {holds}.")
        else:
            tried.append(f"{what} ({of_ten(change.ready.chance, down=True)})")
    if not said and found is not None and numbers is not None and (weak := more_salt(found, made, numbers)):
        return [weak]
    if not said:
        said.append("No single change is enough: take a thinner piece, or another brine. Pumping is outside this tool.")
    return [*said, f"Not enough by itself: {'; '.join(tried)}."] if tried else said


def how_forgiving(found: Forgiving, planned: float, ready: Ready | None = None) -> str:
    """What a day late does, which days land right, and how often the surest and the `planned` day [s] do. Nothing where no day is worth
    waiting for by the answer, `ready`.
    """
    if ready is not None and not worth_waiting(ready):
        return ""
    taste = f"{100 * found.low:.1f} to {100 * found.high:.1f} %"
    points = 100 * DAY * found.slope
    late = "about nothing" if points < LITTLE else f"{points:.1g} % of salt"
    first, last = (day(np.array([each])) for each in (found.out - found.early, found.out + min(found.late, LOOKED)))
    days = f"from {first} on" if np.isinf(found.late) else f"between {first} and {last}"
    surest, as_planned = (on(np.array([each])) for each in (found.out, planned))
    return (
        f"Wanted: {taste} salt. {capital(surest)}, the best time, it is right {in_batches(found.chance)}. "
        f"{capital(as_planned)}, as planned, it is right {in_batches(found.lands(planned))}. A day late adds {late}. "
        f"Usual meat is right {days}."
    )


def to_be_as_sure(found: Forgiving) -> str:
    """What a brine that does not forgive asks for."""
    known = "" if found.known is None else f" It is then right {in_batches(found.known)}."
    return f"To be surer, first learn from a logged batch how fast your meat takes salt.{known} Or use the equilibrium brine."


def answers(
    outcome: Outcome, dated: Dated | None = None, made: Mapping[str, Sequence[Change]] | None = None
) -> dict[str, list[str]]:
    """`answer` for every piece of a batch, by its name; for pieces that take salt alike once, by all their names. Nothing where nothing is
    cured. `made`: the changes by piece, default those of the outcome.
    """
    if outcome.last_cure is None:
        return {}
    batch, numbers = outcome.batch, outcome.history.numbers
    out = outcome.history.ends(outcome.last_cure)
    said: dict[str, list[str]] = {}
    made = outcome.changes if made is None else made
    for alike in alike_pieces(batch.pieces):
        found, piece = outcome.ready[alike[0]], batch.pieces[alike[0]]
        names = ", ".join(batch.pieces[number].name for number in alike)
        plan, shown = Planned(out, outcome.stands(piece.name)), unchecked(piece, name=names)
        said[names] = answer(
            found, shown, numbers, plan, batch.units, dated, made.get(piece.name), outcome.weighed
        )  # fmt: skip
    return said


def keep_cold(system: str) -> str:
    """What protects the middle while salt and nitrite are on their way."""
    return f"{UNTIL_CURED}, only the cold protects it: keep it at {COLD[system]}."
