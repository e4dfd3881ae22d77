"""The invented shop's machines, stations, hours, people and gauges, as catalogue rows."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final, NamedTuple

Row = dict[str, object]
Rows = dict[str, list[Row]]

TIME_ZONE: Final = "Europe/Berlin"


class MachineKind(NamedTuple):
    """One machine: its size class and what its control does.

    Attributes:
        name: What people call it.
        size: Shank size of its gang slide [mm], as two figures.
        bore: Interface of its end-working and back-working positions.
        live: Interface of its live positions.
        rpm: Highest spindle speed.
        stroke_mm: Stroke of the headstock.
        calendar: Its hours.
        x_on_diameter: Whether its control takes X on diameter.
        unit: Unit of its offsets.
    """

    name: str
    size: str
    bore: str
    live: str
    rpm: float
    stroke_mm: float
    calendar: str
    x_on_diameter: bool = True
    unit: str = "mm"


MACHINES: Final = {
    "L1": MachineKind("Alder", "10", "bore 16", "live 11", 12_000, 150, "two shifts"),
    "L2": MachineKind("Birch", "12", "bore 20", "live 16", 10_000, 200, "two shifts, weekend"),
    "L3": MachineKind(
        "Cedar", "12", "bore 20", "live 16", 10_000, 200, "two shifts", True, "in"
    ),
    "L4": MachineKind("Damson", "16", "bore 25", "live 16", 8_000, 250, "two shifts, weekend"),
    "L5": MachineKind("Elder", "16", "bore 25", "live 16", 8_000, 250, "two shifts", False),
    "L6": MachineKind("Fir", "08", "bore 16", "live 11", 15_000, 100, "two shifts, weekend"),
}

#: Interface of a size class: bores and live positions.
INTERFACES: Final = {
    kind.size: {"turning": f"shank {kind.size}", "bore": kind.bore, "live": kind.live}
    for kind in MACHINES.values()
}

_PEOPLE: Final = (
    ("101", "Mira Talfeld", "attendant"),
    ("102", "Joren Askby", "attendant"),
    ("103", "Petra Lundqvarn", "attendant"),
    ("201", "Tomas Werrik", "operator"),
    ("202", "Nadia Hollenbruk", "operator"),
    ("203", "Emil Sorvand", "operator"),
    ("204", "Kaya Brintal", "operator"),
    ("205", "Ruben Ostmark-Vey", "operator"),
    ("206", "Lena Fjordhagen", "operator"),
    ("301", "Anselm Querrit", "supervisor"),
)

ATTENDANTS: Final = ("101", "102")
#: Who minds a machine, early and late shift.
OPERATORS: Final = {
    "L1": ("201", "204"),
    "L2": ("201", "204"),
    "L3": ("202", "205"),
    "L4": ("202", "205"),
    "L5": ("203", "206"),
    "L6": ("203", "206"),
}
GAUGE: Final = "PG-1"
#: Lengths of its setting master [0.1 µm].
MASTER_LF: Final = 1_000_000
MASTER_WF: Final = 250_000


def machine_rows() -> list[Row]:
    """The machines."""
    return [
        {
            "machine": mark,
            "name": kind.name,
            "spindle_max_rpm": kind.rpm,
            "headstock_stroke_mm": kind.stroke_mm,
            "bar_length_mm": 3_000.0,
            "bar_remnant_mm": 220.0,
            "x_on_diameter": kind.x_on_diameter,
            "offset_unit": kind.unit,
            "offset_increment_mm": 10 if kind.unit == "mm" else 25,
            "calendar": kind.calendar,
        }
        for mark, kind in MACHINES.items()
    ]


class Place(NamedTuple):
    """Stations of one sort: which numbers, on which slide, and how they set the axes."""

    numbers: range
    slide: str
    path: int
    spindle: str
    kind: str
    interface: str
    axes: dict[str, str]
    datums_mm: dict[str, int]


def _places(kind: MachineKind) -> tuple[Place, ...]:
    turning = INTERFACES[kind.size]["turning"]
    end = {"axis_z": "+LF"}
    cross = {"axis_x": "+LF"}
    return (
        Place(range(1, 7), "gang", 1, "main", "turning", turning,
              {"axis_x": "+LF", "axis_z": "+WF"}, {"datum_x_mm": -1_450_000}),
        Place(range(7, 10), "cross", 1, "main", "live", kind.live, cross,
              {"datum_x_mm": -620_000}),
        Place(range(10, 14), "end", 1, "main", "drilling", kind.bore, end,
              {"datum_z_mm": 2_100_000}),
        Place(range(21, 25), "back block", 2, "sub", "drilling", kind.bore, end,
              {"datum_z_mm": 1_300_000}),
        Place(range(25, 27), "back block", 2, "sub", "live", kind.live, end,
              {"datum_z_mm": 1_250_000}),
        Place(range(27, 30), "back block", 2, "sub", "turning", kind.bore,
              {"axis_x": "+WF", "axis_z": "+LF"}, {"datum_x_mm": 150_000,
                                                   "datum_z_mm": 1_300_000}),
    )  # fmt: skip


def station_rows() -> list[Row]:
    """All stations: 22 on each machine."""
    rows: list[Row] = []
    for mark, kind in MACHINES.items():
        for place in _places(kind):
            for number in place.numbers:
                shift = {
                    name: value + 37 * number + 1_000 * (number % 5)
                    for name, value in place.datums_mm.items()
                }
                row: Row = {
                    "machine": mark,
                    "station": f"T{number:02d}",
                    "slide": place.slide,
                    "tool_number": number,
                    "path": place.path,
                    "spindle": place.spindle,
                    "kind": place.kind,
                    "interface": place.interface,
                    "offset_register": number,
                }
                if place.kind == "live":
                    row["max_rpm"] = 8_000.0
                rows.append(row | place.axes | shift)
    return rows


#: From the first day of the history to the morning without power.
CLOSED_AFTER: Final = timedelta(days=45)

_WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri")


def span_rows() -> list[Row]:
    """Hours: two attended shifts, nights and weekends without anybody, and the toolroom's."""
    shifts = [
        (day, start, end, attended)
        for day in _WEEKDAYS
        for start, end, attended in ((360, 840, True), (840, 1320, True), (1320, 360, False))
    ]
    weekend = [
        ("sat", 360, 780, True),
        ("sat", 780, 1440, False),
        ("sun", 0, 1440, False),
        ("mon", 0, 360, False),
    ]
    toolroom = [(day, 360, 1320, True) for day in _WEEKDAYS]
    hours = {
        "two shifts": [*shifts, ("sun", 720, 360, False)],
        "two shifts, weekend": [*shifts, *weekend],
        "toolroom": [*toolroom, ("sat", 420, 780, True)],
    }
    return [
        {
            "calendar": name,
            "weekday": day,
            "start": start,
            "end": end,
            "attended": attended,
            "time_zone": TIME_ZONE,
        }
        for name, spans in hours.items()
        for day, start, end, attended in spans
    ]


def closure_rows(first_day: date) -> list[Row]:
    """One morning without power for the machines on two shifts, a few days ahead of now."""
    day = first_day + CLOSED_AFTER
    return [
        {
            "calendar": "two shifts",
            "start": f"{day}T06:00",
            "end": f"{day}T12:30",
            "kind": "closed",
            "reason": "the mains supply is tested",
        }
    ]


def people_rows() -> list[Row]:
    """Everybody who signs a fact."""
    return [{"badge": badge, "name": name, "role": role} for badge, name, role in _PEOPLE]


def gauge_rows() -> list[Row]:
    """The presetter of the toolroom and an older one beside it."""
    return [
        {
            "gauge": mark,
            "description": words,
            "uncertainty_mm": uncertainty,
            "resolution_mm": 1,
            "master_lf_mm": MASTER_LF,
            "master_wf_mm": MASTER_WF,
            "check_tolerance_mm": 40,
            "check_hours": 26.0,
            "line_pattern": pattern,
        }
        for mark, words, uncertainty, pattern in (
            (GAUGE, "presetter beside the window", 10, "LF {lf} WF {wf}"),
            ("PG-2", "older presetter, kept as a spare", 20, "W={wf} L={lf} *"),
        )
    ]


def machine_records(first_day: date) -> list[tuple[str, list[Row]]]:
    """Rows of the files that this module fills."""
    return [
        ("people", people_rows()),
        ("calendar_spans", span_rows()),
        ("closures", closure_rows(first_day)),
        ("machines", machine_rows()),
        ("stations", station_rows()),
    ]
