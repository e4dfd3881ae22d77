"""What was booked of a feed grows old: no machine is called followed when nobody hears it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.acts.book_feed import FeedNews, book_feed
from crib.sentence import Instant, Sentence, sentence
from crib.store.engine import Store
from crib.store.feed_beat import Beat, BeatFile


@pytest.fixture
def beat(store: Store, clock: Any) -> Any:
    """The process says something of itself now."""

    def write(**more: Any) -> None:
        assert store.path is not None
        BeatFile(store.path).write(Beat(4711, "toolroom", clock.at, clock.at, **more))

    return write


def hear(store: Store, clock: Any, machine: str = "M1", source: str = "mtconnect") -> None:
    with store.write() as tx:
        book_feed(tx, clock.at, FeedNews(machine, source, clock.at))


def feed_of(client: FlaskClient, machine: str = "M1") -> dict[str, Any]:
    (found,) = client.get(f"/v1/feeds?machine={machine}").get_json()["items"]
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("source", ["mtconnect", "mqtt", "folder"])
@pytest.mark.parametrize("beats", [True, False])
def test_none_is_followed_that_was_not_heard_for_a_minute(
    client: FlaskClient, store: Store, clock: Any, beat: Any, source: str, beats: bool
) -> None:
    beat()
    hear(store, clock, source=source)
    assert feed_of(client)["state"] == "following"
    for _ in range(7):
        clock.go_on(seconds=10)
        if beats:
            beat()
        state = feed_of(client)["state"]
    assert state != "following"
    assert (state == "stopped") == (not beats)


def test_a_machine_whose_counts_are_posted_is_silent_between(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    bench.post(
        "/v1/counts", 202, machine="M2", readings=[{"at": clock.at.isoformat(), "count": 5}]
    )
    assert feed_of(client, "M2")["state"] == "following"
    clock.go_on(seconds=61)
    assert (feed_of(client, "M2")["state"], feed_of(client, "M2")["problem"]) == (
        "silent",
        None,
    )
    # nobody needs the process for it
    assert client.get("/v1/feeds/health").status_code == 200


def test_a_machine_whose_counter_was_only_read_at_a_mount_is_followed_by_nobody(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), part_count=7)
    clock.go_on(seconds=61)
    assert feed_of(client)["state"] == "silent"


def test_a_clock_that_was_set_back_keeps_no_dead_feed_alive(
    client: FlaskClient, store: Store, clock: Any, beat: Any
) -> None:
    clock.go_on(hours=1)
    beat()
    hear(store, clock)
    clock.go_on(hours=-1)

    assert feed_of(client)["state"] == "stopped"
    assert client.get("/v1/feeds/health").status_code == 503


def test_a_process_that_follows_one_machine_follows_no_other(
    client: FlaskClient, store: Store, clock: Any, beat: Any
) -> None:
    hear(store, clock, "M1")
    hear(store, clock, "M2")
    clock.go_on(seconds=90)
    beat(machine="M1")
    hear(store, clock, "M1")

    assert feed_of(client, "M1")["state"] == "following"
    other = feed_of(client, "M2")
    assert (other["state"], "follows only M1" in other["problem"]) == ("stopped", True)


def test_health_looks_at_a_machine_where_it_is_asked_to(
    client: FlaskClient, store: Store, clock: Any, beat: Any
) -> None:
    beat()
    with store.write() as tx:
        gone = FeedNews("M1", "mtconnect", None, state="waiting", problem="No answer.")
        book_feed(tx, clock.at, gone)

    assert client.get("/v1/feeds/health").status_code == 200
    asked = client.get("/v1/feeds/health?machine=M1")
    assert (asked.status_code, asked.get_json()["problem"]) == (503, "No answer.")
    assert client.get("/v1/feeds/health?machine=M9").status_code == 404


def test_a_beat_on_a_full_disk_needs_no_room(store: Store, clock: Any, beat: Any) -> None:
    assert store.path is not None
    beat(problem="x" * 5000)
    file = store.path.with_name(f"{store.path.name}-feed-beat")
    size = file.stat().st_size
    beat(ended=True)
    assert (file.stat().st_size, file.stat().st_mode & 0o777) == (size, 0o600)
    found = BeatFile(store.path).read()
    assert found is not None
    assert found.ended
    file.write_bytes(b"half of it {")
    assert BeatFile(store.path).read() is None


@pytest.mark.parametrize(
    "problem",
    [
        sentence(
            "Nothing can be written since {since}.", since=Instant("2026-01-05T07:00:00Z")
        ),
        sentence("{why}", why="x" * 3000),
        "a plain text",
    ],
    ids=["template and values", "too long", "plain"],
)
def test_what_fails_is_read_as_it_was_written(store: Store, beat: Any, problem: str) -> None:
    assert store.path is not None
    beat(problem=problem)

    found = BeatFile(store.path).read()

    assert found is not None
    assert found.problem == problem[:1000]
    fits = isinstance(problem, Sentence) and len(problem) < 1000
    assert isinstance(found.problem, Sentence) == fits
