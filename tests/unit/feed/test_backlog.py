"""Whether what a broker kept may have been cut short."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from crib.feed.backlog import LEAST_QUEUE, Backlog

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def brought(
    number: int, *, counted: bool = True, apart_s: float = 0.001, made: bool = False
) -> int:
    """How often a gap is told of so many messages."""
    backlog = Backlog()
    backlog.begin(AT, counted=counted)
    told = 0
    for n in range(1, number + 1):
        heard_at = AT + timedelta(seconds=n * apart_s)
        at = heard_at - timedelta(seconds=apart_s / 2) if made else AT - timedelta(hours=1)
        told += backlog.may_be_cut(heard_at, at)
    return told


def test_as_many_as_a_small_queue_holds_may_hide_more() -> None:
    assert brought(LEAST_QUEUE - 1) == 0
    assert brought(LEAST_QUEUE) == 1
    assert brought(5 * LEAST_QUEUE) == 1


def test_what_is_made_now_was_not_kept() -> None:
    assert brought(500, made=True) == 0
    assert brought(500, apart_s=2.5) == 0
    assert brought(500, counted=False) == 0
