"""Lives of edges and forecasts judged, for everybody: on a phone, at a desk, by keyboard."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window, thin

SHOWN = ("/lives", "/were-we-right", "a key")


@pytest.fixture(scope="module")
def key_page(demo_shop: DemoShop) -> str:
    """The page of the key that has most lives behind it."""
    names = demo_shop.get("/v1/life")["items"]
    lives = {name: sum(demo_shop.get(f"/v1/life/{name}")["counts"].values()) for name in names}
    most = max(lives, key=lambda name: lives[name])
    assert lives[most] > 1
    return f"/lives/{most}"


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("shown", SHOWN)
def test_pages_of_lives_serve_everybody_also_with_their_tables_open(
    shown: str,
    size: str,
    demo_shop: DemoShop,
    key_page: str,
    open_window: Callable[..., Page],
    no_violations: Callable[[Page], None],
) -> None:
    window = open_window(size)
    window.goto(demo_shop.address + (key_page if shown == "a key" else shown))
    for part in window.locator("details").all():
        part.evaluate("one => { one.open = true; }")

    width = window.viewport_size["width"] if window.viewport_size else 0
    assert window.evaluate("document.documentElement.scrollWidth") <= width
    thin(window)
    no_violations(window)


def test_the_tables_behind_a_curve_are_reached_by_keyboard(
    demo_shop: DemoShop, key_page: str, desk: Page
) -> None:
    desk.goto(demo_shop.address + key_page)
    closed = desk.locator("details:has(#curve-table)")
    assert not desk.locator("#curve-table").is_visible()

    assert _tab_to(desk, "details:has(#curve-table) > summary")
    desk.keyboard.press("Enter")

    assert closed.get_attribute("open") is not None
    assert desk.locator("#curve-table").is_visible()
    assert _tab_to(desk, '[role="group"]:has(#curve-table)')


def test_from_the_list_a_key_is_reached_by_keyboard(demo_shop: DemoShop, desk: Page) -> None:
    desk.goto(demo_shop.address + "/lives")
    assert not desk.locator("#lives").is_visible()

    assert _tab_to(desk, "#all > summary")
    desk.keyboard.press("Enter")
    assert _tab_to(desk, "#lives tbody a")
    desk.keyboard.press("Enter")

    desk.wait_for_url("**/lives/*~*")
    assert desk.locator("svg.plot").count() > 0


def test_the_list_begins_with_its_verdict_and_is_short_on_a_phone(
    demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    phone = open_window("phone", viewport={"width": 360, "height": 640})
    phone.goto(demo_shop.address + "/lives")

    assert is_in_window(phone.locator(".overall"))
    assert all(is_in_window(one) for one in phone.locator(".looks li").all()[:1])
    assert phone.evaluate("document.documentElement.scrollHeight") <= 3 * 640


def _tab_to(window: Page, wanted: str, most: int = 60) -> bool:
    """Press the tab key until something wanted has the focus."""
    for _ in range(most):
        window.keyboard.press("Tab")
        if window.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return True
    return False
