"""By how much the nights ahead are scaled, from what followed the chances kept before."""

from __future__ import annotations

import numpy as np

from crib.floor.timeline import us_of
from crib.outlook.judged_forecasts import judge_forecasts
from crib.outlook.kept_outcomes import NOT_JUDGED, outcomes
from crib.outlook.shop_now import ShopNow
from crib.planning.night_scale import night_scale
from crib.store.engine import Tx
from crib.store.kept_rows import kept_before_nights

#: Forecasts looked at, the latest: some months of a small shop, a week of a large one.
_MOST_FORECASTS = 3_000


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
    own = judged.stretch >= 0
    number = judged.stretch[own]
    hazard = np.bincount(number, judged.night_hazard[own])
    failures = np.bincount(number, judged.night[own] == 0)
    return night_scale(hazard, failures > 0)
