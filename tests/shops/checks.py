"""What must be so on all lists of a shop at any time, from what the service itself says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pypdfium2

from tests.pages.reading import parsed, words
from tests.shops.agree import what_disagrees
from tests.shops.files import PARTS
from tests.shops.oracle import what_is_untrue

when = datetime.fromisoformat


def place_of(row: dict[str, Any]) -> str:
    """MACHINE/STATION of a row."""
    return f"{row['machine']}/{row['station']}"


def what_is_wrong(shop: Any) -> Iterator[str]:
    """Everything that the lists leave out, or say in two ways."""
    swaps = shop.all("/v1/swap-list?hours=24")
    first = {place_of(one): one for one in swaps if one["ordinal"] == 0}
    yield from _empty_without_a_row(shop, first)
    yield from _may_fail_without_a_row(shop, first)
    yield from _sisters(shop, swaps)
    yield from _other_lists(shop, swaps)
    yield from _on_pages(shop, swaps)
    yield from what_disagrees(shop, swaps)
    yield from what_is_untrue(shop, swaps)


def _empty_without_a_row(shop: Any, first: dict[str, Any]) -> Iterator[str]:
    mounted = {one["station"] for one in shop.all("/v1/mounts?open=true")}
    there = {(s["machine"], s["path"], s["tool_number"]): s for s in shop.all("/v1/stations")}
    told = " ".join(shop.get("/v1/swap-list?limit=1")["problems"])
    for run in shop.all("/v1/runs"):
        if run["state"] != "running" or run["part"] != shop.lathes[run["machine"]].part:
            continue
        for path, number, _ in PARTS[run["part"]]["ops"]:
            station = there.get((run["machine"], path, number))
            if station is None and f"tool number {number} on path {path}" not in told:
                yield f"{run['machine']} has no tool number {number}, and nothing says so"
            elif station and place_of(station) not in mounted | first.keys():
                yield f"{place_of(station)} is empty under {run['part']} and on no list"


def _may_fail_without_a_row(shop: Any, first: dict[str, Any]) -> Iterator[str]:
    until = when(shop.get("/v1/swap-list?hours=24&limit=1")["until"])
    for one in shop.all("/v1/forecasts"):
        early, row = (one["run_out_at"] or {}).get("p10"), first.get(place_of(one))
        if not early or when(early) > until:
            continue
        if row is None:
            yield f"{place_of(one)} may fail by {early} and is on no list"
        elif when(row["needed_by"]) > max(when(early), shop.clock()):
            yield f"{place_of(one)}: sister by {row['needed_by']}, one in ten fails by {early}"


def _sisters(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    waiting = {one["code"] for one in shop.all("/v1/assemblies?open=true")}
    waiting -= {one["assembly"] for one in shop.all("/v1/mounts?open=true")}
    given = Counter(one["sister"]["assembly"] for one in swaps if one["sister"]["assembly"])
    yield from (f"{code} is given {many} times" for code, many in given.items() if many > 1)
    yield from (f"{code} does not wait" for code in given.keys() - waiting)
    for one in swaps:
        sister = one["sister"]
        named = sister["assembly"] or (sister["holder"] and sister["lot"]) or sister["missing"]
        needs_none = sister["state"] == "not_needed" and "mount none" in one["why_sentence"]
        if not named and not needs_none:
            yield f"{place_of(one)} names no sister and not why: {sister}"


def _other_lists(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    wanted = Counter(
        (place_of(one), one["ordinal"], one["needed_by"], one["late"])
        for one in swaps
        if one["sister"]["state"] in ("build", "measure")
    )
    queue = Counter(
        (place_of(one), one["ordinal"], one["needed_by"], one["late"])
        for one in shop.all("/v1/bench-queue?hours=24")
    )
    if wanted != queue:
        yield f"list less queue {wanted - queue}, queue less list {queue - wanted}"
    until = shop.clock() + timedelta(hours=24)
    stops = Counter(
        (f"{one['machine']}/{station}", one["at"][:19])
        for one in shop.all("/v1/planned-stops?hours=24")
        for station in one["swaps"]
    )
    listed = Counter(
        (place_of(one), one["swap_by"][:19])
        for one in swaps
        if not one["standby"] and when(one["swap_by"]) <= until
    )
    if stops != listed:
        yield f"list less stops {listed - stops}, stops less list {stops - listed}"


def _on_pages(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    page = parsed(shop.client.get("/shift?hours=24").get_data())
    rows = [words(row.select_one("th")).split()[0] for row in page.select("#due tbody tr")]
    if rows != [one["station"] for one in swaps]:
        yield "the shift page has other rows"
    missing = [one for one in swaps if one["late"] or one["sister"]["state"] == "blocked"]
    if len(page.select("#blocks ul.blocks > li")) != len(missing):
        yield "the shift page has other blocks"
    sheet = shop.client.get("/v1/shift-sheet.pdf?hours=24").get_data()
    document = pypdfium2.PdfDocument(sheet)
    paper = " ".join(
        " ".join(page.get_textpage().get_text_range().split()) for page in document
    )
    document.close()
    for one in swaps:
        if f"{one['machine']} {one['station']}" not in paper.replace("- ", "-"):
            yield f"{place_of(one)} is not on the sheet"
