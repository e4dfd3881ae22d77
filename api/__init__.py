"""The outside of the service: resources, the few pages, the command line."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask

    from api.settings import Settings
    from crib.clock import Clock
    from crib.store.engine import Store

# Before numpy loads: its worker threads fight the server's own processes for the cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")


def create_app(
    settings: Settings, store: Store | None = None, clock: Clock | None = None
) -> Flask:
    """The web application.

    Args:
        settings: What the site set.
        store: The database; left out, the one that the settings name is opened and brought
            up to date.
        clock: What tells the time; left out, the machine's clock.
    """
    from api.application import assemble  # the command line's help needs no web

    return assemble(settings, store, clock)
