"""The writer of all feeds: what many machines say within a moment, each answered by itself."""

from __future__ import annotations

import asyncio
from datetime import timedelta
from types import SimpleNamespace

from crib.acts.book_feed import CountNews, FeedNews
from crib.feed.problems import NotBooked
from crib.feed.writer import Writer
from crib.records.catalogue import MACHINES
from crib.store.engine import Store
from crib.store.records import insert_record
from tests import loops

NAMES = [f"W{number:02d}" for number in range(12)]


def _say(
    store: Store, shop: SimpleNamespace, news: list[FeedNews]
) -> list[BaseException | None]:
    async def booked() -> list[BaseException | None]:
        writer = Writer(store, lambda: shop.start + timedelta(hours=1))
        running = asyncio.create_task(writer.run())
        answers = await asyncio.gather(*map(writer.book, news), return_exceptions=True)
        writer.end()
        await running
        return answers

    return loops.run(booked())


def _news(shop: SimpleNamespace, name: str, minute: int, text: str) -> FeedNews:
    at = shop.start + timedelta(minutes=minute)
    return FeedNews(name, "mqtt", at, [CountNews(at, text)])


def test_one_bad_word_among_many_machines_spoils_none(
    store: Store, shop: SimpleNamespace
) -> None:
    with store.write() as tx:
        for name in NAMES:
            insert_record(tx, MACHINES, {"machine": name})
    first = [_news(shop, name, 1, "10") for name in NAMES]
    second = [_news(shop, name, 2, "12") for name in NAMES]
    second[3] = _news(shop, NAMES[3], 2, "1")  # set to zero by hand
    second[4] = _news(shop, NAMES[4], 2, "out of order")

    answers = _say(store, shop, [*first, _news(shop, "no such", 1, "1")])
    again = _say(store, shop, [*second, first[0]])

    assert answers[:-1] == [None] * len(NAMES)
    assert isinstance(answers[-1], NotBooked)
    assert again == [None] * (len(NAMES) + 1)
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT m.machine, r.count, r.life, r.total FROM count_readings AS r"
            " JOIN machines AS m ON m.id = r.machine_id ORDER BY m.machine, r.at"
        ).fetchall()
        aside = tx.exec_driver_sql("SELECT reason FROM count_refusals").scalars().all()
    wanted = []
    for place, name in enumerate(NAMES):
        wanted.append((name, 10, 0, 10))
        if place != 4:
            wanted.append((name, 1, 1, 11) if place == 3 else (name, 12, 0, 12))
    assert [tuple(row) for row in rows] == wanted
    assert aside == ["not_whole"]
