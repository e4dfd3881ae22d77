"""The recorded answers of a real agent, followed through a restart, an overrun and a reset."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import pytest

from crib.acts.book_feed import CountNews, GapNews
from crib.feed.choice import choose_items
from crib.feed.documents import Devices, read_document
from crib.feed.follower import Ask, Follower, Place, Step
from crib.feed.problems import AgentRefuses, NothingToFollow

_ANSWERS = Path(__file__).parents[3] / "fixtures" / "mtconnect"  # recorded, see README there
INSTANCE = 1795593235


def _answer(name: str, **changed: str) -> bytes:
    raw = (_ANSWERS / f"{name}.xml").read_bytes()
    for attribute, value in changed.items():
        raw = re.sub(
            rb'%s="[^"]*"' % attribute.encode(), f'{attribute}="{value}"'.encode(), raw
        )
    return raw


def _take(follower: Follower, name: str, **changed: str) -> Step:
    return follower.take(read_document(_answer(name, **changed)))


def _texts(counts: tuple[CountNews, ...]) -> list[str]:
    return [count.text for count in counts]


def test_a_new_agent_is_probed_then_read_then_sampled() -> None:
    follower = Follower("SL01", None)

    assert follower.request() == "/probe"
    _take(follower, "probe")
    assert follower.ask is Ask.CURRENT
    step = _take(follower, "current_path1")

    assert _texts(step.counts) == ["3"]
    assert step.place == Place(INSTANCE, 55)
    assert step.gap is None
    assert {state.kind for state in step.states} == {
        "EXECUTION",
        "TOOL_ASSET_ID",
        "TOOL_NUMBER",
    }
    request = unquote(follower.request())
    assert request.startswith('/sample?from=55&count=127&path=//DataItem[@type="PART_COUNT" or')


def test_a_place_that_was_kept_is_continued_without_reading_all_again() -> None:
    follower = Follower("SL01", Place(INSTANCE, 20))
    _take(follower, "probe")

    assert follower.ask is Ask.SAMPLE
    step = _take(follower, "sample_path1")

    assert _texts(step.counts) == ["0", "1", "2", "3"]  # the unknown one is left out
    assert step.at_end


def test_good_parts_are_never_added_to_all_parts() -> None:
    follower = Follower("SL01", None)
    _take(follower, "probe")

    assert follower.followed is not None
    assert follower.followed.count.item_id == "p1pc"


def test_a_restarted_agent_is_read_anew_and_the_gap_is_told() -> None:
    follower = Follower("SL01", Place(INSTANCE, 55))
    _take(follower, "probe")

    skipped = _take(follower, "sample_empty", instanceId="1795593299")
    assert (skipped.counts, skipped.place) == ((), None)
    assert follower.ask is Ask.PROBE
    _take(follower, "probe", instanceId="1795593299")
    step = _take(follower, "current_after_restart", instanceId="1795593299")

    assert step.gap == GapNews("restarted", 55, None)
    assert step.place is not None
    assert step.place.instance_id == 1795593299


def test_an_overrun_is_read_from_now_and_the_gap_is_told() -> None:
    follower = Follower("SL01", Place(INSTANCE, 20))
    _take(follower, "probe")

    _take(follower, "error_out_of_range")
    assert follower.ask is Ask.CURRENT
    step = _take(follower, "current_path1")

    assert step.gap == GapNews("overrun", 20, 55)
    assert _texts(step.counts) == ["3"]
    assert _take(follower, "sample_increment").gap is None  # told once


def test_an_agent_without_paths_is_read_whole() -> None:
    follower = Follower("SL01", None)
    _take(follower, "probe")

    _take(follower, "error_path")

    assert follower.request() == "/current"
    assert _texts(_take(follower, "current_path1").counts) == ["3"]


def test_a_changed_model_is_asked_for_and_nothing_is_lost() -> None:
    follower = Follower("SL01", Place(INSTANCE, 20))
    _take(follower, "probe")

    step = _take(follower, "sample_path1", deviceModelChangeTime="2026-11-25T09:00:00Z")

    assert _texts(step.counts) == ["0", "1", "2", "3"]
    assert follower.ask is Ask.PROBE
    _take(follower, "probe", deviceModelChangeTime="2026-11-25T09:00:00Z")
    assert follower.ask is Ask.SAMPLE


def test_an_unknown_device_is_told_with_those_that_there_are() -> None:
    follower = Follower("M7", None)

    with pytest.raises(AgentRefuses, match=r"NO_DEVICE"):
        _take(follower, "error_no_device")


def test_a_machine_without_a_part_count_says_what_there_is() -> None:
    found = read_document(_answer("probe"))
    assert isinstance(found, Devices)

    with pytest.raises(NothingToFollow, match="parts, good"):
        choose_items(found, "SL01", wanted="p2pc")
