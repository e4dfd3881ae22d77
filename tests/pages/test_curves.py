"""The pages of tool keys and of forecasts judged, over a shop that has seen lives."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from api.pages.curves.figures import Field, rows_apart, ticks
from crib.views.key_curve import curve_of_key
from crib.views.key_uses import list_keys
from tests.judged import judged_span
from tests.pages.reading import parsed, read, words
from tests.rest.conftest import SetClock
from tests.store.test_forecast import floor  # noqa: F401 - a fixture


def test_an_empty_shop_is_told_what_fills_the_pages(client: FlaskClient) -> None:
    assert "No edge has cut yet" in words(read(client, "/lives").main)
    assert "No forecast can be judged yet" in words(read(client, "/were-we-right").main)


@pytest.mark.parametrize(
    ("language", "begin", "end"),
    [
        ("en", "As long as forecast? Edges lasted about 29 % ", "Forecasts since Fri 1 May."),
        ("de", "So lange wie vorhergesagt? Die Schneiden ", "Vorhersagen seit Fr., 1. Mai."),
    ],
)
def test_shorter_lives_are_said_first_with_their_day(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, language: str, begin: str, end: str
) -> None:
    span = judged_span([1.0] * 120 + [0.7] * 60)
    monkeypatch.setattr("api.pages.curves.right.judge_span", lambda *_: span)

    answer = client.get("/were-we-right", headers={"Accept-Language": language})

    page = parsed(answer.get_data())
    overall = {"en": "Not all forecasts can be relied on", "de": "Nicht auf alle Vorhersagen"}
    assert words(page.select_one(".overall")).startswith(overall[language])
    first = page.select_one(".answers li")
    said = words(first).replace("\u00a0", " ").replace("\u202f", " ")
    assert said.startswith(begin)
    assert said.endswith(end)
    assert first is not None
    assert first.select_one("a.soon")


def test_a_key_that_nobody_knows_is_refused_in_words(client: FlaskClient) -> None:
    assert "No edge was ever mounted under 'none/such~M~turn'" in words(
        read(client, "/lives/none/such~M~turn", 404).main
    )


def test_ticks_are_round_and_marks_of_one_age_stand_in_rows() -> None:
    assert ticks(11_400) == [0.0, 5000.0, 10000.0]
    assert rows_apart([10, 12, 14, 40], 15, 3) == [0, 1, 2, 0]
    field = Field(100.0, 1.0)
    assert field.stairs([(50.0, 0.5)], 100.0) == (
        "M84.0,16.0 L387.0,16.0 L387.0,158.0 L690.0,158.0"
    )


KEY = "CNMG-408~M~turn"


@pytest.fixture
def lived(floor: Any, clock: SetClock) -> Any:  # noqa: F811 - the fixture
    """Four lives of one key, and one more edge that runs."""
    for parts, reason in (
        (60, "worn_early"),
        (40, "broken"),
        (70, "size"),
        (50, "worn_as_planned"),
    ):
        floor.mount(floor.sister())
        floor.make(parts)
        floor.remove(reason)
    floor.mount(floor.sister())
    floor.make(30)
    clock.at = floor.plan().shop.now
    return floor


def test_the_share_alive_is_what_lifelines_makes_of_the_same_lives(lived: Any) -> None:
    from lifelines import KaplanMeierFitter  # takes seconds

    found = curve_of_key(lived.plan(), KEY)
    failed = [one.ended in ("worn", "broken") for one in found.lives]

    fitter = KaplanMeierFitter().fit([one.age for one in found.lives], failed)

    assert any(one.ended == "running" for one in found.lives)
    assert len(found.steps) == sum(failed)
    for step in found.steps:
        assert step.survival == pytest.approx(float(fitter.predict(step.age)), abs=1e-12)


def test_a_key_page_shows_its_lives_and_leads_to_the_sums(
    lived: Any, client: FlaskClient
) -> None:
    page = read(client, f"/lives/{KEY}")
    said = words(page.main)

    assert "still running: 1" in said
    assert "costs at most 2 % more per part" in said
    assert len(page.select("svg.plot[role=img] title")) == 3
    assert not page.select("[style]")
    for link in page.select("a[href^='/workings/']"):
        assert words(read(client, str(link["href"])).select_one("#result"))
    assert len(page.select("#removals ~ div tbody tr")) == 4


def test_the_list_of_keys_is_filtered_by_machine_and_spec(
    lived: Any, client: FlaskClient
) -> None:
    (key,) = list_keys(lived.plan())

    assert key.use.machines == ("M1",)
    (shown,) = read(client, "/lives?machine=M1").select("#lives th a")
    assert shown["href"] == f"/lives/{KEY}"
    assert words(shown) == "CNMG-408 in material M (turn)"
    assert "No tool and material match" in words(read(client, "/lives?spec=none").main)
