"""Tables with named constraints: facts, states, counters (records: ``record_tables``).

Facts (``facts`` and the tables keyed by ``fact_id``) are append only; triggers refuse to
change or delete them. States (``*_state``, ``edge_uses``, ``label_codes``) hold the present
now, follow from the facts, and carry the constraints that keep two truths apart.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    UniqueConstraint,
    text,
)

from crib.store.bench_tables import label_prints as label_prints
from crib.store.bench_tables import preset_overrides as preset_overrides
from crib.store.bench_tables import rack_places as rack_places
from crib.store.digest_tables import digest_chain as digest_chain
from crib.store.digest_tables import row_digests as row_digests
from crib.store.engines.chosen import WORDS
from crib.store.feed_tables import active_conditions as active_conditions
from crib.store.feed_tables import breakage_answers as breakage_answers
from crib.store.feed_tables import breakage_doubts as breakage_doubts
from crib.store.feed_tables import breakages as breakages
from crib.store.feed_tables import broker_sessions as broker_sessions
from crib.store.feed_tables import count_verdicts as count_verdicts
from crib.store.feed_tables import counts_booked_later as counts_booked_later
from crib.store.feed_tables import feed_gaps as feed_gaps
from crib.store.feed_tables import feeds as feeds
from crib.store.feed_tables import machine_now as machine_now
from crib.store.feed_tables import machine_rests as machine_rests
from crib.store.feed_tables import question_dismissals as question_dismissals
from crib.store.feed_tables import tools_seen as tools_seen
from crib.store.kept_tables import kept_forecasts as kept_forecasts
from crib.store.record_tables import metadata as metadata
from crib.store.record_tables import tool_spec_items as tool_spec_items
from crib.store.types import Instant, Sentences, Whole

code_counters = Table(
    "code_counters",
    metadata,
    Column("kind", String, primary_key=True),
    Column("next_number", Integer, nullable=False),
)

#: Counts every write, so that a view knows whether what it computed still holds: the last one,
#: the last to what all machines share, the last that may have changed anything.
revisions = Table(
    "revisions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("shared", Integer, nullable=False, server_default="0"),
    Column("everything", Integer, nullable=False, server_default="0"),
    CheckConstraint("id = 1", name="one_row"),
)

#: The last write to what is one machine's; see crib.store.revisions.
machine_revisions = Table(
    "machine_revisions",
    metadata,
    Column(
        "machine_id",
        ForeignKey("machines.id", ondelete="CASCADE"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("revision", Integer, nullable=False),
)

idempotency_keys = Table(
    "idempotency_keys",
    metadata,
    Column("key", String, primary_key=True),
    Column("route", String, nullable=False),
    Column("body_hash", String, nullable=False),
    Column("status", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("headers", JSON, nullable=False),
    Column("recorded_at", Instant, nullable=False, index=True),
)

#: What a fact may say.
FACT_KINDS = (
    "build", "preset", "mount", "removal", "correction", "count", "gauge_check", "stock_move",
    "stop", "teardown", "label_print", "rack_place", "count_verdict", "breakage",
    "question_dismissal", "night_choice", "life_confirmation", "reversal",
)  # fmt: skip

#: What can be decided for an unattended stretch.
NIGHT_CHOICES = ("run", "swap", "until", "stand")

#: In what state a tool may be (ISO 13399, cutter status).
CUTTER_STATES = (
    "NEW", "MEASURED", "AVAILABLE", "ALLOCATED", "USED", "EXPIRED", "BROKEN", "TAGGED_OUT",
    "UNAVAILABLE",
)  # fmt: skip


def _words(words: tuple[str, ...]) -> str:
    return ", ".join(f"'{word}'" for word in words)


facts = Table(
    "facts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String, nullable=False),
    Column("at", Instant, nullable=False),
    Column("recorded_at", Instant, nullable=False, index=True),
    Column("person_id", ForeignKey("people.id")),
    Column("note", String),
    Column("reverses_id", ForeignKey("facts.id"), unique=True),
    CheckConstraint(f"kind IN ({_words(FACT_KINDS)})", name="known_kind"),
    CheckConstraint("(kind = 'reversal') = (reverses_id IS NOT NULL)", name="names_reversed"),
    **WORDS.NEVER_AGAIN,
)


def _fact_id() -> Column[int]:
    return Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False)


#: A built holder + edge. One fact, and the thing itself.
assemblies = Table(
    "assemblies",
    metadata,
    _fact_id(),
    Column("tool_spec_id", ForeignKey("tool_specs.id"), nullable=False, index=True),
    Column("holder_id", ForeignKey("holders.id"), nullable=False, index=True),
    Column("lot_id", ForeignKey("lots.id"), nullable=False, index=True),
    Column("edge", Integer, nullable=False),
    Column("grind", Integer, nullable=False, server_default=text("0")),
)

#: What an assembly is now. An open one (``ended_at`` empty) holds its holder.
assembly_state = Table(
    "assembly_state",
    metadata,
    Column("assembly_id", ForeignKey("assemblies.fact_id"), primary_key=True),
    Column("holder_id", ForeignKey("holders.id"), nullable=False),
    Column("cutter_status", String, nullable=False),
    Column("preset_id", ForeignKey("presets.fact_id")),
    Column("ended_at", Instant),
    CheckConstraint(f"cutter_status IN ({_words(CUTTER_STATES)})", name="known_status"),
)
Index(
    "uq_assembly_state_holder_built_once",
    assembly_state.c.holder_id,
    unique=True,
    **WORDS.only_where("ended_at IS NULL"),
    postgresql_where=text("ended_at IS NULL"),
)
Index("ix_assembly_state_open", assembly_state.c.ended_at, assembly_state.c.cutter_status)

#: Codes that labels of an assembly carried. A new accepted preset gives a new code, so that
#: a label of an earlier preset scans as what it is.
label_codes = Table(
    "label_codes",
    metadata,
    Column("code", String, primary_key=True),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("preset_id", ForeignKey("presets.fact_id")),
    Column("superseded_at", Instant),
)
Index(
    "uq_label_codes_one_current",
    label_codes.c.assembly_id,
    unique=True,
    **WORDS.only_where("superseded_at IS NULL"),
    postgresql_where=text("superseded_at IS NULL"),
)

#: A single insert or cutter, once it has been taken out of its box.
pieces = Table(
    "pieces",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("lot_id", ForeignKey("lots.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("grinds", Integer, nullable=False, server_default=text("0")),
    Column("scrapped", Boolean, nullable=False, server_default=text("0")),
    UniqueConstraint("lot_id", "number", name="uq_pieces_lot_number"),
)

#: Each edge of each piece cuts once per grind.
edge_uses = Table(
    "edge_uses",
    metadata,
    Column("piece_id", ForeignKey("pieces.id"), primary_key=True),
    Column("edge", Integer, primary_key=True),
    Column("grind", Integer, primary_key=True),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
)

presets = Table(
    "presets",
    metadata,
    _fact_id(),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("gauge_id", ForeignKey("gauges.id")),
    Column("accepted", Boolean, nullable=False),
    Column("why_not", Sentences, nullable=False),
    Column("lf_tenths_um", Whole),
    Column("wf_tenths_um", Whole),
    Column("hf_tenths_um", Whole),
    Column("re_tenths_um", Whole),
    # standard deviation and expanded uncertainty per measure, as {"lf": ..., ...} [mm]
    Column("standard_deviation_mm", JSON, nullable=False),
    Column("expanded_uncertainty_mm", JSON, nullable=False),
    Column("void_after", Instant, nullable=False),
)

preset_readings = Table(
    "preset_readings",
    metadata,
    Column("preset_id", ForeignKey("presets.fact_id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("lf_tenths_um", Whole),
    Column("wf_tenths_um", Whole),
    Column("hf_tenths_um", Whole),
    Column("re_tenths_um", Whole),
)

mounts = Table(
    "mounts",
    metadata,
    _fact_id(),
    Column("station_id", ForeignKey("stations.id"), nullable=False, index=True),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("preset_id", ForeignKey("presets.fact_id"), nullable=False),
    Column("part_count", Integer),
    # as keyed in at the control: X doubled where X is on diameter
    Column("offset_x_tenths_um", Whole),
    Column("offset_y_tenths_um", Whole),
    Column("offset_z_tenths_um", Whole),
)

#: What sits in a station now: the primary key is "one assembly per station", the unique
#: column is "one station per assembly".
station_state = Table(
    "station_state",
    metadata,
    Column("station_id", ForeignKey("stations.id"), primary_key=True),
    Column(
        "assembly_id",
        ForeignKey("assemblies.fact_id"),
        nullable=False,
        unique=True,
    ),
    Column("mount_id", ForeignKey("mounts.fact_id"), nullable=False, unique=True),
)

removals = Table(
    "removals",
    metadata,
    _fact_id(),
    # not unique: a removal that was reversed leaves room for the true one
    Column("mount_id", ForeignKey("mounts.fact_id"), nullable=False, index=True),
    Column("reason", String, nullable=False),
    Column("part_count", Integer),
    Column("flank_wear_tenths_um", Whole),
    CheckConstraint(
        "reason IN ('worn_as_planned', 'worn_early', 'size', 'finish', 'burr', 'chipped',"
        " 'broken', 'built_up_edge', 'job_change', 'inspection')",
        name="known_reason",
    ),
)

corrections = Table(
    "corrections",
    metadata,
    _fact_id(),
    Column("mount_id", ForeignKey("mounts.fact_id"), nullable=False, index=True),
    Column("axis", String, nullable=False),
    Column("change_tenths_um", Whole, nullable=False),
    Column("correction_kind", String, nullable=False),
    CheckConstraint("axis IN ('X', 'Y', 'Z')", name="known_axis"),
    CheckConstraint("correction_kind IN ('first_off', 'size')", name="known_kind"),
)

count_batches = Table(
    "count_batches",
    metadata,
    _fact_id(),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("accepted", Integer, nullable=False),
    Column("duplicates", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
    Column("path", Integer, nullable=False, server_default="0"),
)

#: The counters that readings came from: which item of which device, and where it was read.
count_sources = Table(
    "count_sources",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("machine_id", ForeignKey("machines.id"), nullable=False),
    Column("source", String, nullable=False),
    UniqueConstraint("machine_id", "source", name="uq_count_sources_key"),
)

#: Accepted readings. ``life`` numbers the counter's lives (a reset starts one) and ``total``
#: is the parts made since the first reading; both follow from the readings before it.
#: ``path`` is 0 where the counter counts for all paths; ``starts`` as in crib.floor.line.
count_readings = Table(
    "count_readings",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True),
    Column("path", Integer, primary_key=True, autoincrement=False, server_default="0"),
    Column("at", Instant, primary_key=True, autoincrement=False),
    Column("count", Integer, nullable=False),
    Column("life", Integer, nullable=False),
    Column("total", Integer, nullable=False),
    Column("run_id", ForeignKey("runs.id")),
    Column("batch_id", ForeignKey("facts.id"), nullable=False),
    Column("source_id", ForeignKey("count_sources.id")),
    Column("starts", Integer, nullable=False, server_default="0"),
    CheckConstraint("count >= 0", name="count_not_negative"),
    **WORDS.BY_KEY,
)

count_refusals = Table(
    "count_refusals",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("batch_id", ForeignKey("facts.id"), nullable=False, index=True),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("at", Instant),
    Column("reading", JSON, nullable=False),
    Column("reason", String, nullable=False),
    Column("detail", String, nullable=False),
    Column("path", Integer, nullable=False, server_default="0"),
    Column("detail_sentence", JSON),
    Index("ix_count_refusals_when", "machine_id", "path", "at"),
)

gauge_checks = Table(
    "gauge_checks",
    metadata,
    _fact_id(),
    Column("gauge_id", ForeignKey("gauges.id"), nullable=False, index=True),
    Column("readings", JSON, nullable=False),
    Column("result", JSON, nullable=False),
    Column("valid", Boolean, nullable=False),
)

stock_moves = Table(
    "stock_moves",
    metadata,
    _fact_id(),
    Column("lot_id", ForeignKey("lots.id"), nullable=False, index=True),
    Column("move", String, nullable=False),
    Column("change", Integer, nullable=False),
    Column("balance_after", Integer, nullable=False),
    CheckConstraint(
        "move IN ('receipt', 'issue', 'return', 'scrap', 'stocktaking', 'build')",
        name="known_move",
    ),
    CheckConstraint("balance_after >= 0", name="balance_not_negative"),
)

stops = Table(
    "stops",
    metadata,
    _fact_id(),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("ends_at", Instant),
    Column("reason", String, nullable=False),
)

#: What a supervisor decided for an unattended stretch of a machine.
night_choices = Table(
    "night_choices",
    metadata,
    _fact_id(),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("begins_at", Instant, nullable=False),
    Column("ends_at", Instant, nullable=False),
    Column("choice", String, nullable=False),
    Column("until", Instant),
    CheckConstraint(f"choice IN ({_words(NIGHT_CHOICES)})", name="known_choice"),
    CheckConstraint("begins_at < ends_at", name="begins_before_end"),
    CheckConstraint("(choice = 'until') = (until IS NOT NULL)", name="says_until_when"),
    CheckConstraint("until > begins_at AND until <= ends_at", name="until_is_within"),
)

#: A person said that the record of an edge's life, as a removal ended it, is right.
life_confirmations = Table(
    "life_confirmations",
    metadata,
    _fact_id(),
    Column("removal_id", ForeignKey("removals.fact_id"), nullable=False, index=True),
    Column("parts", Integer, nullable=False),
    CheckConstraint("parts >= 0", name="parts_from_0"),
)

teardowns = Table(
    "teardowns",
    metadata,
    _fact_id(),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("reason", String),
)

#: Tables whose rows are never changed or deleted.
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
    "kept_forecasts",
    "preset_overrides",
    "label_prints",
    "rack_places",
    "feed_gaps",
    "count_verdicts",
    "counts_booked_later",
    "breakages",
    "question_dismissals",
    "breakage_doubts",
    "breakage_answers",
    "night_choices",
    "life_confirmations",
)
