"""Rows of announced counter settings: verdicts on a count still to come."""

from __future__ import annotations

import json
from typing import NamedTuple

from crib.clock import instant_from_us, print_instant
from crib.floor.told_set import HOLDS_US, ToldSet
from crib.sentence import kept_beside
from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.engines.chosen import WORDS
from crib.store.verdict_rows import TOLD, insert_verdict

_WAITING = f"""
    SELECT v.fact_id, r.at, r.reading
    FROM count_verdicts AS v {WORDS.JOIN_IN_ORDER} count_refusals AS r ON r.id = v.refusal_id
    WHERE r.machine_id = ? AND r.path = ? AND r.reason = '{TOLD}'
      AND v.verdict = 'counter_set'
      AND NOT EXISTS (SELECT 1 FROM facts AS x WHERE x.reverses_id = v.fact_id)
      AND NOT EXISTS (SELECT 1 FROM count_readings AS c WHERE c.batch_id = v.fact_id
                      AND c.machine_id = r.machine_id AND c.path = r.path
                      AND c.at BETWEEN r.at - {HOLDS_US + 1} AND r.at + {HOLDS_US + 1})
    ORDER BY r.at, v.fact_id
"""  # noqa: S608 - our own words alone


class WaitingSet(NamedTuple):
    """A setting that no count has shown yet, and the fact that announced it."""

    fact_id: int
    told: ToldSet


def waiting_sets(tx: Tx, counter: Counted) -> list[WaitingSet]:
    """Settings of a counter that no count has shown yet, in order of their instants."""
    rows = tx.exec_driver_sql(_WAITING, tuple(counter))
    return [
        WaitingSet(fact_id, ToldSet(at, json.loads(reading)["count"]))
        for fact_id, at, reading in rows
    ]


def insert_setting(tx: Tx, fact_id: int, counter: Counted, told: ToldSet, detail: str) -> None:
    """Write an announced setting: the count to come, and the verdict on it."""
    at = print_instant(instant_from_us(told.at_us))
    reading = json.dumps({"at": at, "count": told.said}, sort_keys=True)
    refusal_id = tx.exec_driver_sql(
        "INSERT INTO count_refusals (batch_id, machine_id, path, at, reading, reason, detail,"
        " detail_sentence) VALUES (?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
        (fact_id, *counter, told.at_us, reading, TOLD, detail, kept_beside(detail)),
    ).scalar_one()
    insert_verdict(tx, fact_id, int(refusal_id), "counter_set")
