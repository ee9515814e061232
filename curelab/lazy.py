"""Submodules that come in when they are first asked for (PEP 562), so that a package shows all it has and loads none of it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from pkgutil import iter_modules
from typing import Any


def lazily(package: str, more: Mapping[str, str] | None = None) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """(`__getattr__`, `__dir__`) for the package of this name; `more`: names that stand in one of its modules, `{"sweep": "forecast.sweep"}`."""
    whole, named = sys.modules[package], dict(more or {})
    modules = {each.name for each in iter_modules(whole.__path__) if not each.name.startswith("_")}

    def get(name: str) -> Any:
        if name in named:
            found = getattr(import_module(f"{package}.{named[name]}"), name)
            setattr(whole, name, found)
            return found
        if name in modules:
            return import_module(f"{package}.{name}")
        raise AttributeError(f"module {package!r} has no attribute {name!r}")

    return get, lambda: sorted({*whole.__dict__, *modules, *named})
