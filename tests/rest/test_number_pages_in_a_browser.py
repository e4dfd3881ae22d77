"""Pages of the calculations as a real browser draws them."""

import re
import threading

import pytest
from werkzeug.serving import make_server

from api import create_app
from api.pages.numbers.page import WORKINGS
from api.settings import Settings
from crib.store.migrate import open_store

NARROW = 360


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """The pages need no shop: one empty database does for all of them."""
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('pages') / 'crib.db'}")
    yield create_app(Settings(store.url), store).test_client()
    store.close()


@pytest.fixture
def address(client):
    """The service on loopback, in this process."""
    server = make_server("127.0.0.1", 0, client.application, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


def test_every_page_fits_a_narrow_screen_and_draws_its_formulas(address, browser):
    for path in ("/workings", *(f"/workings/{slug}" for slug in WORKINGS)):
        browser.look(NARROW)
        browser.open(address + path)

        assert browser.value("document.documentElement.scrollWidth") <= NARROW, path
        if path == "/workings":
            continue
        drawn = browser.value(
            "[...document.querySelectorAll('.formula math')].map(m => {"
            "const box = m.getBoundingClientRect(); return [box.width, box.height]})"
        )
        assert bool(drawn) == bool(WORKINGS[path.rpartition("/")[2]].lines), path
        assert all(width > 20 and height > 10 for width, height in drawn), path
        # A browser that knows no MathML writes a fraction's parts in one line.
        stacked = browser.value(
            "[...document.querySelectorAll('.formula mfrac')].every(f => {"
            "const [a, b] = [...f.children].map(c => c.getBoundingClientRect());"
            "return a.bottom <= b.top + 1})"
        )
        assert stacked, path


def test_typed_figures_are_worked_out_without_any_script_of_the_page(address, browser):
    browser.look(NARROW)
    browser.open(f"{address}/workings/tool-life")
    browser.tell("Emulation.setScriptExecutionDisabled", value=True)
    browser.value(
        "for (const i of document.querySelectorAll('form input')) i.value = '';"
        "document.querySelector('[name=cutting_speed_m_min]').value = '50';"
        "document.querySelector('[name=n]').value = '0.125';"
        "document.querySelector('[name=c_m_min]').value = '70';"
    )
    browser.value("document.querySelector('form button').click()")
    browser.wait_for_page()

    assert browser.value("document.querySelector('#result dd strong').textContent") == "14.758"
    assert browser.value("document.querySelector('[name=n]').value") == "0.125"


def test_a_complaint_stands_beside_its_field(address, browser):
    browser.look(NARROW)
    browser.open(f"{address}/workings/tool-life?cutting_speed_m_min=0&n=0.2&c_m_min=90")

    field = "document.querySelector('[name=cutting_speed_m_min]')"
    assert browser.value(f"{field}.getAttribute('aria-invalid')") == "true"
    told = f"document.getElementById({field}.getAttribute('aria-describedby'))"
    assert "more than 0" in browser.value(f"{told}.textContent")
    gap = f"{told}.getBoundingClientRect().top - {field}.getBoundingClientRect().bottom"
    assert 0 <= browser.value(gap) < 20


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_in_light_and_dark(address, browser, scheme):
    """Contrast by the formula of WCAG 2 (from memory), at least 4.5 for text."""
    browser.look(NARROW, scheme=scheme)
    browser.open(f"{address}/workings/tool-life?cutting_speed_m_min=0&n=0.2&c_m_min=90")
    found = browser.value(
        """(() => {
        const light = c => { const [r, g, b] = c.match(/[0-9.]+/g).slice(0, 3).map(v => v / 255)
            .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
            return 0.2126 * r + 0.7152 * g + 0.0722 * b };
        const under = light(getComputedStyle(document.body).backgroundColor);
        return ['body', '.wrong', '.quiet', 'label', 'input', 'a', 'summary'].map(name => {
            const over = light(getComputedStyle(document.querySelector(name)).color);
            return (Math.max(over, under) + 0.05) / (Math.min(over, under) + 0.05)})
        })()"""
    )

    assert min(found) >= 4.5
    paper = browser.value("getComputedStyle(document.body).backgroundColor")
    assert (min(map(int, re.findall("[0-9]+", paper))) > 128) == (scheme == "light")


def test_no_word_of_a_table_is_broken_on_a_narrow_screen(address, browser):
    browser.look(NARROW)
    browser.open(f"{address}/workings/insert-designation")
    broken = browser.value(
        "[...document.querySelectorAll('th, td')].filter(cell => {"
        "if (!cell.firstChild || /\\s/.test(cell.textContent.trim())) return false;"
        "const range = document.createRange(); range.selectNodeContents(cell);"
        "return range.getClientRects().length > 1}).map(cell => cell.textContent)"
    )

    assert broken == []
