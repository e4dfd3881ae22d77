"""Station moved, holder seat worn or gauge off: which of them first-offs speak for.

Each first-off leaves a residual: the measure that would have been right, less the one that
was taken. A station that moved shifts the residuals of all tools in it from then on, a worn
seat those of one holder wherever it sits, a gauge that is off those of all tools measured
on it since. Everything is Gaussian, so that the odds are exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.metrology.datum_noise import RECORD_DEVIATION_MM
from crib.sentence import sentence

CAUSES: Final = ("station", "holder", "gauge")

#: Odds from which on the best cause is called one.
CLEAR_ODDS: Final = 5.0

#: Usual deviations that are no change [mm]; common practice, no source.
HOLDER_DEVIATION_MM: Final = 0.003
GAUGE_DEVIATION_MM: Final = 0.0015
#: What a gauge may drift by between checks, per day [mm].
GAUGE_DRIFT_MM_PER_DAY: Final = 0.001

#: Most that a station, a seat or a gauge moves by unnoticed; beyond it a figure or a tool is
#: wrong [mm]; common practice, no source.
MOST_CHANGE_MM: Final = 1.0

#: Sizes of change that are thought of, each as likely as the others [mm].
_CHANGES_MM: Final = np.array([0.01, 0.03, 0.1, 0.3])


@dataclass(frozen=True, slots=True)
class Residual:
    """One first-off, as far as one measure is concerned.

    Attributes:
        residual_mm: Measure that would have been right less the measure taken, the datum on
            record taken for true [mm].
        sd_mm: What mounting, preset and first-off scatter by (standard deviation) [mm].
        station: Name of the station.
        holder: Name of the holder.
        gauge: Name of the gauge, None where nobody said.
        measured_at: When the preset was made.
        gauge_checked_at: Last good check of the gauge before, None where there is none.
    """

    residual_mm: float
    sd_mm: float
    station: str
    holder: str
    gauge: str | None
    measured_at: datetime
    gauge_checked_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """One explanation of the newest residual.

    Attributes:
        cause: station, holder or gauge.
        name: Which one.
        probability: Among the three and chance; each was as likely before.
        change_mm: By how much it changed, if it is the one [mm].
        change_sd_mm: How well that is known [mm].
        first_offs: First-offs that have seen the change, at its likeliest beginning.
    """

    cause: str
    name: str
    probability: float
    change_mm: float
    change_sd_mm: float
    first_offs: int


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the data say about the newest residual.

    Attributes:
        causes: The likeliest first.
        chance: Probability that nothing changed.
        clear: The cause, where the data tell it from the others; else None.
    """

    causes: tuple[Cause, ...]
    chance: float
    clear: Cause | None

    @property
    def odds(self) -> float:
        """The best cause against the second."""
        if len(self.causes) < 2:
            return float("inf")
        best, second = self.causes[0].probability, self.causes[1].probability
        return best / second if second > 0 else float("inf")


def diagnose(residuals: Sequence[Residual]) -> Diagnosis:
    """Which change explains the newest residual, the last of the sequence.

    A mixed model: effects per station, holder and gauge, a drift of the gauge over the days
    since its check, independent scatter. Each cause adds one shift from an unknown beginning
    on, averaged over all beginnings that its data allow; a gauge can only have gone off
    after its last good check. Against that stands that nothing changed.

    Args:
        residuals: First-offs of one measure in the order of the mounts.

    Raises:
        OutsideModel: No residuals, or one that is not finite.

    References:
        Linear mixed model with known variances: Searle, Casella and McCulloch, Variance
        components (from memory); the density of one more shift by the matrix determinant
        lemma and the formula of Sherman and Morrison.
    """
    _check(residuals)
    values = np.array([one.residual_mm for one in residuals])
    inverse = np.asarray(np.linalg.inv(_baseline(residuals)), dtype=np.float64)
    pull: Floats = inverse @ values
    logs: list[float] = [0.0]  # nothing changed
    found = []
    for kind in CAUSES:
        shifts = _shifts(residuals, kind)
        if not shifts.size:
            continue
        log, change, deviation, seen = _weigh(shifts, inverse, pull)
        logs.append(log)
        found.append((kind, change, deviation, seen))
    weights = np.exp(np.array(logs) - np.logaddexp.reduce(logs))
    causes = [
        Cause(kind, _name(residuals[-1], kind), float(weight), change, deviation, seen)
        for (kind, change, deviation, seen), weight in zip(found, weights[1:], strict=True)
    ]
    causes.sort(key=lambda one: -one.probability)
    told = Diagnosis(tuple(causes), float(weights[0]), None)
    others = max((one.probability for one in causes[1:]), default=0.0)
    if causes[0].probability >= CLEAR_ODDS * max(others, told.chance):
        told = Diagnosis(told.causes, told.chance, causes[0])
    return told


def _check(residuals: Sequence[Residual]) -> None:
    if not residuals:
        raise OutsideModel(sentence("There are no first-offs to find a cause from."))
    numbers = [(one.residual_mm, one.sd_mm) for one in residuals]
    if not np.isfinite(numbers).all() or not all(sd > 0 for _, sd in numbers):
        raise OutsideModel(
            sentence("A residual is finite, and its scatter finite and above zero.")
        )


def _name(one: Residual, kind: str) -> str:
    return {"station": one.station, "holder": one.holder, "gauge": one.gauge or ""}[kind]


def _days_since_check(one: Residual) -> float:
    if one.gauge_checked_at is None:
        return 0.0
    return max(0.0, (one.measured_at - one.gauge_checked_at).total_seconds() / 86_400)


def _baseline(residuals: Sequence[Residual]) -> Floats:
    """Covariance of the residuals where nothing changed [mm²]."""
    days = np.array([_days_since_check(one) for one in residuals])
    gauges = _same([one.gauge for one in residuals])
    return np.asarray(
        RECORD_DEVIATION_MM**2 * _same([one.station for one in residuals])
        + HOLDER_DEVIATION_MM**2 * _same([one.holder for one in residuals])
        + GAUGE_DEVIATION_MM**2 * gauges
        + GAUGE_DRIFT_MM_PER_DAY**2 * gauges * np.outer(days, days)
        + np.diag([one.sd_mm**2 for one in residuals])
    )


def _same(names: Sequence[str | None]) -> Floats:
    """1 where two have the same name, 0 elsewhere and where nobody said."""
    numbers = {name: number for number, name in enumerate(dict.fromkeys(names))}
    table = np.array([numbers[name] for name in names])
    said = np.array([name is not None for name in names])
    equal = (table[:, None] == table[None, :]) & said[:, None] & said[None, :]
    return np.asarray(equal, dtype=np.float64)


def _shifts(residuals: Sequence[Residual], kind: str) -> Floats:
    """Who sees a change, one row per beginning that is possible, (beginnings, residuals)."""
    newest = residuals[-1]
    name = _name(newest, kind)
    if kind == "gauge":
        if newest.gauge is None:
            return np.zeros((0, len(residuals)))
        since = newest.gauge_checked_at
        seen = [
            (number, one.measured_at)
            for number, one in enumerate(residuals)
            if one.gauge == name and (since is None or one.measured_at >= since)
        ]
        order = [number for number, _ in sorted(seen, key=lambda pair: pair[1])]
    else:
        order = [number for number, one in enumerate(residuals) if _name(one, kind) == name]
    rows = np.zeros((len(order), len(residuals)))
    for row, _ in enumerate(order):
        rows[row, order[row:]] = 1.0
    return rows


def _weigh(shifts: Floats, inverse: Floats, pull: Floats) -> tuple[float, float, float, int]:
    """Log of the mean density ratio over beginnings and sizes; the change; who has seen it."""
    about = np.einsum("bi,ij,bj->b", shifts, inverse, shifts)[:, None]
    score = (shifts @ pull)[:, None]
    var = np.square(_CHANGES_MM)[None, :]
    more = 1 + var * about
    logs = -0.5 * np.log(more) + 0.5 * var * np.square(score) / more
    log = float(np.logaddexp.reduce(logs, axis=None) - np.log(logs.size))
    weights = np.exp(logs - np.logaddexp.reduce(logs, axis=None))
    means, variances = var * score / more, var / more
    change = float((weights * means).sum())
    deviation = float(np.sqrt((weights * (variances + np.square(means - change))).sum()))
    likeliest = int(np.argmax(weights.sum(axis=1)))
    return log, change, deviation, int(shifts[likeliest].sum())
