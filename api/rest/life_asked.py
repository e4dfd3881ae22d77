"""What a key's lives are asked for: a cut for a wanted life, lands to expect."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.http.operation import Call, reads
from api.rest.plan import plan_of
from api.schemas.fields import Choice, Number
from api.schemas.results import shape_from
from api.schemas.views import AsOfQuery
from crib.errors import Invalid
from crib.planning.cut_asked import FEED, SPEED
from crib.sentence import sentence
from crib.views.cut_of_key import CutOfKey, cut_of_key
from crib.views.land_of_key import LandOfKey, land_of_key

blueprint = Blueprint(
    "life asked", __name__, description="Cuts for a wanted life, and lands to expect."
)


class CutQuery(AsOfQuery):
    """What is asked for, and the life wanted."""

    change = Choice((SPEED, FEED), load_default=SPEED, explains="What may change.")
    parts = Number(
        least=0.1, most=1e9, query=True, explains="Parts of one edge. This or minutes."
    )
    minutes = Number(least=0.01, most=1e6, query=True, explains="Minutes in cut.")


CutOfKeyShape = shape_from(CutOfKey, "CutOfKeyShape")


@reads(
    blueprint,
    "/v1/life/<name:key>/cut",
    CutOfKeyShape(),
    query=CutQuery(),
    problems=(404, 409),
    opens=False,
)
def read_cut(call: Call, key: str) -> CutOfKey:
    """Work out the speed or feed for a wanted life of a key's edges."""
    parts, minutes = call.query.get("parts"), call.query.get("minutes")
    if (parts is None) == (minutes is None):
        raise Invalid(
            sentence("Give {first} or {second}, one of them.", first="parts", second="minutes"),
            errors=[{"field": "parts", "detail": sentence("or minutes, one of them")}],
        )
    plan, change = plan_of(call), call.query["change"]
    if minutes is not None:
        return cut_of_key(plan, key, change, float(minutes), minutes=True)
    return cut_of_key(plan, key, change, float(parts or 0.0))


class LandQuery(AsOfQuery):
    """A count, a land, or both."""

    parts = Number(least=0.1, most=1e9, query=True, explains="Count to expect a land at.")
    land_mm = Number(least=0.001, most=3, query=True, explains="Land to expect a count of.")


LandOfKeyShape = shape_from(LandOfKey, "LandOfKeyShape")


@reads(
    blueprint,
    "/v1/life/<name:key>/land",
    LandOfKeyShape(),
    query=LandQuery(),
    problems=(404, 409),
    opens=False,
)
def read_land(call: Call, key: str) -> LandOfKey:
    """Forecast the flank wear of a key's new edges at a count, and the count for a land."""
    query = call.query
    return land_of_key(
        plan_of(call), key, parts=query.get("parts"), land_mm=query.get("land_mm")
    )
