"""An uncertainty budget: what contributes how much, and how far the sum may be trusted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from crib.errors import OutsideModel
from crib.metrology.uncertainty import coverage_factor

#: What the given figure is -> what divides it into a standard uncertainty (JCGM 100, 4.3).
DISTRIBUTIONS: Final = {
    "normal": 1.0,  # a standard uncertainty as it stands
    "expanded_k2": 2.0,  # a certificate's expanded uncertainty, k = 2
    "rectangular": math.sqrt(3),  # half width, every value as likely
    "triangular": math.sqrt(6),  # half width, values in the middle likelier
    "u_shaped": math.sqrt(2),  # half width, values at the ends likelier
}

#: Level of the interval whose coverage factor is told.
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Contribution:
    """One quantity that the result depends on.

    Attributes:
        name: What it is.
        value: Figure of its distribution, in its own unit: see DISTRIBUTIONS.
        distribution: One of DISTRIBUTIONS.
        sensitivity: By how much the result changes per unit of it.
        degrees_of_freedom: Of a figure from repeats; None where it is known as well as need
            be.
    """

    name: str
    value: float
    distribution: str = "normal"
    sensitivity: float = 1.0
    degrees_of_freedom: float | None = None


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution worked out.

    Attributes:
        name: What it is.
        distribution: As given.
        standard_uncertainty: Of the quantity, in its own unit.
        sensitivity: As given.
        contribution: To the result, in the unit of the result.
        variance_share: Of the variance of the result.
        degrees_of_freedom: As given; None stands for infinitely many.
    """

    name: str
    distribution: str
    standard_uncertainty: float
    sensitivity: float
    contribution: float
    variance_share: float
    degrees_of_freedom: float | None


@dataclass(frozen=True, slots=True)
class Budget:
    """The result of a budget, in the unit of the result.

    Attributes:
        lines: The contributions as given.
        combined: Combined standard uncertainty.
        effective_degrees_of_freedom: By Welch and Satterthwaite; None: infinitely many.
        coverage_factor: For the level, by Student's t.
        level: Coverage probability of the expanded uncertainty.
        expanded: Expanded uncertainty.
    """

    lines: tuple[BudgetLine, ...]
    combined: float
    effective_degrees_of_freedom: float | None
    coverage_factor: float
    level: float
    expanded: float


def work_out_budget(contributions: Sequence[Contribution], level: float = LEVEL) -> Budget:
    """Combine independent contributions into an expanded uncertainty.

    Args:
        contributions: At least one, one at least above zero.
        level: Coverage probability, between 0 and 1.

    Raises:
        OutsideModel: None given, a figure that is none, an unknown distribution, nothing
            above zero.

    References:
        JCGM 100:2008, 5.1.2 (combination), G.4.1 (Welch and Satterthwaite), G.3 (t). The
        effective degrees of freedom are cut to a whole number for t, as in G.4.2.
    """
    if not contributions:
        raise OutsideModel("A budget needs at least one contribution.")
    if not 0 < level < 1:
        raise OutsideModel("The level of a budget lies between 0 and 1.")
    parts = [_standard(one) for one in contributions]
    effects = [
        abs(one.sensitivity) * part for one, part in zip(contributions, parts, strict=True)
    ]
    combined = math.hypot(*effects)
    if not (combined > 0 and math.isfinite(combined)):
        raise OutsideModel("Nothing in the budget is above zero: give what the gauge leaves.")
    shares = [(effect / combined) ** 2 for effect in effects]
    doubt = sum(
        share**2 / one.degrees_of_freedom
        for share, one in zip(shares, contributions, strict=True)
        if one.degrees_of_freedom is not None
    )
    # shares below 1e-150 square to nothing: no doubt at all is infinitely many degrees
    freedom = 1 / doubt if doubt > 1e-12 else None
    whole = math.inf if freedom is None else max(1.0, math.floor(freedom + 1e-9))
    factor = coverage_factor(min(whole, 1e9), level)
    lines = tuple(
        BudgetLine(
            one.name,
            one.distribution,
            part,
            one.sensitivity,
            effect,
            share,
            one.degrees_of_freedom,
        )
        for one, part, effect, share in zip(contributions, parts, effects, shares, strict=True)
    )
    return Budget(lines, combined, freedom, factor, level, factor * combined)


def preset_budget(
    type_a_mm: float, degrees_of_freedom: int | None, gauge_uncertainty_mm: float
) -> Budget | None:
    """What the uncertainty of a preset is made of; None where nothing contributes.

    Args:
        type_a_mm: Standard uncertainty of the mean of the repeats [mm].
        degrees_of_freedom: Of the repeats; None where their usual scatter stands in.
        gauge_uncertainty_mm: Standard uncertainty of gauge and master [mm].
    """
    parts = [
        Contribution("repeats", type_a_mm, degrees_of_freedom=degrees_of_freedom),
        Contribution("gauge and master", gauge_uncertainty_mm),
    ]
    return work_out_budget(parts) if type_a_mm > 0 or gauge_uncertainty_mm > 0 else None


def _standard(one: Contribution) -> float:
    if one.distribution not in DISTRIBUTIONS:
        raise OutsideModel(
            f"'{one.distribution}' is no distribution here: use {', '.join(DISTRIBUTIONS)}."
        )
    if not (math.isfinite(one.value) and one.value >= 0 and math.isfinite(one.sensitivity)):
        raise OutsideModel(f"{one.name}: give a finite figure, zero or more.")
    freedom = one.degrees_of_freedom
    if freedom is not None and not (math.isfinite(freedom) and freedom > 0):
        raise OutsideModel(f"{one.name}: degrees of freedom are finite and above zero.")
    return one.value / DISTRIBUTIONS[one.distribution]
