"""A shop with a hidden truth, people who mostly do what lists say, and what lists say of it.

By default three machines and one shift; ``CRIB_TEST_SHOP_DAYS=20`` runs all ten for 20 days.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta

from api import create_app
from api.settings import Settings
from crib.acts.import_shop import import_shop
from crib.store.checking import check
from tests.rest.conftest import SetClock
from tests.shops.checks import what_is_wrong
from tests.shops.files import MACHINES, write_shop
from tests.shops.people import STEP, ZONE_INFO, Shop

DAYS = float(os.environ.get("CRIB_TEST_SHOP_DAYS", "0.4"))


def test_all_lists_agree_after_each_shift_and_leave_nothing_out(store, tmp_path):
    names = list(MACHINES) if DAYS >= 1 else ["Bittern", "Coot", "Ibis"]
    begin = datetime(2027, 3, 8, 5, 30, tzinfo=ZONE_INFO).astimezone(UTC)
    clock = SetClock(begin)
    write_shop(tmp_path / "files", names, (begin + STEP).isoformat())
    assert not import_shop(store, tmp_path / "files").errors
    client = create_app(Settings(store.url), store, clock).test_client()
    shop = Shop(client, clock, store, names, int(os.environ.get("CRIB_TEST_SEED", "1")))
    wrong: list[str] = []
    looks = 0

    while clock() < begin + timedelta(days=DAYS):
        there = clock.go_on(seconds=STEP.total_seconds()).astimezone(ZONE_INFO)
        hour = there.hour + there.minute / 60
        shop.machines_run()
        if there.weekday() < 5 and 6 <= hour < 22:
            shop.work(hour)
        if hour in (6, 14, 22):
            wrong += [f"{there:%a %H:%M} {one}" for one in what_is_wrong(shop)]
            looks += 1

    assert looks >= 2
    assert shop.told["mounts 201"] > 5
    assert not shop.refused_sisters
    assert not shop.faults
    assert wrong == []
    assert check(store) == []
