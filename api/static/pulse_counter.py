"""Counts pulses and posts the count: one line on standard input is one finished part.

    PULSES | python3 pulse_counter.py http://HOST:8000 M1 count.json

PULSES is whatever prints a line when the input of this computer sees a pulse. The count is on
the disk before it is sent; what could not be sent is sent later, and twice does no harm.
"""

from __future__ import annotations

import json
import os
import sys
import urllib.error
import urllib.request
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from typing import Any

#: Observations in one call, and how long to wait before trying again [s].
MOST, PAUSE_S = 1000, 10.0


def load(path: Path) -> dict[str, Any]:
    """The count so far, and what was not sent yet."""
    if path.exists():
        return dict(json.loads(path.read_text(encoding="utf-8")))
    return {"count": 0, "unsent": []}


def keep(path: Path, state: dict[str, Any]) -> None:
    """Write the state so that it is whole whenever the power goes."""
    new = path.with_suffix(".new")
    with new.open("w", encoding="utf-8") as file:
        json.dump(state, file)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)


def pulse(state: dict[str, Any], at: datetime) -> None:
    """One more part."""
    state["count"] += 1
    state["unsent"].append({"at": at.isoformat(), "count": state["count"], "state": "ACTIVE"})


def post(address: str, machine: str, observations: list[Any]) -> None:
    """Send observations; an exception where they did not arrive."""
    body = json.dumps({"machine": machine, "observations": observations}).encode()
    request = urllib.request.Request(  # noqa: S310 - the address is ours
        f"{address}/v1/observations", body, {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=PAUSE_S) as answer:  # noqa: S310
        for one in json.load(answer)["refused"]:
            sys.stderr.write(f"{one['detail']}\n")


def send(path: Path, state: dict[str, Any], deliver: Callable[[list[Any]], None]) -> bool:
    """Send what waits, the oldest first; whether all of it arrived."""
    while state["unsent"]:
        batch = state["unsent"][:MOST]
        try:
            deliver(batch)
        except (OSError, ValueError) as problem:
            sys.stderr.write(f"not sent, tried again later: {problem}\n")
            return False
        del state["unsent"][: len(batch)]
        keep(path, state)
    return True


def main() -> None:
    """Count until standard input ends."""
    address, machine, name = sys.argv[1:4]
    path = Path(name)
    state, pulses = load(path), Queue[str]()

    def listen() -> None:
        for line in sys.stdin:
            pulses.put(line)
        pulses.put("")

    Thread(target=listen).start()
    while True:
        try:
            if not pulses.get(timeout=PAUSE_S):
                break
            pulse(state, datetime.now(UTC))
            keep(path, state)
        except Empty:
            pass
        send(path, state, lambda batch: post(address, machine, batch))


if __name__ == "__main__":
    main()
