"""Numbers in the README and in the proof are produced, not remembered: a stale one fails.

A number that claims something is followed by `<!-- claim: name -->`, which readers do not see. The function of that name in CLAIMS works
the text before the marker out anew. A number without a marker must stand in NO_CLAIM with the reason why it claims nothing.
To add a claim: write the number, put a marker right behind it, and a function here. Speeds are claims only as ratios, read
from the table that tests/speed/bench_against_others.py --write made.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from curelab import proof, simulate
from curelab.batch import load
from curelab.bodies.kept import MOST_BYTES
from curelab.engine.simulate import CELLS
from curelab.proof import crank, layered, meat
from curelab.sources import default_numbers
from curelab.units import DAY

ROOT = Path(__file__).resolve().parents[2]
MARKER = re.compile(r"<!--\s*claim:\s*([^>]*?)\s*-->")
WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
NUMBER = re.compile(r"\d[\d.,]*|\b(?:" + "|".join(WORDS[2:]) + r"|hundred|thousand|dozen)(?:fold)?\b", re.IGNORECASE)

# what stands in the text: why it claims nothing
NO_CLAIM = {
    "README.md": {},
    "notebooks/proof.ipynb": {
        "Sections 1 to 7": "numbers of sections",
        "Sections 8 to 12": "numbers of sections",
        "a few parts in ten thousand": "said exactly, with its marker, at the end",
        "Two questions": "a count of sentences",
        "two rows": "the two factors beside it",
        "two half spaces": "the name of a case",
        "ten days": "the length of a case, in its picture",
        "Three waters, three fractions": "the waters of a case, in its figures",
        "two programs": "CoolProp and phreeqc, the sections below",
        "first twentieth": "the part of a run that is left out; checked in tests/proof",
    },
}


def spread_of_the_pace() -> str:
    """Largest over smallest published pace of salt in lean, as a whole number in words."""
    share = default_numbers()["obstruction.lean"]
    return f"factor of {WORDS[round(share.high / share.low)]}"


def most_on_disk() -> str:
    """Of shapes that were worked out."""
    return f"{MOST_BYTES / 1e6:.0f} MB"


def demo_batches() -> str:
    """Invented batches in datasets/ that load and run; the template for a new batch is none."""
    found = [load(str(path)) for path in sorted((ROOT / "datasets").glob("demo_*.toml"))]
    assert all(batch.invented for batch in found)
    return WORDS[len(found)].capitalize()


def least_python() -> str:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["requires-python"]
    return f"Python {wanted.removeprefix('>=')}"


def pace_of_salt() -> str:
    numbers = default_numbers()
    share, free = numbers["obstruction.lean"].value, numbers["water.salt_diffusivity.3C"].value
    clock = simulate(meat.piece(), crank._brine()).state.runs[0].clock
    assert clock.readings[0, -1] / clock.knots[-1] == pytest.approx(free * 1e-9, rel=1e-12)
    return f"{share:g} × {free:g}·10⁻⁹ = {10 * share * free:.1f}·10⁻¹⁰"


def middle_on_day_10() -> str:
    return f"{100 * proof.constant_surface('half slab').ours[list(crank.SHOWN / DAY).index(10)]:.0f} %"


def largest_error() -> str:
    """Over every diffusion case of the proof, rounded up to whole parts in ten thousand."""
    made = [
        f(s)
        for s in meat.SHAPES
        for f in (proof.constant_surface, proof.limited_bath, proof.surface_resistance, proof.loss_against_diffusion)
    ]
    made += [
        proof.fat_on_lean(),
        proof.half_spaces(),
        proof.sealed_rest(),
        proof.changed_waters(),
        proof.finite_elements(),
    ]
    return f"{-int(-max(case.error for case in made) // 1e-4)} parts in 10 000"


def error_in_fat() -> str:
    told = re.search(r"apart by at most (\S+) there", layered.fat_on_lean().remark)
    return f"{round(1000 * float(told[1]))} parts in 1000"


CLAIMS: dict[str, Callable[[], str]] = {
    "spread of the pace": spread_of_the_pace,
    "most on disk": most_on_disk,
    "demo batches": demo_batches,
    "least Python": least_python,
    "cells": lambda: f"{CELLS}",
    "temperature of the proof": lambda: meat.COLD.replace("degC", "°C"),
    "thickness of the proof": lambda: f"{200 * meat.HALF:g} cm",
    "pace of salt": pace_of_salt,
    "middle on day 10": middle_on_day_10,
    "a day that is shown": lambda: f"day {crank.SHOWN[1] / DAY:.0f}",
    "largest error": largest_error,
    "error in fat": error_in_fat,
}


def texts() -> dict[str, str]:
    """File -> what people read in it: no code blocks."""
    readme = re.sub(r"```.*?```", "", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.DOTALL)
    cells = json.loads((ROOT / "notebooks" / "proof.ipynb").read_text(encoding="utf-8"))["cells"]
    return {
        "README.md": readme,
        "notebooks/proof.ipynb": "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "markdown"),
    }


def unclaimed(text: str, no_claim: dict[str, str]) -> list[str]:
    """Numbers with neither a marker behind their phrase nor a place on the list; headings' own numbers do not count."""
    left = re.sub(r"^#+ \d+\. ", "", text, flags=re.MULTILINE)
    for name, work_out in CLAIMS.items():
        left = re.sub(re.escape(work_out()) + r"<!--\s*claim:\s*" + re.escape(name) + r"\s*-->", "", left)
    for phrase in no_claim:
        left = left.replace(phrase, "")
    left = re.sub(r"<!--.*?-->|`[^`]*`|\]\([^)]*\)", "", left, flags=re.DOTALL)
    return [left[max(0, m.start() - 30) : m.end() + 20].replace("\n", " ") for m in NUMBER.finditer(left)]


def stale(text: str) -> list[str]:
    """Markers whose number is not what its function says, or that have no function."""
    found = []
    for marker in MARKER.finditer(text):
        name, before = marker[1], text[: marker.start()]
        if name not in CLAIMS:
            found.append(f'"{name}" has no function in CLAIMS')
        elif not before.endswith(CLAIMS[name]()):
            found.append(f'"{name}": the text says "...{before[-25:]}", it is "{CLAIMS[name]()}"')
    return found


@pytest.mark.parametrize("name", NO_CLAIM)
def test_no_claim_is_stale(name):
    text = texts()[name]
    assert MARKER.search(text) and not stale(text)


@pytest.mark.parametrize("name", NO_CLAIM)
def test_every_number_is_claimed_or_claims_nothing(name):
    assert not unclaimed(texts()[name], NO_CLAIM[name])


def test_the_example_of_the_readme_runs(capsys):
    (example,) = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    exec(compile(example, "README.md", "exec"), {})
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "History of point: 10 d" and "after 10 d, as planned" in said[1] and len(said) == 4
    assert said[2].startswith("The core reaches 90 % of its equilibrium salt after ")
    assert said[3].startswith("point: out after ") and said[3].endswith(" % of 512")


def test_every_claim_is_made_somewhere():
    made = {marker[1] for text in texts().values() for marker in MARKER.finditer(text)}
    assert made == set(CLAIMS)


def test_a_stale_number_is_seen():
    """The checks themselves, on text that is wrong in each way."""
    assert not stale("with 60<!-- claim: cells --> cells")
    assert stale("with 61<!-- claim: cells --> cells") == ['"cells": the text says "...with 61", it is "60"']
    assert stale("5<!-- claim: nothing -->") == ['"nothing" has no function in CLAIMS']
    assert not unclaimed("## 3. Rest\nwith 60<!-- claim: cells --> cells, as `x = 3` says", {})
    assert len(unclaimed("300 times faster, and threefold 60<!-- claim: cells -->", {})) == 2


@pytest.mark.parametrize("name", NO_CLAIM)
def test_the_list_of_no_claims_is_used(name):
    assert not [phrase for phrase in NO_CLAIM[name] if phrase not in texts()[name]]
