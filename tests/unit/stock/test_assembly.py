"""What a tool is after each fact."""

from __future__ import annotations

import pytest

from crib.errors import Invalid
from crib.stock.assembly import (
    AVAILABLE,
    MEASURED,
    REASONS,
    STAYS_BUILT,
    read_reason,
    status_after_preset,
    status_after_removal,
    status_when_freed,
)

#: CutterStatusValueType of the MTConnect assets schema 2.4.
MTCONNECT = {
    "NEW", "AVAILABLE", "UNAVAILABLE", "ALLOCATED", "UNALLOCATED", "MEASURED",
    "NOT_REGISTERED", "RECONDITIONED", "USED", "EXPIRED", "TAGGED_OUT", "BROKEN", "UNKNOWN",
}  # fmt: skip


def test_every_status_is_a_word_of_the_open_list():
    found = {status_after_removal(reason) for reason in REASONS}
    found |= {status_after_preset(accepted=accepted) for accepted in (True, False)}
    found |= {status_when_freed(stays=n, has_preset=p) for n in (0, 1) for p in (0, 1)}

    assert found <= MTCONNECT


@pytest.mark.parametrize("reason", REASONS)
def test_a_reason_is_read_as_it_is_written_on_paper(reason):
    assert read_reason(reason.replace("_", " ").capitalize()) == reason
    assert read_reason(reason.upper()) == reason


def test_a_reason_that_is_none_is_refused():
    with pytest.raises(Invalid, match="worn as planned"):
        read_reason("worn")


def test_only_a_tool_that_stays_built_is_used_on():
    used = {reason for reason in REASONS if status_after_removal(reason) == "USED"}

    assert used == STAYS_BUILT
    assert status_after_removal("broken") == status_after_removal("chipped") == "BROKEN"
    assert status_after_removal("size") == "EXPIRED"


def test_a_freed_tool_is_what_it_was():
    assert status_when_freed(stays=0, has_preset=True) == "AVAILABLE"
    assert status_when_freed(stays=2, has_preset=True) == "USED"
    assert status_when_freed(stays=0, has_preset=False) == "NEW"


def test_a_reason_that_is_none_names_its_field():
    with pytest.raises(Invalid) as refused:
        read_reason("just because")

    (error,) = refused.value.errors
    assert error["field"] == "reason"
    assert error["detail"].startswith("one of worn_as_planned, worn_early")


def test_only_an_accepted_preset_makes_a_tool_ready():
    assert status_after_preset(accepted=True) == AVAILABLE
    assert status_after_preset(accepted=False) == MEASURED
