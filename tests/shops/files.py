"""A shop as its own people would write it down, from the columns of the help page."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

ZONE = "America/St_Johns"  # half an hour off the others, summer time begins 2027-03-14

#: Machine: interface of its turning stations, paths, cycle-mates, what is odd about it.
MACHINES: dict[str, dict[str, Any]] = {
    "Auk": {"calendar": "two shifts", "bar_length_mm": 3000, "headstock_stroke_mm": 200},
    "Bittern": {"calendar": "two shifts", "paths": 2, "parts_per_cycle": 1},
    "Coot": {"calendar": "lit nights", "headstock_stroke_mm": 320, "bar_length_mm": 3600},
    "Dunlin": {"calendar": "lit nights"},
    "Egret": {"calendar": "two shifts", "paths": 2, "path_counters": "1:main|2:sub*2"},
    "Fulmar": {"calendar": "two shifts", "offset_unit": "in", "offset_increment_mm": "0.0025"},
    "Gannet": {"calendar": "lit nights", "parts_per_cycle": 2},
    "Heron": {"calendar": "day only"},
    "Ibis": {"calendar": "two shifts"},
    "Jacana": {},  # no calendar: round the clock
}

#: Spec: holder type, item, life_parts (None: by Taylor or not known), minutes, costs, law.
SPECS: dict[str, dict[str, Any]] = {
    "rough": {"holder_type": "HT-C", "cutting_items": "C-08", "life_parts": 420,
              "failure_cost": 90, "swap_minutes": 4, "lf_nominal_mm": 85, "wf_nominal_mm": 16,
              "tolerance_mm": "0.2", "law": ("weibull", 2.5, 1.0)},
    "finish": {"holder_type": "HT-D", "cutting_items": "D-04|D-04X", "life_parts": 800,
               "failure_cost": 140, "wear_limit_mm": "0.2", "lf_nominal_mm": 85,
               "law": ("lognormal", 0.35, 0.9)},
    "groove": {"holder_type": "HT-G", "cutting_items": "G-2", "life_parts": 300,
               "failure_cost": 60, "law": ("bimodal", 0.2, 1.1)},
    "cutoff": {"holder_type": "HT-G", "cutting_items": "G-2", "life_parts": 500,
               "failure_cost": 220, "law": ("weibull", 0.9, 1.4)},
    "drill4": {"holder_type": "HT-R", "cutting_items": "R-4", "life_parts": 650,
               "failure_cost": 30, "law": ("lognormal", 0.6, 1.0)},
    "cheap": {"holder_type": "HT-R", "cutting_items": "R-2", "life_parts": 350,
              "failure_cost": 1, "swap_minutes": 3, "law": ("lognormal", 0.4, 1.0)},
    "thread": {"holder_type": "HT-T", "cutting_items": "T-16", "law": ("weibull", 2.0, 1.0)},
    "backturn": {"holder_type": "HT-C", "cutting_items": "C-08", "life_parts": 900,
                 "law": ("weibull", 1.2, 1.3)},
    "lonely": {"holder_type": "HT-L", "cutting_items": "C-08", "life_parts": 260,
               "failure_cost": 80, "law": ("lognormal", 0.3, 1.0)},
    "rare": {"holder_type": "HT-X", "cutting_items": "X-1", "life_parts": 240,
             "failure_cost": 100, "law": ("lognormal", 0.5, 1.0)},
}  # fmt: skip

#: Part: cycle, and path, tool number, spec and cut of each operation.
PARTS: dict[str, dict[str, Any]] = {
    "stud": {"cycle_s": 48, "material_group": "P", "part_length_mm": 38, "cutoff_width_mm": 2,
             "ops": [(1, 1, "rough"), (1, 2, "finish"), (1, 3, "groove"), (1, 5, "cutoff")]},
    "nozzle": {"cycle_s": 95, "material_group": "M", "part_length_mm": 22,
               "ops": [(1, 1, "rough"), (1, 3, "groove"), (1, 4, "drill4"), (2, 1, "backturn"),
                       (2, 4, "cheap")]},
    "bush": {"cycle_s": 33, "material_group": "N",
             "ops": [(1, 1, "finish"), (1, 4, "drill4"), (1, 5, "cutoff")]},
    "screw": {"cycle_s": 70, "material_group": "M",
              "ops": [(1, 1, "rough"), (1, 2, "thread"), (1, 5, "cutoff"), (1, 6, "cheap")]},
    "needle": {"cycle_s": 140, "material_group": "S",
               "ops": [(1, 1, "lonely"), (1, 2, "finish"), (1, 7, "rare")]},
    "ghost": {"cycle_s": 60, "material_group": "P",
              "ops": [(1, 1, "rough"), (1, 9, "finish"), (1, 5, "cutoff")]},  # no T9 anywhere
}  # fmt: skip

#: Which parts a machine makes, in turn.
WORK = {
    "Auk": ["stud", "screw"], "Bittern": ["nozzle"], "Coot": ["stud", "bush"],
    "Dunlin": ["bush", "stud"], "Egret": ["nozzle"], "Fulmar": ["screw", "stud"],
    "Gannet": ["bush"], "Heron": ["needle"], "Ibis": ["ghost", "screw"], "Jacana": ["needle"],
}  # fmt: skip

CUT = {
    "thread": {"kind": "thread", "start_diameter_mm": 6, "length_mm": 10, "feed_mm_rev": 1,
               "depth_mm": "0.65", "passes": 8, "cutting_speed_m_min": 60},
}  # fmt: skip
KINDS = {"rough": "turn", "finish": "turn", "backturn": "turn", "lonely": "turn",
         "rare": "bore", "groove": "groove", "cutoff": "part_off", "drill4": "drill",
         "cheap": "drill"}  # fmt: skip

HOLDERS = {"HT-C": 26, "HT-D": 16, "HT-G": 30, "HT-R": 24, "HT-T": 5, "HT-L": 2, "HT-X": 4}
ITEMS = {"C-08": ("insert", 4, 60), "D-04": ("insert", 2, 40), "D-04X": ("insert", 4, 25),
         "G-2": ("insert", 2, 90), "R-4": ("round", 1, 60), "R-2": ("round", 1, 80),
         "T-16": ("insert", 3, 20), "X-1": ("insert", 1, 9)}  # fmt: skip


def _write(folder: Path, name: str, rows: list[dict[str, Any]]) -> None:
    head: dict[str, None] = {}
    for row in rows:
        head.update(dict.fromkeys(row))
    with (folder / name).open("w", newline="", encoding="utf-8") as file:
        out = csv.DictWriter(file, head, restval="")
        out.writeheader()
        out.writerows(rows)


def stations_of(machine: str) -> list[tuple[int, int]]:
    """Path and tool number of every station of a machine."""
    found = [(1, number) for number in (1, 2, 3, 4, 5, 6, 7)]
    if MACHINES[machine].get("paths") == 2:
        found += [(2, 1), (2, 4)]
    return found


def write_shop(folder: Path, machines: list[str], start: str) -> None:
    """Write the files of the shop with these machines."""
    folder.mkdir(exist_ok=True)
    parts = sorted({part for one in machines for part in WORK[one]})
    _write(folder, "people.csv", [
        {"badge": "11", "name": "Wren", "role": "attendant"},
        {"badge": "12", "name": "Sorrel", "role": "operator"},
        {"badge": "13", "name": "Alder", "role": "supervisor"}])  # fmt: skip
    week = ("mon", "tue", "wed", "thu", "fri")
    spans = [
        ("two shifts", d, a, b, y)
        for d in week
        for a, b, y in (("06:00", "14:00", "yes"), ("14:00", "22:00", "yes"))
    ]
    spans += [
        ("lit nights", d, a, b, y)
        for d in week
        for a, b, y in (("06:00", "22:00", "yes"), ("22:00", "06:00", "no"))
    ]
    spans += [("day only", d, "06:30", "15:00", "yes") for d in week]
    _write(folder, "calendars.csv", [
        {"calendar": c, "weekday": d, "start": a, "end": b, "attended": y, "time_zone": ZONE}
        for c, d, a, b, y in spans])  # fmt: skip
    _write(folder, "closures.csv", [
        {"calendar": "two shifts", "start": "2027-03-17", "end": "2027-03-18", "kind": "closed",
         "reason": "works outing"}])  # fmt: skip
    _write(folder, "machines.csv", [
        {"machine": one} | {k: v for k, v in MACHINES[one].items() if k != "paths"}
        for one in machines])  # fmt: skip
    _write(folder, "stations.csv", [
        {"machine": one, "station": f"P{path}-{number}", "tool_number": number, "path": path,
         "axis_x": "+WF", "axis_z": "-LF"} if path == 2 else
        {"machine": one, "station": f"P{path}-{number}", "tool_number": number, "path": path,
         "axis_z": "-LF", "datum_z_mm": 200}
        for one in machines for path, number in stations_of(one)])  # fmt: skip
    _write(folder, "cutting_items.csv", [
        {"cutting_item": name, "kind": kind, "designation": name, "edges": edges,
         "price": 8 + edges, "tool_material": "coated_carbide"}
        for name, (kind, edges, _) in ITEMS.items()])  # fmt: skip
    accepts: dict[str, set[str]] = {}
    for spec in SPECS.values():
        accepts.setdefault(spec["holder_type"], set()).update(spec["cutting_items"].split("|"))
    _write(folder, "holder_types.csv", [
        {"holder_type": name, "designation": name, "accepts": "|".join(sorted(accepts[name]))}
        for name in HOLDERS])  # fmt: skip
    _write(folder, "holders.csv", [
        {"holder": f"{name}-{n}", "holder_type": name, "location": f"drawer {n % 4}",
         "condition": "repair" if n == 5 else ""}
        for name, many in HOLDERS.items() for n in range(1, many + 1)])  # fmt: skip
    _write(folder, "lots.csv", [
        {"lot": f"{name}/{n}", "cutting_item": name, "quantity": many // 2}
        for name, (_, _, many) in ITEMS.items() for n in (1, 2)])  # fmt: skip
    _write(folder, "tool_specs.csv", [
        {"tool_spec": name} | {k: v for k, v in one.items() if k != "law"}
        for name, one in SPECS.items()])  # fmt: skip
    _write(folder, "tool_life.csv", [
        {"tool_material": "coated_carbide", "material_group": "M", "n": "0.25",
         "c_m_min": 110}])  # fmt: skip
    _write(folder, "parts.csv", [
        {"part": one, "material": "bar " + PARTS[one]["material_group"]}
        | {k: v for k, v in PARTS[one].items() if k != "ops"} for one in parts])  # fmt: skip
    _write(folder, "operations.csv", [
        {"part": one, "sequence": 10 * n, "path": path, "tool_number": number,
         "tool_spec": spec}
        | CUT.get(spec, {"kind": KINDS.get(spec, "turn")})
        for one in parts
        for n, (path, number, spec) in enumerate(PARTS[one]["ops"], 1)])  # fmt: skip
    _write(folder, "gauges.csv", [
        {"gauge": "bench-1", "uncertainty_mm": "0.002", "check_hours": 30, "master_lf_mm": 100,
         "check_tolerance_mm": "0.01"}])  # fmt: skip
    _write(folder, "runs.csv", [
        {"machine": one, "part": WORK[one][0], "quantity": 900 + 350 * n,
         "start_at": start if n % 3 else "", "state": "running" if n % 3 else "planned"}
        for n, one in enumerate(machines)])  # fmt: skip
