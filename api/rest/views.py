"""Looks at the shop that print what a use case answers: scan, kit, orders, lives, costs."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.names import one_of
from api.http.operation import Call, Reply, reads
from api.http.paging import one_page
from api.rest.plan import CAUTION, plan_of
from api.schemas.facts import FactQuery
from api.schemas.fields import At, Number, Problems, Shape, Text, Whole
from api.schemas.query import known_word
from api.schemas.records import page_shape
from api.schemas.results import shape_from
from api.schemas.views import AsOfQuery
from crib.left_out import or_refuse
from crib.outlook.kits_ahead import RunKit
from crib.planning.kits import KitLine
from crib.planning.reorder import ReorderRow
from crib.store.facts import list_facts
from crib.store.resolve import resolve_person
from crib.store.tables import FACT_KINDS
from crib.views.keys_by_name import key_names
from crib.views.kit_for_run import kit_for_run
from crib.views.life_of_key import KeyLife, life_of_key, no_life
from crib.views.reorder_items import reorder_items
from crib.views.scan_code import scan_code
from crib.views.scan_shapes import Scan
from crib.views.tool_costs import ToolCost, tool_costs

blueprint = Blueprint("views", __name__, description="What is so, and what follows.")

ScanShape = shape_from(Scan, "ScanShape")
_scan_shape = ScanShape()


@reads(blueprint, "/v1/scan/<name:code>", _scan_shape)
def read_scan(call: Call, code: str) -> Any:
    """Show what a code is and what may be done next."""
    return scan_code(call.tx, call.present, code)


KitLineShape = shape_from(KitLine, "KitLineShape")
_LINES: dict[str, fields.Field[Any]] = {
    name: fields.List(fields.Nested(KitLineShape), required=True)
    for name in ("keep", "pull", "build", "blocked", "returns", "idle")
}
KitShape = shape_from(
    RunKit,
    "KitShape",
    rename={"run_id": "run"},
    leave_out=("kit", "took"),
    more=_LINES
    | {
        "bench_minutes": Number(required=True, explains="Before the changeover."),
        "machine_minutes": Number(required=True, explains="The machine stands."),
        "as_of": At(required=True),
        "caution": Text(required=True),
    },
)


@reads(blueprint, "/v1/kits/<int:run>", KitShape(), query=AsOfQuery(), opens=False)
def read_kit(call: Call, run: int) -> dict[str, Any]:
    """List what a changeover to a run keeps, pulls, builds and returns."""
    plan = plan_of(call)
    return kit_answer(kit_for_run(plan, run)) | {"as_of": plan.shop.now}


def kit_answer(found: RunKit) -> dict[str, Any]:
    """A kit as its shape wants it."""
    kit = found.kit
    return {name: getattr(found, name) for name in RunKit.__slots__} | {
        "keep": kit.keep,
        "pull": kit.pull,
        "build": kit.build,
        "blocked": kit.blocked,
        "idle": kit.idle,
        "returns": kit.returned,
        "bench_minutes": kit.bench_minutes,
        "machine_minutes": kit.machine_minutes,
        "caution": CAUTION,
    }


ReorderShape = shape_from(ReorderRow, "ReorderShape")


class ReorderPage(Shape):
    """Items to order."""

    as_of = At(required=True)
    items = fields.List(fields.Nested(ReorderShape), required=True)
    problems = Problems()
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/reorder-list", ReorderPage(), query=AsOfQuery(), opens=False)
def read_reorder_list(call: Call) -> dict[str, Any]:
    """List what to order, the item that runs out first on top."""
    plan = plan_of(call)
    items = reorder_items(plan)
    problems = list(dict.fromkeys((*plan.shop.left_out.records, *items.problems)))
    return {"as_of": plan.shop.now, "items": items, "problems": problems, "next": None}


class KeyNames(Shape):
    """Names of all life laws."""

    as_of = At(required=True)
    items = fields.List(Text(), required=True)
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/life", KeyNames(), query=AsOfQuery(), opens=False)
def list_life(call: Call) -> dict[str, Any]:
    """List the names of all life laws."""
    plan = plan_of(call)
    return {"as_of": plan.shop.now, "items": key_names(plan), "next": None}


@reads(
    blueprint,
    f"/v1/life/{one_of('life', 'key')}",
    shape_from(KeyLife, "LifeShape")(),
    query=AsOfQuery(),
    problems=(404, 409),
    opens=False,
)
def read_life(call: Call, key: str) -> KeyLife:
    """Show what is known of one life law: lives seen, survival, age of least cost."""
    plan = plan_of(call)
    return or_refuse(lambda: life_of_key(plan, key), no_life(key))


class CostQuery(AsOfQuery):
    """How far to look back."""

    days = Number(above=0, most=400, query=True, load_default=30.0, explains="[days]")


class CostPage(Shape):
    """Costs of edges."""

    as_of = At(required=True)
    items = fields.List(fields.Nested(shape_from(ToolCost, "CostShape")), required=True)
    problems = Problems()
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/costs", CostPage(), query=CostQuery(), opens=False)
def read_costs(call: Call) -> dict[str, Any]:
    """List what edges cost by machine and tool spec, the dearest first."""
    plan = plan_of(call)
    found = tool_costs(plan, call.query["days"])
    return {
        "as_of": plan.shop.now,
        "items": found,
        "problems": found.problems,
        "next": None,
    }


class AuditQuery(FactQuery):
    """Who did what, the fact recorded last first."""

    kind = Text(explains="Only this kind of fact, or several with commas between.")
    by = Text(explains="Only what this person said (badge or code).")
    since = At(explains="Only what happened then or later.")


class AuditRow(Shape):
    """One fact, from any person or program."""

    fact = Whole(attribute="id", most=2**53, required=True)
    kind = Text(required=True)
    at = At(required=True)
    recorded_at = At(required=True)
    by = Text(allow_none=True)
    by_name = Text(allow_none=True)
    note = Text(allow_none=True)
    reverses = Whole(attribute="reverses_id", most=2**53, allow_none=True)
    reversed_by = Whole(attribute="reversed_by_id", most=2**53, allow_none=True)


@reads(blueprint, "/v1/audit", page_shape(AuditRow, "audit", "fact")(), query=AuditQuery())
def read_audit(call: Call) -> Reply:
    """List who recorded what and when, the last first."""
    query, limit = call.query, call.query["limit"]
    until = query.get("as_of")
    rows, unreadable = list_facts(
        call.tx,
        kinds=[
            known_word("kind", word.strip(), FACT_KINDS)
            for word in query.get("kind", "").split(",")
            if word.strip()
        ],
        person_id=resolve_person(call.tx, query["by"]).id if "by" in query else None,
        at_from=query.get("since"),
        at_before=until + timedelta(microseconds=1) if until else None,
        before_id=query.get("after"),
        limit=limit + 1,
    )
    return one_page(call, "audit", rows, unreadable, descending=True)
