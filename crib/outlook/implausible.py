"""Machines and tools whose records hold numbers that nobody can mean: they are not reckoned."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from crib.left_out import LeftOut, log_once
from crib.outlook.cutting_data import CuttingData
from crib.sentence import sentence, together
from crib.store.bounds import LifeRow, implausible_rows, life_rows, names_of_rows
from crib.store.dangling import dangling_rows
from crib.store.engine import Tx
from crib.store.machine_rows import StayRow
from crib.store.shop_records import RunOfShop
from crib.store.shop_rows import ShopRows

_RIGHT = sentence("Correct it in the records.")


@dataclass(frozen=True, slots=True)
class Implausible:
    """Rows of records that hold numbers nobody can mean: by id, a sentence each.

    ``life_rows`` are all rows of tool-life constants, where one of them is among these.
    ``dangling`` says which rows name a row that is not there.
    """

    machines: Mapping[int, str]
    parts: Mapping[int, str]
    specs: Mapping[int, str]
    items: Mapping[int, str]
    stations: Mapping[int, str]
    kinds: Mapping[int, str]
    life: Mapping[int, str]
    life_rows: Sequence[LifeRow]
    dangling: Sequence[str] = ()


def implausible_rows_of(tx: Tx, cutting: CuttingData) -> Implausible:
    """Rows of records with a number outside its bounds, or that cannot be read.

    Only a database from before the bounds, or one that was written to by other means, holds
    any.

    Args:
        tx: An open transaction.
        cutting: The shop's cutting data; rows of it that could not be read count too.
    """
    parts = _told(tx, "parts", "Part") | _told(tx, "operations", "Part", "part_id", "part")
    life = _told(tx, "tool_life", sentence("Tool-life row"))
    for (table, row_id), fault in cutting.faults.items():
        where = (
            sentence("An operation of part")
            if table == "operations"
            else sentence("Tool-life row")
        )
        log_once(f"{where} {row_id}", fault)
        told = parts if table == "operations" else life
        told.setdefault(
            row_id,
            sentence(
                "{where} {row_id} could not be read. {right}",
                where=where,
                row_id=row_id,
                right=_RIGHT,
            ),
        )
    return Implausible(
        machines=_told(tx, "machines", "Machine"),
        parts=parts,
        specs=_told(tx, "tool_specs", sentence("Tool spec")),
        items=_told(tx, "cutting_items", sentence("Cutting item")),
        stations=_told(tx, "stations", "Station"),
        kinds=_told(tx, "holder_types", sentence("Holder type")),
        life=life,
        life_rows=life_rows(tx) if life else (),
        dangling=dangling_rows(tx),
    )


def implausible_records(wrong: Implausible, rows: ShopRows, cutting: CuttingData) -> LeftOut:
    """What to leave out since a number of a record lies outside its bounds.

    Args:
        wrong: The rows of records.
        rows: The shop.
        cutting: Its cutting data.
    """
    left = _contradicted(rows, cutting)
    if not any(
        (wrong.machines, wrong.parts, wrong.specs, wrong.items, wrong.stations, wrong.kinds,
         wrong.life)
    ):  # fmt: skip
        return left
    machines = {one: why for one, why in wrong.machines.items() if one in rows.machines}
    for machine_id in rows.runs.keys() & rows.machines.keys() if wrong.parts else ():
        for run in rows.runs[machine_id]:
            if run.part_id in wrong.parts and run.state != "done":
                machines.setdefault(machine_id, wrong.parts[run.part_id])
    of_items = _items_of(rows, wrong)
    tools: dict[int, str] = {}
    for row in rows.stays:
        built = rows.assemblies[row.assembly_id]
        spec = rows.specs[built.tool_spec_id]
        why = (
            wrong.specs.get(spec.id)
            or wrong.items.get(built.cutting_item_id)
            or wrong.kinds.get(spec.holder_type_id)
            or wrong.stations.get(row.station_id)
            or of_items.get(built.cutting_item_id)
        )
        if why:
            tools[row.assembly_id] = why
    return LeftOut(machines, {**left.tools, **tools}, left.others).with_others(
        wrong.life.values()
    )


def _contradicted(rows: ShopRows, cutting: CuttingData) -> LeftOut:
    """Tools whose wear would come from an operation that contradicts itself.

    A tool with a plain guess of its life is worked out by that alone.
    """
    others: dict[str, None] = {}
    tools: dict[int, str] = {}
    told: dict[tuple[int, int, int], list[tuple[RunOfShop, str]]] = defaultdict(list)
    for run, (number, path), text in _runs_contradicted(rows, cutting):
        told[run.machine_id, number, path].append((run, text))
        if run.state != "done":
            others[text] = None
    for stay in rows.stays if told else ():
        station = rows.stations.get(stay.station_id)
        spec_id = rows.assemblies[stay.assembly_id].tool_spec_id
        if station is None or cutting.has_plain_guess(spec_id):
            continue
        place = station.machine_id, station.tool_number, station.path or 1
        for run, text in told.get(place, ()):
            if _may_wear(run, stay):
                tools.setdefault(stay.assembly_id, text)
    return LeftOut(tools=tools, others=tuple(others))


def _runs_contradicted(
    rows: ShopRows, cutting: CuttingData
) -> Iterator[tuple[RunOfShop, tuple[int, int], str]]:
    """Runs whose part has such an operation, with its tool number, path and a sentence."""
    of_part: dict[int, list[tuple[tuple[int, int], int, str]]] = defaultdict(list)
    for (part_id, number, path), (sequence, why) in cutting.contradicted.items():
        of_part[part_id].append(((number, path), sequence, why))
    for runs in rows.runs.values() if of_part else ():
        for run in runs:
            for tool, sequence, why in of_part.get(run.part_id, ()):
                text = sentence(
                    "Part {part}, operation {sequence}: {why}. {right}",
                    part=run.part,
                    sequence=sequence,
                    why=why,
                    right=_RIGHT,
                )
                yield run, tool, text


def _may_wear(run: RunOfShop, stay: StayRow) -> bool:
    """Whether a run may have worn an edge during its stay, or will."""
    if run.state == "planned":
        return stay.end_us is None
    before = run.end_at is not None and run.end_at <= stay.begin_us
    return not before and (stay.end_us is None or (run.start_at or 0) < stay.end_us)


def _told(
    tx: Tx, table: str, noun: str, name: str = "id", key: str | None = None
) -> dict[int, str]:
    """Sentence of each row with an implausible number, by id."""
    named = {
        "machines": "machine",
        "parts": "part",
        "tool_specs": "tool_spec",
        "cutting_items": "cutting_item",
        "stations": "station",
        "holder_types": "holder_type",
    }.get(table)
    found = implausible_rows(tx, table, name)
    if not found:
        return {}
    shown: Mapping[int, object] = {}
    if key:
        shown = names_of_rows(tx, "parts", "part")
    elif named:
        shown = names_of_rows(tx, table, named)
    told: dict[int, str] = {}
    for row_id, why in found:
        end = "" if why.endswith("?") else "."
        told[row_id] = together(
            "", (noun, " ", str(shown.get(row_id, row_id)), ": ", why, end, " ", _RIGHT)
        )
    return told


def _items_of(rows: ShopRows, wrong: Implausible) -> dict[int, str]:
    """Items whose tool-life constants are not plausible."""
    found: dict[int, str] = {}
    for row in wrong.life_rows:
        if row.id in wrong.life:
            for item in rows.items.values():
                by_material = row.cutting_item_id is None
                same = (item.tool_material, row.tool_material) if by_material else (
                    item.id, row.cutting_item_id
                )  # fmt: skip
                if same[0] == same[1]:
                    found[item.id] = wrong.life[row.id]
    return found
