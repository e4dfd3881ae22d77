"""Labels of codes or marks as one PDF document, for HTTP and the command line alike."""

from __future__ import annotations

from collections.abc import Sequence

from api.print_texts import Printing, label_of
from labels.media import load_stocks, stock_named
from labels.pdf import render_labels


def labels_pdf(printing: Printing, codes: Sequence[str], stock: str, start: int) -> bytes:
    """Print labels in the order of their codes.

    Args:
        printing: What they are printed from and for.
        codes: Codes, addresses or the shop's own marks.
        stock: Name of a label stock.
        start: First free cell of a sheet, from 1.

    Raises:
        BadCode: A code is mistyped.
        NotKnown: Nothing here carries a code, or there is no such stock.
        Invalid: No code at all, a cell that the stock lacks, or a label that cannot fit.
    """
    settings = printing.settings
    chosen = stock_named(stock, load_stocks(settings.stocks_file))
    labels = [label_of(printing, code) for code in codes]
    return render_labels(labels, chosen, start, settings.public_address)
