"""The table of forecasts that were shown: append only, like facts, to be judged later."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    text,
)

from crib.store.engines.chosen import WORDS
from crib.store.record_tables import metadata
from crib.store.types import Instant

#: A forecast as it was shown. ``occasion`` says why it was kept: the first of its shift, or
#: the last before the removal. Wear in wear units; ``left_pXX`` is the wear still to go by
#: which that share of such edges has failed, ``life_pXX`` the wear-out life of a new edge.
kept_forecasts = Table(
    "kept_forecasts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", Instant, nullable=False, index=True),
    Column("occasion", String, nullable=False),
    Column("mount_id", ForeignKey("mounts.fact_id"), nullable=False),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("first_of_stay", Boolean, nullable=False),
    Column("part_id", ForeignKey("parts.id"), nullable=False),
    Column("life_key", String, nullable=False),
    Column("age", Float, nullable=False),
    Column("wear_per_part", Float, nullable=False),
    Column("left_p05", Float, nullable=False),
    Column("left_p10", Float, nullable=False),
    Column("left_p25", Float, nullable=False),
    Column("left_p50", Float, nullable=False),
    Column("left_p75", Float, nullable=False),
    Column("left_p90", Float, nullable=False),
    Column("left_p95", Float, nullable=False),
    Column("shift_ends_at", Instant, nullable=False),
    Column("lasts_shift", Float, nullable=False),
    Column("unattended_begins_at", Instant),
    Column("unattended_ends_at", Instant),
    Column("fails_unattended", Float),
    Column("life_p10", Float, nullable=False),
    Column("life_p50", Float, nullable=False),
    Column("life_p90", Float, nullable=False),
    Column("widening", Float, nullable=False),
    # Null in rows of before it was kept; the chance above is one without it.
    Column(
        "night_scale", Float, CheckConstraint("night_scale > 0", name="night_scale_above_0")
    ),
    CheckConstraint("occasion IN ('shift', 'last')", name="known_occasion"),
    CheckConstraint("age >= 0 AND wear_per_part > 0", name="wear_above_0"),
    CheckConstraint(
        "0 < left_p05 AND left_p05 < left_p10 AND left_p10 < left_p25 AND left_p25 < left_p50"
        " AND left_p50 < left_p75 AND left_p75 < left_p90 AND left_p90 < left_p95",
        name="quantiles_rise",
    ),
    CheckConstraint(
        "0 < life_p10 AND life_p10 < life_p50 AND life_p50 < life_p90", name="lives_rise"
    ),
    CheckConstraint(
        "lasts_shift BETWEEN 0 AND 1 AND coalesce(fails_unattended, 0) BETWEEN 0 AND 1",
        name="chances",
    ),
    CheckConstraint(
        "(fails_unattended IS NULL) = (unattended_begins_at IS NULL)"
        " AND (fails_unattended IS NULL) = (unattended_ends_at IS NULL)",
        name="whole_stretch",
    ),
    CheckConstraint("widening >= 1", name="never_narrowed"),
)
#: Several processes show forecasts; the first of a shift is kept once.
Index(
    "uq_kept_forecasts_shift",
    kept_forecasts.c.mount_id,
    kept_forecasts.c.shift_ends_at,
    unique=True,
    **WORDS.only_where("occasion = 'shift'"),
    postgresql_where=text("occasion = 'shift'"),
)
Index(
    "uq_kept_forecasts_first",
    kept_forecasts.c.mount_id,
    unique=True,
    **WORDS.only_where("first_of_stay"),
    postgresql_where=text("first_of_stay"),
)
#: The latest first forecasts of a key, which its widening is learned from.
Index(
    "ix_kept_forecasts_key",
    kept_forecasts.c.life_key,
    kept_forecasts.c.id,
    **WORDS.only_where("first_of_stay"),
    postgresql_where=text("first_of_stay"),
)
