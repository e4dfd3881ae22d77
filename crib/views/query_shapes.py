"""One row of each list of facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """Rows by ascending id; ``next_after`` asks for the following page, None at the end.

    Attributes:
        rows: The rows.
        next_after: The last number looked at, read or not.
        unreadable: Numbers of damaged rows, left out.
    """

    rows: tuple[Row, ...]
    next_after: int | None
    unreadable: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class FactListed:
    """What every fact of a list says.

    Attributes:
        id: Its number.
        at: When it happened.
        recorded_at: When it was recorded.
        by: Badge of who said so.
        note: What they noted.
        reversed: Whether it was taken back.
    """

    id: int
    at: datetime
    recorded_at: datetime
    by: str | None
    note: str | None
    reversed: bool


@dataclass(frozen=True, slots=True)
class AssemblyListed(FactListed):
    """One tool that was built, as it is now."""

    code: str
    tool_spec: str
    holder: str
    holder_location: str | None
    cutting_item: str
    lot: str
    edge: int
    edges: int
    cutter_status: str
    preset_id: int | None
    void_after: datetime | None
    ended_at: datetime | None
    station: str | None


@dataclass(frozen=True, slots=True)
class PresetListed(FactListed):
    """One preset; lengths in 0.1 µm.

    ``override_by`` accepted it, for ``override_reason``, although its gauge was not checked.
    """

    assembly: str
    gauge: str | None
    accepted: bool
    why_not: Sequence[str]
    lf_tenths_um: int | None
    wf_tenths_um: int | None
    hf_tenths_um: int | None
    re_tenths_um: int | None
    standard_deviation_mm: Mapping[str, float | None]
    expanded_uncertainty_mm: Mapping[str, float]
    void_after: datetime
    override_by: str | None
    override_reason: str | None


@dataclass(frozen=True, slots=True)
class MountListed(FactListed):
    """One stay in a station; offsets as keyed in [0.1 µm]."""

    assembly: str
    station: str
    preset_id: int
    part_count: int | None
    offset_x_tenths_um: int | None
    offset_y_tenths_um: int | None
    offset_z_tenths_um: int | None
    removal_id: int | None
    removed_at: datetime | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class RemovalListed(FactListed):
    """One removal."""

    assembly: str
    station: str
    mount_id: int
    reason: str
    part_count: int | None
    flank_wear_tenths_um: int | None


@dataclass(frozen=True, slots=True)
class CorrectionListed(FactListed):
    """One offset step in the control's figures [0.1 µm]."""

    assembly: str
    station: str
    mount_id: int
    axis: str
    change_tenths_um: int
    kind: str


@dataclass(frozen=True, slots=True)
class TeardownListed(FactListed):
    """One tool taken apart."""

    assembly: str
    reason: str | None


@dataclass(frozen=True, slots=True)
class LabelPrintListed(FactListed):
    """One print of a tool's label; ``reason`` says why again, ``queue`` what took it."""

    assembly: str
    printed_code: str
    preset_id: int | None
    stock: str
    reason: str | None
    queue: str | None


@dataclass(frozen=True, slots=True)
class RackPlaceListed(FactListed):
    """One time that a tool was put in a rack."""

    assembly: str
    machine: str | None
    place: str | None


@dataclass(frozen=True, slots=True)
class StockMoveListed(FactListed):
    """One line of the ledger; ``reverses_id`` where it takes another back."""

    lot: str
    cutting_item: str
    move: str
    change: int
    on_hand: int
    reverses_id: int | None


@dataclass(frozen=True, slots=True)
class GaugeCheckListed(FactListed):
    """One check of a gauge on its master."""

    gauge: str
    valid: bool
    result: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class StopListed(FactListed):
    """One stop of a machine."""

    machine: str
    ends_at: datetime | None
    reason: str


@dataclass(frozen=True, slots=True)
class NightChoiceListed(FactListed):
    """What somebody decided for an unattended stretch of a machine."""

    machine: str
    begins_at: datetime
    ends_at: datetime
    choice: str
    until: datetime | None


@dataclass(frozen=True, slots=True)
class CountBatchListed(FactListed):
    """One batch of counter readings that brought something new."""

    machine: str
    accepted: int
    duplicates: int
    refused: int


@dataclass(frozen=True, slots=True)
class RefusedCountListed:
    """One counter reading that is kept aside; ``at`` is None where it could not be read.

    ``verdict`` is accepted, discarded, counter_set, booked_later (since another one was
    counter_set) or None where nobody judged it; ``verdict_id`` its fact.
    """

    id: int
    at: datetime | None
    recorded_at: datetime
    by: str | None
    machine: str
    batch_id: int
    reading: Mapping[str, object]
    reason: str
    sentence: str
    verdict_id: int | None
    verdict: str | None
    judged_by: str | None


@dataclass(frozen=True, slots=True)
class CountVerdictListed(FactListed):
    """One word of a person about a reading that was kept aside."""

    machine: str
    refusal_id: int
    verdict: str
    counted_at: datetime | None
    reading: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class BreakageListed(FactListed):
    """One signal that an edge broke."""

    assembly: str
    station: str
    mount_id: int
    signal: str


@dataclass(frozen=True, slots=True)
class LifeConfirmationListed(FactListed):
    """One edge whose life a person said is recorded right.

    Attributes:
        removal_id: The removal that ended the life.
        parts: Parts that the edge had made, as the person saw them.
    """

    assembly: str
    station: str
    removal_id: int
    parts: int


@dataclass(frozen=True, slots=True)
class QuestionDismissalListed(FactListed):
    """One question about a tool that a person dismissed; ``note`` says why.

    Attributes:
        station: MACHINE/STATION; the machine alone where nobody knew which tool broke.
        tool_number: The number under which the machine calls the tool, if it has one.
    """

    station: str
    path: str
    tool_number: int | None
    says: str
    since: datetime
    mount_id: int | None
