"""The label of a tool assembly: where it goes, what to key in, how far to trust it."""

from __future__ import annotations

from dataclasses import replace

from labels.kinds import AssemblyLabel, OffsetText
from labels.layout import Grid, Piece, Row
from labels.typeface import Face

CAUTION = "Prove the offset: single block, reduced rapid."
NOT_MEASURED = "NOT MEASURED"
GAUGE_NOT_CHECKED = "Gauge not checked"


def beside_symbol(label: AssemblyLabel, scale: float) -> list[Row | Grid]:
    """Rows right of the symbol: the station, the offsets, the tip."""
    has_target = bool(label.machine.strip() or label.station.strip())
    rows: list[Row | Grid] = [
        Row(
            (
                Piece(label.machine if has_target else label.spec, Face.BOLD),
                Piece(label.station, Face.BOLD),
                Piece(label.tool_number, Face.BOLD, right=True, keep=True),
            ),
            9.5 * scale,
            7.0,
        )
    ]
    if label.is_measured:
        rows.append(
            Grid(
                tuple(_offset_cells(OffsetText(*offset)) for offset in label.offsets),
                10.0 * scale,
                7.0,
                right=frozenset({1}),
            )
        )
    else:
        rows.append(
            Row((Piece(NOT_MEASURED, Face.BOLD, may_cut=False),), 15.0 * scale, 8.0),
        )
        rows.append(Row((Piece("Do not mount: measure it first."),), 7.0 * scale, 5.0))
    tip = f"tip {label.tip_orientation}" if label.tip_orientation else ""
    radius = f"R {label.nose_radius}" if label.nose_radius else ""
    path = f"path {label.path}" if label.path else ""
    rows.append(
        Row((Piece(tip, Face.BOLD), Piece(radius, Face.BOLD), Piece(path)), 7.5 * scale, 5.5)
    )
    return rows


def _offset_cells(offset: OffsetText) -> tuple[Piece, ...]:
    counted = {True: "dia", False: "radius", None: ""}[offset.on_diameter]
    return (
        Piece(offset.axis, Face.BOLD, may_cut=False),
        Piece(offset.text, Face.BOLD, may_cut=False),
        Piece(f"{offset.unit} {counted}".strip(), may_cut=False),
    )


def below_symbol(label: AssemblyLabel, scale: float) -> list[Row | Grid]:
    """Rows across the label's foot: code, cutting item, spec, how long it holds, by whom."""
    measured = (
        Row(
            (
                Piece(f"measured {label.measured_at}", keep=True),
                Piece(f"by {label.measured_by}" if label.measured_by else ""),
                Piece(f"on {label.gauge}" if label.gauge else "", right=True),
            ),
            6.5 * scale,
            4.8,
        )
        if label.is_measured
        else Row((), 6.5 * scale, 4.8)
    )
    # where the smallest labels have no room for both, the doubt goes before who measured
    doubt = _gauge_override(label)
    doubted = Row((Piece(doubt, Face.BOLD),) if doubt else (), 6.5 * scale, 4.8)
    has_target = bool(label.machine.strip() or label.station.strip())
    void = f"void after {label.void_after}" if label.void_after else ""
    holder = f"holder {label.holder}" if label.holder else ""
    return [
        Row(
            (
                Piece(label.code, Face.CODE, may_cut=False),
                Piece(label.item, Face.BOLD, keep=True),
                Piece(label.grade),
                Piece(_edge(label), Face.BOLD, right=True, keep=True),
            ),
            8.0 * scale,
            5.8,
        ),
        Row(
            (
                Piece(label.spec if has_target else "no station set"),
                Piece(void, Face.BOLD, right=True, keep=True),
            ),
            6.5 * scale,
            4.8,
        ),
        *([doubted, replace(measured, optional=1)] if doubted.pieces else [measured]),
        Row((Piece(label.note), Piece(holder, right=True)), 6.5 * scale, 4.8, optional=1),
        Row(
            (Piece(CAUTION if label.is_measured else "", may_cut=False),),
            6.0 * scale,
            4.8,
            optional=2,
        ),
    ]


def _gauge_override(label: AssemblyLabel) -> str:
    if not (label.is_measured and label.gauge_override):
        return ""
    return f"{GAUGE_NOT_CHECKED}: {label.gauge_override}"


def _edge(label: AssemblyLabel) -> str:
    if label.edge is None:
        return ""
    return f"edge {label.edge}" + (f" of {label.edges}" if label.edges is not None else "")
