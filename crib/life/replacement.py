"""Planned change against failure: the age at which swapping costs least.

Cost per unit of use when an edge is swapped at age x or when it fails, whichever is first:
``(cp S(x) + cf (1 - S(x))) / integral_0^x S`` (age replacement; Barlow & Proschan,
Mathematical Theory of Reliability, 1965, from memory).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from crib.arrays import Floats
from crib.errors import OutsideModel
from crib.sentence import figure, sentence

_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(16)


class SwapPoint(NamedTuple):
    """When to swap.

    Attributes:
        age: Age of least cost, infinity when a planned swap never pays.
        cost_rate: Cost per unit of use there.
        fails_first_prob: Share of edges that fail before it.
    """

    age: float
    cost_rate: float
    fails_first_prob: float


class GridSwap(NamedTuple):
    """Least-cost ages on a grid, arrays of shape (rows,)."""

    age: Floats
    cost_rate: Floats
    fails_first_prob: Floats


#: Flattest life that is taken; real edges wear with a shape above 1.
LEAST_SHAPE = 0.05


def _check_costs(planned_cost: float, failure_cost: float) -> None:
    for value, name in ((planned_cost, "planned_cost"), (failure_cost, "failure_cost")):
        if not (math.isfinite(value) and value > 0):
            raise OutsideModel(
                sentence(
                    "{name} is {value}; it has to be a number above 0.",
                    name=name,
                    value=repr(value),
                ),
                facts={"quantity": name},
            )


def weibull_swap_point(
    shape: float,
    scale: float,
    planned_cost: float,
    failure_cost: float,
    break_rate: float = 0.0,
) -> SwapPoint:
    """Age replacement of a Weibull life, with a constant break rate beside it if given.

    With shape <= 1 or a failure no dearer than a swap the hazard gives no reason to swap
    early: age infinity, every edge runs until it fails.

    Args:
        shape: Weibull shape.
        scale: Weibull scale, in any unit of use.
        planned_cost: Cost of a planned swap.
        failure_cost: Cost of a failure in cut, in the same money.
        break_rate: Failures per unit of use by breakage.

    Raises:
        OutsideModel: An argument that is not above 0 (break rate: from 0).

    Examples:
        >>> round(weibull_swap_point(2.0, 1.0, 1, 5).age, 4)
        0.5107
    """
    if math.isfinite(shape) and 0 < shape < LEAST_SHAPE:
        raise OutsideModel(
            sentence(
                "shape is {shape}; below {least_shape} a life spreads beyond any number.",
                shape=figure(shape, "g"),
                least_shape=figure(LEAST_SHAPE, "g"),
            ),
            facts={
                "quantity": "shape",
                "range": sentence("from {least_shape}", least_shape=figure(LEAST_SHAPE, "g")),
            },
        )
    for value, name in ((shape, "shape"), (scale, "scale")):
        if not (math.isfinite(value) and 0 < value <= 1e12):
            raise OutsideModel(
                sentence(
                    "{name} is {value}; it has to be above 0.", name=name, value=repr(value)
                ),
                facts={"quantity": name},
            )
    if not (math.isfinite(break_rate) and break_rate >= 0):
        raise OutsideModel(
            sentence(
                "break_rate is {break_rate}; it has to be a number from 0 up.",
                break_rate=repr(break_rate),
            ),
            facts={"quantity": "break_rate"},
        )
    _check_costs(planned_cost, failure_cost)
    rate = break_rate * scale
    end = _end_of_life(shape, rate)
    if shape <= 1 or failure_cost <= planned_cost:
        mean = _area(end, shape, rate)
        return SwapPoint(math.inf, failure_cost / (mean * scale), 1.0)
    # h(x) int_0^x S - F(x) rises with x for a rising hazard and meets cp/(cf-cp) once.
    wanted = planned_cost / (failure_cost - planned_cost)

    def excess(x: float) -> float:
        hazard = shape * float(x ** (shape - 1)) + rate
        return hazard * _area(x, shape, rate) - _failed(x, shape, rate) - wanted

    if excess(end) <= 0:
        mean = _area(end, shape, rate)
        return SwapPoint(math.inf, failure_cost / (mean * scale), 1.0)
    low, high = 0.0, end
    for _ in range(100):
        middle = (low + high) / 2
        if excess(middle) > 0:
            high = middle
        else:
            low = middle
    age = (low + high) / 2
    failed = _failed(age, shape, rate)
    cost = planned_cost * (1 - failed) + failure_cost * failed
    return SwapPoint(age * scale, cost / (_area(age, shape, rate) * scale), failed)


def _failed(x: float, shape: float, rate: float) -> float:
    return -math.expm1(-(x**shape) - rate * x)


def _end_of_life(shape: float, rate: float) -> float:
    """An age, in scales, by which only e^-50 live."""
    worn = float(50 ** (1 / shape))
    return min(worn, 50 / rate) if rate > 0 else worn


def _area(x: float, shape: float, rate: float) -> float:
    """``integral_0^x S`` by Gauss-Legendre on panels that grow from 0."""
    edges = x * np.concatenate([[0.0], np.geomspace(1e-6, 1.0, 25)])
    half = np.diff(edges)[:, None] / 2
    points = edges[:-1, None] + half * (_NODES + 1)
    return float(np.sum(half * _NODE_WEIGHTS * np.exp(-(points**shape) - rate * points)))


def least_cost_on_grid(
    ages: Floats,
    cumulative_hazard: Floats,
    planned_cost: Floats,
    failure_cost: Floats,
    latest: Floats | None = None,
) -> GridSwap:
    """Least-cost age on a grid per row, refined by a parabola through its neighbours.

    Args:
        ages: Increasing ages above 0, shape (rows, nodes).
        cumulative_hazard: ``-ln S`` there, shape (rows, nodes).
        planned_cost: Shape (rows,).
        failure_cost: Shape (rows,).
        latest: Age that the answer may not pass, shape (rows,); None: the last node.

    Returns:
        Ages, cost rates and shares failing first. Where a planned swap never pays the age is
        the last node (or ``latest``), and the share says that nearly all fail first.
    """
    alive = np.exp(-cumulative_hazard)
    steps = np.diff(ages, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2
    first = ages[:, :1] * (1 + alive[:, :1]) / 2
    area = np.cumsum(np.concatenate([first, steps], axis=1), axis=1)
    failed = -np.expm1(-cumulative_hazard)
    rate = (planned_cost[:, None] * alive + failure_cost[:, None] * failed) / area
    if latest is not None:
        allowed = ages <= latest[:, None]
        allowed[:, 0] = True
        rate = np.where(allowed, rate, np.inf)
    rows = np.arange(len(ages))
    best = np.argmin(rate, axis=1)
    left, right = np.maximum(best - 1, 0), np.minimum(best + 1, ages.shape[1] - 1)
    y0, y1, y2 = rate[rows, left], rate[rows, best], rate[rows, right]
    inside = (left < best) & (best < right) & np.isfinite(y2)
    bend = np.where(
        inside, y0 - 2 * np.where(np.isfinite(y2), y1, 0) + np.where(inside, y2, 0), 1.0
    )
    shift = np.where(inside & (bend > 0), (y0 - np.where(inside, y2, y0)) / (2 * bend), 0.0)
    shift = np.clip(shift, -1, 1)
    # The grid is geometric, so the parabola lies over the logarithm of the age.
    log_step = np.log(ages[rows, right] / ages[rows, left]) / np.maximum(right - left, 1)
    age = ages[rows, best] * np.exp(shift * log_step)
    h = cumulative_hazard[rows, best]
    slope = np.where(
        shift >= 0,
        cumulative_hazard[rows, right] - h,
        h - cumulative_hazard[rows, left],
    )
    share = -np.expm1(-(h + shift * slope))
    return GridSwap(age, y1, share)
