"""Where a station really holds its tools: one Kalman filter per station and axis.

The datum is a slowly moving truth; each first-off, the error found on the first part after a
mount, is one look at it. Units are those of the caller (mm in the service), X as radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.arrays import Floats, Ints
from crib.errors import OutsideModel
from crib.metrology.datum_filter import HELD, NONE, DatumFilter
from crib.metrology.datum_noise import NO_JUMPS, DatumPrior
from crib.metrology.datum_reach import reach
from crib.sentence import sentence

#: A first-off that waits for a second one is as likely right as wrong.
_HELD_RIGHT = 0.5
#: What is stated reaches to it as if it were right: it covers should it be so.
_HELD_STATED = 0.9


@dataclass(frozen=True, slots=True)
class DatumTrack:
    """What each look showed, and where the datum is believed to be after the last.

    Attributes:
        predicted: What was expected at each look, shape (stations, looks).
        predicted_sd: Deviation of a look from that, measurement included.
        innovation: Look less expectation; NaN where there was no look.
        sigmas: Innovation over its deviation.
        estimate: Datum after each look.
        estimate_sd: Its standard deviation, should the station be a usual one.
        estimate_reach: How far the true datum may lie from it, 95 %, where asked for.
        verdict: Index into ``datum_filter.VERDICTS``, shape (stations, looks).
        mean: Datum now, shape (stations,).
        sd: Its standard deviation, should the station be a usual one.
        reach: How far the true datum may lie from ``mean``, 95 %, whatever it scatters by.
            Like all stated here it reaches to a jump while that waits to be confirmed.
        next_reach: How far the next mount may lie from ``mean``, measurement apart, 95 %.
        held: Look that is held apart and waits for a second one; NaN where none is.
        walk_sd: Move from mount to mount, as learned.
        scatter_sd: Scatter of mounting, as learned.
        log_evidence: Logarithm of the density of the looks that were taken.
    """

    predicted: Floats
    predicted_sd: Floats
    innovation: Floats
    sigmas: Floats
    estimate: Floats
    estimate_sd: Floats
    estimate_reach: Floats
    verdict: Ints
    mean: Floats
    sd: Floats
    reach: Floats
    next_reach: Floats
    held: Floats
    walk_sd: Floats
    scatter_sd: Floats
    log_evidence: Floats


def follow_datum(
    looks: npt.ArrayLike,
    look_sd: npt.ArrayLike,
    recorded: npt.ArrayLike,
    prior: DatumPrior | None = None,
    noise: tuple[Floats, Floats, Floats] | None = None,
    each_look: bool = True,
) -> DatumTrack:
    """Follow the datum of many stations through their mounts.

    The state moves by a random walk at each mount; a look adds the scatter of mounting and
    the uncertainty of measuring. Walk and scatter are unknown: a grid of both is carried,
    weighted by prior and by the likelihood of the station's own innovations, so that few
    looks lean on the prior and many on themselves.

    A look beyond ``JUMP_SIGMAS`` is held apart: the estimate does not move. If the next one
    agrees with it, the datum starts again there (a step); if the next one fits the estimate,
    the held one is dropped; if it fits neither, only the scatter is learned from.

    Args:
        looks: Datum as each first-off shows it, shape (stations, looks), in order of the
            mounts; NaN where a mount has no first-off.
        look_sd: Standard uncertainty of each look, same shape or broadcast to it.
        recorded: Datum on record, shape (stations,).
        prior: What is believed of any station.
        noise: Walk, scatter and log weight per grid point, without jumps; the prior's, with
            jumps, where None.
        each_look: Whether ``estimate_reach`` is worked out; NaN where not.

    Raises:
        OutsideModel: Shapes that do not match, a look that is infinite, an uncertainty that
            is negative or not finite.

    A smaller look may be a jump too, so that each is taken both ways, joined by how likely
    each way is. Where it lies beyond ``DOUBT_SIGMAS``, what is stated (not the estimate)
    takes a jump for likely over ``DOUBT_LASTS`` looks: seats that scatter hide one.

    References:
        Kalman 1960, A new approach to linear filtering and prediction problems; local level
        model: Durbin and Koopman, Time series analysis by state space methods, chapter 2;
        a bank of filters weighted by its innovations: Magill 1965 (all from memory).
    """
    belief = prior or DatumPrior()
    seen, sd, start = _checked(looks, look_sd, recorded)
    grid = noise or belief.grid()
    leaps = belief.leaps() if noise is None else NO_JUMPS
    tilt = belief.open_tilt() if noise is None else np.zeros(grid[0].size)
    bank = DatumFilter(start, belief.record_deviation**2, grid, leaps)
    told = np.full((7, *seen.shape), np.nan)
    verdict = np.full(seen.shape, NONE, dtype=np.int64)
    there = [bool(np.isfinite(column).any()) for column in seen.T]
    held_look = np.zeros(start.size, dtype=np.int64)
    for look in range(seen.shape[1]):
        if look:
            bank.move()
        look_var = np.square(sd[:, look])
        mean, expected_sd = bank.expect(look_var)
        if not there[look]:  # a mount without a first-off anywhere
            told[:2, :, look] = (mean, expected_sd)
            told[4:6, :, look] = bank.mixed(bank.var)
            if each_look:
                told[6, :, look] = _reach(bank, tilt)
            continue
        innovation = seen[:, look] - mean
        with np.errstate(divide="ignore", invalid="ignore"):
            sigmas = np.where(innovation == 0, 0.0, innovation / expected_sd)
        now, before = bank.look(seen[:, look], sigmas, look_var)
        verdict[:, look] = now
        (settled,) = np.nonzero(before != NONE)
        verdict[settled, held_look[settled]] = before[settled]
        held_look = np.where(now == HELD, look, held_look)
        estimate, estimate_sd = bank.mixed(bank.var)
        estimate_sd = _with_held(bank, estimate, estimate_sd)
        told[:6, :, look] = (mean, expected_sd, innovation, sigmas, estimate, estimate_sd)
        if each_look:
            told[6, :, look] = _reach(bank, tilt)
    mean, sd_now = bank.mixed(bank.var)
    sd_now = _with_held(bank, mean, sd_now)
    reached = _reach(bank, tilt)
    bank.move()
    walk_sd, scatter_sd = bank.learned()
    return DatumTrack(
        predicted=told[0],
        predicted_sd=told[1],
        innovation=told[2],
        sigmas=told[3],
        estimate=told[4],
        estimate_sd=told[5],
        estimate_reach=told[6],
        verdict=verdict,
        mean=mean,
        sd=sd_now,
        reach=reached,
        next_reach=_reach(bank, tilt, bank.scatter2),
        held=bank.held,
        walk_sd=walk_sd,
        scatter_sd=scatter_sd,
        log_evidence=bank.log_evidence,
    )


def _with_held(bank: DatumFilter, mean: Floats, sd: Floats) -> Floats:
    """A deviation that reaches to a look that is held apart too."""
    jump = np.nan_to_num(bank.held - mean)
    return np.asarray(np.sqrt(np.square(sd) + _HELD_RIGHT * np.square(jump)))


def _reach(bank: DatumFilter, tilt: Floats, more_var: Floats | float = 0.0) -> Floats:
    """What is stated about the estimate, with a variance to add per point of the grid."""
    var = bank.var + more_var
    center, _ = bank.mixed(var)
    logs = bank.log_weights + tilt
    held = np.isfinite(bank.held)[:, None]
    if held.any():
        beside = np.where(held, bank.held[:, None], bank.mean)
        wide = np.where(held, var + bank.held_var[:, None] + bank.scatter2, var)
        stated = reach(
            center,
            np.hstack([bank.mean, beside]),
            np.hstack([var, wide]),
            np.hstack([logs + np.log1p(-_HELD_STATED), logs + np.log(_HELD_STATED)]),
        )
    else:
        stated = reach(center, bank.mean, var, logs)
    rows = bank.doubt_left > 0
    if rows.any():
        opened = reach(
            center[rows],
            bank.open_mean[rows],
            bank.open_var[rows] + more_var,
            bank.open_logs[rows] + tilt,
        )
        stated[rows] = np.maximum(stated[rows], opened)
    return stated


def _checked(
    looks: npt.ArrayLike, look_sd: npt.ArrayLike, recorded: npt.ArrayLike
) -> tuple[Floats, Floats, Floats]:
    seen = np.asarray(looks, dtype=np.float64)
    start = np.asarray(recorded, dtype=np.float64)
    if seen.ndim != 2 or start.shape != seen.shape[:1]:
        raise OutsideModel(
            sentence("Give looks by station and mount, and one datum per station.")
        )
    try:
        sd = np.broadcast_to(np.asarray(look_sd, dtype=np.float64), seen.shape)
    except ValueError:
        raise OutsideModel(sentence("Give one uncertainty for each look.")) from None
    if np.isinf(seen).any() or not np.isfinite(start).all():
        raise OutsideModel(
            sentence("A look at a datum, or the datum on record, is not a finite number.")
        )
    there = ~np.isnan(seen)
    if not (np.isfinite(sd[there]).all() and (sd[there] >= 0).all()):
        raise OutsideModel(
            sentence("The uncertainty of a look is a finite number, zero or more.")
        )
    return seen, np.where(there, sd, 0.0), start
