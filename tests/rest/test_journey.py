"""A tool's whole journey, over HTTP alone, against a real server process on loopback."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import zxingcpp

HOST = "crib.example:8443"
PARTS_MADE = 500

#: An invented shop: one machine that is always attended, so that any hour of the day serves.
SHOP = {
    "calendars.csv": "calendar,weekday,start,end,attended,time_zone\n"
    + "".join(
        f"always,{day},{start},{end},yes,UTC\n"
        for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
        for start, end in (("00:00", "12:00"), ("12:00", "00:00"))
    ),
    "people.csv": "badge,name,role\nB1,Ida Quill,attendant\nB2,Olek Varn,operator\n",
    "machines.csv": "machine,x_on_diameter,offset_unit,offset_increment_mm,calendar\n"
    "L1,yes,mm,0.001,always\n",
    "stations.csv": "machine,station,tool_number,path,spindle,kind,interface,offset_register,"
    "axis_x,axis_z,datum_x_mm,datum_z_mm\n"
    "L1,T01,1,1,main,turning,sq12,1,+WF,-LF,10,25\n"
    "L1,T11,11,1,main,drilling,er16,11,,-LF,,25\n",
    "cutting_items.csv": "cutting_item,kind,designation,tool_material,edges,price\n"
    "CNMG-408,insert,CNMG120408,coated_carbide,4,9.50\n"
    "DRILL-3,round,DR3.0X20,carbide,1,32.00\n",
    "holder_types.csv": "holder_type,designation,interface,kind,accepts\n"
    "SQ12-CN,PCLNR1212,sq12,turning,CNMG1204\n"
    "ER16-D,ER16 drill holder,er16,drilling,DR\n",
    "holders.csv": "holder,holder_type,location\n"
    "TH-1,SQ12-CN,shelf 1\nTH-2,SQ12-CN,shelf 1\nTH-3,SQ12-CN,shelf 1\n"
    "DH-1,ER16-D,shelf 2\nDH-2,ER16-D,shelf 2\n",
    "lots.csv": "lot,cutting_item,quantity,received_on\n"
    "LOT-I1,CNMG-408,20,2026-01-02\nLOT-D1,DRILL-3,4,2026-01-02\n",
    "tool_specs.csv": "tool_spec,description,holder_type,cutting_items,tip_orientation,"
    "nose_radius_mm,lf_nominal_mm,wf_nominal_mm,tolerance_mm,preset_minutes,life_parts,"
    "failure_cost,swap_minutes\n"
    "TURN-OD,outside turning,SQ12-CN,CNMG-408,3,0.8,80,16,0.2,6,1200,120,5\n"
    "CROSS-3,cross hole,ER16-D,DRILL-3,,,60,,0.5,4,2500,200,4\n",
    "parts.csv": "part,description,material,material_group,bar_diameter_mm,part_length_mm,"
    "cutoff_width_mm,cycle_s\nPIN-8,shouldered pin,1.4305,M,10,40,2,10\n",
    "operations.csv": "part,sequence,tool_number,tool_spec,kind,start_diameter_mm,"
    "end_diameter_mm,length_mm,feed_mm_rev,depth_mm,passes,cutting_speed_m_min\n"
    "PIN-8,10,1,TURN-OD,turn,10,8,30,0.08,1,1,120\n"
    "PIN-8,20,11,CROSS-3,drill,3,,12,0.05,,,60\n",
}


def _write_shop(folder: Path, running_since: datetime) -> None:
    folder.mkdir()
    run = f"L1,PIN-8,50000,{running_since.isoformat()},running\n"
    files = SHOP | {"runs.csv": "machine,part,quantity,start_at,state\n" + run}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")


def _scan_label(pdf: bytes) -> list[str]:
    """What a scanner reads from the printed page at the density of a label printer."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[0].render(scale=300 / 72, grayscale=True)
        image = np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)
    finally:
        document.close()
    found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
    return [one.text for one in found]


def _readings(lf: str, wf: str | None) -> list[dict[str, str]]:
    turning = {} if wf is None else {"wf_mm": wf, "re_mm": "0.8"}
    return [{"lf_mm": lf} | turning for _ in range(3)]


def _forecast(server: Any, station: str) -> dict[str, Any]:
    rows = server.get("/v1/forecasts?machine=L1")["items"]
    (found,) = [row for row in rows if row["station"] == station]
    assert isinstance(found, dict)
    return found


def test_a_tool_goes_from_the_bench_to_the_machine_and_back(
    tmp_path: Path, crib_command: Callable[..., Any], start_server: Callable[..., Any]
) -> None:
    begun = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=115)

    def at(minutes: float) -> str:
        return (begun + timedelta(minutes=minutes)).isoformat()

    # The shop comes in as a folder; the gauge over HTTP.
    database_url = f"sqlite:///{tmp_path / 'journey.db'}"
    _write_shop(tmp_path / "shop", begun)
    imported = crib_command(database_url, "import", str(tmp_path / "shop"))
    assert imported.returncode == 0, imported.stderr
    server = start_server(database_url, CRIB_PUBLIC_ADDRESS=HOST)
    gauge = server.post(
        "/v1/gauges",
        gauge="PG-1",
        uncertainty_mm="0.001",
        master_lf_mm="100",
        master_wf_mm="50",
        check_tolerance_mm="0.005",
    )
    checks = [
        {"lf_mm": "100.0001", "wf_mm": "50.0000"},
        {"lf_mm": "99.9999", "wf_mm": "50.0001"},
    ]
    server.post("/v1/gauge-checks", gauge=gauge["code"], readings=checks * 5, by="B1", at=at(1))

    def make(spec: str, holder: str, lot: str, minutes: float, lf: str, wf: str | None) -> str:
        """Build and measure a tool; the code on its label."""
        built = server.post(
            "/v1/assemblies", tool_spec=spec, holder=holder, lot=lot, by="B1", at=at(minutes)
        )
        done = server.post(
            f"/v1/assemblies/{built['code']}/presets",
            gauge="PG-1",
            readings=_readings(lf, wf),
            by="B1",
            at=at(minutes + 1),
        )
        assert (done["readings"], done["accepted"], done["why_not"]) == (3, True, [])
        return str(done["assembly"])

    turning = make("TURN-OD", "TH-1", "LOT-I1", 2, "80.001", "16.0103")
    drilling = make("CROSS-3", "DH-1", "LOT-D1", 4, "60.1", None)

    # The label is printed, stuck on and scanned.
    printed = server.ask("GET", f"/v1/labels/{turning}.pdf")
    assert (printed.status, printed.headers["Content-Type"]) == (200, "application/pdf")
    (scanned,) = _scan_label(printed.body)
    assert scanned == f"HTTPS://{HOST.upper()}/C/{turning}"
    station = server.get("/v1/scan/L1/T01")["station"]["code"]
    plate = f"HTTPS://{HOST.upper()}/C/{station}"

    # A drill in the turning station, whose plate was not the one scanned: every mismatch.
    wrong = server.ask(
        "POST",
        "/v1/mounts",
        {
            "station": "L1/T01",
            "assembly": drilling,
            "scanned": {"station": "L1/T11", "assembly": turning},
        },
    )
    assert (wrong.status, wrong.json["type"]) == (409, "/problems/does-not-fit")
    told = " ".join(error["detail"] for error in wrong.json["errors"])
    assert len(wrong.json["errors"]) >= 4, wrong.json
    for word in ("sq12", "drilling", "TURN-OD", "scanned"):
        assert word in told, told
    assert server.get("/v1/mounts")["items"] == []

    # The right ones are mounted by scan; a press repeated is the same press.
    mount = {
        "station": plate,
        "assembly": scanned,
        "scanned": {"station": plate, "assembly": scanned},
        "part_count": 1000,
        "by": "B2",
        "at": at(10),
    }
    first = server.ask("POST", "/v1/mounts", mount, key="mount-1")
    again = server.ask("POST", "/v1/mounts", mount, key="mount-1")
    assert (first.status, again.status, again.body) == (201, 201, first.body)
    mounted = first.json
    # datum 10 mm + WF 16.0103 mm on diameter; datum 25 mm - LF 80.001 mm; steps of 1 um
    values = {row["axis"]: row["value_mm"] for row in mounted["offsets"]}
    assert values == {"X": "52.0210", "Z": "-55.0010"}
    assert len(server.get("/v1/mounts")["items"]) == 1
    server.post("/v1/mounts", station="L1/T11", assembly=drilling, by="B2", at=at(10))

    # 500 parts, a few readings twice and out of order.
    before = _forecast(server, "T01")
    readings = [
        {"at": at(10 + n * 10 / 60), "count": 1000 + n} for n in range(1, PARTS_MADE + 1)
    ]
    counted = server.post("/v1/counts", 202, machine="L1", readings=readings[250:])
    late = server.post("/v1/counts", 202, machine="L1", readings=readings[:260])
    assert (counted["accepted"], late["accepted"], late["duplicates"]) == (250, 250, 10)
    after = _forecast(server, "T01")
    assert (before["parts_made"], after["parts_made"]) == (0, PARTS_MADE)
    assert 0 < after["parts_left"]["p50"] < before["parts_left"]["p50"]

    # The first part off and a drift in size are corrected at the control.
    for kind, change, held, minutes in (
        ("first_off", "0.010", "52.0310", 11.0),
        ("size", "-0.012", "52.0190", 60.0),
    ):
        stepped = server.post(
            "/v1/corrections",
            station="L1/T01",
            axis="X",
            change_mm=change,
            kind=kind,
            by="B2",
            at=at(minutes),
        )
        assert stepped["value_mm"] == held
        assert stepped["learned"]

    # What is swapped next is what the bench works at.
    _agree(server)

    # A sister measured twice: the first label has lost its worth.
    old = make("TURN-OD", "TH-2", "LOT-I1", 90, "79.9", "16.02")
    new = server.post(
        f"/v1/assemblies/{old}/presets",
        gauge="PG-1",
        readings=_readings("79.901", "16.021"),
        by="B1",
        at=at(93),
    )
    assert new["superseded_code"] == old
    stale = server.get(f"/v1/scan/HTTPS://{HOST.upper()}/C/{old}")
    assert stale["superseded_at"] is not None
    assert stale["code"] == new["assembly"]
    refused = server.ask(
        "POST", "/v1/mounts", {"station": "L1/T01", "assembly": old, "at": at(99)}
    )
    assert refused.status == 409
    _agree(server)

    # The worn one comes out; what it made is what the counter counted.
    removed = server.post(
        "/v1/removals",
        station=plate,
        reason="worn as planned",
        flank_wear_mm="0.18",
        by="B2",
        at=at(100),
    )
    assert (removed["assembly"], removed["parts_made"]) == (turning, PARTS_MADE)
    assert 0 < removed["share_of_life_used"] < 1
    sister = server.post(
        "/v1/mounts", station=plate, assembly=new["assembly"], by="B2", at=at(101)
    )
    assert sister["was_there"] is not None
    assert _forecast(server, "T01")["parts_made"] == 0
    _agree(server)
    proven = crib_command(database_url, "check")
    assert proven.returncode == 0, proven.stdout


def _agree(server: Any) -> None:
    """Swap list and bench queue say the same: each work of one is a row of the other."""

    def place(row: dict[str, Any]) -> tuple[Any, ...]:
        return row["machine"], row["station"], row["path"], row["ordinal"]

    listed = server.get("/v1/swap-list?hours=24&limit=1000")
    queued = server.get("/v1/bench-queue?hours=24&limit=1000")
    assert (listed["next"], queued["next"]) == (None, None)
    works = {place(row): row for row in listed["items"] if row["sister"]["state"] != "ready"}
    works = {where: row for where, row in works.items() if row["sister"]["state"] != "blocked"}
    queue = {place(row): row for row in queued["items"]}
    assert works
    assert len(queue) == len(queued["items"])
    assert queue.keys() == works.keys()
    for where, row in works.items():
        work = queue[where]
        sister = row["sister"]
        assert (work["work"], work["tool_spec"]) == (sister["state"], row["tool_spec"])
        assert (work["assembly"], work["holder"]) == (sister["assembly"], sister["holder"])
        assert work["needed_by"] == row["needed_by"] <= row["swap_by"]
        assert work["start_by"] == row["bench_start_by"]
        assert work["late"] == row["late"]
    blocked = {place(row) for row in listed["items"] if row["sister"]["state"] == "blocked"}
    assert blocked == {place(row) for row in queued["blocked"]}
