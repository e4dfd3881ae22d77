"""Rows of the plan as they are answered."""

from types import SimpleNamespace

import pytest

from api.rest.plan import carrier_row


@pytest.mark.parametrize(("swapped", "named"), [(True, None), (False, "A000GAK")])
def test_an_edge_that_is_swapped_before_the_night_does_not_carry_its_risk_by_name(
    swapped, named
):
    mounted = SimpleNamespace(station="T01", tool_number=1, path=1, assembly="A000GAK")

    row = carrier_row(mounted, 0.25, swapped)

    assert (row["station"], row["assembly"], row["fail_probability"]) == ("T01", named, 0.25)
