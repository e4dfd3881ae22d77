"""Numbers of records and facts keep their bounds, whoever writes them."""

from __future__ import annotations

from alembic import op

revision = "0016"
down_revision = "0015"

#: Table -> column, least, most, and whether 0 is allowed beside them; lengths in 0.1 µm.
_BOUNDS = {
    "machines": (
        ("spindle_max_rpm", "1.0", "200000.0", False),
        ("headstock_stroke_mm", "1.0", "5000.0", False),
        ("bar_length_mm", "10.0", "20000.0", False),
        ("bar_remnant_mm", "0.1", "5000.0", True),
        ("offset_increment_tenths_um", "1", "10000", False),
        ("parts_per_cycle", "1", "1000", False),
    ),
    "stations": (
        ("tool_number", "0", "99999999", False),
        ("path", "1", "99", False),
        ("max_rpm", "1.0", "200000.0", False),
        ("offset_register", "0", "99999", False),
        ("datum_x_tenths_um", "-20000000", "20000000", False),
        ("datum_y_tenths_um", "-20000000", "20000000", False),
        ("datum_z_tenths_um", "-20000000", "20000000", False),
    ),
    "cutting_items": (
        ("edges", "1", "16", False),
        ("regrinds", "0", "100", False),
        ("price_minor", "0", "100000000", False),
        ("pack_size", "1", "100000", False),
        ("min_stock", "0", "10000000", False),
        ("lead_days", "0.01", "1000.0", True),
    ),
    "holder_types": (
        ("reach_mm", "0.1", "2000.0", True),
        ("max_rpm", "1.0", "200000.0", False),
    ),
    "lots": (("quantity", "0", "10000000", False),),
    "tool_specs": (
        ("tip_orientation", "0", "9", False),
        ("nose_radius_tenths_um", "0", "500000", False),
        ("lf_nominal_tenths_um", "-20000000", "20000000", False),
        ("wf_nominal_tenths_um", "-20000000", "20000000", False),
        ("hf_nominal_tenths_um", "-20000000", "20000000", False),
        ("tolerance_tenths_um", "1", "200000", False),
        ("max_rpm", "1.0", "200000.0", False),
        ("torque_nm", "0.01", "2000.0", False),
        ("preset_minutes", "0.1", "1440.0", False),
        ("clearance_deg", "0.5", "60.0", True),
        ("wear_limit_mm", "0.005", "3.0", False),
        ("items_per_tool", "1", "100", False),
        ("life_parts", "0.01", "100000000.0", False),
        ("failure_cost_minor", "0", "1000000000", False),
        ("swap_minutes", "0.05", "1440.0", False),
    ),
    "parts": (
        ("bar_diameter_mm", "0.1", "500.0", False),
        ("part_length_mm", "0.01", "10000.0", False),
        ("cutoff_width_mm", "0.05", "50.0", True),
        ("cycle_s", "0.05", "604800.0", False),
    ),
    "operations": (
        ("sequence", "0", "1000000", False),
        ("tool_number", "0", "99999999", False),
        ("path", "1", "99", False),
        ("start_diameter_mm", "0.01", "1000.0", True),
        ("end_diameter_mm", "0.01", "1000.0", True),
        ("length_mm", "0.001", "10000.0", True),
        ("feed_mm_rev", "0.0001", "50.0", False),
        ("depth_mm", "0.0005", "100.0", False),
        ("passes", "1", "10000", False),
        ("cutting_speed_m_min", "0.1", "10000.0", False),
        ("spindle_rpm", "1.0", "200000.0", False),
        ("engaged_s", "0.001", "604800.0", True),
        ("contact_share", "0.01", "1.0", False),
    ),
    "tool_life": (
        ("n", "0.02", "2.0", False),
        ("c_m_min", "0.1", "100000.0", False),
        ("feed_exponent", "0.001", "5.0", True),
        ("depth_exponent", "0.001", "5.0", True),
        ("reference_feed_mm_rev", "0.0001", "50.0", False),
        ("reference_depth_mm", "0.0001", "100.0", False),
    ),
    "runs": (("quantity", "1", "1000000000", False),),
    "gauges": (
        ("uncertainty_tenths_um", "1", "10000", False),
        ("master_lf_tenths_um", "-20000000", "20000000", False),
        ("master_wf_tenths_um", "-20000000", "20000000", False),
        ("master_hf_tenths_um", "-20000000", "20000000", False),
        ("check_tolerance_tenths_um", "1", "10000", False),
        ("check_hours", "0.1", "10000.0", False),
    ),
    "removals": (("flank_wear_tenths_um", "0", "50000", False),),
    "corrections": (("change_tenths_um", "-100000", "100000", False),),
    "preset_readings": (
        ("lf_tenths_um", "-20000000", "20000000", False),
        ("wf_tenths_um", "-20000000", "20000000", False),
        ("hf_tenths_um", "-20000000", "20000000", False),
        ("re_tenths_um", "0", "500000", False),
    ),
}


def _outside(name: str, least: str, most: str, zero: bool) -> str:
    kinds = "('integer', 'real')" if "." in most else "('integer')"
    none = f"NEW.{name} = 0 OR " if zero else ""
    return (
        f"NEW.{name} IS NOT NULL AND NOT (typeof(NEW.{name}) IN {kinds}"
        f" AND ({none}NEW.{name} BETWEEN {least} AND {most}))"
    )


def upgrade() -> None:
    for table, columns in _BOUNDS.items():
        new, changed = [], []
        for name, least, most, zero in columns:
            outside = _outside(name, least, most, zero)
            refusal = f"THEN RAISE(ABORT, 'implausible number: {table}.{name}')"
            new.append(f"WHEN {outside} {refusal}")
            changed.append(f"WHEN NEW.{name} IS NOT OLD.{name} AND {outside} {refusal}")
        names = ", ".join(name for name, *_ in columns)
        op.execute(
            f"CREATE TRIGGER {table}_bounds_insert BEFORE INSERT ON {table}"
            f" BEGIN SELECT CASE {' '.join(new)} END; END"
        )
        op.execute(
            f"CREATE TRIGGER {table}_bounds_update BEFORE UPDATE OF {names} ON {table}"
            f" BEGIN SELECT CASE {' '.join(changed)} END; END"
        )


def downgrade() -> None:
    for table in _BOUNDS:
        for verb in ("insert", "update"):
            op.execute(f"DROP TRIGGER {table}_bounds_{verb}")
