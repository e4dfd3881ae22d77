"""The check of a mount: every mismatch between an assembly and a station."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.clock import print_instant
from crib.sentence import OR, Figure, figure, sentence, together, word
from crib.units import TenthsUm, in_from_tenths_um, nominal_mm_from_tenths_um

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
        return sentence(
            "No job is on or planned at {machine}: this tool was not compared with "
            "a program. Look in the program whether {tool_spec} belongs here. The "
            "measurement, the edge and whether the holder fits the station were "
            "checked.",
            machine=place.machine,
            tool_spec=offered.tool_spec,
        )
    return sentence(
        "No job is on or planned at {machine}: this tool was not compared with a "
        "program. Look in the program whether {tool_spec} belongs here. Only the "
        "measurement and the edge were checked.",
        machine=place.machine,
        tool_spec=offered.tool_spec,
    )


class _Rows(list[tuple[str, str, str]]):
    def add(self, field: str, slug: str, text: str) -> None:
        self.append((field, slug, text))


def _scan(offered: Offered, place: Place, scanned: Scanned) -> _Rows:
    rows = _Rows()
    if scanned.station is not None and scanned.station != place.code:
        rows.add(
            "scanned.station",
            "scanned-differs",
            sentence(
                "The scanned station is {station}, the mount names {code} ({place}): "
                "go to the right station and scan again.",
                station=scanned.station,
                code=place.code,
                place=place,
            ),
        )
    if scanned.assembly is not None and scanned.assembly != offered.code:
        rows.add(
            "scanned.assembly",
            "scanned-differs",
            sentence(
                "The scanned assembly is {assembly}, the mount names {code}: take the right "
                "tool and scan it again.",
                assembly=scanned.assembly,
                code=offered.code,
            ),
        )
    if offered.label_current is False:
        rows.add(
            "assembly",
            "earlier-label",
            sentence(
                "The label on {code} is from an earlier preset: take it off, print the "
                "new one and read the offsets from that.",
                code=offered.code,
            ),
        )
    return rows


def _program(expected: Expected | None, offered: Offered, place: Place) -> _Rows:
    if expected is None:
        return _Rows()
    rows = _Rows()
    if expected.tool_spec != offered.tool_spec:
        wants = (
            sentence("expects {tool_spec} there", tool_spec=expected.tool_spec)
            if expected.tool_spec is not None
            else sentence("uses no tool there")
        )
        go = (
            sentence(
                "it belongs in {wanted_at}",
                wanted_at=together(OR, expected.wanted_at),
            )
            if expected.wanted_at
            else sentence("put it back in the rack and take the right tool")
        )
        rows.add(
            "station",
            "wrong-station" if expected.wanted_at else "wrong-spec",
            sentence(
                "{code} is {tool_spec}; the program for {part} {wants} (station "
                "{place}): {go}.",
                code=offered.code,
                tool_spec=offered.tool_spec,
                part=expected.part,
                wants=wants,
                place=place,
                go=go,
            ),
        )
    rows += _look_alike(expected, offered, place.offset_unit)
    return rows


def _look_alike(expected: Expected, offered: Offered, unit: str) -> _Rows:
    rows = _Rows()
    orientation = expected.tip_orientation
    if None not in (orientation, offered.tip_orientation) and (
        orientation != offered.tip_orientation
    ):
        rows.add(
            "assembly",
            "wrong-tip-orientation",
            sentence(
                "The program expects tip orientation {orientation}, {code} has "
                "{tip_orientation}: look which way the nose points and take the other "
                "holder.",
                orientation=orientation,
                code=offered.code,
                tip_orientation=offered.tip_orientation,
            ),
        )
    if expected.hand and offered.hand and expected.hand != offered.hand:
        rows.add(
            "assembly",
            "wrong-hand",
            sentence(
                "The program expects hand {hand}, {code} has hand {hand2}: take the "
                "other holder.",
                hand=expected.hand,
                code=offered.code,
                hand2=offered.hand,
            ),
        )
    radius = expected.nose_radius_tenths_um
    measured = offered.nose_radius_tenths_um
    found = offered.nominal_nose_radius_tenths_um if measured is None else measured
    if radius is not None and found is not None and not same_radius(found, radius):
        rows.add(
            "assembly",
            "wrong-nose-radius",
            sentence(
                "The program expects nose radius {length}, {code} has {length2}: fit "
                "the right insert and measure it again.",
                length=_length(radius, unit),
                code=offered.code,
                length2=_length(found, unit),
            ),
        )
    return rows


def _length(length_tenths_um: int, unit: str) -> str:
    if unit == "in":
        return together(" ", (Figure(in_from_tenths_um(length_tenths_um)), unit))
    return together(" ", (Figure(nominal_mm_from_tenths_um(length_tenths_um)), "mm"))


def _preset(offered: Offered, at: datetime) -> _Rows:
    rows = _Rows()
    again = sentence("bring it to the bench and measure it again.")
    if offered.preset_accepted is None:
        rows.add(
            "assembly",
            "no-preset",
            sentence("{code} was never measured: {again}", code=offered.code, again=again),
        )
    elif not offered.preset_accepted:
        rows.add(
            "assembly",
            "preset-not-accepted",
            sentence(
                "The last measurement of {code} was not accepted: {again}",
                code=offered.code,
                again=again,
            ),
        )
    if offered.void_after is not None and at > offered.void_after:
        rows.add(
            "assembly",
            "preset-void",
            sentence(
                "The measurement of {code} expired on {void_after}: {again}",
                code=offered.code,
                void_after=print_instant(offered.void_after),
                again=again,
            ),
        )
    if offered.gauge_valid is False:
        rows.add(
            "assembly",
            "gauge-not-checked",
            sentence(
                "The gauge had no valid check on its master when {code} was measured: "
                "check the gauge, then {again}",
                code=offered.code,
                again=again,
            ),
        )
    return rows


def _edge(offered: Offered) -> _Rows:
    rows = _Rows()
    status = offered.cutter_status
    turn = sentence("bring it to the bench for a new edge.")
    if status == "BROKEN":
        rows.add(
            "assembly",
            "edge-broken",
            sentence("The edge of {code} broke: {turn}", code=offered.code, turn=turn),
        )
    elif status == "EXPIRED" or (offered.share_used is not None and offered.share_used >= 1):
        rows.add(
            "assembly",
            "edge-used-up",
            sentence("The edge of {code} is used up: {turn}", code=offered.code, turn=turn),
        )
    elif status not in MOUNTABLE and not (status == "NEW" and offered.preset_accepted is None):
        rows.add(
            "assembly",
            "not-mountable",
            sentence(
                "{code} has status {status} and may not go into a machine: ask the toolroom.",
                code=offered.code,
                status=word(status),
            ),
        )
    if offered.holder_out_of_service:
        rows.add(
            "assembly",
            "holder-out-of-service",
            sentence(
                "Holder {holder} is out of service ({holder_out_of_service}): take "
                "another one.",
                holder=offered.holder,
                holder_out_of_service=offered.holder_out_of_service,
            ),
        )
    return rows


def _room(expected: Expected | None, offered: Offered, place: Place) -> _Rows:
    rows = _Rows()
    if offered.mounted_at is not None:
        rows.add(
            "assembly",
            "mounted-elsewhere",
            sentence(
                "{code} sits in station {mounted_at}: record its removal there first.",
                code=offered.code,
                mounted_at=offered.mounted_at,
            ),
        )
    if place.occupied_by is not None and place.occupied_by != offered.code:
        rows.add(
            "station",
            "station-occupied",
            sentence(
                "Station {place} holds {occupied_by}: take it out and record its "
                "removal first.",
                place=place,
                occupied_by=place.occupied_by,
            ),
        )
    for field, slug, takes, has in (
        ("interface", "wrong-interface", place.interface, offered.holder_interface),
        ("kind", "wrong-kind", place.kind, offered.holder_kind),
    ):
        if not takes_it(takes, has):
            rows.add(
                "station",
                slug,
                sentence(
                    "Station {place} takes {field} {takes}, holder {holder} has {has}: "
                    "it does not fit; take a holder that does.",
                    place=place,
                    field=field,
                    takes=takes,
                    holder=offered.holder,
                    has=has,
                ),
            )
    limit = lowest_rpm(place.max_rpm, offered.max_rpm)
    wanted = expected.wanted_rpm if expected else None
    if limit is not None and wanted is not None and wanted > limit:
        rows.add(
            "station",
            "too-fast",
            sentence(
                "The program turns at {wanted} rpm, the lowest limit of tool, holder "
                "and station {place} is {limit} rpm: lower the speed in the program "
                "first.",
                wanted=figure(wanted, ".0f"),
                place=place,
                limit=figure(limit, ".0f"),
            ),
        )
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
