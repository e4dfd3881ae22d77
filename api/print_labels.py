"""Labels of codes or marks as one PDF document, for HTTP and the command line alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from api.print_texts import Printing, label_of
from crib.acts.print_label import not_printed
from crib.errors import Conflict, Refusal
from crib.left_out import NOT_A_RECORDS, each, log_once
from crib.store.resolve import resolve, resolve_station
from labels.kinds import HolderTag, Label
from labels.media import load_stocks, stock_named
from labels.pdf import render_labels


def labels_pdf(printing: Printing, codes: Sequence[str], stock: str, start: int) -> bytes:
    """Print labels in the order of their codes.

    In the place of a label that cannot be worked out stands one that says so.

    Args:
        printing: What they are printed from and for.
        codes: Codes, addresses or the shop's own marks.
        stock: Name of a label stock.
        start: First free cell of a sheet, from 1.

    Raises:
        BadCode: A code is mistyped.
        NotKnown: Nothing here carries a code, or there is no such stock.
        Conflict: No label can be worked out.
        Invalid: No code at all, a cell that the stock lacks, or a label that cannot fit.
    """
    settings = printing.settings
    if printing.station is not None:  # holders and lots need none, but a mistyped one is wrong
        resolve_station(printing.tx, printing.station)
    chosen = stock_named(stock, load_stocks(settings.stocks_file))
    labels, failed = _worked_out(printing, codes)
    if failed and len(failed) == len(labels):
        raise Conflict(failed[0])

    def draw(some: Sequence[Label], first: int = start) -> bytes:
        return render_labels(some, chosen, first, settings.public_address)

    try:
        return draw(labels)
    except (Refusal, *NOT_A_RECORDS):
        raise
    except Exception:
        undrawn = _undrawn(draw, labels, codes)
        if not undrawn:
            raise
    for place in undrawn:
        labels[place] = _in_its_place(printing, codes[place])
    return draw(labels)


def _worked_out(printing: Printing, codes: Sequence[str]) -> tuple[list[Label], list[str]]:
    """A label per code, and a sentence for each that replaces another."""
    labels: list[Label] = []
    failed: list[str] = []
    for code in codes:
        try:
            labels.append(label_of(printing, code))
        except (Refusal, *NOT_A_RECORDS):
            raise
        except Exception as fault:
            failed.append(not_printed(code))
            log_once(failed[-1], fault)
            labels.append(_in_its_place(printing, code))
    return labels, failed


def _undrawn(
    draw: Callable[[list[Label], int], bytes], labels: Sequence[Label], codes: Sequence[str]
) -> list[int]:
    """Places of labels that cannot be drawn by themselves.

    Raises:
        Conflict: None can.
    """
    found = [
        place
        for place in range(len(codes))
        if each([place], lambda at: draw([labels[at]], 1), lambda at: not_printed(codes[at]))
    ]
    if len(found) == len(labels):
        raise Conflict(not_printed(codes[0]))
    return found


def _in_its_place(printing: Printing, text: str) -> HolderTag:
    found = resolve(printing.tx, text)
    return HolderTag(
        found.code or text,
        "NOT PRINTED",
        found.mark or "",
        note="Throw this away. Check its records, then print it again.",
    )
