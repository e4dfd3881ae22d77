"""Facts as lists and one by one, as recorded: nothing here was ever edited."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from flask_smorest import Blueprint

from api.http.operation import Call, Reply, reads
from api.http.paging import page_link
from api.schemas.facts import FactQuery
from api.schemas.fields import Shape, Text, Whole, YesNo
from api.schemas.query import known_word
from api.schemas.records import page_shape
from api.schemas.results import shape_from
from crib.acts.named import named_assembly
from crib.errors import Conflict, NotKnown
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.resolve import (
    machine_id_by_name,
    resolve_gauge,
    resolve_holder,
    resolve_lot,
    resolve_station,
)
from crib.store.sound_rows import not_read
from crib.store.stockrows import spec_id_by_name
from crib.store.tables import CUTTER_STATES
from crib.views import queries
from crib.views.query_shapes import RefusedCountListed

blueprint = Blueprint("facts", __name__, description="Facts as they were recorded.")

#: Query member -> the filter it fills and how its text is found.
_FILTERS: dict[str, tuple[str, Callable[[Tx, str], Any]]] = {
    "assembly": ("assembly_id", lambda tx, text: named_assembly(tx, text).row.id),
    "station": ("station_id", lambda tx, text: resolve_station(tx, text).id),
    "machine": ("machine_id", machine_id_by_name),
    "holder": ("holder_id", lambda tx, text: resolve_holder(tx, text).id),
    "lot": ("lot_id", lambda tx, text: resolve_lot(tx, text).id),
    "gauge": ("gauge_id", lambda tx, text: resolve_gauge(tx, text).id),
    "tool_spec": ("tool_spec_id", spec_id_by_name),
    "cutter_status": (
        "cutter_status",
        lambda tx, text: known_word("cutter_status", text.upper(), CUTTER_STATES),
    ),
}


@dataclass(frozen=True, slots=True)
class FactList:
    """One kind of fact and its address."""

    name: str
    kind: queries.FactKind[Any]

    @property
    def noun(self) -> str:
        """What functions call one of them."""
        return self.name.replace("-", "_")

    @property
    def filters(self) -> dict[str, tuple[str, Callable[[Tx, str], Any]]]:
        """Query member -> the filter it fills and how its text is found."""
        known = self.kind.filters
        return {name: found for name, found in _FILTERS.items() if found[0] in known}


LISTS = (
    FactList("assemblies", queries.ASSEMBLIES),
    FactList("presets", queries.PRESETS),
    FactList("mounts", queries.MOUNTS),
    FactList("removals", queries.REMOVALS),
    FactList("corrections", queries.CORRECTIONS),
    FactList("teardowns", queries.TEARDOWNS),
    FactList("label-prints", queries.LABEL_PRINTS),
    FactList("rack-places", queries.RACK_PLACES),
    FactList("stock-moves", queries.STOCK_MOVES),
    FactList("gauge-checks", queries.GAUGE_CHECKS),
    FactList("stops", queries.STOPS),
    FactList("counts", queries.COUNT_BATCHES),
    FactList("refused-counts", queries.REFUSED_COUNTS),
    FactList("count-verdicts", queries.COUNT_VERDICTS),
    FactList("breakages", queries.BREAKAGES),
    FactList("question-dismissals", queries.QUESTION_DISMISSALS),
    FactList("night-choices", queries.NIGHT_CHOICES),
    FactList("life-confirmations", queries.LIFE_CONFIRMATIONS),
)


def _query(one: FactList) -> type[Shape]:
    members: dict[str, Any] = {
        name: Text(explains=f"Only this {name.replace('_', ' ')}.") for name in one.filters
    }
    if one.kind.can_be_open:
        members["open"] = YesNo(query=True, explains="Only what is not over.")
    members["after"] = Whole(
        query=True, load_default=0, most=2**53, explains="``next`` of the page before."
    )
    return type(f"{one.kind.row.__name__}Query", (FactQuery,), members)


def _register(one: FactList) -> None:
    number = "id" if one.kind.row is RefusedCountListed else "fact"
    shape = shape_from(one.kind.row, one.kind.row.__name__, rename={"id": number})

    def list_view(call: Call) -> Reply:
        wanted = {
            filtered: find(call.tx, call.query[name])
            for name, (filtered, find) in one.filters.items()
            if name in call.query
        }
        found = queries.list_facts(
            call.tx,
            one.kind,
            wanted,
            open_only=call.query.get("open", False),
            as_of=call.query.get("as_of"),
            after_id=call.query["after"],
            limit=call.query["limit"],
        )
        return Reply(
            {
                "items": found.rows,
                "next": found.next_after,
                "problems": [not_read(one.name, number) for number in found.unreadable],
            },
            headers=page_link(call, found.next_after),
        )

    def read_view(call: Call, fact: int) -> Any:
        known = fact < 2**53  # beyond that the database could not even be asked
        page = (
            queries.list_facts(call.tx, one.kind, after_id=fact - 1, limit=1) if known else None
        )
        if page and fact in page.unreadable:
            raise Conflict(not_read(one.name, fact))
        rows = page.rows if page else ()
        if not rows or rows[0].id != fact:
            raise NotKnown(
                sentence(
                    "No entry of the {replace} has the number {fact}.",
                    replace=one.name.replace("-", " "),
                    fact=fact,
                ),
                facts={"fact": fact},
            )
        return rows[0]

    list_view.__name__ = f"list_{one.noun}"
    list_view.__doc__ = f"List {one.name.replace('-', ' ')}, the first recorded first."
    read_view.__name__ = f"read_{one.noun}_fact"
    read_view.__doc__ = f"Read one of the {one.name.replace('-', ' ')} by its number."
    reads(
        blueprint, f"/v1/{one.name}", page_shape(shape, one.name, number)(), query=_query(one)()
    )(list_view)
    if one.name != "assemblies":
        reads(blueprint, f"/v1/{one.name}/<int:fact>", shape())(read_view)


for _one in LISTS:
    _register(_one)
