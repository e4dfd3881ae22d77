"""Collects the body of a request under a deadline and a limit, before any thread is taken."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any

Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]

#: A body gets one more second for each of these [bytes].
RATE = 50_000
#: Bodies up to this size are accepted even if large ones fill the room [bytes].
_SMALL = 65_536


class NotTaken(Exception):  # noqa: N818 - an answer to the client
    """The body is refused.

    Args:
        kind: Name of the problem, as in ``/problems/KIND``.
        detail: What is wrong and what to do.
    """

    def __init__(self, kind: str, detail: str) -> None:
        super().__init__(detail)
        self.kind, self.detail = kind, detail


class Bodies:
    """Collects whole bodies, and counts the bytes it holds.

    Not thread-safe: used by one event loop.

    Args:
        most: Largest body taken [bytes].
        seconds: Longest that a small body may take to arrive [s].
        room: Most that all bodies together may hold [bytes]; small ones always fit.
    """

    def __init__(self, most: int, seconds: float, room: int | None = None) -> None:
        self.most, self.seconds = most, seconds
        self._room = 8 * most if room is None else room
        self._held = 0

    async def read(self, headers: Mapping[str, str], receive: Receive) -> bytes:
        """The whole body; give it back by :meth:`release` once it is worked through.

        Raises:
            NotTaken: It is too large, too slow, broken off, or too much is held already.
        """
        size = headers.get("content-length")
        if size is None and "transfer-encoding" not in headers:
            return b""
        if size is not None and (
            "transfer-encoding" in headers or not (size.isascii() and size.isdigit())
        ):
            raise NotTaken("bad-request", "The headers say in two ways how long the body is.")
        too_large = size is not None and int(size) > self.most
        if too_large and headers.get("expect", "").lower() == "100-continue":
            raise self._too_large()  # before it is sent
        parts: list[bytes] = []
        try:
            too_large = await self._collect(receive, parts, too_large=too_large)
        except BaseException as problem:
            self._held -= sum(map(len, parts))
            if not isinstance(problem, TimeoutError):
                raise
            raise NotTaken(
                "body-too-slow",
                f"The body was not whole after {self.seconds:g} s. Nothing was recorded. "
                "Send it again.",
            ) from None
        if too_large:
            raise self._too_large()
        return b"".join(parts)

    def release(self, body: bytes) -> None:
        """Give back the room of a body that was answered."""
        self._held -= len(body)

    async def _collect(self, receive: Receive, parts: list[bytes], *, too_large: bool) -> bool:
        """Fill ``parts``; whether it was too large (it is read on, so that clients hear it)."""
        size, more = 0, True
        clock = asyncio.get_running_loop().time
        begin = clock()
        async with asyncio.timeout(self.seconds) as patience:
            while more:
                message = await receive()
                if message["type"] != "http.request":
                    raise NotTaken(
                        "bad-request",
                        "The body broke off, or is not whole as its headers tell. "
                        "Nothing was recorded.",
                    )
                more = message.get("more_body", False)
                part = message.get("body", b"")
                if too_large or not part:
                    continue
                size += len(part)
                if size > self.most:
                    too_large = True
                    self._held -= sum(map(len, parts))
                    parts.clear()
                    continue
                parts.append(part)
                self._hold(len(part), size)
                patience.reschedule(begin + self.seconds + size / RATE)
        return too_large

    def _hold(self, added: int, size: int) -> None:
        self._held += added
        if size > _SMALL and self._held > self._room:
            raise NotTaken(
                "too-busy", "Too many large bodies arrive at once. Send it again in a moment."
            )

    def _too_large(self) -> NotTaken:
        return NotTaken(
            "too-large",
            f"The body is larger than the {self.most / 2**20:g} MB that this service takes "
            "(CRIB_MAX_BODY_MB). Nothing was recorded.",
        )
