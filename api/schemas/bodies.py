"""Shapes of what is sent with the facts that need no more than a few words."""

from __future__ import annotations

from typing import Any

from api.schemas.assemblies import ReadingBody
from api.schemas.facts import FactBody
from api.schemas.fields import At, Choice, ExactLength, Text, Whole, WornLand, listed, within
from api.schemas.mounts import AXES, MOST_PARTS
from crib.acts.choose_night import CHOICES
from crib.acts.correct_offset import KINDS
from crib.records.measures import CHANGE, FLANK_WEAR
from crib.stock.assembly import REASONS
from crib.stock.ledger import MOVES


class RemovalBody(FactBody):
    """Take a tool out of its station."""

    station = Text(explains="Code or MACHINE/STATION; this or assembly.")
    assembly = Text(explains="Code of the tool, or its holder; this or station.")
    reason = Text(required=True, explains=f"One of {', '.join(sorted(REASONS))}.")
    part_count = Whole(most=MOST_PARTS, explains="What the machine's counter says.")
    flank_wear_mm = WornLand(
        **within(FLANK_WEAR), attribute="flank_wear_tenths_um", explains="Worn land VB."
    )


class AxisLetter(Choice):
    """X, Y or Z, in either case."""

    def __init__(self, **kwargs: Any) -> None:
        either_case = {"enum": [*AXES, *(letter.lower() for letter in AXES)]}
        super().__init__(AXES, metadata=either_case, **kwargs)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        letter = value.upper() if isinstance(value, str) else value
        return super()._deserialize(letter, attr, data, **kwargs)


class CorrectionBody(FactBody):
    """A step of one axis in the control's own figures."""

    station = Text(required=True, explains="Code or MACHINE/STATION.")
    axis = AxisLetter(required=True)
    change_mm = ExactLength(
        **within(CHANGE),
        attribute="change_tenths_um",
        required=True,
        explains="The step; 0 says that the first-off was right as it came.",
    )
    kind = Choice(tuple(KINDS), required=True)


class GaugeCheckBody(FactBody):
    """Repeats of a gauge on its setting master."""

    gauge = Text(required=True, explains="Code or mark.")
    readings = listed(ReadingBody, most=1_000, least=1, required=True)


class StockMoveBody(FactBody):
    """A move of stock."""

    lot = Text(required=True, explains="Code or mark.")
    move = Text(required=True, explains=f"One of {', '.join(sorted(MOVES))}.")
    quantity = Whole(
        required=True,
        most=10_000_000,
        explains="Pieces moved; for a stocktaking the pieces counted in the box.",
    )


class RegrindBody(FactBody):
    """A used cutter is back from grinding."""

    lot = Text(required=True, explains="Code or mark.")
    piece = Whole(required=True, least=1, explains="Its number within the lot.")


class StopBody(FactBody):
    """A machine stands still."""

    machine = Text(required=True)
    reason = Text(required=True)
    ends_at = At(explains="When it runs on, as far as that is known.")


class NightChoiceBody(FactBody):
    """Decide what a machine does while nobody is there."""

    machine = Text(required=True)
    begins_at = At(required=True, explains="Begin of the stretch, as /v1/forecasts gives it.")
    ends_at = At(required=True, explains="Its end, likewise.")
    choice = Choice(
        CHOICES,
        required=True,
        explains="run (as it stands), swap (run after the swaps), until or stand.",
    )
    until = At(explains="When to stop; with choice until alone.")


class LifeConfirmationBody(FactBody):
    """Say that the record of an edge's life is right."""

    removal = Whole(
        attribute="removal_id",
        required=True,
        least=1,
        most=2**53,
        explains="The removal that ended the life, as /v1/life gives it.",
    )
    parts = Whole(
        required=True,
        least=0,
        most=2**53,
        explains="Parts that the edge made, as you saw them; refused where they changed since.",
    )


class TeardownBody(FactBody):
    """Take a tool apart."""

    reason = Text()


class ReversalBody(FactBody):
    """Take a fact back."""

    fact = Whole(attribute="fact_id", required=True, least=1, most=2**53)
