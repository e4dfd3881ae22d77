"""Were we right: kept forecasts with their outcome, and how often they were right."""

from __future__ import annotations

from typing import Any

from flask_smorest import Blueprint
from marshmallow import fields

from api.http.operation import Call, Reply, reads
from api.http.paging import page_link
from api.rest.plan import plan_of
from api.schemas.fields import At, Choice, Problems, Shape, Text, Whole
from api.schemas.results import shape_from
from api.schemas.views import AsOfQuery
from crib.acts.named import named_assembly
from crib.outlook.widen_forecasts import Distrust, distrusted
from crib.store.resolve import machine_id_by_name
from crib.views.kept_list import KeptListed, list_kept
from crib.views.score_forecasts import GROUPS, ForecastScore, score_forecasts

blueprint = Blueprint(
    "forecast_scores", __name__, description="Forecasts that were shown, and were they right."
)


class ScoreQuery(AsOfQuery):
    """Which forecasts to judge."""

    by = Choice(GROUPS, load_default="key", explains="What scores are told by.")
    since = At(explains="Only forecasts from then on; left out: 400 days before the end.")
    until = At(explains="Only forecasts up to then; left out: now.")


class ScorePage(Shape):
    """How often forecasts were right, the worst group first."""

    as_of = At(required=True, explains="Judged by the facts dated up to then.")
    since = At(required=True)
    until = At(required=True)
    by = Text(required=True)
    items = fields.List(
        fields.Nested(shape_from(ForecastScore, "ForecastScoreShape")), required=True
    )
    distrusted = fields.List(
        fields.Nested(shape_from(Distrust, "DistrustShape")),
        required=True,
        metadata={"description": "Keys whose forecasts ran wrong and are widened for now."},
    )
    taken_back = Whole(required=True, explains="Forecasts whose mount was reversed.")
    failed_before = Whole(
        required=True, explains="Forecasts of edges that had failed, not yet seen by anybody."
    )
    not_kept = Whole(
        required=True, explains="How often this process could not keep what it showed."
    )
    not_kept_why = Text(allow_none=True, required=True)
    problems = Problems()
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/forecast-scores", ScorePage(), query=ScoreQuery())
def read_forecast_scores(call: Call) -> dict[str, Any]:
    """Show how often forecasts were right, with the band that chance allows."""
    plan, query = plan_of(call), call.query
    found = score_forecasts(
        call.tx,
        plan,
        query["by"],
        query.get("since"),
        query.get("until"),
        call.site.in_zone.time_zone,
    )
    keeper = call.site.plans.keeper
    return {
        "as_of": plan.shop.now,
        "since": found.since,
        "until": found.until,
        "by": query["by"],
        "items": found.scores,
        "distrusted": distrusted(plan.shop, plan.keys, plan.model.widening),
        "taken_back": found.taken_back,
        "failed_before": found.failed_before,
        "not_kept": keeper.failures,
        "not_kept_why": keeper.last_failure,
        "problems": found.problems,
        "next": None,
    }


class KeptQuery(AsOfQuery):
    """Which kept forecasts to list."""

    assembly = Text(explains="Only this assembly.")
    machine = Text(explains="Only this machine.")
    limit = Whole(least=1, most=1_000, query=True, load_default=100, explains="Rows per page.")
    after = Whole(
        query=True, load_default=0, most=2**53, explains="``next`` of the page before."
    )


class KeptForecastPage(Shape):
    """Forecasts as they were shown, by ascending number."""

    items = fields.List(
        fields.Nested(shape_from(KeptListed, "KeptForecastShape")), required=True
    )
    problems = Problems()
    next = Whole(allow_none=True, required=True)


@reads(blueprint, "/v1/forecasts-kept", KeptForecastPage(), query=KeptQuery())
def list_forecasts_kept(call: Call) -> Reply:
    """List forecasts as they were shown, each with what then happened."""
    query = call.query
    assembly = query.get("assembly")
    found = list_kept(
        call.tx,
        plan_of(call).shop,
        assembly_id=None if assembly is None else named_assembly(call.tx, assembly).row.id,
        machine_id=machine_id_by_name(call.tx, query["machine"])
        if "machine" in query
        else None,
        after_id=query["after"],
        limit=query["limit"],
    )
    answer = {"items": found.rows, "problems": found.problems, "next": found.following}
    return Reply(answer, headers=page_link(call, found.following))
