"""What one running service consists of: settings, database, clock."""

from __future__ import annotations

from dataclasses import dataclass

from flask import current_app, g, has_request_context

from api.settings import Settings
from crib.clock import Clock
from crib.outlook.plan_cache import PlanCache
from crib.store.engine import Store
from crib.store.zones import zone_of_calendars


@dataclass(frozen=True, slots=True)
class Site:
    """One service: its settings, database, clock and latest plans."""

    settings: Settings
    store: Store
    clock: Clock
    plans: PlanCache

    @property
    def in_zone(self) -> Settings:
        """The settings, with the zone of the shop's calendars if none is set.

        This reads the calendars, so ask only where times are shown.
        """
        if not self.settings.zone_from_shop or not has_request_context():
            return self.settings
        found: Settings | None = g.get("in_zone")
        if found is None:
            with self.store.read() as tx:
                found = g.in_zone = self.settings.in_zone_of(zone_of_calendars(tx))
        return found


def this_site() -> Site:
    """The service that answers the present request."""
    site: Site = current_app.extensions["crib"]
    return site
