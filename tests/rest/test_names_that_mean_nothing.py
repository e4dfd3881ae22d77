"""Who asks for a machine, a part, a kind that is not there is told so, not "nothing"."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from api.cli import main
from crib.errors import NotKnown
from crib.outlook.plan_cache import PlanCache
from crib.outlook.swap_list import make_swap_list
from crib.store.engine import Store
from tests.rest.conftest import SetClock

#: Members of a query that name another record, or one of a few words.
_NAMES = {
    "machine", "part", "calendar", "cutting_item", "holder_type", "station", "assembly",
    "holder", "lot", "gauge", "tool_spec", "by", "cutter_status", "run", "kind",
}  # fmt: skip
#: Free text, and the list of what the name is the key of: an empty list is the answer there.
_OWN = {
    "/v1/calendars", "/v1/cutting-items", "/v1/holder-types", "/v1/holders", "/v1/lots",
    "/v1/machines", "/v1/parts", "/v1/stations", "/v1/gauges", "/v1/tool-specs",
}  # fmt: skip


def test_a_query_that_names_nothing_is_refused(client: FlaskClient) -> None:
    paths = client.get("/v1/openapi.json").get_json()["paths"]
    asked = [
        (path, member["name"])
        for path, calls in paths.items()
        if "get" in calls and "{" not in path
        for member in calls["get"].get("parameters", ())
        if member.get("in") == "query" and member["name"] in _NAMES
    ]
    assert len(asked) > 50
    answers = {
        (path, name): client.get(path, query_string={name: "NOPE"}).status_code
        for path, name in asked
        if not (path in _OWN and path.endswith(name.replace("_", "-") + "s"))
    }
    silent = {one for one, status in answers.items() if status == 200}
    assert silent == {("/v1/holder-types", "kind")}  # the shop's own word


@pytest.mark.parametrize(
    "command",
    [("swap-list", "--machine", "NOPE"), ("feed", "--health", "--machine", "NOPE"),
     ("label", "TH-1", "--station", "M1/T99", "--out", "labels.pdf")],
    ids=lambda command: command[0],
)  # fmt: skip
def test_a_command_that_names_nothing_ends_with_1(
    store: Store, shop: SimpleNamespace, command: tuple[str, ...], tmp_path, monkeypatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(main, command, env={"CRIB_DATABASE_URL": store.url})
    assert done.exit_code == 1, done.output
    assert command[-1 if command[0] != "label" else 3] in done.stderr
    assert not list(tmp_path.glob("*.pdf"))


def test_a_machine_is_meant_in_any_case(
    store: Store, bench: SimpleNamespace, clock: SetClock
) -> None:
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    plan = PlanCache(store).plan(clock.at)
    rows = make_swap_list(plan, 720).rows
    assert rows
    assert make_swap_list(plan, 720, "m1").rows == rows
    with pytest.raises(NotKnown, match="no machine 'NOPE'"):
        make_swap_list(plan, 720, "NOPE")
