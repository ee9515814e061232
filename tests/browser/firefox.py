"""Drives the Firefox of the system by WebDriver BiDi, the protocol it speaks itself: open a page, ask it something, press keys.

Playwright's own way to Firefox asks for commands that the long-term release does not know yet.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from typing import Any

from ending import end

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
KEYS = {"ArrowLeft": "\ue012", "ArrowRight": "\ue014", "Tab": "\ue004", "Enter": "\ue007"}
STARTS, ANSWERS = 60.0, 120.0  # s


class Firefox:
    """One tab. `problems`: what the page has logged as an error; `outside`: requests to other machines."""

    def __init__(self, address: str) -> None:
        import websocket

        self._socket = websocket.create_connection(f"{address}/session", timeout=ANSWERS, suppress_origin=True)
        self._count, self.problems, self.outside = 0, [], []  # type: ignore[var-annotated]
        self.send("session.new", capabilities={})
        self._tab = self.send("browsingContext.getTree")["contexts"][0]["context"]
        self.send("session.subscribe", events=["log.entryAdded", "network.beforeRequestSent"])

    def send(self, method: str, **params: Any) -> dict[str, Any]:
        """What Firefox answers to a command; events that come meanwhile are noted. Raises AssertionError for a refusal."""
        self._count += 1
        self._socket.send(json.dumps({"id": self._count, "method": method, "params": params}))
        while (told := json.loads(self._socket.recv())).get("id") != self._count:
            self._note(told)
        assert told["type"] == "success", told
        return told["result"]

    def _note(self, event: dict[str, Any]) -> None:
        about = event.get("params", {})
        if event.get("method") == "log.entryAdded" and about["level"] == "error":
            self.problems.append(about["text"])
        if event.get("method") == "network.beforeRequestSent":
            url = about["request"]["url"]
            if url.startswith("http") and "//127.0.0.1:" not in url:
                self.outside.append(url)

    def close(self) -> None:
        self._socket.close()

    def open(self, address: str) -> None:
        self.send("browsingContext.navigate", context=self._tab, url=address, wait="complete")

    def ask(self, expression: str) -> Any:
        """The value of an expression in the page: a text, a number, true or false."""
        target = {"context": self._tab}
        told = self.send("script.evaluate", expression=expression, target=target, awaitPromise=True)
        assert told["type"] == "success", told
        return told["result"].get("value")

    def wait(self, expression: str, seconds: float = ANSWERS) -> None:
        """Until an expression is true. Raises AssertionError where it does not become so."""
        begun = time.monotonic()
        while not self.ask(f"Boolean({expression})"):
            assert time.monotonic() - begun < seconds, expression
            time.sleep(0.2)

    def press(self, key: str) -> None:
        """One key, pressed and let go, where the focus is."""
        steps = [{"type": kind, "value": KEYS[key]} for kind in ("keyDown", "keyUp")]
        self.send("input.performActions", context=self._tab, actions=[{"type": "key", "id": "keys", "actions": steps}])


@contextlib.contextmanager
def running_firefox() -> Iterator[Firefox]:
    """A Firefox without a window and with a profile of its own."""
    assert FIREFOX is not None
    with tempfile.TemporaryDirectory(prefix="firefox-", ignore_cleanup_errors=True) as profile:
        command = [
            FIREFOX,
            "--headless",
            "--no-remote",
            "--profile",
            profile,
            "--remote-debugging-port",
            "0",
            "about:blank",
        ]
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        try:
            assert process.stderr is not None
            begun = time.monotonic()
            for line in process.stderr:
                if "WebDriver BiDi listening on" in line:
                    break
                assert time.monotonic() - begun < STARTS, "Firefox does not say where it listens"
            else:
                raise AssertionError("Firefox ended before it listened")
            with contextlib.closing(Firefox(line.rsplit(" ", 1)[1].strip())) as page:
                yield page
        finally:
            end(process, signal.SIGTERM)
            process.stderr.close()
