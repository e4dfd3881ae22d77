"""Forecasts of a law with lives that follow it or do not, judged as the pages judge them."""

from __future__ import annotations

import numpy as np
from scipy.stats import weibull_min

from crib.clock import instant_from_us
from crib.life.calibration import KEPT_PROBS
from crib.outlook.judged_forecasts import judge_forecasts
from crib.outlook.kept_outcomes import Outcome
from crib.outlook.wear_by_forecast import BLOCK_US, wear_by_forecast
from crib.store.kept_rows import SHIFT, KeptForecast
from crib.views.score_forecasts import JudgedSpan

_LAW = weibull_min(4.0)


def judged_span(factors: list[float], width: float = 1.0) -> JudgedSpan:
    """Edges that were worn after so many times the life forecast, one a day from 1970 on."""
    rng = np.random.default_rng(1)
    left = tuple(_LAW.ppf(KEPT_PROBS).tolist())
    median = float(_LAW.median())
    rows, ends = [], []
    for number, factor in enumerate(factors):
        life = factor * median * (rng.weibull(4.0) / median) ** width
        at_us = number * BLOCK_US // 30
        row = KeptForecast(
            number, at_us, SHIFT, number, number, True, 1, "K", 0.0, 1e-3, left, at_us + 1,
            0.9, None, None, None, left[1], left[3], left[5], 1.0, None,
        )  # fmt: skip
        rows.append(row)
        ends.append(Outcome("worn", at_us + 2, at_us + 2, life, life, at_us + 2))
    judged = judge_forecasts(rows, ends, 10**18)
    begin, end = instant_from_us(0), instant_from_us(len(factors) * BLOCK_US)
    return JudgedSpan(begin, end, tuple(ends), judged, wear_by_forecast(judged, 0), ())
