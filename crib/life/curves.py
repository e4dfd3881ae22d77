"""Predictive life curves as tables, fast enough for a million edges.

The posterior of a key is a mixture over shapes of closed forms
``S(x) = (b / (b + x^k))^a``. Each key's ``ln H`` (H the cumulative hazard ``-ln S``) is laid
on an even grid of ``ln x``, where it is nearly straight, so that straight lines between the
nodes keep survival and quantiles in agreement with each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from crib.arrays import Floats, Ints
from crib.life.forms import Form

STEPS_PER_UNIT: Final = 32
_BELOW, _ABOVE = 5, 4
NODES: Final = (_BELOW + _ABOVE) * STEPS_PER_UNIT + 1
GRID: Final[Floats] = np.arange(NODES) / STEPS_PER_UNIT - _BELOW
_SMALL = 1e-300
_PIECE: Final = 8_192


@dataclass(frozen=True, slots=True)
class Curves:
    """Tables of ln cumulative hazard by key.

    Attributes:
        centre: ln of a middling life, shape (keys,).
        log_hazard: ``ln H`` at ``centre + GRID``, shape (keys, NODES).
    """

    centre: Floats
    log_hazard: Floats

    def ages(self) -> Floats:
        """Ages of the nodes, shape (keys, NODES)."""
        return np.exp(self.centre[:, None] + GRID)

    def hazard(self, row: Ints, age: Floats) -> tuple[Floats, Floats]:
        """``H`` and its slope ``d ln H / d ln x`` at an age; straight beyond the table."""
        position = (
            np.log(np.maximum(age, _SMALL)) - self.centre[row] + _BELOW
        ) * STEPS_PER_UNIT
        node = np.clip(position, 0, NODES - 2).astype(np.int64)
        flat = self.log_hazard.ravel()
        at = row * NODES + node
        low = flat[at]
        step = flat[at + 1] - low
        log_h = low + (position - node) * step
        return np.exp(np.clip(log_h, -700, 700)), step * STEPS_PER_UNIT


def joined(first: Curves, second: Curves) -> Curves:
    """One table, the rows of the second after those of the first."""
    return Curves(
        np.concatenate([first.centre, second.centre]),
        np.concatenate([first.log_hazard, second.log_hazard]),
    )


def mixture_curves(forms: Sequence[Form], weights: Floats, one: Floats, two: Floats) -> Curves:
    """Tables from closed forms.

    Args:
        forms: The laws.
        weights: Weights that add up to 1 per key, shape (keys, laws).
        one: First parameter of the life under each law (``Form.ahead``), shape (keys, laws).
        two: The second one.
    """
    kept = np.where(weights > 1e-6, weights, 0.0)
    kept /= kept.sum(axis=1, keepdims=True)
    log_median = np.stack(
        [form.log_median_ahead(one[:, s], two[:, s]) for s, form in enumerate(forms)], axis=1
    )
    centre = np.sum(kept * log_median, axis=1)
    table = np.empty((len(centre), NODES))
    block = max(1, 100_000 // NODES)
    for start in range(0, len(centre), block):
        rows = slice(start, start + block)
        log_x = centre[rows, None] + GRID
        table[rows] = _mixed(forms, kept[rows], one[rows], two[rows], log_x)
    return Curves(centre, table)


def _mixed(
    forms: Sequence[Form], weights: Floats, one: Floats, two: Floats, log_x: Floats
) -> Floats:
    """``ln -ln sum w S(x)`` over the laws, shape (keys, nodes)."""
    used = np.flatnonzero(weights.any(axis=0)).tolist()
    hazard = np.full((len(used), *log_x.shape), np.inf)
    for term, s in zip(hazard, used, strict=True):
        rows = np.flatnonzero(weights[:, s])
        term[rows] = forms[s].hazard_ahead(log_x[rows], one[rows, s, None], two[rows, s, None])
    # Exact for tiny and for large hazards.
    least = hazard.min(axis=0)
    more = np.zeros_like(least)
    for term, s in zip(hazard, used, strict=True):
        more += weights[:, s, None] * np.expm1(least - term)
    mixed: Floats = np.log(np.maximum(least - np.log1p(more), _SMALL))
    return mixed


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges on their curves, arrays of shape (edges,).

    Attributes:
        row: Row of the curves.
        age: Wear units used.
        alpha: Breakage: ``S_b(s) = (beta / (beta + e))^alpha``, e the exposure of s ahead.
        beta: Same shape, in wear units.
        young: Wear units ahead through which an edge is young and counts ``1 + more`` times.
        more: How much more often young edges break; 0: all alike.
    """

    row: Ints
    age: Floats
    alpha: Floats
    beta: Floats
    young: Floats
    more: float = 0.0

    def repeated(self, times: int) -> Edges:
        """Every edge so many times in a row."""
        return Edges(
            np.repeat(self.row, times),
            np.repeat(self.age, times),
            np.repeat(self.alpha, times),
            np.repeat(self.beta, times),
            np.repeat(self.young, times),
            self.more,
        )

    def take(self, rows: Ints | slice) -> Edges:
        """Only some edges."""
        return Edges(
            self.row[rows],
            self.age[rows],
            self.alpha[rows],
            self.beta[rows],
            self.young[rows],
            self.more,
        )

    def breaks_ahead(self, ahead: Floats) -> Floats:
        """``-ln`` of the chance not to break on the way, shape (edges,) or (edges, columns)."""
        wide = (slice(None), None) if ahead.ndim == 2 else slice(None)
        exposed = ahead + self.more * np.minimum(ahead, self.young[wide])
        result: Floats = self.alpha[wide] * np.log1p(exposed / self.beta[wide])
        return result

    def break_rate(self, ahead: Floats) -> Floats:
        """Slope of ``breaks_ahead``, shape (edges,)."""
        exposed = ahead + self.more * np.minimum(ahead, self.young)
        often = np.where(ahead < self.young, 1 + self.more, 1.0)
        return self.alpha * often / (self.beta + exposed)

    def until_breaks(self, hazard: Floats) -> Floats:
        """The way ahead by which breakage alone reaches a hazard, shape (edges,)."""
        often = 1 + self.more
        exposed = self.beta * np.expm1(np.minimum(hazard / np.maximum(self.alpha, 1e-12), 600))
        soon = exposed <= often * self.young
        return np.where(soon, exposed / often, exposed - self.more * self.young)

    def hazard_ahead(self, curves: Curves, ahead: Floats) -> Floats:
        """``-ln`` of the chance to live ``ahead`` longer, shape (edges,)."""
        now, _ = curves.hazard(self.row, self.age)
        later, _ = curves.hazard(self.row, self.age + ahead)
        return np.maximum(later - now, 0.0) + self.breaks_ahead(ahead)


def ahead_for_hazard(curves: Curves, edges: Edges, target: Floats) -> Floats:
    """How much longer until the cumulative hazard ahead reaches ``target``, per edge.

    Newton's method on logarithms within a bracket, halving where it leaves it; the hazard
    rises with the way ahead, so there is one answer.
    """
    answer = np.empty(len(target))
    # In pieces that stay in the processor's cache.
    for start in range(0, len(target), _PIECE):
        part = slice(start, start + _PIECE)
        answer[part] = _ahead(curves, edges.take(part), target[part])
    return answer


def _ahead(curves: Curves, edges: Edges, target: Floats) -> Floats:
    now, slope = curves.hazard(edges.row, edges.age)
    alone = _power_law_start(curves, edges, now, slope, target)
    breaks = edges.until_breaks(target)
    y = np.log(np.maximum(np.minimum(alone, breaks), _SMALL))
    low = np.full_like(y, np.log(_SMALL))
    high = np.minimum(np.log(np.maximum(breaks, _SMALL)), y + 60.0)
    answer = y.copy()
    open_rows = np.arange(len(y))
    log_target = np.log(target)
    for turn in range(120):
        x = np.exp(y)
        later, bend = curves.hazard(edges.row, edges.age + x)
        total = np.maximum(later - now, 0) + edges.breaks_ahead(x)
        rate = later * bend / (edges.age + x) + edges.break_rate(x)
        total = np.maximum(total, _SMALL)
        miss = np.log(total) - log_target
        low = np.where(miss < 0, y, low)
        high = np.where(miss >= 0, y, high)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            step = y - miss * total / (rate * x)
        # Newton seldom needs ten turns; from a kink it may swing, so then every other turn
        # halves the bracket until it holds no kink.
        good = (step > low) & (step < high) & (turn < 12 or turn % 2 == 0)
        following = np.where(good, step, (low + high) / 2)
        # Newton's error after a step is about the step squared, that of halving the step.
        done = np.abs(following - y) < np.where(good, 1e-6, 1e-12)
        done |= np.abs(miss) < 1e-12
        answer[open_rows] = np.where(np.abs(miss) < 1e-12, y, following)
        if done.all():
            break
        going = np.flatnonzero(~done)
        open_rows, now, edges = open_rows[going], now[going], edges.take(going)
        y, low, high = following[going], low[going], high[going]
        log_target = log_target[going]
    return np.exp(answer)


def _power_law_start(
    curves: Curves, edges: Edges, now: Floats, slope: Floats, target: Floats
) -> Floats:
    """First guess: the curve as one power law through its middle, or the present rate."""
    middle = _BELOW * STEPS_PER_UNIT
    log_h = curves.log_hazard[:, middle]
    power = (curves.log_hazard[:, middle + 8] - curves.log_hazard[:, middle - 8]) * (
        STEPS_PER_UNIT / 16
    )
    row = edges.row
    reach = np.exp(
        np.clip((np.log(now + target) - log_h[row]) / power[row], -50, 50) + curves.centre[row]
    )
    with np.errstate(divide="ignore", over="ignore"):
        linear = target * edges.age / (now * np.maximum(slope, 1e-6))
    # Near a new edge the hazard is held from below and its rate says nothing.
    told = np.isfinite(linear) & (linear > 0) & (now > _SMALL)
    linear = np.where(told, linear, np.inf)
    ahead = np.where(reach > edges.age, reach - edges.age, np.inf)
    guess = np.minimum(ahead, linear)
    return np.where(np.isfinite(guess), guess, np.exp(curves.centre[row]))
