"""Stock moves, regrinds and stops: the ledger is the balance."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crib.acts.move_stock import MoveStock, Regrind, StockMoved, move_stock, regrind
from crib.acts.report_stop import ReportStop, report_stop
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Conflict, Invalid, NoneLeft, NotKnown


def move(
    acts: Any, what: str, quantity: int, lot: str = "LOT-I1", minutes: float = 0
) -> StockMoved:
    return move_stock(acts.tx, acts.present, MoveStock(lot, what, quantity, acts.at(minutes)))


def balance(acts: Any, lot: str = "LOT-I1") -> tuple[int, int]:
    """What the lot says, and what its ledger says."""
    ledger = acts.one(
        "SELECT lots.quantity + coalesce(sum(change), 0) FROM lots LEFT JOIN stock_moves"
        " ON lot_id = lots.id WHERE lot = ?",
        lot,
    )
    return acts.one("SELECT on_hand FROM lots WHERE lot = ?", lot), ledger


def test_each_move_changes_the_balance_and_says_so(acts: Any) -> None:
    moves = [
        move(acts, "receipt", 20),
        move(acts, "issue", 5),
        move(acts, "Return", 2),
        move(acts, "scrap", 1),
        move(acts, "stocktaking", 24),
    ]

    assert [(one.change, one.on_hand) for one in moves] == [
        (20, 30),
        (-5, 25),
        (2, 27),
        (-1, 26),
        (-2, 24),
    ]
    assert balance(acts) == (24, 24)


def test_more_than_there_is_does_not_leave(acts: Any) -> None:
    with pytest.raises(NoneLeft, match="10 are left"):
        move(acts, "issue", 11)

    assert balance(acts) == (10, 10)
    assert acts.one("SELECT count(*) FROM facts") == 0


@pytest.mark.parametrize(("what", "quantity"), [("issue", 0), ("receipt", -1), ("gift", 3)])
def test_moves_that_cannot_be_meant_are_refused(acts: Any, what: str, quantity: int) -> None:
    with pytest.raises(Invalid):
        move(acts, what, quantity)


def test_a_stocktaking_may_find_nothing(acts: Any) -> None:
    assert move(acts, "stocktaking", 0).on_hand == 0
    with pytest.raises(NoneLeft):
        acts.build()


def test_builds_are_lines_of_the_ledger(acts: Any) -> None:
    acts.build()
    acts.build(1, "TH-2")

    assert balance(acts) == (8, 8)
    assert acts.one("SELECT count(*) FROM stock_moves WHERE move = 'build'") == 2


def ground(acts: Any, piece: int = 1, minutes: float = 100) -> Any:
    return regrind(acts.tx, acts.present, Regrind("LOT-D1", piece, acts.at(minutes)))


def test_a_ground_drill_is_built_again(acts: Any) -> None:
    acts.mount(acts.ready(0, "DH-1"), station="M1/T11")
    acts.remove(60, station="M1/T11")

    back = ground(acts)
    built = acts.build(101, "DH-1")

    assert (back.piece, back.grinds, back.regrinds_left) == (1, 1, 1)
    assert [(one.number, one.edge, one.grind) for one in built.recipe.pieces] == [(1, 1, 1)]
    assert balance(acts, "LOT-D1") == (2, 2)


def test_a_drill_waits_for_its_grinding_and_a_fresh_one_is_taken(acts: Any) -> None:
    acts.mount(acts.ready(0, "DH-1"), station="M1/T11")
    acts.remove(60, station="M1/T11")

    assert acts.build(61, "DH-1").recipe.pieces[0].number == 2


def test_a_drill_is_ground_as_often_as_it_may_be(acts: Any) -> None:
    for turn in range(3):
        code = acts.ready(turn * 200, "DH-1")
        acts.mount(code, turn * 200, station="M1/T11")
        out = acts.remove(turn * 200 + 60, station="M1/T11")
        if turn < 2:
            ground(acts, minutes=turn * 200 + 100)

    assert out.edges[0].fate == "scrap"
    with pytest.raises(Conflict, match="is scrap"):
        ground(acts, minutes=700)


def test_a_piece_that_is_not_to_be_ground_is_refused(acts: Any) -> None:
    with pytest.raises(NotKnown, match="no opened piece 1"):
        ground(acts)
    built = acts.build(0, "DH-1")
    with pytest.raises(Conflict, match="sits in a tool"):
        ground(acts)
    tear_down(acts.tx, acts.present, TearDown(built.code, at=acts.at(1)))
    with pytest.raises(Conflict, match="has not cut"):
        ground(acts)


def test_an_insert_is_not_ground(acts: Any) -> None:
    acts.mount(acts.ready())
    acts.remove()

    with pytest.raises(Conflict, match="CNMG-408 allows 0"):
        regrind(acts.tx, acts.present, Regrind("LOT-I1", 1, acts.at(100)))


def test_a_stop_is_recorded_with_its_end(acts: Any) -> None:
    command = ReportStop("M1", " bar feeder ", acts.at(90), acts.at(60), "B2")

    stop = report_stop(acts.tx, acts.present, command)

    assert (stop.reason, stop.at, stop.ends_at) == ("bar feeder", acts.at(60), acts.at(90))
    assert acts.one("SELECT reason FROM stops") == "bar feeder"


def test_a_stop_that_cannot_be_is_refused(acts: Any) -> None:
    with pytest.raises(Invalid, match="before it begins"):
        report_stop(acts.tx, acts.present, ReportStop("M1", "x", acts.at(1), acts.at(2)))
    naive = acts.at(3).replace(tzinfo=None)
    with pytest.raises(Invalid, match="no offset"):
        report_stop(acts.tx, acts.present, ReportStop("M1", "x", naive, acts.at(2)))
    with pytest.raises(Invalid, match="few words"):
        report_stop(acts.tx, acts.present, ReportStop("M1", "  "))
    with pytest.raises(NotKnown):
        report_stop(acts.tx, acts.present, ReportStop("M9", "x"))
    with pytest.raises(Invalid, match="no offset"):
        report_stop(acts.tx, acts.present, ReportStop("M1", "x", at=naive))
    ahead = ReportStop("M1", "x", at=acts.present + timedelta(minutes=6))
    with pytest.raises(Invalid, match="future"):
        report_stop(acts.tx, acts.present, ahead)
