"""Tables of the bench's facts beside presets: overridden gauges, printed labels, the rack."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, String, Table

from crib.store.record_tables import metadata
from crib.store.types import Sentences

#: A supervisor let a preset count although its gauge did not: which problems, who, why.
preset_overrides = Table(
    "preset_overrides",
    metadata,
    Column("preset_id", ForeignKey("presets.fact_id"), primary_key=True, autoincrement=False),
    Column("person_id", ForeignKey("people.id"), nullable=False),
    Column("reason", String, nullable=False),
    Column("problems", Sentences, nullable=False),
)

#: A label on paper: the code that it carries and the preset that it shows.
label_prints = Table(
    "label_prints",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("code", ForeignKey("label_codes.code"), nullable=False),
    Column("preset_id", ForeignKey("presets.fact_id")),
    Column("stock", String, nullable=False),
    Column("reason", String),
    Column("queue", String),
)

#: Where an assembly was put until it is mounted or taken apart.
rack_places = Table(
    "rack_places",
    metadata,
    Column("fact_id", ForeignKey("facts.id"), primary_key=True, autoincrement=False),
    Column("assembly_id", ForeignKey("assemblies.fact_id"), nullable=False, index=True),
    Column("machine_id", ForeignKey("machines.id"), index=True),
    Column("place", String),
)
