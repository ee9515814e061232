"""Checks of cooking, cooling, holding and reheating of a whole batch: which part of which curve goes to which printed rule.

The slowest spot of every piece decides. What is cooked and then neither chilled nor eaten at once cannot be judged.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.readout import Ran
from ..recipe.stages import Stage
from ..sources import read_table
from .cooling import Cured, check_come_up, check_cooling, check_holding, check_reheating
from .curve import Curve
from .lethality import DEFER, check_bag, check_lethality, check_spores
from .verdict import Verdict, Verdicts, judge, unknown

READINGS = 600  # of a stretch; closer together where it begins, for there the temperature runs fastest
NITRITE = 1e-6  # kg/kg: meat that took up less was not cured with nitrite (judgement)


@dataclass(frozen=True)
class _Hot:
    """Stretches that heat or cool one after the other without a break."""

    history: History
    ran: tuple[Ran, ...]

    def stage(self, ran: Ran) -> Stage:
        return self.history.stages[ran.stage]

    def of(self, aim: str) -> list[Ran]:
        """The stretches of stages with this aim."""
        return [ran for ran in self.ran if self.stage(ran).aim == aim]

    @cached_property
    def times(self) -> np.ndarray:
        """s since the start of the batch."""
        share = np.linspace(0.0, 1.0, READINGS) ** 2
        return np.unique(np.concatenate([ran.begin + share * (ran.end - ran.begin) for ran in self.ran]))

    def curves(self, begin: float, end: float) -> list[Curve]:
        """The slowest spot of every piece from `begin` to `end` [s]."""
        return [curve.part(begin, end) for curve in self._whole]

    @cached_property
    def _whole(self) -> list[Curve]:
        found = []
        for piece in self.history.pieces:
            kelvin = self.history.temperature(self.times, "core", piece.name)
            found.append(Curve(self.times, kelvin, f"the middle of {piece.name}" if piece.name else "the middle"))
        return found


def check_cooked(history: History) -> Verdicts:
    """All checks of heat in a history, in the order of the kitchen; empty where nothing is heated.

    Cook: lethality at 6.5 and 7 log over all that follows without a break (what is printed counts a rise after the oven), come-up, moist air, and the
    tables for bags. Chill: cooling from the cook on. Hold and reheat: each by its own stretches.
    """
    found: list[Verdict] = []
    for hot in _without_a_break(history):
        for aim, check in (("cook", _cooked), ("chill", _chilled), ("hold", _held), ("reheat", _reheated)):
            if hot.of(aim):
                found += check(hot)
    return Verdicts(found)


def _without_a_break(history: History) -> Iterator[_Hot]:
    for heats, group in groupby(history.ran, lambda ran: history.stages[ran.stage].heats):
        if heats:
            yield _Hot(history, tuple(ran for ran in group if ran.length > 0))


def _cooked(hot: _Hot) -> list[Verdict]:
    cooks = hot.of("cook")
    begin, end = cooks[0].begin, _until_warmed_again(hot, cooks[-1])
    curves = hot.curves(begin, end)
    found = [*check_lethality(curves), check_come_up(hot.curves(begin, cooks[-1].end)), _moist(hot, cooks)]
    if all(_sealed(ran) for ran in cooks):
        found += [check_bag(curves), check_spores(curves)]
    if not hot.of("chill"):
        row = next(row for row in read_table("trade_rules.csv") if row["rule_id"] == "FSIS-CB-10")
        said = f"No chill is planned: eat it hot, or chill it within {row['value']} h of cooking. {DEFER}"
        found.append(unknown("cooling", said, row["source"], row["how"]))
    return found


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
    coolest = min(hot.stage(ran).coldest for ran in cooks)
    if min(piece.weight for piece in hot.history.pieces) >= big and coolest >= hot_oven:
        what = f"coolest of the oven, with no piece below {units.show(big, 'mass')}"
        degrees = [units.convert(each, "temperature", "degC") for each in (coolest, hot_oven)]
        return judge(name, degrees[0], ">=", degrees[1], "°C", what, waived["source"], waived["how"], DEFER)
    humid = [ran.length for ran in dry if (ran.stretch.heating.humidity or 0.0) >= float(moist_air) / 100]  # type: ignore[union-attr]
    asked = max(float(least), float(share) / 100 * sum(ran.length for ran in cooks) / units.HOUR)
    remark = f"Germs on a dry skin outlive the printed times: let in steam, or cook covered or in water. {DEFER}"
    what, spent = f"time in air of {moist_air} % humidity", sum(humid) / units.HOUR
    return judge(name, spent, ">=", asked, "h", what, options["source"], options["how"], remark, "unknown")


def _printed(rule_id: str, pattern: str) -> tuple[dict[str, str], tuple[str, ...]]:
    """(row of trade_rules.csv, the numbers in its words)."""
    row = next(row for row in read_table("trade_rules.csv") if row["rule_id"] == rule_id)
    found = re.search(pattern, f"{row['quantity']} {row['value']}")
    assert found is not None, f"{rule_id} has no numbers like {pattern}"
    return row, found.groups()


def _chilled(hot: _Hot) -> list[Verdict]:
    """Cooling, from the hottest moment since the last cook before it; of meat that was warmed again before, from there."""
    found: list[Verdict] = []
    for _, group in groupby(hot.ran, lambda ran: hot.stage(ran).aim == "chill"):
        ran = list(group)
        if hot.stage(ran[0]).aim != "chill":
            continue
        before = [each for each in hot.ran if each.end <= ran[0].begin and hot.stage(each).aim != "chill"]
        begin = before[-1].begin if before else ran[0].begin
        found += check_cooling(hot.curves(begin, ran[-1].end), _cured(hot.history, hot.ran[0].begin))
    return found


def _cured(history: History, time: float) -> Cured | None:
    """What the piece with least holds at a time, everywhere in its lean; None for meat without nitrite."""
    least = {
        quantity: min(float(history.lean_profile(quantity, time, piece.name, basis).min()) for piece in history.pieces)
        for quantity, basis in (("nitrite", "green weight"), ("salt", "water phase"))
    }
    if least["nitrite"] < NITRITE:
        return None
    return Cured(min(1.0, least["nitrite"]), min(1.0, max(0.0, least["salt"])))


def _held(hot: _Hot) -> list[Verdict]:
    held = hot.of("hold")
    cooked = hot.of("cook") and check_lethality(hot.curves(hot.of("cook")[0].begin, held[-1].end))[0].counts_as_pass
    return [check_holding(hot.curves(held[0].begin, held[-1].end), by_the_table=bool(cooked))]


def _reheated(hot: _Hot) -> list[Verdict]:
    again = hot.of("reheat")
    after = [ran for ran in hot.ran if ran.begin >= again[-1].end and hot.stage(ran).aim == "hold"]
    return [check_reheating(hot.curves(again[0].begin, (after or again)[-1].end))]
