"""Joins settings, database, resources and pages into one application."""

from __future__ import annotations

import logging
import sys

from flask import Flask, Response

from api import language, problems
from api.http import guard
from api.http.document import Document
from api.http.json_body import OrjsonProvider
from api.http.names import NameConverter
from api.http.site import Site, this_site
from api.pages import (
    bench,
    code,
    curves,
    docs,
    feeds,
    find,
    front,
    health,
    help,
    machine,
    shift,
    shown,
    unbroken,
    undo,
    who,
)
from api.pages.frame import add_frame
from api.pages.number_links import add_number_links
from api.pages.numbers import page as numbers
from api.pages.problem_page import problem_as_page
from api.pages.render import CONTENT_POLICY
from api.rest.all import blueprints
from api.settings import Settings
from crib.clock import Clock, now
from crib.outlook.plan_cache import PlanCache
from crib.store.engine import Store
from crib.store.migrate import open_store

#: Nothing is loaded from anywhere else, nothing is framed, nothing is guessed.
SECURITY_HEADERS = (
    ("Content-Security-Policy", CONTENT_POLICY),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "same-origin"),  # with none at all, Origin is null in our own forms
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cache-Control", "no-cache"),
)


def assemble(settings: Settings, store: Store | None, clock: Clock | None) -> Flask:
    """See :func:`api.create_app`."""
    if store is None:
        store = open_store(settings.database_url)
    _log_to_standard_error()
    app = _routes()
    attach_site(app, settings, store, clock or now)
    return app


def attach_site(app: Flask, settings: Settings, store: Store, clock: Clock) -> None:
    """Let an application's routes serve one site: its settings, database and clock."""
    app.config["MAX_CONTENT_LENGTH"] = settings.max_body_mb * 1024 * 1024
    plans = PlanCache(store, night_limit=settings.night_limit)
    app.extensions["crib"] = Site(settings, store, clock, plans)


def _routes() -> Flask:
    """Every resource and page; they know their site only once it is attached."""
    app = Flask("api", static_folder="static", template_folder="templates")
    app.json = OrjsonProvider(app)
    app.url_map.merge_slashes = False  # a scanned address may be part of a path
    app.url_map.strict_slashes = False
    app.url_map.converters["name"] = NameConverter
    problems.register(app, problem_as_page)
    guard.register(app)
    language.register(app)
    document = Document(app)
    for blueprint in blueprints():
        document.register_blueprint(blueprint)
    for page in (
        front,
        who,
        shown,
        code,
        find,
        undo,
        *bench.PAGES,
        *machine.PAGES,
        *curves.PAGES,
        *shift.PAGES,
        *feeds.PAGES,
        numbers,
        docs,
        help,
        health,
    ):
        app.register_blueprint(page.blueprint)
    add_frame(app)
    unbroken.register(app)
    add_number_links(app)
    app.after_request(_secure)
    app.after_request(_keep_shown)
    return app


def _secure(response: Response) -> Response:
    response.headers.extend(
        [pair for pair in SECURITY_HEADERS if pair[0] not in response.headers]
    )
    return response


def _keep_shown(response: Response) -> Response:
    """Keep the forecasts that were shown, once the answer is on its way."""
    keeper = this_site().plans.keeper
    if keeper.waiting:
        response.call_on_close(keeper.keep)
    return response


def _log_to_standard_error() -> None:
    log = logging.getLogger("crib")
    if not log.handlers:
        handler = logging.StreamHandler(sys.stderr)
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
        log.addHandler(handler)
        log.setLevel(logging.INFO)
