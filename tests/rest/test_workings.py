"""The calculations by themselves, over HTTP."""

import itertools
import json
import math
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

COSTS = {"n": 0.125, "c_m_min": 70, "change_min": 2, "machine_rate_per_min": 0.5}
CUT = {"edge_cost": 3, "path_length_mm": 500, "feed_mm_rev": 0.25, "diameter_mm": 100}
LIVES = [{"age": age, "ended": age < 500} for age in (54, 187, 216, 240, 244, 335, 500, 500)]
BODIES: dict[str, dict[str, Any]] = {
    "engaged-time": {
        "kind": "turn",
        "start_diameter_mm": 3.0,
        "length_mm": 20.0,
        "feed_mm_rev": 0.05,
        "cutting_speed_m_min": 120.0,
        "spindle_max_rpm": 10_000,
    },
    "roughness": {"feed_mm_rev": 0.1, "corner_radius_mm": 0.4},
    "thread-passes": {"depth_mm": 0.614, "first_depth_mm": 0.15, "spring_passes": 1},
    "bar": {
        "bar_length_mm": 3000.0,
        "bar_remnant_mm": 250.0,
        "part_length_mm": 22.0,
        "cutoff_width_mm": 2.0,
        "headstock_stroke_mm": 10.0,
    },
    "life-fit": {"lives": LIVES, "age": 300},
    "reorder": {
        "mean_per_day": 50,
        "deviation_per_day": 10,
        "lead_days": 4,
        "service_level": 0.95,
    },
    "tool-life": {"cutting_speed_m_min": 50, "n": 0.125, "c_m_min": 70},
    "swap-point": {"shape": 3, "scale": 100, "planned_cost": 1, "failure_cost": 10},
    "cutting-economics": COSTS | CUT | {"handling_min": 5},
    "preset": {"readings_mm": [1.0, 1.001, 0.999], "tolerance_mm": 0.01},
    "bench-order": {"jobs": [{"name": "A", "minutes": 10, "due_min": 20}]},
    "part-size": {"wear_land_mm": 0.3, "clearance_deg": 7, "on_diameter": True},
}
ODD = [0, -1, 1e-12, 1e12, 1e300, None, "x", True, [], {}, 90, 100_000.0]


def work(client: FlaskClient, name: str, **body: Any) -> dict[str, Any]:
    answer = client.post(f"/v1/workings/{name}", json=BODIES[name] | body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_the_speeds_are_those_of_the_worked_example(client):
    """Groover, machining economics example (from memory)."""
    found = work(client, "cutting-economics")

    assert found["minimum_cost"]["life_min"] == pytest.approx(56.0)
    assert found["minimum_cost"]["cutting_speed_m_min"] == pytest.approx(42.32, abs=0.005)
    assert found["maximum_output"]["life_min"] == pytest.approx(14.0)
    assert found["maximum_output"]["cutting_speed_m_min"] == pytest.approx(50.33, abs=0.005)


def test_no_speed_beyond_the_spindle_is_advised(client):
    """3 mm at the speed of greatest output would be 20,338 rpm."""
    body = {"n": 0.25, "c_m_min": 300, "diameter_mm": 3.0, "change_min": 2}

    free = work(client, "cutting-economics", **body)["maximum_output"]
    held = work(client, "cutting-economics", **body, spindle_max_rpm=10_000, tool_max_rpm=8e3)

    assert free["spindle_rpm"] == pytest.approx(20_338.2, abs=0.1)
    assert free["limited_by"] is None
    for one in held.values():
        assert (one["spindle_rpm"], one["limited_by"]) == (8_000, "tool")
        assert one["cutting_speed_m_min"] == pytest.approx(math.pi * 3 * 8)
        assert one["life_min"] == pytest.approx((300 / (math.pi * 24)) ** 4)
        assert one["cut_min"] == pytest.approx(500 / (0.25 * 8_000))

    small = BODIES["cutting-economics"] | {"spindle_max_rpm": 8_000}
    del small["diameter_mm"]
    refused = client.post("/v1/workings/cutting-economics", json=small)
    assert refused.status_code == 409
    assert refused.get_json()["errors"][0]["field"] == "diameter_mm"


def test_small_work_is_held_by_the_lowest_limit(client):
    found = work(client, "engaged-time", holder_max_rpm=9_000)

    assert found["spindle_rpm"] == 9_000
    assert found["limited_by"] == "holder"
    assert found["cutting_speed_m_min"] == pytest.approx(9_000 * 3 * math.pi / 1000)
    assert found["clamp_diameter_mm"] == pytest.approx(120_000 / math.pi / 9_000)
    assert found["engaged_min"] == pytest.approx(20 / (0.05 * 9_000))
    assert found["equivalent_min"] == pytest.approx(found["engaged_min"])
    assert found["passes"] == 1


def test_facing_wears_less_than_its_minutes_inside_the_clamp(client):
    """The closed form itself is checked by quadrature; here that all of it comes through."""
    cut = {"kind": "face", "start_diameter_mm": 20.0, "feed_mm_rev": 0.05}
    cut |= {"cutting_speed_m_min": 100.0, "spindle_max_rpm": 8000, "n": 0.25}

    found = client.post("/v1/workings/engaged-time", json=cut).get_json()

    assert found["engaged_min"] * 60 == pytest.approx(3.91912, abs=1e-4)
    share = found["equivalent_min"] * (100 / 300) ** 4
    assert share * 1e6 == pytest.approx(757.2812, abs=1e-3)


def test_an_operation_is_taken_as_it_stands_in_the_records(client):
    row = client.get("/v1/parts").get_json()["items"][0]
    record = client.get(f"/v1/parts/{row['part']}").get_json()

    assert record["operations"]
    for operation in record["operations"]:
        sent = {name: value for name, value in operation.items() if value is not None}
        answer = client.post("/v1/workings/engaged-time", json=sent)
        assert answer.status_code == 200, (sent, answer.get_data(as_text=True))


def test_a_bar_a_thread_and_a_corner_come_to_what_the_rules_say(client):
    assert work(client, "bar") == {"parts": 114, "regrips": 2}
    thread = work(client, "thread-passes")
    assert (thread["cutting_passes"], thread["passes"]) == (17, 18)
    assert thread["depths_mm"][:2] == pytest.approx([0.15, 0.212132])
    corner = work(client, "roughness")
    assert corner == pytest.approx({"peak_um": 3.125, "mean_um": 0.78125}, abs=1e-4)


def test_what_is_missing_for_a_time_is_named_by_column(client):
    answer = client.post("/v1/workings/engaged-time", json={"kind": "turn"})

    assert answer.status_code == 409
    named = {error["field"] for error in answer.get_json()["errors"]}
    assert {"length_mm", "feed_mm_rev"} <= named


def test_a_feed_that_never_ends_the_cut_is_refused_at_the_feed(client):
    body = BODIES["engaged-time"] | {"feed_mm_rev": 1e-6}
    answer = client.post("/v1/workings/engaged-time", json=body)

    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["field"] == "feed_mm_rev"


def test_lives_are_fitted_both_ways(client):
    """NIST/SEMATECH e-Handbook 8.4.1.3: shape 1.7208, scale 606.5 (quoted)."""
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    lives = [{"age": age, "ended": True} for age in failed]
    lives += [{"age": 500, "ended": False}] * 10

    found = work(client, "life-fit", lives=lives, ahead=[100, 1000])

    assert found["failed"] == found["taken_out"] == 10
    assert found["maximum_likelihood"]["shape"] == pytest.approx(1.7208, abs=5e-5)
    assert found["maximum_likelihood"]["scale"] == pytest.approx(606.528, abs=1e-3)
    assert found["posterior"]["scale"] == pytest.approx(606.5, rel=0.1)
    new, aged = found["new_edge"], found["aged_edge"]
    assert 0 < new["p05"] < new["p10"] < new["p50"] < new["p90"]
    assert aged["age"] == 300
    assert aged["p50"] < new["p50"] < aged["p50"] + 300
    assert [one["ahead"] for one in new["survival"]] == [100, 1000]
    assert 1 > new["survival"][0]["survival"] > aged["survival"][0]["survival"] > 0


@pytest.mark.parametrize(
    "lives",
    [
        [{"age": 100, "ended": False}] * 5,
        [{"age": 100, "ended": True}] * 5,
        [{"age": 100, "ended": True}],
        [{"age": 1e-6, "ended": True}, {"age": 1e12, "ended": True}],
    ],
    ids=["all taken out", "all equal", "one life", "absurd"],
)
def test_lives_that_say_little_get_a_finite_wide_answer(client, lives):
    found = work(client, "life-fit", lives=lives)

    assert found["maximum_likelihood"] is None or found["doubted"]
    assert (found["maximum_likelihood"] is None) == (found["why_no_maximum"] is not None)
    new = found["new_edge"]
    assert 0 < new["p05"] < new["p90"] < float("inf")
    few = sum(life["ended"] for life in lives) < 5
    assert not few or new["p90"] / new["p05"] > 3


def test_an_order_point_covers_the_delivery_time(client):
    """Heizer & Render (from memory): z sd sqrt(L), and 200 by the cheapest order."""
    found = work(client, "reorder")
    assert found["safety_stock"] == pytest.approx(1.64485 * 10 * 2, abs=1e-3)
    assert found["reorder_point"] == pytest.approx(200 + found["safety_stock"])
    assert found["order_quantity"] is None

    dear = work(client, "reorder", mean_per_day=1000, order_cost=10, holding_cost=0.5)
    assert dear["order_quantity"] == pytest.approx(200)
    assert dear["cost_per_day"] == pytest.approx(100)


def test_one_cost_without_the_other_is_refused_by_name(client):
    answer = client.post("/v1/workings/reorder", json=BODIES["reorder"] | {"order_cost": 3})

    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["field"] == "holding_cost"


def in_inches(members: dict[str, Any]) -> dict[str, Any]:
    """Every length in inches, under the name that says so."""
    told: dict[str, Any] = {}
    for name, value in members.items():
        length = name.endswith("_mm")
        if length and isinstance(value, list):
            value = [one / 25.4 for one in value]
        elif length and value is not None:
            value = value / 25.4
        told[name[:-3] + "_in" if name.endswith("_mm") else name] = value
    return told


@pytest.mark.parametrize("name", [n for n, body in BODIES.items() if "_mm'" in str(body)])
def test_a_calculation_is_the_same_in_inches(client, name):
    lengths = {field for field in BODIES[name] if field.endswith("_mm")}
    sent = BODIES[name] | ({"depth_mm": 0.5} if name == "tool-life" else {})

    answer = client.post(f"/v1/workings/{name}?length_unit=in", json=in_inches(sent))

    assert answer.status_code == 200, answer.get_data(as_text=True)
    told = in_inches(work(client, name))
    assert set(answer.get_json()) == set(told)
    for field, value in answer.get_json().items():
        if isinstance(value, dict):  # the budget of a preset has a test of its own
            continue
        near = isinstance(value, float) and not isinstance(value, bool)
        assert value == (pytest.approx(told[field]) if near else told[field]), field
    # A name in mm beside an address in inches says two things at once.
    mixed = client.post(f"/v1/workings/{name}?length_unit=in", json=BODIES[name])
    assert mixed.status_code == 409
    assert lengths == {error["field"].split(".")[0] for error in mixed.get_json()["errors"]}


def test_inches_are_refused_where_a_number_is_no_length(client):
    body = BODIES["engaged-time"] | {"feed_in": 0.002}
    assert client.post("/v1/workings/engaged-time", json=body).status_code == 422
    part = {"part": "P-9", "material": "1.4305", "material_group": "M", "cycle_s": 30}
    refused = client.post("/v1/parts", json=part | {"part_length_in": 1.0})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["field"] == "part_length_in"


def test_a_part_grows_with_the_worn_land(client):
    assert work(client, "part-size")["growth_mm"] == pytest.approx(0.073671, abs=1e-6)


def test_an_edge_that_does_not_age_is_never_swapped_early(client):
    found = work(client, "swap-point", shape=1)

    assert found["age"] is None
    assert "never pays" in found["why"]


def test_a_check_character_completes_its_text(client):
    found = client.get("/v1/workings/check-character/h00001").get_json()

    assert found == {"character": "K", "code": "H00001K"}
    assert client.get("/v1/workings/check-character/h-1").status_code == 409


@pytest.mark.parametrize("name", BODIES)
def test_odd_numbers_are_refused_or_answered(client, name):
    def refuse(text: str) -> float:
        raise AssertionError(f"{text} is no number of JSON")

    def send(changed: dict[str, Any]) -> None:
        answer = client.post(f"/v1/workings/{name}", json=BODIES[name] | changed)
        assert answer.status_code in (200, 409, 422), changed
        json.loads(answer.get_data(as_text=True), parse_constant=refuse)

    for field in BODIES[name]:
        for value in ODD:
            send({field: value})
    for one, other in itertools.combinations(BODIES[name], 2):
        for pair in itertools.product([*ODD[2:4], 1e-3, 0.05, 1_000], repeat=2):
            send({one: pair[0], other: pair[1]})


@pytest.mark.parametrize("name", BODIES)
def test_a_body_that_says_nothing_is_refused(client, name):
    assert client.post(f"/v1/workings/{name}", json={}).status_code == 422


def test_repeats_are_judged_under_the_names_of_the_contract(client):
    answer = client.post(
        "/v1/workings/preset",
        json={"readings_mm": [80.001, 80.002, 80.003], "tolerance_mm": 0.02},
    ).get_json()

    assert answer["mean_mm"] == pytest.approx(80.002)
    assert answer["standard_deviation_mm"] == pytest.approx(0.001)
    assert answer["type_a_mm"] == pytest.approx(0.001 / 3**0.5)
    assert set(answer) == {
        "mean_mm", "standard_deviation_mm", "type_a_mm", "expanded_uncertainty_mm",
        "accepted", "outlier", "budget",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("exponent", "name"), [("feed_exponent", "feed_mm_rev"), ("depth_exponent", "depth_mm")]
)
def test_an_exponent_asks_for_the_figure_that_it_belongs_to(client, exponent, name):
    body = BODIES["tool-life"] | {exponent: 0.3}

    refused = client.post("/v1/workings/tool-life", json=body)

    assert refused.status_code == 409
    assert [one["field"] for one in refused.get_json()["errors"]] == [name]
    assert work(client, "tool-life", **{exponent: 0.3, name: 0.1})["life_min"] > 0


@pytest.mark.parametrize("readings", [[25.0], [25.0] * 10])
def test_one_reading_or_equal_ones_are_no_study_of_a_gauge(client, readings):
    body = {"readings_mm": readings, "master_mm": 25.0, "tolerance_width_mm": 0.04}

    found = client.post("/v1/workings/gauge-study", json=body).get_json()

    assert not found["valid"]
    assert "no scatter" in found["why_not"][0]


@pytest.mark.parametrize("feed", [0.01, 0.1, 0.4, 0.8])
def test_both_roughness_figures_come_from_one_profile(client, feed):
    found = work(client, "roughness", feed_mm_rev=feed)

    # Groover, Fundamentals of Modern Manufacturing (from memory): f2/8r and f2/32r
    assert found["peak_um"] / found["mean_um"] == pytest.approx(4)
    # by quadrature over one groove y²/2r the parabola's own mean is 2.6 % more, as is said
    across = (np.arange(200_000) + 0.5) / 200_000 * feed - feed / 2
    depth = 1000 * across**2 / (2 * 0.4)
    own = np.abs(depth - depth.mean()).mean()
    assert own / found["mean_um"] == pytest.approx(1.0264, abs=1e-4)


@pytest.mark.parametrize(
    ("cut", "field", "bound"),
    [
        (
            {"cutting_speed_m_min": 0.1, "c_m_min": 400},
            "cutting_speed_m_min",
            "more than 1e+12",
        ),
        (
            {"cutting_speed_ft_min": 32_808, "c_m_min": 50},
            "cutting_speed_ft_min",
            "less than 1e-09",
        ),
    ],
)
def test_a_speed_at_which_the_curve_says_nothing_is_refused(
    client: FlaskClient, cut: dict[str, float], field: str, bound: str
) -> None:
    answer = client.post("/v1/workings/tool-life", json={"n": 0.25, **cut})

    assert answer.status_code == 409
    found = answer.get_json()
    assert bound in found["detail"]
    assert [one["field"] for one in found["errors"]] == [field]


INVERSE = {
    "n": 0.25,
    "c_m_min": 180,
    "feed_exponent": 0.35,
    "depth_exponent": 0.15,
    "depth_mm": 0.8,
    "diameter_mm": 12,
    "length_mm": 20,
}


def ask(client: FlaskClient, name: str, status: int = 200, **body: Any) -> dict[str, Any]:
    answer = client.post(f"/v1/workings/{name}", json=INVERSE | body)
    assert answer.status_code == status, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_the_speed_for_a_life_gives_that_life(client):
    """The life of a made-up cut, worked out by hand: 157.149 min at 150 m/min."""
    found = ask(client, "speed-for-life", feed_mm_rev=0.05, life_min=157.149)

    assert found["cutting_speed_m_min"] == pytest.approx(150, abs=0.001)
    assert found["life_min"] == pytest.approx(157.149)
    assert found["spindle_rpm"] == pytest.approx(1000 * 150 / (math.pi * 12), abs=0.01)
    assert found["limited_by"] is None
    assert "judge" in found["caution"]


def test_a_spindle_at_its_limit_makes_more_parts_than_asked(client):
    asked = {"feed_mm_rev": 0.05, "life_parts": 400}

    free = ask(client, "speed-for-life", **asked)
    held = ask(client, "speed-for-life", **asked, spindle_max_rpm=4_500, tool_max_rpm=3_000)

    assert free["life_parts"] == pytest.approx(400)
    assert (held["spindle_rpm"], held["limited_by"]) == (3_000, "tool")
    assert held["real_speed_m_min"] == pytest.approx(math.pi * 12 * 3)
    # parts go with v**(1 - 1/n)
    times = (held["real_speed_m_min"] / free["cutting_speed_m_min"]) ** -3
    assert held["life_parts"] == pytest.approx(400 * times)


def test_the_range_of_a_speed_is_that_of_the_exponent(client):
    seen = {"feed_mm_rev": 0.05, "n_se": 0.04, "seen_speed_m_min": 150}

    here = ask(client, "speed-for-life", **seen, life_min=157.149)
    away = ask(client, "speed-for-life", **seen, life_min=4 * 157.149)

    assert here["low_m_min"] == pytest.approx(150) == here["high_m_min"]
    # v = 150 4**-n, n 1.2816 standard errors off
    assert away["low_m_min"] == pytest.approx(150 * 4 ** -(0.25 + 0.0512622), rel=1e-5)
    assert away["high_m_min"] == pytest.approx(150 * 4 ** -(0.25 - 0.0512622), rel=1e-5)


def test_a_feed_has_no_range_where_parts_may_go_either_way(client):
    """The exponent 0.35 with an error of 0.1 may be above n or below it."""
    asked = {"cutting_speed_m_min": 120, "seen_feed_mm_rev": 0.06, "life_parts": 2_500}

    sure = ask(client, "feed-for-life", **asked, feed_exponent_se=0.03)
    unsure = ask(client, "feed-for-life", **asked, feed_exponent_se=0.1)

    assert sure["low_mm_rev"] < sure["feed_mm_rev"] < sure["high_mm_rev"]
    assert sure["life_parts"] == pytest.approx(2_500)
    assert sure["faster_makes_more"] is False
    assert (unsure["low_mm_rev"], unsure["high_mm_rev"]) == (None, None)


@pytest.mark.parametrize(
    ("name", "body", "field"),
    [
        ("speed-for-life", {"feed_mm_rev": 0.1}, "life_parts"),
        ("speed-for-life", {"feed_mm_rev": 0.1, "life_min": 9, "life_parts": 9}, "life_parts"),
        ("speed-for-life", {"life_parts": 9}, "feed_mm_rev"),
        ("speed-for-life", {"feed_mm_rev": 0.1, "life_parts": 9, "n": 1.2}, "n"),
        (
            "speed-for-life",
            {"feed_mm_rev": 0.1, "life_min": 9, "n_se": 0.1},
            "seen_speed_m_min",
        ),
        ("feed-for-life", {"life_min": 9}, "cutting_speed_m_min"),
        (
            "feed-for-life",
            {"life_min": 9, "cutting_speed_m_min": 100, "feed_exponent": 0},
            "feed_exponent",
        ),
        (
            "feed-for-life",
            {"life_parts": 9, "cutting_speed_m_min": 1, "length_mm": 0},
            "length_mm",
        ),
    ],
)
def test_a_cut_without_an_answer_is_refused_beside_its_field(client, name, body, field):
    answer = client.post(f"/v1/workings/{name}", json=INVERSE | body)

    assert answer.status_code in (409, 422), answer.get_data(as_text=True)
    assert field in [one["field"] for one in answer.get_json()["errors"]]


def test_a_life_in_parts_without_a_diameter_is_refused(client):
    body = {name: value for name, value in INVERSE.items() if name != "diameter_mm"}

    answer = client.post(
        "/v1/workings/speed-for-life", json=body | {"life_parts": 9, "feed_mm_rev": 0.1}
    )

    assert [one["field"] for one in answer.get_json()["errors"]] == ["diameter_mm"]


def test_a_fine_finish_asks_for_a_feed_that_rubs(client):
    def feed(**body: Any) -> dict[str, Any]:
        answer = client.post(
            "/v1/workings/feed-for-finish", json={"corner_radius_mm": 0.4} | body
        )
        assert answer.status_code == 200, answer.get_data(as_text=True)
        return answer.get_json()

    fine, coarse = (feed(mean_um=mean, edge_radius_mm=0.02) for mean in (0.1, 0.8))

    assert coarse["feed_mm_rev"] == pytest.approx(math.sqrt(32 * 0.4 * 0.8e-3))
    assert (fine["rubs"], coarse["rubs"]) == (True, False)
    # thinnest chip 0.3 of 20 µm
    assert fine["least_feed_mm_rev"] == pytest.approx(math.sqrt(2 * 0.4 * 0.006))
    assert fine["ploughed_peak_um"] > 6.0
    assert feed(peak_um=3.2)["rubs"] is None
