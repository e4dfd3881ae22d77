"""Whether the service and the feed live, and whether they can work: for whatever watches."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint, Response, request

from api.http.json_body import dump_json
from api.http.site import this_site
from crib.store.migrate import HEAD, schema_version
from crib.store.savepoint import STORE_FAULTS
from crib.views.feed_health import feed_health

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
    except STORE_FAULTS as problem:
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


@blueprint.get("/v1/feeds/health")
def feeds() -> Response:
    """Whether ``crib feed`` runs and can write; with ``?machine=`` whether that is followed."""
    site = this_site()
    with site.store.read() as tx:
        found = feed_health(tx, site.clock(), request.args.get("machine"))
    return _answer(200 if found.status == "ok" else 503, asdict(found))
