"""How well lives fit their curve, in words, with what to do."""

from __future__ import annotations

from dataclasses import dataclass

from crib.left_out import Kept, worked_out
from crib.life.fits import (
    FEWER_EARLY,
    FITS,
    LONGER,
    MORE_EARLY,
    NO_LAW,
    SHORTER,
    TOO_FEW,
    TWO,
    KeyFit,
    fit_of_key,
)
from crib.life.two_groups import LEAST_WORN
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.sentence import Sentence, figure, sentence
from crib.views.keys_by_name import row_of_key

#: Verdicts that somebody has to act on.
WARNS = frozenset({TWO, NO_LAW, MORE_EARLY, SHORTER})

_PLAIN = {
    FITS: sentence("Its lives fit the curve."),
    NO_LAW: sentence(
        "No curve fits these lives. Do not plan by them alone: look at each edge that comes "
        "out."
    ),
}
_COUNTED = {
    MORE_EARLY: sentence(
        "More early failures than the curve says: {seen}, expected {expected}. Find out why "
        "those failed."
    ),
    FEWER_EARLY: sentence(
        "Fewer early failures than the curve says: {seen}, expected {expected}."
    ),
    SHORTER: sentence(
        "Edges last shorter than the curve says: {seen} failures, expected {expected}. Swap "
        "earlier."
    ),
    LONGER: sentence(
        "Edges last longer than the curve says: {seen} failures, expected {expected}. Swaps "
        "may come too early."
    ),
}


@dataclass(frozen=True, slots=True)
class FitSeen:
    """How well the lives of a key fit its curve.

    Attributes:
        verdict: too_few, two_groups, no_law, more_early, fewer_early, shorter, longer or fits.
        warns: Whether somebody has to act on it.
        shorter: Median of the group that lasts shorter [wear units]; null without two groups.
        longer: Median of the other.
        share: Share of lives in the shorter group.
        sentence: The same in words, with what to do.
    """

    verdict: str
    warns: bool
    shorter: float | None
    longer: float | None
    share: float | None
    sentence: str


def fits_of(
    plan: ShopPlan, index: int, wear_per_part: float | None, name: str
) -> Kept[FitSeen]:
    """How well the lives of a key fit its curve, as one row, or none and what to do.

    Args:
        plan: The shop's plan.
        index: Row of the key.
        wear_per_part: Wear units that a part costs; None where nothing was counted.
        name: Name of the key.
    """
    return worked_out(
        [index],
        lambda index: _fit(plan, index, wear_per_part),
        lambda _: sentence(
            "Whether the lives of {name} fit their curve could not be worked out. Check its "
            "lives. The service log has the details.",
            name=name,
        ),
    )


def warning_of(plan: ShopPlan, forecast: Forecast | None) -> FitSeen | None:
    """What somebody has to know of the curve behind a forecast; None where it is in order."""
    if forecast is None or forecast.basis is None:
        return None
    name = forecast.basis.key
    index = row_of_key(plan, name)
    found = fits_of(plan, index, forecast.basis.wear_per_part or None, name)
    return next((one for one in found if one.warns), None)


def _fit(plan: ShopPlan, index: int, wear_per_part: float | None) -> FitSeen:
    kept = plan.fits.get((index, wear_per_part))
    if isinstance(kept, FitSeen):
        return kept
    found = fit_of_key(plan.model, index, wear_per_part or 1e-3)
    made = plan.fits[index, wear_per_part] = FitSeen(
        found.verdict,
        found.verdict in WARNS,
        found.shorter,
        found.longer,
        found.share,
        fit_sentence(found, wear_per_part),
    )
    return made


def fit_sentence(found: KeyFit, wear_per_part: float | None) -> str:
    """The verdict in words."""
    verdict = found.verdict
    if verdict in _PLAIN:
        return _PLAIN[verdict]
    if verdict == TOO_FEW:
        return sentence(
            "Too few edges wore out to tell whether the curve fits: {worn} of {least} needed.",
            worn=found.worn,
            least=LEAST_WORN,
        )
    if verdict == TWO:
        return _two_groups(found, wear_per_part)
    early = verdict in (MORE_EARLY, FEWER_EARLY)
    expected = found.expected_early if early else found.expected
    numbers = {
        "seen": found.seen_early if early else found.failed,
        "expected": figure(expected, ".0f" if expected >= 10 else ".1f"),
    }
    return Sentence(_COUNTED[verdict].template, numbers)


def _two_groups(found: KeyFit, wear_per_part: float | None) -> str:
    if wear_per_part is None:
        return sentence(
            "Two groups of lives: about {shorter} and about {longer} expected lives. Ask what "
            "differs: box, material or machine.",
            shorter=figure(found.shorter or 0.0, ".2f"),
            longer=figure(found.longer or 0.0, ".2f"),
        )
    return sentence(
        "Two groups of lives: near {shorter} parts and near {longer} parts. Ask what differs: "
        "box, material or machine.",
        shorter=_parts(found.shorter, wear_per_part),
        longer=_parts(found.longer, wear_per_part),
    )


def _parts(age: float | None, wear_per_part: float) -> str:
    """Parts to two figures: a median of a few lives is no surer."""
    return figure(float(f"{(age or 0.0) / wear_per_part:.2g}"), ".0f")
