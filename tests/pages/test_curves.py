"""The pages of tool keys and of forecasts judged, over a shop that has seen lives."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.pages.curves.figures import Field, rows_apart, ticks
from crib.left_out import Kept
from crib.life.fits import KeyFit
from crib.outlook.widen_forecasts import Distrust
from crib.views.key_curve import curve_of_key
from crib.views.key_uses import list_keys
from crib.views.stands_on import BoxDiffers, StandsOn
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
        (
            "en",
            "As long as forecast? wrong Edges lasted about 29 % ",
            "Forecasts since Fri 1 May.",
        ),
        (
            "de",
            "So lange wie vorhergesagt? falsch Die Schneiden ",
            "Vorhersagen seit Fr., 1. Mai.",
        ),
    ],
)
def test_shorter_lives_are_said_first_with_their_day(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, language: str, begin: str, end: str
) -> None:
    span = judged_span([1.0] * 120 + [0.7] * 60)
    monkeypatch.setattr("api.pages.curves.right.judge_span", lambda *_: span)

    answer = client.get("/were-we-right", headers={"Accept-Language": language})

    page = parsed(answer.get_data())
    overall = {
        "en": "Do not rely on: how long edges last, ",
        "de": "Nicht verlässlich: wie lange Schneiden halten, ",
    }
    assert words(page.select_one(".overall")).startswith(overall[language])
    first = page.select_one(".answers li")
    said = words(first).replace("\u00a0", " ").replace("\u202f", " ")
    assert said.startswith(begin)
    assert said.endswith(end)
    assert first is not None
    assert first.select_one("a.wrong .state.bad")


def test_a_key_that_nobody_knows_is_refused_in_the_same_words_everywhere(
    client: FlaskClient,
) -> None:
    said = "No edge was ever mounted under 'none/such~M~turn'. The list of lives has all names."

    assert said in words(read(client, "/lives/none/such~M~turn", 404).main)
    assert (
        client.get(
            "/v1/life/none/such~M~turn", headers={"Accept": "application/json"}
        ).get_json()["detail"]
        == said
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
    assert len(page.select("#removals tbody tr")) == 4


def test_the_list_of_keys_is_filtered_by_machine_and_spec(
    lived: Any, client: FlaskClient
) -> None:
    (key,) = list_keys(lived.plan())

    assert key.use.machines == ("M1",)
    (shown,) = read(client, "/lives?machine=M1").select("#lives th a")
    assert shown["href"] == f"/lives/{KEY}"
    assert words(shown) == "CNMG-408 in material M (turn)"
    assert "No tool and material match" in words(read(client, "/lives?spec=none").main)


@pytest.fixture
def doubtful(floor: Any, clock: SetClock, client: FlaskClient) -> Any:  # noqa: F811
    """Seven edges came out good after 70 parts, one between called worn; B1 at the screen."""
    for reason in ("worn_as_planned",) * 5 + ("size",) + ("worn_as_planned",) * 2:
        floor.mount(floor.sister())
        floor.make(70)
        floor.remove(reason)
    clock.at = floor.plan().shop.now
    client.post("/who", data={"person": "B1"})
    return floor


def fields(row: Any) -> dict[str, str]:
    return {str(one["name"]): str(one["value"]) for one in row.select("form input")}


def test_the_page_begins_with_how_many_lives_are_doubted(
    doubtful: Any, client: FlaskClient
) -> None:
    page = read(client, f"/lives/{KEY}")

    assert words(page.select_one(".overall")) == "8 lives, 1 of them doubted. Check them"
    assert "doubted: 1" in words(page.select_one(".figure-key"))
    assert len(page.select("svg .mark.doubt")) == 2  # on the strip, and in its key
    rows = page.select("#lives-table tbody tr")
    assert [row.get("class") for row in rows[:2]] == [["doubted"], None]
    assert words(rows[0]).endswith("%, perhaps it still cut well That one was right")
    assert [words(row).endswith("yes") for row in rows[1:]] == [True] * 7


def test_the_list_leads_to_doubted_lives(doubtful: Any, client: FlaskClient) -> None:
    page = read(client, "/lives")

    link = page.select_one("#lives td a")
    assert (words(link), link["href"]) == ("one life doubted", f"/lives/{KEY}#lives")
    doubted = page.select_one("a[href^='/lives?show=doubted']")
    assert words(doubted) == "1 of 8 lives that have ended are doubted."
    assert len(read(client, "/lives?show=doubted").select("#lives tbody tr")) == 1


def test_the_list_folds_what_is_in_order_under_one_verdict(
    doubtful: Any, client: FlaskClient
) -> None:
    page = read(client, "/lives")

    assert words(page.select_one(".overall")) == (
        "The one tool and material needs no look. One has too few worn edges to tell yet."
    )
    assert not page.select(".looks")
    assert not page.select_one("details#all").has_attr("open")
    found = read(client, "/lives?q=cnmg+TURN-od")
    assert found.select_one("details#all").has_attr("open")
    assert len(found.select("#lives tbody tr")) == 1
    assert "No tool and material match" in words(read(client, "/lives?q=nothing").main)
    assert "No tool and material match" in words(read(client, "/lives?show=look").main)


@pytest.mark.parametrize(
    ("reason", "said", "anchor"),
    [
        ("wrong", "off; ranges 1.6 times as wide", "fit"),
        ("no_fit", "Two groups of lives: near ", "fit"),
        ("doubted", "8 lives, 2 of them doubted.", "lives"),
        ("changed", "Lives changed about Tue 3 Mar: the 5 since then count most.", "since"),
    ],
)
def test_what_needs_a_look_comes_first_with_its_reason_and_link(
    doubtful: Any,
    client: FlaskClient,
    monkeypatch: pytest.MonkeyPatch,
    reason: str,
    said: str,
    anchor: str,
) -> None:
    (key,) = list_keys(doubtful.plan())
    if reason == "wrong":
        key = replace(key, distrust=Distrust(KEY, 1.6, "off"))
    if reason == "doubted":
        key = replace(key, doubted=2)
    listed = Kept([key])
    monkeypatch.setattr("api.pages.curves.lives.list_keys", lambda _: listed)
    monkeypatch.setattr("api.pages.curves.right.list_keys", lambda _: listed)
    if reason == "no_fit":
        two = KeyFit("two_groups", 40, 30, 30, 9, 9.0, 12.4, 0.1, 0.2, 0.4)
        monkeypatch.setattr("crib.views.fit_words.fit_of_key", lambda *_: two)
    if reason == "changed":
        told = datetime(2026, 3, 3, 12, tzinfo=UTC), 5
        monkeypatch.setattr("crib.views.key_states.changed_at", lambda *_: told)
    monkeypatch.setattr(
        "api.pages.curves.right.judge_span", lambda *_: judged_span([1.0] * 120)
    )

    page, right = read(client, "/lives"), read(client, "/were-we-right")

    assert words(page.select_one(".overall")).startswith(
        "One of 1 tools and materials needs a look: CNMG-408 in material M (turn)."
    )
    for one in (page, right):  # both pages name the same
        (row,) = one.select(".looks li")
        assert words(row).startswith(f"CNMG-408 in material M (turn) {said}")
        assert row.select_one("a")["href"] == f"/lives/{KEY}#{anchor}"
    tools = words(right.select(".answers li")[-1])
    mark = "wrong" if reason in ("wrong", "no_fit") else "can't tell yet"
    assert tools.startswith(f"Single tools? {mark} One of 1 tools and materials needs a look")
    assert len(read(client, "/lives?show=look").select("#lives tbody tr")) == 1


def test_the_two_pages_count_the_same_lives(
    doubtful: Any, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("api.pages.curves.right.judge_span", lambda *_: judged_span([1.0] * 3))

    said = words(read(client, "/were-we-right").main)

    assert "1 of 8 lives that have ended are doubted." in said
    assert "8 lives have ended in all: the others had no forecast that can be judged." in said


def test_a_person_says_that_one_was_right_and_takes_it_back(
    doubtful: Any, client: FlaskClient
) -> None:
    address = f"/lives/{KEY}"
    (row,) = read(client, address).select("#lives-table .doubted")

    sent = client.post(address, data=fields(row))

    assert (sent.status_code, sent.headers["Location"]) == (303, f"{address}#lives")
    page = read(client, address)
    assert words(page.select_one(".overall")) == "8 lives, none of them doubted."
    (row,) = page.select("#lives-table tr:has(form)")
    assert words(row).endswith("right, says Ida Quill Take back")

    assert client.post(address, data=fields(row)).status_code == 303

    assert words(read(client, address).select_one(".overall")).startswith("8 lives, 1 of")


def test_what_nobody_may_confirm_is_refused_on_the_page(
    doubtful: Any, client: FlaskClient
) -> None:
    address = f"/lives/{KEY}"
    (row,) = read(client, address).select("#lives-table .doubted")
    form = fields(row)

    other = client.post(address, data={**form, "parts": "71"})
    client.delete_cookie("crib_by")
    nobody = client.post(address, data=form)
    page = read(client, address)

    assert other.status_code == 409
    assert "made 70 parts by the records, not 71" in words(parsed(other.get_data()).main)
    assert nobody.status_code == 422
    assert "Say who confirms it" in words(parsed(nobody.get_data()).main)
    assert not page.select("#lives-table form")
    assert page.select_one("a[href^='/who?next=/lives/']")


def test_an_age_that_the_forecast_leaves_out_is_listed_and_not_drawn(
    floor: Any,  # noqa: F811 - the fixture
    client: FlaskClient,
    clock: SetClock,
) -> None:
    for parts in (70, 72, 69, 71, 70, 68, 700):
        floor.mount(floor.sister())
        floor.make(parts)
        floor.remove("size")
    clock.at = floor.plan().shop.now

    page = read(client, f"/lives/{KEY}")

    first = page.select_one("#lives-table tbody tr")
    assert "left out over 5 times the usual life" in words(first)
    assert "worn: 6" in words(page.select_one(".figure-key"))


def test_the_page_says_how_well_the_lives_fit(doubtful: Any, client: FlaskClient) -> None:
    said = read(client, f"/lives/{KEY}").select_one("#fit")

    assert (
        words(said) == "Too few edges wore out to tell whether the curve fits: 0 of 8 needed."
    )
    assert client.get(f"/v1/life/{KEY}").get_json()["fit"]["verdict"] == "too_few"


def test_two_groups_are_a_warning_on_the_page(
    doubtful: Any, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    two = KeyFit("two_groups", 40, 30, 30, 9, 9.0, 12.4, 0.1, 0.2, 0.4)
    monkeypatch.setattr("crib.views.fit_words.fit_of_key", lambda *_: two)

    said = read(client, f"/lives/{KEY}").select_one("#fit.care")

    assert words(said).startswith("Two groups of lives: near ")


def test_the_station_warns_where_the_curve_of_its_tool_does_not_fit(
    doubtful: Any, client: FlaskClient, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    doubtful.mount(doubtful.sister())
    doubtful.make(30)
    clock.at = doubtful.plan().shop.now
    asked = []

    def two(*_: object) -> KeyFit:
        asked.append(1)
        return KeyFit("two_groups", 40, 30, 30, 9, 9.0, 12.4, 0.1, 0.2, 0.4)

    station = client.get("/v1/forecasts").get_json()["items"][0]["station_code"]
    assert read(client, f"/machines/M1/stations/{station}").select_one("#fit") is None
    clock.go_on(minutes=1)
    monkeypatch.setattr("crib.views.fit_words.fit_of_key", two)

    pages = [read(client, f"/machines/M1/stations/{station}") for _ in range(2)]

    for page in pages:
        said = page.select_one("#fit.care")
        assert words(said).startswith("Two groups of lives: near ")
        assert said.select_one("a")["href"] == f"/lives/{KEY}"
    assert len(asked) == 1  # once a plan


def test_a_fit_that_fails_takes_nothing_else_with_it(
    doubtful: Any, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> KeyFit:
        raise ZeroDivisionError

    monkeypatch.setattr("crib.views.fit_words.fit_of_key", broken)

    page = read(client, f"/lives/{KEY}")

    assert "fit their curve could not be worked out. Check its lives." in words(page.main)
    assert page.select_one("#fit") is None
    assert len(page.select("#lives-table tbody tr")) == 8


def test_the_page_says_since_when_lives_count_and_which_boxes_differ(
    doubtful: Any, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    boxes = (BoxDiffers("LOT-I1", 0.8), BoxDiffers("LOT-I2", 1.153))
    told = StandsOn(datetime(2026, 3, 3, 12, tzinfo=UTC), 12, boxes)
    assert read(client, f"/lives/{KEY}").select_one("#since, #boxes") is None
    monkeypatch.setattr("crib.views.key_curve.stands_on", lambda *_: told)

    page = read(client, f"/lives/{KEY}")

    since = "Lives changed about Tue 3 Mar: the 12 since then count most."
    assert words(page.select_one("#since")) == since
    assert words(page.select_one("#boxes")) == (
        "Edges from box LOT-I1 last about 20 % shorter. "
        "Edges from box LOT-I2 last about 15 % longer."
    )
