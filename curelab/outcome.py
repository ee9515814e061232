"""Run a whole batch: the history, its draws and its two ends, the answers a cook asks for, and the verdicts. One place for command and bench.

Longer than others because all that follows from a batch is one record, whose parts are worked out when they are first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from . import progress, units
from .batch import Batch
from .engine.history import History
from .engine.simulate import check, simulate
from .engine.turning import legs_of
from .forecast import Answer, in_corners, soak_needed
from .forecast.ready import Ready, soak_after, wanted_after, wanted_of
from .forecast.serve import Lead
from .learn.probe import doubted, in_doubt, judged_probe, no_easier
from .learn.update import BEFORE, CURED, Update, heard
from .learn.warm_log import judged_log
from .limits import Verdicts, check_all, check_cooked, check_ingoing, counting, worst_first
from .limits.protection import check_clocks
from .limits.verdict import in_draws
from .recipe.criterion import TEMPERATURE, Criterion
from .recipe.piece import Piece, alike_pieces
from .recipe.stages import Stage
from .results import Shown
from .sources import Numbers, default_numbers
from .spread import Chance, Request, Spread, Times, Windows, spread
from .spread.answers import in_ten, ordered
from .spread.changes import Change, changes, in_order_of_use, worked_out
from .spread.draws import REPORT_DRAWS, Learned, usual_case
from .spread.forgiving import Forgiving, forgiving
from .spread.lead import lead_of
from .spread.sensitivity import Importance, enough, how_long, what_matters
from .spread.spread import CHUNK, begun, waited_for
from .weighing import Meaning, StrongBrine, Weighed, explain
from .weighing.vessel import Fit, fits

DRAWS_LARGE = 64  # the same for a batch that is LARGE, so that it takes seconds and not minutes
LARGE = 500  # pieces times baths and turns
MOST_RANKED = 2  # cures of such a batch for which it is told what the days hang on
MOST_CHANGED = 2  # pieces for which it is told what to change
CHECKED, CHECKED_LARGE = 64, 16  # draws in which the checks are run again, and what is to be changed is looked for
ROOM = 0.92  # of the most nitrite that is allowed: scale and label are off by so much in 9 of 10 batches (judgement)
CURED_SHARE = Criterion.parse(CURED).target


@dataclass(frozen=True)
class Cured:
    """How far one cure has brought the middle of one piece, as a detail.

    stage: its number from 0; lasted [s]; share: (middle, low, high) of the draws, of the salt it is heading for; chance: how many of the
    draws have nine tenths of it when it ends; needs: how long it takes to nine tenths, in every draw.
    """

    stage: int
    piece: Piece
    lasted: float
    share: tuple[float, float, float]
    chance: float
    needs: Times


@dataclass(frozen=True, repr=False)
class Outcome(Shown):
    """What came of a batch. `slow` and `fast`: the same batch in meat at the two ends of what is published, against which verdicts
    and dates are held; `numbers`: what was published, before the batch said what it knows better; `draws`: how many its bands rest on;
    `learned`: what its log taught, None for nothing; `said`: what the log says, in a few sentences; `update`: the fit behind it;
    `judged`: the history that checks are held against, no colder than planned; `passing`: a page shows it while a slider is being moved, and checks of
    heat are not held against draws until it is `settled`; `now`: s since the start at which it is asked, None: all of it is over.
    """

    batch: Batch
    weighed: Weighed | None
    history: History
    slow: History
    fast: History
    judged: History
    numbers: Numbers
    draws: int = REPORT_DRAWS
    learned: Learned | None = None
    said: tuple[str, ...] = ()
    update: Update | None = None
    passing: bool = False
    now: float | None = None

    def lines(self) -> list[str]:
        return [f"Outcome of {self.batch.name}", *self.history.lines()[1:], *self.said[:1]]

    def rows(self) -> list[dict[str, Any]]:
        """Per stage and piece, as its history says them."""
        return self.history.rows()

    @cached_property
    def spread(self) -> Spread:
        """The draws of the batch, by the clock: what waits for a criterion lasts as long in every draw as in the history, because that is
        what a plan says to do. Where a thermometer in the meat says when a stage is over, each draw waits for its own.
        """
        return self._drawn(self.history.held(self.batch.filled(), by_probe=True), self.learned).beside(self.history)

    @cached_property
    def unread(self) -> Spread:
        """The same as if the log had not been read: once readings have tied the inputs together, none of them counts alone."""
        return self.spread if self.learned is None else self._drawn(self.spread.case.stages, None)

    @cached_property
    def waiting(self) -> Spread:
        """The draws of the batch in which every stage waits for its criterion, however long that takes."""
        every = self.batch.filled()
        return self.spread if self.spread.case.stages == every else self._drawn(every, self.learned)

    def _drawn(self, stages: Sequence[Stage], learned: Learned | None) -> Spread:
        """The draws of the batch with these stages; those that the log was read with, where they are the same. BEFORE of
        them at most as if a log had not been read.
        """
        unread = self.learned is not None and learned is None
        count = min(self.draws, BEFORE) if unread else self.draws
        for many in (self.update.spread, self.update.planned) if self.update is not None else ():
            alike = many.case.stages == tuple(stages) and many.draws.learned is learned
            if alike and many.count == count and many.case.numbers is self.numbers:
                return many
        return spread(
            self.batch.pieces, stages, count=count, loss=self.batch.loss, learned=learned,
            known=self.batch.meat_and_fridge, numbers=self.numbers, used=self.history.numbers.used,
        )  # fmt: skip

    def waited(self, stage: int) -> tuple[np.ndarray, np.ndarray]:
        """s (d,) that a stage waits for its criterion in every draw, and whether (d,) it is over without coming to it."""
        ends, begin = self.waiting.readings([Request.of(what, stage=stage) for what in ("ends", "begin")])
        return ends - begin, ends - begin >= self.history.stages[stage].longest * (1 - 1e-9)

    @cached_property
    def lead(self) -> Lead | None:
        """How long it takes from the first heat to the table, in the draws, with the steps of the plan after the last stage; None where nothing
        heats. Stages by the thermometer are counted late in full steps of 5 minutes, each for itself, as a plan lays them out.
        """
        return lead_of(self.spread, self.batch.plan)

    def waits(self, stage: int) -> str:
        """How long a stage that waits for a criterion takes, in words; nothing for one that ends by the clock."""
        until = self.history.stages[stage].until
        if until is None:
            return ""
        took, missed_it = self.waited(stage)
        early, _, late = (units.roughly(each) for each in ordered(took))
        if missed_it.all():
            return f"{late}, not reached in time in any simulated batch"
        never = float(np.mean(missed_it))
        missed = f"; not reached in time {in_ten(never)}" if never > 0 else ""
        spans = early if early == late else f"{early} to {late}"
        one = until.quantity != TEMPERATURE and early != late
        own = (
            f"; these figures count {units.roughly(float(np.ptp(self.history.span(stage))))} in every one"
            if one
            else ""
        )
        return f"{spans} in 8 of 10 simulated batches{missed}{own}"

    def settled(self, count: int, step: int) -> Iterator[Outcome]:
        """The same in `count` draws, with all that was asked of the draws here computed in small steps; the last one given is whole."""
        full = replace(self, draws=count, passing=False)
        if self.update is not None:
            update = self.update
            for latest in self.update.settled(count, step, min(count, BEFORE)):
                update = latest
                yield full
            full = replace(full, update=update, said=tuple(update.in_short))
        pairs = {"spread": self.spread} | ({"unread": self.unread} if self.learned is not None else {})
        for name, few in pairs.items():
            wide = full._drawn(few.case.stages, few.draws.learned)
            wide = wide.beside(self.history) if name == "spread" else wide
            full.__dict__[name] = wide
            for _ in wide.prepared(few, step):
                yield full
        for chances in full.spread.judged(
            self.batch.rules,
            self.batch.product,
            draws=_checked(self.batch),
            system=self.batch.units,
            now=self.now,
            **self._counted,
        ):
            full.__dict__["chances"] = {chance.name: chance for chance in chances}
            yield full
        made: dict[str, tuple[Change, ...]] = {}
        for name in full._bare:
            found = []
            for one in worked_out(full.spread, full.last_cure or 0, name, **full._changed):
                found += [one] if one is not None else []
                yield full
            made[name] = in_order_of_use(found)
        full.__dict__["changes"] = made
        yield full

    def band(
        self, place: str, quantity: str, stage: int, piece: str, basis: str | None = None
    ) -> tuple[float, float, float]:
        """(middle, low, high) of the draws, of a reading when a stage (from 0) ends by the plan."""
        found = self.spread.at_end(place, quantity, self._last_needed(stage), piece, basis)
        return float(found.middle[0]), float(found.low[0]), float(found.high[0])

    def _last_needed(self, stage: int) -> int:
        """The stage, or the one that left the meat as it is then."""
        while stage > 0 and np.ptp(self.history.span(stage)) < 1.0:
            stage -= 1
        return stage

    def look_ahead(self, wanted: Iterable[tuple[str, str, int, str]], weighed: bool = False) -> None:
        """Read in one pass what `band` is about to be asked, one after the other: (place, quantity, stage, piece); `weighed`: and the
        weight of every piece when a stage ends. A large batch is then gone through once and not for each of them.
        """
        asked = [self.spread.asked_at_end(p, q, self._last_needed(stage), piece) for p, q, stage, piece in wanted]
        ends = [n for n in range(len(self.history.stages)) if weighed and self.history.has(n)]
        pieces = range(len(self.batch.pieces))
        self.spread.readings(asked + [self.spread.asked_weight(n, piece) for n in ends for piece in pieces])

    @property
    def last_cure(self) -> int | None:
        """Number of the last stage that cures, from 0; None where nothing is cured."""
        return max(self._cures, default=None)

    @property
    def _cures(self) -> list[int]:
        return [n for n, stage in enumerate(self.history.stages) if stage.cures and self.history.has(n)]

    @cached_property
    def ready(self) -> tuple[Ready, ...]:
        """When each piece is ready and what its slowest spot holds, counted on the last cure; nothing where nothing is cured."""
        if self.last_cure is None:
            return ()
        groups = alike_pieces(self.batch.pieces)
        first = self.spread.ready(self.last_cure, [group[0] for group in groups])
        of = {number: found for group, found in zip(groups, first, strict=True) for number in group}
        return tuple(replace(of[number], piece=piece.name) for number, piece in enumerate(self.batch.pieces))

    def stands(self, piece: str) -> float:
        """Salt on the whole when the last cure ends by the plan, over where that cure would come to rest, in the middle draw."""
        return self.band("average", "salt", self.last_cure or 0, piece, "equilibrium")[0]

    @cached_property
    def changes(self) -> dict[str, tuple[Change, ...]]:
        """By the name of a piece with nitrite whose slowest spot stays bare in more than 1 draw of 10: what each change would give. Of pieces that take
        salt alike the first, of others the MOST_CHANGED worst.
        """
        return {name: changes(self.spread, self.last_cure or 0, name, **self._changed) for name in self._bare}

    @property
    def _changed(self) -> dict[str, Any]:
        return {"more_nitrite": self.more_nitrite, "draws": _checked(self.batch), "system": self.batch.units}

    @property
    def _bare(self) -> list[str]:
        bare = sorted((each for each in self.ready if each.bare and each.nitrite), key=lambda each: each.chance)
        first = {group[0] for group in alike_pieces(self.batch.pieces)}
        return [each.piece for each in bare if self.spread.number(each.piece) in first][:MOST_CHANGED]

    @property
    def changes_so_far(self) -> dict[str, tuple[Change, ...]]:
        """`changes` if they were worked out already, else nothing."""
        return self.__dict__.get("changes", {})

    @property
    def more_nitrite(self) -> float:
        """Times as much nitrite as is in the batch that its rules allow, at least 1."""
        return more_nitrite(self.batch, self._counted)

    @cached_property
    def cured(self) -> tuple[Cured, ...]:
        """For every cure and piece: how far the middle has come when the cure ends, and how long it would need."""
        found = []
        names = [piece.name for piece in self.batch.pieces]
        self.spread.readings([request for n in self._cures for request in self._asked_of_cure(n)])  # in one pass
        for index in self._cures:
            begin, end = self.history.span(index)
            for piece, needs in zip(self.batch.pieces, self.spread.times_to(CURED, index, names), strict=True):
                share = self.band("core", "salt", index, piece.name, "equilibrium")
                chance = self.spread.chance_at_end(CURED, index, piece.name)
                found.append(Cured(index, piece, end - begin, share, chance, needs))
        return tuple(found)

    def _asked_of_cure(self, index: int) -> list[Request]:
        """What `cured` reads of a cure."""
        wanted, stage = Criterion.parse(CURED), self._last_needed(index)
        asked = [begun(index)]
        for piece in self.batch.pieces:
            asked += [self.spread.asked_at_end("core", "salt", n, piece.name, "equilibrium") for n in (stage, index)]
        pieces = range(len(self.batch.pieces))
        return [*asked, waited_for(wanted, index, tuple(pieces) if len(pieces) > 1 else 0)]

    @cached_property
    def forgiving(self) -> tuple[Forgiving, ...]:
        """How much a first cure forgives that ends too salty, for its thickest piece; nothing otherwise, nor where a soak comes after it."""
        soaked = soak_after(self.history.stages, 0) is not None
        if soaked or not (self.history.stages[0].cures and self._ends_too_salty(0)):
            return ()
        thickest = max(self.batch.pieces, key=lambda piece: piece.lean_thickness).name
        numbers = self.history.numbers
        low, high = (numbers.si(f"taste.normal_{end}") for end in ("low", "high"))
        return (forgiving(self.spread.followed(0), low, high, thickest),)

    @cached_property
    def windows(self) -> tuple[Windows, ...]:
        """The window of a first cure that ends too salty; nothing otherwise."""
        first = self.history.stages[0]
        salty = first.cures and self._ends_too_salty(0)
        return (self.spread.window(),) if salty else ()

    @cached_property
    def answers(self) -> tuple[Answer | Windows, ...]:
        """The window of a cure that ends too salty, and the soak that brings it to eating salt, or to what its own soak waits for."""
        found: list[Answer | Windows] = [*self.windows]
        numbers = self.history.numbers
        stages, pieces = self.history.stages, self.batch.pieces
        if any(stage.heats for stage in stages):  # what was cooked or smoked is soaked no more
            return tuple(found)
        soaks = [stage for stage in stages if stage.desalts]
        wanted = wanted_after(soaks[-1] if soaks else stages[-1], numbers)
        limit = 1.001 * wanted.target
        salty = [piece.name for piece in pieces if self.history.average("salt", None, piece.name) > limit]
        if salty:
            water = (soaks[-1].stretches[0].water if soaks else None) or 2 * sum(piece.weight for piece in pieces)
            only = units.listed([f"the {name}" for name in salty]) if len(pieces) > 1 else ""
            found.append(soak_needed(wanted, self.history, water=water, system=self.batch.units, only=only)[0])
        return tuple(found)

    def _ends_too_salty(self, index: int) -> bool:
        limit = self.history.numbers.si("taste.too_salty")
        return any(self.history.resting("salt", index, piece.name) > limit for piece in self.batch.pieces)

    @cached_property
    def verdicts(self) -> Verdicts:
        """Rule set of the batch and process checks, in usual, slow and fast meat; worst first."""
        found = check_all(
            self.judged, self.batch.rules, self.batch.product, numbers=self.history.numbers, corners=(self.slow, self.fast),
            system=self.batch.units, now=self.now, **self._counted,
        )  # fmt: skip
        probe = (*judged_probe(self.batch, self.history), *doubted(self.batch, self.judged))
        read = (*judged_log(self.batch, self.history.numbers), *probe)
        held = no_easier(found, self.batch, self.history, self._as_planned) if self.learned is not None else found
        held = in_doubt(held, self.batch, self.judged)
        return worst_first((*read, *in_draws(in_draws(held, self._danger_chances), self._unread_chances)))

    @property
    def _danger_chances(self) -> dict[str, Chance]:
        """`chances` of the checks of heat and of the clocks of raw meat, worked out alone where the others are not known yet; nothing while a slider
        is being moved.
        """
        if self.chances_so_far:
            names = {verdict.name for each in (self.judged, self.slow, self.fast) for verdict in self._dangers(each)}
            return {name: chance for name, chance in self.chances_so_far.items() if name in names}
        if self.passing:
            return {}
        found = self.spread.verdicts(draws=_checked(self.batch), checks=self._dangers)
        return {chance.name: chance for chance in found}

    @property
    def _unread_chances(self) -> dict[str, Chance]:
        """The same of the clocks alone, as if the log had not been read, where it was: a log makes no check easier."""
        if self.learned is None or self.passing:
            return {}
        return {chance.name: chance for chance in self.unread.verdicts(draws=_checked(self.batch), checks=self._clocks)}

    def _dangers(self, history: History) -> Verdicts:
        """The checks that are held against the draws."""
        return Verdicts([*self._clocks(history), *check_cooked(history, self.batch.units)])

    def _clocks(self, history: History) -> Verdicts:
        return Verdicts(check_clocks(history, history.numbers, self.batch.units))

    def _as_planned(self) -> History:
        """The usual case as if no log had been kept."""
        pieces, stages, usually = usual_case(
            self.batch.pieces, self.batch.filled(), self.numbers, self.batch.meat_and_fridge, cold=True
        )
        return simulate(pieces, stages, loss=self.batch.loss, numbers=usually, checked=False)

    @cached_property
    def matters(self) -> tuple[Importance, ...]:
        """For every cure, or the first MOST_RANKED of a large batch, what the days until the thickest piece is cured hang on, by rank
        regression over the draws that are there; as if the log had not been read.
        """
        thickest = max(self.batch.pieces, key=lambda piece: piece.lean_thickness).name
        cures = self._cures[: MOST_RANKED if is_large(self.batch) else None]
        many = enough(self.unread)
        number = many.number(thickest)
        wanted = {stage: wanted_of(self.history, stage, thickest) for stage in cures}
        for_each = [(waited_for(wanted[stage], stage, number), begun(stage)) for stage in cures]
        many.readings([request for pair in for_each for request in pair])  # in one pass
        return tuple(
            what_matters(
                many, how_long(wanted[stage], stage, thickest), f"the days that the {thickest} needs", method="rank"
            )
            for stage in cures
        )

    @cached_property
    def chances(self) -> dict[str, Chance]:
        """By the name of each verdict, in how many of the first draws it comes out how."""
        found = self.spread.verdicts(
            self.batch.rules, self.batch.product, draws=_checked(self.batch), system=self.batch.units, now=self.now, **self._counted
        )  # fmt: skip
        return {chance.name: chance for chance in found}

    @property
    def chances_so_far(self) -> dict[str, Chance]:
        """`chances` if they were worked out already, else nothing: a page does not wait for them while a slider is being moved."""
        return self.__dict__.get("chances", {})

    @property
    def _counted(self) -> dict[str, Any]:
        return counting(self.batch.weigh_out)

    @cached_property
    def meanings(self) -> tuple[tuple[int, Meaning], ...]:
        """(stage number from 0, what its grams mean) for every cure, from the grams backwards."""
        plan = self.batch.weigh_out
        pick_up = plan.pick_up if isinstance(plan, StrongBrine) else None
        return tuple(
            (index, explain(stage.put_in, self.batch.pieces, pick_up, self.history.numbers))
            for index, stage in enumerate(self.history.stages)
            if stage.put_in is not None
            and not any(stretch.endless for stretch in stage.stretches)  # an endless brine has no sum
        )

    @cached_property
    def vessel(self) -> Fit | None:
        """How pieces and brine stand in the vessel, if there is one."""
        baths = [stage.put_in for stage in self.history.stages if stage.cures and stage.wet]
        return fits(self.batch.vessel, self.batch.pieces, baths[0]) if self.batch.vessel and baths else None


def is_large(batch: Batch) -> bool:
    """Whether so many pieces go into so many baths that fewer draws must do."""
    return len(batch.pieces) * legs_of(batch.pieces, batch.filled()) > LARGE


def more_nitrite(batch: Batch, counted: Mapping[str, Any] | None = None) -> float:
    """Times as much nitrite as goes into a batch that its rules allow, at least 1; `counted`: method and pick_up of `check_ingoing`."""
    made = [stage.put_in for stage in batch.filled() if stage.cures]
    if any(stretch.endless for stage in batch.filled() for stretch in stage.stretches):
        return 1.0  # an endless brine has no sum
    found = check_ingoing(made, batch.pieces, batch.rules, batch.product, **(counted or {}))
    most = [each for each in found if each.name == f"{batch.rules} nitrite, most" and each.limit and each.statistic]
    return max(ROOM * min((each.limit / each.statistic for each in most), default=1.0), 1.0)  # type: ignore[operator]


def _checked(batch: Batch) -> int:
    return CHECKED_LARGE if is_large(batch) else CHECKED


def run(
    batch: Batch,
    *,
    numbers: Numbers | None = None,
    draws: int | None = None,
    log: bool = True,
    now: float | None = None,
) -> Outcome:
    """Simulate a batch as it stands, with what its log taught; its draws wait until a band is asked for.

    draws: behind every band; None: REPORT_DRAWS, or DRAWS_LARGE where the batch is large. log: False leaves the log out, as if it had
    not been kept. What the log taught moves everything but the two ends of what is published. now: s since the start of the batch, after which a
    fridge log has no holes; None: all of it is over.
    Raises InputError for what cannot be run.
    """
    base = numbers or default_numbers()
    draws = draws or (DRAWS_LARGE if is_large(batch) else REPORT_DRAWS)
    said, update = heard(batch, draws, base) if log else ((), None)
    learned = update.taken_up if update is not None else None
    given = (batch.pieces, batch.filled(), base, batch.meat_and_fridge)
    check(batch.pieces, batch.filled(), batch.loss)  # what was typed; what is drawn from it may lie beyond
    pieces, stages, usually = usual_case(*given, learned)
    usual = simulate(pieces, stages, loss=batch.loss, numbers=usually, checked=False)
    _, checked, _ = usual_case(*given, learned, cold=True)
    judged = usual if checked == stages else simulate(pieces, checked, loss=batch.loss, numbers=usually, checked=False)
    # The two ends know of the log what makes them warmer, and nothing else.
    ends, warmed, published = usual_case(
        *given, learned.only("temperature") if learned is not None else None, cold=True
    )
    both = in_corners(ends, warmed, loss=batch.loss, numbers=published, usual=False, few=True, checked=False)
    return Outcome(
        batch,
        batch.weighed,
        usual,
        both.of(0),
        both.of(1),
        judged,
        base,
        draws,
        learned,
        tuple(said),
        update,
        now=now,
    )


def run_for(ask: Callable[[Outcome], Any], batch: Batch, draws: int | None, now: float | None = None) -> Outcome:
    """`run`, with all that `ask` asks for computed in one pass over the draws: a report asks forty questions, and draws beyond CHUNK
    are solved again for each. `ask` is tried on few draws first. Same digits as `run`; shows progress.
    """
    if draws is None or draws <= CHUNK:
        return run(batch, draws=draws, now=now)
    outcome = replace(run(batch, draws=CHECKED, now=now), passing=True)
    ask(outcome)
    update = outcome.update
    asked = [outcome.spread, outcome.unread, *([update.planned, update.spread] if update is not None else [])]
    passes = sum(each.passes for each in {id(each.known): each for each in asked}.values())
    with progress.counted(
        f"simulating {draws} draws", passes * -(-draws // outcome.spread.part_size) + _checked(batch)
    ) as step:
        for latest in outcome.settled(draws, CHUNK):
            outcome = latest
            step()
    return outcome
