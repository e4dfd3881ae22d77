"""Were we right: forecasts shown against what happened, with the band that chance allows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from flask import Blueprint, Response

from api.http.site import this_site
from api.pages.curves.figures import BOTTOM, LEFT, RIGHT, TOP
from api.pages.render import page
from crib.life.held import TOO_SURE, Held, more_to_tell
from crib.outlook.shop_plan import ShopPlan
from crib.store.revisions import revision
from crib.views.key_states import key_states
from crib.views.key_uses import list_keys
from crib.views.overall_verdict import overall_verdict
from crib.views.score_forecasts import (
    ClaimBin,
    ForecastScore,
    ForecastScores,
    JudgedSpan,
    claims_of_shift,
    judge_span,
    scores_by,
)

blueprint = Blueprint("right", __name__)


@dataclass(frozen=True, slots=True)
class _Judged:
    """What was kept of the last look: judging takes longer than showing."""

    plan: ShopPlan
    revision: int
    span: JudgedSpan
    scores: dict[str, ForecastScores] = field(default_factory=dict)


_last: list[_Judged] = []


@dataclass(frozen=True, slots=True)
class BinDrawn:
    """One bin of claims: its column, the claimed share, the share that held, the band."""

    x: float
    claimed_y: float
    held_y: float | None
    low_y: float
    high_y: float
    told: ClaimBin


@blueprint.get("/were-we-right")
def were_we_right() -> Response:
    """The verdict and its picture, and the same by machine and month."""
    site = this_site()
    plan = site.plans.plan(site.clock())
    kept = _judged(plan)
    scores = {by: _scores(kept, by) for by in ("shop", "machine", "month")}
    whole = scores["shop"].scores
    keys = list_keys(plan)
    tools = key_states(plan, keys)
    groups = (*scores["machine"].scores, *scores["month"].scores)
    too_sure = any(one.verdict == TOO_SURE for one in groups)
    problems = [why for one in scores.values() for why in one.problems]
    return page(
        "were_we_right.html",
        shop=whole[0] if whole else None,
        overall=overall_verdict(whole[0], tools, too_sure) if whole else None,
        few={name: more_to_tell(held) for name, held in _held(whole[0])} if whole else {},
        tools=tools,
        over=sum(key.over for key in keys),
        doubted=sum(key.doubted for key in keys),
        scores=scores,
        problems=dict.fromkeys((*problems, *keys.problems, *tools.problems)),
        bins=drawn_bins(claims_of_shift(kept.span)),
        axis=[(_y(share), share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)],
    )


def _held(shop: ForecastScore) -> Iterator[tuple[str, Held]]:
    """What was said of a shop's forecasts beside what came of it, by kind."""
    yield "shift", shop.shift
    yield "night", shop.unattended
    yield "ranges", shop.life_80


@blueprint.get("/were-we-right/keys")
def right_by_key() -> Response:
    """The verdict of each tool key, the worst first."""
    site = this_site()
    kept = _judged(site.plans.plan(site.clock()))
    found = _scores(kept, "key")
    return page("right_by_key.html", scores={"key": found}, problems=found.problems)


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


def _judged(plan: ShopPlan) -> _Judged:
    """The forecasts judged, kept until the plan or a fact is another one."""
    with this_site().store.read() as tx:
        present = revision(tx)
        for kept in _last[-1:]:
            if kept.plan is plan and kept.revision == present:
                return kept
        kept = _Judged(plan, present, judge_span(tx, plan))
        _last[:] = [kept]
        return kept


def _scores(kept: _Judged, by: str) -> ForecastScores:
    if by not in kept.scores:
        zone = this_site().in_zone.time_zone
        kept.scores[by] = scores_by(kept.span, kept.plan, by, zone)
    return kept.scores[by]
