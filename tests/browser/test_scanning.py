"""Scans in the page, for real: a scanner that types, a photo, a camera that sees a label."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from playwright.sync_api import Page, Playwright, expect

from crib.codes import ALPHABET, KINDS, check_character, make_code, parse_code, strip_address
from crib.errors import BadCode
from labels.kinds import HolderTag
from labels.media import load_stocks
from labels.pdf import render_labels
from tests.browser.machine_floor import type_like
from tests.browser.pages import known
from tests.browser.shop import DemoShop
from tests.browser.windows import Watch, launch, window

FIELD = "[data-scan]"
#: Quick enough for a scanner: less than its mean pace in api/static/scan_keys.js [ms].
SCANNER_MS = 50


@pytest.fixture(scope="module")
def holder(demo_shop: DemoShop) -> str:
    """Code of a holder of the demonstration shop."""
    return known(demo_shop)["holder"]


def add_note(page: Page) -> None:
    """Another text field and a button, as pages have them beside the scan field."""
    page.evaluate(
        """() => document.querySelector('main').insertAdjacentHTML('beforeend',
        '<form id="other"><label for="note">Note</label><input id="note">' +
        '<button type="button" id="press">Press</button></form>')"""
    )


def tell_keys(page: Page) -> None:
    """Keep the instants [ms] at which the page got its keys."""
    page.evaluate(
        """() => { window.keysAt = []; document.addEventListener('keydown',
        (event) => window.keysAt.push(event.timeStamp), true) }"""
    )


def tell_scans(page: Page) -> None:
    """Keep scans in the page instead of acting on them."""
    page.evaluate(
        """() => { window.scans = []; document.addEventListener('crib:scan', (event) => {
        event.preventDefault(); window.scans.push([event.detail.text, event.detail.by]) }) }"""
    )


# --- a scanner that types ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("focus", "address", "ending"),
    [
        (FIELD, "", ""),
        (FIELD, "HTTPS://CRIB.EXAMPLE/C/", "\n"),
        ("body", "", "\n"),
        ("body", "HTTPS://CRIB.EXAMPLE/C/", ""),
        ("#note", "", "\n"),
        ("#note", "", ""),
        ("#press", "HTTPS://CRIB.EXAMPLE/C/", "\n"),
        ("#press", "", ""),
    ],
)
def test_a_typing_scanner_is_heard_wherever_the_focus_is(
    focus: str, address: str, ending: str, holder: str, demo_shop: DemoShop, desk: Page
) -> None:
    desk.goto(demo_shop.address)
    add_note(desk)
    desk.fill("#note", "before ")
    desk.evaluate("document.activeElement.blur()")
    if focus != "body":
        desk.focus(focus)

    type_like(desk, address + holder + ending, gap_ms=5)

    desk.wait_for_url(f"**/C/{holder}")


@pytest.mark.parametrize("focus", [FIELD, "body", "#note"])
@pytest.mark.parametrize("stalled_at", [1, 3, 6])
def test_a_slow_scanner_loses_nothing_where_the_machine_stalls(
    stalled_at: int, focus: str, holder: str, demo_shop: DemoShop, desk: Page
) -> None:
    desk.goto(demo_shop.address)
    add_note(desk)
    tell_scans(desk)
    desk.evaluate("document.activeElement.blur()")
    if focus != "body":
        desk.focus(focus)

    type_like(desk, f"{holder}\n", gap_ms=35, stalled_at=stalled_at)

    assert desk.evaluate("window.scans") == [[holder, "keys"]]
    assert desk.input_value("#note") == ""


def test_a_scanner_is_heard_in_real_time(holder: str, demo_shop: DemoShop, desk: Page) -> None:
    desk.goto(demo_shop.address)
    tell_scans(desk)
    desk.evaluate("document.activeElement.blur()")
    for _ in range(20):  # a machine that is busy elsewhere makes a scanner look like a person
        tell_keys(desk)
        desk.evaluate("window.scans = []")
        desk.keyboard.type(f"{holder}\n", delay=5)
        at = desk.evaluate("window.keysAt")
        if max(second - first for first, second in pairwise(at)) < SCANNER_MS:
            desk.wait_for_function("window.scans.length")
            assert desk.evaluate("window.scans") == [[holder, "keys"]]
            return
        desk.wait_for_timeout(300)  # more than the pause that ends a scan
    pytest.skip("this machine is too busy to type as a scanner does")


def test_a_scan_leaves_the_field_that_had_the_focus_as_it_was(
    holder: str, demo_shop: DemoShop, desk: Page
) -> None:
    desk.goto(demo_shop.address)
    add_note(desk)
    tell_scans(desk)
    desk.fill("#note", "half a sen")

    type_like(desk, f"{holder}\n", gap_ms=5)

    expect(desk.locator("#note")).to_have_value("half a sen")
    assert desk.evaluate("window.scans") == [[holder, "keys"]]
    assert desk.locator("#note").evaluate("note => note === document.activeElement")


def test_what_a_person_types_stays_where_it_is_typed(
    holder: str, demo_shop: DemoShop, desk: Page
) -> None:
    desk.goto(demo_shop.address)
    add_note(desk)
    tell_scans(desk)

    desk.focus("#note")
    type_like(desk, holder, gap_ms=80)
    desk.focus(FIELD)
    type_like(desk, holder, gap_ms=80)
    desk.wait_for_timeout(300)  # more than twice the pause that ends a scan

    assert desk.evaluate("window.scans") == []
    assert desk.input_value("#note") == holder
    assert desk.input_value(FIELD) == holder


def test_quick_text_that_is_no_scan_goes_back_to_its_field(
    demo_shop: DemoShop, desk: Page
) -> None:
    """A text expander or a gauge types quickly too."""
    desk.goto(demo_shop.address)
    add_note(desk)
    tell_scans(desk)
    desk.fill("#note", "so: ")

    type_like(desk, "seat cleaned, screw at 1.2 Nm", gap_ms=5)

    expect(desk.locator("#note")).to_have_value("so: seat cleaned, screw at 1.2 Nm")
    assert desk.evaluate("window.scans") == []


def test_a_mistyped_code_without_enter_is_not_sent_by_itself(
    holder: str, demo_shop: DemoShop, desk: Page
) -> None:
    desk.goto(demo_shop.address)
    tell_scans(desk)
    wrong = holder[:-1] + ("0" if holder[-1] != "0" else "1")

    type_like(desk, wrong, gap_ms=5)

    expect(desk.locator(FIELD)).to_have_value(wrong)
    desk.wait_for_timeout(300)
    assert desk.evaluate("window.scans") == []


def test_the_shops_own_mark_is_scanned_where_enter_ends_it(
    demo_shop: DemoShop, desk: Page
) -> None:
    mark = demo_shop.get("/v1/holders?limit=1")["items"][0]["holder"]
    desk.goto(demo_shop.address)
    desk.evaluate("document.activeElement.blur()")

    type_like(desk, f"{mark}\n", gap_ms=5)

    desk.wait_for_url(f"**/C/{mark}")


def test_check_characters_in_the_page_are_those_of_the_service(
    demo_shop: DemoShop, desk: Page
) -> None:
    draw = np.random.default_rng(7064)
    bodies = [
        "".join(draw.choice(list(ALPHABET), size)) for size in range(1, 41) for _ in range(20)
    ]
    texts = [make_code(kind, int(n)) for kind in KINDS for n in draw.integers(0, 36**7, 60)]
    texts += [text[:-1] + ALPHABET[int(draw.integers(36))] for text in texts]
    texts += [f"https://crib.example:8443/c/{text.lower()}/" for text in texts[::5]]
    texts += ["", "A", "A00001", "TH-1", "B00001K", "http://other.example/H00001K"]
    desk.goto(demo_shop.address)

    found = desk.evaluate(
        """async ([bodies, texts]) => {
        const codes = await import('/static/codes.js');
        return [bodies.map(codes.checkCharacter), texts.map(codes.isWholeCode),
          texts.map(codes.stripAddress)] }""",
        [bodies, texts],
    )

    assert found[0] == [check_character(body) for body in bodies]
    assert found[1] == [_is_code(text) for text in texts]
    assert found[2] == [strip_address(text) for text in texts]
    assert {True, False} == set(found[1])


def _is_code(text: str) -> bool:
    try:
        parse_code(text)
    except BadCode:
        return False
    return True


# --- eyes -------------------------------------------------------------------------------------


def label_seen(code: str, *, width: int, height: int, angle: float, blur: float) -> Image.Image:
    """A printed holder tag on a bench, as a camera sees it."""
    stock = load_stocks()["roll-50x25"]
    tag = HolderTag(code, "H-118", "SQ12", "SDJCR 1212 K11", "shank 12 mm", None, "Rack B3")
    document = pypdfium2.PdfDocument(
        render_labels([tag], stock, address="https://crib.example")
    )
    try:
        drawn = document[0].render(scale=300 / 72, grayscale=True).to_pil().convert("L")
    finally:
        document.close()
    drawn = drawn.resize((width * 6 // 10, width * 6 // 10 * drawn.height // drawn.width))
    turned = drawn.convert("LA").rotate(angle, expand=True, resample=Image.Resampling.BICUBIC)
    seen = Image.new("L", (width, height), 90)
    place = ((width - turned.width) // 2, (height - turned.height) // 2)
    seen.paste(turned.getchannel("L"), place, turned.getchannel("A"))
    return seen.filter(ImageFilter.GaussianBlur(blur))


def write_video(path: Path, frames: list[NDArray[np.uint8]]) -> None:
    """Grey frames as YUV4MPEG2, 4:2:0 (its header from memory)."""
    height, width = frames[0].shape
    half = np.full(height * width // 2, 128, dtype=np.uint8).tobytes()
    with path.open("wb") as video:
        video.write(f"YUV4MPEG2 W{width} H{height} F10:1 Ip A1:1 C420jpeg\n".encode())
        for frame in frames:
            video.write(b"FRAME\n" + frame.tobytes() + half)


OpenWithCamera = Callable[..., Page]


@pytest.fixture
def open_with_camera(steering: Playwright, tmp_path: Path) -> Iterator[OpenWithCamera]:
    """Open an address in a browser whose camera sees these frames again and again."""
    with ExitStack() as opened:

        def open_page(address: str, frames: list[NDArray[np.uint8]]) -> Page:
            film = tmp_path / "bench.y4m"
            write_video(film, frames)
            browser = launch(
                steering,
                "--use-fake-device-for-media-stream",
                "--use-fake-ui-for-media-stream",
                f"--use-file-for-fake-video-capture={film}",
            )
            opened.callback(browser.close)
            page, watch = opened.enter_context(window(browser, "phone", permissions=["camera"]))
            watches.append(watch)
            page.goto(address)
            return page

        watches: list[Watch] = []
        yield open_page
        for watch in watches:
            watch.check()


BENCH = np.full((480, 640), 90, dtype=np.uint8)


def test_the_camera_in_the_page_reads_a_turned_blurred_label(
    holder: str, demo_shop: DemoShop, open_with_camera: OpenWithCamera
) -> None:
    noise = np.random.default_rng(20261126)
    frames = [BENCH] * 5
    for turn in (8, 11, 14):
        seen = label_seen(holder, width=640, height=480, angle=turn, blur=0.8)
        grey = np.asarray(seen, dtype=float) * 0.7 + 30 + noise.normal(0, 6, BENCH.shape)
        frames += [np.clip(grey, 0, 255).astype(np.uint8)] * 5
    page = open_with_camera(demo_shop.address, frames)

    page.get_by_role("button", name="Camera").tap()

    page.wait_for_url(f"**/C/{holder}")


def test_the_camera_can_be_stopped_again(
    demo_shop: DemoShop, open_with_camera: OpenWithCamera, no_violations: Callable[[Page], None]
) -> None:
    page = open_with_camera(demo_shop.address, [BENCH] * 5)
    page.evaluate(
        """() => { const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
        navigator.mediaDevices.getUserMedia = async (...said) => {
        window.stream = await ask(...said); return window.stream } }"""
    )
    camera = page.get_by_role("button", name="Camera")

    camera.tap()
    expect(page.locator("video")).to_be_visible()
    expect(camera).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_role("status")).to_contain_text("in front of the camera")
    no_violations(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    camera.tap()

    expect(page.locator("video")).to_be_hidden()
    expect(camera).to_have_attribute("aria-pressed", "false")
    ended = "() => window.stream.getTracks().every((track) => track.readyState === 'ended')"
    assert page.evaluate(ended)


def test_a_camera_that_is_not_allowed_is_told_with_a_way_out(
    demo_shop: DemoShop, phone: Page
) -> None:
    phone.goto(demo_shop.address)

    phone.get_by_role("button", name="Camera").tap()

    expect(phone.get_by_role("status")).to_contain_text("take a photo")


def photo(image: Image.Image) -> dict[str, object]:
    kept = io.BytesIO()
    image.save(kept, "JPEG", quality=80)
    return {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": kept.getvalue()}


def choose_photo(page: Page, file: dict[str, object]) -> None:
    with page.expect_file_chooser() as asked:
        page.get_by_role("button", name="Photo of the symbol").tap()
    asked.value.set_files(file)  # type: ignore[arg-type]


@pytest.mark.parametrize("angle", [0, 12, 97])
def test_a_photo_of_a_label_is_read(
    angle: float, holder: str, demo_shop: DemoShop, phone: Page
) -> None:
    phone.goto(demo_shop.address)

    choose_photo(phone, photo(label_seen(holder, width=2400, height=1800, angle=angle, blur=3)))

    phone.wait_for_url(f"**/C/{holder}")


def test_a_photo_is_read_without_https_too(
    holder: str, demo_shop: DemoShop, phone: Page
) -> None:
    phone.add_init_script("Object.defineProperty(window, 'isSecureContext', {value: false})")
    phone.goto(demo_shop.address)
    expect(phone.get_by_role("button", name="Photo of the symbol")).to_be_visible()
    expect(phone.get_by_role("button", name="Camera")).to_have_count(0)

    choose_photo(phone, photo(label_seen(holder, width=1200, height=900, angle=4, blur=1)))

    phone.wait_for_url(f"**/C/{holder}")


def test_a_photo_without_a_symbol_says_what_to_do(demo_shop: DemoShop, phone: Page) -> None:
    phone.goto(demo_shop.address)

    choose_photo(phone, photo(Image.new("L", (1200, 900), 120)))
    expect(phone.get_by_role("status")).to_contain_text("Go closer")
    choose_photo(
        phone, {"name": "list.jpg", "mimeType": "image/jpeg", "buffer": b"no picture at all"}
    )
    expect(phone.get_by_role("status")).to_contain_text("is no picture")


def test_only_the_page_with_the_camera_may_run_compiled_code(demo_shop: DemoShop) -> None:
    with_camera = demo_shop.ask("GET", "/").headers["Content-Security-Policy"]
    without = demo_shop.ask("GET", "/problems").headers["Content-Security-Policy"]

    assert "'wasm-unsafe-eval'" in with_camera
    assert "wasm" not in without
    assert "'unsafe-eval'" not in with_camera + without
    assert "unsafe-inline" not in with_camera + without
