"""The lowest versions that pyproject.toml allows of what curelab itself needs, as constraints for pip; `.ci/run` tests with them once.

python tests/house/lowest.py > lowest.txt
pip install --constraint lowest.txt .
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2] / "pyproject.toml"


def lowest(requirements: list[str]) -> list[str]:
    """Each requirement pinned to its lower bound. Raises ValueError for one without.

    >>> lowest(["numpy>=2.0,<3", "jinja2>=3.1"])
    ['numpy==2.0', 'jinja2==3.1']
    """
    pinned = []
    for requirement in requirements:
        found = re.match(r"([A-Za-z0-9._-]+)\s*>=\s*([0-9][0-9a-z.]*)", requirement)
        if found is None:
            raise ValueError(f'"{requirement}" says no lowest version; write it like "name>=1.2,<2"')
        pinned.append(f"{found[1]}=={found[2]}")
    return pinned


if __name__ == "__main__":
    print(*lowest(tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["dependencies"]), sep="\n")
