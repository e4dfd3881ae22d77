"""What each page is opened for stands in its first window, without scrolling."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page

from tests.browser.machine_floor import floor_of
from tests.browser.shop import DemoShop
from tests.browser.windows import is_in_window

#: Windows [CSS px].
WINDOWS = {"phone": (360, 640), "desk": (1440, 900)}


@pytest.fixture(params=WINDOWS)
def page(request: pytest.FixtureRequest, open_window: Callable[..., Page]) -> Page:
    width, height = WINDOWS[request.param]
    return open_window(request.param, viewport={"width": width, "height": height})


def test_the_front_page_says_what_each_role_has_to_do(demo_shop: DemoShop, page: Page) -> None:
    page.goto(demo_shop.address)

    needs = page.locator(".answers.roles a")
    assert needs.count() == 6
    assert all(is_in_window(one) for one in needs.all())
    assert is_in_window(page.locator("h1"))


def test_a_machine_says_what_it_runs_and_what_is_due_next(
    demo_shop: DemoShop, page: Page
) -> None:
    page.goto(floor_of(demo_shop).address)

    first = page.locator(".due li").first
    assert is_in_window(page.locator("#due > p").first)
    assert is_in_window(first)
    assert "sister" in first.inner_text()
    field = page.locator("input[data-scan]")
    assert field.evaluate("one => one.offsetWidth") >= 80  # a code may have to be typed
    assert is_in_window(page.get_by_role("button", name="Camera"))


def test_whether_forecasts_can_be_relied_on_is_said_as_it_was_judged(
    demo_shop: DemoShop, page: Page
) -> None:
    (judged,) = demo_shop.get("/v1/forecast-scores?by=shop")["items"]
    page.goto(f"{demo_shop.address}/were-we-right")

    overall = page.locator(".overall")
    assert is_in_window(overall)
    verdicts = {judged[one]["verdict"] for one in ("shift", "unattended", "life_80")}
    if "too_sure" in verdicts:
        assert "Do not rely on: " in overall.inner_text()
    if "too_cautious" in verdicts:
        assert "Too cautious: " in overall.inner_text()
    if "too_few" in verdicts:
        assert "Can't tell yet: " in overall.inner_text()
    answers = page.locator(".answers a")
    assert answers.count() == 5
    assert all(is_in_window(one) for one in answers.all())
    texts = [one.replace("\u00a0", " ") for one in answers.all_inner_texts()]
    assert judged["as_forecast"]["sentence"] in texts[0]
    for place, name in enumerate(("shift", "unattended", "life_80"), 1):
        said, held = texts[place], judged[name]
        if held["verdict"] == "too_few":
            assert "can't tell yet" in said
            assert "more" in said
            continue
        digits = 0 if name == "life_80" else 1
        for share in (held["claimed"], held["held"]):
            assert f"{100 * share:.{digits}f} %" in said
        assert ("do not rely on it" in said) == (held["verdict"] == "too_sure")


def test_every_swap_before_the_night_is_named(demo_shop: DemoShop, page: Page) -> None:
    found = demo_shop.get("/v1/shift-summary")
    page.goto(f"{demo_shop.address}/shift")

    swaps = [*found["tonight"]["swaps"], *found["tonight"]["also_due"]]
    said = page.locator(".answers a").nth(1).inner_text()
    places = list(dict.fromkeys(f"{one['machine']}/{one['station']}" for one in swaps))
    assert len(places) > 3
    # a phone has room for so many; of more it names the first and counts the rest
    few = len(places) > 18 and page.viewport_size["width"] < 600
    assert sum(one in said for one in places) >= (3 if few else len(places))
    assert (" more" in said) == few
    stops = [one for one in found["tonight"]["refused"] if one["run_until"]]
    assert page.locator(".floor .tonight", has_text="stop at").count() == len(stops) > 0


def test_a_name_goes_on_in_the_next_line_at_a_space_alone(
    demo_shop: DemoShop, page: Page
) -> None:
    for address in ("/bench", "/shift", floor_of(demo_shop).address):
        page.goto(address if address.startswith("http") else demo_shop.address + address)
        lines = page.locator(".unbroken").evaluate_all(
            """all => all.filter(one => one.checkVisibility()).map(one =>
            new Set([...one.getClientRects()].map(line => Math.round(line.top))).size)"""
        )
        assert set(lines) == {1}


def test_a_field_and_its_buttons_are_of_one_height(demo_shop: DemoShop, page: Page) -> None:
    def rows(*parts: Locator) -> set[tuple[int, int]]:
        boxes = [one.bounding_box() or {} for one in parts]
        return {(round(one["y"]), round(one["height"])) for one in boxes}

    for address in ("/", "/bench"):
        page.goto(demo_shop.address + address)
        form = page.locator("main form:has([data-scan-camera])")
        field, find = form.locator("input[data-scan]"), form.locator("button.main")
        camera, photo = (form.locator(f"[data-scan-{one}]") for one in ("camera", "photo"))
        camera.wait_for()
        if photo.is_visible():
            assert len(rows(field, find)) == len(rows(camera, photo)) == 1
        else:
            assert len(rows(field, find, camera)) == 1


@pytest.mark.parametrize("width", [1440, 2560])
def test_every_page_begins_at_one_left_edge_under_the_same_header(
    width: int, demo_shop: DemoShop, open_window: Callable[..., Page]
) -> None:
    page = open_window("desk", viewport={"width": width, "height": 900})
    seen = set()
    machine = floor_of(demo_shop).address.removeprefix(demo_shop.address)
    for address in ("/", "/bench", "/machines", machine, "/shift", "/rack", "/help", "/lives"):
        page.goto(demo_shop.address + address)
        page.wait_for_load_state()
        seen.add(
            page.evaluate(
                """() => {
                const box = name => document.querySelector(name).getBoundingClientRect();
                const width = document.documentElement.clientWidth;
                const edges = ['header .home', 'main h1', 'footer'].map(one => box(one).left);
                return [...edges, width - box('header .self').right].join(' ') }"""
            )
        )
    assert len(seen) == 1, seen
