"""What lives say by themselves: the forecast's closed forms, beside maximum likelihood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.errors import OutsideModel
from crib.life.aside import set_aside, yardstick
from crib.life.fit import ExponentialFit, WeibullFit, fit_exponential, fit_weibull
from crib.life.observations import CENSORED, WORN, life_histories
from crib.life.one_key import OneKey, fit_one_key
from crib.sentence import figure, sentence, together

PROBS: Final = (0.05, 0.1, 0.5, 0.9)

#: Prior deviation of ln(life) where nothing is promised: a factor of four and a half each way.
VAGUE_SD: Final = 1.5
#: And of a promise from tool-life constants (common practice, no source).
PROMISE_SD: Final = 0.4

_LEAST_AGE, _MOST_AGE = 1e-6, 1e12
_MOST_LIVES = 100_000
# Survival is shown at these shares of a middling life.
_SHOWN: Final = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0)


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance of reaching so much use more."""

    ahead: float
    survival: float


@dataclass(frozen=True, slots=True)
class AheadOfEdge:
    """What lies ahead of one edge, in the unit of the lives.

    Attributes:
        age: What it has done so far.
        p05: Use left that 5 % do not reach, likewise the next; all from ``age`` on.
        p10: 10 %.
        p50: The median.
        p90: Use left that 90 % do not reach.
        survival: Chances at the uses asked about.
    """

    age: float
    p05: float
    p10: float
    p50: float
    p90: float
    survival: tuple[Chance, ...]


@dataclass(frozen=True, slots=True)
class OwnLives:
    """Both estimates of one law of life.

    Attributes:
        failed: Lives that ended.
        taken_out: Edges taken out early.
        likelihood: Maximum likelihood; None where it has no finite maximum.
        why_none: Why it has none; empty otherwise.
        constant: Maximum likelihood of a life that does not age; None without a failure.
        shape: Posterior shape (mean of its logarithm).
        scale: Posterior scale (mean of its logarithm).
        new: A new edge.
        aged: An edge of the age asked about; None where none was.
        doubted: Sentences on lives that the posterior leaves out until somebody looked.
    """

    failed: int
    taken_out: int
    likelihood: WeibullFit | None
    why_none: str
    constant: ExponentialFit | None
    shape: float
    scale: float
    new: AheadOfEdge
    aged: AheadOfEdge | None
    doubted: tuple[str, ...]


def fit_own_lives(
    ages: Sequence[float],
    ended: Sequence[bool],
    *,
    age: float | None = None,
    ahead: Sequence[float] | None = None,
    promised: float | None = None,
    spread: float | None = None,
) -> OwnLives:
    """Estimate a Weibull life from lives in any unit of use (minutes, parts, metres).

    Maximum likelihood, and the posterior by the closed forms that the forecast uses. Without a
    promised life its prior is centred on the lives' own median and so wide that it says next
    to nothing; the prior on the shape (1.5 to 8, about 3) stays. Lives that the forecast would
    set aside are left out of the posterior and named.

    Args:
        ages: Ages reached.
        ended: True failed, False taken out early.
        age: Age of an edge to look ahead from.
        ahead: Uses ahead at which survival is wanted; None: shares of a middling life.
        promised: Life that constants or experience promise, in the same unit.
        spread: Standard deviation of ln(life) about the promise.

    Raises:
        OutsideModel: No lives, more than 100,000, or a figure outside its range.
    """
    if not 1 <= len(ages) <= _MOST_LIVES:
        raise _outside(
            "lives",
            sentence(
                "has {ages}; 1 to {most_lives} are allowed",
                ages=len(ages),
                most_lives=figure(_MOST_LIVES, ","),
            ),
        )
    for place, value in enumerate(ages):
        _check(f"lives.{place}.age", value)
    for name, given in (("promised_life", promised), ("age", age or None)):
        if given is not None:
            _check(name, given)
    sd = spread if spread is not None else VAGUE_SD if promised is None else PROMISE_SD
    if not 0.01 <= sd <= 3:
        raise _outside("spread", sentence("is {sd}; it has to be from 0.01 to 3", sd=repr(sd)))
    unit = promised or float(np.sort(ages)[(len(ages) - 1) // 2])
    marks = [WORN if one else CENSORED for one in ended]
    parts = np.zeros(len(ages))
    lives = life_histories(np.zeros(len(ages)), np.asarray(ages) / unit, parts, marks)
    believed, aside = set_aside(lives, yardstick(lives, np.ones(1)))
    posterior = fit_one_key(believed.wear, believed.ended == WORN, sd)
    middling = posterior.scale * unit
    shown = tuple(share * middling for share in _SHOWN) if ahead is None else tuple(ahead)
    for value in shown:
        if not (math.isfinite(value) and 0 <= value <= _MOST_AGE * _MOST_AGE):
            raise _outside(
                "ahead", sentence("holds {value}; give numbers from 0 up", value=repr(value))
            )
    likelihood, why_none = _likelihood(ages, ended)
    return OwnLives(
        failed=sum(ended),
        taken_out=len(ages) - sum(ended),
        likelihood=likelihood,
        why_none=why_none,
        constant=fit_exponential(ages, ended) if any(ended) else None,
        shape=posterior.shape,
        scale=middling,
        new=_ahead(posterior, 0.0, unit, shown),
        aged=None if age is None else _ahead(posterior, age, unit, shown),
        doubted=tuple(
            sentence(
                "lives[{row}] of age {wear}: {short}; check it",
                row=row.row,
                wear=figure(row.wear * unit, ".6g"),
                short=row.short,
            )
            for row in aside
        ),
    )


def _ahead(posterior: OneKey, age: float, unit: float, shown: tuple[float, ...]) -> AheadOfEdge:
    left = posterior.remaining(age / unit, np.array(PROBS)) * unit
    p05, p10, p50, p90 = (float(use) for use in left)
    alive = posterior.survival(age / unit, np.asarray(shown) / unit)
    chances = (Chance(use, float(one)) for use, one in zip(shown, alive, strict=True))
    return AheadOfEdge(age, p05, p10, p50, p90, tuple(chances))


def _likelihood(ages: Sequence[float], ended: Sequence[bool]) -> tuple[WeibullFit | None, str]:
    try:
        return fit_weibull(ages, ended), ""
    except OutsideModel as refusal:
        return None, refusal.sentence


def _check(name: str, value: float) -> None:
    if not (math.isfinite(value) and _LEAST_AGE <= value <= _MOST_AGE):
        raise _outside(
            name,
            sentence(
                "is {value}; give a number from {least_age} to {most_age}",
                value=repr(value),
                least_age=figure(_LEAST_AGE, "g"),
                most_age=figure(_MOST_AGE, "g"),
            ),
        )


def _outside(name: str, detail: str) -> OutsideModel:
    return OutsideModel(
        together("", (name, " ", detail, ".")), errors=[{"field": name, "detail": detail}]
    )
