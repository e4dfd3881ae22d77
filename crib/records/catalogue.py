"""Every record that a shop keeps, column by column, in the order in which they refer."""

from __future__ import annotations

from typing import Any

from crib.records.columns import Column, Record

AXIS_CHOICES = ("+LF", "-LF", "+WF", "-WF", "+HF", "-HF")
TOOL_MATERIALS = ("hss", "carbide", "coated_carbide", "cermet", "ceramic", "cbn", "pcd")
MATERIAL_GROUPS = ("P", "M", "K", "N", "S", "H")  # ISO 513
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
OPERATION_KINDS = (
    "turn", "face", "bore", "groove", "part_off", "drill", "ream", "tap", "thread", "mill",
    "saw",
)  # fmt: skip

#: What a holder can be (common practice, no source); the bench builds the first three.
IN_SERVICE = ("new", "good", "worn")
OUT_OF_SERVICE = (
    "damaged", "broken", "repair", "quarantine", "lent", "lost", "scrapped", "out_of_service",
)  # fmt: skip
CONDITIONS = IN_SERVICE + OUT_OF_SERVICE
#: Other words that shops write for these, in English and German.
CONDITION_SPELLINGS = (
    ("ok", "good"), ("okay", "good"), ("fine", "good"), ("used", "good"),
    ("in_use", "good"), ("in_service", "good"), ("gut", "good"), ("gebraucht", "good"),
    ("neu", "new"), ("verschlissen", "worn"), ("defective", "damaged"), ("defekt", "damaged"),
    ("beschädigt", "damaged"), ("in_repair", "repair"), ("under_repair", "repair"),
    ("reparatur", "repair"), ("in_reparatur", "repair"), ("blocked", "quarantine"),
    ("gesperrt", "quarantine"), ("missing", "lost"), ("verloren", "lost"),
    ("verliehen", "lent"), ("scrap", "scrapped"), ("schrott", "scrapped"),
    ("verschrottet", "scrapped"), ("retired", "out_of_service"),
    ("außer_betrieb", "out_of_service"),
)  # fmt: skip
ROLES = ("attendant", "operator", "supervisor")


#: Where no source is named, bounds are common practice: far wider than any shop that feeds
#: sliding-headstock lathes, and narrow enough that arithmetic with them stays sane.
_ISO_3685 = "ISO 3685: VB 0.3 mm, 0.6 mm at most; room for micro and heavy work"
_ISO_1832 = "ISO 1832: clearances of inserts, 0 and 3 to 30 degrees; room for special ones"


def _number(
    name: str,
    least: float,
    most: float,
    usual: tuple[float, float] | None = None,
    **more: Any,
) -> Column:
    return Column(name, "number", minimum=least, maximum=most, usual=usual, **more)


def _rpm(name: str) -> Column:
    return _number(name, 1, 200_000)


def _place(name: str) -> Column:
    """A coordinate of a tool or a station; may lie on either side."""
    return Column(name, "length", minimum=-2_000, maximum=2_000, usual=(1, 500))


PEOPLE = Record(
    "people", "person", "people.csv", ("badge",),
    (
        Column("badge", required=True),
        Column("name", required=True),
        Column("role", "choice", required=True, choices=ROLES),
    ),
    code_kind="P",
)  # fmt: skip

CALENDARS = Record(
    "calendars", "calendar", None, ("calendar",),
    (Column("calendar", required=True), Column("time_zone", explains="IANA zone name")),
)  # fmt: skip

CALENDAR_SPANS = Record(
    "calendar_spans", "calendar row", "calendars.csv", ("calendar", "weekday", "start"),
    (
        Column("calendar", required=True, reference="calendars"),
        Column("weekday", "choice", required=True, choices=WEEKDAYS),
        Column("start", "time", required=True),
        Column("end", "time", required=True, explains="24:00 allowed; before start: next day"),
        Column("attended", "yes_no", required=True,
               explains="whether somebody is at the machines"),
        Column("time_zone", explains="IANA zone name; the same on every row of a calendar"),
    ),
    owner="calendars",
)  # fmt: skip

CLOSURES = Record(
    "closures", "closure", "closures.csv", ("calendar", "start", "kind"),
    (
        Column("calendar", required=True, reference="calendars"),
        Column("start", "local", required=True, explains="a whole day: from its midnight"),
        Column("end", "local", required=True, explains="a whole day: to the midnight after it"),
        Column("kind", "choice", required=True, choices=("closed", "open"),
               explains="open is an extra shift, whatever the week says"),
        Column("attended", "yes_no", explains="of an extra shift: whether somebody is there"),
        Column("reason"),
    ),
)  # fmt: skip

MACHINES = Record(
    "machines", "machine", "machines.csv", ("machine",),
    (
        Column("machine", required=True),
        Column("name"),
        _rpm("spindle_max_rpm"),
        _number("headstock_stroke_mm", 1, 5_000, (20, 500)),
        _number("bar_length_mm", 10, 20_000, (1_000, 6_000)),
        _number("bar_remnant_mm", 0.1, 5_000, (20, 600), zero=True),
        Column("x_on_diameter", "yes_no", default=True,
               explains="whether the control counts X on diameter"),
        Column("offset_unit", "choice", choices=("mm", "in"), default="mm",
               explains="unit in which its control takes offsets"),
        Column("offset_increment_mm", "length", minimum=0.0001, maximum=1,
               explains="smallest step of an offset in its control"),
        Column("feed_url",
               explains="address of its agent; a password in it is shown as *** and kept "
               "if the address is sent back like that"),
        Column("calendar", reference="calendars"),
        Column("count_item", explains="id or name of the part count that a feed follows"),
        Column("parts_per_cycle", "integer", minimum=1, maximum=1000, default=1,
               explains="parts that one cycle makes"),
        Column("path_counters",
               explains="paths with counters of their own, | between them: PATH:ITEM*PARTS, "
               "ITEM as count_item, PARTS as parts_per_cycle, such as 1:main|2:sub*2"),
        Column("breakage_signals",
               explains="conditions of its agent that mean a broken tool: native codes, ids or "
               "names, * for any characters, | between alternatives; empty for none"),
        _number("night_limit_percent", 0.1, 50,
                explains="chance of a failure that you accept in one unattended stretch; "
                "empty: the shop's own limit"),
        Column("night_limit_loss", "money", minimum=1, maximum=10_000_000,
               explains="loss by failures that you expect at most in one unattended stretch; "
               "it counts instead of night_limit_percent once every tool spec in the machine "
               "has a failure_cost"),
        Column("block_template", "lines",
               explains="the shop's own text block for the control; in a file on one line, "
               "\\n for the end of a line"),
    ),
)  # fmt: skip

STATIONS = Record(
    "stations", "station", "stations.csv", ("machine", "station"),
    (
        Column("machine", required=True, reference="machines"),
        Column("station", required=True),
        Column("slide"),
        Column("tool_number", "integer", required=True, minimum=0, maximum=99_999_999),
        Column("path", "integer", minimum=1, maximum=99, default=1),
        Column("spindle", "choice", choices=("main", "sub", "both")),
        Column("kind", "choice", choices=("turning", "live", "drilling")),
        Column("interface"),
        _rpm("max_rpm"),
        Column("offset_register", "integer", minimum=0, maximum=99_999),
        Column("axis_x", "choice", choices=AXIS_CHOICES,
               explains="holder measure that moves X of the control"),
        Column("axis_y", "choice", choices=AXIS_CHOICES,
               explains="holder measure that moves Y of the control"),
        Column("axis_z", "choice", choices=AXIS_CHOICES,
               explains="holder measure that moves Z of the control"),
        _place("datum_x_mm"),
        _place("datum_y_mm"),
        _place("datum_z_mm"),
    ),
    code_kind="S",
)  # fmt: skip

CUTTING_ITEMS = Record(
    "cutting_items", "cutting item", "cutting_items.csv", ("cutting_item",),
    (
        Column("cutting_item", required=True),
        Column("kind", "choice", required=True, choices=("insert", "round")),
        Column("designation", required=True),
        Column("grade"),
        Column("tool_material", "choice", choices=TOOL_MATERIALS),
        Column("edges", "integer", minimum=1, maximum=16, default=1,
               explains="cutting edges of one piece"),
        Column("regrinds", "integer", minimum=0, maximum=100, default=0),
        Column("price", "money", minimum=0, maximum=1_000_000),
        Column("pack_size", "integer", minimum=1, maximum=100_000),
        Column("min_stock", "integer", minimum=0, maximum=10_000_000),
        _number("lead_days", 0.01, 1_000, zero=True),
    ),
)  # fmt: skip

HOLDER_TYPES = Record(
    "holder_types", "holder type", "holder_types.csv", ("holder_type",),
    (
        Column("holder_type", required=True),
        Column("designation", required=True),
        Column("interface"),
        Column("kind"),
        Column("accepts",
               explains="start of an item's designation, | between alternatives; decides alone "
               "which inserts fit"),
        _number("reach_mm", 0.1, 2_000, (5, 300), zero=True),
        _rpm("max_rpm"),
    ),
)  # fmt: skip

HOLDERS = Record(
    "holders", "holder", "holders.csv", ("holder",),
    (
        Column("holder", required=True, explains="the shop's own mark"),
        Column("holder_type", required=True, reference="holder_types"),
        Column("location"),
        Column("condition", "choice", choices=CONDITIONS, spellings=CONDITION_SPELLINGS,
               explains="empty, new, good and worn may be built; every other word keeps the "
               "holder off the bench"),
        Column("remark"),
    ),
    code_kind="H",
)  # fmt: skip

LOTS = Record(
    "lots", "lot", "lots.csv", ("lot",),
    (
        Column("lot", required=True),
        Column("cutting_item", required=True, reference="cutting_items"),
        Column("quantity", "integer", required=True, minimum=0, maximum=10_000_000),
        Column("received_on", "date"),
        Column("location"),
    ),
    code_kind="L",
)  # fmt: skip

TOOL_SPECS = Record(
    "tool_specs", "tool spec", "tool_specs.csv", ("tool_spec",),
    (
        Column("tool_spec", required=True),
        Column("description"),
        Column("holder_type", required=True, reference="holder_types"),
        Column("cutting_items", required=True, reference="cutting_items", many=True),
        Column("tip_orientation", "integer", minimum=0, maximum=9),
        Column("nose_radius_mm", "length", minimum=0, maximum=50, usual=(0.02, 3)),
        _place("lf_nominal_mm"),
        _place("wf_nominal_mm"),
        _place("hf_nominal_mm"),
        Column("tolerance_mm", "length", minimum=0.0001, maximum=20, usual=(0.002, 0.5)),
        _rpm("max_rpm"),
        _number("torque_nm", 0.01, 2_000, (0.3, 100)),
        _number("preset_minutes", 0.1, 1_440, (2, 60),
                explains="bench time from a bare holder to an accepted preset"),
        _number("clearance_deg", 0.5, 60, (3, 30), zero=True, source=_ISO_1832),
        _number("wear_limit_mm", 0.005, 3, (0.05, 0.8), source=_ISO_3685),
        Column("items_per_tool", "integer", minimum=1, maximum=100, default=1,
               explains="inserts in one tool, all from one lot"),
        _number("life_parts", 0.01, 100_000_000,
                explains="expected life in parts, such as 800"),
        Column("failure_cost", "money", minimum=0, maximum=10_000_000),
        _number("swap_minutes", 0.05, 1_440, (0.5, 60)),
    ),
)  # fmt: skip

PARTS = Record(
    "parts", "part", "parts.csv", ("part",),
    (
        Column("part", required=True),
        Column("description"),
        Column("material", required=True),
        Column("material_group", "choice", required=True, choices=MATERIAL_GROUPS),
        _number("bar_diameter_mm", 0.1, 500, (1, 65)),
        _number("part_length_mm", 0.01, 10_000, (1, 500)),
        _number("cutoff_width_mm", 0.05, 50, (0.5, 6), zero=True),
        _number("cycle_s", 0.05, 604_800, (1, 3_600), required=True),
    ),
)  # fmt: skip

OPERATIONS = Record(
    "operations", "operation", "operations.csv", ("part", "path", "sequence"),
    (
        Column("part", required=True, reference="parts"),
        Column("sequence", "integer", required=True, minimum=0, maximum=1_000_000),
        Column("tool_number", "integer", required=True, minimum=0, maximum=99_999_999),
        Column("path", "integer", minimum=1, maximum=99, default=1),
        Column("tool_spec", required=True, reference="tool_specs"),
        Column("kind", "choice", required=True, choices=OPERATION_KINDS),
        _number("start_diameter_mm", 0.01, 1_000, (0.5, 80), zero=True),
        _number("end_diameter_mm", 0.01, 1_000, (0.5, 80), zero=True),
        _number("length_mm", 0.001, 10_000, (0.1, 500), zero=True),
        _number("feed_mm_rev", 0.0001, 50, (0.005, 1)),
        _number("depth_mm", 0.0005, 100, (0.02, 10)),
        Column("passes", "integer", minimum=1, maximum=10_000),
        _number("cutting_speed_m_min", 0.1, 10_000, (5, 600)),
        _rpm("spindle_rpm"),
        _number("engaged_s", 0.001, 604_800, (0.1, 600), zero=True),
        _number("contact_share", 0.01, 1,
                explains="share of the feed time in contact; below 1 for an oscillating feed"),
    ),
    owner="parts",
)  # fmt: skip

TOOL_LIFE = Record(
    "tool_life", "tool-life row", "tool_life.csv",
    ("tool_material", "cutting_item", "material_group"),
    (
        Column("tool_material", "choice", choices=TOOL_MATERIALS,
               explains="this or cutting_item"),
        Column("cutting_item", reference="cutting_items", explains="this or tool_material"),
        Column("material_group", "choice", required=True, choices=MATERIAL_GROUPS),
        _number("n", 0.02, 2, (0.08, 0.8), required=True),
        _number("c_m_min", 0.1, 100_000, (10, 5_000), required=True),
        _number("feed_exponent", 0.001, 5, (0.1, 1), zero=True),
        _number("depth_exponent", 0.001, 5, (0.05, 1), zero=True),
        _number("reference_feed_mm_rev", 0.0001, 50, (0.01, 1)),
        _number("reference_depth_mm", 0.0001, 100, (0.02, 10)),
        Column("source"),
    ),
)  # fmt: skip

RUNS = Record(
    "runs", "run", "runs.csv", ("machine", "part", "start_at"),
    (
        Column("machine", required=True, reference="machines"),
        Column("part", required=True, reference="parts"),
        Column("quantity", "integer", required=True, minimum=1, maximum=1_000_000_000),
        Column("start_at", "instant"),
        Column("state", "choice", choices=("planned", "running", "done"), default="planned"),
        Column("end_at", "instant", explains="when a run that is done ended"),
    ),
)  # fmt: skip

GAUGES = Record(
    "gauges", "gauge", "gauges.csv", ("gauge",),
    (
        Column("gauge", required=True, explains="the shop's own mark"),
        Column("description"),
        Column("uncertainty_mm", "length", minimum=0.0001, maximum=1, usual=(0.0003, 0.02),
               explains="standard uncertainty"),
        Column("resolution_mm", "length", minimum=0.0001, maximum=1, usual=(0.0001, 0.01),
               explains="step of its display; empty: 0.001"),
        _place("master_lf_mm"),
        _place("master_wf_mm"),
        _place("master_hf_mm"),
        Column("check_tolerance_mm", "length", minimum=0.0001, maximum=1, usual=(0.001, 0.05)),
        _number("check_hours", 0.1, 10_000, (4, 800), default=24.0),
        Column("line_pattern",
               explains="form of the line that it sends, such as LF {lf} WF {wf}"),
    ),
    code_kind="G",
)  # fmt: skip

#: In the order in which they must exist: a record refers only to those above it.
CATALOGUE: tuple[Record, ...] = (
    PEOPLE, CALENDARS, CALENDAR_SPANS, CLOSURES, MACHINES, STATIONS, CUTTING_ITEMS,
    HOLDER_TYPES, HOLDERS, LOTS, TOOL_SPECS, PARTS, OPERATIONS, TOOL_LIFE, RUNS, GAUGES,
)  # fmt: skip

BY_NAME = {record.name: record for record in CATALOGUE}

#: Files of a shop folder in the order in which they refer to each other.
SHOP_FILES = tuple(record for record in CATALOGUE if record.file)


def is_out_of_service(condition: str | None) -> bool:
    """Whether a holder's condition keeps it off the bench.

    Examples:
        >>> is_out_of_service("repair"), is_out_of_service("worn"), is_out_of_service(None)
        (True, False, False)
    """
    return condition in OUT_OF_SERVICE
