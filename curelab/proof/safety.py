"""Invented batches that were made to get past the checks of safety, and sound ones that must pass: what each must get, and what it gets.

`safety_batches.toml` has them as data. What the checks said before they were built anew was recorded there once and cannot be run again here.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..batch import Batch, from_table
from ..limits import DISCARD, Verdicts, keeping
from ..matter.ranges import ZERO_CELSIUS
from ..outcome import run
from ..show.dangers import ASKED, failing, not_vouched
from ..sources import datasets_folder, default_numbers, read_table
from ..units import DAY
from .case import Table

IN_WORDS = {"fail": "fail", "unknown": "cannot be judged", "pass": "in order"}
TRIED = {"adversarial": "made to get past", "sound": "sound"}


@dataclass(frozen=True)
class Tried:
    """A batch of the table. `must`: outcome it must get, in words; `check`: the check that must give it, "" for one that no check of
    safety may fail or leave open; `before`: "right" or "wrong", as recorded; "later": it was added after.
    """

    id: str
    kind: str
    why: str
    check: str
    must: str
    before: str
    batch: Batch

    def verdicts(self) -> Verdicts:
        """Every check of it, as its outcome has them."""
        return run(self.batch).verdicts

    def got(self, verdicts: Verdicts) -> str:
        """What it gets, in words, where a person reads first; "not said" where the check that must speak does not stand there."""
        first = [*failing(verdicts), *not_vouched(verdicts, len(ASKED))]
        if not self.check:
            return "in order" if not first else "; ".join(first)
        mine = next((each for each in verdicts if each.name == self.check), None)
        told = mine is not None and any(mine.sentence.removeprefix(f"{DISCARD} ") in said for said in first)
        return IN_WORDS[mine.outcome] if mine is not None and told else "not said"


@cache
def tried() -> tuple[Tried, ...]:
    """Every batch of safety_batches.toml, in its order."""
    table = tomllib.loads((datasets_folder() / "safety_batches.toml").read_text(encoding="utf-8"))
    return tuple(
        Tried(
            row["id"], row["kind"], row["why"], row.get("check", ""), row.get("must", "in order"), row["before"],
            from_table({"schema": 1, "name": row["id"], "invented": True, **row["file"]}),
        )
        for row in table["batch"]
    )  # fmt: skip


def safety_batches() -> Table:
    """The batches by what they must get, those marked that were wrong before; which of them get something else; and how many were wrong before
    and are now.
    """
    rows: dict[tuple[str, str], list[str]] = {}
    wrong, told = dict.fromkeys(TRIED, 0), []
    for each in tried():
        got = each.got(each.verdicts())
        wrong[each.kind] += got != each.must
        said = f"{each.why}{'*' if each.before == 'wrong' else ''}{'' if got == each.must else f' (WRONG: {got})'}"
        rows.setdefault((each.must, each.check or "all of them"), []).append(said)
    for kind, name in TRIED.items():
        mine = [each for each in tried() if each.kind == kind]
        before = sum(each.before == "wrong" for each in mine)
        later = sum(each.before == "later" for each in mine)
        told.append(f"{name}: {len(mine)} batches, {before} wrong before, {wrong[kind]} now; {later} were added later")
    return Table(
        "Invented batches held against the checks of safety (* wrong before)", ("must get", "by the check", "batches"),
        tuple((must, check, "; ".join(said)) for (must, check), said in rows.items()),
        f"{'; '.join(told)}. They were made by those who wrote the checks, so this shows that known holes are shut, not that there are no others.",
    )  # fmt: skip


def keeping_times() -> Table:
    """Days of bare raw meat that are in order, and to harm, at some temperatures, beside printed storage times that did not enter them."""
    numbers = default_numbers()
    share = numbers.si("protection.share")
    clock = keeping.clock("cold", numbers)
    rows = []
    for row in read_table("keeping.csv"):
        if row["clock"] == "warm" or float(row["temperature_C"]) > 12:
            continue
        kelvin = np.array(float(row["temperature_C"]) + ZERO_CELSIUS)
        in_order, harm = share / float(clock.pace(kelvin)) / DAY, 1 / float(clock.pace(kelvin)) / DAY
        use = {"harm": "in the clock", "spoilage": "for how long is printed at all"}.get(row["kind"], "beside it")
        printed = f"{float(row['time']):g}"
        rows.append(
            (
                f"{float(row['temperature_C']):g}",
                row["what"],
                printed,
                f"{in_order:.0f}",
                f"{harm:.0f}",
                use,
                row["how"],
            )
        )
    rows.sort(key=lambda cells: float(cells[0]))
    return Table(
        "Days that bare raw meat keeps", ("degC", "printed of", "days printed", "in order up to", "fails from", "used", "how known"), tuple(rows),
        "Salt and free nitrite at the place, as they are computed while they change, slow this clock; nothing slows the one above 10 degC. Printed means of "
        "cold storage hold all ways of packing, with standard deviations as large as themselves; meat under brine or in a bag is like vacuum-packed meat.",
    )  # fmt: skip
