"""Boxes of inserts and cutters as the demo's people see them, piece by piece."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

from crib.demo.items import ITEMS
from crib.errors import NoneLeft
from crib.stock.pieces import Piece, Taken, choose_edges


class Take(NamedTuple):
    """One piece taken for a tool: its box, its number there, how often it was ground."""

    box: Box
    number: int
    grind: int
    edge: int


@dataclass(slots=True)
class Box:
    """One lot.

    Attributes:
        lot: Its mark.
        item: What it holds.
        on_hand: Pieces not yet opened.
        pieces: Opened pieces by number.
        kept: Whether the demo holds it back from its people.
    """

    lot: str
    item: str
    on_hand: int
    pieces: dict[int, Piece] = field(default_factory=dict)
    kept: bool = False

    def _next(self) -> Taken | None:
        try:
            return choose_edges(
                tuple(self.pieces.values()),
                lot=self.lot,
                edges=ITEMS[self.item].edges,
                on_hand=self.on_hand,
            )[0]
        except NoneLeft:
            return None

    def has_edge(self) -> bool:
        """Whether a tool could be built out of it."""
        return not self.kept and (self.on_hand > 0 or self._next() is not None)

    def take(self) -> Take | None:
        """An edge for a tool; None where there is none."""
        chosen = self._next()
        if chosen is None:
            return None
        piece = chosen.piece
        if piece is None:
            number = len(self.pieces) + 1
            piece = Piece(number, number)
            self.on_hand -= 1
        used = piece.used | {chosen.edge}
        self.pieces[piece.number] = replace(piece, used=used, busy=True)
        return Take(self, piece.number, piece.grind, chosen.edge)

    def give_back(self, take: Take, *, broken: bool) -> None:
        """The tool is taken apart: its piece may be turned, ground or thrown away."""
        piece = self.pieces[take.number]
        self.pieces[take.number] = replace(piece, busy=False, scrapped=broken)

    def never_cut(self, take: Take) -> None:
        """The tool was taken apart before it cut: the edge is as good as new."""
        piece = self.pieces[take.number]
        self.pieces[take.number] = replace(piece, busy=False, used=piece.used - {take.edge})

    def dull(self) -> list[int]:
        """Numbers of pieces that could go to be ground."""
        item = ITEMS[self.item]
        return [
            piece.number
            for piece in self.pieces.values()
            if not piece.busy
            and not piece.scrapped
            and piece.grind < item.regrinds
            and len(piece.used) == item.edges
        ]

    def ground(self, number: int) -> None:
        """A piece is back from grinding."""
        piece = self.pieces[number]
        self.pieces[number] = replace(piece, grind=piece.grind + 1, used=frozenset())


class Stock:
    """All boxes, the oldest first."""

    def __init__(self, boxes: list[Box]) -> None:
        self.boxes: dict[str, list[Box]] = {}
        for box in boxes:
            self.boxes.setdefault(box.item, []).append(box)

    def take(self, item: str) -> Take | None:
        """An edge of an item out of the oldest box that has one."""
        for box in self.boxes.get(item, ()):
            found = None if box.kept else box.take()
            if found is not None:
                return found
        return None

    def has_edge(self, item: str) -> bool:
        """Whether any box of an item still gives an edge."""
        return any(box.has_edge() for box in self.boxes.get(item, ()))

    def left(self, item: str) -> int:
        """Unopened pieces of an item."""
        return sum(box.on_hand for box in self.boxes.get(item, ()) if not box.kept)
