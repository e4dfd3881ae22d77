"""The nose radius that was measured reaches the control, not the one that was ordered."""

from __future__ import annotations

import re
from types import SimpleNamespace

from flask.testing import FlaskClient
from pypdfium2 import PdfDocument

from tests.pages.reading import read, words

#: 9 µm under the nominal 0.8 mm: between 0.8 mm and the tenth that a mount allows.
MEASURED = "0.7910"


def _tool(bench: SimpleNamespace) -> str:
    bench.check_gauge()
    built = bench.build()["code"]
    readings = [{"lf_mm": "80.001", "wf_mm": "16.0103", "re_mm": MEASURED}] * 3
    done = bench.post(
        f"/v1/assemblies/{built}/presets", gauge="PG-1", readings=readings, by="B1"
    )
    return str(done["assembly"])


def test_a_mount_keys_in_the_measured_radius(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = _tool(bench)
    ahead = words(read(client, f"/machines/M1/mount?station=M1/T01&tool={code}").main)

    done = bench.post("/v1/mounts", station="M1/T01", assembly=code)

    assert done["nose_radius_mm"] == MEASURED
    assert f"R{MEASURED.rstrip('0')}" in done["block"].replace(" ", "")
    assert "R0.8" not in done["block"]
    shown = words(read(client, f"/machines/M1/mounts/{done['fact']}").main)
    assert "Nose radius 0.791 mm" in ahead
    assert "Nose radius 0.791 mm" in shown


def test_a_scan_a_label_and_an_asset_tell_the_measured_radius(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = _tool(bench)

    tool = client.get(f"/v1/scan/{code}").get_json()["tool"]
    label = PdfDocument(client.get(f"/v1/labels/{code}.pdf").get_data())
    asset = client.get("/v1/mtconnect/assets").get_data(as_text=True)

    assert tool["nose_radius_mm"] == tool["re_mm"] == MEASURED
    assert "Nose radius 0.791 mm" in words(read(client, f"/c/{code}").main)
    assert "R 0.791 mm" in label[0].get_textpage().get_text_bounded()
    assert re.search(r'nominal="0\.8(000)?"[^>]*>0\.7910?<', asset)


def test_without_a_measured_radius_the_nominal_is_keyed_in(bench: SimpleNamespace) -> None:
    bench.check_gauge()
    built = bench.build()["code"]
    readings = [{"lf_mm": "80.001", "wf_mm": "16.0103"}] * 3
    code = bench.post(f"/v1/assemblies/{built}/presets", gauge="PG-1", readings=readings)[
        "assembly"
    ]

    assert (
        bench.post("/v1/mounts", station="M1/T01", assembly=code)["nose_radius_mm"] == "0.8000"
    )


def test_a_mount_is_judged_by_the_measured_radius(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    bench.check_gauge()
    built = bench.build()["code"]
    readings = [{"lf_mm": "80.001", "wf_mm": "16.0103", "re_mm": "0.4"}] * 3
    done = bench.post(f"/v1/assemblies/{built}/presets", gauge="PG-1", readings=readings)

    answer = client.post("/v1/mounts", json={"station": "M1/T01", "assembly": done["assembly"]})

    assert answer.status_code == 409
    assert "0.4" in answer.get_data(as_text=True)
