"""Stock moves: what each does to the balance of a lot."""

from __future__ import annotations

from typing import Final

from crib.errors import Invalid, NoneLeft
from crib.sentence import sentence, together, word

#: Moves that a person books, with the sign that their quantity has; a stocktaking sets.
MOVES: Final = {"receipt": 1, "issue": -1, "return": 1, "scrap": -1, "stocktaking": 0}

#: Most pieces in one move: more is a slip of the keyboard.
MOST_PIECES: Final = 10_000_000


def change_of(move: str, quantity: int, on_hand: int, *, lot: str) -> int:
    """What a move adds to the balance, negative for what leaves.

    Args:
        move: One of ``MOVES``.
        quantity: Pieces moved; for a stocktaking the pieces counted.
        on_hand: The balance before.
        lot: The lot's mark, for sentences.

    Raises:
        Invalid: No such move, or a quantity that is not plausible.
        NoneLeft: More leaves than there is.

    Examples:
        >>> change_of("issue", 3, 10, lot="L-7"), change_of("stocktaking", 8, 10, lot="L-7")
        (-3, -2)
    """
    if move not in MOVES:
        raise Invalid(
            sentence(
                "'{move}' is not a stock move: take one of {moves}.",
                move=word(move),
                moves=together(", ", MOVES),
            ),
            errors=[
                {
                    "field": "move",
                    "detail": sentence("one of {moves}", moves=together(", ", MOVES)),
                }
            ],
        )
    least = 0 if move == "stocktaking" else 1
    if isinstance(quantity, bool) or not least <= quantity <= MOST_PIECES:
        raise Invalid(
            (
                sentence(
                    "An {move} of {quantity} pieces is not plausible: give {least} to "
                    "{most_pieces}.",
                    move=word(move),
                    quantity=quantity,
                    least=least,
                    most_pieces=MOST_PIECES,
                )
                if move == "issue"
                else sentence(
                    "A {move} of {quantity} pieces is not plausible: give {least} to "
                    "{most_pieces}.",
                    move=word(move),
                    quantity=quantity,
                    least=least,
                    most_pieces=MOST_PIECES,
                )
            ),
            errors=[
                {
                    "field": "quantity",
                    "detail": sentence(
                        "from {least} to {most_pieces}", least=least, most_pieces=MOST_PIECES
                    ),
                }
            ],
        )
    change = quantity - on_hand if move == "stocktaking" else MOVES[move] * quantity
    refuse_below_nothing(
        on_hand,
        change,
        lot=lot,
        what=(
            sentence("An {move} of {quantity}", move=word(move), quantity=quantity)
            if move == "issue"
            else sentence("A {move} of {quantity}", move=word(move), quantity=quantity)
        ),
    )
    return change


def refuse_below_nothing(on_hand: int, change: int, *, lot: str, what: str) -> None:
    """Refuse a change that would leave less than nothing in a lot.

    Raises:
        NoneLeft: It would.
    """
    if on_hand + change < 0:
        raise NoneLeft(
            sentence(
                "{what} takes more than lot {lot} has: {on_hand} are left. If that is "
                "wrong, book a stocktaking first.",
                what=what,
                lot=lot,
                on_hand=on_hand,
            ),
            facts={"lot": lot, "on_hand": on_hand, "change": change},
        )
