"""Tables of what machines say of themselves: how far each is read, what it is doing."""

from __future__ import annotations

from sqlalchemy import JSON, CheckConstraint, Column, ForeignKey, Integer, String, Table

from crib.store.record_tables import metadata
from crib.store.types import Instant, Whole

#: How far a machine's feed was read; changed in the transaction that books what was read.
feeds = Table(
    "feeds",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True, autoincrement=False),
    Column("source", String, nullable=False),
    Column("state", String, nullable=False),
    Column("problem", String),
    Column("heard_at", Instant),
    Column("counted_at", Instant),
    Column("lag_us", Whole),
    Column("instance_id", Whole),
    Column("next_sequence", Whole),
    Column("clock_off_us", Whole),
    Column("device_uuid", String),
    Column("lacks_us", Whole),
    Column("assets_sent_at", Instant),
    Column("assets_problem", String),
    Column("problem_sentence", JSON),
    Column("assets_problem_sentence", JSON),
    CheckConstraint("source IN ('mtconnect', 'mqtt', 'folder', 'http')", name="known_source"),
    CheckConstraint("state IN ('following', 'waiting', 'stopped')", name="known_state"),
)

#: What nobody will see: an agent restarted, or held its observations too briefly.
feed_gaps = Table(
    "feed_gaps",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("found_at", Instant, nullable=False),
    Column("reason", String, nullable=False),
    Column("from_sequence", Whole),
    Column("until_sequence", Whole),
)

#: Sessions at a broker: one that was there before and is forgotten has lost something.
broker_sessions = Table(
    "broker_sessions",
    metadata,
    Column("name", String, primary_key=True),
    Column("seen_at", Instant, nullable=False),
)

#: The last value of each state that a machine tells, since when it holds.
machine_now = Table(
    "machine_now",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True),
    Column("kind", String, primary_key=True),
    Column("path", String, primary_key=True),
    Column("since", Instant, nullable=False),
    Column("value", String),
)

#: Reported stretches over a minute in which a machine did not cut.
machine_rests = Table(
    "machine_rests",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True),
    Column("path", String, primary_key=True),
    Column("begins_at", Instant, primary_key=True),
    Column("ends_at", Instant, nullable=False),
    Column("value", String),
)

#: Tools that machines named by their asset id, by tool number.
tools_seen = Table(
    "tools_seen",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True),
    Column("path", String, primary_key=True),
    Column("tool_number", Integer, primary_key=True),
    Column("asset", String, primary_key=True),
    Column("first_at", Instant, nullable=False),
    Column("last_at", Instant, nullable=False),
)

#: A person says of a reading that was kept aside: it is true, or it is not.
count_verdicts = Table(
    "count_verdicts",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("refusal_id", ForeignKey("count_refusals.id"), nullable=False, index=True),
    Column("verdict", String, nullable=False),
    CheckConstraint(
        "verdict IN ('accepted', 'discarded', 'counter_set')", name="known_verdict"
    ),
)

#: Counts kept aside that could be booked once a person said that the counter had been set.
counts_booked_later = Table(
    "counts_booked_later",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True),
    Column("refusal_id", ForeignKey("count_refusals.id"), primary_key=True, index=True),
)

#: Conditions of an agent that are a warning or fault, as last reported: item and native code.
active_conditions = Table(
    "active_conditions",
    metadata,
    Column("machine_id", ForeignKey("machines.id"), primary_key=True),
    Column("item", String, primary_key=True),
    Column("code", String, primary_key=True),
)

#: A machine reported a breakage of an unknown tool; a question until it is answered.
breakage_doubts = Table(
    "breakage_doubts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("machine_id", ForeignKey("machines.id"), nullable=False, index=True),
    Column("path", String, nullable=False),
    Column("tool_number", Integer),
    Column("at", Instant, nullable=False),
    Column("signal", String, nullable=False),
    Column("why", String, nullable=False),
    Column("found_at", Instant, nullable=False),
    Column("why_sentence", JSON),
)

#: The facts that answer such a question: a breakage, or a dismissal.
breakage_answers = Table(
    "breakage_answers",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("doubt_id", ForeignKey("breakage_doubts.id"), nullable=False, index=True),
)

#: A person says of a tool that a machine names in a station, or of a breakage that it reported
#: nobody knows which tool (no station then): the records are right.
question_dismissals = Table(
    "question_dismissals",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("station_id", ForeignKey("stations.id"), index=True),
    Column("path", String, nullable=False),
    Column("tool_number", Integer),
    Column("asset", String, nullable=False),
    Column("since", Instant, nullable=False),
    Column("mount_id", ForeignKey("mounts.fact_id")),
)

#: A machine, or whatever watches it, says that an edge broke: its clock stops there.
breakages = Table(
    "breakages",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("mount_id", ForeignKey("mounts.fact_id"), nullable=False, index=True),
    Column("signal", String, nullable=False),
)
