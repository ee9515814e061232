"""Joins the scripts and style sheets of a widget into one text; there is no build step and nothing is fetched from elsewhere."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).parent


def joined(*names: str) -> str:
    """The files of this folder called `names`, one after the other.

    A module sent to the page as text cannot import its neighbours, so what two widgets share stands in a file of its own and is
    put in front of both. Raises FileNotFoundError for a name that is not there.

    >>> joined("say.css").startswith("/*")
    True
    """
    return "\n".join((_HERE / name).read_text(encoding="utf-8") for name in names)
