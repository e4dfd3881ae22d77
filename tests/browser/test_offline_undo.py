"""A touch that still waits in the browser is undone by one more, recorded meanwhile or not."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Locator, Page, Request, Route, expect

from tests.browser.machine_floor import Floor, floor_of, ready, scan
from tests.browser.shop import DemoShop
from tests.browser.test_answers_in_the_window import sized
from tests.browser.test_offline_machine import SOON, cut, sent
from tests.browser.windows import is_in_window


def line(page: Page, told: str) -> Locator:
    """What the top of the page says of one fact that waits."""
    return page.locator("[data-facts] > li").filter(has_text=told)


def undo(page: Page, told: str) -> None:
    line(page, told).get_by_role("button", name="Undo").click()


def test_what_was_never_tried_leaves_the_queue_and_is_never_sent(
    demo_shop: DemoShop, phone: Page, no_violations: Callable[..., None]
) -> None:
    floor = floor_of(demo_shop)
    posts: list[Request] = []
    phone.on("request", lambda one: posts.append(one) if one.method == "POST" else None)
    with phone.expect_response("**/known.json"):
        phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone)
    held: list[Route] = []
    phone.route("**/machines/clock.json", lambda route: held.append(route))
    with phone.expect_request("**/machines/clock.json"):  # whether it can go is being asked
        phone.get_by_role("button", name="Mounted").click()
    undo(phone, f"{floor.tool} mounted in")
    told = phone.locator("[data-undone]")
    expect(told).to_contain_text("Undone, before it was sent")
    expect(told).to_contain_text("Take it out")
    assert held
    phone.unroute("**/machines/clock.json")  # goes on by now

    cut(phone)
    check = phone.locator("#check")
    scan(phone, floor.taken)
    check.get_by_role("button", name="Broken").click()
    expect(phone.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    scan(phone, floor.sister)
    check.get_by_role("button", name="Mounted").click()
    expect(phone.locator("[data-strip]")).to_contain_text("2 waiting", timeout=SOON)
    undo(phone, "Taken out of")
    expect(told).to_contain_text(f"Undo this first, it came later: {floor.sister} mounted")
    undo(phone, f"{floor.sister} mounted in")
    expect(check).to_contain_text("is empty")
    undo(phone, "Taken out of")
    expect(check).to_contain_text(f"holds {floor.inside}")
    expect(phone.locator("[data-facts] > li")).to_have_count(0)
    assert is_in_window(told)
    no_violations(phone)

    cut(phone, off=False)
    sent(phone)
    with phone.expect_response("**/machines/clock.json"):  # the turn after, which would send
        pass
    assert posts == []


def test_what_may_have_reached_the_service_is_reversed_behind_it(
    own_shop: DemoShop, phone: Page, no_violations: Callable[..., None]
) -> None:
    floor = floor_of(own_shop)
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone)
    answers_get_lost = [True]

    def lose(route: Route) -> None:
        if answers_get_lost[0]:
            route.fetch()  # recorded, and nobody hears of it
            route.abort()
        else:
            route.continue_()

    phone.context.route("**/v1/mounts", lose)
    phone.get_by_role("button", name="Mounted").click()
    expect(phone.locator("main")).to_contain_text("Kept in this browser", timeout=SOON)
    other = phone.context.new_page()
    other.goto(floor.address)
    expect(other.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    phone.close()  # halfway
    undo(other, f"{floor.tool} mounted in")
    expect(other.locator("[data-undone]")).to_contain_text("the undo is sent as well")
    expect(line(other, "Undo:")).to_have_count(1)
    assert line(other, floor.tool).get_by_role("button", name="Undo").count() == 0

    answers_get_lost[0] = False
    sent(other)

    last = floor.rows("SELECT id, kind, reverses_id FROM facts ORDER BY id DESC LIMIT 2")
    (reversal, mount) = last
    assert (mount[1], reversal[1], reversal[2]) == ("mount", "reversal", mount[0])
    confirming_and_undone_pages(floor, other, no_violations)


def confirming_and_undone_pages(
    floor: Floor, page: Page, no_violations: Callable[..., None]
) -> None:
    """The same with the service: both pages at every width, for everybody."""
    page.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(page).get_by_role("button", name="Mounted").click()
    button = page.locator("main").get_by_role("button", name="Undo")
    expect(page.locator(".done").first).to_contain_text("Mounted on", timeout=SOON)
    for size in sized(page):
        assert is_in_window(button), size
        no_violations(page)
    button.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Undone")
    for size in sized(page):
        assert is_in_window(page.locator(".care")), size
        assert is_in_window(page.get_by_role("link", name="Mount another tool")), size
        no_violations(page)
