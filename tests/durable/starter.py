"""Starts commands of the service from a process that has read its code already.

Reading the code takes most of a start, and many times that of opening the database again. A
process that was forked after it has everything else still to do: settings, database, server,
server processes. It runs as ``python -m tests.durable.starter`` and obeys lines of JSON.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Self


class Starter:
    """A process that starts others; all its children are waited for by ``wait``."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.durable.starter"],
            cwd=Path(__file__).resolve().parents[2],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate(timeout=60)

    def start(self, words: Sequence[str], environment: dict[str, str], log: Path) -> int:
        """Start ``crib WORDS`` as a process group of its own; the number of both."""
        return self._ask({"words": list(words), "environment": environment, "log": str(log)})

    def wait(self, pid: int) -> None:
        """Wait until a process that was started here is gone."""
        self._ask({"gone": pid})

    def _ask(self, asked: dict[str, Any]) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


def _obey() -> None:
    # all that a server process reads, and nothing that opens a database
    import granian.server.mp  # noqa: F401 - read before the fork

    import api.application
    import api.demo
    import api.server.front
    import api.serving  # noqa: F401 - as above
    from api.cli import main

    for line in sys.stdin:
        asked = json.loads(line)
        if "gone" in asked:
            os.waitpid(asked["gone"], 0)
            answer = 0
        else:
            answer = os.fork()
            if answer == 0:
                _become(asked["environment"], Path(asked["log"]))
                main(asked["words"], prog_name="crib")
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()


def _become(environment: dict[str, str], log: Path) -> None:
    os.setsid()
    os.environ.clear()
    os.environ.update(environment)
    nothing = os.open(os.devnull, os.O_RDONLY)
    said = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    for source, target in ((nothing, 0), (said, 1), (said, 2)):
        os.dup2(source, target)


if __name__ == "__main__":
    _obey()
