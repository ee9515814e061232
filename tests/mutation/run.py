"""Deliberate faults, one at a time, in a copy of the tree: the tests must go red for each of them.

    python tests/mutation/run.py            # all faults; a survivor makes it fail
    python tests/mutation/run.py --few      # the short list that every test run includes (tests/mutation/test_few.py)
    python tests/mutation/run.py --check    # only whether every fault still finds its place in the source
    python tests/mutation/run.py --only lb  # faults whose name contains this

A fault is a piece of source and what stands there instead; spaces and line ends do not count, and it must match exactly one place in the
library. Only tests that ought to see it are run, so that a fault costs seconds. Red means that a test failed (pytest's exit code
1): a tree that cannot even be imported would prove nothing.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("curelab", "datasets", "tests", "notebooks", "pyproject.toml", "README.md")


@dataclass(frozen=True)
class Fault:
    """A name, what stands in the source, what is put there, and the tests that must see it."""

    name: str
    find: str
    put: str
    tests: tuple[str, ...]
    few: bool = False
    within: str = ""  # name of the file, where the same text stands in several

    @property
    def pattern(self) -> re.Pattern[str]:
        """The source with any amount of space between words."""
        return re.compile(r"\s*".join(re.escape(part) for part in re.findall(r"\w+|[^\w\s]", self.find)))


MODES, CELLS, PROOF = "tests/transport/test_modes.py", "tests/bodies/test_cells.py", "tests/proof/test_proof.py"
BATCHES, HISTORY = "tests/transport/test_batches.py", "tests/engine/test_history.py"
SPREAD, LEARN = "tests/spread/test_spread.py", "tests/learn/test_calibrate.py"
SIMULATE, LIMITS = "tests/engine/test_simulate.py", "tests/limits/test_limits.py"
INVARIANTS, SOLUTES, UNITS = (
    "tests/engine/test_invariants.py",
    "tests/matter/test_solutes.py",
    "tests/border/test_fields_units.py",
)

FAULTS = (
    # the six that the house asks for, each seen by a law or an outside answer
    Fault("sign of a link", "laplacian[:, nodes, -1] -= contact.column", "laplacian[:, nodes, -1] += contact.column",
          (f"{MODES}::test_laplacian_by_hand", f"{MODES}::test_flux_runs_from_high_to_low"), few=True),
    Fault("missing bath node", "for contact in contacts: nodes =", "for contact in contacts[1:]:\n        nodes =",
          (f"{MODES}::test_flux_runs_from_high_to_low", f"{PROOF}::test_every_case_holds"), few=True),
    Fault("celsius for kelvin in the loss", '* (kelvins - ZERO_CELSIUS)', "* kelvins", (SOLUTES,), few=True),
    Fault("celsius for kelvin in the diffusivity", "1.0 / (np.array(WATER_NODES) + ZERO_CELSIUS)", "1.0 / (np.array(WATER_NODES) + 273.15 - ZERO_CELSIUS)",
          (SOLUTES,)),
    Fault("water phase for whole meat", 'if basis == "water phase": inside = w * self._column',
          'if basis in ("water phase", "meat"):\n            inside = w * self._column', (HISTORY,), few=True),
    Fault("ion for salt", 'nitrite_as(fraction, "NaNO2", "NO2 ion") if', "fraction if", (LIMITS,), few=True),
    Fault("lb for kg", '("lb lbs pound pounds", MASS, _POUND),', '("lb lbs pound pounds", MASS, Fraction(1)),',
          (f"{PROOF}::test_every_case_holds[cover pickle]", f"{SIMULATE}::test_the_same_batch_in_other_units"), few=True),
    # geometry and links
    Fault("half thickness for whole", "piece.thickness * cases.size(piece),", "0.5 * piece.thickness * cases.size(piece),",
          (f"{PROOF}::test_every_case_holds",)),
    Fault("whole cell for half cell", "inward = (centres - edges[:-1]) / inner", "inward = (edges[1:] - edges[:-1]) / inner",
          (CELLS, "tests/exact/test_chain.py")),
    Fault("cylinder with the volume of a slab", "volume, across = np.pi * np.diff(edges**2)", "volume, across = np.pi * np.diff(edges)", (CELLS,)),
    Fault("sphere with the area of a cylinder", "4 * np.pi * edges**2", "4 * np.pi * edges", (CELLS,)),
    Fault("film left out", "return np.where(np.isinf(outside), 1.0, outside", "return np.where(outside > 0, 1.0, outside", (MODES,)),
    Fault("film beside the cell instead of before it", "return self.share(film, conductivity, size) * conductivity[:, self.tissue]",
          "return film * self.area + conductivity[:, self.tissue]", (MODES,)),
    Fault("turning changes nothing", "(False, True) if turns else (False,)", "(False, False) if turns else (False,)", (SIMULATE,)),
    Fault("a bath that never weakens", "bath = np.full(cases.count, np.inf) if stretch.endless else pot", "bath = np.full(cases.count, np.inf)",
          (f"{PROOF}::test_every_case_holds[limited bath half slab]",), few=True),
    Fault("film a thousand times too thick", "WATER_PER_VOLUME = 1000.0", "WATER_PER_VOLUME = 1.0", (f"{PROOF}::test_every_case_holds",)),
    Fault("fat as quick as lean", 'value *= numbers.si("fat.relative_diffusivity")', "value *= 1.0",
          ("tests/matter/test_tissue.py", f"{SIMULATE}::test_a_fat_cap_slows_and_moves_the_core")),
    # time, loss, what is handed on
    Fault("no loss of nitrite", "(cases.loss_rate(kelvin, meat.piece, loss) @ weights / pace)", "(0.0 * pace)",
          (f"{PROOF}::test_every_case_holds[loss half slab]",)),
    Fault("loss in the bath too", "found[:, nodes] = alike[kind]", "found[:] = alike[kind]", (f"{PROOF}::test_every_case_holds[finite elements]",)),
    Fault("loss per clock instead of per second", "loss) @ weights / pace)", "loss) @ weights)", (f"{PROOF}::test_every_case_holds[loss sphere]",)),
    Fault("a wrong mean of a warm spell", "np.append(0.0, steps), 4 * steps]", "np.append(0.0, steps), 3 * steps]", (SIMULATE,)),
    Fault("a wrong pace in a warm spell", "edge[:, :-1] + 4 * middle", "edge[:, :-1] + 3 * middle", (SIMULATE,)),
    Fault("handed on at the longest time", "= self.states(name, self.length[:, None])[:, 0]", "= self.states(name, self.longest[:, None])[:, 0]", (SIMULATE,)),
    Fault("every solute at the pace of salt", 'return 1.0 if solute == "salt" else', "return 1.0 if solute else", (SOLUTES,)),
    Fault("flow counted backwards", "rows[:, 0, part.nodes] = -part.feed", "rows[:, 0, part.nodes] = part.feed", (MODES,)),
    Fault("supply of a running bath not counted", "rows[:, 0, -1] = self.drain", "rows[:, 0, -1] = 0.0", (MODES, SIMULATE)),
    Fault("dry salt forgotten", "left = self.reserve[:, None] -", "left = 0.0 * self.reserve[:, None] -", (SIMULATE,)),
    Fault("every water like the first", "water.temperature, water.amount,", "water.temperature, self.waters[0].amount,", (SIMULATE, f"{PROOF}::test_every_case_holds")),
    Fault("purge weighs twice", "tuple(change - share for change in water_before)", "tuple(change - 2 * share for change in water_before)", (SIMULATE,)),
    Fault("partition upside down", "per_tissue = spread[:, None] * water", "per_tissue = water / spread[:, None]",
          (f"{INVARIANTS}::test_at_rest_the_shares_are_those_of_the_partition",)),
    # arithmetic of a kitchen
    Fault("a percent is one", '("% percent", NONE, Fraction(1, 100))', '("% percent", NONE, Fraction(1))', (UNITS,)),
    Fault("ppm a thousand times too strong", '("ppm", NONE, Fraction(1, 10**6))', '("ppm", NONE, Fraction(1, 10**3))', (UNITS,)),
    Fault("nitrite on the meat alone", "return nitrite / sum(values)", "return nitrite / values[0]", (f"{PROOF}::test_every_case_holds[cover pickle]",)),
    Fault("finished weight for green weight", 'if basis == "green weight": return green', 'if basis in ("green weight", "meat"):\n            return green', (HISTORY,)),
    Fault("an odd term keeps its sign when turned", "root=self.root * mine", "root=self.root", (BATCHES,)),
    Fault("a turned piece is fed as it lay before", "feed=feed, source=lambda", "feed=self.feed, source=lambda", (BATCHES,)),
    Fault("thickness drawn once, not squared", "(self.amount / self.size**2)[", "(self.amount / self.size)[", (f"{SPREAD}::test_every_draw_equals_simulate_of_that_draw",)),
    Fault("no loss where the nodes lose unlike", "self.make() + loss[:, :, None] * np.eye(len(self.nodes))", "self.make()", (BATCHES,)),
    Fault("no loss where all lose alike", "(self.solved[0] + loss[:, :1], self.solved[1])", "self.solved", (BATCHES,)),
    Fault("all legs of a turned piece begin alike", "take(owner + g * np.arange(d)[:, None], axis=0)",
          "take(0 * owner + g * np.arange(d)[:, None], axis=0)", (f"{MODES}::test_one_solute_that_sets_out_again_and_again",)),
    Fault("a mirror image of its cells, not of its tissues", "cells.mirrored and tuple(tissues) == tuple(tissues)[::-1]", "cells.mirrored",
          ("tests/bodies/test_terms.py",)),
    Fault("the first bite of the piece as planned", "depth / run.meats[number].across", "depth / self.pieces[number].thickness + 0 * run.meats[number].across",
          (f"{SPREAD}::test_every_draw_equals_simulate_of_that_draw",)),
    Fault("a draw that is cut out is as warm as planned", "kelvin=c.kelvin + c.warmer[self.chosen[0]]", "kelvin=c.kelvin",
          (f"{SPREAD}::test_every_draw_equals_simulate_of_that_draw",)),
    Fault("what comes after changes what was before", "runs=list(self.runs)", "runs=self.runs", (SIMULATE,)),
    Fault("a mean loss for the first leg alone", "means[part]) for way, part in", "means[0]) for way, part in", (SIMULATE,)),
    Fault("a band of 6 cases in 10", "LEVELS = (0.1, 0.5, 0.9)", "LEVELS = (0.2, 0.5, 0.8)", (SPREAD,)),
    # what readings teach
    Fault("what readings tie is drawn apart", "root = shape * np.sqrt(np.maximum(size, 0.0)) @ shape.T",
          "root = np.diag(np.sqrt(np.diag(self.covariance)[own]))", (f"{LEARN}::test_what_a_fit_ties_together_is_drawn_together",)),
    Fault("all else passes for known", "varying = [*asked, *(rows[key] for key in dict.fromkeys(beside) if key not in parameters)]",
          "varying = list(asked)", (f"{LEARN}::test_recovery_in_200_batches_in_which_all_else_is_hidden_too",)),
    Fault("quarrelling readings are taken up", "self.fit.learned if self.fit.believed else None",
          "self.fit.learned", ("tests/batch/test_outcome.py",)),
    Fault("a log that moves nothing", "if log else ((), None)\n    learned = update.taken_up if update is not None else None",
          "if log else ((), None)\n    learned = None", ("tests/batch/test_outcome.py",)),
    Fault("cure mix weighed exactly", '"nitrate": cure, "nitrite": cure}', '"nitrate": cure, "nitrite": salt}',
          (f"{SPREAD}::test_a_scale_that_is_off_moves_what_it_weighs",)),
    Fault("fahrenheit without its 32", '(5 / 9, 45967 / 180)', '(5 / 9, 273.15)', (UNITS,)),
)  # fmt: skip


def place_of(fault: Fault, library: Path) -> tuple[Path, str]:
    """The file a fault lies in, and its text with the fault. Raises LookupError unless it matches exactly once."""
    found = []
    for path in sorted(library.rglob(fault.within or "*.py")):
        text = path.read_text(encoding="utf-8")
        found += [(path, text, match) for match in fault.pattern.finditer(text)]
    if len(found) != 1:
        raise LookupError(
            f'"{fault.name}" matches {len(found)} places, not one; mend its text in tests/mutation/run.py'
        )
    path, text, match = found[0]
    changed = text[: match.start()] + fault.put + text[match.end() :]
    compile(changed, str(path), "exec")
    return path, changed


def tests_of(fault: Fault, tree: Path) -> list[str]:
    """Its tests. Raises LookupError for a file that is not there: to run nothing, or everything, would prove nothing."""
    gone = [name for name in fault.tests if not (tree / name.split("::")[0]).exists()]
    if gone:
        raise LookupError(
            f'"{fault.name}" names {", ".join(gone)}, which is not there; mend it in tests/mutation/run.py'
        )
    return list(fault.tests)


def pytest_in(tree: Path, tests: list[str]) -> subprocess.CompletedProcess[str]:
    """Run tests of the copy against the copy."""
    settings = ["-x", "-q", "-p", "no:cacheprovider", "-o", "addopts=--import-mode=importlib"]
    env = os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-m", "pytest", *settings, *tests],
        cwd=tree,
        env=env,
        capture_output=True,
        text=True,
        timeout=600,
    )


def copy_of_tree(folder: Path) -> Path:
    """A copy, and proof that it is the copy that is imported."""
    tree = folder / "tree"
    tree.mkdir()
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, tree / name, ignore=shutil.ignore_patterns("__pycache__", ".ipynb_checkpoints"))
        elif source.exists():
            shutil.copy2(source, tree / name)
    code = "import curelab; print(curelab.__file__)"
    env = os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    where = subprocess.run(
        [sys.executable, "-c", code], cwd=tree, env=env, capture_output=True, text=True, check=True
    ).stdout.strip()
    if not Path(where).resolve().is_relative_to(tree.resolve()):
        raise RuntimeError(f"the copy is not what is imported, but {where}")
    return tree


def try_all(faults: tuple[Fault, ...]) -> list[str]:
    """Names of the survivors; prints one line for each fault."""
    survivors = []
    with tempfile.TemporaryDirectory() as folder:
        tree = copy_of_tree(Path(folder))
        whole = sorted({test for fault in faults for test in tests_of(fault, tree)})
        calm = pytest_in(tree, [test for test in whole if "::" not in test or test.split("::")[0] not in whole])
        if calm.returncode != 0:
            raise RuntimeError(f"the tests are red without any fault:\n{calm.stdout[-3000:]}")
        print("green: no fault", flush=True)
        for fault in faults:
            begin = time.perf_counter()
            path, changed = place_of(fault, tree / "curelab")
            right = path.read_text(encoding="utf-8")
            path.write_text(changed, encoding="utf-8")
            ran = pytest_in(tree, tests_of(fault, tree))
            path.write_text(right, encoding="utf-8")
            red = ran.returncode == 1
            seen = next(
                (
                    line.split(" - ")[0].removeprefix("FAILED ")
                    for line in ran.stdout.splitlines()
                    if line.startswith("FAILED")
                ),
                "",
            )
            told = seen if red else f"exit code {ran.returncode}"
            print(
                f"{'red' if red else 'SURVIVES'}: {fault.name} ({time.perf_counter() - begin:.1f} s) {told}", flush=True
            )
            if not red:
                survivors.append(fault.name)
    return survivors


def main(words: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--few", action="store_true", help="only the short list")
    parser.add_argument("--check", action="store_true", help="only look whether every fault finds its place")
    parser.add_argument("--only", default="", help="faults whose name contains this")
    asked = parser.parse_args(words)
    faults = tuple(fault for fault in FAULTS if asked.only in fault.name and (fault.few or not asked.few))
    if asked.check:
        for fault in faults:
            place_of(fault, ROOT / "curelab")
            tests_of(fault, ROOT)
        print(f"{len(faults)} faults find their place")
        return 0
    survivors = try_all(faults)
    print(
        f"{len(faults) - len(survivors)} of {len(faults)} faults were seen"
        + (f"; not seen: {', '.join(survivors)}" if survivors else "")
    )
    return 1 if survivors else 0


if __name__ == "__main__":
    raise SystemExit(main())
