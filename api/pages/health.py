"""Whether the service lives, and whether it can work: for supervisors of processes."""

from __future__ import annotations

from flask import Blueprint, Response
from sqlalchemy.exc import SQLAlchemyError

from api.http.json_body import dump_json
from api.http.site import this_site
from crib.store.migrate import HEAD, schema_version

blueprint = Blueprint("health", __name__)


def _answer(status: int, body: dict[str, object]) -> Response:
    return Response(dump_json(body), status, content_type="application/json")


@blueprint.get("/healthz")
def alive() -> Response:
    """Alive: the process answers."""
    return _answer(200, {"status": "alive"})


@blueprint.get("/readyz")
def ready() -> Response:
    """Ready: the database answers and has the shape that this version knows."""
    try:
        shape = schema_version(this_site().store)
    except SQLAlchemyError as problem:
        return _answer(
            503, {"status": "not ready", "database": type(problem).__name__, "wanted": HEAD}
        )
    fits = shape == HEAD
    return _answer(
        200 if fits else 503,
        {
            "status": "ready" if fits else "not ready",
            "database": "answers",
            "schema_version": shape,
            "wanted": HEAD,
        },
    )
