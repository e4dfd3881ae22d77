"""Which edge comes next, and what becomes of a piece."""

from __future__ import annotations

import pytest

from crib.errors import EdgeUsed, Invalid, NoneLeft
from crib.stock.pieces import Piece, choose_edges, fate_of


def piece(number, *used, busy=False, scrapped=False, grind=0):
    return Piece(number * 10, number, grind, frozenset(used), busy, scrapped)


def chosen(pieces, **values):
    wanted = {"lot": "L-1", "edges": 4, "on_hand": 5, **values}
    return [
        (one.piece.number if one.piece else None, one.edge)
        for one in choose_edges(pieces, **wanted)
    ]


def test_the_oldest_opened_piece_is_used_up_first():
    assert chosen([piece(2, 1), piece(1, 1, 2)]) == [(1, 3)]


def test_a_fresh_piece_is_opened_when_no_opened_one_is_free():
    pieces = [piece(1, 1, 2, 3, 4), piece(2, 1, busy=True), piece(3, 1, scrapped=True)]

    assert chosen(pieces) == [(None, 1)]


def test_a_named_edge_comes_from_an_opened_piece_where_it_can():
    assert chosen([piece(1, 1, 3), piece(2, 1)], edge=3) == [(2, 3)]
    assert chosen([piece(1, 3)], edge=3) == [(None, 3)]


def test_a_cutter_of_several_inserts_turns_them_all_to_one_edge():
    pieces = [piece(1, 1), piece(2, 1, 2), piece(3, 1)]

    assert chosen(pieces, items=3) == [(1, 3), (2, 3), (3, 3)]
    assert chosen(pieces, items=2) == [(1, 2), (3, 2)]


def test_a_cutter_is_filled_up_from_the_box():
    assert chosen([piece(1, 1)], items=3) == [(1, 2), (None, 2), (None, 2)]


def test_edges_are_mixed_before_the_lot_counts_as_empty():
    pieces = [piece(1, 1, 2, 3), piece(2, 2, 3, 4)]

    assert chosen(pieces, items=2, on_hand=0) == [(1, 4), (2, 1)]
    assert chosen([piece(1, 1, 2, 3)], items=1, on_hand=0) == [(1, 4)]


def test_an_edge_that_does_not_exist_is_refused():
    with pytest.raises(Invalid):
        chosen([], edge=5)
    with pytest.raises(Invalid):
        chosen([], edge=0)


def test_a_used_edge_is_told_from_an_empty_lot():
    with pytest.raises(EdgeUsed, match="Edge 2"):
        chosen([piece(1, 2)], edge=2, on_hand=0)
    with pytest.raises(NoneLeft):
        chosen([piece(1, 1, busy=True)], edge=2, on_hand=0)
    with pytest.raises(NoneLeft, match="1 sit in tools"):
        chosen([piece(1, 1, busy=True)], on_hand=0)
    with pytest.raises(NoneLeft, match="a tool of 3"):
        chosen([piece(1, 1)], items=3, on_hand=1)


@pytest.mark.parametrize(
    ("worn", "edges", "regrinds", "broken", "fate"),
    [
        (piece(1, 1), 4, 0, False, ("next_edge", 2, 3)),
        (piece(1, 1, 3), 4, 0, False, ("next_edge", 2, 2)),
        (piece(1, 1), 4, 0, True, ("scrap", None, 0)),
        (piece(1, 1, 2), 2, 0, False, ("scrap", None, 0)),
        (piece(1, 1, grind=1), 1, 2, False, ("regrind", None, 0)),
        (piece(1, 1, grind=2), 1, 2, False, ("scrap", None, 0)),
    ],
)
def test_what_becomes_of_a_piece(worn, edges, regrinds, broken, fate):
    found = fate_of(worn, edges=edges, regrinds=regrinds, broken=broken)

    assert (found.fate, found.next_edge, found.edges_left) == fate
    assert "Piece 1" in found.sentence


def test_the_last_edge_may_be_named_and_no_piece_of_the_box_is_spared():
    assert chosen([], edge=4, on_hand=1) == [(None, 4)]
    assert chosen([piece(1, 1)], edge=1, on_hand=1) == [(None, 1)]
    assert chosen([piece(1, 1)], items=2, on_hand=1) == [(1, 2), (None, 2)]


def test_where_no_opened_piece_can_give_an_edge_the_first_is_taken():
    assert chosen([piece(1, 1, 2, 3, 4)], on_hand=2, items=2) == [(None, 1), (None, 1)]


@pytest.mark.parametrize(
    ("pieces", "wanted", "facts", "errors", "words"),
    [
        (
            [piece(1, 2)], {"edge": 2, "on_hand": 0},
            {"lot": "L-1", "on_hand": 0, "items_per_tool": 1, "edge": 2},
            [{"field": "edge", "detail": "used before"}],
            "none is left in the box: turn to another edge or take another lot.",
        ),
        (
            [piece(1, 2)], {"edge": 2, "on_hand": 1, "items": 2},
            {"lot": "L-1", "on_hand": 1, "items_per_tool": 2, "edge": 2},
            [{"field": "edge", "detail": "used before"}],
            "only 1 are left in the box",
        ),
        (
            [piece(1, 1, busy=True)], {"on_hand": 1, "items": 3},
            {"lot": "L-1", "on_hand": 1, "items_per_tool": 3},
            [{"field": "lot", "detail": "none left"}],
            "Lot L-1 has 1 in the box and no free edge that is enough for a tool of 3 (1 sit",
        ),
    ],
)  # fmt: skip
def test_what_is_not_enough_is_told_field_by_field(pieces, wanted, facts, errors, words):
    with pytest.raises((EdgeUsed, NoneLeft)) as refused:
        chosen(pieces, **wanted)

    assert refused.value.facts == facts
    assert refused.value.errors == errors
    assert words in refused.value.sentence


def test_an_edge_that_does_not_exist_names_its_field():
    with pytest.raises(Invalid) as refused:
        chosen([], edge=5)
    assert refused.value.errors == [{"field": "edge", "detail": "from 1 to 4"}]


def test_a_piece_that_is_scrap_has_nothing_left():
    worn = piece(1, 1, 2)

    for broken in (False, True):
        fate = fate_of(worn, edges=2, regrinds=0, broken=broken)
        assert (fate.fate, fate.edges_left, fate.regrinds_left) == ("scrap", 0, 0)
