"""Tool-life constants from tests, over HTTP."""

import itertools
import json
import math

import pytest

from api.rest.workings_constants import range_shape
from crib.life.taylor_range import CurveRange

CALL = "/v1/workings/tool-life-constants"
GROOVER = [
    {"cutting_speed_m_min": 160, "life_min": 5},
    {"cutting_speed_m_min": 100, "life_min": 41},
]
FOUR = [
    {"cutting_speed_m_min": v, "life_min": t, "feed_mm_rev": f}
    for v, t, f in [(100, 40, 0.1), (100, 31, 0.14), (150, 8, 0.1), (150, 6.4, 0.14)]
]


def estimate(client, tests, **more):
    answer = client.post(CALL, json={"tests": tests} | more)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return answer.get_json()


def test_two_tests_give_the_printed_constants(client):
    """Groover, Fundamentals of Modern Manufacturing, Taylor example (from memory)."""
    found = estimate(client, GROOVER)

    assert found["n"] == pytest.approx(0.223, abs=0.0005)
    assert found["c_m_min"] == pytest.approx(229, abs=0.5)
    assert found["feed_exponent"] is None
    assert found["standard_errors"]["n"] > 0
    assert "too few" in " ".join(found["notes"])


def test_its_constants_give_the_life_that_it_foretells(client):
    found = estimate(client, FOUR, cuts=[{"cutting_speed_m_min": 120, "feed_mm_rev": 0.12}])
    names = ("n", "c_m_min", "feed_exponent", "reference_feed_mm_rev")
    curve = {name: found[name] for name in names}

    life = client.post(
        "/v1/workings/tool-life",
        json=curve | {"cutting_speed_m_min": 120, "feed_mm_rev": 0.12},
    ).get_json()

    (cut,) = found["cuts"]
    assert cut["within_range"]
    assert cut["outside"] == []
    assert life["life_min"] == pytest.approx(cut["life_min"])
    assert cut["life_low_min"] < cut["life_min"] < cut["life_high_min"]


def test_the_level_holds_at_the_reference_that_is_asked_for(client):
    plain = estimate(client, FOUR)
    at_feed = estimate(client, FOUR, reference_feed_mm_rev=0.1)

    assert (plain["reference_feed_mm_rev"], at_feed["reference_feed_mm_rev"]) == (1.0, 0.1)
    ratio = at_feed["c_m_min"] / plain["c_m_min"]
    assert ratio == pytest.approx(0.1 ** -plain["feed_exponent"])


def test_feet_and_inches_give_the_same_constants(client):
    """1 ft = 0.3048 m, 1 in = 25.4 mm exactly."""
    inches = [
        {
            "cutting_speed_ft_min": test["cutting_speed_m_min"] / 0.3048,
            "feed_in_rev": test["feed_mm_rev"] / 25.4,
            "life_min": test["life_min"],
        }
        for test in FOUR
    ]
    cut = {"cutting_speed_ft_min": 120 / 0.3048, "feed_in_rev": 0.12 / 25.4}

    metric = estimate(client, FOUR, cuts=[{"cutting_speed_m_min": 120, "feed_mm_rev": 0.12}])
    found = estimate(client, inches, cuts=[cut])
    at_inch = estimate(client, inches, reference_feed_in_rev=1)

    for name in ("n", "c_m_min", "feed_exponent"):
        assert found[name] == pytest.approx(metric[name], rel=1e-9)
    assert found["cuts"][0]["life_min"] == pytest.approx(metric["cuts"][0]["life_min"])
    # ln T = (ln C - ln v - a ln f) / n with v in ft/min and f in in/rev
    n, a, c = (at_inch[name] for name in ("n", "feed_exponent", "c_ft_min"))
    life = (c / (120 / 0.3048 * (0.12 / 25.4) ** a)) ** (1 / n)
    assert life == pytest.approx(metric["cuts"][0]["life_min"], rel=1e-6)


def test_a_life_can_be_asked_in_feet_and_inches(client):
    """By hand: ``v T^n f^a = C`` in ft/min and in/rev, C standing alone for 1 in/rev."""
    body = {"cutting_speed_ft_min": 400, "feed_in_rev": 0.008, "n": 0.25, "c_ft_min": 180,
            "feed_exponent": 0.35}  # fmt: skip
    by_hand = (180 / (400 * 0.008**0.35)) ** 4

    answer = client.post("/v1/workings/tool-life", json=body)
    both = client.post("/v1/workings/tool-life", json=body | {"c_m_min": 55})
    without = {name: value for name, value in body.items() if name != "c_ft_min"}
    neither = client.post("/v1/workings/tool-life", json=without)

    assert answer.get_json()["life_min"] == pytest.approx(by_hand)
    assert (both.status_code, neither.status_code) == (409, 409)
    assert both.get_json()["errors"][0]["pointer"] == "#/c_ft_min"
    assert neither.get_json()["errors"][0]["pointer"] == "#/c_m_min"


def test_depths_come_in_inches_when_the_address_says_so(client):
    tests = [
        {"cutting_speed_m_min": v, "life_min": t, "depth_in": d}
        for v, t, d in [(100, 40, 0.02), (100, 31, 0.05), (150, 8, 0.02), (150, 6.4, 0.05)]
    ]
    answer = client.post(f"{CALL}?length_unit=in", json={"tests": tests})

    assert answer.status_code == 200, answer.get_data(as_text=True)
    found = answer.get_json()
    assert found["depth_exponent"] > 0
    assert found["range"]["depth_mm"]["highest"] == pytest.approx(0.05 * 25.4)


def test_a_cut_outside_the_tests_says_so(client):
    found = estimate(client, FOUR, cuts=[{"cutting_speed_m_min": 300, "feed_mm_rev": 0.12}])

    (cut,) = found["cuts"]
    assert not cut["within_range"]
    assert cut["outside"] == ["300 m/min lies outside 100 to 150 m/min"]
    assert found["range"]["feed_mm_rev"] == {"lowest": 0.1, "highest": 0.14}


def test_a_test_cut_short_raises_the_life(client):
    short = [test | {"censored": test["cutting_speed_m_min"] == 100} for test in FOUR]

    cuts = [{"cutting_speed_m_min": 100, "feed_mm_rev": 0.1}]
    whole, longer = (estimate(client, tests, cuts=cuts) for tests in (FOUR, short))

    assert (longer["ended"], longer["censored"]) == (2, 2)
    assert longer["cuts"][0]["life_min"] > 1.2 * whole["cuts"][0]["life_min"]


def test_one_speed_leans_on_the_handbook_of_the_tool(client):
    same = [{"cutting_speed_m_min": 40, "life_min": t} for t in (30, 34, 41)]

    hss = estimate(client, same, tool_material="hss", material_group="P")
    any_tool = estimate(client, same)

    assert hss["n"] == pytest.approx(0.125)
    assert any_tool["n"] == pytest.approx(0.25)
    assert "Groover" in hss["prior_source"]
    assert not hss["told"]["n"]
    assert "hss on P" in " ".join(hss["notes"])


def test_without_a_prior_too_few_tests_are_refused(client):
    answer = client.post(CALL, json={"tests": GROOVER, "prior": "none"})

    assert answer.status_code == 409
    assert "prior" in answer.get_json()["detail"]


@pytest.mark.parametrize(
    ("body", "pointer", "status"),
    [
        ({"tests": []}, "#/tests", 422),
        ({}, "#/tests", 422),
        ({"tests": [{"cutting_speed_m_min": 0, "life_min": 5}]},
         "#/tests/0/cutting_speed_m_min", 422),
        ({"tests": [{"cutting_speed_m_min": 100, "life_min": 0}]}, "#/tests/0/life_min", 422),
        ({"tests": [{"life_min": 5}]}, "#/tests/0/cutting_speed_m_min", 409),
        ({"tests": [GROOVER[0] | {"cutting_speed_ft_min": 500}]},
         "#/tests/0/cutting_speed_ft_min", 409),
        ({"tests": GROOVER, "cuts": [{"feed_mm_rev": 0.1}]},
         "#/cuts/0/cutting_speed_m_min", 409),
        ({"tests": [GROOVER[0], GROOVER[1] | {"feed_mm_rev": 0.1}]},
         "#/tests/0/feed_mm_rev", 409),
        ({"tests": GROOVER, "tool_material": "hss"}, "#/material_group", 409),
        ({"tests": GROOVER, "material_group": "X"}, "#/material_group", 422),
        ({"tests": GROOVER, "prior": "some"}, "#/prior", 422),
        ({"tests": [{"cutting_speed_m_min": 100 + 20 * i, "life_min": 10 * 2**i}
                    for i in range(8)]}, "#/tests", 409),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_place(client, body, pointer, status):
    answer = client.post(CALL, json=body)

    assert answer.status_code == status
    assert pointer in [error["pointer"] for error in answer.get_json()["errors"]]


def test_odd_numbers_are_refused_or_answered_with_numbers(client):
    def refuse(text):
        raise AssertionError(f"{text} is no number of JSON")

    odd = [0, -1, 1e-12, 1e-4, 0.02, 1e3, 1e6, 1e12, 1e300, None, "x", True, [], {}]
    names = ("cutting_speed_m_min", "life_min", "feed_mm_rev", "censored")
    for name, value, place in itertools.product(names, odd, range(2)):
        tests = [dict(test) for test in FOUR]
        tests[place][name] = value
        for use in ("least", "full", "none"):
            answer = client.post(CALL, json={"tests": tests, "prior": use})
            assert answer.status_code in (200, 409, 422), (name, value)
            found = json.loads(answer.get_data(as_text=True), parse_constant=refuse)
            if answer.status_code == 200:
                assert math.isfinite(found["n"])
                assert math.isfinite(found["c_m_min"])
                assert None not in (found["standard_errors"]["n"], found["residual_deviation"])


def test_the_shops_own_edges_are_listed_with_what_they_tell(client, bench, clock):
    first = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=first, part_count=0)
    clock.go_on(hours=1)
    bench.post("/v1/removals", station="M1/T01", reason="worn_early", part_count=70)

    found = client.get("/v1/tool-life-estimates").get_json()

    (row,) = found["items"]
    assert (row["cutting_item"], row["material_group"]) == ("CNMG-408", "M")
    assert (row["basis"], row["source"]) == ("tool_life", "invented for the tests")
    assert row["in_force"]["n"] == 0.25
    assert (row["ended"], row["estimate"], row["used"]) == (1, None, False)
    assert "8 are needed" in row["why"]
    assert row["range"]["cutting_speed_m_min"]["lowest"] == pytest.approx(120)
    assert client.get("/v1/tool-life-estimates?cutting_item=DRILL-3").get_json()["items"] == []
    assert client.get("/v1/tool-life-estimates?cutting_item=NONE").status_code == 404


def test_a_range_shows_the_speeds_that_were_run_without_the_noise_of_averaging():
    shown = range_shape(CurveRange((89.99999999999983, 95.00000000000007), None, None))

    assert shown["cutting_speed_m_min"] == {"lowest": 90.0, "highest": 95.0}
    assert shown["depth_mm"] is None
