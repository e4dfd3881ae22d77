"""The service under a name of the shop's network, on plain http, as most phones open it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Playwright

from tests.browser import windows
from tests.browser.shop import DemoShop


@pytest.fixture
def elsewhere(steering: Playwright) -> Iterator[Browser]:
    """A browser for which every name under .example leads to this machine."""
    browser = windows.launch(steering, "--host-resolver-rules=MAP *.example 127.0.0.1")
    yield browser
    browser.close()


def test_forms_work_under_the_shop_s_name_and_not_under_a_stranger_s(
    demo_shop: DemoShop, elsewhere: Browser
) -> None:
    port = demo_shop.address.rpartition(":")[2]
    page = elsewhere.new_page()
    page.goto(f"http://toolroom.example:{port}/shown")
    with page.expect_navigation():
        page.locator("main form button").last.click()

    assert page.url == f"http://toolroom.example:{port}/"
    assert any(cookie["name"] == "crib_shown" for cookie in page.context.cookies())

    answer = page.goto(f"http://rebound.example:{port}/shown")

    assert answer is not None
    assert answer.status == 421
