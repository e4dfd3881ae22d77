"""A supervisor's answers stand in the first window, and the page below them is short."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window

#: Window [CSS px], and how tall the page may be for the six machines of the demonstration.
WINDOWS = {"desk": (1440, 900, 2_700), "phone": (360, 640, 4_400)}


@pytest.mark.parametrize("locale", ["en-GB", "de-DE"])
@pytest.mark.parametrize("size", WINDOWS)
def test_every_answer_stands_in_the_first_window(
    size: str, locale: str, demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    width, height, tallest = WINDOWS[size]
    page = open_window(size, locale=locale, viewport={"width": width, "height": height})
    page.goto(demo_shop.address + "/shift")
    answers = page.locator(".answers a")

    assert answers.count() == 7
    for one in answers.all():
        assert is_in_window(one)
        assert (one.bounding_box() or {})["height"] >= (44 if size == "phone" else 24)
    drawn = page.evaluate("[document.body.scrollWidth, document.body.scrollHeight]")
    assert drawn[0] <= width
    assert drawn[1] <= tallest
    if size == "desk":  # what each machine runs, swaps next and may do tonight, too
        assert all(is_in_window(row) for row in page.locator(".floor tbody tr td.next").all())


@pytest.mark.parametrize("size", WINDOWS)
def test_no_mark_of_a_strip_lies_over_another_or_over_a_word(
    size: str, demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    width, height, _ = WINDOWS[size]
    page = open_window(size, viewport={"width": width, "height": height})
    for hours in (24, 72):
        page.goto(f"{demo_shop.address}/shift?hours={hours}")
        page.wait_for_load_state()
        covered = page.evaluate(
            """() => [...document.querySelectorAll('svg.strip, svg.axis')].flatMap(strip => {
            const boxes = [...strip.querySelectorAll('use, .axis text')]
              .filter(one => one.checkVisibility()).map(one => one.getBoundingClientRect())
              .sort((one, other) => one.left - other.left);
            return boxes.slice(1).filter((box, place) => box.left < boxes[place].right - 2) })
            .length"""
        )
        assert covered == 0
        assert page.locator("svg.strip use").count() > 5


def test_what_is_overdue_is_the_heaviest_mark_of_all(
    demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    found = demo_shop.get("/v1/shift-summary")
    overdue = {one["machine"] for one in found["due"] if one["overdue_since"]}
    page = open_window("desk")
    page.goto(f"{demo_shop.address}/shift")
    page.wait_for_load_state()

    marked = page.locator(".floor tbody tr:has(rect.overdue) th").all_inner_texts()
    assert set(map(str.strip, marked)) == overdue > set()
    sizes = page.evaluate(
        """() => {
        const strip = document.querySelector('svg.strip:has(rect.overdue)');
        const area = one => { const { width, height } = one.getBoundingClientRect();
                              return width * height };
        const fill = name => getComputedStyle(document.querySelector(name)).fill;
        return { overdue: area(strip.querySelector('rect.overdue')),
                 marks: [...document.querySelectorAll('svg.strip use')].map(area),
                 lines: ['.past', '.calm'].map(one =>
                     parseFloat(getComputedStyle(document.querySelector(one)).strokeWidth)),
                 colour: fill('rect.overdue'), alarm: fill('.key .s-now') } }"""
    )
    assert sizes["overdue"] > 2 * max(sizes["marks"])
    assert sizes["lines"][0] >= 3 * sizes["lines"][1]
    assert sizes["colour"] == sizes["alarm"]


def test_what_may_fail_is_the_heaviest_mark_and_what_is_normal_is_grey(
    demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    page = open_window("desk")
    page.goto(f"{demo_shop.address}/shift?hours=72")
    page.wait_for_load_state()
    fails, lasts, ready = page.evaluate(
        """() => {
        const style = name => getComputedStyle(document.querySelector(name));
        const light = colour => Math.max(...colour.match(/\\d+/g).slice(0, 3).map(Number));
        const wedge = document.querySelector('svg.strip .wedge');
        const inside = y => wedge.isPointInFill(new DOMPoint(0.5, y));
        const high = [...Array(20).keys()].filter(inside).length;
        const { stroke, strokeWidth } = style('svg.strip .calm');
        return [[high, light(style('svg.strip .wedge').fill)],
                [parseFloat(strokeWidth), light(stroke)],
                light(style('use.ready').color)] }"""
    )

    assert fails[0] >= 3 * lasts[0]  # where it begins, at one chance in ten
    assert fails[1] < min(lasts[1], ready) - 30
