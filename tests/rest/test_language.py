"""Pages speak the reader's language, unit and clock; what is not known stays English."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from api import create_app
from api.language import Preferences, _, _n, preferences, say
from api.language.catalogue import catalogue
from api.language.formats import (
    length,
    local_clock,
    local_day,
    local_time,
    nominal_length,
    number,
)
from api.settings import BadSetting, Settings
from crib.clock import print_instant
from crib.sentence import figure, sentence, together
from crib.units import tenths_um_from_in, tenths_um_from_mm

AT = datetime(2026, 11, 26, 17, 5, tzinfo=UTC)


@pytest.fixture
def shown(client):
    """What a reader with a choice sees: ``shown("de.mm.24", lambda: _("Holder"))``."""

    def see(cookie, work):
        with client.application.test_request_context(
            "/", headers={"Cookie": f"crib_shown={cookie}"}
        ):
            return work()

    return see


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("de", "de"),
        ("de-AT,en;q=0.5", "de"),
        ("fr,de;q=0.4,en;q=0.8", "en"),
        ("fr", "en"),
        ("", "en"),
        ("*", "en"),
        ("de;q=0,en;q=0.1", "en"),
        ("DE", "de"),
    ],
)
def test_the_browser_s_language_is_taken_where_it_is_here(client, accepted, language):
    answer = client.get("/", headers={"Accept-Language": accepted})

    assert answer.headers["Content-Language"] == language
    assert f'<html lang="{language}"' in answer.text
    assert {"Accept-Language", "Cookie"} <= set(answer.vary.as_set(preserve_casing=True))


def test_a_site_s_own_language_stands_where_nobody_says_one(store, clock):
    settings = Settings.from_environment(
        {"CRIB_DATABASE_URL": store.url, "CRIB_LANGUAGE": "de"}
    )
    client = create_app(settings, store, clock).test_client()

    assert client.get("/").headers["Content-Language"] == "de"
    english = client.get("/", headers={"Accept-Language": "en"})
    assert english.headers["Content-Language"] == "en"


@pytest.mark.parametrize("code", ["xx", "german", "DE", "../de"])
def test_a_language_that_is_not_here_stops_the_start(code):
    with pytest.raises(BadSetting, match="CRIB_LANGUAGE"):
        Settings.from_environment({"CRIB_LANGUAGE": code})


def test_a_choice_is_kept_and_leads_back(client):
    answer = client.post(
        "/shown", data={"language": "de", "unit": "in", "hours": "12", "back": "/problems?a=1"}
    )

    assert (answer.status_code, answer.location) == (303, "/problems?a=1")
    page = client.get(answer.location, headers={"Accept-Language": "en"})
    assert '<html lang="de"' in page.text
    assert "Was die Meldungen bedeuten" in page.text
    form = client.get("/shown").text
    assert '<option value="in" selected>' in form
    assert '<option value="12" selected>' in form


@pytest.mark.parametrize(
    "back",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "shown", "",
     "javascript:alert(1)"],
)  # fmt: skip
def test_the_way_back_leads_to_no_other_host(client, back):
    answer = client.post("/shown", data={"language": "en", "back": back})

    assert (answer.status_code, answer.location) == (303, "/")


def test_a_choice_from_another_site_s_page_is_refused(client):
    answer = client.post(
        "/shown", data={"language": "de"}, headers={"Origin": "https://elsewhere.example"}
    )

    assert answer.status_code == 403
    assert "crib_shown" not in answer.headers.get("Set-Cookie", "")


@pytest.mark.parametrize(
    "cookie", ["", "xx.cm.13", "de", "...", "de.in.12.more", "<b>", "de;in"]
)
def test_a_strange_cookie_breaks_no_page(client, cookie):
    client.set_cookie("crib_shown", cookie)

    assert client.get("/").status_code == 200


def test_outside_of_a_request_everything_is_english():
    assert preferences() == Preferences("en", "mm", 24)
    assert _("Holder") == "Holder"


def test_times_follow_the_reader_s_clock_and_the_site_s_zone(store, clock):
    settings = Settings.from_environment(
        {"CRIB_DATABASE_URL": store.url, "CRIB_TIME_ZONE": "Europe/Berlin"}
    )
    app = create_app(settings, store, clock)

    def see(cookie):
        with app.test_request_context("/", headers={"Cookie": f"crib_shown={cookie}"}):
            return local_clock(AT), local_day(AT), local_time(AT, year=True)

    assert see("en.mm.24") == ("18:05", "Thu 26 Nov", "Thu, 26 Nov 2026 18:05")
    assert see("en.mm.12") == ("6:05 pm", "Thu 26 Nov", "Thu, 26 Nov 2026 6:05 pm")
    assert see("de.mm.24") == ("18:05", "Do., 26. Nov.", "Do., 26. Nov. 2026 18:05")
    assert see("de.mm.12")[0] == "6:05 PM"


def test_numbers_have_the_language_s_mark_and_a_narrow_space(shown):
    def see():
        return number(12345.678, 2), number(1234), number(Decimal("0.5"), 1), number(None)

    assert shown("en.mm.24", see) == ("12\u202f345.68", "1\u202f234", "0.5", "")
    assert shown("de.mm.24", see) == ("12\u202f345,68", "1\u202f234", "0,5", "")


@given(st.integers(-(10**9), 10**9))
def test_a_length_shown_in_millimetres_is_exact(tenths_um):
    text = length(tenths_um, unit=False)

    assert tenths_um_from_mm(text) == tenths_um


@given(st.integers(-(10**8), 10**8))
def test_an_inch_shown_is_the_nearest_of_five_places(tenths_um):
    from flask import Flask, g

    app = Flask("inches")
    with app.test_request_context("/"):
        g.crib_preferences = Preferences("en", "in", 24)
        text = length(tenths_um, sign=True, unit=False)

    assert abs(tenths_um_from_in(text) - tenths_um) <= 1.27 + 0.5
    assert (text[0] in "+-") or tenths_um == 0 or text.strip("0.") == ""


def test_lengths_carry_their_unit_and_the_language_s_mark(shown):
    def see():
        return length(123456, sign=True), length(-5), length(0, sign=True), length(None)

    assert shown("en.mm.24", see) == ("+12.3456 mm", "-0.0005 mm", "0.0000 mm", "")
    assert shown("de.mm.24", see) == ("+12,3456 mm", "-0,0005 mm", "0,0000 mm", "")
    assert shown("de.in.24", see)[0] == "+0,48605 in"


def test_a_nominal_has_the_places_of_a_control_and_is_never_rounded(shown):
    def see():
        return tuple(nominal_length(one) for one in (1_500_000, 1_500_005, -10, None))

    assert shown("en.mm.24", see) == ("150.000 mm", "150.0005 mm", "-0.001 mm", "")
    assert shown("de.mm.24", see)[0] == "150,000 mm"
    assert shown("en.in.24", see)[0] == "5.90551 in"
    assert shown("en.mm.24", lambda: nominal_length(0, unit=False)) == "0.000"


def test_a_per_cent_sign_stays_on_the_line_of_its_number(shown):
    def see():
        said = sentence("Risk {risk}, limit {limit} %.", risk=figure(0.27, ".0%"), limit=5)
        return say(said), _("We are 80 % sure of {number}.", number=1)

    risk, page = shown("en.mm.24", see)
    assert risk == "Risk 27\u00a0%, limit 5\u00a0%."
    assert page == "We are 80\u00a0% sure of 1."
    assert shown("de.mm.24", see)[0] == "Risk 27\u00a0%, limit 5\u00a0%."


def test_a_number_may_keep_the_places_that_it_has(shown):
    def see():
        return tuple(number(one, None) for one in (0.75, 16.0, 1234.5, None))

    assert shown("de.mm.24", see) == ("0,75", "16", "1\u202f234,5", "")


def test_what_rounds_to_nothing_has_no_sign(shown):
    def see():
        return tuple(number(one, 1) for one in (-0.04, Decimal("-0.04"), -0.06, 0.04))

    assert shown("en.mm.24", see) == ("0.0", "0.0", "-0.1", "0.0")


def test_values_are_plain_until_a_template_escapes_them_all(shown):
    assert shown("de.mm.24", lambda: _("by {person}", person="<b>")) == "von <b>"
    app_text = shown("de.mm.24", lambda: _("by {person}", person=Markup("<b>Mira</b>")))
    assert app_text == Markup("von <b>Mira</b>")
    both = _("{free} (edges per piece: {edges})", free=Markup("<i>1</i>"), edges="<b>")
    assert both == Markup("<i>1</i> (edges per piece: &lt;b&gt;)")


def test_a_value_that_looks_like_a_hole_stays_a_value(shown):
    assert shown("de.mm.24", lambda: _("by {person}", person="{person}")) == "von {person}"


def test_a_text_that_lacks_one_of_its_values_is_a_fault():
    with pytest.raises(KeyError):
        _("{free} (edges per piece: {edges})", free=1)


def test_a_text_about_braces_keeps_them():
    assert _("Write {lf} where the length stands.") == "Write {lf} where the length stands."


def test_a_number_chooses_one_or_many(shown):
    def see():
        return [_n("{number} thing", "{number} things", n) for n in (0, 1, 2, 1200)]

    expected = ["0 things", "1 thing", "2 things", "1\u202f200 things"]
    assert shown("en.mm.24", see) == expected
    assert shown("de.mm.24", see) == expected  # no entry: English


@given(st.text(max_size=200) | st.sampled_from(sorted(catalogue("de").texts)))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_a_plain_text_is_the_shop_s_and_stays_as_it_is(shown, text):
    assert shown("en.mm.24", lambda: say(text)) == text
    assert shown("de.mm.24", lambda: say(text)) == text


def test_only_a_figure_is_written_as_the_language_writes_numbers(shown):
    told = sentence("{holder} mm, {reach} mm", holder="2.5", reach=figure(2.5, ".1f"))

    assert shown("de.mm.24", lambda: say(told)) == "2.5 mm, 2,5 mm"


def test_an_instant_in_a_sentence_is_told_in_the_site_s_time(store, clock):
    zoned = Settings.from_environment(
        {"CRIB_DATABASE_URL": store.url, "CRIB_TIME_ZONE": "Europe/Berlin"}
    )
    told = sentence(
        "{at} is too early: write it like 2026-03-29T01:30:00Z.", at=print_instant(AT)
    )
    with create_app(zoned, store, clock).test_request_context("/"):
        said = say(told)

    assert said == "Thu 26 Nov 18:05 is too early: write it like 2026-03-29T01:30:00Z."


def test_a_sentence_is_said_by_its_template_and_its_values_by_their_kinds(shown):
    """Decimal comma, degree and percent as German writes them: common practice, no source."""
    size = sentence(
        "size: {counted}inscribed circle {told}, edge {edge} mm",
        counted=sentence("in {of_what}", of_what=sentence("1/8 in, ")),
        told=together(" ", (figure(9.525, ".5g"), "mm")),
        edge=figure(9.525, ".2f"),
    )
    both = together("; ", [size, sentence("no hole, no chip breaker")])

    assert shown("en.mm.24", lambda: say(both)) == both
    assert shown("de.mm.24", lambda: say(both)) == (
        "Größe: in 1/8 Zoll, Inkreis 9,525 mm, Schneide 9,53 mm; kein Loch, kein Spanformer"
    )
