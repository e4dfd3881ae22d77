"""Recording that a tool's label was printed: once without a word, again only with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.acts.named import named_assembly
from crib.acts.who_and_when import record, refuse_before, who_and_when
from crib.clock import print_instant
from crib.errors import Conflict, Invalid
from crib.records.columns import LONGEST_TEXT
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.label_prints import PrintRow, insert_print, prints_of_label


@dataclass(frozen=True, slots=True)
class PrintLabel:
    """Print the label of a tool.

    Attributes:
        assembly: Code of its label, or its holder.
        stock: Name of the label stock.
        reason: Why it is printed again; the first print needs none.
        queue: Print queue that takes it; None where it is opened to be printed.
    """

    assembly: str
    stock: str
    reason: str | None = None
    queue: str | None = None
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


def not_printed(text: str) -> str:
    """What to say where a label cannot be worked out."""
    return sentence(
        "The label of {text} could not be worked out. Check its records, then "
        "print it again. The service log has the details.",
        text=text,
    )


@dataclass(frozen=True, slots=True)
class LabelPrinted:
    """A label on paper.

    Attributes:
        fact_id: The fact.
        code: The code on it.
        ordinal: How often this label was printed, this time included.
        earlier: Its prints before, the first first.
        stock: Label stock.
        reason: Why it was printed again.
        queue: Print queue that took it; null where it is opened to be printed.
        at: When.
    """

    fact_id: int
    code: str
    ordinal: int
    earlier: tuple[PrintRow, ...]
    stock: str
    reason: str | None
    queue: str | None
    at: datetime


def print_label(tx: Tx, present: datetime, command: PrintLabel) -> LabelPrinted:
    """Record that a tool's present label is printed.

    A label of another preset is another label: its first print needs no reason.

    Raises:
        Conflict: It was printed before and no reason is given, or the tool is over.
        Invalid: The reason is a pasted page, or the instant cannot be.
        NotKnown: A code that nothing carries.
    """
    told = who_and_when(tx, present, command)
    assembly = named_assembly(tx, command.assembly).row
    if assembly.ended_at is not None:
        raise Conflict(
            sentence(
                "{code} has ended ({cutter_status} since {ended_at}): a label of it "
                "would mislead.",
                code=assembly.code,
                cutter_status=assembly.cutter_status,
                ended_at=print_instant(assembly.ended_at),
            ),
            facts={"assembly": assembly.code, "cutter_status": assembly.cutter_status},
        )
    told = refuse_before(
        told, assembly.built_at, sentence("{code} was built", code=assembly.code)
    )
    reason = (command.reason or "").strip() or None
    if reason is not None and len(reason) > LONGEST_TEXT:
        raise Invalid(
            sentence(
                "The reason is {reason} characters long: at most {longest_text} are allowed.",
                reason=len(reason),
                longest_text=LONGEST_TEXT,
            ),
            errors=[
                {
                    "field": "reason",
                    "detail": sentence(
                        "at most {longest_text} characters", longest_text=LONGEST_TEXT
                    ),
                }
            ],
        )
    earlier = prints_of_label(tx, assembly.code, assembly.preset_id)
    if earlier and reason is None:
        raise _printed_before(assembly.code, earlier)
    fact_id = record(tx, "label_print", told)
    insert_print(
        tx,
        fact_id,
        assembly_id=assembly.id,
        code=assembly.code,
        preset_id=assembly.preset_id,
        stock=command.stock,
        reason=reason,
        queue=command.queue,
    )
    return LabelPrinted(
        fact_id=fact_id,
        code=assembly.code,
        ordinal=len(earlier) + 1,
        earlier=earlier,
        stock=command.stock,
        reason=reason,
        queue=command.queue,
        at=told.at,
    )


def _printed_before(code: str, earlier: tuple[PrintRow, ...]) -> Conflict:
    last = earlier[-1]
    times = (
        sentence("once")
        if len(earlier) == 1
        else sentence("{earlier} times", earlier=len(earlier))
    )
    by = last.by or sentence("somebody")
    return Conflict(
        sentence(
            "The label of {code} was printed {times} before, last at {at} by {by}: two "
            "labels of one tool mislead. Say why it is printed again, and take the "
            "other one off.",
            code=code,
            times=times,
            at=print_instant(last.at),
            by=by,
        ),
        facts={
            "assembly": code,
            "prints": len(earlier),
            "last_at": print_instant(last.at),
            "last_by": last.by,
        },
        errors=[
            {
                "field": "reason",
                "detail": sentence("is missing: printed {times} before", times=times),
            }
        ],
    )
