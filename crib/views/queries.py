"""Read-only lists of facts: one table of kinds, flat rows, a page at a time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Generic

from crib.errors import Invalid
from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.fact_lists import fact_rows
from crib.views.query_shapes import (
    AssemblyListed,
    BreakageListed,
    CorrectionListed,
    CountBatchListed,
    CountVerdictListed,
    GaugeCheckListed,
    LabelPrintListed,
    LifeConfirmationListed,
    MountListed,
    NightChoiceListed,
    Page,
    PresetListed,
    QuestionDismissalListed,
    RackPlaceListed,
    RefusedCountListed,
    RemovalListed,
    Row,
    StockMoveListed,
    StopListed,
    TeardownListed,
)

#: Longest page.
MOST_ROWS = 1_000

_STAY = ("assembly_id", "station_id", "machine_id")


@dataclass(frozen=True, slots=True)
class FactKind(Generic[Row]):
    """One kind of fact as a list.

    Attributes:
        name: What the store calls it.
        row: Shape of a row.
        filters: By what it can be narrowed, each a value that its rows must have.
        can_be_open: Whether some of it may not be over yet.
    """

    name: str
    row: type[Row]
    filters: tuple[str, ...]
    can_be_open: bool = False


#: Tools that were built, with what each is now.
ASSEMBLIES = FactKind(
    "assemblies",
    AssemblyListed,
    ("tool_spec_id", "holder_id", "machine_id", "lot_id", "cutter_status"),
    can_be_open=True,
)
#: Presets, accepted or not.
PRESETS = FactKind("presets", PresetListed, ("assembly_id", "gauge_id"))
#: Stays in stations.
MOUNTS = FactKind("mounts", MountListed, _STAY, can_be_open=True)
REMOVALS = FactKind("removals", RemovalListed, _STAY)
#: Offset steps.
CORRECTIONS = FactKind("corrections", CorrectionListed, _STAY)
#: Tools that were taken apart.
TEARDOWNS = FactKind("teardowns", TeardownListed, ("assembly_id",))
#: Labels on paper.
LABEL_PRINTS = FactKind("label_prints", LabelPrintListed, ("assembly_id",))
#: Where tools were put.
RACK_PLACES = FactKind("rack_places", RackPlaceListed, ("assembly_id", "machine_id"))
#: The ledger: every move, builds and moves taken back among them.
STOCK_MOVES = FactKind("stock_moves", StockMoveListed, ("lot_id",))
#: Checks of gauges on their masters.
GAUGE_CHECKS = FactKind("gauge_checks", GaugeCheckListed, ("gauge_id",))
STOPS = FactKind("stops", StopListed, ("machine_id",))
#: Batches of counter readings.
COUNT_BATCHES = FactKind("count_batches", CountBatchListed, ("machine_id",))
#: Counter readings that are kept aside.
REFUSED_COUNTS = FactKind(
    "refused_counts", RefusedCountListed, ("machine_id",), can_be_open=True
)
#: What people said of them.
COUNT_VERDICTS = FactKind("count_verdicts", CountVerdictListed, ("machine_id",))
#: Signals that an edge broke.
BREAKAGES = FactKind("breakages", BreakageListed, _STAY)
#: Questions about tools that people dismissed.
QUESTION_DISMISSALS = FactKind("question_dismissals", QuestionDismissalListed, ("machine_id",))
#: Lives of edges whose record a person said is right.
LIFE_CONFIRMATIONS = FactKind("life_confirmations", LifeConfirmationListed, _STAY)
#: What was decided for unattended stretches.
NIGHT_CHOICES = FactKind("night_choices", NightChoiceListed, ("machine_id",))


def list_facts(
    tx: Tx,
    kind: FactKind[Row],
    filters: Mapping[str, object] | None = None,
    *,
    open_only: bool = False,
    as_of: datetime | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> Page[Row]:
    """One page of facts of a kind, by ascending id.

    Args:
        tx: An open transaction.
        kind: Which facts.
        filters: Filter -> value; None asks for all.
        open_only: Only what is not over.
        as_of: Only facts dated up to then.
        after_id: Only ids above (the last one of the page before).
        limit: How many at most, 1 to ``MOST_ROWS``.

    Raises:
        Invalid: A page of no such length, or a filter that the kind does not know.
    """
    if not 1 <= limit <= MOST_ROWS:
        raise Invalid(
            sentence(
                "limit is {limit}: it must be 1 to {most_rows}.",
                limit=limit,
                most_rows=MOST_ROWS,
            ),
            errors=[
                {
                    "field": "limit",
                    "detail": sentence("from 1 to {most_rows}", most_rows=MOST_ROWS),
                }
            ],
        )
    given = {name: value for name, value in (filters or {}).items() if value is not None}
    unknown = sorted(set(given) - set(kind.filters)) + (
        ["open_only"] if open_only and not kind.can_be_open else []
    )
    if unknown:
        raise Invalid(
            sentence(
                "The {replace} cannot be filtered by {unknown}.",
                replace=kind.name.replace("_", " "),
                unknown=together(", ", unknown),
            ),
            errors=[
                {"field": name, "detail": sentence("is not a filter here")} for name in unknown
            ],
        )
    found, unreadable = fact_rows(
        tx,
        kind.name,
        kind.row,
        given,
        open_only=open_only,
        as_of=as_of,
        after_id=after_id,
        limit=limit + 1,
    )
    numbers = sorted([*found, *unreadable])
    last = numbers[limit - 1] if len(numbers) > limit else None
    return Page(
        tuple(row for number, row in found.items() if last is None or number <= last),
        last,
        tuple(one for one in unreadable if last is None or one <= last),
    )
