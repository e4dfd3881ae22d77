"""What an assembly is, fact by fact: its cutter status and what each removal makes of it."""

from __future__ import annotations

from typing import Final

from crib.errors import Invalid
from crib.sentence import sentence, together

#: Words of the MTConnect vocabulary as far as this service sets them.
NEW: Final = "NEW"
MEASURED: Final = "MEASURED"
AVAILABLE: Final = "AVAILABLE"
ALLOCATED: Final = "ALLOCATED"
USED: Final = "USED"
EXPIRED: Final = "EXPIRED"
BROKEN: Final = "BROKEN"
UNAVAILABLE: Final = "UNAVAILABLE"

#: Why a tool comes out of a station.
REASONS: Final = (
    "worn_as_planned",
    "worn_early",
    "size",
    "finish",
    "burr",
    "chipped",
    "broken",
    "built_up_edge",
    "job_change",
    "inspection",
)

#: Reasons after which the tool stays as it is and may go back into a station.
STAYS_BUILT: Final = frozenset({"job_change", "inspection"})

#: Reasons that say the edge gave out by breaking, not by wearing.
BREAKS: Final = frozenset({"chipped", "broken"})


def read_reason(text: str) -> str:
    """A removal reason as recorded; blanks and hyphens stand for underscores, in any case.

    Raises:
        Invalid: No such reason; the sentence lists them.

    Examples:
        >>> read_reason("Worn as planned"), read_reason("built-up edge")
        ('worn_as_planned', 'built_up_edge')
    """
    plain = "_".join(text.strip().lower().replace("-", " ").replace("_", " ").split())
    if plain not in REASONS:
        said = ", ".join(reason.replace("_", " ") for reason in REASONS)
        raise Invalid(
            sentence(
                "'{text}' is not a reason for a removal: take one of {said}.",
                text=text.strip()[:60],
                said=said,
            ),
            errors=[
                {
                    "field": "reason",
                    "detail": sentence("one of {reasons}", reasons=together(", ", REASONS)),
                }
            ],
        )
    return plain


def status_after_preset(*, accepted: bool) -> str:
    """AVAILABLE when it may wait as a sister, MEASURED when it was measured in vain."""
    return AVAILABLE if accepted else MEASURED


def status_after_removal(reason: str) -> str:
    """USED when it may go back, BROKEN or EXPIRED when it is over.

    Examples:
        >>> status_after_removal("inspection"), status_after_removal("chipped")
        ('USED', 'BROKEN')
    """
    if reason in STAYS_BUILT:
        return USED
    return BROKEN if reason in BREAKS else EXPIRED


def status_when_freed(*, stays: int, has_preset: bool) -> str:
    """Status of a tool that left a station as if it had never been there.

    Args:
        stays: Stays in a station that remain on record.
        has_preset: Whether an accepted preset holds.
    """
    if stays:
        return USED
    return AVAILABLE if has_preset else NEW
