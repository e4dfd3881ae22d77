"""What a scanned code is, and what the person who scanned it may do next."""

from __future__ import annotations

import json
from datetime import datetime

from crib.acts.expected_tool import expected_tool
from crib.acts.gauge_trust import gauge_problems, override_sentence
from crib.clock import instant_from_us, instant_or_none, print_instant
from crib.codes import KINDS, looks_like_code, parse_code
from crib.errors import BadCode
from crib.metrology.offset import AxisOffset, key_in_text
from crib.records.catalogue import is_out_of_service
from crib.sentence import from_kept, sentence, together, word
from crib.store.assemblies import assembly_in_station, assembly_of_holder
from crib.store.engine import Tx
from crib.store.piece_rows import pieces_of_lot
from crib.store.presets import gauge_row, last_check
from crib.store.resolve import Resolved, resolve
from crib.store.scans import AssemblyScan, scan_assembly
from crib.store.stations import StationRow, station_row
from crib.store.stockrows import holder_row, lot_row
from crib.units import TenthsUm
from crib.views.scan_shapes import (
    Act,
    GaugeShown,
    HolderShown,
    LotShown,
    Scan,
    StationShown,
    ToolShown,
)


def scan_code(tx: Tx, present: datetime, text: str) -> Scan:
    """What a code, an address or a mark is.

    Raises:
        BadCode: It is mistyped.
        NotKnown: Nothing here carries it.
    """
    found = _label(tx, text)
    if found is not None:
        return _assembly(present, found)
    named = resolve(tx, text)
    if named.kind == "S":
        return _station(tx, present, named)
    if named.kind == "H":
        return _holder(tx, present, named)
    if named.kind == "L":
        return _lot(tx, named)
    if named.kind == "G":
        return _gauge(tx, present, named)
    words = sentence("The badge of a person ({mark}).", mark=named.mark)
    return Scan("P", KINDS["P"], named.code or "", named.mark, words, None, named.retired, ())


def _label(tx: Tx, text: str) -> AssemblyScan | None:
    """The label that a text names, asked for at once: most scans are of labels."""
    if not looks_like_code(text):
        return None
    try:
        code = parse_code(text)
    except BadCode:
        return None  # it may be a holder's own mark; ``resolve`` finds out
    return scan_assembly(tx, code.text) if code.kind == "A" else None


def _assembly(present: datetime, row: AssemblyScan) -> Scan:
    tool = _tool(row)
    superseded_at = None if row.superseded_us is None else instant_from_us(row.superseded_us)
    if superseded_at is not None:
        text: str = sentence(
            "This label is from an earlier preset, void since {superseded_at}. The "
            "tool is {code} now: take this label off. {said_of_tool}",
            superseded_at=print_instant(superseded_at),
            code=tool.code,
            said_of_tool=_tool_sentence(tool, present),
        )
        acts: tuple[Act, ...] = () if tool.ended_at else (_print(tool.code),)
    else:
        text = _tool_sentence(tool, present)
        acts = _tool_acts(tool, present)
    return Scan("A", KINDS["A"], tool.code, None, text, superseded_at, False, acts, tool)


def _tool(row: AssemblyScan) -> ToolShown:
    mounted = row.mount_id is not None
    return ToolShown(
        code=row.code,
        cutter_status=row.cutter_status,
        tool_spec=row.tool_spec,
        holder=row.holder,
        holder_code=row.holder_code,
        holder_location=row.holder_location,
        cutting_item=row.cutting_item,
        grade=row.grade,
        lot=row.lot,
        lot_code=row.lot_code,
        edge=row.edge,
        edges=row.edges,
        built_at=instant_from_us(row.built_us),
        ended_at=instant_or_none(row.ended_us),
        tip_orientation=row.tip_orientation,
        nose_radius_tenths_um=(
            row.nose_radius_tenths_um if row.re_tenths_um is None else row.re_tenths_um
        ),
        preset_id=row.preset_id,
        measured_at=instant_or_none(row.preset_us),
        measured_by=row.measured_by,
        gauge=row.gauge,
        gauge_override=(
            override_sentence(row.override_by, row.override_reason)
            if row.override_by is not None and row.override_reason is not None
            else None
        ),
        accepted=None if row.accepted is None else bool(row.accepted),
        why_not=tuple(map(from_kept, json.loads(row.why_not))) if row.why_not else (),
        void_after=instant_or_none(row.void_after_us),
        lf_tenths_um=row.lf_tenths_um,
        wf_tenths_um=row.wf_tenths_um,
        hf_tenths_um=row.hf_tenths_um,
        re_tenths_um=row.re_tenths_um,
        station=f"{row.machine}/{row.station}" if mounted else None,
        station_code=row.station_code,
        tool_number=row.tool_number,
        path=row.path if mounted else None,
        mounted_at=instant_or_none(row.mounted_us),
        offsets=_offsets(row),
    )


def _offsets(row: AssemblyScan) -> tuple[AxisOffset, ...]:
    """What the control holds for a tool that sits in a station."""
    values = (row.offset_x_tenths_um, row.offset_y_tenths_um, row.offset_z_tenths_um)
    return tuple(
        AxisOffset(
            axis,
            TenthsUm(value),
            axis == "X" and bool(row.x_on_diameter),
            key_in_text(value, row.offset_unit, row.offset_increment_tenths_um),
            row.offset_unit,
        )
        for axis, value in zip("XYZ", values, strict=True)
        if value is not None
    )


def _tool_sentence(tool: ToolShown, present: datetime) -> str:
    name = sentence(
        "{tool_spec}, {cutting_item} edge {edge} of {edges}",
        tool_spec=tool.tool_spec,
        cutting_item=tool.cutting_item,
        edge=tool.edge,
        edges=tool.edges,
    )
    if tool.station is not None:
        return sentence("{name}: sits in {station}.", name=name, station=tool.station)
    if tool.ended_at is not None:
        return sentence(
            "{name}: ended ({cutter_status} since {ended_at}).",
            name=name,
            cutter_status=tool.cutter_status,
            ended_at=print_instant(tool.ended_at),
        )
    if tool.measured_at is None:
        return sentence("{name}: built, to be measured.", name=name)
    if not tool.accepted:
        return sentence(
            "{name}: measured, not accepted. {why_not}",
            name=name,
            why_not=together(" ", tool.why_not),
        )
    if tool.void_after is not None and present > tool.void_after:
        return sentence(
            "{name}: its preset expired {void_after}; measure it.",
            name=name,
            void_after=print_instant(tool.void_after),
        )
    ready = sentence("{name}: ready to be mounted.", name=name)
    return ready if tool.gauge_override is None else together(" ", (ready, tool.gauge_override))


def _print(code: str) -> Act:
    return Act("print-label", "GET", f"/v1/labels/{code}.pdf")


def _tool_acts(tool: ToolShown, present: datetime) -> tuple[Act, ...]:
    named = {"assembly": tool.code}
    if tool.ended_at is not None:
        return (Act("build", "POST", "/v1/assemblies", {"holder": tool.holder_code}),)
    if tool.station_code is not None:
        return (
            Act("remove", "POST", "/v1/removals", named),
            Act("correct", "POST", "/v1/corrections", {"station": tool.station_code}),
            _print(tool.code),
        )
    acts = [
        Act("preset", "POST", f"/v1/assemblies/{tool.code}/presets"),
        Act("tear-down", "POST", f"/v1/assemblies/{tool.code}/teardown"),
    ]
    if tool.accepted and tool.void_after is not None and present <= tool.void_after:
        acts[:0] = [Act("mount", "POST", "/v1/mounts", named), _print(tool.code)]
    return tuple(acts)


def _shown(tx: Tx, code: str) -> ToolShown | None:
    row = scan_assembly(tx, code)
    return None if row is None else _tool(row)


def _station(tx: Tx, present: datetime, named: Resolved) -> Scan:
    row = station_row(tx, named.id)
    inside = assembly_in_station(tx, row.id)
    tool = _shown(tx, inside.code) if inside else None
    wants = expected_tool(tx, row, present)
    shown = StationShown(
        row.code,
        row.mark,
        row.machine,
        row.tool_number,
        row.path,
        wants.run.part if wants.run else None,
        wants.spec.tool_spec if wants.spec else None,
        tool,
    )
    acts = () if named.retired else _station_acts(row, tool)
    return Scan(
        "S",
        KINDS["S"],
        row.code,
        row.mark,
        _station_sentence(shown),
        None,
        named.retired,
        acts,
        station=shown,
    )


def _station_acts(row: StationRow, tool: ToolShown | None) -> tuple[Act, ...]:
    here = {"station": row.code}
    if tool is None:
        return (Act("mount", "POST", "/v1/mounts", here),)
    return (
        Act("remove", "POST", "/v1/removals", here),
        Act("correct", "POST", "/v1/corrections", here),
    )


def _station_sentence(shown: StationShown) -> str:
    holds = (
        sentence(
            "holds {code} ({tool_spec})", code=shown.holds.code, tool_spec=shown.holds.tool_spec
        )
        if shown.holds
        else sentence("is empty")
    )
    if shown.expected_tool_spec is not None:
        wants = sentence(
            "; the program for {part} expects {expected_tool_spec}",
            part=shown.part,
            expected_tool_spec=shown.expected_tool_spec,
        )
    elif shown.part is not None:
        wants = sentence("; the program for {part} uses no tool there", part=shown.part)
    else:
        wants = sentence("; no run says what belongs there")
    return sentence(
        "Station {station}, tool {tool_number}, {holds}{wants}.",
        station=shown.station,
        tool_number=shown.tool_number,
        holds=holds,
        wants=wants,
    )


def _holder(tx: Tx, present: datetime, named: Resolved) -> Scan:
    row = holder_row(tx, named.id)
    built = assembly_of_holder(tx, row.id)
    tool = _shown(tx, built.code) if built else None
    out = is_out_of_service(row.condition)
    acts: tuple[Act, ...] = ()
    if tool is not None:
        text = sentence(
            "Holder {mark}, built as {code}: {said_of_tool}",
            mark=row.mark,
            code=tool.code,
            said_of_tool=_tool_sentence(tool, present),
        )
        acts = _tool_acts(tool, present)
    elif out or row.retired:
        text = sentence(
            "Holder {mark} is out of service ({condition}).",
            mark=row.mark,
            condition=word(row.condition or "retired"),
        )
    else:
        text = sentence(
            "Holder {mark}, a {holder_type}, is free to build on.",
            mark=row.mark,
            holder_type=row.holder_type,
        )
        acts = (Act("build", "POST", "/v1/assemblies", {"holder": row.code}),)
    shown = HolderShown(
        row.code, row.mark, row.holder_type, row.location, row.condition, out, tool
    )
    return Scan(
        "H", KINDS["H"], row.code, row.mark, text, None, row.retired, acts, holder=shown
    )


def _lot(tx: Tx, named: Resolved) -> Scan:
    row = lot_row(tx, named.id)
    free = sum(
        len(piece.unused(row.edges))
        for piece in pieces_of_lot(tx, row.id)
        if not piece.busy and not piece.scrapped
    )
    shown = LotShown(
        row.code,
        row.mark,
        row.cutting_item,
        row.designation,
        row.grade,
        row.location,
        row.on_hand,
        row.edges,
        free,
    )
    text = sentence(
        "Lot {mark} of {cutting_item}: {on_hand} in the box, free edges on opened "
        "pieces: {free}.",
        mark=row.mark,
        cutting_item=row.cutting_item,
        on_hand=row.on_hand,
        free=free,
    )
    acts = []
    if not row.retired:
        if row.on_hand or free:
            acts.append(Act("build", "POST", "/v1/assemblies", {"lot": row.code}))
        acts.append(Act("move-stock", "POST", "/v1/stock-moves", {"lot": row.code}))
    return Scan(
        "L", KINDS["L"], row.code, row.mark, text, None, row.retired, tuple(acts), lot=shown
    )


def _gauge(tx: Tx, present: datetime, named: Resolved) -> Scan:
    row = gauge_row(tx, named.id)
    check = last_check(tx, row.id, present)
    valid = not gauge_problems(tx, row, present)
    shown = GaugeShown(row.code, row.gauge, check.at if check else None, valid, row.check_hours)
    text = (
        sentence("Gauge {gauge}: checked, good to use.", gauge=row.gauge)
        if valid
        else sentence(
            "Gauge {gauge}: check it on the setting master before it is used.", gauge=row.gauge
        )
    )
    acts = (
        ()
        if row.retired
        else (Act("check-gauge", "POST", "/v1/gauge-checks", {"gauge": row.code}),)
    )
    return Scan(
        "G", KINDS["G"], row.code, row.gauge, text, None, row.retired, acts, gauge=shown
    )
