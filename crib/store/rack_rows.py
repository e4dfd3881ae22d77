"""Rows of the rack: where tools were put, and everything about those that wait there."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, NamedTuple

from sqlalchemy import insert, text

from crib.floor.places import place_name
from crib.store.engine import Tx
from crib.store.named_rows import named, named_rows
from crib.store.tables import rack_places

_INSERT = insert(rack_places)

_HOLDERS_PLACES, _LOTS_PLACES = (
    text(
        f"SELECT {mark} AS mark, location FROM {table}"  # noqa: S608 - our own names
        " WHERE retired_at IS NULL AND location <> ''"
    )
    for mark, table in (("holder", "holders"), ("lot", "lots"))
)

# A place holds until the tool is mounted: a later mount that stands ends it, and one that is
# taken back gives it back.
_PLACE = """
    SELECT r.fact_id FROM rack_places AS r
    WHERE r.assembly_id = {assembly}
      AND NOT EXISTS (SELECT 1 FROM facts AS f WHERE f.reverses_id = r.fact_id)
      AND NOT EXISTS (SELECT 1 FROM mounts AS m WHERE m.assembly_id = r.assembly_id
          AND m.fact_id > r.fact_id
          AND NOT EXISTS (SELECT 1 FROM facts AS f WHERE f.reverses_id = m.fact_id))
    ORDER BY r.fact_id DESC LIMIT 1
"""
_PLACE_OF = text(
    f"""
    SELECT r.fact_id, machine.machine, r.place, put.at AS put_us
    FROM rack_places AS r
    JOIN facts AS put ON put.id = r.fact_id
    LEFT JOIN machines AS machine ON machine.id = r.machine_id
    WHERE r.fact_id = ({_PLACE.format(assembly=":assembly_id")})
    """  # noqa: S608 - no value from outside
)
_PLACED = text(
    f"""
    SELECT label.code, machine.machine, r.place
    FROM assembly_state AS state
    JOIN label_codes AS label
      ON label.assembly_id = state.assembly_id AND label.superseded_at IS NULL
    JOIN rack_places AS r ON r.fact_id = ({_PLACE.format(assembly="state.assembly_id")})
    LEFT JOIN machines AS machine ON machine.id = r.machine_id
    WHERE state.ended_at IS NULL
    """  # noqa: S608 - no value from outside
)
_STANDS = "NOT EXISTS (SELECT 1 FROM facts AS later WHERE later.reverses_id = {})"
_WAITING = text(
    f"""
    SELECT label.code, spec.tool_spec, h.holder, h.condition AS holder_condition,
           i.cutting_item, a.edge, state.cutter_status, measured.at AS measured_us,
           p.void_after AS void_after_us, g.gauge,
           (SELECT f.at FROM gauge_checks AS c JOIN facts AS f ON f.id = c.fact_id
            WHERE c.gauge_id = p.gauge_id AND f.at > measured.at
              AND {_STANDS.format("f.id")} ORDER BY f.at, f.id LIMIT 1) AS next_check_us,
           (SELECT c.valid FROM gauge_checks AS c JOIN facts AS f ON f.id = c.fact_id
            WHERE c.gauge_id = p.gauge_id AND f.at > measured.at
              AND {_STANDS.format("f.id")} ORDER BY f.at, f.id LIMIT 1) AS next_check_valid,
           supervisor.name AS override_by, overridden.reason AS override_reason,
           EXISTS (SELECT 1 FROM label_prints AS l WHERE l.code = label.code
                   AND l.preset_id = p.fact_id AND {_STANDS.format("l.fact_id")})
             AS label_printed,
           EXISTS (SELECT 1 FROM label_prints AS l WHERE l.assembly_id = a.fact_id
                   AND NOT (l.code = label.code AND l.preset_id IS p.fact_id)
                   AND {_STANDS.format("l.fact_id")}) AS other_label_printed,
           machine.machine AS rack_machine, r.place, put.at AS put_us
    FROM assembly_state AS state
    JOIN assemblies AS a ON a.fact_id = state.assembly_id
    JOIN label_codes AS label ON label.assembly_id = a.fact_id AND label.superseded_at IS NULL
    JOIN tool_specs AS spec ON spec.id = a.tool_spec_id
    JOIN holders AS h ON h.id = a.holder_id
    JOIN lots AS lot ON lot.id = a.lot_id
    JOIN cutting_items AS i ON i.id = lot.cutting_item_id
    JOIN presets AS p ON p.fact_id = state.preset_id
    JOIN facts AS measured ON measured.id = p.fact_id
    LEFT JOIN gauges AS g ON g.id = p.gauge_id
    LEFT JOIN preset_overrides AS overridden ON overridden.preset_id = p.fact_id
    LEFT JOIN people AS supervisor ON supervisor.id = overridden.person_id
    LEFT JOIN rack_places AS r ON r.fact_id = ({_PLACE.format(assembly="a.fact_id")})
    LEFT JOIN facts AS put ON put.id = r.fact_id
    LEFT JOIN machines AS machine ON machine.id = r.machine_id
    WHERE state.ended_at IS NULL
      AND NOT EXISTS (SELECT 1 FROM station_state AS s WHERE s.assembly_id = a.fact_id)
    ORDER BY measured.at, a.fact_id
    """  # noqa: S608 - no value from outside
)


class PlaceRow(NamedTuple):
    """Where a tool stands; the instant in µs since 1970."""

    fact_id: int
    machine: str | None
    place: str | None
    put_us: int


class PlacedRow(NamedTuple):
    """A tool that somebody put in a rack, or anywhere else with a name."""

    code: str
    machine: str | None
    place: str | None


class WaitingRow(NamedTuple):
    """A built and measured tool outside the machines; instants in µs since 1970."""

    code: str
    tool_spec: str
    holder: str
    holder_condition: str | None
    cutting_item: str
    edge: int
    cutter_status: str
    measured_us: int
    void_after_us: int
    gauge: str | None
    next_check_us: int | None
    next_check_valid: int | None
    override_by: str | None
    override_reason: str | None
    label_printed: int
    other_label_printed: int
    rack_machine: str | None
    place: str | None
    put_us: int | None


def place_of(tx: Tx, assembly_id: int) -> PlaceRow | None:
    """Where a tool stands in a rack; None where nobody said, or it was mounted since."""
    row: Any = tx.execute(_PLACE_OF, {"assembly_id": assembly_id}).one_or_none()
    return None if row is None else named(PlaceRow, row)


def placed_rows(tx: Tx) -> tuple[PlacedRow, ...]:
    """Every tool with a place, measured or not."""
    return named_rows(PlacedRow, tx.execute(_PLACED))


def sharing_places(tx: Tx) -> dict[str, tuple[str, ...]]:
    """By code of a tool in a rack: codes of others recorded at the same place of that rack.

    A place in no machine's rack, a bench or a cupboard, may hold many.
    """
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for row in placed_rows(tx):
        if row.machine and row.place:
            found[row.machine, place_name(row.place)].append(row.code)
    return {
        code: tuple(sorted(other for other in codes if other != code))
        for codes in found.values()
        if len(codes) > 1
        for code in codes
    }


def waiting_rows(tx: Tx) -> tuple[WaitingRow, ...]:
    """Every built and measured tool that sits in no machine, the first measured first."""
    return named_rows(WaitingRow, tx.execute(_WAITING))


def belongings(tx: Tx) -> tuple[dict[str, str], dict[str, str]]:
    """Where holders and lots have their place, by mark; none of those without one."""
    holders, lots = (
        {row.mark: row.location for row in tx.execute(one)}
        for one in (_HOLDERS_PLACES, _LOTS_PLACES)
    )
    return holders, lots


def insert_place(
    tx: Tx, fact_id: int, *, assembly_id: int, machine_id: int | None, place: str | None
) -> None:
    """Write that a tool was put in a rack."""
    tx.execute(
        _INSERT,
        {
            "fact_id": fact_id,
            "assembly_id": assembly_id,
            "machine_id": machine_id,
            "place": place,
        },
    )
