"""Calculations that ask for a cut: speed or feed for a wanted life, feed for a finish."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from flask_smorest import Blueprint

from api.http.operation import Call, computes
from api.rest.cut_units import spindle_limits
from api.schemas import workings_inverse as shapes
from crib.cutting.finish import (
    MIN_CHIP_SHARE,
    feeds_for_finish,
    ideal_mean_um,
    parabola_peak_um,
    peak_of_mean_um,
    ploughed_peak_um,
)
from crib.cutting.kinematics import spindle_rpm, surface_speed_m_min
from crib.cutting.operations import lowest_limit
from crib.errors import Invalid, OutsideModel
from crib.life.cut_for_life import (
    StraightCut,
    curves_in_doubt,
    feed_for_parts_mm_rev,
    feed_power,
    parts_per_edge,
    range_about,
    slower_makes_more,
    speed_for_parts_m_min,
)
from crib.life.taylor import (
    TaylorConstants,
    feed_for_life_mm_rev,
    life_min,
    speed_for_life_m_min,
)
from crib.sentence import figure, sentence
from crib.views.cut_of_key import CUT_CAUTION

blueprint = Blueprint("cuts asked for", __name__, description="Cuts for a wanted result.")

_CURVE: Final = (
    "n",
    "c_m_min",
    "feed_exponent",
    "depth_exponent",
    "reference_feed_mm_rev",
    "reference_depth_mm",
)
_SPEEDS: Final = (0.01, 10_000.0)
_FEEDS: Final = (1e-5, 50.0)


@computes(
    blueprint,
    "/v1/workings/speed-for-life",
    shapes.SpeedForLifeAnswer(),
    body=shapes.SpeedForLifeBody(),
)
def work_out_speed_for_life(call: Call) -> dict[str, Any]:
    """Work out the cutting speed that promises a wanted life."""
    given = call.body
    curve, cut = _curve(given), _cut(given)
    feed, depth = given.get("feed_mm_rev"), given.get("depth_mm")
    _refuse_missing(given, ("feed_exponent", "feed_mm_rev"), ("depth_exponent", "depth_mm"))
    if cut and feed is None:
        raise _missing("feed_mm_rev", sentence("A life in parts needs the feed."))

    def speed(by: TaylorConstants) -> float:
        if cut and feed is not None:
            return float(speed_for_parts_m_min(given["life_parts"], feed, cut, by, depth))
        return float(speed_for_life_m_min(given["life_min"], by, feed, depth))

    asked = _plausible(speed(curve), _SPEEDS, "m/min")

    def in_doubt(error: float, seen: float) -> Iterable[TaylorConstants]:
        found = curves_in_doubt(curve, "n", error, (seen, feed, depth))
        return [one for one in found if not cut or slower_makes_more(one)]

    seen = ("seen_speed_m_min", given.get("seen_speed_m_min"))
    low, high = _range(given, "n", seen, in_doubt, speed, asked, _SPEEDS)
    real, rpm, whose = asked, None, None
    diameter = given.get("diameter_mm")
    if diameter:
        limit, whose = lowest_limit(spindle_limits(given), None)
        wanted = spindle_rpm(asked, diameter)
        rpm, whose = (limit, whose) if wanted > limit else (wanted, None)
        real = surface_speed_m_min(rpm, diameter)
    return {
        "cutting_speed_m_min": asked,
        "low_m_min": low,
        "high_m_min": high,
        "spindle_rpm": rpm,
        "limited_by": whose,
        "real_speed_m_min": real,
        "life_min": float(life_min(real, feed, depth, curve)),
        "life_parts": float(parts_per_edge(real, feed, cut, curve, depth))
        if cut and feed is not None
        else None,
        "caution": CUT_CAUTION,
    }


@computes(
    blueprint,
    "/v1/workings/feed-for-life",
    shapes.FeedForLifeAnswer(),
    body=shapes.FeedForLifeBody(),
)
def work_out_feed_for_life(call: Call) -> dict[str, Any]:
    """Work out the feed that promises a wanted life."""
    given = call.body
    curve, cut = _curve(given), _cut(given)
    v, depth = given["cutting_speed_m_min"], given.get("depth_mm")
    _refuse_missing(given, ("depth_exponent", "depth_mm"))

    def feed(by: TaylorConstants) -> float:
        if cut:
            return float(feed_for_parts_mm_rev(given["life_parts"], v, cut, by, depth))
        return float(feed_for_life_mm_rev(given["life_min"], v, by, depth))

    asked = _plausible(feed(curve), _FEEDS, "mm/rev")
    power = feed_power(curve)

    def in_doubt(error: float, seen: float) -> Iterable[TaylorConstants]:
        found = curves_in_doubt(curve, "feed_exponent", error, (v, seen, depth))
        if cut and any(feed_power(one) * power <= 0 for one in found):
            return []  # nobody knows which way the parts go with the feed
        return [one for one in found if one.feed_exponent > 0]

    seen = ("seen_feed_mm_rev", given.get("seen_feed_mm_rev"))
    low, high = _range(given, "feed_exponent", seen, in_doubt, feed, asked, _FEEDS)
    return {
        "feed_mm_rev": asked,
        "low_mm_rev": low,
        "high_mm_rev": high,
        "life_min": float(life_min(v, asked, depth, curve)),
        "life_parts": float(parts_per_edge(v, asked, cut, curve, depth)) if cut else None,
        "faster_makes_more": power > 0 if cut else None,
        "caution": CUT_CAUTION,
    }


@computes(
    blueprint,
    "/v1/workings/feed-for-finish",
    shapes.FeedForFinishAnswer(),
    body=shapes.FeedForFinishBody(),
)
def work_out_feed_for_finish(call: Call) -> dict[str, Any]:
    """Work out the feed whose profile has a wanted roughness, and whether an edge rubs."""
    given = call.body
    _one_of(given, "peak_um", "mean_um")
    corner, edge = given["corner_radius_mm"], given.get("edge_radius_mm")
    peak = given.get("peak_um") or float(peak_of_mean_um(given["mean_um"]))
    chip = None if edge is None else edge * given.get("min_chip_share", MIN_CHIP_SHARE)
    found = feeds_for_finish(peak, corner, chip)
    feed = float(found.feed_mm_rev)
    return {
        "feed_mm_rev": feed,
        "peak_um": parabola_peak_um(feed, corner),
        "mean_um": ideal_mean_um(feed, corner),
        "least_feed_mm_rev": None if chip is None else float(found.least_feed_mm_rev),
        "rubs": None if chip is None else bool(found.rubs),
        "ploughed_peak_um": None if chip is None else ploughed_peak_um(feed, corner, chip),
        "caution": CUT_CAUTION,
    }


def _curve(given: Mapping[str, Any]) -> TaylorConstants:
    return TaylorConstants(**{name: given[name] for name in _CURVE if name in given})


def _cut(given: Mapping[str, Any]) -> StraightCut | None:
    """The cut of a part where the life is wanted in parts."""
    _one_of(given, "life_min", "life_parts")
    if "life_parts" not in given:
        return None
    for name in ("diameter_mm", "length_mm"):
        if not given.get(name):
            raise _missing(
                name, sentence("A life in parts needs {name}: parts follow from it.", name=name)
            )
    return StraightCut(given["diameter_mm"], given["length_mm"])


def _one_of(given: Mapping[str, Any], *names: str) -> None:
    first, second = names
    if (first in given) == (second in given):
        raise Invalid(
            sentence("Give {first} or {second}, one of them.", first=first, second=second),
            errors=[
                {
                    "field": second,
                    "detail": sentence("is given beside {metric}", metric=first)
                    if first in given
                    else sentence("is missing"),
                }
            ],
        )


def _missing(name: str, why: str) -> Invalid:
    return Invalid(why, errors=[{"field": name, "detail": sentence("is missing")}])


def _refuse_missing(given: Mapping[str, Any], *pairs: tuple[str, str]) -> None:
    for exponent, name in pairs:
        if given.get(exponent) and name not in given:
            raise _missing(
                name,
                sentence(
                    "With {exponent} the life depends on {name}: give it, or leave the "
                    "exponent out.",
                    exponent=exponent,
                    name=name,
                ),
            )


def _plausible(value: float, bounds: tuple[float, float], unit: str) -> float:
    low, high = bounds
    if low <= value <= high:
        return value
    raise OutsideModel(
        sentence(
            "This life asks for {value} {unit}. Nobody cuts outside {low} to {high} {unit}: "
            "check the life and the constants.",
            value=figure(value, ".3g"),
            unit=unit,
            low=figure(low, "g"),
            high=figure(high, "g"),
        ),
        errors=[{"field": "", "detail": sentence("the curve does not reach this life")}],
    )


def _range(
    given: Mapping[str, Any],
    exponent: str,
    seen: tuple[str, float | None],
    curves: Callable[[float, float], Iterable[TaylorConstants]],
    ask: Callable[[TaylorConstants], float],
    asked: float,
    bounds: tuple[float, float],
) -> tuple[float | None, float | None]:
    """Ends of the 80 % range of an answer; None where none is known, or beyond all sense.

    Args:
        given: The body.
        exponent: Whose standard error is asked about.
        seen: Entry that says where lives were seen, and its value.
        curves: Those in doubt that answer at all, by the standard error and that value.
        ask: The answer of a curve.
        asked: The answer, which lies between those of the curves.
        bounds: What a tool can be asked for.
    """
    error = given.get(f"{exponent}_se")
    if not error:
        return None, None
    name, value = seen
    if value is None:
        raise _missing(
            name, sentence("A range needs {name}: where the lives were seen.", name=name)
        )
    ends = (ask(curve) for curve in curves(error, value))
    return range_about(asked, (end for end in ends if bounds[0] <= end <= bounds[1]))
