"""Rows of the plan as they are answered."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from api.rest.plan import carrier_row

BEGIN = datetime(2026, 3, 2, 21, tzinfo=UTC)


@pytest.mark.parametrize(
    ("swap_by", "named"),
    [
        (BEGIN - timedelta(hours=1), None),
        (BEGIN, None),
        (BEGIN + timedelta(hours=9), "A000GAK"),
        (None, "A000GAK"),
    ],
)
def test_an_edge_that_is_swapped_before_the_night_does_not_carry_its_risk_by_name(
    swap_by, named
):
    mounted = SimpleNamespace(
        station="T01", tool_number=1, path=1, assembly="A000GAK", swap_by=swap_by
    )

    row = carrier_row(mounted, 0.25, BEGIN)

    assert (row["station"], row["assembly"], row["fail_probability"]) == ("T01", named, 0.25)
