"""What JupyterLab is told about its page: settings, what is left out of it, what comes later, and a small part of ours."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from .assets import joined

_SETTINGS: dict[str, dict[str, Any]] = {
    "@jupyterlab/apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    "@jupyterlab/apputils-extension/themes": {"adaptive-theme": True},  # light or dark, as the system says
    "@jupyterlab/statusbar-extension/plugin": {"visible": False},
    "@jupyterlab/notebook-extension/tracker": {"windowingMode": "none", "scrollPastEnd": False},
    # A cook needs no tool for cells; what stays is "run it all again" and the state of the kernel.
    "@jupyterlab/notebook-extension/panel": {
        "toolbar": [
            {"name": name, "disabled": True}
            for name in ("save", "insert", "cut", "copy", "paste", "run", "interrupt", "restart", "cellType")
        ]
    },
    "@jupyterlab/docmanager-extension/plugin": {"autosave": False},
    # In threads of their own two messages of one page would be worked at together, and a page that is left be kept before it was changed.
    "@jupyterlab/apputils-extension/kernels-settings": {"commsOverSubshells": "disabled"},
}

# Parts of JupyterLab for people who write programs, each with what cannot work without it. The side bars are nearly empty without them.
_LEFT_OUT = (
    "@jupyterlab/application-extension:dirty",  # asks before a page is left; ours are saved by themselves
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
    "@jupyterlab/running-extension",
    "@jupyterlab/workspaces-extension:sidebar",
    "@jupyterlab/toc-extension",
    "@jupyterlab/notebook-extension:toc",
    "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/notebook-extension:export",  # has the server load all that converts notebooks
    "@jupyterlab/lsp-extension",
    "@jupyterlab/notebook-extension:language-server",
    "@jupyterlab/fileeditor-extension:language-server",
    "@jupyterlab/terminal-extension",
    "@jupyterlab/apputils-extension:announcements",
    "@jupyterlab/apputils-extension:licenses-client",
    "@jupyterlab/apputils-extension:licenses-plugin",
    "@jupyterlab/audio-extension",
    "@jupyterlab/celltags-extension",
    "@jupyterlab/console-extension",
    "@jupyterlab/notebook-extension:code-console",
    "@jupyterlab/tooltip-extension:consoles",
    "@jupyterlab/csvviewer-extension",
    "@jupyterlab/help-extension",
    "@jupyterlab/hub-extension",
    "@jupyterlab/imageviewer-extension",
    "@jupyterlab/inspector-extension",
    "@jupyterlab/javascript-extension",
    "@jupyterlab/json-lines-extension",
    "@jupyterlab/launcher-extension",
    "@jupyterlab/logconsole-extension",
    "@jupyterlab/markdownviewer-extension",
    "@jupyterlab/mermaid-extension",
    "@jupyterlab/pdf-extension",
    "@jupyterlab/settingeditor-extension",
    "@jupyterlab/video-extension",
    "@jupyterlab/apputils-extension:state",  # ours stands for it, see extension.js
    "@jupyterlab/translation-extension:plugin",  # a menu of languages, for which the server looks through all packages
    "@jupyterlab/notebook-extension:update-raw-mimetype",  # asks for all that converts notebooks, too
)
# JupyterLab would look whether it could build itself anew, which keeps the server from all else for a second.
_NOT_ASKED = {"buildCheck": False, "buildAvailable": False}
# Parts that others brought and that no page of ours shows, each with the sort of output that it draws: loaded when there is one.
_LATER = {"jupyterlab-plotly": "application/vnd.plotly.v1+json"}
_OURS = {"name": "curelab", "load": "extension.js", "extension": "./extension", "mimeExtension": "./mimeExtension"}


def write_page(private: Path) -> None:
    """Settings, what is left out, style sheet and our own part, into the folder of this run."""
    for name, value in _SETTINGS.items():
        _write(private / "settings" / f"{name}.jupyterlab-settings", json.dumps(value))
    left_out = {"disabledExtensions": dict.fromkeys(_LEFT_OUT, True), **_NOT_ASKED}
    _write(private / "config" / "labconfig" / "page_config.json", json.dumps(left_out))
    _write(private / "config" / "custom" / "custom.css", joined("plain.css"))
    ours = private / "data" / "labextensions" / _OURS["name"]
    _write(ours / _OURS["load"], joined("extension.js"))
    _write(ours / "package.json", json.dumps({"name": _OURS["name"], "version": "1", "jupyterlab": {"_build": _OURS}}))


def _write(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")


def parts_of_page(handler: Any, config: dict[str, Any]) -> dict[str, Any]:
    """The `config` of a page as JupyterLab made it, with what can wait told apart; called by JupyterLab for each page that it sends."""
    parts = config["federated_extensions"]
    now = [part for part in parts if part["name"] not in _LATER]
    later = [{**part, "mimeType": _LATER[part["name"]]} for part in parts if part["name"] in _LATER]
    return {**config, "federated_extensions": now, "later": later}


__all__ = ["parts_of_page", "write_page"]
