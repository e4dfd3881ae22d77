"""A number on a page leads to its calculation with the figures filled in."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from api.pages.number_links import LONGEST, ages_typed, number_link
from tests.pages.reading import read, words


def test_a_link_opens_the_calculation_with_the_figures_of_the_page(client: FlaskClient) -> None:
    page = read(
        client,
        number_link(
            "swap-point",
            {"shape": 3.0, "scale": 1234.5, "planned_cost": 19, "failure_cost": 169.0},
        ),
    )

    assert page.select("#in-scale")[0]["value"] == "1234.5"
    assert "Swap at" in words(page.select_one("#result"))


def test_lives_taken_out_early_keep_their_plus_in_the_address(client: FlaskClient) -> None:
    typed = ages_typed([310, 420.5, 500], [True, True, False])

    page = read(client, number_link("life-fit", {"lives": typed, "age": 100}))

    assert typed == ["310", "420.5", "500+"]
    assert words(page.select_one("#in-lives")) == "310 420.5 500+"


def test_lines_of_jobs_stay_lines(client: FlaskClient) -> None:
    page = read(client, number_link("bench-order", {"jobs": "A 10 20\nB 4 9"}))

    assert page.select("#in-jobs")[0].get_text().strip() == "A 10 20\nB 4 9"


def test_more_lives_than_an_address_holds_leave_out_the_oldest() -> None:
    typed = ages_typed([1234.5] * 5_000, [False] * 5_000)

    assert 0 < len(typed) < 5_000
    assert len(number_link("life-fit", {"lives": typed})) <= LONGEST


def test_a_calculation_or_an_entry_that_is_none_is_told_to_whoever_writes_the_page() -> None:
    with pytest.raises(ValueError, match="no calculation called swap"):
        number_link("swap", {})
    with pytest.raises(ValueError, match="no entry sale"):
        number_link("swap-point", {"sale": 3})
