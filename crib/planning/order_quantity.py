"""How much to hold and to order: reorder point, cheapest order, one-time and slow demand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ndtri, pdtr, pdtrik

from crib.errors import OutsideModel
from crib.sentence import figure, sentence, together

USUAL_SERVICE_LEVEL = 0.95

#: Largest figure that is taken anywhere here; beyond it something was mistyped.
LARGEST = 1e12

LARGEST_POISSON = 1e6


@dataclass(frozen=True, slots=True)
class ReorderPoint:
    """Order once what is left, with what is on its way, is down to ``reorder_point``."""

    reorder_point: float
    safety_stock: float


@dataclass(frozen=True, slots=True)
class OrderQuantity:
    """The cheapest order; costs and orders are per the period that demand was given for."""

    quantity: float
    orders: float
    cost: float


def reorder_point(
    mean_per_day: float,
    deviation_per_day: float,
    lead_days: float,
    service_level: float = USUAL_SERVICE_LEVEL,
) -> ReorderPoint:
    """Reorder point for normal demand, independent from day to day.

    Formula: ``safety = z(service) sd sqrt(L)``, ``point = mean L + safety`` (standard
    inventory theory; e.g. Heizer & Render, Operations Management, ch. 12). A service level
    below a half makes the safety stock negative, as the formula has it.

    Args:
        mean_per_day: Mean demand of a day [pieces].
        deviation_per_day: Standard deviation of the demand of a day [pieces].
        lead_days: From order to delivery [days].
        service_level: Chance that a delivery comes before the stock is out, between 0 and 1.

    Raises:
        OutsideModel: A negative or infinite figure, or a service level not between 0 and 1.

    Examples:
        >>> round(reorder_point(350, 10, 1, 0.95).reorder_point, 2)
        366.45
    """
    not_negative(
        mean_per_day=mean_per_day, deviation_per_day=deviation_per_day, lead_days=lead_days
    )
    _share(service_level=service_level)
    safety = float(ndtri(service_level)) * deviation_per_day * math.sqrt(lead_days)
    return ReorderPoint(mean_per_day * lead_days + safety, safety)


def order_quantity(demand: float, order_cost: float, holding_cost: float) -> OrderQuantity:
    """The order quantity with the least cost of ordering and holding.

    Formula: ``Q = sqrt(2 D S / H)`` (F. W. Harris 1913).

    Args:
        demand: Pieces per period, D.
        order_cost: Cost of one order, S, in any one currency.
        holding_cost: Cost of keeping one piece for one such period, H; above 0.

    Raises:
        OutsideModel: A negative or infinite figure, or a holding cost of 0.

    Examples:
        >>> order_quantity(1000, 10, 0.5)
        OrderQuantity(quantity=200.0, orders=5.0, cost=100.0)
    """
    not_negative(demand=demand, order_cost=order_cost, holding_cost=holding_cost)
    if holding_cost == 0:
        raise outside(
            "holding_cost", sentence("has to be above 0: kept for nothing, all is ordered now")
        )
    quantity = math.sqrt(2 * demand * order_cost / holding_cost)
    if quantity > LARGEST:
        raise outside(
            "holding_cost", sentence("is next to nothing against demand and order cost")
        )
    orders = demand / quantity if quantity else 0.0
    return OrderQuantity(quantity, orders, orders * order_cost + quantity / 2 * holding_cost)


def poisson_cover(mean: float, service_level: float) -> int:
    """The fewest pieces that meet a Poisson demand with the given chance.

    Args:
        mean: Mean demand, up to 1e6 [pieces].
        service_level: Chance of meeting it, between 0 and 1.

    Raises:
        OutsideModel: A figure out of its range.

    Examples:
        >>> poisson_cover(4, 0.95)
        8
    """
    not_negative(mean=mean)
    _share(service_level=service_level)
    if mean > LARGEST_POISSON:
        raise outside(
            "mean",
            sentence(
                "is beyond {largest_poisson}", largest_poisson=figure(LARGEST_POISSON, "g")
            ),
        )
    if mean == 0 or pdtr(0, mean) >= service_level:
        return 0
    # The continuous inverse lies within one of the answer; P(X <= k) decides.
    pieces = max(0, math.floor(float(pdtrik(service_level, mean))) - 1)
    while pdtr(pieces, mean) < service_level:
        pieces += 1
    return pieces


def not_negative(**figures: float) -> None:
    """Refuse what is negative, absurdly large or no number.

    Raises:
        OutsideModel: One of them is.
    """
    for name, number in figures.items():
        if not 0 <= number <= LARGEST:
            raise outside(
                name,
                sentence(
                    "is {number}: give a number, 0 to {largest}",
                    number=figure(number, "g"),
                    largest=figure(LARGEST, "g"),
                ),
            )


def _share(**figures: float) -> None:
    for name, number in figures.items():
        if not 0 < number < 1:
            raise outside(
                name,
                sentence(
                    "is {number}: give a number between 0 and 1, like 0.95",
                    number=figure(number, "g"),
                ),
            )


def outside(name: str, detail: str) -> OutsideModel:
    """The refusal of one figure."""
    return OutsideModel(
        together("", (name.replace("_", " "), " ", detail, ".")),
        errors=[{"field": name, "detail": detail}],
    )
