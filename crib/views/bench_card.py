"""What to take for a job of the bench queue: holder, edge, where they lie, what to measure."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from crib.acts.named import named_assembly
from crib.acts.recipe import PieceTaken, Recipe, recipe_from, recipe_of
from crib.errors import Refusal
from crib.left_out import NOT_A_RECORDS, log_once
from crib.outlook.swap_rows import SwapList, SwapRow
from crib.planning.shelf import Sister
from crib.sentence import AND, sentence, together
from crib.stock.pieces import Piece, Taken, choose_edges
from crib.store.engine import Tx
from crib.store.piece_rows import pieces_of_lot
from crib.store.rack_rows import place_of
from crib.store.resolve import resolve_holder, resolve_lot
from crib.store.stockrows import LotRow, SpecRow, holder_row, lot_row, spec_id_by_name, spec_row
from crib.views.where_it_lies import rack_words, tool_words


@dataclass(frozen=True, slots=True)
class BenchCard:
    """What one job of the bench takes.

    Attributes:
        recipe: Holder, edge, where they lie, torque and what to measure; None where the
            records have moved on since the plan was made.
        place: Where to look for a tool that is built already; None where it is to be built.
        fresh_pieces: How many of the pieces come out of the box; ``recipe.pieces`` names the
            opened ones, which are used up first.
        problem: Why there is no recipe.
        caution: What the preset that it has is short of.
    """

    recipe: Recipe | None
    place: str | None = None
    fresh_pieces: int = 0
    problem: str | None = None
    caution: str | None = None


class _Box:
    """One lot while the queue's jobs take their edges from it, one after the other."""

    def __init__(self, tx: Tx, lot: LotRow) -> None:
        self.lot = lot
        self._pieces: list[Piece] = list(pieces_of_lot(tx, lot.id))
        self._on_hand = lot.on_hand

    def take(self, spec: SpecRow) -> tuple[Taken, ...]:
        """The edges that building now would take; the next job finds them gone.

        Raises:
            NoneLeft: Not enough is left.
            EdgeUsed: The same of one edge.
        """
        taken = choose_edges(
            self._pieces,
            lot=self.lot.mark,
            edges=self.lot.edges,
            on_hand=self._on_hand,
            items=spec.items_per_tool,
        )
        gone = {one.piece.piece_id for one in taken if one.piece is not None}
        self._pieces = [
            replace(piece, busy=True) if piece.piece_id in gone else piece
            for piece in self._pieces
        ]
        self._on_hand -= sum(one.piece is None for one in taken)
        return taken


def bench_cards(tx: Tx, found: SwapList, positions: Collection[int]) -> dict[int, BenchCard]:
    """What the jobs at some positions of the queue take, as the records are now.

    Jobs before them that take from the same boxes are counted, so that no edge is named
    twice; nothing else is looked up.

    Args:
        tx: An open transaction.
        found: The list whose queue it is.
        positions: Positions of the rows that are shown, from 1.
    """
    cards: dict[int, BenchCard] = {}
    boxes: dict[str, _Box] = {}
    for position, swap in _concerned(found, positions):
        try:
            card = _card(tx, swap, boxes)
        except Refusal as problem:  # the plan is older than what happened since
            card = BenchCard(None, problem=problem.sentence)
        except NOT_A_RECORDS:
            raise
        except Exception as fault:
            card = BenchCard(None, problem=_not_worked_out(swap))
            log_once(f"{card.problem}", fault)
        if position in positions:
            cards[position] = card
    return cards


def _not_worked_out(swap: SwapRow) -> str:
    return sentence(
        "What to take for {tool_spec} could not be worked out. Check its tool "
        "spec, the holder and the lot. The service log has the details.",
        tool_spec=swap.tool_spec,
    )


def _concerned(found: SwapList, positions: Collection[int]) -> Iterator[tuple[int, SwapRow]]:
    rows = [
        (row.position, swap)
        for row, swap in zip(found.queue.rows, found.queue_rows, strict=True)
        if row.position <= max(positions, default=0)
    ]
    lots = {swap.sister.lot for position, swap in rows if position in positions}
    for position, swap in rows:
        builds = swap.sister.state == "build" and swap.sister.lot in lots
        if position in positions or builds:
            yield position, swap


def _card(tx: Tx, swap: SwapRow, boxes: dict[str, _Box]) -> BenchCard:
    sister = swap.sister
    if sister.assembly is not None:
        built = named_assembly(tx, sister.assembly).row
        put = place_of(tx, built.id)
        racked = rack_words(put.machine, put.place) if put else None
        return BenchCard(recipe_of(tx, built), tool_words(racked), caution=lacks_for(swap))
    spec = spec_row(tx, spec_id_by_name(tx, swap.tool_spec))
    box, holder_mark = _box(tx, sister, boxes), sister.holder or ""
    holder = holder_row(tx, resolve_holder(tx, holder_mark).id)
    taken = box.take(spec)
    pieces = tuple(
        PieceTaken(one.piece.number, one.edge, one.piece.grind) for one in taken if one.piece
    )
    return BenchCard(
        recipe_from(spec, holder, box.lot, taken[0].edge, pieces),
        fresh_pieces=len(taken) - len(pieces),
    )


def lacks_for(swap: SwapRow) -> str | None:
    """What the preset of a swap's sister is short of for its station; None where nothing."""
    if not swap.sister.lacking:
        return None
    where, lacking = swap.forecast, together(AND, swap.sister.lacking)
    return sentence(
        "{lacking} was not measured, and station {machine}/{station} needs it.",
        lacking=lacking,
        machine=where.machine,
        station=where.station,
    )


def _box(tx: Tx, sister: Sister, boxes: dict[str, _Box]) -> _Box:
    mark = sister.lot or ""
    if mark not in boxes:
        boxes[mark] = _Box(tx, lot_row(tx, resolve_lot(tx, mark).id))
    return boxes[mark]
