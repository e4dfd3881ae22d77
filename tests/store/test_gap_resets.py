"""A gap says whether a reset may hide in it; one that shows late charges what came before."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import pytest

from crib.acts.book_feed import CountNews, FeedNews, GapNews, book_feed
from crib.store.engine import Store
from crib.store.feeds import list_gaps
from crib.views.gap_resets import show_gap
from tests.store.conftest import Acts


def _hear(
    store: Store, shop: SimpleNamespace, minutes: float, count: int, gap: GapNews | None
) -> None:
    at = shop.start + timedelta(minutes=minutes)
    with store.write() as tx:
        book_feed(tx, at, FeedNews("M1", "mtconnect", at, [CountNews(at, str(count))], gap=gap))


@pytest.mark.parametrize(
    ("minutes", "count", "hides"),
    [
        (10, 103, False),  # 45 s a part: 103 parts since zero take longer
        (120, 130, True),
        (120, 40, False),  # a reset that shows is none that hides
    ],
)
def test_a_reset_may_hide_where_the_machine_had_the_time(
    store: Store, shop: SimpleNamespace, minutes: float, count: int, hides: bool
) -> None:
    _hear(store, shop, 0, 100, None)
    _hear(store, shop, minutes, count, GapNews("overrun", 5, 9))
    _hear(store, shop, minutes + 5, count + 2, None)

    with store.read() as tx:
        (gap,) = [show_gap(tx, one) for one in list_gaps(tx)]
    assert (gap.count_before, gap.count_after, gap.reset_may_hide) == (100, count, hides)


def test_a_gap_without_a_count_after_it_says_nothing_yet(
    store: Store, shop: SimpleNamespace
) -> None:
    _hear(store, shop, 0, 100, None)
    at = shop.start + timedelta(minutes=9)
    with store.write() as tx:
        book_feed(tx, at, FeedNews("M1", "mtconnect", at, gap=GapNews("restarted")))

    with store.read() as tx:
        (gap,) = [show_gap(tx, one) for one in list_gaps(tx)]
    assert (gap.count_before, gap.count_after, gap.reset_may_hide) == (100, None, None)


def test_a_reset_that_shows_late_charges_the_parts_before_it(acts: Acts) -> None:
    acts.counts((0, 100), (120, 160))
    assert acts.one("SELECT max(total) FROM count_readings") == 160

    acts.counts((40, 150))
    acts.counts((45, 3))
    acts.counts((41, 151))

    # 51 up to the reset, 160 since zero
    assert acts.one("SELECT max(total) - 100 FROM count_readings") == 51 + 160
