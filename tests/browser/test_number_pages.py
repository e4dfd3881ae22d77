"""Pages of the calculations as a real browser draws them."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from api.pages.numbers.page import WORKINGS
from tests.browser.conftest import OpenWindow
from tests.browser.shop import DemoShop
from tests.browser.windows import SIZES

NARROW = SIZES["phone"][0]
WRONG = "/workings/tool-life?cutting_speed_m_min=0&n=0.2&c_m_min=90"


def test_every_page_fits_a_narrow_screen_and_draws_its_formulas(
    demo_shop: DemoShop, phone: Page
) -> None:
    for slug in WORKINGS:
        phone.goto(f"{demo_shop.address}/workings/{slug}")

        assert phone.evaluate("document.documentElement.scrollWidth") <= NARROW, slug
        drawn = phone.evaluate(
            "[...document.querySelectorAll('.formula math')].map(m => {"
            "const box = m.getBoundingClientRect(); return [box.width, box.height]})"
        )
        assert bool(drawn) == bool(WORKINGS[slug].lines), slug
        assert all(width > 20 and height > 10 for width, height in drawn), slug
        # A browser that knows no MathML writes a fraction's parts in one line.
        stacked = phone.evaluate(
            "[...document.querySelectorAll('.formula mfrac')].every(f => {"
            "const [a, b] = [...f.children].map(c => c.getBoundingClientRect());"
            "return a.bottom <= b.top + 1})"
        )
        assert stacked, slug


def test_typed_figures_are_worked_out_without_any_script_of_the_page(
    demo_shop: DemoShop, open_window: OpenWindow
) -> None:
    page = open_window("phone", java_script_enabled=False)
    page.goto(f"{demo_shop.address}/workings/tool-life")
    for field in page.locator("main form input:visible").all():
        field.fill("")
    page.fill("[name=cutting_speed_m_min]", "50")
    page.fill("[name=n]", "0.125")
    page.fill("[name=c_m_min]", "70")
    page.locator("main form button").first.click()

    expect(page.locator("#result dd strong").first).to_have_text("14.758")
    expect(page.locator("[name=n]")).to_have_value("0.125")


def test_a_complaint_stands_beside_its_field(demo_shop: DemoShop, phone: Page) -> None:
    phone.goto(demo_shop.address + WRONG)

    field = phone.locator("[name=cutting_speed_m_min]")
    expect(field).to_have_attribute("aria-invalid", "true")
    told = phone.locator(f"#{field.get_attribute('aria-describedby')}")
    expect(told).to_contain_text("from 0.1 to 10000")
    above, below = field.bounding_box(), told.bounding_box()
    assert above is not None
    assert below is not None
    assert 0 <= below["y"] - (above["y"] + above["height"]) < 20


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_paper_is_as_light_or_dark_as_the_reader_prefers(
    scheme: str, demo_shop: DemoShop, open_window: OpenWindow
) -> None:
    page = open_window("phone", scheme)
    page.goto(demo_shop.address + WRONG)

    paper = page.evaluate(
        "getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g).map(Number)"
    )
    assert (min(paper) > 128) == (scheme == "light")


def test_no_word_of_a_table_is_broken_on_a_narrow_screen(
    demo_shop: DemoShop, phone: Page
) -> None:
    phone.goto(f"{demo_shop.address}/workings/insert-designation")
    broken = phone.evaluate(
        "[...document.querySelectorAll('th, td')].filter(cell => {"
        "if (!cell.firstChild || /\\s/.test(cell.textContent.trim())) return false;"
        "if (cell.closest('thead')?.offsetWidth <= 1) return false;"  # for screen readers
        "const range = document.createRange(); range.selectNodeContents(cell);"
        "return range.getClientRects().length > 1}).map(cell => cell.textContent)"
    )

    assert broken == []
