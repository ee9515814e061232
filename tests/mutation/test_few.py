"""The short list of deliberate faults: one of each kind that the house has been bitten by. All of them: python tests/mutation/run.py."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("run.py")


def script(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, str(SCRIPT), *words], capture_output=True, text=True, timeout=300)


def test_every_fault_of_the_long_list_finds_its_place():
    """A fault whose place has moved would silently try nothing."""
    ran = script("--check")
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.repeats
def test_the_tests_go_red_for_each_of_the_few():
    ran = script("--few")
    assert ran.returncode == 0, ran.stdout + ran.stderr[-3000:]
    lines = ran.stdout.splitlines()
    assert lines[0] == "green: no fault"
    named = (
        "sign of a link",
        "missing bath node",
        "celsius for kelvin",
        "water phase for whole meat",
        "ion for salt",
        "lb for kg",
    )
    for name in named:
        assert any(line.startswith(f"red: {name}") for line in lines), name
    assert "SURVIVES" not in ran.stdout
