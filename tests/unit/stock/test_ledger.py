"""What a stock move does to a balance."""

from __future__ import annotations

import pytest

from crib.errors import Invalid, NoneLeft
from crib.stock.ledger import MOST_PIECES, change_of, refuse_below_nothing


@pytest.mark.parametrize(
    ("move", "quantity", "change"),
    [("receipt", 4, 4), ("return", 1, 1), ("issue", 10, -10), ("scrap", 3, -3)],
)
def test_a_move_has_its_sign(move, quantity, change):
    assert change_of(move, quantity, 10, lot="L") == change


@pytest.mark.parametrize(("counted", "change"), [(0, -10), (10, 0), (12, 2)])
def test_a_stocktaking_sets_the_balance(counted, change):
    assert change_of("stocktaking", counted, 10, lot="L") == change


@pytest.mark.parametrize(
    ("move", "quantity"),
    [("issue", 0), ("issue", -1), ("stocktaking", -1), ("receipt", MOST_PIECES + 1), ("x", 1)],
)
def test_what_cannot_be_meant_is_refused(move, quantity):
    with pytest.raises(Invalid):
        change_of(move, quantity, 10, lot="L")


def test_nothing_goes_below_nothing():
    with pytest.raises(NoneLeft, match="10 are left"):
        change_of("issue", 11, 10, lot="L")
    refuse_below_nothing(3, -3, lot="L", what="It")
    with pytest.raises(NoneLeft):
        refuse_below_nothing(3, -4, lot="L", what="It")


@pytest.mark.parametrize(
    ("move", "quantity", "field", "detail"),
    [
        ("gift", 1, "move", "one of receipt, issue, return, scrap, stocktaking"),
        ("receipt", 0, "quantity", "from 1 to 10000000"),
        ("receipt", True, "quantity", "from 1 to 10000000"),
        ("stocktaking", 10_000_001, "quantity", "from 0 to 10000000"),
    ],
)
def test_what_cannot_be_meant_names_its_field(move, quantity, field, detail):
    with pytest.raises(Invalid) as refused:
        change_of(move, quantity, 10, lot="L-7")

    assert refused.value.errors == [{"field": field, "detail": detail}]
    assert (move if field == "move" else str(quantity)) in refused.value.sentence


def test_the_largest_move_is_taken():
    assert change_of("receipt", 10_000_000, 0, lot="L-7") == 10_000_000


def test_what_takes_more_than_there_is_says_how_many_are_left():
    with pytest.raises(NoneLeft) as refused:
        change_of("issue", 3, 2, lot="L-7")

    assert refused.value.facts == {"lot": "L-7", "on_hand": 2, "change": -3}
    assert refused.value.sentence.startswith("An issue of 3 takes more than lot L-7 has: 2 are")
