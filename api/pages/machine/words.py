"""Words of the machine pages: why a tool comes out, figures as they are keyed in."""

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


def groups(figure: str) -> list[str]:
    """A figure in the groups in which it is keyed in: three digits from the point, both ways.

    Together they are the figure: nothing is added that could be copied into a control.

    Examples:
        >>> groups("-1234.5678"), groups("0.48605"), groups("+12.0000")
        (['-1', '234.', '567', '8'], ['0.', '486', '05'], ['+12.', '000', '0'])
    """
    whole, point, places = figure.partition(".")
    sign, digits = (whole[:1], whole[1:]) if whole[:1] in ("+", "-") else ("", whole)
    first = len(digits) % 3
    left = [digits[:first]] if first else []
    left += [digits[place : place + 3] for place in range(first, len(digits), 3)]
    left[0] = sign + left[0]
    left[-1] += point
    right = [places[place : place + 3] for place in range(0, len(places), 3)]
    return [*left, *right]
