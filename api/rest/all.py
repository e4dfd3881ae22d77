"""Every group of resources, in the order in which the documentation shows them."""

from __future__ import annotations

from flask_smorest import Blueprint

from api.rest import assemblies, counts, mounts, plan
from api.rest.records import COLLECTIONS, records_blueprint


def blueprints() -> list[Blueprint]:
    """The groups, facts first."""
    return [
        assemblies.blueprint,
        mounts.blueprint,
        counts.blueprint,
        plan.blueprint,
        *(records_blueprint(record) for record in COLLECTIONS),
    ]
