"""What each printed label says, as plain text ready to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class OffsetText(NamedTuple):
    """An offset as it is keyed in.

    Attributes:
        axis: X, Y or Z.
        text: The number with its sign, such as ``-12.3456``.
        unit: ``mm`` or ``in``.
        on_diameter: True on diameter, False on radius, None where neither applies.
    """

    axis: str
    text: str
    unit: str
    on_diameter: bool | None = None


@dataclass(frozen=True, slots=True)
class AssemblyLabel:
    """A built tool assembly, measured or not.

    Without a machine and station it is a label for the rack; without offsets or an instant of
    measuring it says that it is not measured. Instants are text in the site's time zone.
    ``gauge_override`` says who accepted the preset without a valid gauge check, and why.
    """

    code: str
    spec: str
    machine: str = ""
    station: str = ""
    tool_number: str = ""
    path: str = ""
    item: str = ""
    grade: str = ""
    edge: int | None = None
    edges: int | None = None
    offsets: tuple[OffsetText | tuple[str, str, str, bool | None], ...] = ()
    tip_orientation: str = ""
    nose_radius: str = ""
    holder: str = ""
    measured_at: str = ""
    measured_by: str = ""
    gauge: str = ""
    void_after: str = ""
    gauge_override: str = ""
    note: str = ""

    @property
    def is_measured(self) -> bool:
        """Whether there is anything to key in."""
        return bool(self.offsets and self.measured_at)


@dataclass(frozen=True, slots=True)
class StationPlate:
    """A plate beside one station of a machine."""

    code: str
    machine: str
    station: str
    tool_number: str = ""
    path: str = ""
    spindle: str = ""
    kind: str = ""
    interface: str = ""
    max_rpm: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class HolderTag:
    """A tag that stays with a holder."""

    code: str
    holder: str
    holder_type: str = ""
    designation: str = ""
    interface: str = ""
    max_rpm: int | None = None
    location: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class LotLabel:
    """A box of cutting items."""

    code: str
    lot: str
    item: str = ""
    designation: str = ""
    grade: str = ""
    quantity: int | None = None
    edges: int | None = None
    received_on: str = ""
    location: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class GaugeLabel:
    """A presetter or another gauge, with its last check."""

    code: str
    gauge: str
    description: str = ""
    checked_at: str = ""
    check_due: str = ""
    uncertainty: str = ""
    location: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class BadgeLabel:
    """A person's badge."""

    code: str
    badge: str
    name: str = ""
    role: str = ""
    site: str = ""


Label = AssemblyLabel | StationPlate | HolderTag | LotLabel | GaugeLabel | BadgeLabel
