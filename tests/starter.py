"""Starts commands of the service from a process that has read its code already.

Reading the code takes most of a start, and many times that of opening the database again. A
process that was forked after it has everything else still to do: settings, database, server,
server processes. It runs as ``python -m tests.starter`` and obeys lines of JSON.
"""

from __future__ import annotations

import importlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any, Self


@dataclass
class Started:
    """A process that a ``Starter`` started; it leads a process group of its own.

    Attributes:
        pid: Its number, and that of its group.
        returncode: What it ended with, once ``poll`` or ``wait`` saw it end.
    """

    starter: Starter
    pid: int
    returncode: int | None = None

    def poll(self) -> int | None:
        """What it ended with; None while it runs."""
        if self.returncode is None:
            self.returncode = self.starter.ended(self.pid)
        return self.returncode

    def wait(self, timeout: float = 300.0) -> int:
        """Wait until it ends; what it ended with."""
        until = time.monotonic() + timeout
        while (code := self.poll()) is None:
            if time.monotonic() > until:
                raise subprocess.TimeoutExpired(str(self.pid), timeout)
            time.sleep(0.01)
        return code

    def send_signal(self, number: int) -> None:
        """Tell it something, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """Kill its whole group, unless it has ended."""
        if self.poll() is None:
            os.killpg(self.pid, signal.SIGKILL)


class Starter:
    """A process that starts others."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.starter"],
            cwd=Path(__file__).resolve().parents[1],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate(timeout=300)

    def start(
        self,
        words: Sequence[str],
        environment: dict[str, str],
        log: Path,
        out: Path | None = None,
    ) -> Started:
        """Start ``crib WORDS``.

        Args:
            words: The command.
            environment: All of its environment.
            log: Takes what it says on standard error.
            out: Takes what it says on standard output; None for the log too.
        """
        asked = {
            "words": list(words),
            "environment": environment,
            "log": str(log),
            "out": str(out or log),
        }
        pid = self._ask(asked)
        assert pid is not None
        return Started(self, pid)

    def run(
        self, words: Sequence[str], environment: dict[str, str]
    ) -> subprocess.CompletedProcess[str]:
        """Run ``crib WORDS`` to its end; what it said."""
        with tempfile.TemporaryDirectory() as folder:
            out, log = Path(folder) / "out", Path(folder) / "log"
            started = self.start(words, environment, log, out)
            try:
                code = started.wait()
            finally:
                started.kill()
            return subprocess.CompletedProcess(
                list(words), code, out.read_text(), log.read_text()
            )

    def ended(self, pid: int) -> int | None:
        """What a process that was started here ended with; None while it runs."""
        return self._ask({"ended": pid})

    def _ask(self, asked: dict[str, Any]) -> int | None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with self._lock:
            self._process.stdin.write(json.dumps(asked) + "\n")
            self._process.stdin.flush()
            answer: int | None = json.loads(self._process.stdout.readline())
        return answer


#: All that a process of the service reads, and nothing that opens a database.
_READ = (
    "granian.server.mp",
    "api.application",
    "api.demo",
    "api.serving",
    "api.server.front",
    "crib.demo.history",
    "crib.demo.process",
    "crib.feed.runner",
)


def _obey() -> None:
    from api.cli import main

    for name in _READ:
        importlib.import_module(name)

    for line in sys.stdin:
        asked = json.loads(line)
        answer: int | None
        if "ended" in asked:
            pid, status = os.waitpid(asked["ended"], os.WNOHANG)
            answer = os.waitstatus_to_exitcode(status) if pid else None
        else:
            answer = os.fork()
            if answer == 0:
                _become(asked["environment"], Path(asked["out"]), Path(asked["log"]))
                main(asked["words"], prog_name="crib")
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


def _become(environment: dict[str, str], out: Path, log: Path) -> None:
    os.setsid()
    os.environ.clear()
    os.environ.update(environment)
    nothing = os.open(os.devnull, os.O_RDONLY)
    how = os.O_WRONLY | os.O_APPEND | os.O_CREAT
    told, said = os.open(out, how), os.open(log, how)
    for source, target in ((nothing, 0), (told, 1), (said, 2)):
        os.dup2(source, target)


if __name__ == "__main__":
    _obey()
