"""The attendant's way from the queue to the racked label: the keyboard alone, scans typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import quote_plus

import pytest
from playwright.sync_api import Page, expect

from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window

#: Between two keys [ms]; more than anything that types by itself leaves.
PACE_MS = 70


def first_build(shop: DemoShop) -> dict[str, Any]:
    """The first job of the queue that builds, with what it takes."""
    jobs = shop.get("/v1/bench-queue")["items"]
    found: dict[str, Any] = next(job for job in jobs if job["work"] == "build")
    return found


def line_of(recipe: dict[str, Any], off_mm: float) -> str:
    """What a presetter types for a tool that is so far off its nominals."""
    words = []
    for name in ("LF", "WF"):
        nominal = recipe[f"{name.lower()}_nominal_mm"]
        if nominal is not None:
            words += [name, f"{float(nominal) + off_mm:.4f}"]
    return " ".join(words)


def type_line(page: Page, text: str) -> None:
    """Text and Enter at the pace of hands, which a busy machine does not change."""
    page.wait_for_load_state()
    page.keyboard.type(text, delay=PACE_MS)
    page.keyboard.press("Enter")


def use_plain_lines(shop: DemoShop, page: Page) -> None:
    """Let the gauge write its lines the plain way, whatever the shop had set."""
    for gauge in shop.get("/v1/gauges")["items"]:
        tag = shop.ask("GET", f"/v1/gauges/{gauge['code']}").headers["ETag"]
        answer = page.request.patch(
            f"{shop.address}/v1/gauges/{gauge['code']}",
            data={"line_pattern": None},
            headers={"If-Match": tag},
        )
        assert answer.ok, answer.text()


@pytest.fixture
def at_bench(own_shop: DemoShop, desk: Page) -> Page:
    """The bench's screen, where an attendant said who they are."""
    people = own_shop.get("/v1/people")["items"]
    person = next(one for one in people if one["role"] == "attendant")
    desk.goto(f"{own_shop.address}/who?back=/bench")
    type_line(desk, person["badge"])
    desk.wait_for_url(f"{own_shop.address}/bench")
    return desk


def test_from_the_queue_to_the_rack_by_keyboard_alone(
    own_shop: DemoShop, at_bench: Page, no_violations: Callable[[Page], None]
) -> None:
    page = at_bench
    use_plain_lines(own_shop, page)
    job = first_build(own_shop)

    # the holder in hand is scanned: its job opens, filled in
    expect(page.locator("[data-scan]")).to_be_focused()
    type_line(page, job["holder"])
    page.wait_for_url("**/bench/build?**")
    expect(page.locator("[name=lot]")).to_have_value(job["lot"])
    page.keyboard.press("F2")
    page.wait_for_url("**/bench/work/A*")

    # the presetter types three lines, one of them garbled on the way
    for line, taken in (
        (line_of(job["recipe"], 0.001), 1),
        ("LF eighty", 1),
        (line_of(job["recipe"], 0.002), 2),
        (line_of(job["recipe"], 0.001), 3),
    ):
        field = page.locator("[name=line]")
        expect(field).to_be_focused()
        page.keyboard.press("Control+a")
        type_line(page, line)
        expect(page.locator("ol.taken li")).to_have_count(taken)
        if line == "LF eighty":
            expect(page.locator(".wrong").first).to_contain_text("Word 2 of the line")
    page.reload()
    expect(page.locator("ol.taken li")).to_have_count(3)
    no_violations(page)
    expect(page.locator("svg.scale").first).to_be_visible()
    page.keyboard.press("F2")

    # the label as it prints, printed, then into the rack
    expect(page.locator("#finish")).to_be_visible()
    code = page.url.rsplit("/", 1)[-1]
    drawn = page.locator(".label-picture")
    expect(drawn).to_be_visible()
    assert (
        drawn.evaluate("async picture => (await picture.decode(), picture.naturalWidth)") > 300
    )
    no_violations(page)
    with page.context.expect_page() as opened:
        page.keyboard.press("F8")
    for _ in range(100):  # what opens is the PDF: its window is closed once it is on record
        if own_shop.get("/v1/label-prints?limit=500")["items"][-1]["assembly"] == code:
            break
        page.wait_for_timeout(200)
    opened.value.close()
    expect(page.locator("#finish")).to_contain_text("Printed once")
    page.locator("[name=place]").focus()
    page.keyboard.type("row 2")
    page.keyboard.press("F9")
    page.wait_for_url(f"**/bench?racked={code}")

    shown = own_shop.get(f"/v1/assemblies/{code}")
    assert shown["preset"]["accepted"] is True
    assert shown["preset"]["by"]
    racks = own_shop.get("/v1/rack")["racks"]
    (tool,) = [tool for rack in racks for tool in rack["tools"] if tool["code"] == code]
    assert (tool["place"], tool["label"]) == ("row 2", "printed")
    page.goto(f"{own_shop.address}/rack")
    expect(page.locator(f"#tool-{code}")).to_contain_text("row 2")


def test_the_shift_begins_with_the_gauge_by_keyboard_alone(
    own_shop: DemoShop, at_bench: Page, no_violations: Callable[[Page], None]
) -> None:
    page = at_bench
    use_plain_lines(own_shop, page)
    gauge = own_shop.get("/v1/gauges")["items"][-1]
    page.goto(f"{own_shop.address}/bench")
    type_line(page, gauge["code"])
    page.wait_for_url(f"**/bench/gauges/{gauge['gauge']}")

    line = f"LF {gauge['master_lf_mm']} WF {gauge['master_wf_mm']}"
    for taken in (1, 2, 3):
        expect(page.locator("[name=line]")).to_be_focused()
        type_line(page, line)
        expect(page.locator("ol.taken li")).to_have_count(taken)
    no_violations(page)
    page.keyboard.press("F2")

    expect(page.locator("main")).to_contain_text(f"Gauge {gauge['gauge']} is checked")


def test_the_queue_freshens_by_itself_and_keeps_what_is_typed(
    own_shop: DemoShop, at_bench: Page
) -> None:
    page = at_bench
    job = first_build(own_shop)
    page.locator("[data-scan]").press_sequentially("half a ma", delay=90)
    built = own_shop.post(
        "/v1/assemblies", tool_spec=job["tool_spec"], holder=job["holder"], lot=job["lot"]
    )

    expect(page.locator("#queue")).to_contain_text(f"Measure {built['code']}")

    expect(page.locator("[data-scan]")).to_have_value("half a ma")
    expect(page.locator("[data-scan]")).to_be_focused()


def test_a_gauge_that_does_not_count_is_told_in_the_first_window(
    own_shop: DemoShop, desk: Page, open_window: Callable[..., Page]
) -> None:
    gauge = own_shop.get("/v1/gauges")["items"][0]
    told = {name: gauge[name] for name in ("master_lf_mm", "master_wf_mm", "check_hours")}
    own_shop.post("/v1/gauges", gauge="PG-NEW", **told)
    job = first_build(own_shop)
    built = own_shop.post(
        "/v1/assemblies", tool_spec=job["tool_spec"], holder=job["holder"], lot=job["lot"]
    )
    work = f"{own_shop.address}/bench/work/{built['code']}?g=PG-NEW"
    taken = f"&r={quote_plus(line_of(job['recipe'], 0.001))}" * 3
    phone = open_window("phone", viewport={"width": 360, "height": 640}, locale="de-DE")
    for page in (desk, phone):
        for address in (work, work + taken):
            page.goto(address)
            expect(page.locator("[name=line]")).to_be_focused()
            trouble = page.locator("#gauge-state")
            expect(trouble).to_contain_text("PG-NEW")
            told_by = page.locator("[name=line]").get_attribute("aria-describedby")
            assert "PG-NEW" in page.locator(f"#{told_by}").inner_text()
            for part in (trouble, trouble.locator("a"), page.locator("[name=line]")):
                assert is_in_window(part)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert is_in_window(page.locator("#verdict"))
        assert page.locator("main").inner_text().count("PG-NEW") < 6  # said once
