"""What machines say of themselves is booked once, with the place up to which it was read."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.book_feed import CountNews, FeedNews, GapNews, StateNews, book_feed
from crib.errors import NotKnown
from crib.store.engine import Store
from crib.store.feeds import list_feeds, list_gaps


def _news(shop: SimpleNamespace, minutes: list[int], **more: object) -> FeedNews:
    counts = [CountNews(shop.start + timedelta(minutes=m), str(m)) for m in minutes]
    heard = shop.start + timedelta(hours=2)
    return FeedNews("M1", "mtconnect", heard, counts, **more)  # type: ignore[arg-type]


def _rows(store: Store, table: str, columns: str) -> list[tuple[object, ...]]:
    with store.read() as tx:
        found = tx.exec_driver_sql(f"SELECT {columns} FROM {table} ORDER BY 1, 2, 3")
        return [tuple(row) for row in found]


def _book(store: Store, shop: SimpleNamespace, news: FeedNews) -> None:
    with store.write() as tx:
        book_feed(tx, shop.start + timedelta(hours=2), news)


def test_counts_and_the_place_are_kept_together(store: Store, shop: SimpleNamespace) -> None:
    _book(store, shop, _news(shop, [1, 2, 3], place=(7, 55)))

    assert [row[1] for row in _rows(store, "count_readings", "at, count, life")] == [1, 2, 3]
    with store.read() as tx:
        (feed,) = list_feeds(tx)
    assert (feed.instance_id, feed.next_sequence, feed.state) == (7, 55, "following")
    assert feed.counted_at == shop.start + timedelta(minutes=3)
    assert feed.lag_s == 117 * 60


def test_a_problem_keeps_the_place(store: Store, shop: SimpleNamespace) -> None:
    _book(store, shop, _news(shop, [1], place=(7, 55)))

    _book(store, shop, FeedNews("M1", "mtconnect", None, state="waiting", problem="No answer."))

    with store.read() as tx:
        (feed,) = list_feeds(tx)
    assert (feed.state, feed.problem, feed.next_sequence) == ("waiting", "No answer.", 55)
    assert feed.heard_at == shop.start + timedelta(hours=2)


def test_an_unreadable_count_is_kept_aside(store: Store, shop: SimpleNamespace) -> None:
    at = shop.start + timedelta(minutes=1)

    _book(store, shop, FeedNews("M1", "mqtt", at, [CountNews(at, "three")]))

    ((_, reading, _),) = _rows(store, "count_refusals", "id, reading, reason")
    assert '"three"' in str(reading)


def test_a_gap_is_on_record(store: Store, shop: SimpleNamespace) -> None:
    _book(store, shop, _news(shop, [1], gap=GapNews("overrun", 20, 55)))

    with store.read() as tx:
        (gap,) = list_gaps(tx)
    assert (gap.machine, gap.reason, gap.from_sequence, gap.until_sequence) == (
        "M1",
        "overrun",
        20,
        55,
    )


def test_an_unknown_machine_books_nothing(store: Store, shop: SimpleNamespace) -> None:
    with pytest.raises(NotKnown):
        _book(store, shop, FeedNews("M99", "mqtt", shop.start))

    assert _rows(store, "feeds", "machine_id, source, state") == []


def test_a_long_rest_is_on_record_and_a_short_one_is_not(
    store: Store, shop: SimpleNamespace
) -> None:
    def said(minute: float, text: str | None) -> StateNews:
        return StateNews(shop.start + timedelta(minutes=minute), "EXECUTION", "path1", text)

    states = [
        said(0, "ACTIVE"),
        said(1, "READY"),
        said(1.5, "ACTIVE"),
        said(2, "STOPPED"),
        said(9, "ACTIVE"),
        said(10, None),  # unknown is no rest
        said(30, "ACTIVE"),
    ]

    _book(store, shop, FeedNews("M1", "mtconnect", shop.start, states=states))

    rests = _rows(store, "machine_rests", "value, ends_at - begins_at, path")
    assert rests == [("STOPPED", 7 * 60_000_000, "path1")]


def test_number_and_asset_of_one_instant_belong_together(
    store: Store, shop: SimpleNamespace
) -> None:
    def said(second: float, kind: str, text: str) -> StateNews:
        return StateNews(shop.start + timedelta(seconds=second), kind, "path1", text)

    states = [
        said(1, "TOOL_NUMBER", "1"),
        said(1, "TOOL_ASSET_ID", "TL-1"),
        said(5, "TOOL_NUMBER", "2"),  # the asset follows a little later, as another change
        said(9, "TOOL_NUMBER", "3"),
        said(9, "TOOL_ASSET_ID", "TL-3"),
    ]

    _book(store, shop, FeedNews("M1", "mtconnect", shop.start, states=states))

    seen = _rows(store, "tools_seen", "tool_number, asset, path")
    assert seen == [(1, "TL-1", "path1"), (3, "TL-3", "path1")]


def test_an_asset_that_changes_alone_is_of_the_number_before_it(
    store: Store, shop: SimpleNamespace
) -> None:
    def said(second: float, kind: str, text: str) -> StateNews:
        return StateNews(shop.start + timedelta(seconds=second), kind, "path1", text)

    first = [said(1, "TOOL_NUMBER", "1"), said(1, "TOOL_ASSET_ID", "TL-1")]
    exchanged = [said(600, "TOOL_ASSET_ID", "TL-2"), said(605, "EXECUTION", "READY")]
    later = [said(700, "EXECUTION", "ACTIVE")]
    next_tool = [said(800, "TOOL_ASSET_ID", "TL-9"), said(801, "TOOL_NUMBER", "9")]

    for states in (first, exchanged, later, next_tool):
        _book(store, shop, FeedNews("M1", "mtconnect", shop.start, states=states))

    seen = _rows(store, "tools_seen", "tool_number, asset, path")
    assert seen == [(1, "TL-1", "path1"), (1, "TL-2", "path1")]


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_any_order_and_any_repeats_give_the_same_readings(
    store: Store, shop: SimpleNamespace, data: st.DataObject
) -> None:
    # a counter that is reset once; pieces of it come late, twice and out of order
    clean = [(m, m if m < 30 else m - 30) for m in range(0, 60, 3)]
    pieces = data.draw(st.lists(st.lists(st.sampled_from(clean), min_size=1), min_size=1))
    pieces.append(data.draw(st.permutations(clean)))
    machine = data.draw(st.sampled_from(["M1", "M2"]))

    def book(order: list[list[tuple[int, int]]]) -> list[tuple[object, ...]]:
        with store.write() as tx:
            undo = tx.begin_nested()
            for piece in order:
                counts = [
                    CountNews(shop.start + timedelta(minutes=minute), str(count))
                    for minute, count in piece
                ]
                present = shop.start + timedelta(hours=2)
                book_feed(tx, present, FeedNews(machine, "mqtt", present, counts))
            rows = tx.exec_driver_sql(
                "SELECT at, count, life, total FROM count_readings ORDER BY at"
            )
            found = [tuple(row) for row in rows]
            undo.rollback()
        return found

    assert book(pieces) == book([clean])
