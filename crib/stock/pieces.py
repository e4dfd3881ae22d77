"""Inserts and cutters out of their box: which edge comes next, what is left of a piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from crib.errors import EdgeUsed, Invalid, NoneLeft
from crib.sentence import sentence


@dataclass(frozen=True, slots=True)
class Piece:
    """One insert or cutter that has been taken out of its box.

    Attributes:
        piece_id: Its number in the records.
        number: Its number within the lot, from 1.
        grind: How often it has been reground.
        used: Edges that have cut, or sit in a tool, since the last grind.
        busy: Whether a tool that still stands holds it.
        scrapped: Whether it is gone.
    """

    piece_id: int
    number: int
    grind: int = 0
    used: frozenset[int] = field(default_factory=frozenset)
    busy: bool = False
    scrapped: bool = False

    def unused(self, edges: int) -> tuple[int, ...]:
        """Edges of ``edges`` that have not cut since the last grind, in order."""
        return tuple(edge for edge in range(1, edges + 1) if edge not in self.used)


@dataclass(frozen=True, slots=True)
class Taken:
    """One edge for a tool: of an opened piece, or of a fresh one (``piece`` is None)."""

    piece: Piece | None
    edge: int


def choose_edges(
    pieces: Sequence[Piece],
    *,
    lot: str,
    edges: int,
    on_hand: int,
    items: int = 1,
    edge: int | None = None,
) -> tuple[Taken, ...]:
    """Edges for one tool: opened pieces first, all on the same edge where that is possible.

    Args:
        pieces: Every opened piece of the lot.
        lot: The lot's mark, for sentences.
        edges: Edges of one piece.
        on_hand: Pieces still in the box.
        items: Pieces that the tool takes.
        edge: The edge wanted, from 1; None takes the next that is free.

    Returns:
        One entry per piece, opened ones first.

    Raises:
        Invalid: The item has no such edge.
        EdgeUsed: The wanted edge has cut on every piece that there is.
        NoneLeft: Neither free edges nor pieces in the box are enough.
    """
    if edge is not None and not 1 <= edge <= edges:
        raise Invalid(
            sentence("There is no edge {edge}: this item has {edges}.", edge=edge, edges=edges),
            errors=[{"field": "edge", "detail": sentence("from 1 to {edges}", edges=edges)}],
        )
    free = sorted(
        (piece for piece in pieces if not piece.busy and not piece.scrapped),
        key=lambda piece: piece.number,
    )
    chosen = _same_edge(free, edges, on_hand, items, edge)
    if chosen is None and edge is None:
        chosen = _any_edge(free, edges, on_hand, items)
    if chosen is None:
        raise _none_left(pieces, lot, on_hand, items, edge)
    return chosen


def _same_edge(
    free: Sequence[Piece], edges: int, on_hand: int, items: int, edge: int | None
) -> tuple[Taken, ...] | None:
    """All on one edge: the one that most opened pieces can give, then the oldest piece's."""
    best: tuple[tuple[int, int, int], tuple[Taken, ...]] | None = None
    for candidate in range(1, edges + 1) if edge is None else (edge,):
        opened = [piece for piece in free if candidate not in piece.used][:items]
        if len(opened) + on_hand < items:
            continue
        oldest = opened[0].number if opened else 0
        rank = (-len(opened), oldest, candidate)
        if best is None or rank < best[0]:
            fresh = [Taken(None, candidate)] * (items - len(opened))
            best = rank, (*(Taken(piece, candidate) for piece in opened), *fresh)
    return best[1] if best else None


def _any_edge(
    free: Sequence[Piece], edges: int, on_hand: int, items: int
) -> tuple[Taken, ...] | None:
    opened = [Taken(piece, left[0]) for piece in free if (left := piece.unused(edges))][:items]
    if len(opened) + on_hand < items:
        return None
    return (*opened, *[Taken(None, 1)] * (items - len(opened)))


def _none_left(
    pieces: Sequence[Piece], lot: str, on_hand: int, items: int, edge: int | None
) -> EdgeUsed | NoneLeft:
    standing = [piece for piece in pieces if not piece.scrapped]
    used = [piece for piece in standing if edge is not None and edge in piece.used]
    facts = {"lot": lot, "on_hand": on_hand, "items_per_tool": items}
    if used and edge is not None:
        return EdgeUsed(
            (
                sentence(
                    "Edge {edge} has been used on every opened piece of lot {lot}, and none "
                    "is left in the box: turn to another edge or take another lot.",
                    edge=edge,
                    lot=lot,
                )
                if on_hand == 0
                else sentence(
                    "Edge {edge} has been used on every opened piece of lot {lot}, and only "
                    "{on_hand} are left in the box: turn to another edge or take another "
                    "lot.",
                    edge=edge,
                    lot=lot,
                    on_hand=on_hand,
                )
            ),
            facts={**facts, "edge": edge},
            errors=[{"field": "edge", "detail": sentence("used before")}],
        )
    busy = sum(piece.busy for piece in standing)
    in_tools = sentence(" ({busy} sit in tools)", busy=busy) if busy else ""
    return NoneLeft(
        sentence(
            "Lot {lot} has {on_hand} in the box and no free edge that is enough for a "
            "tool of {items}{in_tools}: take another lot, or book a receipt or a "
            "stocktaking first.",
            lot=lot,
            on_hand=on_hand,
            items=items,
            in_tools=in_tools,
        ),
        facts=facts,
        errors=[{"field": "lot", "detail": sentence("none left")}],
    )


@dataclass(frozen=True, slots=True)
class EdgeFate:
    """What becomes of a piece whose edge came out of a station for good.

    Attributes:
        fate: ``next_edge``, ``regrind`` or ``scrap``.
        next_edge: The edge to turn to, where there is one.
        edges_left: Edges that have not cut since the last grind.
        regrinds_left: How often it may still be ground.
        sentence: The same for a person.
    """

    fate: str
    next_edge: int | None
    edges_left: int
    regrinds_left: int
    sentence: str


def fate_of(piece: Piece, *, edges: int, regrinds: int, broken: bool) -> EdgeFate:
    """Turn to the next edge, regrind or scrap.

    A broken piece is scrapped whole: what else the break damaged is not seen on the floor
    (common practice, no source).

    Args:
        piece: The piece, the edge that came out counted as used.
        edges: Edges of one piece.
        regrinds: How often such a piece may be ground in its life.
        broken: Whether it broke.

    Examples:
        >>> fate_of(Piece(1, 1, used=frozenset({1})), edges=2, regrinds=0, broken=False).fate
        'next_edge'
    """
    left = piece.unused(edges)
    regrinds_left = max(0, regrinds - piece.grind)
    name = sentence("Piece {number}", number=piece.number)
    if broken:
        return EdgeFate("scrap", None, 0, 0, sentence("{name} is scrap: it broke.", name=name))
    if left:
        return EdgeFate(
            "next_edge",
            left[0],
            len(left),
            regrinds_left,
            sentence(
                "{name}: turn to edge {left} of {edges}; {left2} unused.",
                name=name,
                left=left[0],
                edges=edges,
                left2=len(left),
            ),
        )
    if regrinds_left:
        return EdgeFate(
            "regrind",
            None,
            0,
            regrinds_left,
            sentence(
                "{name} is used up: send it to be ground, {regrinds_left} left of {regrinds}.",
                name=name,
                regrinds_left=regrinds_left,
                regrinds=regrinds,
            ),
        )
    return EdgeFate("scrap", None, 0, 0, sentence("{name} is used up: scrap it.", name=name))
