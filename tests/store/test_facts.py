"""Facts are added, listed and taken back by a new one; none is edited away."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crib.errors import Conflict, NotKnown
from crib.store.facts import add_fact, get_fact, list_facts


def test_a_fact_says_who_when_and_what_was_noted(store, shop):
    at, recorded = shop.start, shop.start + timedelta(minutes=3)
    with store.write() as tx:
        number = add_fact(tx, "count", at, recorded, shop.ids["people"]["B2"], "late shift")
        fact = get_fact(tx, number)

    assert (fact["kind"], fact["at"], fact["recorded_at"]) == ("count", at, recorded)
    assert (fact["by"], fact["by_name"], fact["note"]) == ("B2", "Olek Varn", "late shift")
    assert fact["reverses_id"] is fact["reversed_by_id"] is None


def test_a_reversal_names_the_fact_that_it_takes_back(store, shop):
    at = shop.start
    with store.write() as tx:
        mount = add_fact(tx, "mount", at, at, None)
        count = add_fact(tx, "count", at, at, None)
        reversal = add_fact(tx, "reversal", at, at, None, "wrong scan", reverses_id=mount)

        assert get_fact(tx, mount)["reversed_by_id"] == reversal
        assert get_fact(tx, reversal)["reverses_id"] == mount
        with pytest.raises(Conflict, match=f"taken back already, by fact {reversal}"):
            add_fact(tx, "reversal", at, at, None, reverses_id=mount)
        with pytest.raises(Conflict, match="record the fact again"):
            add_fact(tx, "reversal", at, at, None, reverses_id=reversal)
        with pytest.raises(NotKnown):
            add_fact(tx, "reversal", at, at, None, reverses_id=999)
        assert get_fact(tx, count)["reversed_by_id"] is None


def test_a_kind_that_is_not_known_never_gets_in(store, shop):
    with pytest.raises(Exception, match="known_kind"), store.write() as tx:
        add_fact(tx, "guess", shop.start, shop.start, None)


def test_facts_are_paged_last_first_and_filtered(store, shop):
    person = shop.ids["people"]["B1"]
    with store.write() as tx:
        for minute in range(10):
            at = shop.start + timedelta(minutes=minute)
            kind = "count" if minute % 2 else "stop"
            add_fact(tx, kind, at, at, person if minute < 4 else None)

        whole = [fact["id"] for fact in list_facts(tx)[0]]
        paged, before = [], None
        while page := list_facts(tx, before_id=before, limit=3)[0]:
            paged += [fact["id"] for fact in page]
            before = paged[-1]

        assert whole == paged == sorted(whole, reverse=True)
        assert len(whole) == 10
        assert {fact["kind"] for fact in list_facts(tx, kinds=("stop",))[0]} == {"stop"}
        assert len(list_facts(tx, kinds=("stop", "mount"))[0]) == 5
        assert len(list_facts(tx, person_id=person)[0]) == 4
        span = {
            "at_from": shop.start + timedelta(minutes=2),
            "at_before": shop.start + timedelta(minutes=5),
        }
        assert len(list_facts(tx, **span)[0]) == 3


def test_numbers_of_facts_are_never_given_twice(store, shop):
    def add() -> int:
        with store.write() as tx:
            return add_fact(tx, "stop", shop.start, shop.start, None)

    assert add() < add() < add()
