"""What one running service consists of: settings, database, clock."""

from __future__ import annotations

from dataclasses import dataclass

from flask import current_app

from api.settings import Settings
from crib.clock import Clock
from crib.store.engine import Store
from crib.usecases.plan_cache import PlanCache


@dataclass(frozen=True, slots=True)
class Site:
    """One service: what it was told, where it keeps things, the time, the plan made last."""

    settings: Settings
    store: Store
    clock: Clock
    plans: PlanCache


def this_site() -> Site:
    """The service that answers the present request."""
    site: Site = current_app.extensions["crib"]
    return site
