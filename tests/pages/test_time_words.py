"""Times as people say them; the words are the house's own, the instants stand behind them."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from flask import Flask

from api import create_app
from api.language.preferences import COOKIE
from api.language.when import clock_of, how_long, when
from api.settings import Settings
from crib.store.engine import Store

NOW = datetime(2026, 3, 11, 13, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def app() -> Flask:
    return create_app(Settings(""), Store("sqlite://"))


def said(app: Flask, make, minutes: float, language: str = "en") -> str:
    cookie = {"Cookie": f"{COOKIE}={language}.mm.24"}
    with app.test_request_context("/shift", headers=cookie):
        return re.sub("<[^>]+>", "", str(make(NOW + timedelta(minutes=minutes), NOW)))


@pytest.mark.parametrize(
    ("minutes", "english", "german"),
    [
        (0, "now", "jetzt"),
        (0.9, "now", "jetzt"),
        (40, "in 40 min", "in 40 min"),
        (-40, "40 min ago", "vor 40 min"),
        (60, "in 1 h", "in 1 h"),
        (70, "in 1 h 10 min", "in 1 h 10 min"),
        (599, "in 9 h 59 min", "in 9 h 59 min"),
        (607, "in 10 h 7 min", "in 10 h 7 min"),
        (-1_439, "23 h 59 min ago", "vor 23 h 59 min"),
        (1_440, "Thu 13:30", "Do 13:30"),
        (-14_400, "Sun 1 Mar 13:30", "So., 1. März 13:30"),
    ],
)
def test_an_instant_is_said_from_now(app, minutes, english, german):
    assert said(app, when, minutes) == english
    assert said(app, when, minutes, "de") == german


@pytest.mark.parametrize(
    ("minutes", "english"),
    [(0, "1 min"), (-70, "1 h 10 min"), (-1_500, "25 h"), (-4_400, "3 days")],
)
def test_how_long_something_is_so(app, minutes, english):
    assert said(app, how_long, minutes) == english


@pytest.mark.parametrize(
    ("minutes", "english"),
    [(195, "16:45"), (720, "Thu 01:30"), (7 * 1_440, "Wed 18 Mar 13:30")],
)
def test_a_day_stands_only_where_it_is_not_today(app, minutes, english):
    assert said(app, clock_of, minutes) == english


def test_the_instant_stands_behind_the_words(app):
    with app.test_request_context("/shift"):
        made = str(when(NOW + timedelta(minutes=40), NOW))

    assert 'datetime="2026-03-11T14:10:00Z"' in made
    assert 'title="Wed 11 Mar 14:10"' in made
    with app.test_request_context("/shift"):
        assert str(when(None, NOW)) == ""
