"""Members of a cut as the calculations take them: metric speeds and feeds, spindle limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from crib.cutting.operations import SpeedLimits
from crib.errors import Invalid
from crib.life.taylor import TaylorConstants
from crib.life.taylor_forms import constants_from_inches, m_min_from_ft_min, mm_from_in
from crib.sentence import sentence
from crib.units import MM_PER_IN


def spindle_limits(given: Mapping[str, Any]) -> SpeedLimits:
    """Greatest spindle speeds by whose they are, from the members of a body."""
    return {
        "machine": given.get("spindle_max_rpm"),
        "station": given.get("station_max_rpm"),
        "holder": given.get("holder_max_rpm"),
        "tool": given.get("tool_max_rpm"),
    }


def metric_cut(given: dict[str, Any], where: str, *names: str) -> dict[str, Any]:
    """The same members with speeds in m/min and feeds in mm/rev.

    Args:
        given: Members as they were sent, speeds in ft/min and feeds in in/rev among them.
        where: Their place in the body, for a refusal.
        names: What to look for: ``cutting_speed`` (required), ``feed``, ``reference_feed``.

    Raises:
        Invalid: One of them is given in both units, or a speed in none.
    """
    found = dict(given)
    for name in names:
        speed = name == "cutting_speed"
        metric = f"{name}_m_min" if speed else f"{name}_mm_rev"
        inch = f"{name}_ft_min" if speed else f"{name}_in_rev"
        if inch in found and metric in found:
            raise Invalid(
                sentence("Give {metric} or {inch}, not both.", metric=metric, inch=inch),
                errors=[
                    {
                        "field": f"{where}{inch}",
                        "detail": sentence("is given beside {metric}", metric=metric),
                    }
                ],
            )
        if inch in found:
            value = found.pop(inch)
            found[metric] = float(m_min_from_ft_min(value) if speed else mm_from_in(value))
        elif speed and metric not in found:
            raise Invalid(
                sentence(
                    "Every test and cut needs {metric} or {inch}.", metric=metric, inch=inch
                ),
                errors=[{"field": f"{where}{metric}", "detail": sentence("is missing")}],
            )
    return found


def metric_curve(given: dict[str, Any]) -> TaylorConstants:
    """A speed-life curve from its members; C in ft/min stands for 1 in/rev and 1 in.

    Args:
        given: ``n``, ``c_m_min`` or ``c_ft_min``, and what else is known; feeds in mm/rev.

    Raises:
        Invalid: C is given in both units or in none, or a constant outside its range.
    """
    found = dict(given)
    if ("c_ft_min" in found) == ("c_m_min" in found):
        both = "c_ft_min" in found
        raise Invalid(
            sentence("Give c_m_min or c_ft_min, one of them."),
            errors=[
                {
                    "field": "c_ft_min" if both else "c_m_min",
                    "detail": sentence("is given beside c_m_min")
                    if both
                    else sentence("is missing"),
                }
            ],
        )
    if "c_m_min" in found:
        return TaylorConstants(**found)
    return constants_from_inches(
        found["n"],
        found["c_ft_min"],
        found.get("feed_exponent", 0.0),
        found.get("depth_exponent", 0.0),
        found.get("reference_feed_mm_rev", MM_PER_IN) / MM_PER_IN,
        found.get("reference_depth_mm", MM_PER_IN) / MM_PER_IN,
    )
