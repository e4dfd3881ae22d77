"""The work on one tool: readings, their verdict to scale, and the preset that they become."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from flask.testing import FlaskClient

from tests.pages.reading import form_data, parsed, read, words

LINE = "LF 80.001 WF 16.0103 RE 0.8"


def take(client: FlaskClient, code: str, *lines: str) -> str:
    """The page's address after the gauge sent lines."""
    address = f"/bench/work/{code}"
    for line in lines:
        page = read(client, address)
        form = page.select_one("form:has([name=line])")
        sent = form_data(form) | {"line": [line]}
        answer = client.get(f"/bench/work/{code}", query_string=sent)
        assert answer.status_code == 303, words(parsed(answer.get_data()))
        address = answer.headers["Location"]
    return address


def accept(client: FlaskClient, address: str, **more: str):
    """Send the form that records the readings."""
    form = read(client, address).select_one("form[method=post]:has([name=r])")
    typed = {name: [text] for name, text in more.items()}
    return client.post(form["action"], data=form_data(form) | typed)


@pytest.fixture
def code(bench: SimpleNamespace) -> str:
    """A tool that was built, its gauge checked before."""
    bench.check_gauge()
    return str(bench.build()["code"])


def test_lines_of_the_gauge_gather_and_survive_a_reload(client, code, rows):
    address = take(client, code, LINE, LINE, "LF 80.002 WF 16.0103 RE 0.8")

    page = read(client, address)
    again = read(client, address)

    assert len(page.select("ol.taken li")) == 3
    assert page.select("ol.taken li") == again.select("ol.taken li")
    assert "Would be accepted" in words(page)
    assert rows("presets") == 0


def test_the_mean_stands_where_the_scale_has_it(client, code):
    page = read(client, take(client, code, LINE, LINE, LINE))

    drawing = page.select_one("svg.scale")
    band = drawing.select_one("rect.band")
    left, width = float(band["x"]), float(band["width"])
    middle = float(drawing.select_one("circle.reading")["cx"])
    # limits 79.8 to 80.2 mm: a reading of 80.001 stands 0.201 / 0.4 across the band
    assert (middle - left) / width == pytest.approx(0.201 / 0.4, abs=0.001)
    assert "limits 79.800 mm to 80.200 mm, nominal 80.000 mm" in drawing["aria-label"]


def test_a_line_that_does_not_match_says_so_and_changes_nothing(client, code):
    address = take(client, code, LINE)

    page = read(client, f"{address}&line=LF+eighty", 422)

    assert "Word 2 of the line" in words(page.select_one("[role=alert]"))
    assert page.select_one("[name=line]")["value"] == "LF eighty"
    assert len(page.select("ol.taken li")) == 1


def test_a_line_with_other_lengths_than_before_is_not_taken(client, code):
    page = read(client, f"{take(client, code, LINE)}&line=LF+80.001", 422)

    assert "measure the same lengths each time" in words(page)
    assert len(page.select("ol.taken li")) == 1


def test_readings_are_typed_measure_by_measure_with_a_comma_too(client, code):
    page = read(client, f"/bench/work/{code}?lf=80,001&wf=16.0103&re=0,8")

    assert "LF 80.0010 mm, WF 16.0103 mm, RE 0.8000 mm" in words(page.select_one("ol.taken"))
    assert page.select_one("[name=lf]").has_attr("autofocus")


def test_a_length_that_is_none_is_told_at_its_field(client, code):
    page = read(client, f"/bench/work/{code}?lf=8o&wf=16", 422)

    assert page.select_one("[name=lf]")["aria-invalid"] == "true"
    assert page.select_one("[name=wf]")["value"] == "16"


def test_a_reader_in_inches_types_inches(client, code):
    client.set_cookie("crib_shown", "en.in.24")

    address = client.get(f"/bench/work/{code}?lf=3.14965&wf=0.63033").headers["Location"]

    assert "LF+80.0011+WF+16.0104" in address  # 1 in = 25.4 mm


def test_a_reading_is_taken_out_again(client, code):
    page = read(client, take(client, code, LINE, "LF 99 WF 16.0103 RE 0.8"))

    page = read(client, page.select("ol.taken a")[1]["href"])

    assert [words(one.select_one(".code")) for one in page.select("ol.taken li")] == [
        "LF 80.0010 mm, WF 16.0103 mm, RE 0.8000 mm"
    ]


def test_the_reading_that_does_not_belong_is_named(client, code):
    lines = [f"LF {80 + n / 10_000} WF 16 RE 0.8" for n in range(5)]

    page = read(client, take(client, code, *lines, "LF 80.15 WF 16 RE 0.8"))

    assert "6" in words(page.select_one(".measure .care"))


def test_what_was_accepted_is_what_was_shown(client, code, rows):
    address = take(client, code, LINE, LINE, "LF 80.003 WF 16.0103 RE 0.8")
    shown = words(read(client, address).select_one(".mean-figure"))

    answer = accept(client, address)

    assert answer.status_code == 303
    assert rows("presets") == 1
    preset = client.get(f"/v1/assemblies/{code}").get_json()["preset"]
    assert preset["accepted"] is True
    assert shown == f"Mean {preset['lf_mm']} mm"


def test_a_form_that_is_sent_twice_records_once(client, code, rows):
    address = take(client, code, LINE)
    form = read(client, address).select_one("form[method=post]:has([name=r])")

    first, second = (client.post(form["action"], data=form_data(form)) for _ in range(2))

    assert (first.status_code, second.headers["Location"]) == (303, first.headers["Location"])
    assert rows("presets") == 1


def test_readings_outside_are_recorded_as_not_accepted_and_say_why(client, code):
    address = take(client, code, *["LF 81 WF 16.0103 RE 0.8"] * 3)
    page = read(client, address)
    assert "Would not be accepted" in words(page)
    assert not page.select("[data-key=F2]")

    page = read(client, accept(client, address).headers["Location"])

    assert "not accepted: do not mount it" in words(page)
    assert "LF is 81.0000 mm" in words(page)


def test_without_a_valid_check_only_a_supervisor_lets_it_count(client, bench, shop):
    code = bench.build()["code"]
    client.set_cookie("crib_by", shop.codes["people"]["B1"])
    address = take(client, code, LINE, LINE, LINE)
    page = read(client, address)
    assert "never checked" in words(page)
    assert "/bench/gauges/PG-1" in [one["href"] for one in page.select(".care a")]
    assert not page.select("[name=override_reason]")
    refused = accept(client, address, override_reason="night shift")
    assert refused.status_code == 403

    client.set_cookie("crib_by", shop.codes["people"]["B3"])
    assert read(client, address).select("[name=override_reason]")
    answer = accept(client, address, override_reason="master is at calibration")

    assert answer.status_code == 303
    preset = client.get(f"/v1/assemblies/{code}").get_json()["preset"]
    assert preset["accepted"] is True
    assert preset["override_reason"] == "master is at calibration"


def test_a_code_scanned_into_the_line_leads_to_its_own_work(client, bench, code):
    other = bench.build("TH-2")["code"]

    answer = client.get(f"/bench/work/{code}?line={other}")

    assert answer.headers["Location"] == f"/bench/find?code={other}"


def test_a_label_of_an_earlier_preset_says_so(client, bench):
    old = bench.ready()
    new = bench.measure(old)["assembly"]

    page = read(client, f"/bench/work/{old}")

    assert "superseded and VOID" in words(page)
    assert new in words(page.select_one("h1"))


def test_a_mounted_tool_is_not_measured(client, bench):
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)

    page = read(client, f"/bench/work/{code}")

    assert "It sits in M1/T01" in words(page)
    assert not page.select("[name=line]")


def test_an_address_that_somebody_changed_into_no_reading_says_so(client, code):
    assert "Word" in words(read(client, f"/bench/work/{code}?r=nonsense", 422))


def test_a_measure_that_its_station_needs_is_asked_for_and_named(client, bench, store, shop):
    code = bench.ready()
    with store.write() as tx:  # the geometry of the station is put right after the preset
        tx.exec_driver_sql(
            "UPDATE stations SET axis_y = '+HF' WHERE id = ?",
            (shop.ids["stations"]["M1/T01"],),
        )

    page = read(client, f"/bench/work/{code}")
    lines = "&".join(["r=LF+80.001+WF+16.0102"] * 3)
    judged = read(client, f"/bench/work/{code}?g=PG-1&{lines}")
    run = client.get("/v1/runs").get_json()["items"][0]["id"]
    kit = client.get(f"/v1/kits/{run}").get_json()

    missing = "HF was not measured, and station M1/T01 needs it"
    assert missing in words(page.main)  # of the preset that it has
    assert page.select_one("form.hand input[name=hf]")
    assert "Would not be accepted" in words(judged.select_one("#verdict"))
    assert missing in words(judged.select_one("section[aria-labelledby=verdict]"))
    line = next(one for one in kit["build"] if one["assembly"] == code)
    assert "measure it again with HF" in line["note"]
