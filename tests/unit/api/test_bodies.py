"""How bodies are collected: deadlines that grow with what came, and a bound on what is held."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest

from api.server.bodies import Bodies, NotTaken
from tests.loops import run

CHUNKED = {"transfer-encoding": "chunked"}


def _receive(*parts: bytes, then: Callable[[], Any] | None = None) -> Callable[[], Any]:
    async def messages() -> AsyncIterator[dict[str, Any]]:
        for part in parts:
            yield {"type": "http.request", "body": part, "more_body": True}
        if then is not None:
            await then()
        yield {"type": "http.request", "body": b"", "more_body": False}

    told = messages()
    return lambda: anext(told)


def _read(bodies: Bodies, receive: Callable[[], Any], headers: dict[str, str]) -> bytes:
    return run(bodies.read(headers, receive))


def test_a_request_without_a_body_is_not_waited_for():
    assert _read(Bodies(100, 1), _receive(then=asyncio.Event().wait), {}) == b""


def test_a_whole_body_is_handed_on_and_its_room_given_back():
    bodies = Bodies(100_000, 60, room=150_000)
    large = b"x" * 100_000

    assert _read(bodies, _receive(large), CHUNKED) == large
    with pytest.raises(NotTaken) as refused:
        _read(bodies, _receive(large), CHUNKED)
    assert refused.value.kind == "too-busy"
    assert _read(bodies, _receive(b"small"), CHUNKED) == b"small"

    bodies.release(large)
    assert _read(bodies, _receive(large), CHUNKED) == large


def test_a_body_that_stalls_is_refused_and_holds_nothing():
    bodies = Bodies(100_000, 0.01, room=100_000)
    for _ in range(3):
        with pytest.raises(NotTaken) as refused:
            _read(bodies, _receive(b"x" * 100, then=asyncio.Event().wait), CHUNKED)
        assert refused.value.kind == "body-too-slow"

    assert len(_read(bodies, _receive(b"x" * 100_000), CHUNKED)) == 100_000


def test_a_large_body_may_take_longer_than_a_small_one():
    async def a_moment() -> None:
        await asyncio.sleep(0.05)

    with pytest.raises(NotTaken):
        _read(Bodies(10**7, 0.001), _receive(b"x", then=a_moment), CHUNKED)
    whole = _read(Bodies(10**7, 0.001), _receive(b"x" * 5_000_000, then=a_moment), CHUNKED)
    assert len(whole) == 5_000_000


@pytest.mark.parametrize(
    "headers",
    [
        {"content-length": "3,3"},
        {"content-length": "-1"},
        {"content-length": "٣"},
        {"content-length": "3"} | CHUNKED,
    ],
)
def test_a_length_that_can_be_read_in_two_ways_is_refused(headers: dict[str, str]):
    with pytest.raises(NotTaken) as refused:
        _read(Bodies(100, 1), _receive(b"abc"), headers)
    assert refused.value.kind == "bad-request"


def test_a_body_whose_length_says_too_much_is_not_even_kept():
    bodies = Bodies(10, 60)
    with pytest.raises(NotTaken) as refused:
        _read(bodies, _receive(b"x" * 8, b"x" * 8), {"content-length": "16"})
    assert refused.value.kind == "too-large"
    with pytest.raises(NotTaken) as refused:
        _read(bodies, _receive(b"x" * 8, b"x" * 8), CHUNKED)
    assert refused.value.kind == "too-large"
