"""Every record that a shop keeps, column by column, in the order in which they refer."""

from __future__ import annotations

from crib.records.columns import Column, Record

AXIS_CHOICES = ("+LF", "-LF", "+WF", "-WF", "+HF", "-HF")
TOOL_MATERIALS = ("hss", "carbide", "coated_carbide", "cermet", "ceramic", "cbn", "pcd")
MATERIAL_GROUPS = ("P", "M", "K", "N", "S", "H")  # ISO 513
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
OPERATION_KINDS = (
    "turn", "face", "bore", "groove", "part_off", "drill", "ream", "tap", "thread", "mill",
    "saw",
)  # fmt: skip
ROLES = ("attendant", "operator", "supervisor")


def _rpm(name: str) -> Column:
    return Column(name, "number", above=0, maximum=200_000)


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
        Column("attended", "yes_no", required=True),
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
        Column("headstock_stroke_mm", "number", above=0, maximum=10_000),
        Column("bar_length_mm", "number", above=0, maximum=100_000),
        Column("bar_remnant_mm", "number", minimum=0, maximum=100_000),
        Column("x_on_diameter", "yes_no", default=True),
        Column("offset_unit", "choice", choices=("mm", "in"), default="mm"),
        Column("offset_increment_mm", "length", above=0, maximum=1),
        Column("feed_url"),
        Column("calendar", reference="calendars"),
        Column("count_item", explains="id or name of the part count that a feed follows"),
        Column("parts_per_cycle", "integer", minimum=1, maximum=1000, default=1),
        Column("breakage_signals",
               explains="conditions of its agent that tell a broken tool: native codes, ids or "
               "names, * for any characters, | between alternatives; empty for none"),
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
        Column("axis_x", "choice", choices=AXIS_CHOICES),
        Column("axis_y", "choice", choices=AXIS_CHOICES),
        Column("axis_z", "choice", choices=AXIS_CHOICES),
        Column("datum_x_mm", "length"),
        Column("datum_y_mm", "length"),
        Column("datum_z_mm", "length"),
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
        Column("edges", "integer", minimum=1, maximum=16, default=1),
        Column("regrinds", "integer", minimum=0, maximum=100, default=0),
        Column("price", "money", minimum=0, maximum=1_000_000),
        Column("pack_size", "integer", minimum=1, maximum=100_000),
        Column("min_stock", "integer", minimum=0, maximum=10_000_000),
        Column("lead_days", "number", minimum=0, maximum=1_000),
    ),
)  # fmt: skip

HOLDER_TYPES = Record(
    "holder_types", "holder type", "holder_types.csv", ("holder_type",),
    (
        Column("holder_type", required=True),
        Column("designation", required=True),
        Column("interface"),
        Column("kind"),
        Column("accepts", explains="start of an item's designation, | between alternatives"),
        Column("reach_mm", "number", minimum=0, maximum=10_000),
        _rpm("max_rpm"),
    ),
)  # fmt: skip

HOLDERS = Record(
    "holders", "holder", "holders.csv", ("holder",),
    (
        Column("holder", required=True, explains="the shop's own mark"),
        Column("holder_type", required=True, reference="holder_types"),
        Column("location"),
        Column("condition"),
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
        Column("nose_radius_mm", "length", minimum=0, maximum=100),
        Column("lf_nominal_mm", "length"),
        Column("wf_nominal_mm", "length"),
        Column("hf_nominal_mm", "length"),
        Column("tolerance_mm", "length", above=0, maximum=100),
        _rpm("max_rpm"),
        Column("torque_nm", "number", above=0, maximum=10_000),
        Column("preset_minutes", "number", above=0, maximum=10_000),
        Column("clearance_deg", "number", minimum=0, maximum=60),
        Column("wear_limit_mm", "number", above=0, maximum=10),
        Column("items_per_tool", "integer", minimum=1, maximum=100, default=1),
        Column("life_parts", "number", above=0, maximum=100_000_000),
        Column("failure_cost", "money", minimum=0, maximum=10_000_000),
        Column("swap_minutes", "number", above=0, maximum=10_000),
    ),
)  # fmt: skip

PARTS = Record(
    "parts", "part", "parts.csv", ("part",),
    (
        Column("part", required=True),
        Column("description"),
        Column("material", required=True),
        Column("material_group", "choice", required=True, choices=MATERIAL_GROUPS),
        Column("bar_diameter_mm", "number", above=0, maximum=1_000),
        Column("part_length_mm", "number", above=0, maximum=10_000),
        Column("cutoff_width_mm", "number", minimum=0, maximum=100),
        Column("cycle_s", "number", required=True, above=0, maximum=1_000_000),
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
        Column("start_diameter_mm", "number", minimum=0, maximum=1_000),
        Column("end_diameter_mm", "number", minimum=0, maximum=1_000),
        Column("length_mm", "number", minimum=0, maximum=10_000),
        Column("feed_mm_rev", "number", above=0, maximum=50),
        Column("depth_mm", "number", above=0, maximum=100),
        Column("passes", "integer", minimum=1, maximum=10_000),
        Column("cutting_speed_m_min", "number", above=0, maximum=10_000),
        Column("spindle_rpm", "number", above=0, maximum=200_000),
        Column("engaged_s", "number", minimum=0, maximum=1_000_000),
        Column("contact_share", "number", above=0, maximum=1,
               explains="share of the feed time in contact; a feed that oscillates: below 1"),
    ),
    owner="parts",
)  # fmt: skip

TOOL_LIFE = Record(
    "tool_life", "tool-life row", "tool_life.csv",
    ("tool_material", "cutting_item", "material_group"),
    (
        Column("tool_material", "choice", choices=TOOL_MATERIALS,
               explains="this or cutting_item"),
        Column("cutting_item", reference="cutting_items"),
        Column("material_group", "choice", required=True, choices=MATERIAL_GROUPS),
        Column("n", "number", required=True, minimum=0.01, maximum=2),
        Column("c_m_min", "number", required=True, minimum=0.1, maximum=100_000),
        Column("feed_exponent", "number", minimum=0, maximum=5),
        Column("depth_exponent", "number", minimum=0, maximum=5),
        Column("reference_feed_mm_rev", "number", minimum=0.0001, maximum=50),
        Column("reference_depth_mm", "number", minimum=0.0001, maximum=100),
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
    "gauges", "gauge", None, ("gauge",),
    (
        Column("gauge", required=True, explains="the shop's own mark"),
        Column("description"),
        Column("uncertainty_mm", "length", above=0, maximum=1, explains="standard uncertainty"),
        Column("master_lf_mm", "length"),
        Column("master_wf_mm", "length"),
        Column("master_hf_mm", "length"),
        Column("check_tolerance_mm", "length", above=0, maximum=1),
        Column("check_hours", "number", above=0, maximum=10_000, default=24.0),
        Column("line_pattern",
               explains="how a line that it sends is written, such as LF {lf} WF {wf}"),
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

#: Words in a holder's condition that keep it off the bench (common practice, no source).
OUT_OF_SERVICE = frozenset(
    {
        "out_of_service",
        "repair",
        "in_repair",
        "broken",
        "scrapped",
        "lost",
        "lent",
        "quarantine",
    }
)


def is_out_of_service(condition: str | None) -> bool:
    """Whether a holder's condition, as the shop wrote it, keeps it off the bench.

    Examples:
        >>> is_out_of_service("Out of service"), is_out_of_service("good")
        (True, False)
    """
    word = (condition or "").strip().lower().replace(" ", "_").replace("-", "_")
    return word in OUT_OF_SERVICE
