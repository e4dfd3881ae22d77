"""A real browser, steered through a pipe by the protocol of its own developer tools."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

#: Names under which a browser that speaks this protocol is installed.
_NAMES = ("chromium", "chromium-browser")
_WORDS = (
    "--headless=new", "--remote-debugging-pipe", "--no-sandbox", "--disable-gpu",
    "--no-first-run", "--disable-extensions", "--disable-background-networking",
)  # fmt: skip


class Browser:
    """One window."""

    def __init__(self, words: list[str]) -> None:
        ours, theirs = os.pipe(), os.pipe()
        command = f"exec {shlex.join(words)} 3<&{ours[0]} 4>&{theirs[1]}"
        self._process = subprocess.Popen(
            ["/bin/bash", "-c", command],
            pass_fds=(ours[0], theirs[1]),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(ours[0])
        os.close(theirs[1])
        self._to, self._from = os.fdopen(ours[1], "wb"), os.fdopen(theirs[0], "rb")
        self._asked, self._session, self._rest = 0, "", b""
        target = self.tell("Target.createTarget", url="about:blank")["targetId"]
        attached = self.tell("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        self.tell("Page.enable")

    def tell(self, method: str, **params: Any) -> dict[str, Any]:
        """Give one order and wait for its answer."""
        self._asked += 1
        order: dict[str, Any] = {"id": self._asked, "method": method, "params": params}
        if self._session:
            order["sessionId"] = self._session
        self._to.write(json.dumps(order).encode() + b"\0")
        self._to.flush()
        while True:
            message = self._next()
            if message.get("id") == self._asked:
                assert "error" not in message, message
                result: dict[str, Any] = message["result"]
                return result

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._from.fileno(), 1 << 16)
            assert more, "the browser went away"
            self._rest += more
        one, _, self._rest = self._rest.partition(b"\0")
        message: dict[str, Any] = json.loads(one)
        return message

    def wait_for_page(self) -> None:
        """Until the page has loaded."""
        while self._next().get("method") != "Page.loadEventFired":
            pass

    def open(self, address: str) -> None:
        """Go to an address and wait for the page."""
        self.tell("Page.navigate", url=address)
        self.wait_for_page()

    def look(self, width: int, height: int = 740, scheme: str = "light") -> None:
        """A window of this size [CSS px] for somebody who prefers light or dark."""
        self.tell(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=True,
        )
        feature = {"name": "prefers-color-scheme", "value": scheme}
        self.tell("Emulation.setEmulatedMedia", features=[feature])

    def value(self, expression: str) -> Any:
        """What an expression is worth in the page."""
        found = self.tell("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def close(self) -> None:
        """End it; killed if it does not hear."""
        self._to.close()
        self._process.terminate()
        try:
            self._process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._from.close()


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    """A browser; skipped where none is installed."""
    name = next(filter(shutil.which, _NAMES), None)
    if name is None:
        pytest.skip("no browser is installed")
    window = Browser([name, *_WORDS, f"--user-data-dir={tmp_path / 'profile'}"])
    try:
        yield window
    finally:
        window.close()
