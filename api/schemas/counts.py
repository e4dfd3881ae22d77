"""Shapes of part counts; the readings of a batch are judged column by column."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain, islice
from typing import Any

from marshmallow import ValidationError, fields

from api.schemas.facts import FactBody
from api.schemas.fields import At, Shape, Text, Whole
from crib.acts.observe import TELLING
from crib.acts.report_counts import MOST_READINGS
from crib.sentence import sentence

#: Refused readings that an answer names; it says how many there are in all.
MOST_REFUSED_SHOWN = 100

_KNOWN = frozenset({"at", "count", "path", "run"})


class ReadingShape(Shape):
    """One reading of a part counter."""

    at = At(required=True)
    count = Whole(required=True, most=2**53)
    path = fields.Raw(
        metadata={
            "type": ["string", "integer", "null"],
            "description": "The path that it counts, such as 2, where the machine's "
            "path_counters give it a counter of its own.",
        }
    )
    run = fields.Raw(
        metadata={
            "type": ["string", "integer", "null"],
            "description": "The run it belongs to; left out: the one that was running then.",
        }
    )


class ObservationShape(Shape):
    """What was observed of a machine at an instant: one thing or several."""

    at = At(required=True)
    path = Text(allow_none=True, explains="Path of the control, where it has several.")
    count = Whole(allow_none=True, most=2**53, explains="What the part counter shows.")
    state = Text(
        allow_none=True, explains="Execution state; ACTIVE while it cuts (MTConnect, part 2)."
    )
    tool_number = Whole(allow_none=True, most=10**9 - 1, explains="Tool in work.")
    tool_asset = Text(allow_none=True, explains="Code or asset id of the tool in work.")
    breakage = Text(allow_none=True, explains="What tells that the tool broke.")


class Readings(fields.List[Any]):
    """Readings as JSON gave them.

    A schema per reading costs more than all the counting: here only the members' names are
    looked at, and the use case judges instants and counts as whole columns. A reading with a
    bad instant or count is answered under ``refused``; the others are taken.
    """

    members = _KNOWN

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise ValidationError(sentence("must be a list of readings"))
        if not 1 <= len(value) <= MOST_READINGS:
            raise ValidationError(
                sentence(
                    "holds {value} readings: send at least one and at most {most_readings}",
                    value=len(value),
                    most_readings=MOST_READINGS,
                )
            )
        if set(map(type, value)) - {dict}:
            wrong = (
                place for place, reading in enumerate(value) if not isinstance(reading, dict)
            )
            raise ValidationError(
                {
                    place: [sentence("must be an object with at and count")]
                    for place in islice(wrong, MOST_REFUSED_SHOWN)
                }
            )
        unknown = set(chain.from_iterable(value)) - self.members
        if unknown:
            raise ValidationError(_where(value, unknown))
        return value


class Observations(Readings):
    """Observations as JSON gave them, judged by the use case like readings."""

    members = frozenset({"at", "path", *TELLING})


def _where(readings: list[Mapping[str, Any]], unknown: set[str]) -> dict[Any, Any]:
    wrong = (
        (place, unknown & set(reading))
        for place, reading in enumerate(readings)
        if unknown & set(reading)
    )
    return {
        place: {
            name: ["is not a field of a reading"]
            for name in islice(sorted(names), MOST_REFUSED_SHOWN)
        }
        for place, names in islice(wrong, MOST_REFUSED_SHOWN)
    }


class CountsBody(FactBody):
    """What a machine's part counter said."""

    machine = Text(required=True)
    readings = Readings(
        fields.Nested(ReadingShape),
        required=True,
        metadata={"minItems": 1, "maxItems": MOST_READINGS},
        error_messages={
            "required": sentence("is missing"),
            "null": sentence("may not be null"),
        },
    )


class ObservationsBody(Shape):
    """What was observed of a machine."""

    machine = Text(required=True)
    observations = Observations(
        fields.Nested(ObservationShape),
        required=True,
        metadata={"minItems": 1, "maxItems": 50_000},
        error_messages={
            "required": sentence("is missing"),
            "null": sentence("may not be null"),
        },
    )


class RefusedReading(Shape):
    """A reading that is held, and why."""

    index = Whole(required=True, explains="Its place in the batch, from 0.")
    at = At(allow_none=True)
    count = fields.Raw(metadata={"description": "What it said."})
    reason = Text(required=True, explains="A stable word.")
    detail = Text(required=True, attribute="sentence")


class CountsShape(Shape):
    """What became of a batch."""

    fact = Whole(
        attribute="fact_id",
        most=2**53,
        allow_none=True,
        explains="Null: it said nothing new.",
    )
    accepted = Whole(required=True)
    duplicates = Whole(required=True, explains="Readings that were known already.")
    resets_seen = Whole(required=True)
    rollovers_seen = Whole(required=True)
    refused = fields.List(
        fields.Nested(RefusedReading),
        required=True,
        metadata={
            "maxItems": MOST_REFUSED_SHOWN,
            "description": f"The first {MOST_REFUSED_SHOWN} of them.",
        },
    )
    refused_in_all = Whole(required=True, explains="How many were refused.")
    parts_without_run = Whole(
        required=True,
        explains="Parts of these counts that belong to no run: no edge is charged with them.",
    )
    without_run = Text(allow_none=True, explains="What to do about them.")


class ClaimBody(Shape):
    """That a run made parts which belong to none so far."""

    run = Whole(required=True, least=1, explains="Number of the run.")
    since = At(
        allow_none=True,
        explains="since of /v1/parts-without-run; left out: the latest that may be this run's.",
    )
