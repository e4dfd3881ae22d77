"""A person says that the record of a life is right; the forecast then counts it in full."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from crib.store.checking import findings
from crib.store.engine import Store
from tests.rest.short_ways import SetClock

KEY = "/v1/life/CNMG-408~M~turn"
CONFIRMED = "/v1/life-confirmations"


@pytest.fixture
def removal(client: FlaskClient, bench: SimpleNamespace, clock: SetClock) -> int:
    """The removal of an edge called worn after 70 parts, where seven came out good before."""
    count = 0
    for reason in ("worn_as_planned",) * 7 + ("size",):
        mounted = {"station": "M1/T01", "assembly": bench.ready(), "part_count": count}
        bench.post("/v1/mounts", **mounted)
        clock.go_on(hours=1)
        count += 70
        out = bench.post("/v1/removals", station="M1/T01", reason=reason, part_count=count)
        clock.go_on(minutes=1)
    return int(out["fact"])


def life(client: FlaskClient, query: str = "") -> dict[str, Any]:
    return dict(client.get(KEY + query).get_json()["lives"][-1])


def test_a_life_is_shown_with_how_far_it_is_believed(client: FlaskClient, removal: int) -> None:
    shown = life(client)

    assert (shown["removal"], shown["parts"], shown["ended"]) == (removal, 70, "worn")
    assert shown["reason"] == "size"
    assert 0 < shown["believed"] < 0.75
    assert (shown["doubted"], shown["confirmed"]) == (True, False)
    assert shown["why"] == "perhaps it still cut well"


def test_a_confirmed_life_is_believed_in_full_until_that_is_taken_back(
    client: FlaskClient, bench: SimpleNamespace, clock: SetClock, store: Store, removal: int
) -> None:
    before, doubted = clock().isoformat().replace("+00:00", "Z"), life(client)
    early = client.get(KEY).get_json()["life_p10"]
    clock.go_on(minutes=1)

    done = bench.post(CONFIRMED, removal=removal, parts=70, by="B1")

    assert done["assembly"] == doubted["assembly"]
    assert "70 parts" in done["sentence"]
    shown = life(client)
    assert (shown["believed"], shown["doubted"], shown["why"]) == (1.0, False, "")
    assert shown["confirmed"] is True
    assert client.get(KEY).get_json()["life_p10"] < early
    assert life(client, f"?as_of={before}") == doubted
    (listed,) = client.get(f"{CONFIRMED}?machine=M1").get_json()["items"]
    assert (listed["removal_id"], listed["parts"], listed["by"]) == (removal, 70, "B1")
    assert client.get(f"{CONFIRMED}/{done['fact']}").status_code == 200
    assert "life_confirmation" in client.get("/v1/audit").get_data(as_text=True)

    clock.go_on(minutes=1)
    bench.post("/v1/reversals", fact=done["fact"])

    assert life(client) == doubted
    assert client.get(KEY).get_json()["life_p10"] == early
    assert client.get(CONFIRMED).get_json()["items"][0]["reversed"] is True
    with store.read() as tx:
        assert list(findings(tx)) == []


@pytest.mark.parametrize(
    ("changed", "status", "says"),
    [
        ({"by": None}, 409, "Say who confirms it"),
        ({"by": "B9"}, 404, "B9"),
        ({"parts": 71}, 409, "made 70 parts by the records, not 71"),
        ({"parts": -1}, 422, "parts"),
        ({"removal": 2**40}, 404, "ended no life that counts"),
        ({"removal": 1}, 404, "ended no life that counts"),
        ({"removal": None}, 422, "removal"),
    ],
)
def test_what_cannot_be_confirmed_is_refused(
    client: FlaskClient, removal: int, changed: dict[str, Any], status: int, says: str
) -> None:
    body = {"removal": removal, "parts": 70, "by": "B1", **changed}
    body = {name: value for name, value in body.items() if value is not None}

    sent = client.post(CONFIRMED, json=body)

    assert (sent.status_code, says in sent.get_data(as_text=True)) == (status, True)
    assert client.get(CONFIRMED).get_json()["items"] == []


def test_a_life_is_confirmed_once(
    client: FlaskClient, bench: SimpleNamespace, removal: int
) -> None:
    bench.post(CONFIRMED, removal=removal, parts=70, by="B1")

    again = client.post(CONFIRMED, json={"removal": removal, "parts": 70, "by": "B2"})

    assert again.status_code == 409
    assert "confirmed already, by Ida Quill" in again.get_data(as_text=True)


def test_an_edge_that_goes_on_has_no_life_to_confirm(
    client: FlaskClient, bench: SimpleNamespace, clock: SetClock
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready(), part_count=0)
    clock.go_on(hours=1)
    out = bench.post("/v1/removals", station="M1/T01", reason="job_change", part_count=70)

    body = {"removal": out["fact"], "parts": 70, "by": "B1"}

    assert client.post(CONFIRMED, json=body).status_code == 404


def test_a_confirmation_lapses_when_the_removal_is_taken_back(
    client: FlaskClient, bench: SimpleNamespace, clock: SetClock, removal: int
) -> None:
    bench.post(CONFIRMED, removal=removal, parts=70, by="B1")
    clock.go_on(minutes=1)
    bench.post("/v1/reversals", fact=removal)
    clock.go_on(minutes=1)
    bench.post("/v1/removals", station="M1/T01", reason="size", part_count=70)

    assert life(client)["confirmed"] is False
