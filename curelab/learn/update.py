"""Learning from a batch: forecast it anew from its log, and carry what was learned over to the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..batch import Batch
from ..engine.cases import OF_PIECES
from ..engine.history import History
from ..fields import InputError, refuse
from ..forecast.ready import wanted_of
from ..recipe.criterion import Criterion
from ..recipe.meat_and_fridge import MOST_LETTERS, SCHEMA, Known, MeatAndFridge, load_profile, save_profile
from ..results import Shown
from ..sources import Numbers, default_numbers
from ..spread import Spread, Times, spread
from ..spread.draws import REPORT_DRAWS, Learned
from ..spread.uncertain import Uncertain, inputs_for, with_known
from .fit import Fit, fit
from .probe import WARMTH, forecast, lived
from .readings import SHARED, Measurement, as_planned, from_log
from .words import Told, told, what_was_seen

__all__ = [
    "Known", "MeatAndFridge", "Update", "asked_for", "heard", "load_profile", "priors", "profile_of", "save_profile", "update",
]  # fmt: skip

CURED = "core salt >= 90 % of equilibrium"  # a detail; what a cook waits for is the next
PACE = "obstruction.lean"
BEFORE = 128  # draws of a report at most, as if its log had not been read: of these it tells one middle day, and what the days hang on
SET_ASIDE = "Set aside:"  # how a remark begins on a sort of readings that was not believed
OF_ONE_ANIMAL = ("ph.", *OF_PIECES)  # says nothing about the next one


@dataclass(frozen=True, repr=False)
class Update(Shown):
    """A batch forecast anew: the fit, how long before and after it, and what to say of it.

    told: the answer and its reasons, sentence by sentence; remarks: on readings that were left out or taken otherwise. begin [s]:
    when the cure begins that the times count from; ends [s]: when the plan ends it. spread, planned: the draws after the log was read
    and before; usual: the plan as simulated; cure: number, from 0, of the stage that the times are about. Where nothing is cured, and a probe
    tells of the cook alone: no times, and no cure.
    """

    fit: Fit
    before: Times | None
    after: Times | None
    remarks: tuple[str, ...]
    told: Told
    spread: Spread
    begin: float
    ends: float
    planned: Spread
    batch: Batch
    readings: tuple[Measurement, ...]
    usual: History
    cure: int | None

    def lines(self) -> list[str]:
        return [self.told.headline, *self.told.details]

    def rows(self) -> list[dict[str, Any]]:
        """What was fitted."""
        return self.fit.rows()

    @property
    def count(self) -> int:
        """How many draws it rests on."""
        return self.spread.count

    def settled(self, count: int, step: int, planned: int | None = None) -> Iterator[Update]:
        """The same in `count` draws, `planned` (None: as many) before the log was read, with all that was asked of the draws here computed in
        small steps of `step` draws, so that the caller can do something in between; the last one given is whole. The fit hangs on no draws and stays.
        """
        wide = [self.planned.widened(planned or count), self.spread.widened(count)]
        for more, few in zip(wide, (self.planned, self.spread), strict=True):
            for _ in more.prepared(few, step):
                yield self
        yield self._in(*wide)

    def _in(self, planned: Spread, many: Spread) -> Update:
        """With other draws behind the same fit."""
        before, after = _times((planned, many), self.before.criterion if self.before is not None else "", self.cure)
        warm = tuple(forecast(self.batch, self.usual, planned, many))
        said = told(self.batch, self.usual, self.fit, self.readings, before, after, self.begin, many.rests_on, warm)
        return replace(self, planned=planned, spread=many, before=before, after=after, told=said)

    @property
    def taken_up(self) -> Learned | None:
        """What the forecast of the batch takes up: all that the readings taught, or nothing where they do not agree."""
        return self.fit.learned if self.fit.believed else None

    @property
    def in_short(self) -> list[str]:
        """A few sentences for a report."""
        return [
            self.told.headline,
            *self.told.details,
            *(remark for remark in self.remarks if WARMTH in remark or remark.startswith(SET_ASIDE)),
            f"{self.told.rests_on.partition(' draws of ')[0]} draws. `curelab learn` says more.",
        ]

    @property
    def sentence(self) -> str:
        """Everything that is to be said, as one text."""
        return self.told.sentence


def priors(
    batch: Batch,
    known: MeatAndFridge | None = None,
    numbers: Numbers | None = None,
    usual: History | None = None,
) -> tuple[Uncertain, ...]:
    """What is uncertain in a batch before its log is read: the published ranges, or what earlier batches taught (`known`, else that
    of the batch); usual: the plan as simulated, None: not yet.
    """
    base = numbers or default_numbers()
    usual = usual or as_planned(batch, base)
    inputs = inputs_for(batch.pieces, batch.filled(), batch.loss, base, usual.numbers.used)
    return with_known(inputs, known if known is not None else batch.meat_and_fridge)


def asked_for(batch: Batch, readings: Sequence[Measurement]) -> tuple[str, ...]:
    """The inputs that these readings can tell something about: the pace of salt, the temperature, how well a bath heats, the pH of a species."""
    wanted = [PACE] if any(reading.what not in ("temperature", "acidity", WARMTH) for reading in readings) else []
    names = [piece.name for piece in batch.pieces]
    for reading in readings:
        if reading.what == "temperature":
            wanted.append("temperature")
        if reading.what == WARMTH:
            wanted.append(f"heat.film.{reading.setting}")
        if reading.what == "acidity":
            piece = batch.pieces[names.index(reading.piece) if reading.piece else 0]
            wanted.append(f"ph.{piece.species}")
    return tuple(dict.fromkeys(wanted))


def fitted(
    batch: Batch,
    readings: Sequence[Measurement],
    parameters: Sequence[str],
    inputs: Sequence[Uncertain],
    usual: History,
    numbers: Numbers | None = None,
) -> Fit:
    """The fit of a batch's own readings, everything else that is uncertain in it varying beside; `usual`: the plan as simulated.

    What waits for a criterion is held to the plan, or to what a probe says, else a reading would stand in another stage in every draw. Raises ValueError as `fit`.
    """
    return fit(
        batch.pieces, lived(batch, usual), readings, parameters=parameters, beside=[row.key for row in inputs],
        inputs=inputs, loss=batch.loss, numbers=numbers, shared=SHARED, system=batch.units,
    )  # fmt: skip


def update(
    batch: Batch,
    *,
    criterion: str | None = None,
    parameters: Sequence[str] | None = None,
    known: MeatAndFridge | None = None,
    numbers: Numbers | None = None,
    count: int = REPORT_DRAWS,
    seed: int = 0,
    planned: int | None = None,
) -> Update:
    """Forecast a batch from its log: fit, then ask again when `criterion` (default: the whole has its salt) holds in the first cure.

    `parameters`: what is fitted, default the pace of salt; temperatures and pH in the log bring their own inputs along. All else that
    is uncertain varies beside it, so that a thickness that is a little off does not pass for a pace. `known`: what
    earlier batches taught, taken as the prior; default that of the batch. count, planned: draws after the log was read and before (None: as many).
    Raises InputError when the log holds nothing that can be
    fitted, or there is neither a cure nor a probe in the meat.
    """
    base = numbers or default_numbers()
    usual = as_planned(batch, base)
    readings, remarks = from_log(batch, base, usual)
    if not readings:
        like = 'at = "4 d", what = "brine strength", value = "3.1 %"'
        why = f" ({' '.join(remarks)})" if remarks else ""
        raise refuse("log", f"there is no reading to learn from{why}; log one like {like}")
    stages = batch.filled()
    cure = next((n for n, stage in enumerate(stages) if stage.cures), None)
    if cure is None:
        other = dict.fromkeys(each.what for each in readings if each.what != WARMTH)
        readings = tuple(each for each in readings if each.what == WARMTH)
        if not readings:
            raise refuse("stages", "there is no cure to forecast")
        if other:
            remarks = (*remarks, f"Without a cure nothing follows from these readings: {', '.join(other)}.")
    inputs = priors(batch, known, base, usual)
    found, kept = _fit_what_agrees(batch, readings, parameters, inputs, usual, base)
    if kept != readings:
        aside = what_was_seen([each for each in readings if each not in kept], usual, batch.units)
        because = f"{SET_ASIDE} {aside}, which nothing that is published would give here; measure again."
        readings, remarks = kept, (*remarks, because)
    many = [
        spread(batch, inputs=inputs, learned=taught, count=draws, seed=seed, numbers=base, used=usual.numbers.used)
        for taught, draws in ((None, planned or count), (found.learned, count))
    ]
    begin, ends = usual.span(cure) if cure is not None and usual.has(cure) else (0.0, 0.0)
    salt: str | Criterion = criterion or CURED
    if criterion is None and cure is not None and usual.has(cure):
        salt = wanted_of(usual, cure, 0)
    before, after = _times(many, salt, cure)
    warm = tuple(forecast(batch, usual, *many))
    said = told(batch, usual, found, readings, before, after, begin, many[1].rests_on, warm)
    return Update(
        found, before, after, remarks, said, many[1], begin, ends, many[0], batch, readings, usual, cure
    )  # fmt: skip


def _fit_what_agrees(
    batch: Batch, readings: tuple[Measurement, ...], parameters: Sequence[str] | None, inputs: Sequence[Uncertain], usual: History, base: Numbers,
) -> tuple[Fit, tuple[Measurement, ...]]:  # fmt: skip
    """(the fit, the readings behind it): of all; where that is not to be believed, of those in the meat or of the others, whichever alone is: a
    probe says nothing of salt, and salt nothing of heat. Raises InputError for a pace that the readings cannot tell, and for what `fit` refuses.
    """
    hot = tuple(each for each in readings if each.what == WARMTH)
    sorts = [tuple(each for each in readings if each not in hot), hot]
    there = {row.key for row in inputs}

    def of(some: tuple[Measurement, ...]) -> Fit:
        own = (key for key in asked_for(batch, some) if key in there or not key.startswith("heat."))
        wanted = tuple(dict.fromkeys([*(parameters or ()), *own]))
        if parameters is not None and PACE not in parameters:
            wanted = tuple(key for key in wanted if key != PACE)
        if PACE in wanted and PACE not in there:
            raise refuse(
                "log",
                "how fast this meat takes salt is given as its diffusivity, so the log cannot tell it; take that out of the tissue to learn it",
            )
        try:
            return fitted(batch, some, wanted, inputs, usual, base)
        except ValueError as error:
            raise refuse("log", str(error)) from None

    whole = of(readings)
    if not whole.believed and all(sorts):
        for some in sorts:
            alone = of(some)
            if alone.believed:
                return alone, some
    return whole, readings


def _times(many: Sequence[Spread], salt: str | Criterion, cure: int | None) -> list[Times] | tuple[None, None]:
    """When the cure has come to this salt, in each of two spreads; nothing where nothing is cured."""
    return (None, None) if cure is None else [each.time_to(Criterion.of(salt), cure) for each in many]


def heard(batch: Batch, count: int, numbers: Numbers | None = None) -> tuple[list[str], Update | None]:
    """What the log of a batch says, in a few sentences for its report, or that it says nothing (None); nothing at all without a log."""
    if not batch.log:
        return [], None
    try:
        found = update(batch, count=count, planned=min(count, BEFORE), numbers=numbers)
    except InputError as error:
        return [f"{problem}." for problem in error.problems], None
    return found.in_short, found


def profile_of(found: Fit, name: str, batch: Batch | None = None, note: str = "") -> MeatAndFridge:
    """What a fit leaves behind for other batches: every input that the data told, but not what belongs to this one animal; and what
    was carried into `batch` before and not fitted anew.

    Raises InputError, with the reason, when that is nothing, or when the readings do not agree with each other.
    """
    if not found.agree:
        raise refuse(
            "log", "nothing is carried over from readings that do not agree; take the wrong one out of the log first"
        )
    rows = {
        row.input.key: Known(key=row.input.key, low=row.low, value=row.value, high=row.high)
        for row in found.estimates
        if row.told and found.converged and not row.input.key.startswith(OF_ONE_ANIMAL)
    }
    if not rows:
        why = " ".join(found.notes) or "a pH or a thickness belongs to one animal."
        raise refuse("log", f"tells nothing that could be carried over: {why.rstrip('.')}")
    former = batch.meat_and_fridge if batch is not None else None
    kept = [row for row in former.known if row.key not in rows] if former is not None else []
    behind = [former.learned_from] if former is not None and former.learned_from else []
    if batch is not None:
        behind.append(f"{batch.name} ({batch.known_by})")
    while len(behind) > 1 and len("; ".join(behind)) > MOST_LETTERS:
        behind[0] = behind[0].partition("; ")[2]
        behind = [part for part in behind if part]
    return MeatAndFridge(
        schema=SCHEMA, name=name, note=note, learned_from="; ".join(behind), known=(*rows.values(), *kept)
    )
