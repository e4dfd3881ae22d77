"""Were we right: forecasts shown against what happened, with the band that chance allows."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.curves.figures import BOTTOM, LEFT, RIGHT, TOP
from api.pages.render import page
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.widen_forecasts import distrusted
from crib.store.engine import revision
from crib.views.score_forecasts import ClaimBin, ForecastScores, score_forecasts

blueprint = Blueprint("right", __name__)

_BY = ("shop", "machine", "month", "key")


@dataclass(slots=True)
class _Kept:
    """Scores of the last plan asked about: judging takes longer than showing."""

    plan: ShopPlan | None = None
    revision: int = -1
    scores: dict[str, ForecastScores] | None = None


_kept = _Kept()


@dataclass(frozen=True, slots=True)
class BinDrawn:
    """One bin of claims: its column, what was claimed, what came true, the band."""

    x: float
    claimed_y: float
    held_y: float | None
    low_y: float
    high_y: float
    told: ClaimBin


@blueprint.get("/were-we-right")
def were_we_right() -> Response:
    """The picture, and the same by machine, month and key."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    scores = _scores(plan)
    whole = scores["shop"].scores
    return page(
        "were_we_right.html",
        shop=whole[0] if whole else None,
        scores=scores,
        problems=dict.fromkeys(why for one in scores.values() for why in one.problems),
        bins=drawn_bins(whole[0].shift_bins) if whole else [],
        distrusted=distrusted(plan.shop, plan.keys, plan.model.widening),
        axis=[(_y(share), share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)],
    )


def drawn_bins(bins: tuple[ClaimBin, ...]) -> list[BinDrawn]:
    """Bins side by side, each as wide as the others."""
    step = (RIGHT - LEFT) / max(len(bins), 1)
    return [
        BinDrawn(
            round(LEFT + (place + 0.5) * step, 1),
            _y(one.held.claimed),
            None if one.held.held is None else _y(one.held.held),
            _y(one.held.band_low),
            _y(one.held.band_high),
            one,
        )
        for place, one in enumerate(bins)
    ]


def _y(share: float) -> float:
    return round(BOTTOM - min(max(share, 0.0), 1.0) * (BOTTOM - TOP), 1)


def _scores(plan: ShopPlan) -> dict[str, ForecastScores]:
    """Scores by every group, kept until the plan or a fact is another one."""
    site = this_site()
    with site.store.read() as tx:
        present = revision(tx)
        kept = _kept.scores
        if kept is None or _kept.plan is not plan or _kept.revision != present:
            zone = site.in_zone.time_zone
            kept = {by: score_forecasts(tx, plan, by, zone=zone) for by in _BY}
            _kept.plan, _kept.revision, _kept.scores = plan, present, kept
    return kept
