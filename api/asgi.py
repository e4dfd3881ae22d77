"""``api.asgi:application``: the service as a server process runs it, by its environment."""

from __future__ import annotations

import os

from api import create_app
from api.server.bodies import Bodies
from api.server.front import Front
from api.settings import CLOCK_VARIABLE, Settings
from crib.clock import Clock, FastClock


def _clock() -> Clock | None:
    text = os.environ.get(CLOCK_VARIABLE)
    return FastClock.from_text(text) if text else None


def _front() -> Front:
    settings = Settings.from_environment()
    bodies = Bodies(settings.max_body_mb * 2**20, settings.body_seconds)
    return Front(create_app(settings, clock=_clock()).wsgi_app, bodies)


application = _front()
