"""How often a claim held: the share, the band that chance allows around it, and a verdict.

The band is the exact binomial one (Clopper & Pearson 1934), with as many trials as the
estimate is worth where some outcomes are known in part only (Korn & Graubard 1998).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

WITHIN_CHANCE: Final = "within_chance"
TOO_SURE: Final = "too_sure"
TOO_CAUTIOUS: Final = "too_cautious"
TOO_FEW: Final = "too_few"

#: With fewer trials nothing is said of a claim: common practice, no source.
ENOUGH_TRIALS: Final = 5.0

#: Chance that a band covers the true share, at least.
LEVEL: Final = 0.95

_ROUNDS: Final = 200


@dataclass(frozen=True, slots=True)
class Held:
    """How often statements held, beside what they claimed.

    Attributes:
        claimed: Share that the statements claimed, on average.
        held: Share that held; None where nothing can be said.
        band_low: Least share that agrees with what was seen (exact binomial, 95 %).
        band_high: Greatest one.
        trials: What the estimate is worth in edges whose end is known.
        known_held: Edges that are known to have held.
        known_failed: Edges that are known not to have.
        verdict: within_chance, too_sure, too_cautious or too_few.
    """

    claimed: float
    held: float | None
    band_low: float
    band_high: float
    trials: float
    known_held: float
    known_failed: float
    verdict: str


def binomial_band(
    held: ArrayLike, trials: ArrayLike, level: float = LEVEL
) -> tuple[Floats, Floats]:
    """Exact band of a share: ``held`` of ``trials`` that came out so.

    Args:
        held: How many held; need not be whole where trials are worth less than one each.
        trials: Of how many.
        level: Chance that the band covers the true share, at least.

    Returns:
        Least and greatest share, arrays of the same shape; 0 and 1 without any trial.

    Raises:
        OutsideModel: More held than trials, or a level outside 0 to 1.

    References:
        Clopper & Pearson 1934, limits as quantiles of the Beta distribution (from memory);
        trials that are no whole number: Korn & Graubard 1998 (from memory).
    """
    k, n = (np.asarray(values, dtype=np.float64) for values in (held, trials))
    if not (np.all((k >= 0) & (k <= n * (1 + 1e-9) + 1e-9)) and 0 < level < 1):
        raise OutsideModel(
            sentence("No more can hold than were tried; a level lies between 0 and 1.")
        )
    tail = (1 - level) / 2
    k = np.minimum(k, n)
    low = np.where(k > 0, betaincinv(np.maximum(k, 1e-9), n - k + 1, tail), 0.0)
    high = np.where(k < n, betaincinv(k + 1, np.maximum(n - k, 1e-9), 1 - tail), 1.0)
    return low, high


def judge(claimed: float, held: float, trials: float, level: float = LEVEL) -> Held:
    """A claim beside what was seen, and whether chance alone explains the difference.

    Too sure is a claim above the band, too cautious one below it; with trials worth less than
    five edges nothing is said.

    Args:
        claimed: Share that the statements claimed.
        held: Share that held.
        trials: What that share is worth in edges.
        level: Chance that the band covers the true share.

    Raises:
        OutsideModel: A share or a level outside 0 to 1.
    """
    low, high = (float(end) for end in binomial_band(held * trials, trials, level))
    verdict = WITHIN_CHANCE
    if trials < ENOUGH_TRIALS:
        verdict = TOO_FEW
    elif claimed > high:
        verdict = TOO_SURE
    elif claimed < low:
        verdict = TOO_CAUTIOUS
    return Held(
        claimed,
        held if trials > 0 else None,
        low,
        high,
        trials,
        held * trials,
        (1 - held) * trials,
        verdict,
    )


def more_to_tell(held: Held) -> int:
    """How many more ends tell something of a claim, if each says as much as those so far.

    Args:
        held: What is known so far.
    """
    lacking, known = max(ENOUGH_TRIALS - held.trials, 0.0), held.known_held + held.known_failed
    if known <= 0 or held.trials <= 0:
        return math.ceil(lacking)
    return math.ceil(lacking * known / min(held.trials, known))


def partly_known(
    claimed: float,
    share: float,
    chance: Floats,
    known: NDArray[np.int8],
    weight: Floats,
) -> Held:
    """Judge a share that was estimated from outcomes known in part.

    What an outcome is worth: 1 less the share of a full doubt that is left about it, the
    principle of missing information (Orchard & Woodbury 1972, Louis 1982, from memory).

    Args:
        claimed: Share that was claimed.
        share: Share that the estimate gives.
        chance: Chance that each held, given what is known of it, shape (statements,).
        known: 1 held, 0 did not, -1 open, shape (statements,).
        weight: What each counts, shape (statements,).
    """
    total = float(weight.sum())
    if total <= 0:
        return judge(claimed, 0.0, 0.0)
    full = max(share * (1 - share), 0.25 / (total + 2))
    doubt = np.where(known < 0, chance * (1 - chance), 0.0)
    trials = max(float((weight * (1 - doubt / full)).sum()), 0.0)
    return replace(
        judge(claimed, share, trials),
        known_held=float(weight[known == 1].sum()),
        known_failed=float(weight[known == 0].sum()),
    )


def statements_held(
    claimed: ArrayLike, known: ArrayLike, low: ArrayLike, high: ArrayLike
) -> Held:
    """Share of statements "it will last" that held, some of them open.

    An open one, its edge taken out before the time was up, counts by the chance that it would
    have held: the hazard claimed, times one factor for all that makes the share agree with
    itself.

    Args:
        claimed: Chance to last that each claimed, shape (statements,).
        known: 1 it lasted, 0 it did not, -1 open, shape (statements,).
        low: Share of like edges that had given out when it was last known good, by its own
            forecast; looked at where open, shape (statements,).
        high: The same when it was known to have failed; 1 where it never was.

    Raises:
        OutsideModel: Arrays of different lengths, or a chance outside 0 to 1.
    """
    q, lo, hi = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (claimed, low, high))
    outcome = np.atleast_1d(np.asarray(known, dtype=np.int8))
    if not q.shape == outcome.shape == lo.shape == hi.shape:
        raise OutsideModel(
            sentence("Every statement needs a claim, an outcome and what is known of it.")
        )
    if not ((q >= 0) & (q <= 1) & (lo >= 0) & (lo <= hi) & (hi <= 1)).all():
        raise OutsideModel(
            sentence("A chance lies from 0 to 1."), facts={"quantity": "claimed"}
        )
    if not len(q):
        return judge(0.0, 0.0, 0.0)
    mean = float(q.mean())
    chance = np.where(outcome == 1, 1.0, 0.0)
    if (still := np.flatnonzero(outcome < 0)).size:
        held = float((outcome == 1).sum())
        chance[still] = _open_chances(lo[still], hi[still], q[still], held, mean, len(q))
    share = float(chance.mean())
    return partly_known(mean, share, chance, outcome, np.ones(len(q)))


def _open_chances(
    lo: Floats, hi: Floats, q: Floats, held: float, mean: float, count: int
) -> Floats:
    """Chance of each open statement to have held, shape (open,).

    Args:
        lo: Share of like edges gone when last known good, shape (open,).
        hi: The same when known to have failed, shape (open,).
        q: Chance to last that each claimed, shape (open,).
        held: How many of the known ones held.
        mean: Mean of all claims.
        count: How many statements there are, known ones included.
    """
    # survival claimed: when last good, at the end of the statement, when known to have failed
    good, end, gone = (np.log(np.clip(v, 1e-12, 1.0)) for v in (1 - lo, q, 1 - hi))
    gone = np.where(hi >= 1, -np.inf, gone)
    factor, share = 1.0, mean
    chance = np.zeros(len(q))
    for _ in range(_ROUNDS):
        rest = np.exp(factor * gone)
        lasted, reach = np.exp(factor * end) - rest, np.exp(factor * good) - rest
        chance = np.clip(lasted / np.maximum(reach, 1e-12), 0.0, 1.0)
        following = (held + float(chance.sum())) / count
        if abs(following - share) < 1e-9:
            break
        share = following
        bounded = min(max(share, 1e-9), 1 - 1e-9), min(max(mean, 1e-9), 1 - 1e-9)
        factor = math.log(bounded[0]) / math.log(bounded[1])
    return chance
