"""What a scan shows of each kind of thing, and the acts that may follow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from crib.metrology.offset import AxisOffset


@dataclass(frozen=True, slots=True)
class Act:
    """Something that may be done next: a request with what is known filled in."""

    slug: str
    method: str
    path: str
    body: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ToolShown:
    """An assembly as a scan shows it; lengths in 0.1 µm.

    ``gauge_override`` says who let its preset count, and why, where its gauge was not checked.
    """

    code: str
    cutter_status: str
    tool_spec: str
    holder: str
    holder_code: str
    holder_location: str | None
    cutting_item: str
    grade: str | None
    lot: str
    lot_code: str
    edge: int
    edges: int
    built_at: datetime
    ended_at: datetime | None
    tip_orientation: int | None
    nose_radius_tenths_um: int | None
    preset_id: int | None
    measured_at: datetime | None
    measured_by: str | None
    gauge: str | None
    gauge_override: str | None
    accepted: bool | None
    why_not: tuple[str, ...]
    void_after: datetime | None
    lf_tenths_um: int | None
    wf_tenths_um: int | None
    hf_tenths_um: int | None
    re_tenths_um: int | None
    station: str | None
    station_code: str | None
    tool_number: int | None
    path: int | None
    mounted_at: datetime | None
    offsets: tuple[AxisOffset, ...]


@dataclass(frozen=True, slots=True)
class StationShown:
    """A station as a scan shows it: what is in it, what its program expects."""

    code: str
    station: str
    machine: str
    tool_number: int
    path: int
    part: str | None
    expected_tool_spec: str | None
    holds: ToolShown | None


@dataclass(frozen=True, slots=True)
class HolderShown:
    """A holder as a scan shows it, and the tool that it is built as."""

    code: str
    holder: str
    holder_type: str
    location: str | None
    condition: str | None
    out_of_service: bool
    built_as: ToolShown | None


@dataclass(frozen=True, slots=True)
class LotShown:
    """A lot as a scan shows it; ``free_edges`` are those of opened pieces outside tools."""

    code: str
    lot: str
    cutting_item: str
    designation: str
    grade: str | None
    location: str | None
    on_hand: int
    edges: int
    free_edges: int


@dataclass(frozen=True, slots=True)
class GaugeShown:
    """A gauge as a scan shows it, and whether presets on it would be accepted now."""

    code: str
    gauge: str
    checked_at: datetime | None
    valid: bool
    check_hours: float


@dataclass(frozen=True, slots=True)
class Scan:
    """The answer to a scan.

    Attributes:
        kind: Kind letter.
        what: The kind in words.
        code: The code that holds now.
        mark: The shop's own mark, where it has one.
        sentence: What it is, for a person.
        superseded_at: When the scanned label became void, if it is.
        retired: Whether the record was retired.
        acts: What may be done next.
        tool: Shown for an assembly; likewise station, holder, lot, gauge for theirs.
    """

    kind: str
    what: str
    code: str
    mark: str | None
    sentence: str
    superseded_at: datetime | None
    retired: bool
    acts: tuple[Act, ...]
    tool: ToolShown | None = None
    station: StationShown | None = None
    holder: HolderShown | None = None
    lot: LotShown | None = None
    gauge: GaugeShown | None = None
