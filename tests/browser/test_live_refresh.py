"""A page that refreshes itself never moves, or leads elsewhere, what one is about to press."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.shop import DemoShop

#: The first machine of the shift, and what a new first row looks like.
FIRST = ".floor tbody th a"
NEW_ROW = (
    '<tr class="needs-now"><th scope="row"><a href="/shift/machines/NEW">NEW</a></th></tr>'
)


class Refreshed:
    """A page whose next readings a test writes."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.revision = page, 1
        self.change: Callable[[str], str] = lambda text: text
        page.clock.install()
        page.route("**/live", self._live)
        page.route(address, self._read)
        page.goto(address)
        page.wait_for_load_state()
        page.clock.run_for(4_000)  # it knows the revision now

    def _live(self, route: Route) -> None:
        route.fulfill(
            body=json.dumps({"revision": self.revision}), content_type="application/json"
        )

    def _read(self, route: Route) -> None:
        if route.request.resource_type != "fetch":
            return route.continue_()
        answer = route.fetch()
        return route.fulfill(response=answer, body=self.change(answer.text()))

    def again(self, change: Callable[[str], str]) -> None:
        """Something was recorded; the page is read again."""
        self.revision += 1
        self.change = change
        with self.page.expect_response(self.page.url) as read:
            for _ in range(8):
                self.page.clock.run_for(3_000)
        read.value.finished()
        self.page.clock.run_for(100)


@pytest.fixture
def shift(demo_shop: DemoShop, desk: Page) -> Iterator[Refreshed]:
    yield Refreshed(desk, demo_shop.address + "/shift")
    desk.unroute_all(behavior="ignoreErrors")  # one may be on its way still


def place(page: Page) -> dict[str, Any]:
    found: dict[str, Any] = page.locator(FIRST).first.bounding_box() or {}
    return found


def with_a_row(text: str) -> str:
    head, rows = text.split("<tbody>", 1)
    return f"{head}<tbody>{NEW_ROW}{rows}"


def test_a_row_in_front_waits_while_one_points_at_a_link(shift: Refreshed) -> None:
    page = shift.page
    link = page.locator(FIRST).first
    name, before = link.inner_text(), place(page)
    link.hover()

    shift.again(with_a_row)
    assert page.locator(FIRST).first.inner_text() == name
    assert place(page) == before

    page.mouse.move(1, 450)  # off all links
    shift.again(with_a_row)
    expect(page.locator(FIRST).first).to_have_text("NEW")


def test_a_row_in_front_waits_while_a_link_has_the_focus_and_keeps_it(shift: Refreshed) -> None:
    page = shift.page
    link = page.locator(FIRST).first
    name, before = link.inner_text(), place(page)
    link.focus()
    page.keyboard.press("Shift")

    shift.again(with_a_row)
    assert place(page) == before

    page.clock.run_for(61_000)  # nobody moves: it is no hand on its way any more
    shift.again(with_a_row)
    expect(page.locator(FIRST).first).to_have_text("NEW")
    expect(page.locator(":focus")).to_have_text(name)


def test_a_link_never_leads_elsewhere_under_the_pointer(shift: Refreshed) -> None:
    page = shift.page
    link = page.locator(FIRST).first
    address = str(link.get_attribute("href"))
    link.hover()

    shift.again(lambda text: text.replace(f'href="{address}"', 'href="/shift/machines/NEW"'))
    assert link.get_attribute("href") == address

    page.mouse.move(1, 450)
    shift.again(shift.change)
    expect(page.locator(FIRST).first).to_have_attribute("href", "/shift/machines/NEW")


def test_words_change_in_place_also_under_the_pointer(shift: Refreshed) -> None:
    page = shift.page
    link = page.locator(".answers a").first
    link.hover()
    link.evaluate("one => { one.isTheSame = true }")
    page.locator("#nights summary").first.click()
    link.hover()

    shift.again(lambda text: text.replace(">Tonight<", ">This night<"))

    expect(link).to_contain_text("This night")
    assert link.evaluate("one => one.isTheSame")
    assert page.locator("#nights details[open]").count() == 1


def test_what_is_in_the_window_stays_there_when_parts_above_grow(shift: Refreshed) -> None:
    page = shift.page
    page.evaluate("scrollTo(0, document.querySelector('#blocks').offsetTop)")
    before = page.locator("#blocks").bounding_box()
    assert before is not None
    page.mouse.move(1, 450)

    shift.again(with_a_row)
    expect(page.locator(FIRST).first).to_have_text("NEW")
    after = page.locator("#blocks").bounding_box()
    assert after is not None
    assert after["y"] == pytest.approx(before["y"], abs=1)
