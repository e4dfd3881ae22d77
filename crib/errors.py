"""Refusals: what the service will not do, said to the person at the machine.

A refusal knows no status code and no web; ``api.problems`` maps classes to problem
documents. Raise one where the rule lives.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from crib.sentence import figure, sentence


class Refusal(Exception):  # noqa: N818 - a refusal is an answer, not a fault
    """Something that the shop asked for and may not have.

    Args:
        sentence: What is wrong and what to do, for a reader on the shop floor.
        facts: Codes and numbers that the sentence speaks of.
        errors: Field problems as ``{"field": ..., "detail": ...}``.
    """

    kind: ClassVar[str] = "refused"

    def __init__(
        self,
        sentence: str,
        *,
        facts: Mapping[str, object] | None = None,
        errors: list[dict[str, str]] | None = None,
    ) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.facts = dict(facts or {})
        self.errors = list(errors or [])


class Invalid(Refusal):
    """Input that cannot mean anything here (422)."""

    kind = "invalid"


def above_longest(name: str, value: float, longest: float) -> Invalid:
    """The refusal of a field that is 0 or less, or above its longest."""
    span = figure(longest, "g")
    return Invalid(
        sentence(
            "{column} is {value}; it has to be above 0 and at most {most}.",
            column=name,
            value=figure(value, "g"),
            most=span,
        ),
        errors=[{"field": name, "detail": sentence("above 0 and at most {most}", most=span)}],
    )


class Contradiction(Invalid):
    """Values that can be read one by one, but not together, or not in this shop (409)."""

    kind = "contradiction"


class BadCode(Invalid):
    """A code whose check character or shape is wrong: mistyped, so it names nothing (404)."""

    kind = "bad-code"


class BadDesignation(Invalid):
    """A designation with a position that no table of its standard has (404)."""

    kind = "bad-designation"


class OutsideModel(Invalid, ValueError):  # noqa: N818 - see Refusal
    """A number outside the range in which a formula holds (409)."""

    kind = "outside-model"


class NotKnown(Refusal):
    """A well-formed name or code that nothing here carries (404)."""

    kind = "not-known"


class NotAllowed(Refusal):
    """The person or token may not do this (403)."""

    kind = "not-allowed"


class Conflict(Refusal):
    """The shop's present state forbids it (409)."""

    kind = "conflict"


class StationOccupied(Conflict):
    """Another assembly sits in the station."""

    kind = "station-occupied"


class AlreadyMounted(Conflict):
    """The assembly sits in a station already."""

    kind = "already-mounted"


class HolderInUse(Conflict):
    """The holder is part of an assembly that still exists."""

    kind = "holder-in-use"


class EdgeUsed(Conflict):
    """The edge has cut before."""

    kind = "edge-used"


class NoneLeft(Conflict):
    """The lot is empty."""

    kind = "none-left"


class DoesNotFit(Conflict):
    """The pieces do not belong together; ``errors`` lists every mismatch."""

    kind = "does-not-fit"


class NotMounted(Conflict):
    """Nothing sits where something was to be taken out or corrected."""

    kind = "not-mounted"


class KeyReused(Conflict):
    """The same idempotency key came with another body."""

    kind = "key-reused"


class InUse(Conflict):
    """A record that facts still name cannot be retired or replaced so."""

    kind = "in-use"


class Damaged(Conflict, ValueError):  # noqa: N818 - see Refusal
    """A stored value that cannot be read, or a reference to a row that is not there (409)."""

    kind = "damaged-record"


class ChangedMeanwhile(Refusal):
    """Somebody else changed it since it was read (412)."""

    kind = "changed-meanwhile"


class StoreFull(Refusal):
    """The disk or the database took no more (507); nothing was recorded."""

    kind = "store-full"


class StoreBusy(Refusal):
    """Somebody else held the database for too long (503); nothing was recorded."""

    kind = "busy"
