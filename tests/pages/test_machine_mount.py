"""At a machine by forms: scanned, yes or no, mounted, corrected, taken out."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pypdfium2
import pytest
from bs4 import BeautifulSoup
from flask.testing import FlaskClient

from api.language.preferences import COOKIE
from tests.pages.reading import parsed, read, words


def send(client: FlaskClient, page: BeautifulSoup, fact: str, **more: str):
    """Send a form of a page as a browser without scripts would."""
    form = page.select_one(f"form[data-fact={fact}]")
    data = {one["name"]: one.get("value", "") for one in form.select("input[name]")}
    for one in form.select("[type=radio]:not([checked])"):
        if data.get(one["name"]) == one["value"]:
            chosen = form.select_one(f"[type=radio][name={one['name']}][checked]")
            data[one["name"]] = chosen["value"]
    return client.post(form["action"], data=data | more)


@pytest.fixture
def stands(shop: SimpleNamespace) -> SimpleNamespace:
    """Codes of stations, by their short names."""
    codes = shop.codes["stations"]
    return SimpleNamespace(t1=codes["M1/T01"], t2=codes["M1/T02"], t11=codes["M1/T11"])


def asked(station: str, tool: str) -> str:
    return f"/machines/M1/mount?station={station}&tool={tool}"


@pytest.fixture
def mounted(client, bench, stands) -> SimpleNamespace:
    """A ready tool in M1/T01, and the address of its mount."""
    tool = bench.ready()
    answer = send(client, read(client, asked(stands.t1, tool)), "mount")
    assert answer.status_code == 303, words(parsed(answer.get_data()).main)
    return SimpleNamespace(tool=tool, address=answer.headers["Location"])


@pytest.mark.parametrize("first", ["station", "tool"])
def test_station_and_tool_are_scanned_in_either_order(client, bench, stands, first):
    scans = [stands.t1, bench.ready()]
    if first == "tool":
        scans.reverse()

    page = read(client, f"/machines/M1/scan?code={scans[0]}")
    form = page.select_one("form[data-scan-on]")
    more = {one["name"]: one["value"] for one in form.select("[type=hidden]")}
    query = "&".join(f"{name}={text}" for name, text in {**more, "code": scans[1]}.items())
    page = read(client, f"{form['action']}?{query}")

    assert form.select_one("input[name=code]").has_attr("autofocus")
    assert words(page.select_one(".verdict")).endswith("YES")


def test_a_yes_says_what_to_key_in(client, bench, stands):
    page = read(client, asked(stands.t1, bench.ready()))

    rows = [words(row) for row in page.select(".key-in tbody tr")]
    # X: datum 10 mm and WF 16.0103 mm, on diameter; Z: datum 25 mm less LF 80.001 mm
    assert rows[0].startswith("X +52.021 mm on diameter ± ")
    assert rows[1].startswith("Z -55.001 mm ")
    figures = [figure.get_text() for figure in page.select(".key-in .figure")]
    assert figures == ["+52.021", "-55.001"]  # copied, they are exact
    tip = words(page.select_one(".tip"))
    assert "Tip orientation 3" in tip
    assert "Nose radius 0.800 mm" in tip
    assert "G10 L1 P1" in words(page.select_one("pre"))
    assert "Stop the spindle" in words(page.select_one(".care"))
    assert words(page.select_one("form[data-fact=mount] button")) == "Mounted"


def test_cautions_come_in_three_lines_and_in_full_on_the_first_mount_of_a_shift(
    client, bench, stands, clock
):
    def cautions(station, tool):
        box = read(client, asked(station, tool)).select_one("#cautions")
        return [words(li) for li in box.select(":scope > ul > li")], box.details

    tool = bench.ready()
    short, full = cautions(stands.t1, tool)

    assert [line.partition(":")[0].partition(".")[0] for line in short] == [
        "Stop the spindle before you reach in", "Prove the offset", "X is keyed in on diameter",
    ]  # fmt: skip
    assert full.has_attr("open")
    assert "wait until it stands still" in words(full)

    bench.post("/v1/mounts", station="M1/T01", assembly=tool)
    bench.post("/v1/removals", station="M1/T01", reason="inspection")
    clock.go_on(hours=7)
    short, full = cautions(stands.t1, tool)

    assert short[0].startswith("This edge has cut before")  # what is special is never folded
    assert not full.has_attr("open")

    clock.go_on(hours=2)
    assert cautions(stands.t1, tool)[1].has_attr("open")


def test_a_no_names_every_mismatch_and_nothing_is_recorded(client, bench, stands, rows):
    tool = bench.ready()
    before = rows("facts")

    page = read(client, asked(stands.t11, tool))
    answer = client.post("/machines/M1/mount", data={"station": stands.t11, "tool": tool})

    assert words(page.select_one(".verdict")).endswith("NO")
    told = [words(one) for one in page.select(".mismatches li")]
    assert len(told) == 3
    assert "it belongs in T01" in told[0]
    assert not page.select("form[data-fact=mount]")
    assert answer.status_code == 409
    assert [words(one) for one in parsed(answer.get_data()).select(".mismatches li")] == told
    assert rows("facts") == before


def test_a_label_of_an_earlier_preset_is_a_no(client, bench, stands):
    old = bench.ready()
    bench.measure(old)

    page = read(client, asked(stands.t1, old))

    assert words(page.select_one(".verdict")).endswith("NO")
    assert "earlier preset" in words(page.select_one(".mismatches"))


def test_a_form_sent_twice_mounts_once(client, bench, stands, rows):
    page = read(client, asked(stands.t1, bench.ready()))

    first = send(client, page, "mount")
    second = send(client, page, "mount")

    assert first.status_code == second.status_code == 303
    assert first.headers["Location"] == second.headers["Location"]
    assert rows("mounts") == 1


@pytest.mark.parametrize(
    ("unit", "step", "figure", "uncertainty", "radius"),
    [
        ("mm", 1, r"[+-]\d+\.\d{4}", r"0\.\d{4}", "0.8000"),
        ("mm", 10, r"[+-]\d+\.\d{3}", r"0\.\d{3}", "0.800"),
        ("in", 25, r"[+-]\d+\.\d{4}", r"0\.\d{4}", "0.0315"),
        ("in", 1, r"[+-]\d+\.\d{5}", r"0\.\d{5}", "0.03150"),
    ],
)
def test_a_figure_has_one_unit_and_the_places_of_the_control_on_page_block_and_label(
    client, bench, stands, store, unit, step, figure, uncertainty, radius
):
    with store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE machines SET offset_unit = ?, offset_increment_tenths_um = ?"
            " WHERE machine = 'M1'",
            (unit, step),
        )
    tool = bench.ready()
    address = asked(stands.t1, tool)
    other = "in" if unit == "mm" else "mm"  # what the reader sees other lengths in
    client.set_cookie(COOKIE, f"en.{other}.24")

    page = read(client, address)
    keyed = [one.get_text() for one in page.select("table.key-in .figure")]
    label = client.get(f"/v1/labels/{tool}.pdf?stock=roll-100x50")
    with pypdfium2.PdfDocument(label.get_data()) as document:
        printed = " ".join(document[0].get_textpage().get_text_range().split())

    assert len(keyed) == 2
    for cell, text in zip(page.select("table.key-in td"), keyed, strict=True):
        assert re.fullmatch(figure, text)
        assert len(cell.select_one(".figure").find_all(True)) == 0  # no gap within
        assert re.search(rf"^{re.escape(text)} {unit} .*± {uncertainty} {unit} ", words(cell))
        assert {"mm", "in"} & set(words(cell).split()) == {unit}
        assert text in page.select_one("pre").get_text()
        assert f"{text} {unit}" in printed
    assert f"R{radius} " in page.select_one("pre").get_text()
    assert f"R {radius} {unit}" in printed
    assert f"Nose radius {radius} {unit}" in words(page.select_one(".tip"))


def test_a_mount_leads_to_the_first_part(client, mounted, stands):
    page = read(client, mounted.address)

    assert "Mounted on" in words(page.select_one(".done"))
    first = page.select_one("a.big")
    assert first["href"] == f"/machines/M1/correct?station={stands.t1}"
    assert page.select_one(".key-in .figure").get_text() == "+52.021"


def test_a_part_count_that_is_none_is_told_off_and_kept(client, bench, stands, rows):
    page = read(client, asked(stands.t1, bench.ready()))

    answer = send(client, page, "mount", part_count="12x")
    again = parsed(answer.get_data())

    assert answer.status_code == 422
    assert again.select_one("#part-count")["value"] == "12x"
    assert again.select_one("#part-count")["aria-invalid"] == "true"
    assert rows("mounts") == 0


def test_of_two_people_at_one_station_the_second_reads_a_plain_no(client, bench, stands):
    one, other = bench.ready("TH-1"), bench.ready("TH-2")
    pages = [read(client, asked(stands.t1, tool)) for tool in (one, other)]

    answers = [send(client, page, "mount") for page in pages]

    assert [answer.status_code for answer in answers] == [303, 409]
    told = words(parsed(answers[1].get_data()).select_one(".mismatches"))
    assert told == (f"Station M1/T01 holds {one}: take it out and record its removal first.")


def test_an_occupied_station_is_emptied_on_the_way(client, bench, mounted, stands, clock):
    clock.go_on(hours=3)
    sister = bench.ready("TH-2")
    no = read(client, asked(stands.t1, sister))

    answer = send(client, no, "removal", reason="worn_as_planned")
    out = read(client, answer.headers["Location"])
    yes = read(client, out.select_one("a.big")["href"])

    assert answer.status_code == 303
    assert "turn to edge 2 of 4" in words(out.select_one(".mismatches"))
    assert "Holder TH-1 is free" in words(out.select_one(".mismatches"))
    assert words(yes.select_one(".verdict")).endswith("YES")
    assert f"Compared with {mounted.tool}" in words(yes.main)


def test_a_worn_land_is_read_in_either_decimal_mark(client, mounted, stands, rows, store):
    page = read(client, f"/machines/M1/remove?station={stands.t1}")

    answer = send(client, page, "removal", reason="size", flank_wear="0,18")

    assert answer.status_code == 303
    with store.read() as tx:
        lands = tx.exec_driver_sql("SELECT flank_wear_tenths_um FROM removals").scalars()
        assert list(lands) == [1_800]


def test_a_removal_without_a_reason_keeps_what_was_typed(client, mounted, stands, rows):
    page = read(client, f"/machines/M1/remove?station={stands.t1}")

    answer = send(client, page, "removal", flank_wear="0.18")

    assert answer.status_code == 422
    assert parsed(answer.get_data()).select_one("#in-flank_wear")["value"] == "0.18"
    assert rows("removals") == 0


def test_a_step_of_two_axes_is_one_act(client, mounted, stands, rows):
    page = read(client, f"/machines/M1/correct?station={stands.t1}")

    answer = send(client, page, "correction", change_X="-0.014", change_Z="+0,005")
    told = read(client, answer.headers["Location"])

    assert answer.status_code == 303, words(parsed(answer.get_data()).main)
    figures = [figure.get_text() for figure in told.select(".figure")]
    assert figures == ["+52.007", "-54.996"]  # +52.0210 - 0.0140, -55.0010 + 0.0050
    assert "the datum is learned as" in words(told.main)
    assert rows("corrections") == 2


def test_if_one_axis_cannot_be_stepped_none_is(client, mounted, stands, rows):
    page = read(client, f"/machines/M1/correct?station={stands.t1}")

    answer = send(client, page, "correction", change_X="-0.014", change_Z="five")
    again = parsed(answer.get_data())

    assert answer.status_code == 422
    assert again.select_one("#change-X")["value"] == "-0.014"
    assert again.select_one("#change-Z")["aria-invalid"] == "true"
    assert rows("corrections") == 0


def test_a_first_part_that_was_right_is_one_touch(client, mounted, stands, store):
    page = read(client, f"/machines/M1/correct?station={stands.t1}")

    answer = send(client, page, "correction", right="1")

    assert answer.status_code == 303
    with store.read() as tx:
        found = tx.exec_driver_sql(
            "SELECT axis, change_tenths_um, correction_kind FROM corrections"
        ).all()
        assert sorted(map(tuple, found)) == [("X", 0, "first_off"), ("Z", 0, "first_off")]


def test_what_was_mounted_stays_readable_when_it_is_out(client, mounted, stands, clock):
    clock.go_on(hours=1)
    page = read(client, f"/machines/M1/remove?station={stands.t1}")
    send(client, page, "removal", reason="chipped")

    page = read(client, mounted.address)

    assert "It came out on" in words(page.select_one(".void"))
    assert not page.select("a.big")


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/machines/M9", 404),
        ("/machines/M1/stations/S00000X", 404),
        ("/machines/M1/mounts/77", 404),
        ("/machines/M1/removals/77", 404),
        ("/machines/M1/corrections/1,x", 404),
        ("/machines/M1/scan?code=B1", 422),
        ("/machines/M1/scan?code=nothing", 404),
        ("/machines/M1/correct?station=M1/T01", 409),
    ],
)
def test_what_cannot_be_shown_is_said_on_a_page(client, address, status):
    page = read(client, address, status)

    assert page.select_one("[role=alert]")
    assert page.select_one("input[name=code]")
