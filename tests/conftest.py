"""One small shop for all: a fresh database, and two machines with what belongs to them."""

from __future__ import annotations

import os

# Before numpy loads: its worker threads only get in each other's way on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import gc
import shutil
import sys
from collections.abc import Iterator
from copy import deepcopy
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from crib.records.catalogue import (
    CALENDARS,
    CLOSURES,
    CUTTING_ITEMS,
    GAUGES,
    HOLDER_TYPES,
    HOLDERS,
    LOTS,
    MACHINES,
    PARTS,
    PEOPLE,
    RUNS,
    STATIONS,
    TOOL_LIFE,
    TOOL_SPECS,
)
from crib.store.engine import Store, Tx
from crib.store.migrate import open_store
from crib.store.records import get_record, insert_record
from tests.demos import demos  # noqa: F401 - a fixture
from tests.starter import Starter
from tests.statements import share_statements

# How long an example takes says nothing on a busy machine. What CI finds, it finds again.
settings.register_profile(
    "crib",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize="CI" in os.environ,
    print_blob=True,
)
settings.load_profile("crib")

share_statements()


# Hundreds of processes start: compiling all modules anew in each takes a tenth of the run.
# What is kept lies in folders that git leaves out.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One process more than cores: tests with a browser wait half of their time."""
    return len(os.sched_getaffinity(0)) + 1 if sys.platform == "linux" else os.cpu_count() or 1


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give each process tests that follow each other: they share servers, shops and windows.

    Who has done its own takes half of what another has left, so that all end together.
    """
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getoption("dist") == "load" else None


def pytest_collection_finish() -> None:
    """Thousands of tests stay to the end: the garbage collector need not look at them again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def starter() -> Iterator[Starter]:
    """Reads the code of the service once, and starts real commands quickly from then on."""
    with Starter() as running:
        yield running


#: A Monday morning; everything in the small shop happens from here on.
START = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def _template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "crib.db"
    store = open_store(f"sqlite:///{path}")
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return path


@pytest.fixture(scope="session")
def _shop_template(
    _template: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, SimpleNamespace]:
    path = tmp_path_factory.mktemp("shop-template") / "crib.db"
    shutil.copy(_template, path)
    store = Store(f"sqlite:///{path}")
    with store.write() as connection:
        shop = build_shop(connection)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return path, shop


@pytest.fixture
def store(
    _template: Path,
    _shop_template: tuple[Path, SimpleNamespace],
    tmp_path: Path,
    request: pytest.FixtureRequest,
) -> Iterator[Store]:
    """A fresh, migrated database in a file of its own; with ``shop``, what belongs to that."""
    path = tmp_path / "crib.db"
    template = _shop_template[0] if "shop" in request.fixturenames else _template
    for name in ("busy_template", "lived_template"):
        if name in request.fixturenames:
            template = request.getfixturevalue(name).path
    shutil.copy(template, path)
    opened = Store(f"sqlite:///{path}")
    yield opened
    opened.close()


@pytest.fixture
def tx(store: Store) -> Iterator[Tx]:
    """A write transaction on the fresh database, committed when the test ends."""
    with store.write() as connection:
        yield connection


@pytest.fixture
def shop(store: Store, _shop_template: tuple[Path, SimpleNamespace]) -> SimpleNamespace:
    """The small shop in ``store``: its names, ids and codes (see ``build_shop``)."""
    return deepcopy(_shop_template[1])


def build_shop(tx: Tx) -> SimpleNamespace:
    """Two machines, their stations, holders, lots, specs, a part, a running run, people.

    Returns:
        ``start`` (instant), ``names`` by record, ``ids[record][key]`` and
        ``codes[record][key]``; a station's key is ``M1/T01``.
    """
    shop = SimpleNamespace(start=START, ids={}, codes={})
    for record, rows in _ROWS.items():
        for row in rows:
            values: dict[str, Any] = dict(row)
            number = insert_record(tx, record, values)
            key = str(values[record.key[0]])
            if record is STATIONS:
                key = f"{values['machine']}/{values['station']}"
            shop.ids.setdefault(record.name, {})[key] = number
            if record.code_kind:
                code = get_record(tx, record, number)["code"]
                shop.codes.setdefault(record.name, {})[key] = code
    shop.names = {name: tuple(ids) for name, ids in shop.ids.items()}
    return shop


def _station(machine: str, number: int, **values: object) -> dict[str, object]:
    return {
        "machine": machine,
        "station": f"T{number:02d}",
        "tool_number": number,
        "interface": "sq12",
        "spindle": "main",
        "kind": "turning",
        "offset_register": number,
        "axis_x": "+WF",
        "axis_z": "-LF",
        "datum_x_mm": 100_000,
        "datum_z_mm": 250_000,
        **values,
    }


_DRILLING = {"interface": "er16", "kind": "drilling", "axis_x": None, "datum_x_mm": None}

_ROWS = {
    PEOPLE: [
        {"badge": "B1", "name": "Ida Quill", "role": "attendant"},
        {"badge": "B2", "name": "Olek Varn", "role": "operator"},
        {"badge": "B3", "name": "Sunniva Brask", "role": "supervisor"},
    ],
    CALENDARS: [
        {
            "calendar": "weekdays",
            "time_zone": "Europe/Zurich",
            "spans": [
                {"weekday": day, "start": start, "end": end, "attended": attended}
                for day in ("mon", "tue", "wed", "thu", "fri")
                for start, end, attended in ((360, 1320, True), (1320, 360, False))
            ],
        }
    ],
    CLOSURES: [  # far from the days that tests speak of
        {
            "calendar": "weekdays",
            "start": "2030-12-24T14:00",
            "end": "2030-12-26",
            "kind": "closed",
            "reason": "midwinter",
        }
    ],
    MACHINES: [
        {
            "machine": name,
            "spindle_max_rpm": 10_000.0,
            "headstock_stroke_mm": 200.0,
            "bar_length_mm": 3_000.0,
            "bar_remnant_mm": 250.0,
            "offset_increment_mm": 10,
            "calendar": "weekdays",
        }
        for name in ("M1", "M2")
    ],
    STATIONS: [
        _station("M1", 1),
        _station("M1", 2),
        _station("M1", 11, **_DRILLING),
        _station("M2", 1),
        _station("M2", 11, **_DRILLING),
    ],
    CUTTING_ITEMS: [
        {
            "cutting_item": "CNMG-408",
            "kind": "insert",
            "designation": "CNMG120408",
            "grade": "G15",
            "tool_material": "coated_carbide",
            "edges": 4,
            "price": 950,
            "pack_size": 10,
            "min_stock": 10,
            "lead_days": 5.0,
        },
        {
            "cutting_item": "DRILL-3",
            "kind": "round",
            "designation": "DR3.0X20",
            "grade": "G30",
            "tool_material": "carbide",
            "edges": 1,
            "regrinds": 2,
            "price": 3_200,
            "min_stock": 2,
            "lead_days": 10.0,
        },
    ],
    HOLDER_TYPES: [
        {
            "holder_type": "SQ12-CN",
            "designation": "PCLNR1212",
            "interface": "sq12",
            "kind": "turning",
            "accepts": "CNMG1204",
        },
        {
            "holder_type": "ER16-D",
            "designation": "ER16 drill holder",
            "interface": "er16",
            "kind": "drilling",
            "accepts": "DR",
        },
    ],
    HOLDERS: [
        {"holder": "TH-1", "holder_type": "SQ12-CN", "location": "shelf 1"},
        {"holder": "TH-2", "holder_type": "SQ12-CN", "location": "shelf 1"},
        {"holder": "TH-3", "holder_type": "SQ12-CN", "condition": "repair"},
        {"holder": "DH-1", "holder_type": "ER16-D", "location": "shelf 2"},
        {"holder": "DH-2", "holder_type": "ER16-D", "location": "shelf 2"},
    ],
    LOTS: [
        {
            "lot": "LOT-I1",
            "cutting_item": "CNMG-408",
            "quantity": 10,
            "received_on": date(2026, 1, 2),
        },
        {
            "lot": "LOT-D1",
            "cutting_item": "DRILL-3",
            "quantity": 3,
            "received_on": date(2026, 1, 2),
        },
    ],
    TOOL_SPECS: [
        {
            "tool_spec": "TURN-OD",
            "description": "outside turning",
            "holder_type": "SQ12-CN",
            "cutting_items": ("CNMG-408",),
            "tip_orientation": 3,
            "nose_radius_mm": 8_000,
            "lf_nominal_mm": 800_000,
            "wf_nominal_mm": 160_000,
            "tolerance_mm": 2_000,
            "preset_minutes": 6.0,
            "clearance_deg": 6.0,
            "wear_limit_mm": 0.2,
            "life_parts": 800.0,
            "failure_cost": 12_000,
            "swap_minutes": 5.0,
        },
        {
            "tool_spec": "CROSS-3",
            "description": "cross hole",
            "holder_type": "ER16-D",
            "cutting_items": ("DRILL-3",),
            "lf_nominal_mm": 600_000,
            "tolerance_mm": 5_000,
            "preset_minutes": 4.0,
            "life_parts": 1_500.0,
            "failure_cost": 20_000,
            "swap_minutes": 4.0,
        },
    ],
    PARTS: [
        {
            "part": "PIN-8",
            "description": "shouldered pin",
            "material": "1.4305",
            "material_group": "M",
            "bar_diameter_mm": 10.0,
            "part_length_mm": 40.0,
            "cutoff_width_mm": 2.0,
            "cycle_s": 45.0,
            "operations": [
                {
                    "sequence": 10,
                    "tool_number": 1,
                    "tool_spec": "TURN-OD",
                    "kind": "turn",
                    "start_diameter_mm": 10.0,
                    "end_diameter_mm": 8.0,
                    "length_mm": 30.0,
                    "feed_mm_rev": 0.08,
                    "depth_mm": 1.0,
                    "passes": 1,
                    "cutting_speed_m_min": 120.0,
                },
                {
                    "sequence": 20,
                    "tool_number": 11,
                    "tool_spec": "CROSS-3",
                    "kind": "drill",
                    "start_diameter_mm": 3.0,
                    "length_mm": 12.0,
                    "feed_mm_rev": 0.05,
                    "cutting_speed_m_min": 60.0,
                },
            ],
        }
    ],
    TOOL_LIFE: [
        {
            "tool_material": "coated_carbide",
            "material_group": "M",
            "n": 0.25,
            "c_m_min": 250.0,
            "source": "invented for the tests",
        }
    ],
    RUNS: [
        {
            "machine": "M1",
            "part": "PIN-8",
            "quantity": 5_000,
            "start_at": START,
            "state": "running",
        }
    ],
    GAUGES: [
        {
            "gauge": "PG-1",
            "description": "presetter",
            "uncertainty_mm": 10,
            "master_lf_mm": 1_000_000,
            "master_wf_mm": 500_000,
            "check_tolerance_mm": 50,
        }
    ],
}
