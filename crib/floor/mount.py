"""Right or wrong: everything that speaks against mounting an assembly in a station."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.clock import print_instant
from crib.units import TenthsUm, in_from_tenths_um, mm_from_tenths_um

#: Cutter status values (MTConnect) that may go into a machine.
MOUNTABLE = ("MEASURED", "AVAILABLE", "ALLOCATED", "USED", "RECONDITIONED")

#: A nose radius counts as the expected one within a tenth of it or 0.02 mm; common practice,
#: no source. Radii of ISO 1832 lie farther apart.
RADIUS_SHARE = 10
RADIUS_LEAST_TENTHS_UM = 200


@dataclass(frozen=True, slots=True)
class Expected:
    """What the running program expects in the station; None where it does not care.

    Args:
        part: Part that the program makes.
        tool_spec: Tool spec, None where the program uses no tool in this station.
        tip_orientation: 0 to 9.
        nose_radius_tenths_um: Nose radius that the program is written for [0.1 µm].
        hand: R, L or N.
        wanted_rpm: Highest spindle speed that the program commands after its own limit
            [rpm].
        wanted_at: Stations whose program lines expect the tool spec that is offered.
    """

    part: str
    tool_spec: str | None = None
    tip_orientation: int | None = None
    nose_radius_tenths_um: TenthsUm | None = None
    hand: str | None = None
    wanted_rpm: float | None = None
    wanted_at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offered:
    """The assembly in the operator's hand, as the records know it; None where unknown.

    Args:
        code: Its code.
        tool_spec: Spec that it was built for.
        holder: The shop's mark of the holder.
        holder_interface: What the holder fits into.
        holder_kind: turning, live or drilling.
        holder_out_of_service: Why the holder may not be used.
        max_rpm: Lowest speed limit of tool, spec and holder [rpm].
        tip_orientation: 0 to 9.
        nose_radius_tenths_um: Measured nose radius [0.1 µm].
        nominal_nose_radius_tenths_um: Nominal nose radius of spec or insert [0.1 µm].
        hand: R, L or N.
        cutter_status: MTConnect value.
        share_used: Share of the edge's life that is used up.
        preset_accepted: None where it was never measured.
        preset_at: When it was measured.
        void_after: Instant after which the preset no longer counts.
        gauge_valid: Whether the gauge had a good check when it was measured.
        label_current: Whether the label read is the newest; None where none was read.
        mounted_at: Station in which it sits now.
    """

    code: str
    tool_spec: str
    holder: str
    holder_interface: str | None = None
    holder_kind: str | None = None
    holder_out_of_service: str | None = None
    max_rpm: float | None = None
    tip_orientation: int | None = None
    nose_radius_tenths_um: TenthsUm | None = None
    nominal_nose_radius_tenths_um: TenthsUm | None = None
    hand: str | None = None
    cutter_status: str = "MEASURED"
    share_used: float | None = None
    preset_accepted: bool | None = None
    preset_at: datetime | None = None
    void_after: datetime | None = None
    gauge_valid: bool | None = None
    label_current: bool | None = None
    mounted_at: str | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """The station: what fits it, how fast it may turn, what sits in it."""

    machine: str
    station: str
    code: str
    interface: str | None = None
    kind: str | None = None
    max_rpm: float | None = None
    occupied_by: str | None = None
    offset_unit: str = "mm"

    def __str__(self) -> str:
        return f"{self.machine}/{self.station}"


@dataclass(frozen=True, slots=True)
class Scanned:
    """Codes that the scanner read at the machine; None where nothing was scanned."""

    station: str | None = None
    assembly: str | None = None


@dataclass(frozen=True, slots=True)
class Mismatch:
    """One thing that is wrong: field of the request, slug for programs, words for people."""

    field: str
    slug: str
    sentence: str


def mismatches(
    expected: Expected | None,
    offered: Offered,
    place: Place,
    scanned: Scanned | None,
    at: datetime,
) -> list[Mismatch]:
    """Every reason against this mount, all at once; empty where it may go in.

    Args:
        expected: What the program expects; None where no run is known for the machine.
        offered: The assembly.
        place: The station.
        scanned: What the scanner read, beside what was typed or chosen.
        at: Instant of the mount.
    """
    found = [
        *_scan(offered, place, scanned or Scanned()),
        *_program(expected, offered, place),
        *_preset(offered, at),
        *_edge(offered),
        *_room(expected, offered, place),
    ]
    return [Mismatch(*row) for row in found]


def not_compared(offered: Offered, place: Place) -> str:
    """What a mount is checked for where no job is on or planned, and what not.

    Whether the holder fits the station is checked where both are on record.
    """
    fits = (place.interface and offered.holder_interface) or (
        place.kind and offered.holder_kind
    )
    if fits:
        return (
            f"No job is on or planned at {place.machine}: this tool was not compared with a "
            f"program. Look in the program whether {offered.tool_spec} belongs here. The "
            "measurement, the edge and whether the holder fits the station were checked."
        )
    return (
        f"No job is on or planned at {place.machine}: this tool was not compared with a "
        f"program. Look in the program whether {offered.tool_spec} belongs here. Only the "
        "measurement and the edge were checked."
    )


_Rows = list[tuple[str, str, str]]


def _scan(offered: Offered, place: Place, scanned: Scanned) -> _Rows:
    rows = []
    if scanned.station is not None and scanned.station != place.code:
        rows.append((
            "scanned.station", "scanned-differs",
            f"The scanned station is {scanned.station}, the mount names {place.code} "
            f"({place}): stand at the right station and scan again.",
        ))  # fmt: skip
    if scanned.assembly is not None and scanned.assembly != offered.code:
        rows.append((
            "scanned.assembly", "scanned-differs",
            f"The scanned assembly is {scanned.assembly}, the mount names {offered.code}: take "
            "the tool that is meant and scan it again.",
        ))  # fmt: skip
    if offered.label_current is False:
        rows.append((
            "assembly", "earlier-label",
            f"The label on {offered.code} is of an earlier preset: take it off, print the new "
            "one and read the offsets from that.",
        ))  # fmt: skip
    return rows


def _program(expected: Expected | None, offered: Offered, place: Place) -> _Rows:
    if expected is None:
        return []
    rows = []
    if expected.tool_spec != offered.tool_spec:
        wants = (
            f"expects {expected.tool_spec} there"
            if expected.tool_spec is not None
            else "uses no tool there"
        )
        go = (
            f"it belongs in {' or '.join(expected.wanted_at)}"
            if expected.wanted_at
            else "put it back in the rack and take the right tool"
        )
        rows.append((
            "station", "wrong-station" if expected.wanted_at else "wrong-spec",
            f"{offered.code} is {offered.tool_spec}; the program for {expected.part} {wants} "
            f"(station {place}): {go}.",
        ))  # fmt: skip
    rows += _look_alike(expected, offered, place.offset_unit)
    return rows


def _look_alike(expected: Expected, offered: Offered, unit: str) -> _Rows:
    rows = []
    orientation = expected.tip_orientation
    if None not in (orientation, offered.tip_orientation) and (
        orientation != offered.tip_orientation
    ):
        rows.append((
            "assembly", "wrong-tip-orientation",
            f"The program expects tip orientation {orientation}, {offered.code} has "
            f"{offered.tip_orientation}: look which way the nose points and "
            "take the other holder.",
        ))  # fmt: skip
    if expected.hand and offered.hand and expected.hand != offered.hand:
        rows.append((
            "assembly", "wrong-hand",
            f"The program expects hand {expected.hand}, {offered.code} has hand "
            f"{offered.hand}: take the other holder.",
        ))  # fmt: skip
    radius = expected.nose_radius_tenths_um
    measured = offered.nose_radius_tenths_um
    found = offered.nominal_nose_radius_tenths_um if measured is None else measured
    if radius is not None and found is not None and not same_radius(found, radius):
        rows.append((
            "assembly", "wrong-nose-radius",
            f"The program expects nose radius {_length(radius, unit)}, "
            f"{offered.code} has {_length(found, unit)}: fit the right insert and "
            "measure it again.",
        ))  # fmt: skip
    return rows


def _length(length_tenths_um: int, unit: str) -> str:
    if unit == "in":
        return f"{in_from_tenths_um(length_tenths_um)} in"
    return f"{mm_from_tenths_um(length_tenths_um)} mm"


def _preset(offered: Offered, at: datetime) -> _Rows:
    rows = []
    again = "bring it to the bench and measure it again."
    if offered.preset_accepted is None:
        rows.append(("assembly", "no-preset", f"{offered.code} was never measured: {again}"))
    elif not offered.preset_accepted:
        rows.append((
            "assembly", "preset-not-accepted",
            f"The last measurement of {offered.code} was not accepted: {again}",
        ))  # fmt: skip
    if offered.void_after is not None and at > offered.void_after:
        rows.append((
            "assembly", "preset-void",
            f"The measurement of {offered.code} counted until "
            f"{print_instant(offered.void_after)}: {again}",
        ))  # fmt: skip
    if offered.gauge_valid is False:
        rows.append((
            "assembly", "gauge-not-checked",
            f"The gauge had no good check on its master when {offered.code} was measured: "
            f"check the gauge, then {again}",
        ))  # fmt: skip
    return rows


def _edge(offered: Offered) -> _Rows:
    rows = []
    status = offered.cutter_status
    turn = "bring it to the bench for a new edge."
    if status == "BROKEN":
        rows.append(("assembly", "edge-broken", f"The edge of {offered.code} broke: {turn}"))
    elif status == "EXPIRED" or (offered.share_used is not None and offered.share_used >= 1):
        rows.append(
            ("assembly", "edge-used-up", f"The edge of {offered.code} is used up: {turn}")
        )
    elif status not in MOUNTABLE and not (status == "NEW" and offered.preset_accepted is None):
        rows.append((
            "assembly", "not-mountable",
            f"{offered.code} has status {status} and may not go into a machine: ask the "
            "toolroom.",
        ))  # fmt: skip
    if offered.holder_out_of_service:
        rows.append((
            "assembly", "holder-out-of-service",
            f"Holder {offered.holder} is out of service ({offered.holder_out_of_service}): "
            "take another one.",
        ))  # fmt: skip
    return rows


def _room(expected: Expected | None, offered: Offered, place: Place) -> _Rows:
    rows = []
    if offered.mounted_at is not None:
        rows.append((
            "assembly", "mounted-elsewhere",
            f"{offered.code} sits in station {offered.mounted_at}: record its removal there "
            "first.",
        ))  # fmt: skip
    if place.occupied_by is not None and place.occupied_by != offered.code:
        rows.append((
            "station", "station-occupied",
            f"Station {place} holds {place.occupied_by}: take it out and record its removal "
            "first.",
        ))  # fmt: skip
    for field, slug, takes, has in (
        ("interface", "wrong-interface", place.interface, offered.holder_interface),
        ("kind", "wrong-kind", place.kind, offered.holder_kind),
    ):
        if not takes_it(takes, has):
            rows.append((
                "station", slug,
                f"Station {place} takes {field} {takes}, holder {offered.holder} has {has}: it "
                "does not fit; take a holder that does.",
            ))  # fmt: skip
    limit = lowest_rpm(place.max_rpm, offered.max_rpm)
    wanted = expected.wanted_rpm if expected else None
    if limit is not None and wanted is not None and wanted > limit:
        rows.append((
            "station", "too-fast",
            f"The program turns at {wanted:.0f} rpm, the lowest limit of tool, holder and "
            f"station {place} is {limit:.0f} rpm: lower the speed in the program first.",
        ))  # fmt: skip
    return rows


def same_radius(found_tenths_um: int, expected_tenths_um: int) -> bool:
    """Whether a nose radius is the expected one, within a tenth or 0.02 mm."""
    slack = max(expected_tenths_um // RADIUS_SHARE, RADIUS_LEAST_TENTHS_UM)
    return abs(found_tenths_um - expected_tenths_um) <= slack


def takes_it(takes: str | None, has: str | None) -> bool:
    """Whether a station that takes such an interface (or kind) holds one; empty fits all.

    Examples:
        >>> takes_it("10x10", "10 X 10"), takes_it("10x10", "ER16"), takes_it(None, "ER16")
        (True, False, True)
    """
    return not (takes and has) or _plain(takes) == _plain(has)


def _plain(text: str) -> str:
    return "".join(text.split()).casefold()


def lowest_rpm(*limits_rpm: float | None) -> float | None:
    """The lowest speed limit that is known [rpm]; None where none is.

    Examples:
        >>> lowest_rpm(8000, None, 6000)
        6000
    """
    return min((limit for limit in limits_rpm if limit is not None), default=None)
