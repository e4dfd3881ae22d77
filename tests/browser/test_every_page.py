"""Every page at three sizes, light and dark, in both languages: readable, whole, quiet."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from crib.store.migrate import open_store
from tests.browser import windows
from tests.browser.layout import faults
from tests.browser.pages import FIRST_PARTS, PAGES, SAYS_NO, address, known
from tests.browser.shop import DemoShop, serve_shop
from tests.browser.windows import thin
from tests.starter import Starter

COLOURS = ("color-contrast",)
#: Width and height of the windows [CSS px].
SIZES = {"phone": (360, 640), "tablet": (820, 1180), "desk": (1440, 900)}
LANGUAGES = {"en": "en-GB", "de": "de-DE"}
#: How tall a page may be on a desk, in windows, with the six machines of the demonstration.
TALLEST = {"front": 2, "shift": 3, "machines": 2, "machine": 3, "bench": 3}
#: How tall one may be on a phone, in windows: what is calm is folded away (else 9.5).
TALLEST_ON_A_PHONE = {"rack": 3}
#: Pages of a shop that has nothing yet.
EMPTY = ("/", "/find?q=a", "/bench", "/rack", "/machines", "/shift", "/lives", "/were-we-right")
#: Look at everything: both languages of each page, and all of axe-core's rules at each size.
EVERYTHING = bool(os.environ.get("CRIB_TEST_EVERY_PAGE"))

Windows = Callable[[str], Page]


def cases() -> list[tuple[str, str]]:
    """Each page and a language: in turn, or both."""
    return [
        (name, language)
        for place, name in enumerate(PAGES)
        for number, language in enumerate(LANGUAGES)
        if EVERYTHING or place % len(LANGUAGES) == number
    ]


@pytest.fixture(scope="module")
def found(demo_shop: DemoShop) -> dict[str, str]:
    return known(demo_shop)


@pytest.fixture(scope="module")
def _opened(browser: Browser) -> Iterator[dict[str, tuple[Page, windows.Watch]]]:
    with ExitStack() as opened:
        yield {
            language: opened.enter_context(windows.window(browser, locale=locale))
            for language, locale in LANGUAGES.items()
        }


@pytest.fixture
def window_in(_opened: dict[str, tuple[Page, windows.Watch]]) -> Iterator[Windows]:
    """A window for each language, shared by all pages: a new one takes half a second."""

    def reading(language: str) -> Page:
        page, _ = _opened[language]
        page.emulate_media(color_scheme="light")
        return page

    yield reading
    for _, watch in _opened.values():
        try:
            watch.check()
        finally:
            watch.complaints.clear()


def sized(page: Page) -> Iterator[str]:
    """The window at each size in turn; the page stays the same."""
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        yield size


@pytest.mark.parametrize(("name", "language"), cases())
def test_a_page_serves_everybody(
    name: str,
    language: str,
    demo_shop: DemoShop,
    found: dict[str, str],
    window_in: Windows,
    no_violations: Callable[..., None],
) -> None:
    page = window_in(language)
    answer = page.goto(address(name, demo_shop, found))

    assert answer is not None
    assert answer.status == SAYS_NO.get(name, 200)
    assert page.locator("h1").count() == 1
    assert page.title()
    assert page.locator("html").get_attribute("lang") == language
    for size in sized(page):
        assert not faults(page), f"{name}, {language}, {size}"
        screens = page.evaluate("document.documentElement.scrollHeight / innerHeight")
        if size == "desk":
            assert screens <= TALLEST.get(name, screens)
        if size == "phone":
            assert screens <= TALLEST_ON_A_PHONE.get(name, 9.5)
    if name in FIRST_PARTS:
        kept = FIRST_PARTS[name]
        parts = f"[...document.querySelectorAll('main :is(h2, h3, p, dl)')].slice({kept})"
        page.evaluate(f"{parts}.forEach(part => part.remove())")
    thin(page)
    whole = list(SIZES)[list(PAGES).index(name) % len(SIZES)]
    for size in sized(page):
        if EVERYTHING or size == whole:
            no_violations(page)
    page.emulate_media(color_scheme="dark")  # other colours, the same page
    no_violations(page, COLOURS)


@pytest.fixture(scope="module")
def empty_shop(
    tmp_path_factory: pytest.TempPathFactory, starter: Starter
) -> Iterator[DemoShop]:
    """A shop in which nothing was entered yet, served."""
    folder = tmp_path_factory.mktemp("empty-shop")
    database = folder / "empty.db"
    open_store(f"sqlite:///{database}").close()
    with serve_shop(database, Path(tmp_path_factory.mktemp("served")), starter) as shop:
        yield shop


@pytest.mark.parametrize("language", LANGUAGES)
def test_pages_with_nothing_on_them_serve_everybody(
    language: str, empty_shop: DemoShop, window_in: Windows, no_violations: Callable[..., None]
) -> None:
    page = window_in(language)
    for place, path in enumerate(EMPTY):
        page.goto(empty_shop.address + path)
        for size in sized(page):
            assert not faults(page), f"{path}, {language}, {size}"
        if EVERYTHING or place % len(LANGUAGES) == list(LANGUAGES).index(language):
            no_violations(page)


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
    console: list[str] = []
    page.on("console", lambda message: console.append(message.text))
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

    page.evaluate(
        """() => {
        document.querySelector('main').insertAdjacentHTML('beforeend',
          '<div class="wide" data-style="width: 4em"><table><td>Schneidstoffe</table></div>'
          + '<p><button class="main" data-style="min-height: 0; height: 30px">Los</button> '
          + '<a href="#a" data-style="display: inline-block; width: 9px; height: 9px">a</a>'
          + '<a href="#b" data-style="display: inline-block; width: 9px; height: 9px">b</a></p>'
          + '<p data-style="width: 4em">Schwesterwerkzeuge</p>'
          + '<p data-style="width: 2em; overflow-wrap: anywhere">+0.010</p>'
          + '<p data-style="line-height: 0"><button>Auf</button><br><button>Ab</button></p>'
          + '<label for="close" data-style="margin: 0">Nah</label><input id="close">');
        for (const part of document.querySelectorAll('[data-style]'))
          part.style.cssText = part.dataset.style;
        }"""
    )

    told = " ".join(faults(page))
    seen = ["wide in a window", "cut:", "least 44", "least 24", "touches", "stands on another"]
    for fault in [*seen, "broken: Schwester", "broken: +0.010"]:
        assert fault in told
    with pytest.raises(AssertionError, match="label"):
        no_violations(page)
    with pytest.raises(AssertionError, match="color-contrast"):
        no_violations(page, COLOURS)
    assert any("Content Security Policy" in one for one in console)
