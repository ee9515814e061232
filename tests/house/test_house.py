"""The house rules that a reader can check: imports go one way, the core stays light, tests and notebooks keep to their form."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from curelab.recipe.stages import STAGES, Stage

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = ROOT / "curelab"

# Rooms from the ground up. A room may import from lines above its own, never from its own line or below. A new room gets its line here.
RANKS = [
    ("letters", "unit_words", "lazy", "progress", "normal"),
    ("threads", "units", "sources"),
    ("results",),
    ("fields",),
    ("files",),
    ("tomlfile", "matter"),
    ("recipe",),
    ("weighing", "bodies", "transport"),
    ("engine",),
    ("limits",),
    ("forecast",),
    ("batch",),
    ("compose",),
    ("spread",),
    ("learn",),
    ("outcome",),
    ("show",),
    ("paper",),
    ("proof", "course"),
    ("lab", "failure"),
    ("__main__",),
]
# The table of rooms in DEVELOPERS.md names every room, so that a newcomer finds it.
RANK = {room: number for number, line in enumerate(RANKS) for room in line}
HEAVY = ("plotly", "ipywidgets", "pandas", "pint", "anywidget", "IPython")
FREE_TO_BE_HEAVY = ("lab", "__main__")  # these come in only when asked for, and so do the figures of plotly
MODULES = sorted(LIBRARY.rglob("*.py"))
parsed = cache(ast.parse)  # a dozen rules read every module


def room_of(path: Path) -> str:
    parts = path.relative_to(LIBRARY).parts
    return parts[0].removesuffix(".py")


def found_in_modules(asked: Callable[[Path], object]) -> dict[str, object]:
    """What is found in each module where anything is, by its name."""
    return {str(path.relative_to(LIBRARY)): found for path in MODULES if (found := asked(path))}


def imports_of(source: str, package: tuple[str, ...]) -> list[str]:
    """Absolute dotted names of all that a module imports, wherever in it; names for the type checker alone are left out."""
    found = []

    class Reader(ast.NodeVisitor):
        def visit_If(self, node):
            if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
                self.generic_visit(node)

        def visit_Import(self, node):
            found.extend(alias.name for alias in node.names)

        def visit_ImportFrom(self, node):
            base = package[: len(package) - node.level + 1] if node.level else ()
            stem = ".".join([*base, *([node.module] if node.module else [])])
            found.extend(f"{stem}.{alias.name}" for alias in node.names)

    Reader().visit(parsed(source))
    return found


def package_of(path: Path) -> tuple[str, ...]:
    return ("curelab", *path.relative_to(LIBRARY).parts[:-1])


def rooms_used(path: Path) -> set[str]:
    names = [name.split(".") for name in imports_of(path.read_text(encoding="utf-8"), package_of(path))]
    there = {room_of(module) for module in MODULES}
    return {parts[1] for parts in names if parts[0] == "curelab" and len(parts) > 1 and parts[1] in there}


def test_the_reader_of_imports():
    source = "import numpy.linalg\nfrom . import b\nfrom ..c import d\nfrom curelab.e import f\ndef g():\n    from .h import i\n"
    source += "if TYPE_CHECKING:\n    import pandas\n"
    assert imports_of(source, ("curelab", "matter")) == [
        "numpy.linalg", "curelab.matter.b", "curelab.c.d", "curelab.e.f", "curelab.matter.h.i",
    ]  # fmt: skip


def test_imports_go_one_way():
    def wrong(path):
        here = room_of(path)
        if path == LIBRARY / "__init__.py":
            return rooms_used(path) & {"show", "lab", "__main__"}
        assert here in RANK, f"give {here} its line in RANKS"
        return {room for room in rooms_used(path) - {here} if RANK.get(room, 99) >= RANK[here]}

    assert found_in_modules(wrong) == {}, (
        "a module may import neither what stands below its room in RANKS nor beside it"
    )


@pytest.mark.parametrize("path", sorted((LIBRARY / "transport").glob("*.py")), ids=lambda path: path.name)
def test_transport_knows_nothing_of_meat(path):
    for name in imports_of(path.read_text(encoding="utf-8"), package_of(path)):
        assert not name.startswith("curelab") or name.startswith("curelab.transport."), name
    words = re.findall(r"[a-z]+", path.read_text(encoding="utf-8").lower())
    if path.name != "__init__.py":  # which says just that
        assert not {"meat", "brine", "salt", "nitrite", "cook"} & set(words)


def test_no_heavy_import_at_the_top():
    def heavy(path):
        if room_of(path) in FREE_TO_BE_HEAVY or path == LIBRARY / "show" / "figures.py":
            return set()
        tree = parsed(path.read_text(encoding="utf-8"))
        top = ast.Module([node for node in tree.body if isinstance(node, (ast.Import, ast.ImportFrom))], [])
        return {name.split(".")[0] for name in imports_of(ast.unparse(top), package_of(path))} & set(HEAVY)

    assert found_in_modules(heavy) == {}


def loaded_by(code: str) -> set[str]:
    code = f"import sys, curelab; {code}; print(*sorted(name.split('.')[0] for name in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.split())


def test_importing_the_library_stays_light():
    loaded = loaded_by("curelab.simulate")
    assert "numpy" in loaded and not loaded & set(HEAVY)


def test_the_command_loads_nothing_before_it_can_meet_a_ctrl_c():
    loaded = loaded_by("import curelab.__main__")
    assert "argparse" in loaded and not loaded & {"numpy", "scipy", "tomlkit"}


KINDS = {kind.__name__ for kind in (*STAGES, Stage)} | {"AnyStage", "STAGES"}
MOST_ASKED = 15
MAY_ASK = ("recipe/", "engine/", "lab/forms.py")


def kinds_asked_for(source: str) -> int:
    """How often a module asks what kind of stage something is."""
    asked = [
        node for node in ast.walk(parsed(source))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("isinstance", "issubclass")
    ]  # fmt: skip
    return sum(
        any(getattr(part, "id", getattr(part, "attr", "")) in KINDS for part in ast.walk(call)) for call in asked
    )


def test_a_stage_says_what_it_is():
    """So nobody asks for its kind, and a new kind needs nobody to be told of it."""
    assert kinds_asked_for("isinstance(stage, (Brine, x.Soak)) and isinstance(stage, EquilibriumBrine)") == 1
    found = {
        path.relative_to(LIBRARY).as_posix(): count
        for path in MODULES
        if (count := kinds_asked_for(path.read_text(encoding="utf-8")))
    }
    assert sum(found.values()) <= MOST_ASKED, found
    assert [name for name in found if not name.startswith(MAY_ASK)] == []


CUTS = re.compile(r"(?<!self)(?<!piece)\.(edges|half|_cells|_values|_owner)\b|\barea\[0\]")


def test_how_a_body_is_cut_is_known_to_bodies_alone():
    """Whoever reads the cells of a body would have to learn of every new shape."""
    assert all(CUTS.search(words) for words in ("body.edges[0]", "chain.half", "x.area[0] > 0", "body._cells"))
    assert not CUTS.search("by_halves.area[1]")
    others = [path for path in MODULES if room_of(path) != "bodies"]
    found = {
        path.relative_to(LIBRARY).as_posix(): sorted(
            {match[0] for match in CUTS.finditer(path.read_text(encoding="utf-8"))}
        )
        for path in others
    }
    assert {name: words for name, words in found.items() if words} == {}
    inside = "".join(path.read_text(encoding="utf-8") for path in (LIBRARY / "bodies").glob("*.py"))
    assert CUTS.search(inside)


REACHED = """
import sys, pkgutil, curelab
listed = dir(curelab)
rooms = {each.name for each in pkgutil.iter_modules(curelab.__path__) if not each.name.startswith("_")}
assert rooms <= set(listed), rooms - set(listed)
assert set(curelab.__all__) <= set(listed)
for room in rooms - {"lab"}:
    assert getattr(curelab, room).__name__ == f"curelab.{room}"
for room in ("engine", "learn", "matter", "paper", "recipe", "show"):
    package = getattr(curelab, room)
    inside = {each.name for each in pkgutil.iter_modules(package.__path__)}
    assert inside <= set(dir(package))
curelab.learn.fit.fit, curelab.paper.sheet.sheet, curelab.show.pictures.over_time, curelab.matter.solutes.diffusivity
assert curelab.sweep is curelab.forecast.sweep and callable(curelab.fit_profile)
try:
    curelab.unicorn
except AttributeError as error:
    assert "no attribute 'unicorn'" in str(error)
else:
    raise AssertionError
print(*sorted(name.split(".")[0] for name in sys.modules))
"""


def test_every_room_is_reached_and_completed_without_what_is_heavy():
    loaded = subprocess.run([sys.executable, "-c", REACHED], cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert loaded.returncode == 0, loaded.stderr
    assert not set(loaded.stdout.split()) & {"plotly", "pandas", "ipywidgets", "anywidget", "IPython"}


def test_no_absolute_tolerance_that_proves_nothing():
    """Diffusivities are 1e-10 and amounts are grams in kg: a coarse absolute tolerance passes anything."""
    coarse = re.compile(r"abs=1e-[0-5]\b")
    assert coarse.search("approx(x, abs=1e-" + "4)") and not coarse.search("approx(x, abs=1e-" + "12)")
    files = sorted((ROOT / "tests").rglob("*.py"))
    assert len(files) > 10
    found = [str(path.relative_to(ROOT)) for path in files if coarse.search(path.read_text(encoding="utf-8"))]
    assert not found


def cell_faults(source: str) -> list[str]:
    """What is wrong with a code cell of a notebook."""
    lines = [line for line in source.splitlines() if line.strip() and not line.strip().startswith(("#", "%"))]
    faults = [f"{len(lines)} code lines"] if len(lines) > 5 else []
    if re.search(r"^\s*(async\s+)?(def|class)\s", source, re.MULTILINE):
        faults.append("def or class")
    return faults


def test_every_room_stands_in_the_table_for_contributors():
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("| room |")[1].split("###")[0]
    told = {
        name.rstrip("/")
        for cell in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE)
        for name in re.findall(r"`([a-z_/]+)`", cell)
    }
    assert told == set(RANK) - {"__main__"}


def test_every_table_is_described():
    words = (ROOT / "datasets" / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in sorted((ROOT / "datasets").glob("*.csv")) if path.name not in words] == []


def literals(source: str) -> set[float]:
    """Numbers that stand in the code of a module (not in its docstrings)."""
    return {
        node.value
        for node in ast.walk(parsed(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool)
    }


def test_seconds_and_minutes_of_a_day_have_one_home():
    """units.DAY, HOUR and MINUTES_A_DAY; engine and spread follow when they are made one."""
    assert literals('"""86400"""\nx = 86400.0 * (1440 + True)') == {86400.0, 1440}

    def spelled_out(path):
        return literals(path.read_text(encoding="utf-8")) & {86400, 172800, 43200, 3600, 1440, 2880}

    assert set(found_in_modules(spelled_out)) <= {"units.py", "unit_words.py"}


ASKS_AND_RAISES = re.compile(r"(?<!os\.path)\.(exists|is_file|is_dir|resolve|absolute)\(")


def test_whether_a_file_is_there_is_asked_of_os_path():
    """`Path` raises at a name that is too long, at a loop of links, in a folder that is gone or closed; os.path answers, and opening tells why."""
    assert ASKS_AND_RAISES.search("path.exists()") and not ASKS_AND_RAISES.search("os.path.exists(path)")

    def asked(path):
        lines = path.read_text(encoding="utf-8").splitlines()
        return [line for line in lines if ASKS_AND_RAISES.search(line) and "__file__" not in line]

    assert set(found_in_modules(asked)) <= {"sources.py"}  # which asks of its own tables


def test_what_the_command_of_the_readme_leaves_out_ci_asks_for():
    """All repeats but the deliberate faults: a path or another word would leave some out for good."""
    asked = re.findall(r"-m pytest (.*-m repeats.*)$", (ROOT / ".ci" / "run").read_text(encoding="utf-8"), re.MULTILINE)
    assert asked == ["-q -n 2 -m repeats --ignore tests/mutation"]


# -- size --------------------------------------------------------------------------------------------------------------

MOST_LINES, MOST_OF_A_MODULE = 60, 350
LONG_FUNCTIONS: dict[str, str] = {}  # "room/module.py: name" -> why it stays in one piece


def long_functions(source: str, most: int = MOST_LINES) -> list[str]:
    """Names of the functions that take more than so many lines, docstring and all."""
    return [
        node.name
        for node in ast.walk(parsed(source))
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and node.end_lineno - node.lineno + 1 > most
    ]


def test_no_function_is_longer_than_a_page():
    assert long_functions("def f():\n    x = 1\n    return x\n", most=2) == ["f"]

    def long(path):
        here = path.relative_to(LIBRARY)
        return [n for n in long_functions(path.read_text("utf-8")) if f"{here}: {n}" not in LONG_FUNCTIONS]

    assert found_in_modules(long) == {}


def test_a_long_module_says_why():
    def says_nothing(path):
        source = path.read_text(encoding="utf-8")
        words = " ".join((ast.get_docstring(parsed(source)) or "").split())
        return len(source.splitlines()) > MOST_OF_A_MODULE and "Longer than others because" not in words

    assert found_in_modules(says_nothing) == {}, "split it, or say in its docstring: Longer than others because ..."


# -- private names -----------------------------------------------------------------------------------------------------


def private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__")


def private_names_of_others(source: str) -> list[str]:
    """Private names that a module imports, and private attributes that it reads of anything but itself, unless it defines them."""
    tree = parsed(source)
    own = {node.name for node in ast.walk(tree) if isinstance(node, (ast.FunctionDef, ast.ClassDef))}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            own.add(node.attr)
        if isinstance(node, (ast.Assign, ast.AnnAssign)):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            own |= {target.id for target in targets if isinstance(target, ast.Name)}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            found += [alias.name for alias in node.names if private(alias.name)]
        if isinstance(node, ast.Attribute) and private(node.attr) and node.attr not in own:
            of_itself = isinstance(node.value, ast.Name) and node.value.id in ("self", "cls")
            found += [] if of_itself else [ast.unparse(node)]
    return found


def test_the_reader_of_private_names():
    source = "from .a import _b, c\nclass D:\n    def _e(self):\n        return self._f + c._g + other._e()\n"
    assert private_names_of_others(source) == ["_b", "c._g"]


def test_private_names_stay_in_their_module():
    assert found_in_modules(lambda path: private_names_of_others(path.read_text(encoding="utf-8"))) == {}


def test_modules_are_imported_by_name_in_few_places_only():
    """An import by name is not seen by the reader of imports: submodules that come in when asked for, and the picture of a result."""
    found = {str(path.relative_to(LIBRARY)) for path in MODULES if "import_module" in path.read_text(encoding="utf-8")}
    assert found == {"lazy.py", "results.py", "lab/__init__.py"}  # the lab brings in its benches as it always did
    (named,) = re.findall(r'import_module\("([^"]*)"\)', (LIBRARY / "results.py").read_text(encoding="utf-8"))
    assert named == "curelab.show.draw"
