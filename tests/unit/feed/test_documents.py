"""What a real agent answered is read, whichever schema version it speaks."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from crib.feed.documents import (
    Devices,
    Errors,
    Streams,
    read_document,
    read_instant,
)
from crib.feed.problems import BadDocument

ANSWERS = Path(__file__).parents[3] / "fixtures" / "mtconnect"  # recorded, see README there


def answer(name: str) -> bytes:
    return (ANSWERS / f"{name}.xml").read_bytes()


def test_a_probe_tells_each_data_item_with_its_path() -> None:
    found = read_document(answer("probe"))

    assert isinstance(found, Devices)
    assert found.header.instance_id == 1795593235
    (device,) = found.devices  # the agent's description of itself is no machine
    assert (device.name, device.uuid) == ("SL01", "sl-01")
    counts = [(i.item_id, i.sub_type, i.path) for i in device.items if i.kind == "PART_COUNT"]
    assert counts == [("p1pc", "ALL", "path1"), ("p1pcg", "GOOD", "path1")]
    executions = [(i.item_id, i.path) for i in device.items if i.kind == "EXECUTION"]
    assert executions == [("p1exec", "path1"), ("p2exec", "path2")]


@pytest.mark.parametrize(
    "instance", ["9223372036854775808", "18446744073709551615", "run-b", "4f2a"]
)
def test_a_run_of_an_agent_has_a_number_that_can_be_kept(instance: str) -> None:
    def read(text: str) -> int | None:
        raw = answer("probe").replace(b"1795593235", text.encode(), 1)
        return read_document(raw).header.instance_id

    number = read(instance)

    assert number is not None
    assert 0 <= number < 2**63  # what a column of the database holds
    assert number == read(instance) != read(instance + "1")


def test_a_sample_comes_in_the_order_of_its_sequences() -> None:
    found = read_document(answer("sample_path1"))

    assert isinstance(found, Streams)
    sequences = [one.sequence for one in found.observations]
    assert sequences == sorted(sequences)
    assert (len(sequences), found.skipped) == (23, 0)
    counts = [(o.sequence, o.text) for o in found.observations if o.item_id == "p1pc"]
    assert counts == [(22, None), (37, "0"), (43, "1"), (47, "2"), (51, "3")]
    assert found.observations[-1].at == datetime(2026, 11, 25, 7, 54, 29, 302528, UTC)
    assert found.header.next_sequence == 55


@pytest.mark.parametrize("name", ["current_schema18", "current_path1", "current_schema26"])
def test_every_schema_version_reads_alike(name: str) -> None:
    found = read_document(answer(name))

    assert isinstance(found, Streams)
    kinds = {one.tag for one in found.observations}
    assert kinds == {"Execution", "PartCount", "ToolAssetId", "ToolNumber"}


@pytest.mark.parametrize("name", ["error_18", "error_26", "error_out_of_range"])
def test_a_refusal_keeps_its_code_in_every_version(name: str) -> None:
    found = read_document(answer(name))

    assert isinstance(found, Errors)
    assert found.says("OUT_OF_RANGE")
    assert "from" in found.errors[0].text


def test_unavailable_is_unknown_and_never_zero() -> None:
    found = read_document(answer("current_unavailable"))

    assert isinstance(found, Streams)
    assert {one.text for one in found.observations if one.tag == "PartCount"} == {None}


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (answer("probe")[:700], "not whole"),
        (b"", "not whole"),
        (b"<html><body>It works</body></html>", "html"),
        (
            b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><MTConnectStreams>&b;'
            b"</MTConnectStreams>",
            "entities",
        ),
        (
            b'<!DOCTYPE x SYSTEM "file:///etc/passwd"><MTConnectStreams></MTConnectStreams>',
            "entities",
        ),
        (b'<?xml version="1.0" encoding="no-such"?><MTConnectStreams/>', "not whole"),
    ],
)
def test_what_is_no_document_is_refused(raw: bytes, says: str) -> None:
    with pytest.raises(BadDocument, match=says):
        read_document(raw)


def test_an_observation_without_its_instant_is_counted_and_left_out() -> None:
    raw = answer("sample_increment").replace(b"timestamp=", b"time=", 1)

    found = read_document(raw)

    assert isinstance(found, Streams)
    assert found.skipped == 1


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-11-25T07:54:28Z", datetime(2026, 11, 25, 7, 54, 28, tzinfo=UTC)),
        (
            "2026-11-25T07:54:28.123456789Z",
            datetime(2026, 11, 25, 7, 54, 28, 123456, tzinfo=UTC),
        ),
        ("2026-11-25T08:54:28.5+01:00", datetime(2026, 11, 25, 7, 54, 28, 500000, tzinfo=UTC)),
        ("2026-11-25T08:54:28+0100", datetime(2026, 11, 25, 7, 54, 28, tzinfo=UTC)),
        ("2026-11-25T07:54:28", datetime(2026, 11, 25, 7, 54, 28, tzinfo=UTC)),
        ("2026-13-25T07:54:28Z", None),
        ("0001-01-01T00:00:00+14:00", None),
        ("yesterday", None),
        ("", None),
    ],
)
def test_instants_are_read_as_agents_write_them(text: str, expected: datetime | None) -> None:
    assert read_instant(text) == expected
