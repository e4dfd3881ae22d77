"""The floor and the shelf at an instant, from the facts dated up to then, in bulk.

Plain rows and arrays for ``crib.usecases.shop_view``; nothing is computed here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import text

from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.readings import Readings, load_readings

_REVERSED = "SELECT reverses_id FROM facts WHERE kind = 'reversal' AND at <= :as_of"

_STAYS = f"""
    SELECT m.fact_id AS mount_id, f.at AS begin_us, m.station_id, m.assembly_id,
           min(rf.at, coalesce(b.at, rf.at)) AS end_us,
           CASE WHEN rf.at IS NOT NULL AND b.at IS NOT NULL THEN 'broken' ELSE r.reason END
             AS reason,
           r.flank_wear_tenths_um, b.at AS broken_us
    FROM mounts m JOIN facts f ON f.id = m.fact_id
    LEFT JOIN (SELECT r.* FROM removals r JOIN facts x ON x.id = r.fact_id
               WHERE x.at <= :as_of AND r.fact_id NOT IN ({_REVERSED})) r
      ON r.mount_id = m.fact_id
    LEFT JOIN facts rf ON rf.id = r.fact_id
    LEFT JOIN (SELECT b.mount_id, min(x.at) AS at FROM breakages b
               JOIN facts x ON x.id = b.fact_id
               WHERE x.at <= :as_of AND b.fact_id NOT IN ({_REVERSED})
               GROUP BY b.mount_id) b
      ON b.mount_id = m.fact_id
    WHERE f.at <= :as_of AND m.fact_id NOT IN ({_REVERSED})
    ORDER BY f.at, m.fact_id
    """  # noqa: S608 - no value from outside

_ASSEMBLIES = f"""
    SELECT a.fact_id AS assembly_id, a.tool_spec_id, a.holder_id, l.cutting_item_id, c.code,
           f.at AS built_us,
           (SELECT MIN(tf.at) FROM teardowns t JOIN facts tf ON tf.id = t.fact_id
            WHERE t.assembly_id = a.fact_id AND tf.at <= :as_of
              AND t.fact_id NOT IN ({_REVERSED})) AS torn_down_us,
           a.lot_id
    FROM assemblies a JOIN facts f ON f.id = a.fact_id JOIN lots l ON l.id = a.lot_id
    LEFT JOIN label_codes c ON c.assembly_id = a.fact_id AND c.superseded_at IS NULL
    WHERE f.at <= :as_of AND a.fact_id NOT IN ({_REVERSED})
    ORDER BY a.fact_id
    """  # noqa: S608 - no value from outside

_PRESETS = f"""
    SELECT p.assembly_id, f.at AS at_us, p.accepted, p.void_after AS void_after_us,
           p.lf_tenths_um IS NOT NULL AS has_lf, p.wf_tenths_um IS NOT NULL AS has_wf,
           p.hf_tenths_um IS NOT NULL AS has_hf
    FROM presets p JOIN facts f ON f.id = p.fact_id
    WHERE f.at <= :as_of AND p.fact_id NOT IN ({_REVERSED})
    ORDER BY f.at, p.fact_id
    """  # noqa: S608 - no value from outside

_SIZE_CORRECTIONS = f"""
    SELECT c.mount_id, f.at, c.change_tenths_um
    FROM corrections c JOIN facts f ON f.id = c.fact_id
    WHERE f.at <= :as_of AND c.correction_kind = 'size' AND c.axis = 'X'
      AND c.fact_id NOT IN ({_REVERSED})
    ORDER BY f.at, c.fact_id
    """  # noqa: S608 - no value from outside

_STATIONS = text(
    """
    SELECT s.id, s.code, s.machine_id, m.machine, s.station, s.tool_number, s.path,
           m.x_on_diameter, s.axis_x, s.axis_y, s.axis_z
    FROM stations s JOIN machines m ON m.id = s.machine_id
    WHERE s.retired_at IS NULL AND m.retired_at IS NULL
    ORDER BY m.machine, s.path, s.tool_number, s.station
    """
)

_RUNS = text(
    """
    SELECT r.id, r.machine_id, r.part_id, p.part, p.cycle_s, r.quantity, r.start_at, r.end_at,
           r.state, p.part_length_mm, p.cutoff_width_mm
    FROM runs r JOIN parts p ON p.id = r.part_id
    WHERE r.retired_at IS NULL
    ORDER BY r.machine_id, r.start_at IS NULL, r.start_at, r.id
    """
)

_CLOSURES = text(
    """
    SELECT calendar_id, start_local, end_local, kind, attended, reason FROM closures
    WHERE retired_at IS NULL ORDER BY start_local, id
    """
)

_SPECS = text(
    """
    SELECT t.id, t.tool_spec, h.holder_type, t.preset_minutes, t.swap_minutes,
           t.failure_cost_minor, t.items_per_tool, t.torque_nm, t.clearance_deg,
           t.wear_limit_mm, t.holder_type_id
    FROM tool_specs t JOIN holder_types h ON h.id = t.holder_type_id
    """
)

_SPEC_ITEMS = text(
    """
    SELECT i.tool_spec_id, c.cutting_item
    FROM tool_spec_items i JOIN cutting_items c ON c.id = i.cutting_item_id
    ORDER BY i.tool_spec_id, i.position
    """
)

_ITEMS = text(
    """
    SELECT id, cutting_item, grade, tool_material, edges, price_minor, min_stock, pack_size,
           lead_days, kind
    FROM cutting_items
    """
)

_HOLDERS = text(
    """
    SELECT h.id, h.code, h.holder, t.holder_type, h.location, h.condition
    FROM holders h JOIN holder_types t ON t.id = h.holder_type_id
    WHERE h.retired_at IS NULL ORDER BY h.holder
    """
)

_LOTS = text(
    """
    SELECT l.id, l.code, l.lot, c.cutting_item, l.location, c.edges,
           l.on_hand - coalesce((SELECT SUM(s.change) FROM stock_moves s
                                 JOIN facts f ON f.id = s.fact_id
                                 WHERE s.lot_id = l.id AND f.at > :as_of), 0),
           coalesce((SELECT SUM(c.edges - (SELECT COUNT(*) FROM edge_uses e
                                           WHERE e.piece_id = p.id AND e.grind = p.grinds))
                     FROM pieces p
                     WHERE p.lot_id = l.id AND NOT p.scrapped AND p.id NOT IN
                       (SELECT e.piece_id FROM edge_uses e
                        JOIN assembly_state a ON a.assembly_id = e.assembly_id
                        WHERE a.ended_at IS NULL)), 0)
    FROM lots l JOIN cutting_items c ON c.id = l.cutting_item_id
    WHERE l.retired_at IS NULL
    ORDER BY l.received_on, l.lot
    """
)


class StayRow(NamedTuple):
    """One stay of an assembly in a station; ``end_us`` is None while it lasts.

    Where a breakage was signalled (``broken_us``) the edge's life ended there: a stay that is
    over ends then, and ends as broken.
    """

    mount_id: int
    begin_us: int
    station_id: int
    assembly_id: int
    end_us: int | None
    reason: str | None
    flank_wear_tenths_um: int | None
    broken_us: int | None = None

    @property
    def worn_until_us(self) -> int | None:
        """Until when the edge was worn; None while it is."""
        return self.broken_us if self.end_us is None else self.end_us


class AssemblyRow(NamedTuple):
    """One assembly that was ever built, and when it was taken apart on the bench."""

    assembly_id: int
    tool_spec_id: int
    holder_id: int
    cutting_item_id: int
    code: str
    built_us: int
    torn_down_us: int | None
    lot_id: int = 0


class PresetRow(NamedTuple):
    """The latest preset of an assembly."""

    assembly_id: int
    at_us: int
    accepted: bool
    void_after_us: int
    has_lf: bool = True
    has_wf: bool = True
    has_hf: bool = True

    @property
    def measures(self) -> frozenset[str]:
        """LF, WF, HF as far as they were measured."""
        told = (("LF", self.has_lf), ("WF", self.has_wf), ("HF", self.has_hf))
        return frozenset(name for name, has in told if has)


class SizeStep(NamedTuple):
    """A size correction of X: when, and the sum of all in that stay up to it."""

    at_us: int
    sum_tenths_um: int


@dataclass(frozen=True, slots=True)
class ShopRows:
    """Everything that the forecast reads, by id; see the statements for the columns."""

    stays: list[StayRow]
    assemblies: dict[int, AssemblyRow]
    presets: dict[int, PresetRow]
    size_corrections: Mapping[int, list[SizeStep]]
    readings: Mapping[Counted, Readings]
    stations: dict[int, Any]
    runs: Mapping[int, list[Any]]
    machines: dict[int, Any]
    spans: Mapping[int, list[Any]]
    closures: Mapping[int, list[Any]]
    calendars: dict[int, Any]
    specs: dict[int, Any]
    spec_items: Mapping[int, tuple[str, ...]]
    items: dict[int, Any]
    holders: list[Any]
    lots: list[Any]


def load_shop(
    tx: Tx, as_of_us: int, readings: Mapping[Counted, Readings] | None = None
) -> ShopRows:
    """Read the shop as the facts dated up to an instant tell it.

    Args:
        tx: An open transaction.
        as_of_us: The instant [µs]. Records (runs, machines, specs) are read as they are now.
        readings: Counter readings dated up to then, where somebody has them already.
    """
    at = {"as_of": as_of_us}
    spec_items: dict[int, list[str]] = defaultdict(list)
    for spec_id, item in tx.execute(_SPEC_ITEMS):
        spec_items[spec_id].append(item)
    runs: dict[int, list[Any]] = defaultdict(list)
    for row in tx.execute(_RUNS):
        runs[row.machine_id].append(row)
    spans: dict[int, list[Any]] = defaultdict(list)
    for row in tx.execute(
        text(
            "SELECT calendar_id, weekday, start_minute, end_minute, attended"
            " FROM calendar_spans ORDER BY id"
        )
    ):
        spans[row.calendar_id].append(row)
    closures: dict[int, list[Any]] = defaultdict(list)
    for row in tx.execute(_CLOSURES):
        closures[row.calendar_id].append(row)
    return ShopRows(
        stays=[StayRow._make(row) for row in _plain(tx, _STAYS, as_of_us)],
        assemblies={
            row[0]: AssemblyRow._make(row) for row in _plain(tx, _ASSEMBLIES, as_of_us)
        },
        presets={row[0]: PresetRow._make(row) for row in _plain(tx, _PRESETS, as_of_us)},
        size_corrections=_load_size_corrections(tx, as_of_us),
        readings=load_readings(tx, as_of_us) if readings is None else readings,
        stations={row.id: row for row in tx.execute(_STATIONS)},
        runs=runs,
        machines={
            row.id: row
            for row in tx.execute(
                text(
                    "SELECT id, machine, calendar_id, bar_length_mm, bar_remnant_mm,"
                    " path_counters FROM machines WHERE retired_at IS NULL"
                )
            )
        },
        spans=spans,
        closures=closures,
        calendars={
            row.id: row
            for row in tx.execute(text("SELECT id, calendar, time_zone FROM calendars"))
        },
        specs={row.id: row for row in tx.execute(_SPECS)},
        spec_items={spec: tuple(items) for spec, items in spec_items.items()},
        items={row.id: row for row in tx.execute(_ITEMS)},
        holders=list(tx.execute(_HOLDERS)),
        lots=list(tx.execute(_LOTS, at)),
    )


def _load_size_corrections(tx: Tx, as_of_us: int) -> dict[int, list[SizeStep]]:
    """Steps of each stay in order, by mount id."""
    steps: dict[int, list[SizeStep]] = defaultdict(list)
    for mount_id, at_us, change in _plain(tx, _SIZE_CORRECTIONS, as_of_us):
        before = steps[mount_id][-1].sum_tenths_um if steps[mount_id] else 0
        steps[mount_id].append(SizeStep(at_us, before + change))
    return steps


def _plain(tx: Tx, statement: str, as_of_us: int) -> list[Any]:
    """All rows as the driver's own tuples: there may be tens of thousands."""
    cursor = tx.exec_driver_sql(statement, {"as_of": as_of_us}).cursor
    return list(cursor.fetchall()) if cursor is not None else []
