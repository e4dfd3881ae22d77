"""Every record, fact and state, with the constraints and triggers that keep them true."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

APPEND_ONLY = (
    "facts",
    "assemblies",
    "presets",
    "preset_readings",
    "mounts",
    "removals",
    "corrections",
    "count_batches",
    "count_refusals",
    "gauge_checks",
    "stock_moves",
    "stops",
    "teardowns",
)

_BEFORE = (
    "SELECT life, count FROM count_readings"
    " WHERE machine_id = NEW.machine_id AND at < NEW.at ORDER BY at DESC LIMIT 1"
)
_AFTER = (
    "SELECT life, count FROM count_readings"
    " WHERE machine_id = NEW.machine_id AND at > NEW.at ORDER BY at LIMIT 1"
)
_BACKWARDS = "SELECT RAISE(ABORT, 'part count goes backwards in one life of the counter')"

COUNT_TRIGGERS = (
    "CREATE TRIGGER count_readings_order_insert AFTER INSERT ON count_readings BEGIN"
    f" {_BACKWARDS} FROM ({_BEFORE}) WHERE life > NEW.life"
    " OR (life = NEW.life AND count > NEW.count);"
    f" {_BACKWARDS} FROM ({_AFTER}) WHERE life = NEW.life AND count < NEW.count; END",
    "CREATE TRIGGER count_readings_order_update AFTER UPDATE OF life ON count_readings"
    " WHEN NEW.life <> OLD.life"
    f" BEGIN {_BACKWARDS} FROM ({_BEFORE}) WHERE life = NEW.life"
    " AND count > NEW.count; END",
    "CREATE TRIGGER count_readings_no_update BEFORE UPDATE OF machine_id, at, count,"
    " run_id, batch_id ON count_readings BEGIN"
    " SELECT RAISE(ABORT, 'append only: count_readings'); END",
    "CREATE TRIGGER count_readings_no_delete BEFORE DELETE ON count_readings BEGIN"
    " SELECT RAISE(ABORT, 'append only: count_readings'); END",
)

TABLES = (
    "calendars",
    "code_counters",
    "cutting_items",
    "gauges",
    "holder_types",
    "idempotency_keys",
    "parts",
    "people",
    "revisions",
    "calendar_spans",
    "facts",
    "holders",
    "lots",
    "machines",
    "tool_life",
    "tool_specs",
    "assemblies",
    "count_batches",
    "count_refusals",
    "gauge_checks",
    "operations",
    "pieces",
    "runs",
    "stations",
    "stock_moves",
    "stops",
    "tool_spec_items",
    "count_readings",
    "edge_uses",
    "presets",
    "teardowns",
    "assembly_state",
    "label_codes",
    "mounts",
    "preset_readings",
    "corrections",
    "removals",
    "station_state",
)


def upgrade() -> None:
    _create_tables()
    op.create_index(
        "uq_tool_life_key",
        "tool_life",
        [
            sa.text("coalesce(tool_material, '')"),
            sa.text("coalesce(cutting_item_id, '')"),
            sa.text("coalesce(material_group, '')"),
        ],
        unique=True,
    )
    op.create_index(
        "uq_runs_key",
        "runs",
        [
            sa.text("coalesce(machine_id, '')"),
            sa.text("coalesce(part_id, '')"),
            sa.text("coalesce(start_at, '')"),
        ],
        unique=True,
    )
    op.create_index(
        "uq_operations_key",
        "operations",
        [
            sa.text("coalesce(part_id, '')"),
            sa.text("coalesce(path, '')"),
            sa.text("coalesce(sequence, '')"),
        ],
        unique=True,
    )
    for table in APPEND_ONLY:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON"
                f" {table} BEGIN SELECT RAISE(ABORT, 'append only: {table}'); END"
            )
    for statement in COUNT_TRIGGERS:
        op.execute(statement)
    op.execute("INSERT INTO revisions (id, revision) VALUES (1, 0)")


def downgrade() -> None:
    # a table takes its triggers and indexes with it
    for table in reversed(TABLES):
        op.drop_table(table)


def _create_tables() -> None:
    op.create_table(
        "calendars",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calendar", sa.String(), nullable=False),
        sa.Column("time_zone", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_calendars"),
        sa.UniqueConstraint("calendar", name="uq_calendars_key"),
    )
    op.create_table(
        "code_counters",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("next_number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("kind", name="pk_code_counters"),
    )
    op.create_table(
        "cutting_items",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cutting_item", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("designation", sa.String(), nullable=False),
        sa.Column("grade", sa.String(), nullable=True),
        sa.Column("tool_material", sa.String(), nullable=True),
        sa.Column("edges", sa.Integer(), nullable=True),
        sa.Column("regrinds", sa.Integer(), nullable=True),
        sa.Column("price_minor", BIG, nullable=True),
        sa.Column("pack_size", sa.Integer(), nullable=True),
        sa.Column("min_stock", sa.Integer(), nullable=True),
        sa.Column("lead_days", sa.Float(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_cutting_items"),
        sa.UniqueConstraint("cutting_item", name="uq_cutting_items_key"),
    )
    op.create_table(
        "gauges",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("gauge", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=True),
        sa.Column("uncertainty_tenths_um", BIG, nullable=True),
        sa.Column("master_lf_tenths_um", BIG, nullable=True),
        sa.Column("master_wf_tenths_um", BIG, nullable=True),
        sa.Column("master_hf_tenths_um", BIG, nullable=True),
        sa.Column("check_tolerance_tenths_um", BIG, nullable=True),
        sa.Column("check_hours", sa.Float(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_gauges"),
        sa.UniqueConstraint("code", name="uq_gauges_code"),
        sa.UniqueConstraint("gauge", name="uq_gauges_key"),
    )
    op.create_table(
        "holder_types",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("holder_type", sa.String(), nullable=False),
        sa.Column("designation", sa.String(), nullable=False),
        sa.Column("interface", sa.String(), nullable=True),
        sa.Column("kind", sa.String(), nullable=True),
        sa.Column("accepts", sa.String(), nullable=True),
        sa.Column("reach_mm", sa.Float(), nullable=True),
        sa.Column("max_rpm", sa.Float(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_holder_types"),
        sa.UniqueConstraint("holder_type", name="uq_holder_types_key"),
    )
    op.create_table(
        "idempotency_keys",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("route", sa.String(), nullable=False),
        sa.Column("body_hash", sa.String(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("headers", sa.JSON(), nullable=False),
        sa.Column("recorded_at", BIG, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_idempotency_keys"),
    )
    op.create_index("ix_idempotency_keys_recorded_at", "idempotency_keys", ["recorded_at"])
    op.create_table(
        "parts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=True),
        sa.Column("material", sa.String(), nullable=False),
        sa.Column("material_group", sa.String(), nullable=False),
        sa.Column("bar_diameter_mm", sa.Float(), nullable=True),
        sa.Column("part_length_mm", sa.Float(), nullable=True),
        sa.Column("cutoff_width_mm", sa.Float(), nullable=True),
        sa.Column("cycle_s", sa.Float(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_parts"),
        sa.UniqueConstraint("part", name="uq_parts_key"),
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("badge", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_people"),
        sa.UniqueConstraint("badge", name="uq_people_key"),
        sa.UniqueConstraint("code", name="uq_people_code"),
    )
    op.create_table(
        "revisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name="ck_revisions_one_row"),
        sa.PrimaryKeyConstraint("id", name="pk_revisions"),
    )
    op.create_table(
        "calendar_spans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calendar_id", sa.Integer(), nullable=False),
        sa.Column("weekday", sa.String(), nullable=False),
        sa.Column("start_minute", sa.Integer(), nullable=False),
        sa.Column("end_minute", sa.Integer(), nullable=False),
        sa.Column("attended", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["calendar_id"],
            ["calendars.id"],
            name="fk_calendar_spans_calendar_id",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_calendar_spans"),
        sa.UniqueConstraint(
            "calendar_id", "weekday", "start_minute", name="uq_calendar_spans_key"
        ),
    )
    op.create_index("ix_calendar_spans_calendar_id", "calendar_spans", ["calendar_id"])
    op.create_table(
        "facts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("recorded_at", BIG, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("reverses_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(kind = 'reversal') = (reverses_id IS NOT NULL)", name="ck_facts_names_reversed"
        ),
        sa.CheckConstraint(
            "kind IN ('build', 'preset', 'mount', 'removal', 'correction', 'count', "
            "'gauge_check', 'stock_move', 'stop', 'teardown', 'reversal')",
            name="ck_facts_known_kind",
        ),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_facts_person_id"),
        sa.ForeignKeyConstraint(["reverses_id"], ["facts.id"], name="fk_facts_reverses_id"),
        sa.PrimaryKeyConstraint("id", name="pk_facts"),
        sa.UniqueConstraint("reverses_id", name="uq_facts_reverses_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_facts_recorded_at", "facts", ["recorded_at"])
    op.create_table(
        "holders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("holder", sa.String(), nullable=False),
        sa.Column("holder_type_id", sa.Integer(), nullable=False),
        sa.Column("location", sa.String(), nullable=True),
        sa.Column("condition", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["holder_type_id"],
            ["holder_types.id"],
            name="fk_holders_holder_type_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_holders"),
        sa.UniqueConstraint("code", name="uq_holders_code"),
        sa.UniqueConstraint("holder", name="uq_holders_key"),
    )
    op.create_index("ix_holders_holder_type_id", "holders", ["holder_type_id"])
    op.create_table(
        "lots",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("lot", sa.String(), nullable=False),
        sa.Column("cutting_item_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=True),
        sa.Column("location", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.Column("on_hand", sa.Integer(), nullable=False),
        sa.CheckConstraint("on_hand >= 0", name="ck_lots_on_hand_not_negative"),
        sa.ForeignKeyConstraint(
            ["cutting_item_id"],
            ["cutting_items.id"],
            name="fk_lots_cutting_item_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_lots"),
        sa.UniqueConstraint("code", name="uq_lots_code"),
        sa.UniqueConstraint("lot", name="uq_lots_key"),
    )
    op.create_index("ix_lots_cutting_item_id", "lots", ["cutting_item_id"])
    op.create_table(
        "machines",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("spindle_max_rpm", sa.Float(), nullable=True),
        sa.Column("headstock_stroke_mm", sa.Float(), nullable=True),
        sa.Column("bar_length_mm", sa.Float(), nullable=True),
        sa.Column("bar_remnant_mm", sa.Float(), nullable=True),
        sa.Column("x_on_diameter", sa.Boolean(), nullable=True),
        sa.Column("offset_unit", sa.String(), nullable=True),
        sa.Column("offset_increment_tenths_um", BIG, nullable=True),
        sa.Column("feed_url", sa.String(), nullable=True),
        sa.Column("calendar_id", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.Column("block_template", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["calendar_id"],
            ["calendars.id"],
            name="fk_machines_calendar_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_machines"),
        sa.UniqueConstraint("machine", name="uq_machines_key"),
    )
    op.create_index("ix_machines_calendar_id", "machines", ["calendar_id"])
    op.create_table(
        "tool_life",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tool_material", sa.String(), nullable=True),
        sa.Column("cutting_item_id", sa.Integer(), nullable=True),
        sa.Column("material_group", sa.String(), nullable=False),
        sa.Column("n", sa.Float(), nullable=False),
        sa.Column("c_m_min", sa.Float(), nullable=False),
        sa.Column("feed_exponent", sa.Float(), nullable=True),
        sa.Column("depth_exponent", sa.Float(), nullable=True),
        sa.Column("reference_feed_mm_rev", sa.Float(), nullable=True),
        sa.Column("reference_depth_mm", sa.Float(), nullable=True),
        sa.Column("source", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["cutting_item_id"],
            ["cutting_items.id"],
            name="fk_tool_life_cutting_item_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_tool_life"),
    )
    op.create_index("ix_tool_life_cutting_item_id", "tool_life", ["cutting_item_id"])
    op.create_table(
        "tool_specs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tool_spec", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=True),
        sa.Column("holder_type_id", sa.Integer(), nullable=False),
        sa.Column("tip_orientation", sa.Integer(), nullable=True),
        sa.Column("nose_radius_tenths_um", BIG, nullable=True),
        sa.Column("lf_nominal_tenths_um", BIG, nullable=True),
        sa.Column("wf_nominal_tenths_um", BIG, nullable=True),
        sa.Column("hf_nominal_tenths_um", BIG, nullable=True),
        sa.Column("tolerance_tenths_um", BIG, nullable=True),
        sa.Column("max_rpm", sa.Float(), nullable=True),
        sa.Column("torque_nm", sa.Float(), nullable=True),
        sa.Column("preset_minutes", sa.Float(), nullable=True),
        sa.Column("clearance_deg", sa.Float(), nullable=True),
        sa.Column("wear_limit_mm", sa.Float(), nullable=True),
        sa.Column("items_per_tool", sa.Integer(), nullable=True),
        sa.Column("life_parts", sa.Float(), nullable=True),
        sa.Column("failure_cost_minor", BIG, nullable=True),
        sa.Column("swap_minutes", sa.Float(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["holder_type_id"],
            ["holder_types.id"],
            name="fk_tool_specs_holder_type_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_tool_specs"),
        sa.UniqueConstraint("tool_spec", name="uq_tool_specs_key"),
    )
    op.create_index("ix_tool_specs_holder_type_id", "tool_specs", ["holder_type_id"])
    op.create_table(
        "assemblies",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tool_spec_id", sa.Integer(), nullable=False),
        sa.Column("holder_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("edge", sa.Integer(), nullable=False),
        sa.Column("grind", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_assemblies_fact_id"),
        sa.ForeignKeyConstraint(["holder_id"], ["holders.id"], name="fk_assemblies_holder_id"),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name="fk_assemblies_lot_id"),
        sa.ForeignKeyConstraint(
            ["tool_spec_id"], ["tool_specs.id"], name="fk_assemblies_tool_spec_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_assemblies"),
    )
    op.create_index("ix_assemblies_holder_id", "assemblies", ["holder_id"])
    op.create_index("ix_assemblies_lot_id", "assemblies", ["lot_id"])
    op.create_index("ix_assemblies_tool_spec_id", "assemblies", ["tool_spec_id"])
    op.create_table(
        "count_batches",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("accepted", sa.Integer(), nullable=False),
        sa.Column("duplicates", sa.Integer(), nullable=False),
        sa.Column("refused", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_count_batches_fact_id"),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_count_batches_machine_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_count_batches"),
    )
    op.create_index("ix_count_batches_machine_id", "count_batches", ["machine_id"])
    op.create_table(
        "count_refusals",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("at", BIG, nullable=True),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["facts.id"], name="fk_count_refusals_batch_id"),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_count_refusals_machine_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_count_refusals"),
    )
    op.create_index("ix_count_refusals_batch_id", "count_refusals", ["batch_id"])
    op.create_index("ix_count_refusals_machine_id", "count_refusals", ["machine_id"])
    op.create_table(
        "gauge_checks",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("readings", sa.JSON(), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.Column("valid", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_gauge_checks_fact_id"),
        sa.ForeignKeyConstraint(["gauge_id"], ["gauges.id"], name="fk_gauge_checks_gauge_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_gauge_checks"),
    )
    op.create_index("ix_gauge_checks_gauge_id", "gauge_checks", ["gauge_id"])
    op.create_table(
        "operations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("tool_number", sa.Integer(), nullable=False),
        sa.Column("path", sa.Integer(), nullable=True),
        sa.Column("tool_spec_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("start_diameter_mm", sa.Float(), nullable=True),
        sa.Column("end_diameter_mm", sa.Float(), nullable=True),
        sa.Column("length_mm", sa.Float(), nullable=True),
        sa.Column("feed_mm_rev", sa.Float(), nullable=True),
        sa.Column("depth_mm", sa.Float(), nullable=True),
        sa.Column("passes", sa.Integer(), nullable=True),
        sa.Column("cutting_speed_m_min", sa.Float(), nullable=True),
        sa.Column("spindle_rpm", sa.Float(), nullable=True),
        sa.Column("engaged_s", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["part_id"], ["parts.id"], name="fk_operations_part_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["tool_spec_id"],
            ["tool_specs.id"],
            name="fk_operations_tool_spec_id",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_operations"),
    )
    op.create_index("ix_operations_part_id", "operations", ["part_id"])
    op.create_index("ix_operations_tool_spec_id", "operations", ["tool_spec_id"])
    op.create_table(
        "pieces",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("grinds", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("scrapped", sa.Boolean(), server_default=sa.text("0"), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name="fk_pieces_lot_id"),
        sa.PrimaryKeyConstraint("id", name="pk_pieces"),
        sa.UniqueConstraint("lot_id", "number", name="uq_pieces_lot_number"),
    )
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("start_at", BIG, nullable=True),
        sa.Column("state", sa.String(), nullable=True),
        sa.Column("end_at", BIG, nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_runs_machine_id", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["part_id"], ["parts.id"], name="fk_runs_part_id", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_runs"),
    )
    op.create_index("ix_runs_machine_id", "runs", ["machine_id"])
    op.create_index("ix_runs_part_id", "runs", ["part_id"])
    op.create_index(
        "uq_runs_running",
        "runs",
        ["machine_id"],
        unique=True,
        sqlite_where=sa.text("state = 'running'"),
    )
    op.create_table(
        "stations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("slide", sa.String(), nullable=True),
        sa.Column("tool_number", sa.Integer(), nullable=False),
        sa.Column("path", sa.Integer(), nullable=True),
        sa.Column("spindle", sa.String(), nullable=True),
        sa.Column("kind", sa.String(), nullable=True),
        sa.Column("interface", sa.String(), nullable=True),
        sa.Column("max_rpm", sa.Float(), nullable=True),
        sa.Column("offset_register", sa.Integer(), nullable=True),
        sa.Column("axis_x", sa.String(), nullable=True),
        sa.Column("axis_y", sa.String(), nullable=True),
        sa.Column("axis_z", sa.String(), nullable=True),
        sa.Column("datum_x_tenths_um", BIG, nullable=True),
        sa.Column("datum_y_tenths_um", BIG, nullable=True),
        sa.Column("datum_z_tenths_um", BIG, nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("retired_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_stations_machine_id", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_stations"),
        sa.UniqueConstraint("code", name="uq_stations_code"),
        sa.UniqueConstraint("machine_id", "station", name="uq_stations_key"),
    )
    op.create_index("ix_stations_machine_id", "stations", ["machine_id"])
    op.create_table(
        "stock_moves",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("move", sa.String(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("balance_after", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "move IN ('receipt', 'issue', 'return', 'scrap', 'stocktaking', 'build')",
            name="ck_stock_moves_known_move",
        ),
        sa.CheckConstraint("balance_after >= 0", name="ck_stock_moves_balance_not_negative"),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_stock_moves_fact_id"),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name="fk_stock_moves_lot_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_stock_moves"),
    )
    op.create_index("ix_stock_moves_lot_id", "stock_moves", ["lot_id"])
    op.create_table(
        "stops",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("ends_at", BIG, nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_stops_fact_id"),
        sa.ForeignKeyConstraint(["machine_id"], ["machines.id"], name="fk_stops_machine_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_stops"),
    )
    op.create_index("ix_stops_machine_id", "stops", ["machine_id"])
    op.create_table(
        "tool_spec_items",
        sa.Column("tool_spec_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cutting_item_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["cutting_item_id"], ["cutting_items.id"], name="fk_tool_spec_items_cutting_item_id"
        ),
        sa.ForeignKeyConstraint(
            ["tool_spec_id"],
            ["tool_specs.id"],
            name="fk_tool_spec_items_tool_spec_id",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("tool_spec_id", "position", name="pk_tool_spec_items"),
    )
    op.create_index(
        "ix_tool_spec_items_cutting_item_id", "tool_spec_items", ["cutting_item_id"]
    )
    op.create_table(
        "count_readings",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("at", BIG, autoincrement=False, nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("life", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("count >= 0", name="ck_count_readings_count_not_negative"),
        sa.ForeignKeyConstraint(["batch_id"], ["facts.id"], name="fk_count_readings_batch_id"),
        sa.ForeignKeyConstraint(
            ["machine_id"], ["machines.id"], name="fk_count_readings_machine_id"
        ),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_count_readings_run_id"),
        sa.PrimaryKeyConstraint("machine_id", "at", name="pk_count_readings"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "edge_uses",
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("edge", sa.Integer(), nullable=False),
        sa.Column("grind", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_edge_uses_assembly_id"
        ),
        sa.ForeignKeyConstraint(["piece_id"], ["pieces.id"], name="fk_edge_uses_piece_id"),
        sa.PrimaryKeyConstraint("piece_id", "edge", "grind", name="pk_edge_uses"),
    )
    op.create_index("ix_edge_uses_assembly_id", "edge_uses", ["assembly_id"])
    op.create_table(
        "presets",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=True),
        sa.Column("accepted", sa.Boolean(), nullable=False),
        sa.Column("why_not", sa.JSON(), nullable=False),
        sa.Column("lf_tenths_um", BIG, nullable=True),
        sa.Column("wf_tenths_um", BIG, nullable=True),
        sa.Column("hf_tenths_um", BIG, nullable=True),
        sa.Column("re_tenths_um", BIG, nullable=True),
        sa.Column("standard_deviation_mm", sa.JSON(), nullable=False),
        sa.Column("expanded_uncertainty_mm", sa.JSON(), nullable=False),
        sa.Column("void_after", BIG, nullable=False),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_presets_assembly_id"
        ),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_presets_fact_id"),
        sa.ForeignKeyConstraint(["gauge_id"], ["gauges.id"], name="fk_presets_gauge_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_presets"),
    )
    op.create_index("ix_presets_assembly_id", "presets", ["assembly_id"])
    op.create_table(
        "teardowns",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_teardowns_assembly_id"
        ),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_teardowns_fact_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_teardowns"),
    )
    op.create_index("ix_teardowns_assembly_id", "teardowns", ["assembly_id"])
    op.create_table(
        "assembly_state",
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("holder_id", sa.Integer(), nullable=False),
        sa.Column("cutter_status", sa.String(), nullable=False),
        sa.Column("preset_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", BIG, nullable=True),
        sa.CheckConstraint(
            "cutter_status IN ('NEW', 'MEASURED', 'AVAILABLE', 'ALLOCATED', 'USED', "
            "'EXPIRED', 'BROKEN', 'TAGGED_OUT', 'UNAVAILABLE')",
            name="ck_assembly_state_known_status",
        ),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_assembly_state_assembly_id"
        ),
        sa.ForeignKeyConstraint(
            ["holder_id"], ["holders.id"], name="fk_assembly_state_holder_id"
        ),
        sa.ForeignKeyConstraint(
            ["preset_id"], ["presets.fact_id"], name="fk_assembly_state_preset_id"
        ),
        sa.PrimaryKeyConstraint("assembly_id", name="pk_assembly_state"),
    )
    op.create_index("ix_assembly_state_open", "assembly_state", ["ended_at", "cutter_status"])
    op.create_index(
        "uq_assembly_state_holder_built_once",
        "assembly_state",
        ["holder_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "label_codes",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("preset_id", sa.Integer(), nullable=True),
        sa.Column("superseded_at", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_label_codes_assembly_id"
        ),
        sa.ForeignKeyConstraint(
            ["preset_id"], ["presets.fact_id"], name="fk_label_codes_preset_id"
        ),
        sa.PrimaryKeyConstraint("code", name="pk_label_codes"),
    )
    op.create_index("ix_label_codes_assembly_id", "label_codes", ["assembly_id"])
    op.create_index(
        "uq_label_codes_one_current",
        "label_codes",
        ["assembly_id"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
    )
    op.create_table(
        "mounts",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("preset_id", sa.Integer(), nullable=False),
        sa.Column("part_count", sa.Integer(), nullable=True),
        sa.Column("offset_x_tenths_um", BIG, nullable=True),
        sa.Column("offset_y_tenths_um", BIG, nullable=True),
        sa.Column("offset_z_tenths_um", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_mounts_assembly_id"
        ),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_mounts_fact_id"),
        sa.ForeignKeyConstraint(["preset_id"], ["presets.fact_id"], name="fk_mounts_preset_id"),
        sa.ForeignKeyConstraint(["station_id"], ["stations.id"], name="fk_mounts_station_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_mounts"),
    )
    op.create_index("ix_mounts_assembly_id", "mounts", ["assembly_id"])
    op.create_index("ix_mounts_station_id", "mounts", ["station_id"])
    op.create_table(
        "preset_readings",
        sa.Column("preset_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("lf_tenths_um", BIG, nullable=True),
        sa.Column("wf_tenths_um", BIG, nullable=True),
        sa.Column("hf_tenths_um", BIG, nullable=True),
        sa.Column("re_tenths_um", BIG, nullable=True),
        sa.ForeignKeyConstraint(
            ["preset_id"], ["presets.fact_id"], name="fk_preset_readings_preset_id"
        ),
        sa.PrimaryKeyConstraint("preset_id", "position", name="pk_preset_readings"),
    )
    op.create_table(
        "corrections",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=False),
        sa.Column("axis", sa.String(), nullable=False),
        sa.Column("change_tenths_um", BIG, nullable=False),
        sa.Column("correction_kind", sa.String(), nullable=False),
        sa.CheckConstraint("axis IN ('X', 'Y', 'Z')", name="ck_corrections_known_axis"),
        sa.CheckConstraint(
            "correction_kind IN ('first_off', 'size')", name="ck_corrections_known_kind"
        ),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_corrections_fact_id"),
        sa.ForeignKeyConstraint(
            ["mount_id"], ["mounts.fact_id"], name="fk_corrections_mount_id"
        ),
        sa.PrimaryKeyConstraint("fact_id", name="pk_corrections"),
    )
    op.create_index("ix_corrections_mount_id", "corrections", ["mount_id"])
    op.create_table(
        "removals",
        sa.Column("fact_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("part_count", sa.Integer(), nullable=True),
        sa.Column("flank_wear_tenths_um", BIG, nullable=True),
        sa.CheckConstraint(
            "reason IN ('worn_as_planned', 'worn_early', 'size', 'finish', 'burr', "
            "'chipped', 'broken', 'built_up_edge', 'job_change', 'inspection')",
            name="ck_removals_known_reason",
        ),
        sa.ForeignKeyConstraint(["fact_id"], ["facts.id"], name="fk_removals_fact_id"),
        sa.ForeignKeyConstraint(["mount_id"], ["mounts.fact_id"], name="fk_removals_mount_id"),
        sa.PrimaryKeyConstraint("fact_id", name="pk_removals"),
    )
    op.create_index("ix_removals_mount_id", "removals", ["mount_id"])
    op.create_table(
        "station_state",
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("mount_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.fact_id"], name="fk_station_state_assembly_id"
        ),
        sa.ForeignKeyConstraint(
            ["mount_id"], ["mounts.fact_id"], name="fk_station_state_mount_id"
        ),
        sa.ForeignKeyConstraint(
            ["station_id"], ["stations.id"], name="fk_station_state_station_id"
        ),
        sa.PrimaryKeyConstraint("station_id", name="pk_station_state"),
        sa.UniqueConstraint("assembly_id", name="uq_station_state_assembly_id"),
        sa.UniqueConstraint("mount_id", name="uq_station_state_mount_id"),
    )
