"""A label at the bench: seen as it prints, printed, again with a reason, racked."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from tests.pages.reading import form_data, read, words


@pytest.fixture
def code(bench) -> str:
    """A tool that was built, measured and accepted."""
    return bench.ready()


def print_form(client, code: str):
    return read(client, f"/bench/work/{code}").select_one("form[action^='/bench/print']")


def test_the_picture_is_what_the_printer_gets(client, code):
    answer = client.get(f"/bench/labels/{code}.png?stock=roll-62x29")
    picture = Image.open(io.BytesIO(answer.get_data())).convert("L")
    pdf = client.get(f"/v1/labels/{code}.pdf?stock=roll-62x29").get_data()
    document = pypdfium2.PdfDocument(pdf)
    printed = document[0].render(scale=300 / 72).to_pil().convert("L")
    document.close()

    assert answer.content_type == "image/png"
    assert np.array_equal(np.asarray(picture), np.asarray(printed))
    (symbol,) = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    assert symbol.text == code


def test_a_stock_that_is_none_has_no_picture(client, code):
    assert client.get(f"/bench/labels/{code}.png?stock=roll-1x1").status_code == 404


def test_the_chosen_stock_is_shown_printed_and_remembered(client, code):
    page = read(client, f"/bench/work/{code}?stock=roll-50x25")
    assert page.select_one(".label-picture")["src"].endswith("stock=roll-50x25")
    form = page.select_one("form[action^='/bench/print']")

    answer = client.post(form["action"], data=form_data(form))

    assert answer.headers["Location"] == f"/v1/labels/{code}.pdf?stock=roll-50x25"
    page = read(client, f"/bench/work/{code}")
    assert page.select_one(".label-picture")["src"].endswith("stock=roll-50x25")
    assert "Printed once" in words(page.select_one("#finish"))


def test_printing_again_asks_why_and_tells_how_often(client, code, rows):
    form = print_form(client, code)
    client.post(form["action"], data=form_data(form))
    form = print_form(client, code)
    assert form.select_one("[name=reason]").has_attr("required")

    refused = client.post(form["action"], data=form_data(form))
    assert refused.status_code == 409
    assert "was printed once before" in refused.get_data(as_text=True)
    assert rows("label_prints") == 1

    data = form_data(print_form(client, code)) | {"reason": ["torn"]}
    assert client.post(form["action"], data=data).status_code == 303
    assert "Printed 2 times" in words(read(client, f"/bench/work/{code}"))


def test_a_tool_that_is_not_measured_has_no_label_to_print_yet(client, bench):
    code = bench.build()["code"]

    page = read(client, f"/bench/work/{code}")

    assert not page.select("#finish")


def test_a_printed_tool_is_put_in_the_rack_and_the_next_job_comes(client, code, rows):
    form = read(client, f"/bench/work/{code}").select_one("form[action^='/bench/rack']")
    data = form_data(form) | {"machine": ["M1"], "place": ["R1-3"]}

    answer = client.post(form["action"], data=data)

    assert answer.headers["Location"] == f"/bench?racked={code}"
    assert f"{code} is in the rack" in words(read(client, answer.headers["Location"]))
    assert rows("rack_places") == 1
    assert "In the rack of M1: R1-3" in words(read(client, f"/bench/work/{code}"))


def test_a_rack_without_machine_and_place_is_told_at_its_field(client, code):
    answer = client.post(f"/bench/rack/{code}", data={"machine": "", "place": ""})

    assert answer.status_code == 422
    assert "whose rack it is" in answer.get_data(as_text=True)


def measure_again(client, code: str, off: str = "80.001"):
    lines = "&".join([f"r=LF+{off}+WF+16.0102"] * 3)
    return read(client, f"/bench/work/{code}?g=PG-1&{lines}")


def test_a_new_preset_says_before_that_it_voids_the_label_and_then_to_print_one(client, code):
    form = print_form(client, code)
    client.post(form["action"], data=form_data(form))

    page = measure_again(client, code)
    accept = page.select_one("form[method=post]:has([name=r])")
    before = words(accept.select_one(".care"))
    answer = client.post(accept["action"], data=form_data(accept))
    page = read(client, answer.headers["Location"])

    assert before == (
        f"This voids the printed label {code}, and cannot be undone. Take it off, then print "
        "the new one."
    )
    label = page.select_one("#finish-label")
    assert words(label.select_one(".void")) == (
        f"The printed label {code} is VOID: take it off, then print this one."
    )
    assert "Not printed yet" in words(label)
    assert "main" in label.select_one("[data-key=F8]")["class"]
    assert not page.select("#finish-rack [autofocus]")
    form = label.select_one("form[action^='/bench/print']")
    client.post(form["action"], data=form_data(form))
    assert not read(client, answer.headers["Location"]).select("#finish-label .void")


def test_readings_that_are_not_accepted_void_the_label_too(client, code):
    form = print_form(client, code)
    client.post(form["action"], data=form_data(form))

    page = measure_again(client, code, off="85.0")
    refused = page.select_one("form[method=post]:has([name=r])")
    answer = client.post(refused["action"], data=form_data(refused))
    page = read(client, answer.headers["Location"])

    assert f"This voids the printed label {code}" in words(refused)
    assert f"The printed label {code} is VOID: take it off." in words(page.select_one(".void"))


def test_the_first_preset_voids_no_label(client, bench):
    bench.check_gauge()
    page = measure_again(client, bench.build()["code"])

    assert "void" not in words(page.main).lower()
