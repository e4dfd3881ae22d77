"""Any shop survives its files: imported, exported, imported elsewhere, exported again."""

from __future__ import annotations

import csv
import math
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from crib.acts.import_shop import import_shop
from crib.records.catalogue import SHOP_FILES
from crib.records.plain_text import as_meant
from crib.store.engine import Store
from crib.views.export_shop import export_shop

#: Each example imports and writes whole folders: shrinking one would take minutes.
SLOW = settings(
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)

ODD = st.sampled_from(
    ["=1+1", "@sum(a)", '"', "'", ",", ";", "sep=;", "-", "+49", "\u05d0", "🔧"]
)
text = st.one_of(
    ODD,
    st.text(
        st.characters(exclude_categories=("Cs", "Cc", "Cf", "Zl", "Zp")),
        min_size=1,
        max_size=15,
    ),
    st.text(" ,;\"'|\u00a0ab=+-@", min_size=1, max_size=6),
).filter(lambda typed: typed.strip() and as_meant(typed.strip()) == typed.strip())
name = text.filter(lambda written: "|" not in written)


names = st.lists(name, min_size=1, max_size=4, unique_by=str.strip)


@st.composite
def shops(draw: Callable) -> dict[str, list[dict[str, object]]]:
    """Cells as text, by record: what a shop might have typed."""

    def optional(strategy: st.SearchStrategy[object]) -> object:
        return draw(st.just("") | strategy)

    def number(column: str, most: int, places: int = 3) -> str:
        least = next(
            each.minimum or 0
            for record in SHOP_FILES
            for each in record.columns
            if each.name == column
        )
        return str(
            optional(
                st.integers(max(1, math.ceil(least * 10**places)), most * 10**places).map(
                    lambda n: f"{n / 10**places}"
                )
            )
        )

    def one(of: list[str]) -> str:
        return draw(st.sampled_from(of))

    machines, items, types, parts, calendars, specs = (draw(names) for _ in range(6))
    return {
        "people": [
            {
                "badge": badge,
                "name": draw(text),
                "role": draw(st.sampled_from(["operator", "SUPERVISOR"])),
            }
            for badge in draw(names)
        ],
        "calendar_spans": [
            {
                "calendar": calendar,
                "weekday": day,
                "start": f"{hour:02d}:00",
                "end": "24:00",
                "attended": draw(st.sampled_from(["yes", "No", "1"])),
                "time_zone": zone,
            }
            for calendar in calendars
            for zone in [optional(st.just("Europe/Zurich"))]
            for day in draw(
                st.lists(st.sampled_from(["sun", "mon", "sat"]), min_size=1, unique=True)
            )
            for hour in [draw(st.integers(0, 23))]
        ],
        "closures": [
            {
                "calendar": one(calendars),
                "start": f"2026-12-{day:02d}" + draw(st.sampled_from(["", "T06:00", " 13:30"])),
                "end": f"2027-01-{day:02d}" + draw(st.sampled_from(["", "T24:00"])),
                "kind": "open",
                "attended": draw(st.sampled_from(["yes", "no"])),
                "reason": optional(text),
            }
            for day in draw(st.lists(st.integers(1, 31), unique=True, max_size=3))
        ],
        "machines": [
            {
                "machine": machine,
                "name": optional(text),
                "calendar": optional(st.sampled_from(calendars)),
                "spindle_max_rpm": number("spindle_max_rpm", 9_000),
                "x_on_diameter": optional(st.just("no")),
                "offset_increment_mm": optional(st.sampled_from(["0.001", ".0001", "1"])),
            }
            for machine in machines
        ],
        "stations": [
            {
                "machine": one(machines),
                "station": station,
                "tool_number": str(draw(st.integers(0, 99))),
                "axis_x": optional(st.sampled_from(["+WF", "-wf"])),
                "datum_x_mm": number("datum_x_mm", 400, 4),
            }
            for station in draw(names)
        ],
        "cutting_items": [
            {
                "cutting_item": item,
                "kind": "round",
                "designation": draw(text),
                "price": number("price", 900, 2),
                "edges": str(optional(st.integers(1, 8))),
            }
            for item in items
        ],
        "holder_types": [
            {
                "holder_type": kind,
                "designation": draw(text),
                "accepts": optional(text),
                "reach_mm": number("reach_mm", 90),
            }
            for kind in types
        ],
        "holders": [
            {
                "holder": holder,
                "holder_type": one(types),
                "condition": optional(st.sampled_from(["good", "In Repair", "lent"])),
                "remark": optional(text),
            }
            for holder in draw(names)
        ],
        "lots": [
            {
                "lot": lot,
                "cutting_item": one(items),
                "quantity": str(draw(st.integers(0, 99))),
                "received_on": optional(st.dates().map(str)),
            }
            for lot in draw(names)
        ],
        "tool_specs": [
            {
                "tool_spec": spec,
                "holder_type": one(types),
                "nose_radius_mm": number("nose_radius_mm", 9, 4),
                "cutting_items": " | ".join(
                    draw(st.lists(st.sampled_from(items), min_size=1, unique=True))
                ),
            }
            for spec in specs
        ],
        "parts": [
            {
                "part": part,
                "material": draw(text),
                "material_group": "p",
                "cycle_s": number("cycle_s", 90) or "1",
            }
            for part in parts
        ],
        "operations": [
            {
                "part": part,
                "sequence": str(sequence),
                "tool_number": "1",
                "tool_spec": one(specs),
                "kind": "drill",
                "path": optional(st.just("2")),
                "feed_mm_rev": number("feed_mm_rev", 1),
            }
            for part in parts
            for sequence in draw(st.lists(st.integers(0, 99), max_size=3, unique=True))
        ],
        "gauges": [
            {"gauge": gauge, "description": optional(text), "check_hours": "8"}
            for gauge in draw(names)
        ],
        "tool_life": [
            {
                "cutting_item": item,
                "tool_material": optional(st.just("hss")),
                "material_group": "N",
                "n": "0.25",
                "c_m_min": str(draw(st.integers(1, 900))),
                "source": optional(text),
            }
            for item in draw(st.lists(st.sampled_from(items), unique=True))
        ],
        "runs": [
            {
                "machine": machine,
                "part": one(parts),
                "quantity": "5",
                "start_at": optional(st.just("2026-03-29T01:30:00+01:00")),
                "state": draw(st.sampled_from(["running", "planned", ""])),
            }
            for machine in draw(st.lists(st.sampled_from(machines), unique=True))
        ],
    }


@pytest.fixture(scope="module")
def fresh(_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Path]:
    """Makes a folder with an empty database in it."""

    def make() -> Path:
        folder = tmp_path_factory.mktemp("shop")
        shutil.copy(_template, folder / "crib.db")
        return folder

    return make


def write_as_typed(shop: dict[str, list[dict[str, object]]], folder: Path) -> None:
    folder.mkdir()
    for record in SHOP_FILES:
        rows = shop[record.name]
        columns = sorted({column for row in rows for column in row})
        if not rows:
            continue
        with (folder / str(record.file)).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, lineterminator="\r\n")
            writer.writeheader()
            writer.writerows(rows)


def through(store: Store, source: Path, target: Path) -> dict[str, bytes]:
    report = import_shop(store, source)
    assert [str(error) for error in report.errors] == []
    with store.read() as tx:
        export_shop(tx, target)
    return {path.name: path.read_bytes() for path in target.iterdir()}


@settings(SLOW, max_examples=12)
@given(shops())
def test_an_export_of_an_import_of_an_export_is_the_same_bytes(fresh, shop):
    here, there = fresh(), fresh()
    write_as_typed(shop, here / "typed")
    first, second = Store(f"sqlite:///{here}/crib.db"), Store(f"sqlite:///{there}/crib.db")

    out = through(first, here / "typed", here / "out")
    again = through(second, here / "out", there / "out")
    unchanged = import_shop(first, here / "typed")

    first.close()
    second.close()
    shutil.rmtree(here)
    shutil.rmtree(there)
    assert out == again
    assert not unchanged.changed
    for record in SHOP_FILES:
        written = csv.DictReader(out[str(record.file)].decode().splitlines(keepends=True))
        assert len(list(written)) == len(shop[record.name])


@settings(SLOW, max_examples=8)
@given(shops())
def test_texts_come_back_as_typed_but_for_the_spaces_around_them(fresh, shop):
    folder = fresh()
    write_as_typed(shop, folder / "typed")
    store = Store(f"sqlite:///{folder}/crib.db")

    through(store, folder / "typed", folder / "out")

    store.close()
    for record in SHOP_FILES:
        texts = [
            column.name
            for column in record.columns
            if column.kind == "text" and not column.many
        ]
        path = folder / "out" / str(record.file)
        with path.open(encoding="utf-8", newline="") as stream:
            back = list(csv.DictReader(stream))
        for column in texts:
            typed = [as_meant(str(row.get(column, "")).strip()) for row in shop[record.name]]
            assert sorted(as_meant(row[column]) for row in back) == sorted(typed)
    shutil.rmtree(folder)
