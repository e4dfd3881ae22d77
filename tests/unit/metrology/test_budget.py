"""Budgets: contributions add as squares, and few repeats cost a larger factor."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.errors import OutsideModel
from crib.metrology.budget import DISTRIBUTIONS, Contribution, work_out_budget


def test_half_widths_become_standard_uncertainties() -> None:
    # JCGM 100:2008, 4.3.7 (rectangular) and 4.3.9 (triangular)
    budget = work_out_budget(
        [
            Contribution("display", 0.0005, "rectangular"),
            Contribution("position", 0.0006, "triangular"),
            Contribution("certificate", 0.001, "expanded_k2"),
        ]
    )

    assert [line.standard_uncertainty for line in budget.lines] == pytest.approx(
        [0.0005 / math.sqrt(3), 0.0006 / math.sqrt(6), 0.0005]
    )
    assert sum(line.variance_share for line in budget.lines) == pytest.approx(1.0)


def test_a_sensitivity_scales_its_contribution() -> None:
    # a temperature 2 K off on 80 mm of steel, 11.5 µm per m and K
    (line,) = work_out_budget(
        [Contribution("temperature", 2.0, "rectangular", sensitivity=-80 * 11.5e-6)]
    ).lines

    assert line.contribution == pytest.approx(80 * 11.5e-6 * 2 / math.sqrt(3))


def test_without_repeats_the_factor_is_that_of_the_normal() -> None:
    budget = work_out_budget([Contribution("gauge", 0.001)])

    assert budget.effective_degrees_of_freedom is None
    assert budget.coverage_factor == pytest.approx(1.959964, abs=1e-5)


@given(st.floats(0.1, 10), st.integers(1, 30), st.floats(0.1, 10), st.integers(1, 30))
def test_effective_degrees_lie_between_the_least_and_the_sum(
    first: float, few: int, second: float, many: int
) -> None:
    # JCGM 100:2008, G.4.1, note 2
    freedom = work_out_budget(
        [
            Contribution("a", first, degrees_of_freedom=few),
            Contribution("b", second, degrees_of_freedom=many),
        ]
    ).effective_degrees_of_freedom

    assert freedom is not None
    assert min(few, many) - 1e-9 <= freedom <= few + many + 1e-9


@given(
    st.lists(st.floats(0, 1e6), min_size=1, max_size=6), st.sampled_from(list(DISTRIBUTIONS))
)
def test_one_more_contribution_never_makes_it_smaller(
    values: list[float], distribution: str
) -> None:
    first = [Contribution("base", 1.0)]
    more = [Contribution(str(n), value, distribution) for n, value in enumerate(values)]

    assert work_out_budget(first + more).combined >= work_out_budget(first).combined - 1e-12


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        ([], "at least one"),
        ([Contribution("a", 0.0)], "Every contribution is zero"),
        ([Contribution("a", -1.0)], "finite figure"),
        ([Contribution("a", math.nan)], "finite figure"),
        ([Contribution("a", 1.0, "gaussian")], "not a distribution"),
        ([Contribution("a", 1.0, degrees_of_freedom=0)], "degrees of freedom"),
    ],
)
def test_what_is_no_budget_is_refused(given_: list[Contribution], said: str) -> None:
    with pytest.raises(OutsideModel, match=said):
        work_out_budget(given_)
    with pytest.raises(OutsideModel, match="level"):
        work_out_budget([Contribution("a", 1.0)], level=1.0)


def test_a_budget_says_for_which_level_it_is() -> None:
    assert work_out_budget([Contribution("gauge", 0.001)], level=0.99).level == 0.99
