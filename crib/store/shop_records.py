"""The records that the planner reads, as they are now: machines, runs, hours, specs, stock."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple, TypeVar

from sqlalchemy import text

from crib.store.engine import Tx
from crib.store.named_rows import rows_by_name

_STATIONS = text(
    """
    SELECT s.id, s.code, s.machine_id, m.machine, s.station, s.tool_number, s.path,
           m.x_on_diameter, s.axis_x, s.axis_y, s.axis_z
    FROM stations s JOIN machines m ON m.id = s.machine_id
    WHERE s.retired_at IS NULL AND m.retired_at IS NULL
    ORDER BY m.machine, s.path, s.tool_number, s.station
    """
)

_RUNS = """
    SELECT r.id, r.machine_id, r.part_id, p.part, p.cycle_s, r.quantity, r.start_at, r.end_at,
           r.state, p.part_length_mm, p.cutoff_width_mm
    FROM runs r JOIN parts p ON p.id = r.part_id
    WHERE r.retired_at IS NULL
    """
_IN_ORDER = " ORDER BY r.machine_id, r.start_at IS NULL, r.start_at, r.id"
_ALL_RUNS = text(_RUNS + _IN_ORDER)
_RUNS_OF = text(_RUNS + " AND r.machine_id = :machine" + _IN_ORDER)

_MACHINES = text(
    """
    SELECT id, machine, calendar_id, bar_length_mm, bar_remnant_mm, path_counters,
           night_limit_percent, night_limit_loss_minor
    FROM machines WHERE retired_at IS NULL
    """
)

_SPANS = text(
    """
    SELECT calendar_id, weekday, start_minute, end_minute, attended FROM calendar_spans
    ORDER BY id
    """
)

_CLOSURES = text(
    """
    SELECT calendar_id, start_local, end_local, kind, attended, reason FROM closures
    WHERE retired_at IS NULL ORDER BY start_local, id
    """
)

_CALENDARS = text("SELECT id, calendar, time_zone FROM calendars")

_SPECS = text(
    """
    SELECT t.id, t.tool_spec, coalesce(h.holder_type, '') AS holder_type,
           t.preset_minutes, t.swap_minutes, t.failure_cost_minor, t.items_per_tool,
           t.torque_nm, t.clearance_deg, t.wear_limit_mm, t.holder_type_id
    FROM tool_specs t LEFT JOIN holder_types h ON h.id = t.holder_type_id
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
                                 WHERE s.lot_id = l.id AND f.at > :as_of), 0) AS unopened,
           coalesce((SELECT SUM(c.edges - (SELECT COUNT(*) FROM edge_uses e
                                           WHERE e.piece_id = p.id AND e.grind = p.grinds))
                     FROM pieces p
                     WHERE p.lot_id = l.id AND NOT p.scrapped AND p.id NOT IN
                       (SELECT e.piece_id FROM edge_uses e
                        JOIN assembly_state a ON a.assembly_id = e.assembly_id
                        WHERE a.ended_at IS NULL)), 0) AS opened_edges
    FROM lots l JOIN cutting_items c ON c.id = l.cutting_item_id
    WHERE l.retired_at IS NULL
    ORDER BY l.received_on, l.lot
    """
)


class StationOfShop(NamedTuple):
    """A station in service, with what its machine says of it; ``x_on_diameter`` is 0 or 1."""

    id: int
    code: str
    machine_id: int
    machine: str
    station: str
    tool_number: int
    path: int | None
    x_on_diameter: int | None
    axis_x: str | None
    axis_y: str | None
    axis_z: str | None


class RunOfShop(NamedTuple):
    """A run with what its part says; instants [µs], lengths [mm]."""

    id: int
    machine_id: int
    part_id: int
    part: str
    cycle_s: float
    quantity: int
    start_at: int | None
    end_at: int | None
    state: str
    part_length_mm: float | None
    cutoff_width_mm: float | None


class MachineOfShop(NamedTuple):
    """A machine in service."""

    id: int
    machine: str
    calendar_id: int | None
    bar_length_mm: float | None
    bar_remnant_mm: float | None
    path_counters: str | None
    night_limit_percent: float | None
    night_limit_loss_minor: int | None


class SpanOfWeek(NamedTuple):
    """One span of a calendar's week; minutes of the local day, ``attended`` is 0 or 1."""

    calendar_id: int
    weekday: str
    start_minute: int
    end_minute: int
    attended: int


class ClosureOfShop(NamedTuple):
    """Days or hours that differ from a calendar's week, in local time."""

    calendar_id: int
    start_local: str
    end_local: str
    kind: str
    attended: int | None
    reason: str | None


class CalendarOfShop(NamedTuple):
    """A calendar; its zone is None where the site's counts."""

    id: int
    calendar: str
    time_zone: str | None


class SpecOfShop(NamedTuple):
    """A tool spec with its holder type; costs in hundredths of the currency.

    ``holder_type`` is empty where it is not on record.
    """

    id: int
    tool_spec: str
    holder_type: str
    preset_minutes: float | None
    swap_minutes: float | None
    failure_cost_minor: int | None
    items_per_tool: int | None
    torque_nm: float | None
    clearance_deg: float | None
    wear_limit_mm: float | None
    holder_type_id: int


class ItemOfShop(NamedTuple):
    """A cutting item; its price in hundredths of the currency."""

    id: int
    cutting_item: str
    grade: str | None
    tool_material: str | None
    edges: int | None
    price_minor: int | None
    min_stock: int | None
    pack_size: int | None
    lead_days: float | None
    kind: str


class HolderOfShop(NamedTuple):
    """A holder in service and where it lies."""

    id: int
    code: str
    holder: str
    holder_type: str
    location: str | None
    condition: str | None


class LotOfShop(NamedTuple):
    """A lot in stock at an instant: pieces not opened, edges left on opened ones."""

    id: int
    code: str
    lot: str
    cutting_item: str
    location: str | None
    edges: int | None
    unopened: int
    opened_edges: int


_Row = TypeVar("_Row")


def load_stations(tx: Tx) -> dict[int, StationOfShop]:
    """Stations in service by id, in the order of machine, path and tool number."""
    return {row.id: row for row in rows_by_name(StationOfShop, tx.execute(_STATIONS))}


def load_runs(tx: Tx) -> dict[int, list[RunOfShop]]:
    """Runs by machine id, in order of time, those without a start last.

    One whose machine is no number at all is no machine's.
    """
    found = rows_by_name(RunOfShop, tx.execute(_ALL_RUNS))
    return _by(lambda row: row.machine_id, [r for r in found if isinstance(r.machine_id, int)])


def load_runs_of(tx: Tx, machine_id: int) -> tuple[RunOfShop, ...]:
    """Runs of a machine, in the same order."""
    found = tx.execute(_RUNS_OF, {"machine": machine_id})
    return tuple(rows_by_name(RunOfShop, found))


def load_machines(tx: Tx) -> dict[int, MachineOfShop]:
    """Machines in service by id."""
    return {row.id: row for row in rows_by_name(MachineOfShop, tx.execute(_MACHINES))}


def load_spans(tx: Tx) -> dict[int, list[SpanOfWeek]]:
    """Spans of the week by calendar id."""
    return _by(lambda row: row.calendar_id, rows_by_name(SpanOfWeek, tx.execute(_SPANS)))


def load_closures(tx: Tx) -> dict[int, list[ClosureOfShop]]:
    """Closures by calendar id, in order of time."""
    return _by(lambda row: row.calendar_id, rows_by_name(ClosureOfShop, tx.execute(_CLOSURES)))


def load_calendars(tx: Tx) -> dict[int, CalendarOfShop]:
    """Calendars by id."""
    return {row.id: row for row in rows_by_name(CalendarOfShop, tx.execute(_CALENDARS))}


def load_specs(tx: Tx) -> dict[int, SpecOfShop]:
    """Tool specs by id."""
    return {row.id: row for row in rows_by_name(SpecOfShop, tx.execute(_SPECS))}


def load_spec_items(tx: Tx) -> Mapping[int, tuple[str, ...]]:
    """Cutting items of each spec, the first choice first, by spec id."""
    found: dict[int, list[str]] = defaultdict(list)
    for spec_id, item in tx.execute(_SPEC_ITEMS):
        found[spec_id].append(item)
    return {spec: tuple(items) for spec, items in found.items()}


def load_items(tx: Tx) -> dict[int, ItemOfShop]:
    """Cutting items by id."""
    return {row.id: row for row in rows_by_name(ItemOfShop, tx.execute(_ITEMS))}


def load_holders(tx: Tx) -> list[HolderOfShop]:
    """Holders in service by name."""
    return rows_by_name(HolderOfShop, tx.execute(_HOLDERS))


def load_lots(tx: Tx, as_of_us: int) -> list[LotOfShop]:
    """Lots, the oldest first, with their stock at an instant [µs]."""
    return rows_by_name(LotOfShop, tx.execute(_LOTS, {"as_of": as_of_us}))


def _by(key: Callable[[_Row], int], rows: Iterable[_Row]) -> dict[int, list[_Row]]:
    found: dict[int, list[_Row]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found
