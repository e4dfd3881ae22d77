"""What a test finds at the machines of the demonstration shop, and how a scanner types."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.shop import DemoShop


@dataclass(frozen=True, slots=True)
class Floor:
    """One machine with a tool that may go in at once, and one whose station is taken.

    Attributes:
        machine: Its name.
        empty: Code of a station that is empty.
        tool: Code of the tool that may go into it.
        taken: Code of a station that holds a tool.
        sister: Code of the tool that waits for that station.
        inside: Code of the tool in it.
        since: Number of the last fact when the test began.
    """

    shop: DemoShop
    machine: str
    empty: str
    tool: str
    taken: str
    sister: str
    inside: str
    since: int

    @property
    def address(self) -> str:
        return f"{self.shop.address}/machines/{self.machine}"

    def known(self) -> dict[str, Any]:
        found: dict[str, Any] = self.shop.get(f"/machines/{self.machine}/known.json")
        return found

    def mark(self, code: str) -> str:
        stations = self.known()["stations"]
        return next(str(one["mark"]) for one in stations if one["code"] == code)

    def rows(self, statement: str) -> list[Any]:
        """Rows of the shop's database."""
        path = self.shop.database_url.removeprefix("sqlite:///")
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as database:
            return database.execute(statement).fetchall()

    def mounts_of(self, code: str) -> list[tuple[int, int]]:
        """Standing stays of a tool since the test began: fact and instant [µs]."""
        return self.rows(
            "SELECT mounts.fact_id, facts.at FROM mounts"
            " JOIN facts ON facts.id = mounts.fact_id"
            " JOIN label_codes ON label_codes.assembly_id = mounts.assembly_id"
            f" WHERE label_codes.code = '{code}' AND mounts.fact_id > {self.since}"
            " ORDER BY mounts.fact_id"
        )


def floor_of(shop: DemoShop) -> Floor:
    """A machine that has both."""
    for one in shop.get("/v1/machines?limit=50")["items"]:
        known = shop.get(f"/machines/{one['machine']}/known.json")
        holds = {station["code"]: station["holds"] for station in known["stations"]}
        free, behind = [], []
        for tool in known["tools"]:
            for station, look in tool["looks"].items():
                slugs = [reason["slug"] for reason in look["against"]]
                if not slugs:
                    free.append((station, tool["code"]))
                if slugs == ["station-occupied"]:
                    behind.append((station, tool["code"]))
        if free and behind:
            taken, sister = behind[0]
            floor = Floor(shop, one["machine"], *free[0], taken, sister, holds[taken], 0)
            [(last,)] = floor.rows("SELECT max(id) FROM facts")
            return replace(floor, since=last)
    raise AssertionError("no machine has a free station and a sister in wait")


def ready(page: Page) -> Page:
    """The page, once its scripts are at work."""
    expect(page.locator("[data-strip]")).not_to_be_empty()
    return page


def type_like(page: Page, text: str, *, gap_ms: int, stalled_at: int | None = None) -> None:
    """Type at a pace that holds however busy the machine is: the page's time is played.

    Args:
        page: Takes the keys.
        text: What is typed; a line feed is Enter.
        gap_ms: Between two keys.
        stalled_at: Character that comes 75 ms later than it should.
    """
    at = page.evaluate("Date.now()") / 1000
    page.clock.install(time=at)
    page.clock.pause_at(at + 1)
    for number, character in enumerate(text):
        page.clock.run_for(gap_ms + 75 * (number == stalled_at))
        page.keyboard.press("Enter" if character == "\n" else character)
    page.clock.resume()


def scan(page: Page, text: str, *, enter: bool = True) -> None:
    """Type as a scanner on a cable does, wherever the focus is."""
    ready(page)
    type_like(page, f"{text}\n" if enter else text, gap_ms=5)
