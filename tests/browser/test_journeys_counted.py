"""How many taps the work takes: counted by the browser, not by whoever wrote the test."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.machine_floor import floor_of, scan
from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window

#: Counts what a finger or a mouse presses; a click that Enter makes has no detail.
_COUNT = """addEventListener('click', event => {
    if (event.isTrusted && event.detail) sessionStorage.taps = taps() + 1;
}, true);
const taps = () => Number(sessionStorage.taps ?? 0);"""


def taps(page: Page) -> int:
    found: int = page.evaluate("Number(sessionStorage.taps ?? 0)")
    return found


def test_a_mount_takes_two_scans_and_one_tap(own_shop: DemoShop, phone: Page) -> None:
    floor, scans = floor_of(own_shop), 0
    phone.set_viewport_size({"width": 360, "height": 640})
    phone.add_init_script(_COUNT)
    phone.goto(floor.address)
    for code in (floor.empty, floor.tool):
        scan(phone, code)
        phone.wait_for_url(f"**{code}*")  # as an operator waits for what the first scan says
        scans += 1
    expect(phone.locator(".verdict")).to_contain_text("YES")
    button = phone.get_by_role("button", name="Mounted")
    assert is_in_window(button)
    button.click()
    expect(phone.locator(".done")).to_contain_text("Mounted on")

    assert len(floor.mounts_of(floor.tool)) == 1
    assert (scans, taps(phone)) == (2, 1)


@pytest.mark.parametrize("locale", ["en-GB", "de-DE"])
@pytest.mark.parametrize(("width", "height"), [(360, 640), (820, 1180), (1440, 900)])
def test_tonight_s_answer_takes_no_tap(
    width: int, height: int, locale: str, demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    page = open_window("desk", locale=locale, viewport={"width": width, "height": height})
    page.add_init_script(_COUNT)
    for path in ("/shift", "/"):
        page.goto(demo_shop.address + path)
        for answer in page.locator("main .answers").first.locator("a").all()[:3]:
            assert is_in_window(answer)
            assert answer.inner_text().strip()
    assert taps(page) == 0


def test_a_search_on_a_phone_takes_one_tap_and_no_script(
    demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    page = open_window(
        "phone", viewport={"width": 360, "height": 640}, java_script_enabled=False
    )
    page.goto(demo_shop.address + "/machines")
    field = page.get_by_role("searchbox")
    expect(field).to_be_hidden()
    page.get_by_role("button", name="Search").click()
    field.fill("drill")
    field.press("Enter")

    expect(page.locator("h1")).to_have_text("Search for drill")
    assert page.locator(".found li").count() > 3
