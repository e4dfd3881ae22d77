"""Words of the machine pages: why a tool comes out."""

from __future__ import annotations

from api.language import _, mark
from crib.stock.assembly import REASONS

#: Why a tool comes out, as a person says it; in the order of the buttons.
REASON_WORDS = {
    "worn_as_planned": mark("Worn as planned"),
    "worn_early": mark("Worn early"),
    "size": mark("Size"),
    "finish": mark("Finish"),
    "burr": mark("Burr"),
    "chipped": mark("Chipped"),
    "broken": mark("Broken"),
    "built_up_edge": mark("Built-up edge"),
    "job_change": mark("Job change"),
    "inspection": mark("Inspection"),
}


def reasons() -> list[tuple[str, str]]:
    """Every reason and its words."""
    return [(reason, _(REASON_WORDS[reason])) for reason in REASONS]
