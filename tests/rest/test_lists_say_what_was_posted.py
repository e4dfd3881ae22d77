"""Every list says of each fact what was posted; no two members of a row have the same value."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient


@pytest.fixture
def lived(client: FlaskClient, bench: SimpleNamespace, clock: Any) -> SimpleNamespace:
    """One tool built, measured, racked, printed, mounted, stepped and removed, all unlike."""
    told = SimpleNamespace(at={})

    def post(name: str, path: str, status: int = 201, **body: Any) -> dict[str, Any]:
        told.at[name] = clock.go_on(minutes=3).strftime("%Y-%m-%dT%H:%M:%SZ")
        found: dict[str, Any] = bench.post(path, status, **body)
        return found

    client.patch("/v1/holders/TH-2", json={"location": "drawer 4"}, headers={"If-Match": "*"})
    bench.check_gauge()
    built = post("built", "/v1/assemblies", tool_spec="TURN-OD", holder="TH-2", lot="LOT-I1",
                 edge=2, by="B1", note="n-built")  # fmt: skip
    readings = [{"lf_mm": "80.0210", "wf_mm": "16.0103", "re_mm": "0.7910"}] * 3
    measured = post("measured", f"/v1/assemblies/{built['code']}/presets", gauge="PG-1",
                    readings=readings, by="B1", note="n-measured")  # fmt: skip
    told.code, told.preset = measured["assembly"], measured["fact"]
    post("racked", f"/v1/assemblies/{told.code}/rack-places", machine="M2", place="A 3",
         by="B1", note="n-racked")  # fmt: skip
    mounted = post("mounted", "/v1/mounts", station="M1/T01", assembly=told.code, by="B2",
                   part_count=17, note="n-mounted")  # fmt: skip
    told.mount = mounted["fact"]
    told.step = post("stepped", "/v1/corrections", station="M1/T01", axis="Z",
                     change_mm="-0.0130", kind="size", by="B3", note="n-stepped")  # fmt: skip
    removed = post("removed", "/v1/removals", station="M1/T01", reason="size", by="B2",
                   part_count=19, flank_wear_mm="0.1200", note="n-removed")  # fmt: skip
    told.removal = removed["fact"]
    return told


def _row(client: FlaskClient, name: str) -> dict[str, Any]:
    rows = client.get(f"/v1/{name}").get_json()["items"]
    assert rows, name
    found: dict[str, Any] = rows[-1]
    return found


def test_a_built_tool_is_listed_as_it_was_built(client, lived) -> None:
    found = _row(client, "assemblies")

    assert found | {"fact": 0} == {
        "fact": 0, "at": lived.at["built"], "recorded_at": lived.at["built"], "by": "B1",
        "note": "n-built", "reversed": False, "code": lived.code, "tool_spec": "TURN-OD",
        "holder": "TH-2", "holder_location": "drawer 4", "cutting_item": "CNMG-408",
        "lot": "LOT-I1", "edge": 2, "edges": 4, "cutter_status": "EXPIRED",
        "preset_id": lived.preset, "void_after": found["void_after"],
        "ended_at": lived.at["removed"], "station": None,
    }  # fmt: skip
    scanned = client.get(f"/v1/scan/{lived.code}").get_json()["tool"]
    for name in set(scanned) & set(found):
        if name != "station":
            assert scanned[name] == found[name], name


def test_a_preset_is_listed_as_it_was_measured(client, lived) -> None:
    found = _row(client, "presets")

    assert (found["at"], found["by"], found["note"], found["gauge"], found["assembly"]) == (
        lived.at["measured"], "B1", "n-measured", "PG-1", lived.code,
    )  # fmt: skip
    assert [found[f"{name}_mm"] for name in ("lf", "wf", "hf", "re")] == [
        "80.0210", "16.0103", None, "0.7910",
    ]  # fmt: skip
    assert (found["override_by"], found["override_reason"]) == (None, None)
    scanned = client.get(f"/v1/scan/{lived.code}").get_json()["tool"]
    for name in ("lf_mm", "wf_mm", "hf_mm", "re_mm", "gauge", "accepted", "void_after"):
        assert scanned[name] == found[name], name


def test_a_preset_that_was_let_count_says_by_whom_and_why(client, bench) -> None:
    code = bench.build()["code"]
    bench.post(f"/v1/assemblies/{code}/presets", gauge="PG-1", by="B1",
               readings=[{"lf_mm": "80.0210", "wf_mm": "16.0103"}] * 3,
               override={"by": "B3", "reason": "master is away"})  # fmt: skip

    found = _row(client, "presets")

    assert (found["by"], found["override_by"]) == ("B1", "Sunniva Brask")
    assert found["override_reason"] == "master is away"
    (waiting,) = client.get("/v1/rack").get_json()["racks"][0]["tools"]
    assert waiting["gauge"] == "PG-1"
    assert "Sunniva Brask" in str(waiting)
    assert "master is away" in str(waiting)


def test_a_stay_is_listed_from_mount_to_removal(client, lived) -> None:
    found, out, step = (_row(client, name) for name in ("mounts", "removals", "corrections"))

    assert found == {
        "fact": lived.mount, "at": lived.at["mounted"], "recorded_at": lived.at["mounted"],
        "by": "B2", "note": "n-mounted", "reversed": False, "assembly": lived.code,
        "station": "M1/T01", "preset_id": lived.preset, "part_count": 17,
        # datum 10 mm + WF 16.0103 mm on diameter; datum 25 mm - LF 80.021 mm
        "offset_x_mm": "52.0210", "offset_y_mm": None, "offset_z_mm": "-55.0210",
        "removal_id": lived.removal, "removed_at": lived.at["removed"], "reason": "size",
    }  # fmt: skip
    assert out == {
        "fact": lived.removal, "at": lived.at["removed"], "recorded_at": lived.at["removed"],
        "by": "B2", "note": "n-removed", "reversed": False, "assembly": lived.code,
        "station": "M1/T01", "mount_id": lived.mount, "reason": "size", "part_count": 19,
        "flank_wear_mm": "0.1200",
    }  # fmt: skip
    assert step == {
        "fact": lived.step["fact"], "at": lived.at["stepped"],
        "recorded_at": lived.at["stepped"], "by": "B3", "note": "n-stepped",
        "reversed": False, "assembly": lived.code, "station": "M1/T01",
        "mount_id": lived.mount, "axis": "Z", "change_mm": "-0.0130", "kind": "size",
    }  # fmt: skip


def test_what_happens_on_the_bench_is_listed_as_it_was_told(
    client, lived, bench, clock
) -> None:
    bench.post("/v1/stock-moves", lot="LOT-D1", move="receipt", quantity=5, by="B1", note="n-5")
    stop_at = clock.go_on(minutes=1)
    ends = (stop_at + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%SZ")
    bench.post("/v1/stops", machine="M2", reason="chip jam", ends_at=ends, by="B2", note="n-s")

    racked, move, stop, check = (
        _row(client, name) for name in ("rack-places", "stock-moves", "stops", "gauge-checks")
    )

    assert (racked["assembly"], racked["machine"], racked["place"], racked["note"]) == (
        lived.code, "M2", "A 3", "n-racked",
    )  # fmt: skip
    named = ("lot", "cutting_item", "move", "change", "on_hand", "reverses_id", "by", "note")
    assert [move[name] for name in named] == [
        "LOT-D1", "DRILL-3", "receipt", 5, 8, None, "B1", "n-5",
    ]  # fmt: skip
    assert (stop["machine"], stop["reason"], stop["ends_at"], stop["by"], stop["note"]) == (
        "M2", "chip jam", ends, "B2", "n-s",
    )  # fmt: skip
    assert (check["gauge"], check["valid"]) == ("PG-1", True)
    assert check["result"]["lf"]["mean_tenths_um"] == 1_000_000


RECORDS = (
    "people", "calendars", "closures", "machines", "stations", "cutting-items", "holder-types",
    "holders", "lots", "tool-specs", "parts", "tool-life", "runs", "gauges",
)  # fmt: skip


@pytest.mark.parametrize("name", RECORDS)
def test_each_row_of_a_list_of_records_is_what_its_own_address_says(
    client: FlaskClient, shop: SimpleNamespace, name: str
) -> None:
    rows = client.get(f"/v1/{name}").get_json()["items"]

    assert rows
    for row in rows:
        key = row.get("code") or row.get(name.rstrip("s").replace("-", "_")) or row.get("id")
        alone = client.get(f"/v1/{name}/{key}")
        assert alone.status_code == 200, (name, key)
        assert alone.get_json() == row


def test_presets_in_inches_tell_their_spread_in_inches_too(client, lived) -> None:
    metric = client.get(f"/v1/presets/{lived.preset}").get_json()
    inches = client.get(f"/v1/presets/{lived.preset}?length_unit=in").get_json()

    assert not [name for name in inches if name.endswith("_mm")]
    for name in ("standard_deviation", "expanded_uncertainty"):
        told, meant = inches[f"{name}_in"], metric[f"{name}_mm"]
        assert told.keys() == meant.keys() == {"lf", "wf", "re"}
        for measure, value in meant.items():  # 25.4 mm, exactly: agreement of 1959
            assert told[measure] * 25.4 == pytest.approx(value, rel=1e-12), (name, measure)
    assert inches["lf_in"] == "3.15043"
    assert metric["expanded_uncertainty_mm"]["lf"] > 0.001
    listed = client.get("/v1/presets?length_unit=in").get_json()["items"][-1]
    assert listed == inches


def test_a_single_reading_has_no_spread_in_either_unit(client, bench) -> None:
    code = bench.build()["code"]
    readings = [{"lf_mm": "80.0210", "wf_mm": "16.0103"}]
    bench.check_gauge()
    told = bench.post(f"/v1/assemblies/{code}/presets", gauge="PG-1", readings=readings)

    found = client.get(f"/v1/presets/{told['fact']}?length_unit=in").get_json()

    assert found["standard_deviation_in"] == {"lf": None, "wf": None}
    assert "standard_deviation_mm" not in found
