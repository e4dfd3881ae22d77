"""Another counter's value is no part made: what a reading is of is kept with it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from types import SimpleNamespace

from crib.acts.book_feed import CountNews, FeedNews, book_feed
from crib.acts.book_going_on import book_going_on
from crib.feed.documents import Devices, read_document
from crib.feed.follower import Follower, Place
from crib.store.checking import findings
from crib.store.engine import Store
from crib.store.feeds import list_gaps
from tests.agents import ScriptedAgent

HOUR = 60
A, B = "one:5000 sl-01 parts", "one:5000 sl-01 good"


def told(shop: SimpleNamespace, *readings: tuple[float, int, str | None]) -> FeedNews:
    counts = [
        CountNews(shop.start + timedelta(minutes=minutes), str(count), source=source)
        for minutes, count, source in readings
    ]
    return FeedNews("M1", "mtconnect", shop.start, counts)


def totals(store: Store, shop: SimpleNamespace, batches: Sequence[FeedNews]) -> list[int]:
    """Parts since the first reading, one reading after another; the database is whole."""
    with store.write() as tx:
        for news in batches:
            book_feed(tx, shop.start + timedelta(days=40), news)
    with store.read() as tx:
        assert list(findings(tx)) == []
        found = tx.exec_driver_sql("SELECT total FROM count_readings ORDER BY at").scalars()
        rows = list(found)
    return [row - rows[0] for row in rows]


def test_another_counter_of_the_machine_begins_a_new_baseline_and_so_does_the_first_again(
    store: Store, shop: SimpleNamespace
) -> None:
    batches = [
        told(shop, (0, 129, A), (1, 130, A)),
        told(shop, (10 * HOUR, 300, B)),
        told(shop, (10 * HOUR + 1, 301, B)),
        told(shop, (20 * HOUR, 133, A), (20 * HOUR + 1, 134, A)),
    ]

    assert totals(store, shop, batches) == [0, 1, 1, 2, 2, 3]
    with store.read() as tx:
        reasons = [gap.reason for gap in list_gaps(tx)]
    assert reasons == ["other_counter"]  # once an hour is enough


def test_counters_in_the_wrong_order_are_told_apart_as_in_the_right_one(
    store: Store, shop: SimpleNamespace
) -> None:
    right = [told(shop, (0, 130, A), (60, 150, A), (600, 300, B), (660, 320, B))]
    wrong = [
        told(shop, (660, 320, B)),
        told(shop, (60, 150, A)),
        told(shop, (600, 300, B), (0, 130, A)),
    ]

    assert totals(store, shop, wrong) == [0, 20, 20, 40]
    assert totals(store, shop, right) == [0, 20, 20, 40]


def test_the_same_counter_after_hours_without_a_feed_goes_on_counting(
    store: Store, shop: SimpleNamespace
) -> None:
    batches = [told(shop, (0, 130, A)), told(shop, (6 * 24 * HOUR, 5_000, A))]

    assert totals(store, shop, batches) == [0, 4_870]


def test_a_count_read_by_a_person_is_of_the_counter_that_was_read_before(
    store: Store, shop: SimpleNamespace
) -> None:
    batches = [
        told(shop, (0, 130, A)),
        told(shop, (10, 135, None)),
        told(shop, (20, 140, A)),
        told(shop, (30, 145, None)),
        told(shop, (40, 900, B)),
    ]

    assert totals(store, shop, batches) == [0, 5, 10, 15, 15]


def test_after_a_long_pause_a_jump_of_a_counter_without_a_name_is_no_part(
    store: Store, shop: SimpleNamespace
) -> None:
    # 45 s a part: at most 7,680 in four days
    four_days = 4 * 24 * HOUR
    batches = [told(shop, (0, 130, None)), told(shop, (four_days, 9_000, None))]

    assert totals(store, shop, batches) == [0, 0]
    with store.read() as tx:
        assert [gap.reason for gap in list_gaps(tx)] == ["long_pause"]


def test_what_the_machine_makes_in_a_long_pause_is_counted(
    store: Store, shop: SimpleNamespace
) -> None:
    four_days = 4 * 24 * HOUR
    batches = [told(shop, (0, 130, None)), told(shop, (four_days, 4_000, None))]

    assert totals(store, shop, batches) == [0, 3_870]


def test_the_short_way_of_many_machines_leaves_another_counter_to_the_long_one(
    store: Store, shop: SimpleNamespace
) -> None:
    with store.write() as tx:
        book_feed(tx, shop.start + timedelta(days=40), told(shop, (0, 130, A)))
        late = shop.start + timedelta(days=40)
        assert book_going_on(tx, late, [told(shop, (600, 300, B))]) == [False]
        assert book_going_on(tx, late, [told(shop, (600, 300, A))]) == [True]
        assert book_going_on(tx, late, [told(shop, (601, 301, None))]) == [True]
        assert book_going_on(tx, late, [told(shop, (602, 302, A))]) == [True]
        kept = tx.exec_driver_sql("SELECT DISTINCT source_id FROM count_readings").scalars()
        assert list(kept) == [1]


def _followed(where: str, wanted: str | None, agent: ScriptedAgent) -> str | None:
    follower = Follower("SL01", Place(agent.instance_id, 1), wanted, where=where)
    described = read_document(agent.probe())
    assert isinstance(described, Devices)
    follower.take(described)
    step = follower.take(read_document(agent.sample(1, 100)))
    return step.counts[-1].source


def test_address_device_and_item_make_the_counter_and_what_it_is_called_does_not() -> None:
    agent = ScriptedAgent()
    agent.say("p1pc", "130")
    agent.say("p1pcg", "300")

    by_choice = _followed("one:5000", None, agent)

    assert by_choice == "one:5000 sl-01 p1pc"
    assert _followed("one:5000", "parts", agent) == by_choice  # the same item by its name
    assert _followed("one:5000", "good", agent) == "one:5000 sl-01 p1pcg"
    assert _followed("two:5000", None, agent) == "two:5000 sl-01 p1pc"
