"""Plates, tags and shelf labels: stations, holders, lots, gauges, badges."""

from __future__ import annotations

from collections.abc import Callable

from labels.kinds import BadgeLabel, GaugeLabel, HolderTag, LotLabel, StationPlate
from labels.layout import Grid, Piece, Row
from labels.typeface import Face

STAND_STILL = "Reach in only when the spindle stands still."
EDGES_CUT = "Edges cut skin, worn ones too."

Rows = tuple[list[Row | Grid], list[Row | Grid]]


def _named(name: str, value: object) -> str:
    return f"{name} {value}" if value not in (None, "") else ""


def _code(code: str, scale: float, *others: Piece) -> Row:
    return Row((Piece(code, Face.CODE, may_cut=False), *others), 9.0 * scale, 6.0)


def _line(text: str, scale: float, optional: int = 0) -> Row:
    return Row((Piece(text),), 7.0 * scale, 5.0, optional)


def _caution(text: str, scale: float) -> Row:
    return Row((Piece(text, may_cut=False),), 6.0 * scale, 4.8, optional=4)


def station_plate(plate: StationPlate, scale: float) -> Rows:
    """Rows beside and below the symbol of a station's plate."""
    beside: list[Row | Grid] = [
        Row((Piece(plate.machine, Face.BOLD),), 11.0 * scale, 7.0),
        Row((Piece(plate.station, Face.BOLD),), 15.0 * scale, 8.0),
        Row(
            (
                Piece(_named("tool", plate.tool_number), Face.BOLD),
                Piece(_named("path", plate.path), Face.BOLD),
            ),
            9.0 * scale,
            6.0,
        ),
    ]
    below: list[Row | Grid] = [
        _code(
            plate.code, scale, Piece(_named("max rpm", plate.max_rpm), Face.BOLD, right=True)
        ),
        Row(
            (
                Piece(plate.kind),
                Piece(_named("spindle", plate.spindle)),
                Piece(plate.interface, right=True),
            ),
            7.0 * scale,
            5.0,
        ),
        _line(plate.note, scale, 1),
        _caution(STAND_STILL, scale),
    ]
    return beside, below


def holder_tag(tag: HolderTag, scale: float) -> Rows:
    """Rows beside and below the symbol of a holder's tag."""
    beside: list[Row | Grid] = [
        Row((Piece(tag.holder, Face.BOLD),), 15.0 * scale, 8.0),
        Row((Piece(tag.designation, Face.BOLD),), 9.0 * scale, 6.0),
        Row((Piece(tag.holder_type),), 8.0 * scale, 5.0),
    ]
    below: list[Row | Grid] = [
        _code(tag.code, scale, Piece(_named("max rpm", tag.max_rpm), Face.BOLD, right=True)),
        Row((Piece(tag.interface), Piece(tag.location, right=True)), 7.0 * scale, 5.0),
        _line(tag.note, scale, 1),
        _caution(EDGES_CUT, scale),
    ]
    return beside, below


def lot_label(lot: LotLabel, scale: float) -> Rows:
    """Rows beside and below the symbol of a box of cutting items."""
    quantity = _named("quantity", lot.quantity)
    beside: list[Row | Grid] = [
        Row((Piece(lot.designation or lot.item, Face.BOLD),), 12.0 * scale, 7.0),
        Row((Piece(lot.grade, Face.BOLD), Piece(quantity, Face.BOLD)), 10.0 * scale, 6.0),
        Row((Piece(_named("lot", lot.lot)),), 8.0 * scale, 5.0),
    ]
    item = lot.item if lot.designation else ""
    below: list[Row | Grid] = [
        _code(lot.code, scale, Piece(item), Piece(lot.location, Face.BOLD, right=True)),
        Row(
            (
                Piece(_named("received", lot.received_on)),
                Piece(_named("edges each", lot.edges), right=True),
            ),
            7.0 * scale,
            5.0,
        ),
        _line(lot.note, scale, 1),
        _caution(EDGES_CUT, scale),
    ]
    return beside, below


def gauge_label(gauge: GaugeLabel, scale: float) -> Rows:
    """Rows beside and below the symbol of a gauge."""
    beside: list[Row | Grid] = [
        Row((Piece(gauge.gauge, Face.BOLD),), 13.0 * scale, 7.0),
        Row((Piece(gauge.description),), 8.0 * scale, 5.0),
        Row((Piece(_named("check due", gauge.check_due), Face.BOLD),), 9.0 * scale, 5.5),
    ]
    below: list[Row | Grid] = [
        _code(gauge.code, scale, Piece(gauge.location, right=True)),
        Row(
            (
                Piece(_named("checked", gauge.checked_at)),
                Piece(_named("u (k=1)", gauge.uncertainty), right=True),
            ),
            7.0 * scale,
            5.0,
        ),
        _line(gauge.note, scale, 1),
    ]
    return beside, below


def badge_label(badge: BadgeLabel, scale: float) -> Rows:
    """Rows beside and below the symbol of a person's badge."""
    beside: list[Row | Grid] = [
        Row((Piece(badge.name or badge.badge, Face.BOLD),), 13.0 * scale, 6.0),
        Row((Piece(badge.role),), 9.0 * scale, 6.0),
    ]
    below: list[Row | Grid] = [
        _code(badge.code, scale, Piece(_named("badge", badge.badge), right=True)),
        _line(badge.site, scale),
    ]
    return beside, below


DESIGNS: dict[type, Callable[..., Rows]] = {
    StationPlate: station_plate,
    HolderTag: holder_tag,
    LotLabel: lot_label,
    GaugeLabel: gauge_label,
    BadgeLabel: badge_label,
}
