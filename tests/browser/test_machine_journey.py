"""At a machine with a phone: scanned, mounted, corrected, taken out."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.machine_floor import Floor, floor_of, ready, scan


@pytest.fixture
def floor(own_shop) -> Floor:
    return floor_of(own_shop)


@pytest.mark.parametrize("enter", [True, False])
def test_from_the_scan_to_the_mounted_tool_and_out_again(
    floor: Floor, phone: Page, enter: bool
) -> None:
    phone.goto(floor.address)
    expect(phone.get_by_label("Scan the station or the tool")).to_be_focused()
    scan(phone, floor.empty, enter=enter)
    expect(phone.get_by_label("Scan the tool that goes in")).to_be_focused()
    scan(phone, floor.tool, enter=enter)
    expect(phone.locator(".verdict")).to_contain_text("YES")
    phone.wait_for_load_state()  # words are there before their style is
    wide = phone.locator(".verdict").bounding_box()
    assert wide is not None
    assert wide["width"] > 0.85 * 360  # to be read at two metres
    button = phone.get_by_role("button", name="Mounted").bounding_box()
    assert button is not None
    assert button["height"] >= 12 / 25.4 * 96  # 12 mm

    phone.get_by_role("button", name="Mounted").click()
    expect(phone.locator(".done")).to_contain_text("Mounted on")
    keyed = phone.locator(".key-in .figure").first.inner_text().replace("\n", "")
    phone.get_by_role("link", name="First part measured").click()
    axis = phone.locator("[data-axis]").first
    increment = float(axis.get_attribute("data-increment") or "")
    places = len((axis.get_attribute("data-increment") or "").partition(".")[2])
    axis.get_by_role("button", name=f"−{10 * increment:.{places}f}", exact=True).click()
    axis.get_by_role("button", name=f"+{increment:.{places}f}", exact=True).click()
    will_hold = axis.locator("[data-will-hold]").inner_text().replace("\n", "")
    assert float(will_hold) == pytest.approx(float(keyed) - 9 * increment)
    phone.get_by_role("button", name="Record the step").click()
    expect(phone.locator(".done")).to_contain_text("Recorded on")
    assert phone.locator(".figure").first.inner_text().replace("\n", "") == will_hold
    expect(phone.locator("main")).to_contain_text("the datum is learned as")

    phone.get_by_role("link", name="Station").click()
    phone.get_by_role("link", name="Take it out").click()
    phone.get_by_label("Worn land VB, if measured").fill("0.05")
    phone.get_by_role("button", name="Inspection").click()
    expect(phone.locator("main")).to_contain_text("stays built")

    [(mount, _)] = floor.mounts_of(floor.tool)
    [(reason, land)] = floor.rows(
        f"SELECT reason, flank_wear_tenths_um FROM removals WHERE mount_id = {mount}"
    )
    assert (reason, land) == ("inspection", 500)
    steps = floor.rows(f"SELECT 1 FROM corrections WHERE mount_id = {mount}")
    assert len(steps) == 1


def test_of_two_phones_at_one_station_one_mounts_and_the_other_reads_a_no(
    floor: Floor, open_window
) -> None:
    open_window.allowed.append("/v1/mounts")
    known = floor.known()
    rivals = [
        tool["code"]
        for tool in known["tools"]
        if floor.empty in tool["looks"] and not tool["looks"][floor.empty]["against"]
    ]
    one, other = open_window("phone"), open_window("phone")
    two = rivals[:2] if len(rivals) > 1 else [floor.tool, floor.tool]
    for page, tool in zip((one, other), two, strict=True):
        page.goto(f"{floor.address}/mount?station={floor.empty}&tool={tool}")
        expect(page.locator(".verdict")).to_contain_text("YES")

    one.get_by_role("button", name="Mounted").click()
    expect(one.locator(".done")).to_contain_text("Mounted on")
    other.get_by_role("button", name="Mounted").click()

    expect(other.locator(".verdict")).to_contain_text("NO")
    expect(other.locator(".mismatches")).to_contain_text("record its removal")
    expect(other.locator("[data-strip]")).to_have_text("Connected")
    assert sum(len(floor.mounts_of(tool)) for tool in set(two)) == 1


def test_an_occupied_station_is_emptied_and_filled_in_four_touches(
    floor: Floor, phone: Page
) -> None:
    phone.goto(floor.address)
    scan(phone, floor.sister)
    expect(phone.get_by_label("Scan the station that it goes into")).to_be_focused()
    scan(phone, floor.taken)
    expect(phone.locator(".verdict")).to_contain_text("NO")
    phone.get_by_role("button", name="Worn as planned").click()
    expect(phone.locator(".done")).to_contain_text("Worn as planned")
    phone.get_by_role("link", name="Continue mounting").click()
    expect(phone.locator(".verdict")).to_contain_text("YES")
    phone.get_by_role("button", name="Mounted").click()

    expect(phone.locator(".done")).to_contain_text("Mounted on")
    assert len(floor.mounts_of(floor.sister)) == 1


def test_enter_in_a_field_never_chooses_a_reason(floor: Floor, phone: Page) -> None:
    removals = floor.rows("SELECT count(*) FROM removals")
    phone.goto(f"{floor.address}/remove?station={floor.taken}")
    ready(phone)
    phone.get_by_label("Worn land VB, if measured").fill("0.1")
    phone.keyboard.press("Enter")

    expect(phone.get_by_role("alert")).to_contain_text("Touch the reason")
    assert floor.rows("SELECT count(*) FROM removals") == removals


def test_what_is_typed_survives_a_reload(floor: Floor, phone: Page) -> None:
    phone.goto(f"{floor.address}/correct?station={floor.taken}")
    phone.get_by_label("later, for size").check()
    phone.locator("[data-axis] input").first.fill("-0.0120")

    phone.reload()

    expect(phone.locator("[data-axis] input").first).to_have_value("-0.0120")
    expect(phone.get_by_label("later, for size")).to_be_checked()
    expect(phone.locator("[data-will-hold]").first).to_be_visible()


def test_without_scripts_the_same_journey_goes_by_plain_forms(
    floor: Floor, open_window
) -> None:
    page = open_window("phone", java_script_enabled=False)
    page.goto(floor.address)
    page.get_by_label("Scan the station or the tool").fill(floor.empty)
    page.get_by_role("button", name="Continue").click()
    page.get_by_label("Scan the tool that goes in").fill(floor.tool)
    page.get_by_role("button", name="Continue").click()
    page.get_by_role("button", name="Mounted").click()
    page.get_by_role("link", name="First part measured").click()
    page.get_by_role("button", name="The first part was right").click()

    expect(page.locator(".done")).to_contain_text("Recorded on")
    assert len(floor.mounts_of(floor.tool)) == 1
