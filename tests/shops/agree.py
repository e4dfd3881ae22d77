"""What else names swaps: kits, nights, machine pages and the command line, against the list."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from api.text_lists import swap_lines
from crib.outlook.plan_cache import PlanCache
from crib.outlook.swap_list import make_swap_list
from tests.pages.reading import parsed, words

when = datetime.fromisoformat


def what_disagrees(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    """Everything that another list, page or command says otherwise than the swap list."""
    yield from _kits(shop, swaps)
    for hours in (72, 168):
        far = shop.all(f"/v1/swap-list?hours={hours}")
        yield from (f"within {hours} h: {one}" for one in _kits(shop, far, "running"))
    yield from _nights(shop)
    yield from _machines(shop, swaps)
    yield from _command(shop, swaps)


def _kits(shop: Any, swaps: list[dict[str, Any]], *done: str) -> Iterator[str]:
    """No kit names a tool, or builds on a holder, that the list or another kit has given.

    A holder goes round: the list may give it again once it has come out.
    """
    given: dict[str, set[str]] = defaultdict(set)
    for row in swaps:
        sister = row["sister"]
        if sister["state"] in ("ready", "measure", "build"):
            given[sister["assembly"] or sister["holder"]].add(
                f"{row['machine']}/{row['station']}"
            )
    kits: dict[str, set[str]] = defaultdict(set)
    for run in shop.all("/v1/runs"):
        if run["state"] in ("done", *done):
            continue
        kit = shop.get(f"/v1/kits/{run['id']}")
        for line in (*kit["pull"], *kit["build"]):
            what, place = (
                line["assembly"] or line["holder"],
                f"{run['machine']}/{line['station']}",
            )
            if given[what] and place not in given[what]:
                yield f"the kit of run {run['id']} names {what}, given to {given[what]}"
            kits[what].add(place)
    yield from (f"{what} is in the kits of {at}" for what, at in kits.items() if len(at) > 1)


def _nights(shop: Any) -> Iterator[str]:
    """Each card names the swaps of the list that are due before its night."""
    now = shop.clock()
    cards = {
        words(card.select_one("h3")).split()[0]: card
        for card in parsed(shop.client.get("/shift").get_data()).select("#nights section")
    }
    for night in shop.get("/v1/forecasts?limit=1")["nights"]:
        begins = when(night["begins_at"])
        ahead = (begins - now) / timedelta(hours=1)
        due = [
            one["station"]
            for one in shop.all(f"/v1/swap-list?hours={168 if ahead > 24 else 24}")
            if one["machine"] == night["machine"]
            and not one["standby"]
            and when(one["swap_by"]) <= begins
            and begins > now
        ]
        card = cards.get(night["machine"])
        if card is None:
            yield f"no card of {night['machine']}'s night"
            continue
        told = [words(one) for one in card.select(".worklist li a[href*='/stations/']")]
        if sorted(told) != sorted(due):
            yield f"{night['machine']}: the card says {told}, the list {due}"


def _place(station: str, number: int) -> str:
    """A station as a machine's page has it: and its tool number where the name says another."""
    digits = station[len(station.rstrip("0123456789")) :]
    return station if digits and int(digits) == number else f"{station}, tool {number}"


def _machines(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    """Each machine's page names what is due there, the most urgent first."""
    for machine in shop.lathes:
        due = [
            f"{_place(one['station'], one['tool_number'])} {one['tool_spec']}"
            for one in swaps
            if one["machine"] == machine and one["ordinal"] == 0
        ]
        page = parsed(shop.client.get(f"/machines/{machine}").get_data())
        told = [words(one) for one in page.select("#due ul.due > li > a")]
        if told != due[:6]:
            yield f"the page of {machine} says {told}, the list {due}"


def _command(shop: Any, swaps: list[dict[str, Any]]) -> Iterator[str]:
    """The lines of the command, made of a plan of its own."""
    found = make_swap_list(PlanCache(shop.store).plan(shop.clock()))
    lines = list(swap_lines(found, shop.clock().tzinfo))
    if len(lines) != len(swaps):
        yield f"the command has {len(lines)} lines, the list {len(swaps)} rows"
    for line, one in zip(lines, swaps, strict=False):
        if f"{one['machine']}/{one['station']}  " not in line or one["tool_spec"] not in line:
            yield f"the command says {line}, the list {one['machine']}/{one['station']}"
        if (one["sister"]["assembly"] or "") not in line:
            yield f"the command says {line}, the list {one['sister']['assembly']}"
