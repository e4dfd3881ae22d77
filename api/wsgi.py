"""``api.wsgi:application``: the plain WSGI application, set up from the environment."""

from __future__ import annotations

from api import create_app
from api.settings import Settings

application = create_app(Settings.from_environment())
