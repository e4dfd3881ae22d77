"""By how much chances of unattended stretches are scaled, from how earlier ones went."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import sentence

#: Shape and rate of the factor's gamma prior, about 1: it is worth two failures expected
#: (common practice, no source).
_WORTH: Final = 2.0

#: A stretch that failed without any hazard forecast counts as one whose hazard was tiny.
_LEAST: Final = 1e-12

#: Where the density has fallen to e^-45 of its peak, rounding is larger than what is left.
_FALL: Final = 45.0
_POINTS: Final = 801
_ROUNDS: Final = 200


def night_scale(hazard: ArrayLike, failed: ArrayLike) -> float:
    """Factor on the hazard of unattended stretches ahead.

    A machine's stretch fails at most once that counts: its first failure may stop it, and what
    would have come after that is not known. So it fails with a chance of ``1 - exp(-c H)``,
    with H the hazard of all of its edges over the whole of it, and comes through with
    ``exp(-c H)`` (current status data; Sun 2006, The Statistical Analysis of Interval-censored
    Failure Time Data, from memory). The factor c is gamma distributed about 1 before any
    stretch was seen. Its posterior mean is given, by quadrature over ln c.

    Args:
        hazard: Cumulative hazard of each machine's edges over each stretch, as forecast
            without a factor, so that the factor never learns from itself; shape (stretches,).
        failed: Whether any of them failed in it, same shape.

    Raises:
        OutsideModel: Arrays of different lengths, or a hazard that is no number from 0 up.
    """
    told, hurt = np.asarray(hazard, dtype=np.float64), np.asarray(failed, dtype=np.bool_)
    if told.shape != hurt.shape or told.ndim != 1:
        raise OutsideModel(sentence("Every stretch needs one hazard and one outcome."))
    if not np.all(np.isfinite(told) & (told >= 0)):
        raise OutsideModel(
            sentence("A hazard has to be a number from 0."), facts={"quantity": "hazard"}
        )
    rate = _WORTH + float(told[~hurt].sum())
    over = np.maximum(told[hurt], _LEAST)
    if not over.size:
        return _WORTH / rate
    log_c = _where_the_mass_lies(rate, over)
    weight = _log_density(log_c, rate, over)
    weight = np.exp(weight - weight.max())
    return float(np.exp(log_c) @ weight / weight.sum())


def under_scale(chance: ArrayLike, scale: ArrayLike) -> Floats:
    """Chances to fail in a stretch as they stand under a factor on its hazard."""
    with np.errstate(divide="ignore"):
        hazard = -np.log1p(-np.asarray(chance, dtype=np.float64))
    scaled: Floats = -np.expm1(-hazard * np.asarray(scale, dtype=np.float64))
    return scaled


def _log_density(log_c: Floats, rate: float, over: Floats) -> Floats:
    """Ln density of ln c but for a constant, shape as ``log_c``; it is concave."""
    c = np.exp(log_c)
    hits = np.log(-np.expm1(-np.multiply.outer(c, over))).sum(axis=-1)
    density: Floats = _WORTH * log_c - rate * c + hits
    return density


def _where_the_mass_lies(rate: float, over: Floats) -> Floats:
    """Even steps of ln c over all of the density that is worth counting."""
    # A failure pulls like a whole one at most, and like none at least.
    low, high = np.log(_WORTH / rate), np.log((_WORTH + over.size) / rate)
    for _ in range(_ROUNDS):
        peak = (low + high) / 2
        gone = np.exp(peak) * over
        pull = _WORTH - rate * np.exp(peak) + np.sum(gone / np.expm1(np.minimum(gone, 700.0)))
        low, high = (peak, high) if pull > 0 else (low, peak)
        if high - low < 1e-9:
            break
    top = float(_log_density(np.array([peak]), rate, over)[0]) - _FALL
    ends = []
    for way in (-1.0, 1.0):
        step = 1 / np.sqrt(_WORTH + over.size)
        while float(_log_density(np.array([peak + way * step]), rate, over)[0]) > top:
            step *= 1.5
        ends.append(peak + way * step)
    return np.linspace(ends[0], ends[1], _POINTS)
