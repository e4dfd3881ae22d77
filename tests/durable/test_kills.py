"""The service is killed while clients post, again and again: what they were told is so."""

from __future__ import annotations

import os
import random
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.clock import parse_instant, us_from_instant
from crib.store.checking import check
from crib.store.engine import Store
from tests.durable.clients import Client
from tests.durable.service import free_port, service, wait_until_it_answers
from tests.starter import Starter

#: How often the service is killed; CI sets more.
KILLS = int(os.environ.get("CRIB_TEST_KILLS", "12"))

#: Every twelfth start is the command line itself; the others are forked, which is quicker.
_BY_COMMAND = 12
#: Share of the kills that do not wait until the service answers.
_WHILE_STARTING = 0.25


def test_what_clients_were_told_is_in_the_database_after_every_kill(
    store: Store,
    shop: SimpleNamespace,
    starter: Starter,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seed = int(os.environ.get("CRIB_TEST_SEED", "1"))
    chance = random.Random(seed)  # noqa: S311 - when to kill
    port, log = free_port(), tmp_path / "log"
    clients = [
        Client(lambda: ("127.0.0.1", port), machine, shop.start) for machine in ("M1", "M2")
    ]
    for client in clients:
        client.start()

    starting = 0
    begun = time.monotonic()
    for number in range(KILLS):
        forked = None if number % _BY_COMMAND == 0 else starter
        with service(store.url, port, log, forked) as group:
            if chance.random() < _WHILE_STARTING:
                starting += 1
                time.sleep(chance.uniform(0.0, 0.6))
            else:
                wait_until_it_answers(group, port, log)
                _wait_for(chance.randint(1, 60), clients, log)
                time.sleep(chance.uniform(0.0, 0.02))
    each_s = (time.monotonic() - begun) / KILLS
    with service(store.url, port, log):
        for client in clients:
            client.ended.set()
        for client in clients:
            client.join(timeout=300)
            assert not client.is_alive()

    told = [client.told for client in clients]
    found = _rows(store, "SELECT count(*) FROM count_readings")
    stops = _rows(store, "SELECT count(*) FROM stops")
    kept = {machine: dict(_pairs(store, machine)) for machine in (c.machine for c in clients)}
    lost = sum(
        kept[client.machine].get(_us(at)) != count
        for client in clients
        for at, count in client.told.counts.items()
    )
    acknowledged = sum(len(one.counts) for one in told)
    with capsys.disabled():
        sys.stdout.write(
            f"\nkills {KILLS} (seed {seed}, {starting} of them while it started, {each_s:.2f} s"
            f" each), retries {sum(one.retries for one in told)}, counts acknowledged"
            f" {acknowledged}, found {found}, lost {lost}, doubled {found - acknowledged};"
            f" stops acknowledged {sum(one.stops for one in told)}, found {stops}\n"
        )
    assert [line for one in told for line in one.refused] == []
    assert acknowledged > 5 * KILLS
    assert sum(one.retries for one in told) >= KILLS
    assert lost == 0
    assert found == acknowledged == sum(one.accepted for one in told)
    assert stops == sum(one.stops for one in told)
    assert check(store) == []


def _wait_for(more: int, clients: list[Client], log: Path) -> None:
    """Wait until so many more counts are acknowledged, at a pace that the machine gives."""
    wanted = more + sum(client.told.accepted for client in clients)
    until = time.monotonic() + 300
    while sum(client.told.accepted for client in clients) < wanted:
        assert time.monotonic() < until, log.read_text()[-2000:]
        time.sleep(0.001)


def _rows(store: Store, query: str) -> int:
    with store.read() as tx:
        return int(tx.exec_driver_sql(query).scalar_one())


def _pairs(store: Store, machine: str) -> list[tuple[int, int]]:
    with store.read() as tx:
        rows = tx.exec_driver_sql(
            "SELECT at, count FROM count_readings WHERE machine_id ="
            " (SELECT id FROM machines WHERE machine = ?)",
            (machine,),
        )
        return [(row[0], row[1]) for row in rows]


def _us(at: str) -> int:
    return us_from_instant(parse_instant(at))
