"""Shapes of feeds, questions, held counts and breakages."""

from __future__ import annotations

from api.schemas.facts import FactBody
from api.schemas.fields import At, Choice, Text, Whole
from api.schemas.query import PlainQuery
from crib.acts.judge_count import VERDICTS
from crib.floor.refused import LARGEST


class MachineQuery(PlainQuery):
    """Of one machine, or of all."""

    machine = Text(explains="Only this machine.")


class GapsQuery(MachineQuery):
    """Of which machine, how far back, and how many."""

    hours = Whole(
        least=1, most=8_784, query=True, load_default=24, explains="Found within so many hours."
    )
    limit = Whole(least=1, most=1_000, query=True, load_default=100, explains="At most.")


class VerdictBody(FactBody):
    """What a supervisor says of a held count."""

    refusal = Whole(
        required=True, least=1, most=2**53, explains="Its number among the refused counts."
    )
    verdict = Choice(VERDICTS, required=True)


class CounterSettingBody(FactBody):
    """A counter is set to a count; nothing is made by that."""

    machine = Text(required=True, explains="Name of the machine.")
    at = At(explains="When it is set, up to 7 days ahead; left out: now.")
    count = Whole(required=True, most=LARGEST, explains="What the counter is set to.")
    path = Whole(least=1, most=9, explains="Path whose counter it is, where each has its own.")
    by = Text(required=True, explains="Badge or code of the person who says so.")


class DismissalBody(FactBody):
    """What a person says of a question."""

    station = Text(explains="Code or MACHINE/STATION, as the question says; or its number.")
    says = Text(explains="What the machine calls the tool, as the question says.")
    question = Whole(least=1, most=2**53, explains="Number of a breakage: no tool broke.")
    by = Text(required=True, explains="Badge or code of the person who says so.")
    note = Text(required=True, explains="Why nobody need be asked.")


class BreakageBody(FactBody):
    """An edge broke."""

    station = Text(explains="Code or MACHINE/STATION; this, or machine and tool_number.")
    machine = Text(explains="Name of the machine.")
    tool_number = Whole(most=10**9, explains="The tool's number in the program.")
    path = Whole(least=1, most=100, explains="Path of the control, where several use it.")
    signal = Text(required=True, explains="What says so, in its own words.")
    question = Whole(
        least=1, most=2**53, explains="Number of the question that it answers: this tool broke."
    )
