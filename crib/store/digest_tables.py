"""Tables of digests: a chain over facts and edits of records, one digest per row of a state."""

from __future__ import annotations

from sqlalchemy import Column, Integer, LargeBinary, String, Table

from crib.store.engines.chosen import WORDS
from crib.store.record_tables import metadata

#: One link per row (or group of rows) that was recorded, edited or taken away, in the order of
#: recording. ``digest`` covers all that it stated then and is empty where it went; ``chained``
#: covers this link and the one before. The last link of a row is the one that holds.
digest_chain = Table(
    "digest_chain",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("subject", String, nullable=False),
    Column("key", String, nullable=False),
    Column("digest", LargeBinary, nullable=False),
    Column("chained", LargeBinary, nullable=False),
)

#: The digests of rows that change all the time (states, counters, what machines say now):
#: only the present one is kept.
row_digests = Table(
    "row_digests",
    metadata,
    Column("subject", String, primary_key=True),
    Column("key", String, primary_key=True),
    Column("digest", LargeBinary, nullable=False),
    **WORDS.BY_KEY,
)
