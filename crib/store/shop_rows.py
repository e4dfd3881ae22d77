"""The floor and the shelf at an instant, from the facts dated up to then, in bulk.

Plain rows and arrays for ``crib.outlook.shop_now``; nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any, NamedTuple

from sqlalchemy import CursorResult

from crib.store.counts import Counted
from crib.store.engine import Tx
from crib.store.machine_rows import (
    STANDS,
    MachineRows,
    SizeStep,
    StayRow,
    load_machines_whole,
)
from crib.store.named_rows import rows_by_name
from crib.store.readings import Readings, ReadingsByCounter, load_readings
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
    load_spans,
    load_spec_items,
    load_specs,
    load_stations,
)

_ASSEMBLIES = f"""
    SELECT a.fact_id AS assembly_id, a.tool_spec_id, a.holder_id,
           coalesce(l.cutting_item_id, 0) AS cutting_item_id, coalesce(c.code, '') AS code,
           f.at AS built_us,
           (SELECT MIN(tf.at) FROM teardowns t JOIN facts tf ON tf.id = t.fact_id
            WHERE t.assembly_id = a.fact_id AND tf.at <= :as_of
              AND {STANDS.format("t.fact_id")}) AS torn_down_us,
           a.lot_id
    FROM assemblies a JOIN facts f ON f.id = a.fact_id LEFT JOIN lots l ON l.id = a.lot_id
    LEFT JOIN label_codes c ON c.assembly_id = a.fact_id AND c.superseded_at IS NULL
    WHERE f.at <= :as_of AND {STANDS.format("a.fact_id")}
    ORDER BY a.fact_id
    """  # noqa: S608 - no value from outside

_PRESETS = f"""
    SELECT p.assembly_id, f.at AS at_us, p.accepted, p.void_after AS void_after_us,
           p.lf_tenths_um IS NOT NULL AS has_lf, p.wf_tenths_um IS NOT NULL AS has_wf,
           p.hf_tenths_um IS NOT NULL AS has_hf
    FROM presets p JOIN facts f ON f.id = p.fact_id
    WHERE f.at <= :as_of AND {STANDS.format("p.fact_id")}
    ORDER BY f.at, p.fact_id
    """  # noqa: S608 - no value from outside


class AssemblyRow(NamedTuple):
    """One assembly that was ever built, and when it was taken apart on the bench.

    ``cutting_item_id`` is 0 where its lot is not on record, ``code`` empty without a label.
    """

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


@dataclass(frozen=True, slots=True)
class SharedRows:
    """What all machines share, by id; records as they are now, facts as of an instant."""

    assemblies: Mapping[int, AssemblyRow]
    presets: Mapping[int, PresetRow]
    stations: Mapping[int, StationOfShop]
    machines: Mapping[int, MachineOfShop]
    spans: Mapping[int, list[SpanOfWeek]]
    closures: Mapping[int, list[ClosureOfShop]]
    calendars: Mapping[int, CalendarOfShop]
    specs: Mapping[int, SpecOfShop]
    spec_items: Mapping[int, tuple[str, ...]]
    items: Mapping[int, ItemOfShop]
    holders: Sequence[HolderOfShop]
    lots: Sequence[LotOfShop]


@dataclass(frozen=True, slots=True)
class ShopRows(SharedRows):
    """Everything that the forecast reads: what is shared, and what is each machine's.

    Attributes:
        stays: Every stay of all machines, in order of time.
        size_corrections: Steps of each stay in order, by mount id.
        runs: Runs in order of time, by machine id.
        readings: Readings of each counter.
        readings_left_out: Readings that could not be read.
    """

    stays: Sequence[StayRow]
    size_corrections: Mapping[int, tuple[SizeStep, ...]]
    runs: Mapping[int, tuple[RunOfShop, ...]]
    readings: Mapping[Counted, Readings]
    readings_left_out: int = 0


def load_shop(
    tx: Tx, as_of_us: int, readings: Mapping[Counted, Readings] | None = None
) -> ShopRows:
    """Read the shop as the facts dated up to an instant tell it.

    Args:
        tx: An open transaction.
        as_of_us: The instant [µs]. Records (runs, machines, specs) are read as they are now.
        readings: Counter readings dated up to then, where somebody has them already.
    """
    if readings is None:
        readings = load_readings(tx, as_of_us)
    return put_together(load_shared(tx, as_of_us), load_machines_whole(tx, as_of_us), readings)


def load_shared(tx: Tx, as_of_us: int) -> SharedRows:
    """Read what all machines share.

    Args:
        tx: An open transaction.
        as_of_us: Facts dated later are not seen [µs].
    """
    built = rows_by_name(AssemblyRow, _at(tx, _ASSEMBLIES, as_of_us))
    measured = rows_by_name(PresetRow, _at(tx, _PRESETS, as_of_us))
    return SharedRows(
        assemblies={row.assembly_id: row for row in built},
        presets={row.assembly_id: row for row in measured},
        stations=load_stations(tx),
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


def put_together(
    shared: SharedRows,
    machines: Mapping[int, MachineRows],
    readings: Mapping[Counted, Readings],
) -> ShopRows:
    """The rows of a shop from what its machines share and what is each one's.

    Args:
        shared: What they share.
        machines: What is each one's, by machine id.
        readings: Readings of each counter.
    """
    stays = sorted(
        chain.from_iterable(one.stays for one in machines.values()),
        key=lambda row: (row.begin_us, row.mount_id),
    )
    return ShopRows(
        assemblies=shared.assemblies,
        presets=shared.presets,
        stations=shared.stations,
        machines=shared.machines,
        spans=shared.spans,
        closures=shared.closures,
        calendars=shared.calendars,
        specs=shared.specs,
        spec_items=shared.spec_items,
        items=shared.items,
        holders=shared.holders,
        lots=shared.lots,
        stays=stays,
        size_corrections={
            mount_id: steps
            for one in machines.values()
            for mount_id, steps in one.size_corrections.items()
        },
        runs={
            machine_id: machines[machine_id].runs
            for machine_id in sorted(machines)
            if machines[machine_id].runs
        },
        readings=readings,
        readings_left_out=(readings.left_out if isinstance(readings, ReadingsByCounter) else 0),
    )


def _at(tx: Tx, statement: str, as_of_us: int) -> CursorResult[Any]:
    return tx.exec_driver_sql(statement, {"as_of": as_of_us})
