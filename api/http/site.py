"""What one running service consists of: settings, database, clock."""

from __future__ import annotations

from dataclasses import dataclass

from flask import current_app, g, has_request_context

from api.settings import Settings
from crib.clock import Clock
from crib.store.engine import Store
from crib.store.zones import zone_of_calendars
from crib.usecases.plan_cache import PlanCache


@dataclass(frozen=True, slots=True)
class Site:
    """One service: what it was told, where it keeps things, the time, the plan made last."""

    given: Settings
    store: Store
    clock: Clock
    plans: PlanCache

    @property
    def settings(self) -> Settings:
        """What it was told; the shop's calendars say its zone where nobody did."""
        if not self.given.zone_from_shop or not has_request_context():
            return self.given
        found: Settings | None = g.get("settings")
        if found is None:
            with self.store.read() as tx:
                found = g.settings = self.given.in_zone_of(zone_of_calendars(tx))
        return found


def this_site() -> Site:
    """The service that answers the present request."""
    site: Site = current_app.extensions["crib"]
    return site
