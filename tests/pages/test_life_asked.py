"""The page and calls of a key: a cut for a wanted life, the land at a count."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

from crib.life.taylor import TaylorConstants
from crib.outlook.shop_plan import ShopPlan
from crib.planning.cut_asked import SPEED, cut_taken
from crib.views.cut_of_key import REACHES, cut_of_key
from crib.views.land_of_key import land_of_key
from crib.views.use_of_key import use_of_key
from tests.pages.reading import read, words
from tests.pages.test_curves import KEY, lived  # noqa: F401 - a fixture
from tests.store.test_forecast import floor  # noqa: F401 - a fixture


def parts_of(plan: ShopPlan, times: float, reach: float) -> float:
    """Parts that a share of new edges makes with the program scaled, by Taylor's powers."""
    use = use_of_key(plan, 0)
    curve = plan.shop.cutting.curve(
        plan.keys[0].cutting_item_id, plan.keys[0].material_group
    ).constants  # type: ignore[union-attr]
    wear = use.wear_per_part * times ** (1 / curve.n - 1)
    return float(plan.model.remaining(0, 0.0, wear, [1 - reach])[0, 0]) / wear


def test_the_cut_found_makes_the_parts_asked_for(lived: Any) -> None:  # noqa: F811
    plan = lived.plan()
    now = parts_of(plan, 1.0, 0.5)

    found = cut_of_key(plan, KEY, SPEED, 1.5 * now)

    assert [one.reach for one in found.found] == list(REACHES)
    half, most = found.found
    assert most.value < half.value < found.today
    for one in found.found:
        assert parts_of(plan, one.times, one.reach) == pytest.approx(1.5 * now, rel=1e-5)
        assert one.low is not None
        assert one.low < one.value
        assert one.value == pytest.approx(found.today * one.times)
    assert not found.own_lives
    assert (found.unit, found.part, found.station) == ("parts", "PIN-8", "T01")


def test_minutes_are_the_parts_times_the_minutes_of_one(lived: Any) -> None:  # noqa: F811
    plan = lived.plan()
    half = cut_of_key(plan, KEY, SPEED, 1.2 * parts_of(plan, 1.0, 0.5)).found[0]
    use = use_of_key(plan, 0)
    taken = cut_taken(use.operations, use.limits, TaylorConstants(0.25, 100), SPEED, half.times)
    minutes = parts_of(plan, half.times, 0.5) * taken.minutes

    again = cut_of_key(plan, KEY, SPEED, minutes, minutes=True)

    assert again.unit == "min"
    assert again.found[0].times == pytest.approx(half.times, rel=1e-6)


def test_a_curve_without_an_exponent_of_the_feed_answers_no_feed(
    lived: Any,  # noqa: F811
    client: FlaskClient,
) -> None:
    answer = client.get(
        f"/v1/life/{KEY}/cut?parts=70&change=feed", headers={"Accept": "application/json"}
    )

    assert answer.status_code == 409
    assert [one["field"] for one in answer.get_json()["errors"]] == ["feed_exponent"]


def test_the_land_at_a_count_has_that_count(lived: Any) -> None:  # noqa: F811
    plan = lived.plan()
    at = land_of_key(plan, KEY, parts=60).at
    assert at is not None
    assert at.p10_mm is not None
    assert at.p50_mm is not None

    back = land_of_key(plan, KEY, land_mm=at.p50_mm).reached

    assert at.p10_mm < at.p50_mm
    assert back is not None
    assert back.p50 == pytest.approx(60, rel=1e-4)


def test_the_calls_answer_both(lived: Any, client: FlaskClient) -> None:  # noqa: F811
    cut = client.get(f"/v1/life/{KEY}/cut?parts=70").get_json()
    land = client.get(f"/v1/life/{KEY}/land?parts=40&land_mm=0.2").get_json()

    assert cut["change"] == "speed"
    assert cut["found"]
    assert "judge" in cut["caution"]
    assert float(land["at"]["p50_mm"]) > 0
    assert float(land["reached"]["land_mm"]) == 0.2
    assert land["lands"] == 0
    for query, status in (
        ("cut", 409), ("cut?parts=9&minutes=9", 409), ("cut?parts=0", 422),
        ("land", 409), ("land?land_mm=2", 409),
    ):  # fmt: skip
        assert client.get(f"/v1/life/{KEY}/{query}").status_code == status, query
    assert client.get("/v1/life/NO~P~turn/cut?parts=9").status_code == 404
    assert client.get("/v1/life/NO~P~turn/land?parts=9").status_code == 404


def test_the_page_answers_beside_the_question(
    lived: Any,  # noqa: F811
    client: FlaskClient,
) -> None:
    page = read(client, f"/lives/{KEY}?wanted=70&in=parts&change=speed&parts=40&land_mm=0.2")

    said = words(page.main)
    assert "m/min" in words(page.select_one("#cut-table"))
    assert "The insert maker's data and the machine's manual come first." in said
    assert "Exponent of the speed from your tool-life table" in said
    assert "After 40 parts expect 0." in words(page.select_one("#land-at"))
    assert "Expect a land of 0.20 mm after" in words(page.select_one("#land-reached"))
    assert page.select_one("#in-wanted")["value"] == "70"
    assert not page.select("[role=alert]")


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("wanted=many", "What was typed is not a number."),
        ("wanted=0", "The number has to be above 0 and at most 1e+09."),
        ("wanted=1000000", "No speed within 3 times today's"),
        ("land_mm=2.5", "at most the wear limit"),
    ],
)
def test_a_question_without_an_answer_is_refused_on_the_page(
    lived: Any,  # noqa: F811
    client: FlaskClient,
    query: str,
    says: str,
) -> None:
    page = read(client, f"/lives/{KEY}?{query}")

    assert [says in words(one) for one in page.select("[role=alert]")] == [True]
    assert len(page.select("svg.plot[role=img] title")) == 3


def test_no_cut_is_named_as_sure_by_numbers_that_are_none(lived: Any) -> None:  # noqa: F811
    found = cut_of_key(lived.plan(), KEY, SPEED, 70.0)

    assert all(np.isfinite([one.value, one.times]).all() for one in found.found)
    assert found.exponent_error > 0
