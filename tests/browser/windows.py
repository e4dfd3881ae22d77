"""Windows of a real browser: their sizes, and what must not go wrong in them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import (
    Browser,
    ConsoleMessage,
    Locator,
    Page,
    Playwright,
    Request,
    Response,
    expect,
)

from tests.browser.shop import ZONE

#: What is expected may come late on a busy machine [ms].
PATIENCE_MS = 120_000
expect.set_options(timeout=PATIENCE_MS)

#: Names under which the browser is installed; the first opens a window in half the time: it is
#: the same browser with nothing drawn around its pages.
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser")
MISSING = "no Chromium is installed: sudo apt install chromium-headless-shell"
_WORDS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
)
#: The window of each kind of device: width and height [CSS px], touched or not.
SIZES = {
    "phone": (360, 740, True),
    "tablet": (820, 1180, True),
    "desk": (1440, 900, False),
}
_RULES = [
    *("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"),
    "best-practice",
]
#: Takes rows away that are made like others beside them: what is wrong with one is wrong with
#: all, and a page of hundreds takes axe-core seconds.
_THIN = """kept => {
    const make = part => part.localName + '.' + [...part.classList].sort().join('.')
        + '(' + [...part.children].map(make).join() + ')';
    for (const parent of document.querySelectorAll('main, main *')) {
        const seen = new Map();
        for (const part of [...parent.children]) {
            const count = (seen.get(make(part)) ?? 0) + 1;
            seen.set(make(part), count);
            if (count > kept) part.remove();
        }
    }
}"""
_OURS = ("127.0.0.1", "localhost")


def chromium() -> str | None:
    """The browser's program, if there is one."""
    return next(filter(None, map(shutil.which, NAMES)), None)


def launch(playwright: Playwright, *words: str) -> Browser:
    """Start the browser.

    Args:
        playwright: What steers it.
        words: More of its own options.
    """
    return playwright.chromium.launch(
        executable_path=chromium(), args=[*_WORDS, *words], headless=False
    )


@dataclass
class Watch:
    """What went wrong in a window.

    Attributes:
        allowed: Parts of complaints that a test expects, such as the address of a call that
            is to be refused.
        complaints: Errors of scripts and of the console (breaches of the content policy stand
            there too), requests to other hosts, parts of pages that did not come.
    """

    allowed: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def over(self, page: Page) -> Page:
        """Watch a window from now on."""
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(f"script: {error}"))
        page.on("request", self._request)
        page.on("response", self._response)
        return page

    def check(self) -> None:
        """Fail if anything went wrong that no test expected."""
        wrong = [
            told for told in self.complaints if not any(one in told for one in self.allowed)
        ]
        assert not wrong, "\n".join(wrong)

    def _console(self, message: ConsoleMessage) -> None:
        # what did not load is seen by its answer; a page may say no by its status
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.complaints.append(f"console: {message.text}")

    def _request(self, request: Request) -> None:
        where = urlsplit(request.url)
        if where.scheme not in ("data", "blob") and where.hostname not in _OURS:
            self.complaints.append(f"another host: {request.url}")

    def _response(self, response: Response) -> None:
        kind = response.request.resource_type
        if response.status >= 400 and kind != "document":
            self.complaints.append(f"{kind}: {response.status} {response.url}")


@contextmanager
def window(
    browser: Browser, size: str = "desk", scheme: str = "light", **options: Any
) -> Iterator[tuple[Page, Watch]]:
    """A window with nothing kept from others, and its watch, checked by whoever opened it.

    Args:
        browser: Where.
        size: Of ``SIZES``.
        scheme: What the person prefers: light or dark.
        options: Further ones of ``browser.new_context``.
    """
    width, height, touched = SIZES[size]
    said: dict[str, Any] = {
        "viewport": {"width": width, "height": height},
        "has_touch": touched,
        "is_mobile": touched,
        "color_scheme": scheme,
        "locale": "en-GB",
        "timezone_id": ZONE,
        "reduced_motion": "reduce",
    }
    context = browser.new_context(**(said | options))
    context.set_default_timeout(PATIENCE_MS)
    watch = Watch()
    try:
        yield watch.over(context.new_page()), watch
    finally:
        context.close()


def is_in_window(part: Locator) -> bool:
    """Whether all of a part shows, with nothing laid over it."""
    part.page.wait_for_load_state()  # words are there before their style is
    shown: bool = part.evaluate(
        """part => { const { top, bottom, left, right } = part.getBoundingClientRect();
        const at = (x, y) => part.contains(document.elementFromPoint(x, y));
        return top >= 0 && bottom <= innerHeight && left >= 0 && right <= innerWidth
          && at((left + right) / 2, top + 2) && at((left + right) / 2, bottom - 2) }"""
    )
    return shown


def thin(page: Page, kept: int = 3) -> None:
    """Leave so many of the parts of a page that stand side by side and are made alike.

    Args:
        page: Only to be looked at from now on.
        kept: How many, in each place.
    """
    page.evaluate(_THIN, kept)


def no_violations(
    page: Page, rules: tuple[str, ...] = (), besides: tuple[str, ...] = ()
) -> None:
    """Fail on anything that axe-core finds against WCAG 2.2 A and AA, or calls bad practice.

    Args:
        page: As it is now.
        rules: Only these rules; none for all of them.
        besides: All but these.
    """
    page.wait_for_load_state()  # words are there before their style is
    only = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": _RULES}
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE_SCRIPT)
    # all that was right is thousands of lines of every page
    left = {rule: {"enabled": False} for rule in besides}
    options = {"runOnly": only, "rules": left, "resultTypes": ["violations"]}
    found = page.evaluate(
        "options => axe.run(options).then(found => found.violations)", options
    )
    told = [
        f"{rule['id']}: {rule['help']}\n"
        + "\n".join(f"  {node['html']}\n  {node['failureSummary']}" for node in rule["nodes"])
        for rule in found
    ]
    assert not told, f"{page.url}\n" + "\n".join(told)
