"""A condition becomes a signal once, where it is sure which tool was in work."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from crib.feed.breakages import NOT_WHICH, BreakageSignals
from crib.feed.choice import Followed, choose_items
from crib.feed.documents import Devices, Observation, Streams, read_document

_PROBE = (
    Path(__file__).parents[3] / "fixtures" / "mtconnect" / "probe.xml"
)  # recorded, see README there
#: Conditions as the standard writes them (ANSI/MTC1.4, part 2: data items; part 3: levels).
_OF_PATH = '<DataItem category="CONDITION" id="p1mon" name="monitor" type="SYSTEM"/>'
_OF_ALL = '<DataItem category="CONDITION" id="ctlmon" type="LOGIC_PROGRAM"/>'


def _followed(*, paths: int = 2) -> Followed:
    raw = _PROBE.read_text()
    raw = re.sub(r'(<Path id="p1" name="path1">\s*<DataItems>)', rf"\1{_OF_PATH}", raw)
    raw = re.sub(r'(<Controller id="ctl"[^>]*>\s*<DataItems>)', rf"\1{_OF_ALL}", raw)
    if paths == 1:
        raw = raw.replace('<DataItem category="EVENT" id="p2tn" type="TOOL_NUMBER"/>', "")
    found = read_document(raw.encode())
    assert isinstance(found, Devices)
    return choose_items(found, "SL01")


def _said(*elements: str) -> tuple[Observation, ...]:
    """Observations a second apart, sequences from 1 on; each element as it stands."""
    numbered = "".join(
        re.sub(
            r"(/?>)",
            rf' sequence="{n}" timestamp="2026-03-02T08:00:{n:02d}Z"\1',
            one,
            count=1,
        )
        for n, one in enumerate(elements, 1)
    )
    raw = (
        "<MTConnectStreams><Header/><Streams><DeviceStream><ComponentStream><Condition>"
        f"{numbered}</Condition></ComponentStream></DeviceStream></Streams></MTConnectStreams>"
    )
    found = read_document(raw.encode())
    assert isinstance(found, Streams)
    assert found.skipped == 0
    return found.observations


def _tool(number: object, path: int = 1) -> str:
    return f'<ToolNumber dataItemId="p{path}tn">{number}</ToolNumber>'


def _condition(level: str, code: str = "", item: str = "p1mon", text: str = "") -> str:
    native = f' nativeCode="{code}"' if code else ""
    return f'<{level} dataItemId="{item}"{native}>{text}</{level}>'


def _found(
    signals: BreakageSignals, *elements: str, is_current: bool = False, paths: int = 2
) -> list[tuple[int, str, int, str]]:
    told = signals.among(_said(*elements), _followed(paths=paths), is_current=is_current)
    return [
        (one.at.second, one.path, one.tool_number, one.signal)
        for one in told
        if one.tool_number is not None
    ]


def _asked(signals: BreakageSignals, *elements: str, is_current: bool = False) -> list[str]:
    told = signals.among(_said(*elements), _followed(), is_current=is_current)
    return [str(one.why) for one in told if one.tool_number is None]


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        ("TB-7", 1), ("tb-7", 0), ("TB", 0), ("TB-*", 1), ("x | TB-7", 1), ("p1mon", 2),
        ("monitor", 2), ("E.55", 0), ("*", 2), ("", 0), (" | ", 0),
    ],
)  # fmt: skip
def test_codes_ids_and_names_are_taken_as_the_shop_writes_them(wanted: str, count: int) -> None:
    said = [_tool(4), _condition("Fault", "E55"), _condition("Warning", "TB-7")]

    assert len(_found(BreakageSignals(wanted), *said)) == count


def test_a_signal_names_the_tool_in_work_at_its_time() -> None:
    said = [_tool(4), _tool(9, path=2), _condition("Fault", "TB", text="torque"), _tool(5)]

    assert _found(BreakageSignals("TB"), *said) == [(3, "path1", 4, "Fault TB: torque")]


def test_what_still_holds_is_told_once_and_again_after_it_was_over() -> None:
    signals = BreakageSignals("TB|HOT")
    fault, hot = _condition("Fault", "TB"), _condition("Warning", "HOT")
    said = [_tool(4), fault, hot, _condition("Unavailable"), fault, _condition("Warning", "TB")]
    assert [one[0] for one in _found(signals, *said)] == [2, 3]
    assert _found(signals, _tool(4), fault, hot, is_current=True) == []

    again = _found(signals, _condition("Normal", "TB"), hot, fault)

    assert [(one[0], one[2]) for one in again] == [(3, 4)]
    assert len(_found(signals, _condition("Normal"), hot, fault)) == 2


def test_what_was_active_before_is_no_new_breakage_whoever_starts_anew() -> None:
    standing = BreakageSignals("TB", active=[("p1mon", "TB")])
    assert _found(standing, _tool(4), _condition("Fault", "TB"), is_current=True) == []
    assert standing.active == {("p1mon", "TB")}
    # what the shop did not look for yet is known too
    other = BreakageSignals("X")
    _found(other, _tool(4), _condition("Fault", "TB"))
    assert other.active == {("p1mon", "TB")}


def test_an_adapter_that_comes_back_tells_no_breakage_anew() -> None:
    """Some say first that all is well, then what still holds (from memory, no source)."""
    signals = BreakageSignals("TB")
    fault, normal = _condition("Fault", "TB"), _condition("Normal")
    assert len(_found(signals, _tool(4), fault)) == 1
    assert _found(signals, _condition("Unavailable"), normal, fault) == []
    # known again, then well for longer than an adapter takes to tell: it broke again
    assert _found(signals, _condition("Unavailable"), normal, *[_tool(4)] * 12, fault) != []


def test_a_tool_changed_since_is_not_blamed() -> None:
    signals = BreakageSignals("TB", {"path1": "4"})

    assert _asked(signals, _condition("Fault", "TB"), _tool(5), is_current=True) == [NOT_WHICH]
    assert _asked(signals, _condition("Fault", "TB"), _tool(5), is_current=True) == []


def test_the_last_known_tool_is_taken_where_nothing_was_missed() -> None:
    signals = BreakageSignals("TB", {"path1": "4"})

    assert [one[2] for one in _found(signals, _condition("Fault", "TB"))] == [4]


@pytest.mark.parametrize("number", ["UNAVAILABLE", "", "T4", "-4"])
def test_a_tool_without_a_number_is_told_and_not_guessed(number: str) -> None:
    signals = BreakageSignals("TB", {"path1": "4"})

    assert _asked(signals, _tool(number), _condition("Fault", "TB")) == [NOT_WHICH]


def test_a_condition_of_the_whole_control_is_of_its_one_tool_or_of_nobodys() -> None:
    said = [_tool(4), _condition("Fault", "TB", item="ctlmon")]

    assert [one[2] for one in _found(BreakageSignals("TB"), *said, paths=1)] == [4]
    assert _found(BreakageSignals("TB"), *said, _tool(9, path=2)) == []
