"""What one running service consists of: settings, database, clock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import TypeVar

from flask import current_app, g, has_request_context

from api.settings import Settings
from crib.clock import Clock
from crib.outlook.plan_cache import PlanCache
from crib.store.engine import Store
from crib.store.zones import zone_of_calendars

_T = TypeVar("_T")


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


def once(read: Callable[[], _T]) -> Callable[[], _T]:
    """A function that reads at most once in a request, and then returns what it read."""
    name = f"{read.__module__}.{read.__qualname__}"

    @wraps(read)
    def kept() -> _T:
        if name not in g:
            setattr(g, name, read())
        found: _T = g.get(name)
        return found

    return kept


def this_site() -> Site:
    """The service that answers the present request."""
    site: Site = current_app.extensions["crib"]
    return site
