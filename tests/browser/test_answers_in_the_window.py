"""What answers a scan at a machine, and what is done next, stand in the window at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.machine_floor import Floor, floor_of, ready, scan
from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window

#: Small and usual phones, a tablet, a desk [CSS px].
WINDOWS = ((360, 640), (360, 800), (820, 1180), (1440, 900))


@pytest.fixture(scope="module")
def floor(demo_shop: DemoShop) -> Floor:
    return floor_of(demo_shop)


def kinds_of_no(floor: Floor) -> dict[tuple[str, ...], tuple[str, str]]:
    """A station and a tool for each set of reasons that the machine has."""
    known = floor.known()
    found: dict[tuple[str, ...], tuple[str, str]] = {}
    for tool in known["tools"]:
        for station in known["stations"]:
            look = tool["looks"].get(station["code"])
            slugs = ["other-spec", "occupied" if station["holds"] else "empty"]
            if look is not None:
                slugs = [one["slug"] for one in look["against"]]
            if slugs:
                found.setdefault(tuple(slugs), (station["code"], tool["code"]))
    return found


def answers(page: Page, part: Locator, word: str, asked: str) -> None:
    """The verdict says the word, in the window, announced, with nothing scrolled away."""
    verdict = part.locator(".verdict")
    expect(part.locator(".asked")).to_contain_text(asked)  # and no answer to another scan
    expect(verdict).to_contain_text(word)
    assert is_in_window(verdict)
    assert verdict.evaluate("one => one.closest('[role=alert]') !== null")
    assert page.evaluate("scrollY") == 0
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def next_scan(page: Page) -> Locator:
    return page.locator("form[data-scan-on] input[name=code]")


def sized(page: Page) -> Any:
    """The window at each size in turn."""
    for width, height in WINDOWS:
        page.set_viewport_size({"width": width, "height": height})
        yield f"{width} x {height}"


def test_yes_and_each_kind_of_no_stand_in_the_window(floor: Floor, phone: Page) -> None:
    refused = kinds_of_no(floor)
    assert len(refused) >= 3
    everything = list(refused.values())
    for _ in sized(phone):
        phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
        answers(ready(phone), phone.locator("main"), "YES", floor.tool)
        assert is_in_window(phone.get_by_role("button", name="Mounted"))
        while everything:  # the smallest window shows them all, others one more
            station, tool = everything.pop()
            phone.goto(f"{floor.address}/mount?station={station}&tool={tool}")
            answers(ready(phone), phone.locator("main"), "NO", tool)
            field = next_scan(phone)
            expect(field).to_be_focused()
            assert is_in_window(field)
            told_by = (field.get_attribute("aria-describedby") or "").split()
            told = " ".join(phone.locator(f"#{one}").inner_text() for one in told_by)
            assert "NO" in told
            assert phone.locator(".mismatches").inner_text() in told
        phone.goto(f"{floor.address}/mount?station={floor.taken}&tool={floor.sister}")
        answers(ready(phone), phone.locator("main"), "NO", floor.sister)
        assert is_in_window(phone.get_by_role("button", name="Worn as planned"))
        assert is_in_window(next_scan(phone))
        phone.goto(f"{floor.address}/scan?station={floor.empty}&code=A00000B")
        expect(next_scan(ready(phone))).to_be_focused()
        assert is_in_window(phone.get_by_role("alert"))
        assert is_in_window(next_scan(phone))
    scan(phone, floor.tool)
    answers(phone, phone.locator("main"), "YES", floor.tool)


def test_longer_words_leave_the_answer_and_its_button_in_the_window(
    floor: Floor, open_window: Callable[..., Page]
) -> None:
    page = open_window(
        "phone",
        locale="de-DE",
        viewport={"width": 360, "height": 640},
        java_script_enabled=False,
    )
    page.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    button = page.get_by_role("button", name="Eingebaut")
    answers(page, page.locator("main"), "JA", floor.tool)
    assert is_in_window(button)
    assert button.evaluate("one => one.scrollWidth <= one.clientWidth")
    page.goto(f"{floor.address}/mount?station={floor.taken}&tool={floor.sister}")
    answers(page, page.locator("main"), "NEIN", floor.sister)
    assert is_in_window(next_scan(page))
    assert is_in_window(page.get_by_role("button", name="Planmäßig verschlissen"))


def test_answers_without_the_service_stand_in_the_window(floor: Floor, phone: Page) -> None:
    with phone.expect_response("**/known.json"):
        phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone).context.set_offline(True)
    check = phone.locator("#check")
    for _ in sized(phone):
        scan(phone, floor.taken)
        expect(check).to_contain_text(f"holds {floor.inside}")
        scan(phone, floor.sister)
        answers(phone, check, "NO", floor.mark(floor.taken))
        assert is_in_window(check.get_by_role("button", name="Worn as planned"))
        assert is_in_window(next_scan(phone))
        scan(phone, floor.empty)
        answers(phone, check, "NO", floor.mark(floor.empty))
        scan(phone, floor.tool)
        answers(phone, check, "YES", floor.tool)
        button = phone.get_by_role("button", name="Mounted")
        expect(button).to_have_count(1)  # and none for what was asked before
        assert is_in_window(button)
        scan(phone, "A00000B")
        told = check.get_by_role("alert")
        expect(told).to_contain_text("not known here")
        assert is_in_window(told)
        expect(check.locator(".verdict")).to_have_count(0)  # no yes beside a scan that failed
        expect(check).to_contain_text(f"{floor.mark(floor.empty)} is empty")
        assert is_in_window(next_scan(phone))
