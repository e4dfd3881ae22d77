"""The application as the server runs it: first the whole body, then a thread of its lane.

A request takes no thread before it is complete. Reading, writing and the health check have
separate threads, so none of them waits for another kind.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, MutableMapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from api.http.json_body import dump_json
from api.problems import PROBLEM_TYPE, web_problem
from api.server.bodies import RATE, Bodies, NotTaken, Receive
from api.server.wsgi_call import WholeAnswer, WsgiApp, call, environ_of, header_map

_log = logging.getLogger("crib.api")

Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

_THREADS = {"watch": 1, "read": 4, "write": 4}
_WATCHED = ("/healthz", "/readyz")
#: Whole requests of one lane that may wait for a thread.
_MOST_WAITING = 1000
#: An answer longer than this goes out in pieces, so that a reader who stops is noticed [bytes].
_PIECE = 262_144


class Lane:
    """Threads for one kind of request, and how many requests wait or run."""

    def __init__(self, name: str, threads: int) -> None:
        self.threads = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self.most = threads + _MOST_WAITING
        self.taken = 0


class Front:
    """An ASGI application over a WSGI one.

    Args:
        app: The WSGI application.
        bodies: Collects the bodies.
    """

    def __init__(self, app: WsgiApp, bodies: Bodies) -> None:
        self._app = app
        self._bodies = bodies
        self._lanes = {name: Lane(name, threads) for name, threads in _THREADS.items()}
        self._answering = 0
        self._stopping = False

    def stop(self) -> None:
        """Accept no more requests."""
        self._stopping = True

    @property
    def idle(self) -> bool:
        """Whether no request is being answered."""
        return not self._answering and not any(lane.taken for lane in self._lanes.values())

    async def __call__(
        self, scope: MutableMapping[str, Any], receive: Receive, send: Send
    ) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        try:
            await self._serve(scope, receive, send)
        except NotTaken as refused:
            await self._answer(_problem(refused, scope["path"]), send)

    async def _serve(
        self, scope: MutableMapping[str, Any], receive: Receive, send: Send
    ) -> None:
        headers = header_map(scope)
        body = await self._bodies.read(headers, receive)
        self._answering += 1
        try:
            lane = self._lane(scope)
            environ = environ_of(scope, headers, body)
            await self._answer(await self._in_thread(lane, environ), send)
        finally:
            self._answering -= 1
            self._bodies.release(body)

    def _lane(self, scope: MutableMapping[str, Any]) -> Lane:
        if self._stopping:
            raise NotTaken(
                "too-busy", "The service is stopping. Nothing was recorded. Send it again."
            )
        if scope["path"] in _WATCHED:
            name = "watch"
        else:
            name = "read" if scope["method"] in ("GET", "HEAD", "OPTIONS") else "write"
        lane = self._lanes[name]
        if lane.taken >= lane.most:
            raise NotTaken(
                "too-busy", "Too many requests wait. Nothing was recorded. Send it again."
            )
        return lane

    async def _in_thread(self, lane: Lane, environ: dict[str, Any]) -> WholeAnswer:
        loop = asyncio.get_running_loop()
        answered: asyncio.Future[WholeAnswer] = loop.create_future()

        def ready(answer: WholeAnswer) -> None:
            loop.call_soon_threadsafe(_set, answered, answer)

        def done(work: Future[None]) -> None:
            lane.taken -= 1
            problem = work.exception()
            if problem is not None:
                _log.error("fault outside the application", exc_info=problem)
            if not answered.done():
                answered.set_exception(RuntimeError("the application gave no answer"))

        lane.taken += 1
        work = lane.threads.submit(call, self._app, environ, ready)
        work.add_done_callback(lambda work: loop.call_soon_threadsafe(done, work))
        return await answered

    async def _answer(self, answer: WholeAnswer, send: Send) -> None:
        start = {"type": "http.response.start", "status": answer.status}
        await send(start | {"headers": answer.headers})
        body = answer.body
        if len(body) <= _PIECE:
            await send({"type": "http.response.body", "body": body})
            return
        try:
            async with asyncio.timeout(self._bodies.seconds + len(body) / RATE):
                for begin in range(0, len(body), _PIECE):
                    piece = body[begin : begin + _PIECE]
                    await send({"type": "http.response.body", "body": piece, "more_body": True})
                await send({"type": "http.response.body", "body": b""})
        except TimeoutError:
            _log.warning("a client took too long to read an answer; it was cut off")


def _set(answered: asyncio.Future[WholeAnswer], answer: WholeAnswer) -> None:
    if not answered.done():
        answered.set_result(answer)


def _problem(refused: NotTaken, path: str) -> WholeAnswer:
    """A refusal without the application; it closes the connection, since the body is unread."""
    problem = web_problem(refused.kind, refused.detail, path)
    body = dump_json(problem)
    headers = [
        (b"content-type", PROBLEM_TYPE.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-cache"),
        (b"connection", b"close"),
    ]
    if problem["status"] == 503:
        headers.append((b"retry-after", b"1"))
    return WholeAnswer(int(problem["status"]), headers, body)
