"""A real browser on the demonstration shop, served for real."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Playwright, sync_playwright

from tests.browser import windows
from tests.browser.shop import DemoShop, serve_shop
from tests.demos import Demos
from tests.starter import Starter

OpenWindow = Callable[..., Page]


@pytest.fixture(scope="session")
def steering() -> Iterator[Playwright]:
    """What steers browsers; tests are skipped where there is none."""
    if windows.chromium() is None:
        pytest.skip(windows.MISSING)
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def browser(steering: Playwright) -> Iterator[Browser]:
    """One browser for all tests; each test opens windows of its own in it."""
    browser = windows.launch(steering)
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def demo_database(browser: Browser, demos: Demos) -> Path:
    """The demonstration shop's database, made once for all processes; copy it."""
    return demos.database()


@pytest.fixture(scope="session")
def demo_shop(
    demo_database: Path, tmp_path_factory: pytest.TempPathFactory, starter: Starter
) -> Iterator[DemoShop]:
    """The demonstration shop for tests that only look."""
    folder = tmp_path_factory.mktemp("demo-shop")
    with serve_shop(demo_database, folder, starter, CRIB_HOSTS="toolroom.example") as shop:
        yield shop


@pytest.fixture
def own_shop(demo_database: Path, tmp_path: Path, starter: Starter) -> Iterator[DemoShop]:
    """The demonstration shop for one test that changes it."""
    with serve_shop(demo_database, tmp_path, starter) as shop:
        yield shop


@pytest.fixture
def open_window(browser: Browser) -> Iterator[OpenWindow]:
    """Open windows: (size, scheme, options of a browser context); watched until the test ends.

    What a test expects to go wrong it names first:
    ``open_window.allowed.append("/v1/mounts")``.
    """
    with ExitStack() as opened:
        watches: list[windows.Watch] = []
        allowed: list[str] = []

        def open_one(size: str = "desk", scheme: str = "light", **options: Any) -> Page:
            page, watch = opened.enter_context(windows.window(browser, size, scheme, **options))
            watch.allowed = allowed
            watches.append(watch)
            return page

        open_one.allowed = allowed  # type: ignore[attr-defined]
        yield open_one
        for watch in watches:
            watch.check()


@pytest.fixture(scope="module")
def _shared_window(browser: Browser) -> Iterator[tuple[Page, windows.Watch]]:
    with windows.window(browser) as (page, watch):
        yield page, watch


@pytest.fixture
def looker(_shared_window: tuple[Page, windows.Watch]) -> Iterator[Page]:
    """A window of 1440 x 900 for tests that only look: a new one takes half a second."""
    page, watch = _shared_window
    width, height, _ = windows.SIZES["desk"]
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(color_scheme="light")
    yield page
    try:
        watch.check()
    finally:
        watch.complaints.clear()


@pytest.fixture
def phone(open_window: OpenWindow) -> Page:
    """A window of 360 x 740 that is touched."""
    return open_window("phone")


@pytest.fixture
def tablet(open_window: OpenWindow) -> Page:
    """A window of 820 x 1180 that is touched."""
    return open_window("tablet")


@pytest.fixture
def desk(open_window: OpenWindow) -> Page:
    """A window of 1440 x 900 with mouse and keyboard."""
    return open_window("desk")


@pytest.fixture(scope="session")
def no_violations() -> Callable[..., None]:
    """Fail on anything that axe-core finds against WCAG 2.2 AA on the page as it is now."""
    return windows.no_violations
