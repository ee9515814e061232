"""Checks of cooking, cooling, holding and reheating of a whole batch: which part of which curve goes to which printed rule.

The slowest spot of every piece decides. What is cooked and then neither chilled nor eaten at once cannot be judged.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.readout import Ran
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import printed_rule
from .cooling import Cured, check_come_up, check_cooling, check_holding, check_reheating, rules
from .curve import SLACK, Curve
from .lethality import DEFER, added_up, check_bag, check_lethality, check_spores, table
from .verdict import OUTCOMES, Verdict, Verdicts, in_degrees, judge, undecided, unknown

READINGS = 300  # of a stretch; closer together where it begins, for there the temperature runs fastest
COLD = 283.15  # K: meat that is colder may lie in the fridge as it is (judgement; limits on cooling end at 4 to 7 degC)
KEPT = "kept after cooking"
NITRITE = 1e-6  # kg/kg: meat that took up less was not cured with nitrite (judgement)


@dataclass(frozen=True)
class _Hot:
    """One piece through stretches that heat or cool it one after the other without a break, each with what it is for (see `Stage.aim`)."""

    history: History
    piece: Piece
    ran: tuple[Ran, ...]
    aims: tuple[str, ...]

    def of(self, aim: str) -> list[Ran]:
        """The stretches with this aim."""
        return [ran for ran, own in zip(self.ran, self.aims, strict=True) if own == aim]

    @cached_property
    def cooks(self) -> list[Ran]:
        """The stretches that cook it: those whose bath comes to where the printed table begins; where none does, all that were to cook."""
        every = self.of("cook")
        return [ran for ran in every if ran.kelvin.max() >= _hot_from()] or every

    @property
    def was_hot(self) -> bool:
        """Whether its middle came to where the printed table of cooking begins."""
        return self._whole.hottest >= _hot_from()

    @property
    def after_its_cooks(self) -> tuple[str, ...]:
        """What is done after all that cooks it."""
        last = max((n for n, aim in enumerate(self.aims) if aim == "cook"), default=-1)
        return self.aims[last + 1 :]

    @cached_property
    def cooked(self) -> Curve:
        """`coldest` from its cook on, until it is warmed again."""
        return self.coldest(self.cooks[0].begin, _until_warmed_again(self, self.cooks[-1]))

    def curve(self, begin: float, end: float) -> Curve:
        """The slowest spot from `begin` to `end` [s]."""
        return self._whole.part(begin, end)

    def coldest(self, begin: float, end: float) -> Curve:
        """What no part of the middle was colder than, from `begin` to `end` [s]: the slowest spot, and no more than the mean of the piece. In a solid
        piece the slowest spot is the coldest in a pot and the hottest in ice, and the second vouches for no other.
        """
        whole, mean = self._whole, self._read("average")
        return Curve(whole.times, np.minimum(whole.kelvin, mean), whole.place).part(begin, end)

    def outside(self, begin: float, end: float) -> Curve:
        """Its surface from `begin` to `end` [s]."""
        return Curve(self._times, self._read("surface"), f"the outside of the {self.piece.name}").part(begin, end)

    @cached_property
    def _whole(self) -> Curve:
        return Curve(self._times, self._read("core"), f"the middle of the {self.piece.name}")

    @cached_property
    def _times(self) -> np.ndarray:
        share = np.linspace(0.0, 1.0, READINGS) ** 2
        return np.unique(np.concatenate([ran.begin + share * (ran.end - ran.begin) for ran in self.ran]))

    def _read(self, place: str) -> np.ndarray:
        return self.history.temperature(self._times, place, self.piece.name)


def check_cooked(history: History, system: str = "metric") -> Verdicts:
    """All checks of heat in a history, in the order of the kitchen, each for the piece that does worst; empty where nothing is heated. `system`:
    the degrees of their sentences.

    Cook: lethality at 6.5 and 7 log over all that follows without a break (what is printed counts a rise after the oven), where it kills most,
    moist air, and the tables for bags; come-up from the first smoke or cook on, whatever lies between. Chill: cooling from the cook on; a hot piece
    that waits in the fridge is chilled. Hold and reheat: each by its own stretches.
    Meat that is still hot as a stage begins that is not computed as heat, a rest: its cooling is unknown, and so is what a later chill would say.
    """
    found: dict[str, list[Verdict]] = {}
    lost: set[str] = set()  # pieces whose heat was lost sight of
    cooks: dict[str, list[_Hot]] = {}
    for hot in _without_a_break(history):
        blind = hot.piece.name in lost and hot.aims[0] == "chill"
        cooled = () if blind else _chilled(hot, any(each.was_hot for each in cooks.get(hot.piece.name, ())))
        for verdict in (*cooled, *_held(hot), *_reheated(hot)):
            found.setdefault(verdict.name, []).append(verdict)
        if hot.of("cook"):
            cooks.setdefault(hot.piece.name, []).append(hot)
        if (left := _left_hot(hot)) is not None:
            lost.add(hot.piece.name)
            found.setdefault(left.name, []).append(left)
    for every in cooks.values():
        best = every[0] if len(every) == 1 else max(every, key=lambda hot: added_up(hot.cooked))
        for verdict in (*_cooked(best), _came_up(every), *_unchilled(every[-1])):
            found.setdefault(verdict.name, []).append(verdict)
    if (kept := _kept_long(history)) is not None:
        found.setdefault(kept.name, []).append(kept)
    worst = (min(each, key=_badness) for each in found.values())
    return Verdicts(replace(each, sentence=in_degrees(each.sentence, system)) for each in worst)


def _kept_long(history: History) -> Verdict | None:
    """Unknown for cooked meat that is kept for more than the printed days after its own last cook, whatever the stages are called."""
    cooks = [(ran.end, history.stages[ran.stage]) for ran in history.ran if history.stages[ran.stage].aim == "cook"]
    last = (max((end for end, stage in cooks if stage.is_about(piece.name)), default=None) for piece in history.pieces)
    kept = float(history.length) - min((end for end in last if end is not None), default=float(history.length))
    row, (few, most) = _printed("FSIS-CB-03", r"(\d+)-(\d+)$")
    if kept <= float(most) * units.DAY:
        return None
    reason = (
        f"Kept {units.roughly(kept)} after cooking; the printed rule is {few} to {most} days in the fridge. Do not eat it: nothing here can vouch "
        f"for it. Freeze what you would keep longer. {DEFER}"
    )
    return unknown(KEPT, reason, row["source"], row["how"], float(most), "d")


def _badness(verdict: Verdict) -> tuple[int, float]:
    """Order of verdicts of one name, worst first: outcome, then margin over limit."""
    share = (verdict.margin or 0.0) / (abs(verdict.limit) if verdict.limit else 1.0)
    return OUTCOMES.index(verdict.outcome), share


def _without_a_break(history: History) -> Iterator[_Hot]:
    """Every piece through every run of stretches that heat or cool it; not those in which it waits in the fridge for its own."""
    for heats, group in groupby(history.ran, lambda ran: history.stages[ran.stage].heats):
        ran = [each for each in group if each.length > 0] if heats else []
        for piece in history.pieces:
            aims = [_aim(history.stages[each.stage], piece) for each in ran]
            first = next((n for n, aim in enumerate(aims) if aim), None)
            if first is not None:
                yield _Hot(history, piece, tuple(ran[first:]), tuple(aim or "chill" for aim in aims[first:]))


def _aim(stage: Stage, piece: Piece) -> str:
    return stage.aim if stage.is_about(piece.name) else ""


def _left_hot(hot: _Hot) -> Verdict | None:
    """Unknown for a piece that is hot as a stage follows that does not count its heat."""
    after = [ran for ran in hot.history.ran if ran.begin >= hot.ran[-1].end and ran.length > 0]
    rule = rules("cooling")[0]
    last = float(hot.history.temperature(hot.ran[-1].end, "core", hot.piece.name))
    if not after or last <= COLD:
        return None
    reason = (
        f"The middle of the {hot.piece.name} is at {units.show(last, 'temperature')} as the {hot.history.stages[after[0].stage].tag} begins, where no heat is "
        f"computed: how it cools is not known. Put a hold or a chill in its place. {DEFER}"
    )
    return unknown("cooling", reason, rule.source, rule.how)


def _cooked(hot: _Hot) -> list[Verdict]:
    cooks, curve = hot.cooks, hot.cooked
    found = [*check_lethality(curve), _moist(hot, cooks)]
    if all(_sealed(ran) for ran in cooks):
        found += [check_bag(curve), check_spores(curve)]
    return found


def _came_up(every: Sequence[_Hot]) -> Verdict:
    """Come-up in the middle and outside of a piece, from its first smoke or cook on, over all that lies between that and its last; where that leaves
    it raw, over what cools it too, for nothing else counts those hours.
    """
    first, last = every[0], every[-1]
    begin, end = first.of("cook")[0].begin, last.of("cook")[-1].end
    whole = first
    if len(every) > 1:
        ran = tuple(each for each in first.history.ran if begin <= each.begin < last.ran[-1].end and each.length > 0)
        whole = _Hot(first.history, first.piece, ran, ("",) * len(ran))
    if whole.curve(begin, end).hottest < _hot_from():
        end = last.ran[-1].end
    middle = whole.curve(begin, end)
    found = check_come_up((middle, whole.outside(begin, end)))
    began = float(middle.kelvin[1])  # a border belongs to the stretch before it
    if began <= COLD:
        return found
    near = units.show(began, "temperature", digits=2)
    reason = f"The middle of the {first.piece.name} is computed to be near {near} as it begins: how long it was so warm is not known."
    return undecided(found, reason)


def _unchilled(hot: _Hot) -> list[Verdict]:
    if "chill" in hot.after_its_cooks or hot.ran[-1].end < hot.history.ran[-1].end:
        return []
    row = printed_rule("trade_rules.csv", "FSIS-CB-10")
    said = f"No chill is planned: eat it hot, or chill it within {row['value']} h of cooking. {DEFER}"
    return [unknown("cooling", said, row["source"], row["how"])]


def _until_warmed_again(hot: _Hot, last: Ran) -> float:
    """When the first reheating after the cook begins, or the end: what is warmed again is no part of the cook."""
    return next((ran.begin for ran in hot.of("reheat") if ran.begin >= last.end), hot.ran[-1].end)


def _sealed(ran: Ran) -> bool:
    heating = ran.stretch.heating
    return heating is not None and not heating.dries and ran.stretch.water is None


def _moist(hot: _Hot, cooks: Sequence[Ran]) -> Verdict:
    """Moist air, where bare meat is cooked in air: germs on a skin that dries outlive the printed times."""
    name = "moist while cooking"
    waived, (pounds, oven) = _printed("APPA-02", r">=(\d+) lb in oven >=(\d+) F")
    options, (moist_air, share, least) = _printed("APPA-03", r"3: >=(\d+)% RH >=(\d+)% or (\d+) h")
    dry = [ran for ran in cooks if ran.stretch.heating is not None and ran.stretch.heating.dries]
    if not dry:
        what = "time in water, steam or a bag, of the time cooked"
        return judge(name, 100.0, ">=", 100.0, "%", what, waived["source"], waived["how"], DEFER)
    big, hot_oven = units.read(f"{pounds} lb", "mass"), units.read(f"{oven} degF", "temperature")
    coolest = min(hot.history.stages[ran.stage].coldest for ran in cooks)
    if hot.piece.weight >= big and coolest >= hot_oven:
        what = f"coolest of the oven, for a piece of {units.show(big, 'mass')} or more"
        degrees = [units.convert(each, "temperature", "degC") for each in (coolest, hot_oven)]
        return judge(name, degrees[0], ">=", degrees[1], "°C", what, waived["source"], waived["how"], DEFER)
    humid = [_killing(ran) for ran in dry if (ran.stretch.heating.humidity or 0.0) >= float(moist_air) / 100]  # type: ignore[union-attr]
    asked = max(float(least), float(share) / 100 * sum(map(_killing, cooks)) / units.HOUR)
    remark = f"Germs on a dry skin outlive the printed times: let in steam, or cook covered or in water. {DEFER}"
    what, spent = f"time in air of {moist_air} % humidity", sum(humid) / units.HOUR
    return judge(name, spent, ">=", asked, "h", what, options["source"], options["how"], remark, "unknown")


def _killing(ran: Ran) -> float:
    """s of a stretch in which its bath is as warm as the printed table begins: humid air that is colder does not count, for nothing dies there."""
    return Curve(ran.knots, ran.kelvin).above(_hot_from()) if len(ran.knots) > 1 else 0.0


def _hot_from() -> float:
    """K at which the printed table of cooking begins: from there meat is cooking."""
    return table()[0].kelvin - SLACK


def _printed(rule_id: str, pattern: str) -> tuple[Mapping[str, str], tuple[str, ...]]:
    """(row of trade_rules.csv, the numbers in its words)."""
    row = printed_rule("trade_rules.csv", rule_id)
    found = re.search(pattern, f"{row['quantity']} {row['value']}")
    assert found is not None, f"{rule_id} has no numbers like {pattern}"
    return row, found.groups()


def _chilled(hot: _Hot, before: bool) -> list[Verdict]:
    """Cooling in every chill, from all on that came since the chill before it, and in what warms cooked meat after the last: a smoke that makes it
    no hotter than the limits begin. `before`: whether it was hot before these stretches. Raw meat that was never hot has its come-up instead.
    """
    found: list[Verdict] = []
    cured = _cured(hot)
    last = [n for n, aim in enumerate(hot.aims) if aim == "chill" and hot.aims[n + 1 : n + 2] != ("chill",)]
    since = hot.ran[0].begin
    for n in last:
        curve = hot.curve(since, hot.ran[n].end)
        if before or curve.hottest >= _hot_from() or "cook" not in hot.aims[:n]:
            found += check_cooling(curve, cured, before)
            before = before or curve.hottest >= _hot_from()
        since = hot.ran[n].end
    if before and hot.aims[-1] == "cook":
        curve = hot.curve(since, hot.ran[-1].end)
        if curve.hottest < rules("cooling")[0].begin:
            found += check_cooling(curve, cured, True)
    return found


def check_read_cooling(history: History, piece: str, times: np.ndarray, kelvin: np.ndarray) -> Verdicts:
    """Cooling by readings [K] of one piece at times [s since the start], straight between them, against the printed limits; empty where it was
    never hot.
    """
    curve = Curve(times, kelvin, f"the middle of the {piece}")
    hot = next((hot for hot in _without_a_break(history) if hot.piece.name == piece), None)
    return Verdicts() if hot is None or curve.hottest <= COLD else check_cooling(curve, _cured(hot))


def _cured(hot: _Hot) -> Cured | None:
    """What the piece holds as it begins to be heated, where its lean has least; None for meat without nitrite."""
    nitrite, salt = (
        float(hot.history.lean_profile(quantity, hot.ran[0].begin, hot.piece.name, basis).min())
        for quantity, basis in (("nitrite", "green weight"), ("salt", "water phase"))
    )
    return None if nitrite < NITRITE else Cured(min(1.0, nitrite), min(1.0, max(0.0, salt)))


def _held(hot: _Hot) -> list[Verdict]:
    held, cooks = hot.of("hold"), hot.of("cook")
    if not held:
        return []
    cooked = (
        bool(cooks)
        and cooks[0].begin < held[-1].end
        and check_lethality(hot.coldest(cooks[0].begin, held[-1].end))[0].counts_as_pass
    )
    span = held[0].begin, held[-1].end
    return [check_holding((hot.curve(*span), hot.outside(*span)), by_the_table=cooked)]


def _reheated(hot: _Hot) -> list[Verdict]:
    again = hot.of("reheat")
    if not again:
        return []
    after = [ran for ran in hot.of("hold") if ran.begin >= again[-1].end]
    return [check_reheating(hot.curve(again[0].begin, (after or again)[-1].end))]
