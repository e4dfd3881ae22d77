"""Parts to clock time over HTTP: published rows, closures, clock changes, and bad input."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

SHIFTS = [
    {"weekday": day, "start": start, "end": end, "attended": True}
    for day in ("mon", "tue", "wed", "thu", "fri")
    for start, end in (("06:00", "14:00"), ("14:00", "22:00"))
]
JOB: dict[str, Any] = {"parts": 500, "cycle_s": 45, "start_at": "2026-01-09T18:00:00Z"}


def work(client: FlaskClient, **body: Any) -> dict[str, Any]:
    answer = client.post("/v1/workings/clock-time", json=JOB | body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def test_a_job_over_the_weekend_ends_on_monday_morning(client: FlaskClient) -> None:
    """375 min from Friday 18:00; Friday has 240 min left (derived)."""
    found = work(client, windows=SHIFTS, parts_by="2026-01-11T12:00:00Z")

    assert found["finish_at"] == "2026-01-12T08:15:00Z"
    assert [row["open_min"] for row in found["stretches"]] == [240, 135]
    assert [row["parts"] for row in found["stretches"]] == [320, 180]
    assert found["attended_min"] == 375
    assert found["unattended_min"] == 0
    assert found["elapsed_min"] == 62.25 * 60
    assert found["parts_by"] == 320
    assert "375 min of cutting" in found["why"]


def test_one_hour_across_the_spring_change_is_one_hour(client: FlaskClient) -> None:
    """IANA rules: the clocks go forward at 01:00 UTC on the last Sunday of March (derived)."""
    found = work(
        client, parts=1, cycle_s=3_600, start_at="2026-03-29T01:30:00+01:00",
        time_zone="Europe/Paris",
    )  # fmt: skip

    assert found["finish_local"] == "2026-03-29T03:30:00+02:00"
    assert found["elapsed_min"] == 60


@pytest.mark.parametrize(("day", "minutes"), [("2026-03-28", 420), ("2026-10-24", 540)])
def test_a_night_of_a_clock_change_has_its_real_length(
    client: FlaskClient, day: str, minutes: int
) -> None:
    night = [{"weekday": "sat", "start": "22:00", "end": "06:00", "attended": False}]
    found = work(
        client, parts=minutes, cycle_s=60, start_at=f"{day}T12:00:00Z", windows=night,
        time_zone="Europe/Paris",
    )  # fmt: skip

    assert [row["open_min"] for row in found["stretches"]] == [minutes]
    assert found["unattended_min"] == minutes
    assert "T06:00:00" in found["finish_local"]


def test_closures_extra_shifts_and_shares_move_the_finish(client: FlaskClient) -> None:
    closed = {"start": "2026-01-12", "end": "2026-01-12", "reason": "stocktaking"}
    extra = {
        "start": "2026-01-10T06:00", "end": "2026-01-10T07:00", "kind": "open",
        "attended": False,
    }  # fmt: skip
    found = work(client, windows=SHIFTS, closures=[closed, extra], unattended_share=0.5)

    # Friday 240 min, half of the extra hour, then from Tuesday 06:00 the other 105
    assert found["finish_at"] == "2026-01-13T07:45:00Z"
    assert [row["cutting_min"] for row in found["stretches"]] == [240, 30, 105]
    assert [row["kind"] for row in found["exceptions"]] == ["open", "closed"]
    assert found["exceptions"][1]["reason"] == "stocktaking"


def test_a_job_that_never_ends_says_so(client: FlaskClient) -> None:
    never = work(client, windows=[])
    long = work(client, parts=1_000_000_000, cycle_s=1_000_000)

    assert never["finish_at"] is never["finish_local"] is never["elapsed_min"] is None
    assert never["stretches"] == []
    assert long["finish_at"] is None
    assert "there is time for" in long["why"]


@pytest.mark.parametrize(
    ("given", "field", "status"),
    [
        ({"time_zone": "Mars/Olympus"}, "time_zone", 409),
        (
            {"windows": [{"weekday": "mon", "start": "06:00", "end": "06:00"}]},
            "windows.0.end",
            409,
        ),
        (
            {"windows": [{"weekday": "mon", "start": "00:00", "end": "00:00"}]},
            "windows.0.end",
            409,
        ),
        (
            {"windows": [{"weekday": "mon", "start": "24:00", "end": "06:00"}]},
            "windows.0.start",
            409,
        ),
        (
            {"windows": [{"weekday": "mon", "start": "06:00", "end": "24:01"}]},
            "windows.0.end",
            409,
        ),
        (
            {"windows": [{"weekday": "m", "start": "06:00", "end": "7:00"}]},
            "windows.0.weekday",
            422,
        ),
        ({"closures": [{"start": "2026-01-12", "end": "2026-01-11"}]}, "closures.0.end", 409),
        ({"closures": [{"start": "yesterday", "end": "2026-01-11"}]}, "closures.0.start", 409),
        (
            {"closures": [{"start": "2026-01-12", "end": "2026-01-12", "kind": "open"}]},
            "closures.0.attended",
            409,
        ),
        ({"cycle_s": 0}, "cycle_s", 422),
        ({"parts": 0}, "parts", 422),
        ({"parts": 1.5}, "parts", 422),
        ({"start_at": "2026-01-09T18:00:00"}, "start_at", 422),
        ({"start_at": "9999-12-31T00:00:00Z"}, "start_at", 409),
        ({"parts_by": "9999-12-31T23:59:59-14:00"}, "parts_by", 422),
        ({"attended_share": -1}, "attended_share", 422),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    client: FlaskClient, given: dict[str, Any], field: str, status: int
) -> None:
    answer = client.post("/v1/workings/clock-time", json=JOB | given)

    assert answer.status_code == status
    assert [error["field"] for error in answer.get_json()["errors"]] == [field]


def test_a_machine_tells_its_hours_its_closures_and_its_job(
    client: FlaskClient, bench: Any, clock: Any
) -> None:
    closure = {
        "calendar": "weekdays", "start": "2026-01-05T14:00", "end": "2026-01-05T16:00",
        "kind": "closed", "reason": "fire drill",
    }  # fmt: skip
    bench.post("/v1/closures", **closure)
    now = clock.at
    readings = [
        {"at": (now - timedelta(minutes=90 - 10 * n)).isoformat(), "count": 13 * n}
        for n in range(10)
    ]
    bench.post("/v1/counts", 202, machine="M1", readings=readings)

    found = client.get("/v1/machines/m1/time-ahead?hours=24").get_json()

    # 08:00 UTC is 09:00 in Zurich: till 14:00, then 16:00 to 22:00, then the night
    assert [(row["open_min"], row["attended"]) for row in found["stretches"]] == [
        (300, True), (360, True), (480, False), (180, True),
    ]  # fmt: skip
    assert [row["reason"] for row in found["exceptions"]] == ["fire drill"]
    assert found["time_zone"] == "Europe/Zurich"
    assert found["running_share"]["seen_h"] == pytest.approx(1.5)
    assert 0.9 < found["running_share"]["all"] <= 1.0
    assert found["job"]["part"] == "PIN-8"
    assert found["job"]["made"] == 117
    cutting = sum(row["cutting_min"] for row in found["stretches"])
    made = sum(row["parts"] for row in found["stretches"])
    assert made == min(int(cutting * 60 / 45), found["job"]["left"])


def test_an_earlier_look_at_a_machine_sees_the_counts_until_then(
    client: FlaskClient, bench: Any, clock: Any
) -> None:
    readings = [{"at": clock.at.isoformat(), "count": 5}]
    bench.post("/v1/counts", 202, machine="M1", readings=readings)
    then = clock.at.isoformat().replace("+", "%2B")
    clock.go_on(minutes=30)
    later = [{"at": clock.at.isoformat(), "count": 25}]
    bench.post("/v1/counts", 202, machine="M1", readings=later)

    made = [
        client.get(f"/v1/machines/M1/time-ahead{query}").get_json()["job"]["made"]
        for query in ("", f"?as_of={then}")
    ]

    assert made == [20, 0]
    assert client.get("/v1/machines/M1").get_json()["machine"] == "M1"
    assert client.get("/v1/machines/M9/time-ahead").status_code == 404
    assert client.get("/v1/machines/M1/time-ahead?hours=0").status_code == 422
    assert client.get("/v1/machines/M1/time-ahead?hours=9000").status_code == 422
