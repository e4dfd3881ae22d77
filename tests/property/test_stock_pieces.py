"""Edges of a lot under any history: none twice, none lost."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from crib.errors import NoneLeft
from crib.stock.pieces import Piece, choose_edges


@st.composite
def _lots(draw: st.DrawFn) -> tuple[list[Piece], int, int, int]:
    edges = draw(st.integers(1, 4))
    count = draw(st.integers(0, 6))
    pieces = [
        Piece(
            number + 100,
            number,
            draw(st.integers(0, 2)),
            frozenset(draw(st.sets(st.integers(1, edges)))),
            draw(st.booleans()),
            draw(st.booleans()),
        )
        for number in range(1, count + 1)
    ]
    return pieces, edges, draw(st.integers(0, 3)), draw(st.integers(1, 4))


@given(_lots())
def test_a_tool_gets_unused_edges_of_different_free_pieces_or_nothing_is_left(
    lot: tuple[list[Piece], int, int, int],
) -> None:
    pieces, edges, on_hand, items = lot
    free = [piece for piece in pieces if not piece.busy and not piece.scrapped]
    usable = [piece for piece in free if piece.unused(edges)]

    try:
        taken = choose_edges(pieces, lot="L", edges=edges, on_hand=on_hand, items=items)
    except NoneLeft:
        assert len(usable) + on_hand < items
        return

    opened = [one.piece for one in taken if one.piece is not None]
    assert len(taken) == items
    assert len({piece.piece_id for piece in opened}) == len(opened)
    assert len(taken) - len(opened) <= on_hand
    for one in taken:
        assert 1 <= one.edge <= edges
        assert one.piece is None or (one.piece in free and one.edge not in one.piece.used)


@given(_lots())
def test_a_tool_turns_all_its_edges_alike_where_one_edge_is_enough_for_it(
    lot: tuple[list[Piece], int, int, int],
) -> None:
    pieces, edges, on_hand, items = lot
    free = [piece for piece in pieces if not piece.busy and not piece.scrapped]
    alike = any(
        sum(edge not in piece.used for piece in free) + on_hand >= items
        for edge in range(1, edges + 1)
    )

    try:
        taken = choose_edges(pieces, lot="L", edges=edges, on_hand=on_hand, items=items)
    except NoneLeft:
        assert not alike
        return

    assert not alike or len({one.edge for one in taken}) == 1
