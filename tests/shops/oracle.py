"""Whether what a row says of its sister, and of why there is none, is what the records say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from tests.shops.files import PARTS, SPECS

when = datetime.fromisoformat


def what_is_untrue(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    """Every reason on a list that the records do not bear out."""
    mounted = {one["station"]: one["assembly"] for one in shop.all("/v1/mounts?open=true")}
    built = {one["code"]: one for one in shop.all("/v1/assemblies?open=true")}
    jobs = _jobs(shop)
    for row in swaps:
        place = f"{row['machine']}/{row['station']}"
        of_machine, made = jobs[row["machine"]], shop.lathes[row["machine"]].made_last
        makes_parts = made is not None and made > shop.clock() - timedelta(hours=24)
        for why in (
            *_of_station(row, mounted.get(place), built, of_machine, makes_parts),
            *_in_time(row),
        ):
            yield f"{place}#{row['ordinal']}: {why}"
    yield from _missing(shop, swaps, built, mounted)


def _jobs(shop: Any) -> dict[str, list[dict[str, Any]]]:
    jobs: dict[str, list[dict[str, Any]]] = {one: [] for one in shop.lathes}
    for run in shop.all("/v1/runs"):
        if run["state"] != "done":
            jobs[run["machine"]].append(run)
    return jobs


def _wanted(part: str, row: dict[str, Any]) -> set[str]:
    place = (row["path"], row["tool_number"])
    return {spec for path, number, spec in PARTS[part]["ops"] if (path, number) == place}


def _of_station(
    row: dict[str, Any],
    holds: str | None,
    built: dict[str, Any],
    jobs: list[dict[str, Any]],
    makes_parts: bool,
) -> Iterator[str]:
    """The reason against what sits in the station and what its machine's jobs need there."""
    if row["ordinal"]:
        return
    wanted = [(run, _wanted(run["part"], row)) for run in jobs]
    needed = {spec for _, specs in wanted for spec in specs}
    if row["why"] == "station_empty":
        if holds is not None:
            yield f"said to be empty, and {holds} is in it"
        if row["tool_spec"] not in needed:
            yield f"no job needs {row['tool_spec']} there"
        return
    if row["assembly"] != holds:
        yield f"{row['assembly']} is said to come out, and {holds} is in it"
    spec = built[holds]["tool_spec"] if holds in built else None
    if row["why"] == "wrong_tool":
        on = [specs for run, specs in wanted if run["state"] == "running" and specs]
        ahead = [specs for run, specs in wanted if run["state"] == "planned" and specs]
        first = (on or ahead or [set()])[0]
        if spec in first or row["tool_spec"] not in first:
            yield f"holds {spec}, said to be wrong there; the job there needs {first}"
    if row["why"] == "broken" and makes_parts and not jobs:
        needed = {spec}  # what is cut for no job on record wears edges too
    yield from _sister_wanted(row, needed)


def _sister_wanted(row: dict[str, Any], needed: set[str | None]) -> Iterator[str]:
    none = row["sister"]["state"] == "not_needed"
    if none and needed:
        yield f"said to need no tool, and the jobs need {needed}"
    if not none and row["tool_spec"] not in needed:
        yield f"a sister {row['tool_spec']} is named, and the jobs need {needed or 'none'}"


def _in_time(row: dict[str, Any]) -> Iterator[str]:
    kinds = {one["what"] for one in row["sister"]["missing"]}
    ready_by = row["ready_by"] and when(row["ready_by"])
    too_late = ready_by is not None and ready_by > when(row["needed_by"])
    state = row["sister"]["state"]
    if "bench_time" in kinds and ready_by is not None and not too_late:
        yield f"bench time is said to lack, and it is ready at {ready_by}"
    if row["late"] != (state != "blocked" and (too_late or "bench_time" in kinds)):
        yield f"late is {row['late']}: {state}, ready at {ready_by}, by {row['needed_by']}"
    if state == "ready" and kinds:
        yield f"ready, and {kinds} are said to lack"


def _missing(
    shop: Any, swaps: list[dict[str, Any]], built: dict[str, Any], mounted: dict[str, str]
) -> Iterator[str]:
    """What is said to lack against holders and edges that no row is given."""
    busy = {one["holder"] for one in built.values()}
    given = {row["sister"]["holder"] for row in swaps if row["sister"]["holder"]}
    free: Counter[str] = Counter(
        one["holder_type"]
        for one in shop.all("/v1/holders")
        if not one["condition"] and one["holder"] not in busy | given
    )
    left: dict[str, list[int]] = {}
    spent: Counter[str] = Counter(row["sister"]["lot"] for row in swaps if row["sister"]["lot"])
    edges = {one["cutting_item"]: one["edges"] for one in shop.all("/v1/cutting-items")}
    for lot in shop.all("/v1/lots"):
        whole = lot["on_hand"] * (edges[lot["cutting_item"]] or 1)
        left.setdefault(lot["cutting_item"], []).append(whole - spent[lot["lot"]])
    in_machines = {built[code]["holder"] for code in mounted.values() if code in built}
    waiting = Counter(
        one["tool_spec"]
        for code, one in built.items()
        if code not in mounted.values() and one["cutter_status"] == "MEASURED"
    )
    named = Counter(
        built[row["sister"]["assembly"]]["tool_spec"]
        for row in swaps
        if row["sister"]["assembly"] in built
    )
    for row in swaps:
        spec = SPECS[row["tool_spec"]]
        place = f"{row['machine']}/{row['station']}#{row['ordinal']}"
        for one in row["sister"]["missing"]:
            if one["what"] == "holder" and free[spec["holder_type"]]:
                yield f"{place}: no free {spec['holder_type']}, and {free} are free"
            if "comes out" in one["sentence"] and not in_machines:
                yield f"{place}: a holder is said to come out of a machine, and none is in one"
            items = spec["cutting_items"].split("|")
            if one["what"] == "edge" and any(n > 0 for item in items for n in left[item]):
                yield f"{place}: no edge of {items}, and {left} are left"
        unmade = row["sister"]["state"] in ("build", "blocked")
        if unmade and waiting[row["tool_spec"]] > named[row["tool_spec"]]:
            shop.told["not ready beside one that waits"] += 1
