"""Facts over HTTP: what they answer and the rows that they leave."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient


def _mount(bench: SimpleNamespace, code: str, **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = bench.post(
        "/v1/mounts", station="M1/T01", assembly=code, by="B2", **more
    )
    return found


def test_a_built_tool_answers_its_code_recipe_and_cautions(bench: SimpleNamespace) -> None:
    built = bench.build()

    assert built["code"].startswith("A")
    assert (built["edge"], built["edges"], built["cutter_status"]) == (1, 4, "NEW")
    assert built["recipe"]["tolerance_mm"] == "0.2000"
    assert any("gloves" in caution for caution in built["cautions"])


def test_a_preset_answers_mean_spread_uncertainty_and_verdict(bench: SimpleNamespace) -> None:
    bench.check_gauge()

    done = bench.measure(bench.build()["code"])

    assert done["mean_mm"] == {"lf_mm": "80.0010", "wf_mm": "16.0103", "re_mm": "0.8000"}
    assert abs(done["standard_deviation_mm"]["wf_mm"] - 0.0001) < 1e-9
    assert done["expanded_uncertainty_mm"]["wf_mm"] > 0
    assert (done["accepted"], done["why_not"]) == (True, [])


def test_a_gauge_that_was_not_checked_spoils_the_verdict(bench: SimpleNamespace) -> None:
    done = bench.measure(bench.build()["code"])

    assert done["accepted"] is False
    assert "never checked" in done["why_not"][0]


def test_a_mount_answers_what_to_key_in(bench: SimpleNamespace) -> None:
    code = bench.ready()

    done = _mount(bench, code, scanned={"station": "M1/T01", "assembly": code})

    # datum 10 mm + WF 16.0103 mm on diameter; datum 25 mm - LF 80.001 mm
    values = {row["axis"]: row["value_mm"] for row in done["offsets"]}
    assert values == {"X": "52.0210", "Z": "-55.0010"}
    assert {row["axis"]: row["on_diameter"] for row in done["offsets"]}["X"] is True
    assert "G10" in done["block"]
    assert "PROVE THE OFFSET FIRST" in done["block"]
    assert (done["tip_orientation"], done["nose_radius_mm"]) == (3, "0.8000")


def test_offsets_are_told_in_inches_under_a_name_that_says_so(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.ready()

    answer = client.post(
        "/v1/mounts?length_unit=in", json={"station": "M1/T01", "assembly": code}
    )

    first = answer.get_json()["offsets"][0]
    assert first["value_in"] == "2.04807"  # 52.0210 mm / 25.4 mm
    assert "value_mm" not in first
    assert first["expanded_uncertainty_in"] > 0
    assert "expanded_uncertainty_mm" not in first


def test_every_mismatch_of_a_mount_is_listed_and_nothing_is_recorded(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    code = bench.build()["code"]

    answer = client.post(
        "/v1/mounts",
        json={"station": "M1/T11", "assembly": code, "scanned": {"station": "M1/T01"}},
    )

    body = answer.get_json()
    assert (answer.status_code, body["type"]) == (409, "/problems/does-not-fit")
    assert len(body["errors"]) >= 3
    assert all(error["detail"] and error["slug"] for error in body["errors"])
    assert rows("mounts") == 0


def test_a_repeated_scan_mounts_once(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    body = {"station": "M1/T01", "assembly": bench.ready()}
    key = {"Idempotency-Key": "scan-17"}

    first = client.post("/v1/mounts", json=body, headers=key)
    again = client.post("/v1/mounts", json=dict(reversed(body.items())), headers=key)

    assert (first.status_code, again.status_code) == (201, 201)
    assert again.get_data() == first.get_data()
    assert again.headers["Location"] == first.headers["Location"]
    assert rows("mounts") == 1


def test_a_key_that_comes_with_another_body_is_refused(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    key = {"Idempotency-Key": "k"}
    body = {"tool_spec": "TURN-OD", "holder": "TH-1", "lot": "LOT-I1"}
    client.post("/v1/assemblies", json=body, headers=key)

    other = client.post("/v1/assemblies", json=body | {"holder": "TH-2"}, headers=key)

    assert other.status_code == 409
    assert other.get_json()["type"] == "/problems/key-reused"
    assert rows("assemblies") == 1


def test_a_key_that_comes_on_another_route_or_for_another_unit_is_refused(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    first, second = bench.ready(), bench.measure(bench.build("TH-2")["code"])["assembly"]
    key = {"Idempotency-Key": "k"}
    place = {"machine": "M1", "place": "A 1"}
    done = client.post(f"/v1/assemblies/{first}/rack-places", json=place, headers=key)
    before = rows("facts")

    refused = [
        client.post(address, json=body, headers=key)
        for address, body in (
            (f"/v1/assemblies/{second}/rack-places", place),  # another tool
            (f"/v1/assemblies/{first}/rack-places?length_unit=in", place),
            (f"/v1/assemblies/{first}/teardown", {}),
            ("/v1/stops", {"machine": "M1", "reason": "x"}),
        )
    ]

    assert done.status_code == 201
    assert [one.get_json()["type"] for one in refused] == ["/problems/key-reused"] * 4
    assert rows("facts") == before


def test_a_mount_that_was_answered_in_inches_is_not_repeated_in_millimetres(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    key = {"Idempotency-Key": "k"}
    body = {"station": "M1/T01", "assembly": bench.ready()}

    inches = client.post("/v1/mounts?length_unit=in", json=body, headers=key)
    mm = client.post("/v1/mounts", json=body, headers=key)

    assert (inches.status_code, mm.status_code) == (201, 409)
    assert mm.get_json()["type"] == "/problems/key-reused"


def test_a_refused_request_does_not_use_up_its_key(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    key = {"Idempotency-Key": "again"}
    code = bench.build()["code"]
    body = {"station": "M1/T01", "assembly": code}
    refused = client.post("/v1/mounts", json=body, headers=key)
    bench.check_gauge()
    bench.measure(code)

    done = client.post("/v1/mounts", json=body, headers=key)

    assert (refused.status_code, done.status_code) == (409, 201)


def test_counts_correction_and_removal_tell_one_story(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    mounted = _mount(bench, bench.ready(), part_count=100)
    begun = clock.at
    clock.go_on(hours=2)
    readings = [
        {"at": (begun + timedelta(seconds=45 * n)).isoformat(), "count": 100 + n}
        for n in range(1, 101)
    ]

    counted = bench.post("/v1/counts", 202, machine="M1", readings=readings)
    twice = bench.post("/v1/counts", 202, machine="M1", readings=readings)
    stepped = bench.post(
        "/v1/corrections", station="M1/T01", axis="X", change_mm="-0.012", kind="size", by="B2"
    )
    removed = bench.post(
        "/v1/removals", station="M1/T01", reason="worn as planned", flank_wear_mm="0.18"
    )

    assert (counted["accepted"], twice["accepted"], twice["duplicates"]) == (100, 0, 100)
    assert stepped["value_mm"] == "52.0090"
    assert stepped["learned"]
    assert removed["parts_made"] == 100
    assert removed["engaged_min"] > 0
    assert 0 < removed["share_of_life_used"] < 1
    assert removed["edges"][0]["next_edge"] == 2
    assert "TH-1" in removed["holder_sentence"]
    listed = client.get(f"/v1/mounts/{mounted['fact']}").get_json()
    assert listed["reason"] == "worn_as_planned"


def test_a_bad_reading_is_kept_aside_and_the_others_are_taken(
    client: FlaskClient, bench: SimpleNamespace, clock: Any
) -> None:
    ahead = (clock.at + timedelta(hours=1)).isoformat()
    readings = [
        {"at": "2026-01-05T07:00:00Z", "count": 5},
        {"at": ahead, "count": 6},
        {"at": "yesterday", "count": 7},
        {"at": "2026-01-05T07:10:00Z", "count": -1},
        {"at": "2026-01-05T07:20:00Z", "count": 7.5},
    ]

    done = bench.post("/v1/counts", 202, machine="M1", readings=readings)

    assert done["accepted"] == 1
    assert [row["index"] for row in done["refused"]] == [1, 2, 3, 4]
    assert done["refused"][0]["reason"] == "in_future"
    kept = client.get("/v1/refused-counts?machine=M1").get_json()["items"]
    assert len(kept) == 4


def test_a_mistake_is_reversed_by_a_fact_that_names_it(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    done = _mount(bench, bench.ready())

    reversal = bench.post("/v1/reversals", fact=done["fact"], by="B3", note="wrong machine")

    assert reversal["reversed"] == done["fact"]
    assert client.get(f"/v1/mounts/{done['fact']}").get_json()["reversed"] is True
    assert client.get("/v1/scan/M1/T01").get_json()["station"]["holds"] is None
    trail = client.get("/v1/audit?kind=mount,reversal").get_json()["items"]
    assert [row["kind"] for row in trail] == ["reversal", "mount"]
    assert (trail[0]["by"], trail[1]["reversed_by"]) == ("B3", reversal["fact"])


def test_a_second_preset_voids_the_label_of_the_first(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    old = bench.ready()

    new = bench.measure(old)["assembly"]

    assert new != old
    scanned = client.get(f"/v1/scan/{old}").get_json()
    assert scanned["superseded_at"] is not None
    assert scanned["code"] == new
    mounted = client.post("/v1/mounts", json={"station": "M1/T01", "assembly": old})
    assert mounted.status_code == 409
    assert "label" in mounted.get_json()["detail"]


def test_stock_is_moved_and_never_goes_below_nothing(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    taken = bench.post("/v1/stock-moves", lot="LOT-D1", move="issue", quantity=3)
    more = client.post(
        "/v1/stock-moves", json={"lot": "LOT-D1", "move": "issue", "quantity": 1}
    )

    assert taken["on_hand"] == 0
    assert (more.status_code, more.get_json()["type"]) == (409, "/problems/none-left")
    assert client.get("/v1/lots/LOT-D1").get_json()["on_hand"] == 0


def test_a_tool_taken_apart_frees_its_holder(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.build()["code"]

    done = bench.post(f"/v1/assemblies/{code}/teardown", reason="not needed", by="B1")

    assert (done["holder"], done["never_cut"]) == ("TH-1", True)
    assert bench.build()["edge"] == 1


def test_a_machine_that_stands_still_is_on_record(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    bench.post("/v1/stops", machine="M2", reason="bar feeder jammed", by="B2")

    stops = client.get("/v1/stops?machine=M2").get_json()["items"]

    assert [row["reason"] for row in stops] == ["bar feeder jammed"]
    assert client.get("/v1/stops?machine=M1").get_json()["items"] == []


@pytest.mark.parametrize("land", [0.18, "0.18", "0.1800"])
def test_a_measured_land_is_taken_as_a_number_too(
    bench: SimpleNamespace, store: Any, land: object
) -> None:
    _mount(bench, bench.ready())
    bench.post("/v1/removals", station="M1/T01", reason="inspection", flank_wear_mm=land)
    with store.read() as tx:
        kept = tx.exec_driver_sql("SELECT flank_wear_tenths_um FROM removals").scalar_one()
    assert kept == 1_800


@pytest.mark.parametrize("land", [True, [0.18], 0.12345, 1e300])
def test_a_land_that_is_no_length_is_refused(
    client: FlaskClient, bench: SimpleNamespace, land: object
) -> None:
    _mount(bench, bench.ready())
    body = {"station": "M1/T01", "reason": "inspection", "flank_wear_mm": land}
    answer = client.post("/v1/removals", json=body)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == "#/flank_wear_mm"


def test_a_code_typed_in_small_letters_opens_its_page(client, bench):
    code = bench.ready()

    page = client.get(f"/c/{code.lower()}")

    assert page.status_code == 200
    assert code in page.get_data(as_text=True)


def test_a_supervisor_overrides_a_gauge_that_was_not_checked(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.build()["code"]
    body = {"gauge": "PG-1", "readings": [{"lf_mm": "80.001", "wf_mm": "16.0103"}] * 3}
    path = f"/v1/assemblies/{code}/presets"

    bench.post(path, 403, **body, override={"by": "B1", "reason": "no time"})
    bench.post(path, 422, **body, override={"by": "B3"})
    done = bench.post(path, **body, override={"by": "B3", "reason": "master is away"})

    assert done["accepted"]
    assert done["overridden"]["by"] == "Sunniva Brask"
    assert done["overridden"]["sentence"] == (
        "Gauge not checked: Sunniva Brask overrode this (master is away)."
    )
    scan = client.get(f"/v1/scan/{code}").get_json()
    assert scan["tool"]["gauge_override"] == done["overridden"]["sentence"]
    kept = client.get(f"/v1/presets/{done['fact']}").get_json()
    assert (kept["override_by"], kept["override_reason"]) == ("Sunniva Brask", "master is away")
    shown = client.get(f"/v1/assemblies/{code}").get_json()
    assert shown["preset"]["override_reason"] == "master is away"
