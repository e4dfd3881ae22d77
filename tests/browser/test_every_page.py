"""Every page at three widths, light and dark: readable by all, whole, quiet, from one host."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.pages import FIRST_PARTS, PAGES, SAYS_NO, address, known
from tests.browser.shop import DemoShop
from tests.browser.windows import SIZES, thin

COLOURS = ("color-contrast",)


@pytest.fixture(scope="module")
def found(demo_shop: DemoShop) -> dict[str, str]:
    return known(demo_shop)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_serves_everybody(
    name: str,
    demo_shop: DemoShop,
    found: dict[str, str],
    looker: Page,
    no_violations: Callable[..., None],
) -> None:
    answer = looker.goto(address(name, demo_shop, found))

    assert answer is not None
    assert answer.status == SAYS_NO.get(name, 200)
    assert looker.locator("h1").count() == 1
    assert looker.title()
    for size, (width, height, _) in SIZES.items():
        looker.set_viewport_size({"width": width, "height": height})
        drawn = looker.evaluate("document.documentElement.scrollWidth")
        assert drawn <= width, f"{name} is {drawn} wide on a {size}"
    if name in FIRST_PARTS:
        kept = FIRST_PARTS[name]
        parts = f"[...document.querySelectorAll('main :is(h2, h3, p, dl)')].slice({kept})"
        looker.evaluate(f"{parts}.forEach(part => part.remove())")
    thin(looker)
    for size, (width, height, _) in SIZES.items():
        looker.set_viewport_size({"width": width, "height": height})
        # what a tablet shows has its colours on a phone or at a desk too
        no_violations(looker, besides=COLOURS if size == "tablet" else ())
    looker.emulate_media(color_scheme="dark")  # other colours, the same page
    no_violations(looker, COLOURS)


def test_the_walk_would_see_a_fault(
    demo_shop: DemoShop, open_window, no_violations: Callable[..., None]
) -> None:
    open_window.allowed += [
        "no-such",
        "elsewhere.invalid",
        "Content Security Policy",
        "told off",
    ]
    page = open_window("phone")
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.goto(demo_shop.address)
    page.evaluate(
        """async () => {
        document.body.insertAdjacentHTML('beforeend', '<input><img src="/static/no-such.png">'
          + '<script>1</script>');
        document.querySelector('main').style.width = '500px';
        document.querySelector('footer').style.color = 'silver';
        console.error('told off');
        await fetch('http://elsewhere.invalid/').catch(() => {});
        }"""
    )

    assert page.evaluate("document.documentElement.scrollWidth") > SIZES["phone"][0]
    with pytest.raises(AssertionError, match="label"):
        no_violations(page)
    with pytest.raises(AssertionError, match="color-contrast"):
        no_violations(page, COLOURS)
    assert any("Content Security Policy" in one for one in told)
