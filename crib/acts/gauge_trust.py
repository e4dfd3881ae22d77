"""Whether a gauge may be believed at an instant, how far, and who may say otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.clock import print_instant
from crib.errors import Invalid, NotAllowed
from crib.metrology.gauge_check import BIAS_SHARE, DEFAULT_TOLERANCE_WIDTH_TENTHS_UM
from crib.records.catalogue import PEOPLE
from crib.records.columns import LONGEST_TEXT
from crib.sentence import figure, sentence, word
from crib.store.engine import Tx
from crib.store.presets import GaugeRow, has_gauges, last_check
from crib.store.records import get_record
from crib.store.resolve import resolve_person


@dataclass(frozen=True, slots=True)
class Override:
    """A preset is to count although its gauge does not.

    Attributes:
        by: Badge or code of the supervisor who says so.
        reason: Why; it is shown with the preset.
    """

    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class GaugeOverridden:
    """What a supervisor overrode.

    Attributes:
        person_id: The supervisor.
        by: Their name.
        reason: Why.
        problems: What spoke against the gauge, in sentences.
        sentence: All of it for a reader.
    """

    person_id: int
    by: str
    reason: str
    problems: tuple[str, ...]
    sentence: str


def gauge_problems(tx: Tx, gauge: GaugeRow | None, at: datetime) -> tuple[str, ...]:
    """Why a preset of an instant may not lean on its gauge, in sentences.

    A shop that has gauges on record names one for each preset; one that has none may not.
    """
    if gauge is None:
        if not has_gauges(tx):
            return ()
        return (sentence("No gauge was named: scan the gauge that it was measured on."),)
    again = sentence("Check the gauge on the setting master first, then measure again.")
    check = last_check(tx, gauge.id, at)
    if check is None:
        return (
            sentence(
                "Gauge {gauge} was never checked. {again}", gauge=gauge.gauge, again=again
            ),
        )
    if not check.valid:
        return (
            sentence(
                "Gauge {gauge} failed its check at {at}. {again}",
                gauge=gauge.gauge,
                at=print_instant(check.at),
                again=again,
            ),
        )
    if at > check.at + timedelta(hours=gauge.check_hours):
        return (
            sentence(
                "Gauge {gauge} was last checked at {at}; a check is good for "
                "{check_hours} hours. {again}",
                gauge=gauge.gauge,
                at=print_instant(check.at),
                check_hours=figure(gauge.check_hours, "g"),
                again=again,
            ),
        )
    return ()


def width_tenths_um(gauge: GaugeRow) -> int:
    """Width of the tolerance that the gauge serves, from how far it may be off [0.1 µm]."""
    if gauge.check_tolerance_tenths_um is None:
        return DEFAULT_TOLERANCE_WIDTH_TENTHS_UM
    return round(gauge.check_tolerance_tenths_um / BIAS_SHARE)


def gauge_overridden(
    tx: Tx, override: Override | None, problems: Sequence[str]
) -> GaugeOverridden | None:
    """What an override comes to; None where nobody overrides, or nothing needs it.

    Args:
        tx: An open transaction.
        override: Who overrides and why, as it was sent.
        problems: Why the gauge may not be used.

    Raises:
        NotAllowed: The person who overrides is not a supervisor.
        Invalid: No reason, or a pasted page.
        NotKnown: Nobody here has that badge or code.
    """
    if override is None:
        return None
    person = resolve_person(tx, override.by, field="override.by")
    known = get_record(tx, PEOPLE, person.id)
    if known["role"] != "supervisor":
        raise NotAllowed(
            sentence(
                "{name} is {role} here: only a supervisor may override an unchecked gauge.",
                name=known["name"],
                role=word(known["role"]),
            ),
            facts={"role": known["role"]},
            errors=[{"field": "override.by", "detail": sentence("is not a supervisor")}],
        )
    reason = override.reason.strip()
    if not 0 < len(reason) <= LONGEST_TEXT:
        raise Invalid(
            sentence(
                "An override needs a reason of 1 to {longest_text} characters: say why "
                "the preset may be used although its gauge was not checked.",
                longest_text=LONGEST_TEXT,
            ),
            errors=[
                {
                    "field": "override.reason",
                    "detail": sentence(
                        "1 to {longest_text} characters", longest_text=LONGEST_TEXT
                    ),
                }
            ],
        )
    if not problems:
        return None
    name = str(known["name"])
    return GaugeOverridden(
        person.id, name, reason, tuple(problems), override_sentence(name, reason)
    )


def override_sentence(by: str, reason: str) -> str:
    """What an accepted preset says of its gauge that was not checked."""
    return sentence("Gauge not checked: {by} overrode this ({reason}).", by=by, reason=reason)
