"""``api.wsgi:application``: the plain WSGI application, set up from the environment."""

from __future__ import annotations

import os

from api import create_app
from api.demo import CLOCK_VARIABLE
from api.settings import Settings
from crib.clock import Clock
from crib.demo.clock import DemoClock


def _clock() -> Clock | None:
    text = os.environ.get(CLOCK_VARIABLE)
    return DemoClock.from_text(text) if text else None


application = create_app(Settings.from_environment(), clock=_clock())
