"""An uncertainty budget: what contributes how much, and how far the sum may be trusted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from crib.errors import OutsideModel
from crib.metrology.scatter import KnownScatter
from crib.metrology.uncertainty import coverage_factor
from crib.sentence import sentence, together

#: What the given figure is -> what divides it into a standard uncertainty (JCGM 100, 4.3).
DISTRIBUTIONS: Final = {
    "normal": 1.0,  # a standard uncertainty as it stands
    "expanded_k2": 2.0,  # a certificate's expanded uncertainty, k = 2
    "rectangular": math.sqrt(3),  # half width, every value as likely
    "triangular": math.sqrt(6),  # half width, values in the middle likelier
    "u_shaped": math.sqrt(2),  # half width, values at the ends likelier
}

#: Level of the interval that the coverage factor is for.
LEVEL = 0.95

#: Level of a preset's expanded uncertainty: k = 2 where there are many repeats (JCGM 100,
#: G.6.4).
PRESET_LEVEL = 0.9545

#: Least standard deviation of a single reading [mm]; common practice, no source.
DEFAULT_REPEATABILITY_MM = 0.002

#: Standard deviation of a single reading where nothing is known of the gauge [mm]: wide, as
#: nothing shows a chip on the seat; common practice, no source.
UNKNOWN_SCATTER_MM = 0.006

#: Standard uncertainty of gauge and master together [mm]; common practice, no source.
DEFAULT_GAUGE_UNCERTAINTY_MM = 0.001

#: Step of a gauge's display where its record does not say [mm]; common practice, no source.
DEFAULT_RESOLUTION_MM = 0.001


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
        raise OutsideModel(sentence("A budget needs at least one contribution."))
    if not 0 < level < 1:
        raise OutsideModel(sentence("The level of a budget lies between 0 and 1."))
    parts = [_standard(one) for one in contributions]
    effects = [
        abs(one.sensitivity) * part for one, part in zip(contributions, parts, strict=True)
    ]
    combined = math.hypot(*effects)
    if not (combined > 0 and math.isfinite(combined)):
        raise OutsideModel(
            sentence("Every contribution is zero: give at least the gauge's own uncertainty.")
        )
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
    n: int,
    deviation_mm: float | None,
    gauge_uncertainty_mm: float,
    resolution_mm: float,
    known: KnownScatter | None = None,
) -> Budget:
    """What the uncertainty of a preset is made of; 95.45 %, which many repeats give by k = 2.

    The effective degrees of freedom alone cover too little where two or three equal repeats
    look better than they are, so the expanded uncertainty is never below the root sum of
    squares of the contributions' own expanded uncertainties.

    Args:
        n: Repeats.
        deviation_mm: Their standard deviation [mm]; None for one.
        gauge_uncertainty_mm: Standard uncertainty of gauge and master [mm].
        resolution_mm: Step of the display [mm].
        known: What one reading of the gauge scatters by, where its earlier presets show it.

    Raises:
        OutsideModel: A figure that is none, or negative.

    References:
        JCGM 100:2008, G.4 (degrees of freedom), F.2.2.1 (resolution), 4.2.4 (pooling).
    """
    name, scatter = _scatter(n, deviation_mm, resolution_mm, known)
    parts = (
        Contribution(
            name,
            scatter.standard_deviation_mm / math.sqrt(n),
            degrees_of_freedom=scatter.degrees_of_freedom or None,
        ),
        Contribution(sentence("gauge and master"), gauge_uncertainty_mm),
        Contribution("resolution", resolution_mm / 2, "rectangular"),
    )
    budget = work_out_budget(parts, PRESET_LEVEL)
    each = math.hypot(
        *(
            coverage_factor(line.degrees_of_freedom or 1e9, PRESET_LEVEL) * line.contribution
            for line in budget.lines
        )
    )
    if each <= budget.expanded:
        return budget
    return replace(budget, expanded=each, coverage_factor=each / budget.combined)


def _scatter(
    n: int, deviation_mm: float | None, resolution_mm: float, known: KnownScatter | None
) -> tuple[str, KnownScatter]:
    """What one reading scatters by and where that comes from; 0 degrees: as well as need be."""
    if n == 1 or deviation_mm is None:
        if known is None:
            return sentence("one reading, scatter assumed"), KnownScatter(UNKNOWN_SCATTER_MM, 0)
        usual_mm = max(known.standard_deviation_mm, DEFAULT_REPEATABILITY_MM)
        return sentence("one reading, scatter known"), KnownScatter(
            usual_mm, known.degrees_of_freedom
        )
    # equal readings show only that the scatter hides within a step of the display
    own = KnownScatter(max(deviation_mm, resolution_mm / math.sqrt(12)), n - 1)
    if known is None or not known.agrees(own.standard_deviation_mm, n - 1):
        return "repeats", own
    return sentence("repeats and known scatter"), known.pooled(own.standard_deviation_mm, n - 1)


def _standard(one: Contribution) -> float:
    if one.distribution not in DISTRIBUTIONS:
        raise OutsideModel(
            sentence(
                "'{distribution}' is not a distribution here: use {distributions}.",
                distribution=one.distribution,
                distributions=together(", ", DISTRIBUTIONS),
            )
        )
    if not (math.isfinite(one.value) and one.value >= 0 and math.isfinite(one.sensitivity)):
        raise OutsideModel(
            sentence("{name}: give a finite figure, zero or more.", name=one.name)
        )
    freedom = one.degrees_of_freedom
    if freedom is not None and not (math.isfinite(freedom) and freedom > 0):
        raise OutsideModel(
            sentence("{name}: degrees of freedom are finite and above zero.", name=one.name)
        )
    return one.value / DISTRIBUTIONS[one.distribution]
