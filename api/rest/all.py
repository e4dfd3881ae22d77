"""Every group of resources, in the order in which the documentation shows them."""

from __future__ import annotations

from functools import cache

from flask_smorest import Blueprint

from api.rest import (
    assemblies,
    bench,
    counts,
    designations,
    fact_lists,
    feeds,
    forecast_scores,
    holder_needs,
    label_prints,
    life_asked,
    machine_time,
    metrology_views,
    mounts,
    mtconnect_assets,
    paper,
    plan,
    planned_stops,
    rack,
    shift_summary,
    views,
    workings,
    workings_clock,
    workings_constants,
    workings_cutting,
    workings_gauge,
    workings_inverse,
)
from api.rest.records import COLLECTIONS, records_blueprint


@cache
def blueprints() -> tuple[Blueprint, ...]:
    """The groups, facts first."""
    return (
        assemblies.blueprint,
        label_prints.blueprint,
        mounts.blueprint,
        counts.blueprint,
        feeds.blueprint,
        bench.blueprint,
        fact_lists.blueprint,
        plan.blueprint,
        rack.blueprint,
        holder_needs.blueprint,
        planned_stops.blueprint,
        shift_summary.blueprint,
        forecast_scores.blueprint,
        machine_time.blueprint,
        views.blueprint,
        life_asked.blueprint,
        metrology_views.blueprint,
        paper.blueprint,
        mtconnect_assets.blueprint,
        designations.blueprint,
        workings.blueprint,
        workings_clock.blueprint,
        workings_cutting.blueprint,
        workings_constants.blueprint,
        workings_gauge.blueprint,
        workings_inverse.blueprint,
        *(records_blueprint(record) for record in COLLECTIONS),
    )
