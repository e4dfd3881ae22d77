"""The attendant's way from the queue to the racked label: the keyboard alone, scans typed."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote_plus

import pytest
from playwright.sync_api import Page, expect

from tests.browser.shop import DemoShop, serve_shop
from tests.browser.windows import is_in_window
from tests.starter import Starter

#: Counts what hands do at the screen: lines of the gauge apart from keys and clicks.
_COUNT = """const nothing = '{"readings": 0, "keys": 0, "clicks": 0}';
const done = JSON.parse(sessionStorage.done ?? nothing);
const count = what => { done[what] += 1; sessionStorage.done = JSON.stringify(done); };
addEventListener('keydown', event => {
    const typed = event.target.name === 'line' && event.key.length === 1;
    const sent = event.target.name === 'line' && event.key === 'Enter';
    if (event.isTrusted && !typed) count(sent ? 'readings' : 'keys');
}, true);
addEventListener('click', event => {
    if (event.isTrusted && event.detail) count('clicks');
}, true);"""

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
    page.clock.install()
    page.reload()
    page.locator("[data-scan]").press_sequentially("half a ma", delay=90)
    built = own_shop.post(
        "/v1/assemblies", tool_spec=job["tool_spec"], holder=job["holder"], lot=job["lot"]
    )

    before = page.locator("#queue").inner_text()
    page.clock.fast_forward("01:30")

    expect(page.locator("#queue")).to_contain_text(f"Measure {built['code']}")
    assert f"Measure {built['code']}" not in before
    expect(page.locator("[data-scan]")).to_have_value("half a ma")
    expect(page.locator("[data-scan]")).to_be_focused()


def test_the_verdict_and_its_button_stand_in_the_first_window(
    own_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    use_plain_lines(own_shop, open_window("desk"))
    gauge = own_shop.get("/v1/gauges")["items"][0]
    told = {name: gauge[name] for name in ("master_lf_mm", "master_wf_mm", "check_hours")}
    own_shop.post("/v1/gauges", gauge="PG-NEW", **told)
    job = first_build(own_shop)
    built = own_shop.post(
        "/v1/assemblies", tool_spec=job["tool_spec"], holder=job["holder"], lot=job["lot"]
    )
    good = line_of(job["recipe"], 0.001)
    far, apart = line_of(job["recipe"], 5.0), line_of(job["recipe"], 0.2)
    work = f"{own_shop.address}/bench/work/{built['code']}?g="
    accept, refuse = "button[data-key=F2]", "button[data-key=F4]"
    answers: dict[str, tuple[str, list[str], str, str]] = {
        "yes": (gauge["gauge"], [good] * 3, ".good", accept),
        "one stands apart": (
            gauge["gauge"],
            [good] * 9 + [apart],
            ".state",
            "button[data-key]",
        ),
        "out of limits": (gauge["gauge"], [far] * 3, ".bad", refuse),
        "gauge not checked": ("PG-NEW", [good] * 3, ".bad", refuse),
        "both": ("PG-NEW", [far] * 3, ".bad", refuse),
    }
    page = open_window("phone", viewport={"width": 360, "height": 640}, locale="de-DE")
    sizes = ((360, 640), (820, 1180), (1024, 768), (1440, 900))
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        # the smallest window shows every answer, the others the shortest and the longest
        for name in answers if width == 360 else ("yes", "both"):
            on, lines, state, button = answers[name]
            page.goto(work + on + "".join(f"&r={quote_plus(line)}" for line in lines))
            field = page.locator("[name=line]")
            expect(field).to_be_focused()
            expect(page.locator(f"#verdict {state}")).to_be_visible()
            parts = [page.locator("#verdict"), page.locator(f".says {button}"), field]
            if on == "PG-NEW":
                parts += [page.locator("#gauge-state"), page.locator("#gauge-state a")]
                told_by = page.locator(f"#{field.get_attribute('aria-describedby')}")
                assert "PG-NEW" in told_by.inner_text()
            if width > 1000:  # side by side: what was read, and what it comes to
                parts += [page.locator("ol.taken"), page.locator("svg.scale").first]
            for part in parts:
                assert is_in_window(part), (name, width, part)
            assert page.evaluate("scrollY") == 0
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.locator("main").inner_text().count("PG-NEW") < 6  # said once


def test_three_readings_and_two_keys_lead_to_the_printed_label(
    demo_database: Path,
    tmp_path: Path,
    starter: Starter,
    desk: Page,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    printer = tmp_path / "bin" / "lp"
    printer.parent.mkdir()
    printer.write_text(f"#!/bin/sh\ncat > '{tmp_path}/printed.pdf'\n")
    printer.chmod(0o755)
    monkeypatch.setenv("PATH", f"{printer.parent}:{os.environ['PATH']}")
    with serve_shop(demo_database, tmp_path, starter, CRIB_PRINT_QUEUE="labels") as shop:
        use_plain_lines(shop, desk)
        job = first_build(shop)
        built = shop.post(
            "/v1/assemblies", tool_spec=job["tool_spec"], holder=job["holder"], lot=job["lot"]
        )
        desk.add_init_script(_COUNT)
        desk.goto(f"{shop.address}/bench/work/{built['code']}")
        for taken in (1, 2, 3):  # the gauge types its line with the Enter at its end
            expect(desk.locator("[name=line]")).to_be_focused()
            type_line(desk, line_of(job["recipe"], 0.001))
            expect(desk.locator("ol.taken li")).to_have_count(taken)

        desk.wait_for_load_state()
        desk.keyboard.press("F2")
        expect(desk.locator("#finish")).to_be_visible()
        desk.wait_for_load_state()
        for part in ("#finish button[data-key=F8]", "#finish button[data-key=F9]"):
            assert is_in_window(desk.locator(part))
        desk.keyboard.press("F8")
        expect(desk.locator("#finish")).to_contain_text("Printed once")
        assert desk.evaluate("JSON.parse(sessionStorage.done)") == {
            "readings": 3,
            "keys": 2,
            "clicks": 0,
        }

        assert (tmp_path / "printed.pdf").read_bytes().startswith(b"%PDF")
        expect(desk.locator("[name=place]")).to_be_focused()  # and on to the rack


def test_the_first_window_says_what_to_do_what_to_take_where_it_lies_and_what_is_late(
    demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    queue = demo_shop.get("/v1/bench-queue")["items"]
    first = queue[0]
    page = open_window("phone", viewport={"width": 360, "height": 640}, locale="de-DE")
    for width, height in ((360, 640), (820, 1180), (1024, 768), (1440, 900)):
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{demo_shop.address}/bench")
        box = page.locator("section.next")
        for part in (
            page.locator(".count"),
            page.locator("[name=code]"),
            box.locator("h2"),
            box.locator("p.when"),
            box.locator(".lies").first,
            box.locator("[data-key=F2]"),
        ):
            assert is_in_window(part), (width, part)
        lies = first["recipe"]["holder_location"] if first["work"] == "build" else "bench 1"
        assert (
            box.locator(".lies").first.inner_text().replace("\N{NO-BREAK SPACE}", " ") == lies
        )
        assert first["machine"] in box.locator("p.when").inner_text()
        late = sum(row["late"] for row in queue)
        assert f"{len(queue)} Arbeiten" in page.locator(".count").inner_text()
        assert str(late or "keine") in page.locator(".count .state").inner_text()
        cut = "[...document.querySelectorAll('.jobs, .jobs *')].filter(one => one.scrollWidth"
        cut += " > one.clientWidth + 1 && getComputedStyle(one).display !== 'inline').length"
        assert page.evaluate(cut) == 0
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
