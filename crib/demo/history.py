"""Six weeks of the invented shop, recorded fact by fact in an empty database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from crib.demo.floor import new_shop, step
from crib.demo.looks import look, looks_between
from crib.demo.operators import report_now
from crib.demo.shop import import_demo
from crib.demo.staging import stage
from crib.demo.state import TICK, Shop
from crib.errors import Refusal
from crib.records.catalogue import CATALOGUE
from crib.store.engine import Store
from crib.store.facts import last_fact_id
from crib.store.record_reads import count_records

#: Length of the history.
DAYS = 42

#: Called with the days written and the days in all.
Progress = Callable[[int, int], None]

#: Slips that every history holds, however short.
_SLIPS = (
    "wrong scan",
    "counts twice",
    "counts late",
    "count absurd",
    "counter reset",
    "holder lent",
    "edge chipped",
)


def build(
    store: Store,
    *,
    present: datetime,
    seed: int = 1,
    progress: Progress | None = None,
    days: int = DAYS,
) -> Shop:
    """Fill an empty database with the invented shop and its history up to an instant.

    Args:
        store: The database; it must be empty.
        present: End of the history.
        seed: Same seed and present, same history.
        progress: Called with the days written and the days in all.
        days: Length of the history [d], at least 2.

    Returns:
        The shop as it is then, for ``crib.demo.moving`` to go on with.

    Raises:
        Refusal: The database holds something already; nothing was changed.
    """
    present = present.astimezone(UTC)
    refuse_used(store)
    begin = present.replace(minute=0, second=0, microsecond=0) - timedelta(days=days)
    first_day = begin.date()
    import_demo(store, seed, first_day)
    shop = new_shop(seed, first_day, begin)
    shop.slips = list(_SLIPS)
    for day in range(days):
        until = begin + timedelta(days=day + 1) if day < days - 1 else present
        with store.write() as tx:
            seen = shop.at
            while shop.at + TICK <= until:
                step(shop)
            shop.journal.write(tx)
            for at in looks_between(shop.hours, seen, shop.at):
                look(tx, at)
            if day == days - 1:
                for machine in shop.machines.values():  # or they seem silent until it goes on
                    report_now(shop, machine, shop.at)
                stage(shop, tx, present)
            shop.journal.write(tx)
        if progress:
            progress(day + 1, days)
    return shop


def refuse_used(store: Store) -> None:
    """Refuse a database that holds anything of a shop.

    Raises:
        Refusal: It does.
    """
    with store.read() as tx:
        held = ["facts"] if last_fact_id(tx) else []
        held += [one.name for one in CATALOGUE if count_records(tx, one, include_retired=True)]
    if held:
        raise Refusal(
            f"The database {store.url} holds {held[0]} already: the demo wants an empty one of "
            "its own, so that it mixes with nothing."
        )
