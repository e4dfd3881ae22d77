"""What is wrong with a page as it is drawn now: cut, too small to touch, words broken."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

#: WCAG 2.2, 2.5.8 Target Size (Minimum): 24 by 24 CSS px, but for links in a sentence and for
#: targets with so much room around them; 2.5.5 (Enhanced): 44, here for a page's main acts.
LEAST, MAIN = 24, 44
_FAULTS = Path(__file__).with_suffix(".js").read_text("utf-8")


def faults(page: Page) -> list[str]:
    """What is cut, too small, too near or too high on a page as it is drawn now.

    Args:
        page: In a window of some size.
    """
    page.wait_for_load_state()  # words are there before their style is
    found: list[str] = page.evaluate(_FAULTS, [LEAST, MAIN])
    return found
