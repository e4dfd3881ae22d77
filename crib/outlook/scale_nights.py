"""By how much the nights ahead are scaled, from what followed the chances kept before."""

from __future__ import annotations

import math

from crib.floor.timeline import us_of
from crib.outlook.judged_forecasts import NOT_DUE, judge_forecasts
from crib.outlook.kept_outcomes import NOT_JUDGED, outcomes
from crib.outlook.shop_now import ShopNow
from crib.planning.night_scale import night_scale
from crib.store.engine import Tx
from crib.store.kept_rows import kept_before_nights

#: Forecasts looked at, the latest: some months of a small shop, a week of a large one.
_MOST_FORECASTS = 3_000

#: Chance at which the hazard is cut off, or one certain failure would count for all others.
_MOST_CHANCE = 0.95


def scale_of_nights(tx: Tx, shop: ShopNow) -> float:
    """Factor on the hazard of unattended stretches.

    What was kept of an edge is its chance by the life model, before any factor and any swap
    of the night's rule; so the factor never learns from itself.

    Args:
        tx: An open transaction.
        shop: The shop; forecasts and facts dated up to its instant are looked at.
    """
    now_us = us_of(shop.now)
    kept = kept_before_nights(tx, now_us, _MOST_FORECASTS)
    ends = outcomes(shop, kept)
    rows = [(k, e) for k, e in zip(kept, ends, strict=True) if e.state not in NOT_JUDGED]
    judged = judge_forecasts([k for k, _ in rows], [e for _, e in rows], now_us)
    expected, failed = [], []
    columns = zip(judged.lasts_night.tolist(), judged.night.tolist(), strict=True)
    for lasts, what in columns:
        if what != NOT_DUE:
            expected.append(-math.log(max(lasts, 1 - _MOST_CHANCE)))
            failed.append(what == 0)
    return night_scale(expected, failed)
