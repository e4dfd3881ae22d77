"""Clients that lose their connection, repeat themselves, and remember what they were told."""

from __future__ import annotations

import http.client
import json
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any


@dataclass
class Told:
    """What the service answered to one client, by what it had sent."""

    counts: dict[str, int] = field(default_factory=dict)
    accepted: int = 0
    stops: int = 0
    retries: int = 0
    refused: list[str] = field(default_factory=list)


class Client(threading.Thread):
    """Posts batches of counts and stops of one machine until told to end.

    Each act has one key, and is sent again with it until it is answered.

    Args:
        address: Gives host and port; they may change with each start of the service.
        machine: Whose counts.
        begin: Instant of the first count.
    """

    def __init__(
        self, address: Callable[[], tuple[str, int]], machine: str, begin: datetime
    ) -> None:
        super().__init__(name=f"client {machine}", daemon=True)
        self.machine = machine
        self._address, self._begin = address, begin
        self._connection: http.client.HTTPConnection | None = None
        self.ended = threading.Event()
        self.told = Told()

    def run(self) -> None:
        """Post until ended; the last act is answered before the thread ends."""
        number = 0
        while not self.ended.is_set():
            size = 1 + number % 7
            readings = []
            for _ in range(size):
                number += 1
                at = self._begin + timedelta(seconds=30 * number)
                readings.append({"at": at.isoformat(), "count": number})
            answer = self._insist("/v1/counts", {"readings": readings})
            if answer is not None:
                self.told.accepted += answer["accepted"]
                self.told.counts |= {one["at"]: one["count"] for one in readings}
            if number % 3 == 0:
                # a stop has no key of its own in the database: only the act's key keeps it one
                body = {"reason": f"stop {number}", "at": readings[-1]["at"]}
                if self._insist("/v1/stops", body) is not None:
                    self.told.stops += 1
        self._leave()

    def _leave(self) -> None:
        if self._connection is not None:
            self._connection.close()
        self._connection = None

    def _insist(self, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
        key = uuid.uuid4().hex
        sent = json.dumps({"machine": self.machine} | body)
        headers = {"Content-Type": "application/json", "Idempotency-Key": key}
        while True:
            try:
                if self._connection is None:
                    self._connection = http.client.HTTPConnection(*self._address(), timeout=60)
                self._connection.request("POST", path, sent, headers)
                response = self._connection.getresponse()
                answer = json.loads(response.read())
            except (OSError, http.client.HTTPException, ValueError):
                self.told.retries += 1
                self._leave()
                time.sleep(0.02)
                continue
            if response.status in (201, 202):
                found: dict[str, Any] = answer
                return found
            if response.status in (503, 507):
                self.told.retries += 1
                time.sleep(0.05)
                continue
            self.told.refused.append(f"{response.status} {answer}")
            return None
