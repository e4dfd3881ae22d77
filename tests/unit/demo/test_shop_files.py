"""The invented shop's records: as many as a real one's, fitting each other."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime

from crib.demo.items import HOLDER_TYPES, ITEMS
from crib.demo.machines import MACHINES
from crib.demo.parts import PARTS, holder_type_for
from crib.demo.shop import shop_records, write_shop
from crib.demo.state import ATTENDED, CLOSED, UNATTENDED, Hours
from crib.stock.fits import accepts

DAY = date(2026, 3, 2)


def rows(seed=1):
    return {record.name: found for record, found in shop_records(seed, DAY)}


def test_the_shop_is_as_large_as_the_one_it_stands_for():
    size = {name: len(found) for name, found in rows().items()}
    assert size["machines"] == 6
    assert 120 <= size["stations"] <= 140
    assert 380 <= size["holders"] <= 420
    assert 110 <= size["lots"] <= 130
    assert 60 <= size["tool_specs"] <= 130
    assert size["parts"] == 12
    assert size["people"] == 10


def test_parts_cover_all_material_groups_and_every_machine():
    assert {part.group for part in PARTS.values()} == set("PMKNSH")
    assert Counter(part.machine for part in PARTS.values()) == dict.fromkeys(MACHINES, 2)


def test_one_control_takes_inches_and_one_takes_x_on_radius():
    machines = rows()["machines"]
    assert [row["offset_unit"] for row in machines].count("in") == 1
    assert [row["x_on_diameter"] for row in machines].count(False) == 1


def test_every_program_finds_a_station_and_a_holder_that_takes_its_item():
    stations = {
        (row["machine"], row["tool_number"], row["path"]): row for row in rows()["stations"]
    }
    for part in PARTS.values():
        for op in part.ops:
            station = stations[part.machine, op.tool, op.path]
            holder = HOLDER_TYPES[holder_type_for(part.machine, op)]
            assert holder.interface == station["interface"], (part, op)
            assert holder.kind == station["kind"], (part, op)
            assert accepts(holder.accepts, ITEMS[op.item].designation), (part, op)


def test_no_machine_runs_in_the_morning_without_power():
    (closure,) = rows()["closures"]
    hours = Hours(DAY)

    def kind(calendar, wall):
        return hours.kind(calendar, datetime.fromisoformat(wall))

    assert closure["start"] == "2026-04-16T06:00"  # a Thursday
    assert kind("two shifts", "2026-04-16T05:59") == UNATTENDED
    assert kind("two shifts", "2026-04-16T06:00") == CLOSED
    assert kind("two shifts", "2026-04-16T12:29") == CLOSED
    assert kind("two shifts", "2026-04-16T12:30") == ATTENDED
    assert kind("toolroom", "2026-04-16T06:00") == ATTENDED


def test_the_same_seed_writes_the_same_bytes(tmp_path):
    for name in ("one", "two", "other"):
        (tmp_path / name).mkdir()
        write_shop(tmp_path / name, 2 if name == "other" else 1, DAY)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()
    holders = (tmp_path / "one" / "holders.csv").read_bytes()
    assert holders != (tmp_path / "other" / "holders.csv").read_bytes()
