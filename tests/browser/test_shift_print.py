"""The shift's timeline on paper."""

from __future__ import annotations


def test_the_timeline_of_the_shop_prints_on_one_landscape_sheet(demo_shop, desk):
    desk.goto(demo_shop.address + "/shift")

    paper = desk.pdf(prefer_css_page_size=True)

    assert paper.count(b"/Type /Page\n") == 1
