"""The floor and the shelf at an instant, from the facts dated up to then, in bulk.

Plain rows and arrays for ``crib.outlook.shop_now``; nothing is computed here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from sqlalchemy import CursorResult

from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.named_rows import rows_by_name
from crib.store.readings import Readings, load_readings
from crib.store.shop_records import (
    CalendarOfShop,
    ClosureOfShop,
    HolderOfShop,
    ItemOfShop,
    LotOfShop,
    MachineOfShop,
    RunOfShop,
    SpanOfWeek,
    SpecOfShop,
    StationOfShop,
    load_calendars,
    load_closures,
    load_holders,
    load_items,
    load_lots,
    load_machines,
    load_runs,
    load_spans,
    load_spec_items,
    load_specs,
    load_stations,
)

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
    stations: dict[int, StationOfShop]
    runs: Mapping[int, list[RunOfShop]]
    machines: dict[int, MachineOfShop]
    spans: Mapping[int, list[SpanOfWeek]]
    closures: Mapping[int, list[ClosureOfShop]]
    calendars: dict[int, CalendarOfShop]
    specs: dict[int, SpecOfShop]
    spec_items: Mapping[int, tuple[str, ...]]
    items: dict[int, ItemOfShop]
    holders: list[HolderOfShop]
    lots: list[LotOfShop]


def load_shop(
    tx: Tx, as_of_us: int, readings: Mapping[Counted, Readings] | None = None
) -> ShopRows:
    """Read the shop as the facts dated up to an instant tell it.

    Args:
        tx: An open transaction.
        as_of_us: The instant [µs]. Records (runs, machines, specs) are read as they are now.
        readings: Counter readings dated up to then, where somebody has them already.
    """
    return ShopRows(
        stays=rows_by_name(StayRow, _at(tx, _STAYS, as_of_us)),
        assemblies={
            row.assembly_id: row
            for row in rows_by_name(AssemblyRow, _at(tx, _ASSEMBLIES, as_of_us))
        },
        presets={
            row.assembly_id: row for row in rows_by_name(PresetRow, _at(tx, _PRESETS, as_of_us))
        },
        size_corrections=_load_size_corrections(tx, as_of_us),
        readings=load_readings(tx, as_of_us) if readings is None else readings,
        stations=load_stations(tx),
        runs=load_runs(tx),
        machines=load_machines(tx),
        spans=load_spans(tx),
        closures=load_closures(tx),
        calendars=load_calendars(tx),
        specs=load_specs(tx),
        spec_items=load_spec_items(tx),
        items=load_items(tx),
        holders=load_holders(tx),
        lots=load_lots(tx, as_of_us),
    )


class _SizeChange(NamedTuple):
    """A size correction of X as it was recorded."""

    mount_id: int
    at: int
    change_tenths_um: int


def _load_size_corrections(tx: Tx, as_of_us: int) -> dict[int, list[SizeStep]]:
    """Steps of each stay in order, by mount id."""
    steps: dict[int, list[SizeStep]] = defaultdict(list)
    for row in rows_by_name(_SizeChange, _at(tx, _SIZE_CORRECTIONS, as_of_us)):
        of_stay = steps[row.mount_id]
        before = of_stay[-1].sum_tenths_um if of_stay else 0
        of_stay.append(SizeStep(row.at, before + row.change_tenths_um))
    return steps


def _at(tx: Tx, statement: str, as_of_us: int) -> CursorResult[Any]:
    return tx.exec_driver_sql(statement, {"as_of": as_of_us})
