"""Pictures of every page at three widths: ``python -m tests.browser.screenshots FOLDER``."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from crib.demo.history import DAYS
from tests.browser.pages import PAGES, address, known
from tests.browser.shop import serve_shop
from tests.browser.windows import MISSING, SIZES, chromium, launch, window
from tests.demos import Demos

#: Pages that stand in the README, and at which width.
IN_README = (("bench", "desk"), ("machine-yes", "phone"), ("shift", "desk"))


def shoot(folder: Path, database: Path, wanted: list[tuple[str, str]], scheme: str) -> None:
    """Write one PNG per page and size, PAGE-SIZE.png, of what a window shows without scrolling.

    Args:
        folder: Takes the pictures.
        database: With the demonstration shop.
        wanted: Pages and sizes.
        scheme: light or dark.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as own,
        serve_shop(database, Path(own)) as shop,
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        found = known(shop)
        for name, size in wanted:
            with window(browser, size, scheme) as (page, watch):
                page.goto(address(name, shop, found))
                page.screenshot(path=folder / f"{name}-{size}.png")
                watch.check()
        browser.close()


def main(arguments: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.browser.screenshots", description=__doc__
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--readme", action="store_true", help="only those of the README")
    parser.add_argument("--scheme", choices=("light", "dark"), default="light")
    parser.add_argument("--days", type=int, default=DAYS, help="length of the shop's history")
    given = parser.parse_args(arguments)
    if chromium() is None:
        sys.stderr.write(f"{MISSING}\n")
        return 1
    every = [(name, size) for name in PAGES for size in SIZES]
    with tempfile.TemporaryDirectory() as kept:
        database = Demos(Path(kept)).database(days=given.days)
        shoot(given.folder, database, list(IN_README) if given.readme else every, given.scheme)
    return 0


if __name__ == "__main__":
    sys.exit(main())
