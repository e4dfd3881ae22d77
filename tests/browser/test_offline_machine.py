"""A dead spot at the machine: checked against what was known, kept, sent later exactly once."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, Playwright, Route, expect

from tests.browser import windows
from tests.browser.machine_floor import Floor, floor_of, ready, scan
from tests.browser.shop import PRESENT

#: The browser looks for the network every few seconds, and waits longer after each failure.
SOON = 240_000


@pytest.fixture
def floor(own_shop) -> Floor:
    return floor_of(own_shop)


@pytest.fixture
def phone(floor: Floor, phone: Page) -> Page:
    """A phone at the machine, which knows the machine by now."""
    with phone.expect_response("**/known.json"):
        phone.goto(floor.address)
    return ready(phone)


def cut(page: Page, *, off: bool = True) -> None:
    page.context.set_offline(off)
    words = "Not connected" if off else "Connected"
    expect(page.locator("[data-strip]")).to_contain_text(words, timeout=SOON)


def figures(part: Locator) -> list[str]:
    told = part.locator(".key-in .figure").all_inner_texts()
    return [one.replace("\n", "") for one in told]


def sent(page: Page) -> None:
    told = re.compile(r"^Connected( · Sent \d\d:\d\d)?$")
    expect(page.locator("[data-strip]")).to_have_text(told, timeout=SOON)


def test_the_network_cut_in_the_middle_of_a_mount(floor: Floor, phone: Page) -> None:
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone)
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Mounted").click()
    expect(phone.locator("#check, main").first).to_contain_text("Kept in this browser")
    expect(phone.locator("[data-strip]")).to_contain_text("1 waiting to be sent")
    assert floor.mounts_of(floor.tool) == []
    time.sleep(3.2)

    cut(phone, off=False)
    sent(phone)
    expect(phone.locator("[data-strip]")).to_contain_text("Sent ")  # and seen: it waited
    expect(phone.locator("[data-strip]")).not_to_have_class(re.compile("off-screen"))

    [(_, at_us)] = floor.mounts_of(floor.tool)
    [(recorded_us,)] = floor.rows("SELECT max(recorded_at) FROM facts WHERE kind = 'mount'")
    assert recorded_us - at_us > (3.2 - 0.2) * 1e6  # when it was pressed, not when it was sent
    assert datetime.fromtimestamp(at_us / 1e6, UTC).date() == PRESENT.date()


def test_a_verdict_of_the_service_is_not_weighed_again_when_the_network_goes(
    floor: Floor, phone: Page
) -> None:
    phone.route("**/machines/clock.json", lambda route: route.abort())
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    expect(phone.locator("[data-strip]")).to_contain_text("Not connected", timeout=SOON)
    phone.wait_for_timeout(500)  # time enough to weigh it a second time

    expect(phone.get_by_role("button", name="Mounted")).to_have_count(1)
    expect(phone.locator("#check")).to_be_hidden()


def test_an_answer_that_is_lost_is_asked_for_again_and_nothing_is_twice(
    floor: Floor, phone: Page
) -> None:
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone)
    lost = []

    def lose(route) -> None:
        lost.append(route.fetch().status)
        route.abort()

    phone.route("**/v1/mounts", lose, times=1)
    phone.get_by_role("button", name="Mounted").click()

    expect(phone.locator(".done").first).to_contain_text("Mounted on", timeout=SOON)
    assert lost == [201]
    assert len(floor.mounts_of(floor.tool)) == 1


def test_scans_are_checked_against_what_was_last_known(floor: Floor, phone: Page) -> None:
    cut(phone)
    check = phone.locator("#check")

    scan(phone, "A00000B")
    expect(check).to_contain_text("not known here")
    scan(phone, floor.empty)
    expect(check).to_contain_text("is empty")
    scan(phone, floor.sister)
    expect(check.locator(".verdict")).to_contain_text("NO")
    expect(check).to_contain_text(f"belongs in {floor.mark(floor.taken)}")
    scan(phone, floor.tool)

    expect(check.locator(".verdict")).to_contain_text("YES")
    expect(check).to_contain_text("As last known on")
    keyed = figures(check)
    cut(phone, off=False)
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    assert keyed == figures(phone.locator("main"))


def test_a_whole_swap_in_a_dead_spot_arrives_in_order(floor: Floor, phone: Page) -> None:
    cut(phone)
    check = phone.locator("#check")
    scan(phone, floor.taken)
    expect(check).to_contain_text(f"holds {floor.inside}")
    scan(phone, floor.sister)
    expect(check.locator(".verdict")).to_contain_text("NO")
    check.get_by_role("button", name="Worn as planned").click()
    expect(check.locator(".verdict")).to_contain_text("YES", timeout=SOON)
    check.get_by_role("button", name="Mounted").click()
    expect(phone.locator("[data-strip]")).to_contain_text("2 waiting", timeout=SOON)
    field = check.locator("[data-axis] input").first
    field.fill("-0.0100")
    check.get_by_role("button", name="Record the step").click()
    expect(phone.locator("[data-strip]")).to_contain_text("3 waiting", timeout=SOON)
    assert floor.mounts_of(floor.sister) == []

    cut(phone, off=False)
    sent(phone)

    [(mount, _)] = floor.mounts_of(floor.sister)
    kinds = floor.rows(f"SELECT kind, at FROM facts WHERE id >= {mount - 1} ORDER BY id")
    assert [kind for kind, _ in kinds] == ["removal", "mount", "correction"]
    assert sorted(at for _, at in kinds) == [at for _, at in kinds]
    with phone.expect_response("**/known.json"):
        phone.goto(floor.address)
    phone.goto(f"{floor.address}/mounts/{mount}")
    expect(phone.locator("main")).to_contain_text("all steps since the mount")


def test_what_is_refused_later_is_shown_until_somebody_settles_it(
    floor: Floor, phone: Page, open_window
) -> None:
    open_window.allowed.append("/v1/")
    phone.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(phone)
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Mounted").click()
    expect(phone.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    by_hand = floor.shop.post("/v1/mounts", station=floor.empty, assembly=floor.tool)

    cut(phone, off=False)
    strip = phone.locator("[data-strip]")
    expect(strip).to_contain_text("1 refused", timeout=SOON)
    fact = phone.locator("[data-facts] > li")
    expect(fact).to_contain_text(f"{floor.tool} mounted in")
    expect(fact).to_contain_text("record its removal")
    phone.goto(f"{floor.address}/remove?station={floor.taken}")
    ready(phone)
    phone.get_by_role("button", name="Inspection").click()
    expect(phone.locator("main")).to_contain_text("stays built")  # another station goes on
    expect(strip).to_contain_text("1 refused", timeout=SOON)
    expect(fact).to_have_count(1)

    fact.get_by_role("button", name="Send again").click()
    expect(fact).to_contain_text("refused")
    fact.get_by_role("button", name="Drop it").click()
    fact.get_by_role("button", name="Really drop it").click()
    sent(phone)
    assert [row[0] for row in floor.mounts_of(floor.tool)] == [by_hand["fact"]]


def browser_kept_in(playwright: Playwright, folder: Path) -> BrowserContext:
    return playwright.chromium.launch_persistent_context(
        str(folder),
        executable_path=windows.chromium(),
        args=windows._WORDS,
        headless=False,
        viewport={"width": 360, "height": 740},
        locale="en-GB",
    )


def test_a_queue_survives_the_end_of_the_browser(
    floor: Floor, steering: Playwright, tmp_path: Path
) -> None:
    first = browser_kept_in(steering, tmp_path / "kept")
    page = first.new_page()
    with page.expect_response("**/known.json"):
        page.goto(floor.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()  # seen through the worker
    cut(page)
    scan(page, floor.empty)
    expect(page.locator("#check")).to_contain_text("is empty")
    scan(page, floor.tool)
    page.locator("#check").get_by_role("button", name="Mounted").click()
    expect(page.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    page.reload()
    expect(page.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    first.close()

    second = browser_kept_in(steering, tmp_path / "kept")
    second.set_offline(True)
    page = second.new_page()
    page.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    expect(page.locator("[data-strip]")).to_contain_text("1 waiting", timeout=SOON)
    expect(page.locator("#check .verdict")).to_contain_text("NO")  # it sits there by now
    assert floor.mounts_of(floor.tool) == []
    second.set_offline(False)
    sent(page)
    second.close()

    assert len(floor.mounts_of(floor.tool)) == 1


def test_a_phone_with_a_wrong_clock_dates_by_the_site(floor: Floor, open_window) -> None:
    page = open_window("phone")
    page.clock.install(time=datetime(2031, 5, 1, 3, 0, tzinfo=UTC))
    page.goto(f"{floor.address}/mount?station={floor.empty}&tool={floor.tool}")
    ready(page)
    page.get_by_role("button", name="Mounted").click()
    expect(page.locator(".done").first).to_contain_text("Mounted on", timeout=SOON)

    [(_, at_us)] = floor.mounts_of(floor.tool)
    assert datetime.fromtimestamp(at_us / 1e6, UTC).date() == PRESENT.date()


def test_a_slow_answer_is_waited_for_where_nothing_was_seen_before(
    floor: Floor, phone: Page
) -> None:
    phone.evaluate("navigator.serviceWorker.ready")
    phone.reload()  # from here on the worker is asked
    phone.evaluate("caches.delete('crib-seen')")
    from_worker: list[bool] = []

    def slow(route: Route) -> None:
        from_worker.append(route.request.service_worker is not None)
        time.sleep(6)  # longer than the worker's patience
        route.continue_()

    phone.context.route(f"**/machines/{floor.machine}", slow)
    answer = phone.goto(floor.address)

    assert answer is not None
    assert answer.status == 200
    assert any(from_worker), "the page did not go through the worker"
