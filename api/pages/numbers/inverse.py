"""Pages that ask for a cut: speed or feed for a wanted life, feed for a wanted finish."""

from __future__ import annotations

from typing import Final

from api.pages.numbers.calls import by_call
from api.pages.numbers.limits import SPEED_LIMITS
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import Body, Entry, Figures, Line, Result, Working
from api.rest import workings_inverse as calls
from api.schemas import workings_inverse as shapes
from crib.cutting.finish import MIN_CHIP_SHARE, feeds_for_finish, least_feed_mm_rev
from crib.life.cut_for_life import (
    curves_in_doubt,
    feed_for_parts_mm_rev,
    speed_for_parts_m_min,
)
from crib.life.taylor import feed_for_life_mm_rev, speed_for_life_m_min
from crib.sentence import sentence
from crib.views.cut_of_key import CUT_CAUTION

_LETTERS: Final = {
    "cutting_speed_m_min": "v",
    "n": "n",
    "c_m_min": "C",
    "diameter_mm": "D",
    "length_mm": "L",
}
_WANTED: Final = (
    Entry("life_parts", sentence("Parts wanted of one edge"), "2500", "", "N"),
    Entry("life_min", sentence("Or minutes in cut wanted"), "", "min", "T"),
)
_CURVE: Final = (
    Entry("n", sentence("Exponent of life"), "0.25", "", "n"),
    Entry("c_m_min", sentence("Speed for a life of one minute"), "180", "m/min", "C"),
)
_FEED_POWER: Final = (
    Entry("feed_exponent", sentence("Exponent of the feed"), "0.35", "", "a"),
    Entry("reference_feed_mm_rev", sentence("Feed at which C holds"), "", "mm/rev", "f_ref"),
)
_DEPTH: Final = (
    Entry("depth_mm", sentence("Depth of cut"), "0.8", "mm", "d"),
    Entry("depth_exponent", sentence("Exponent of the depth"), "0.15", "", "b"),
    Entry("reference_depth_mm", sentence("Depth at which C holds"), "", "mm", "d_ref"),
)
_CUT: Final = (
    Entry("diameter_mm", sentence("Diameter of the cut"), "12", "mm", "D"),
    Entry("length_mm", sentence("Length cut per part"), "20", "mm", "L"),
)

_SOURCE = sentence(
    "Taylor, On the Art of Cutting Metals, 1907, asked backwards. Parts follow from the "
    "length of one straight cut (derived). k is what the depth leaves of C. The range is the "
    "middle 80 % of the exponent, narrowest where the lives were seen. Handbook exponents "
    "have no range of their own and may be far off."
)


def _figures(body: Body, answer: Body, asked: str) -> Figures:
    found: dict[str, Figure] = {
        letter: body[name] for name, letter in _LETTERS.items() if name in body
    }
    a, b = body.get("feed_exponent", 0.0), body.get("depth_exponent", 0.0)
    found |= {
        "f": answer["feed_mm_rev"] if asked == "feed" else body.get("feed_mm_rev", 1.0),
        "a": a,
        "f_ref": body.get("reference_feed_mm_rev", 1.0),
        "d": body.get("depth_mm", 1.0),
        "b": b,
        "d_ref": body.get("reference_depth_mm", 1.0),
    }
    if asked == "speed":
        found["v"] = answer["cutting_speed_m_min"]
    depth = body.get("depth_mm", 1.0) / body.get("reference_depth_mm", 1.0)
    found["k"] = body["c_m_min"] / depth**b
    if "life_parts" in body:
        found["N"] = body["life_parts"]
        return Figures(found, frozenset({"parts"}))
    return Figures(found | {"T": body["life_min"]}, frozenset({"minutes"}))


SPEED_FOR_LIFE: Final = Working(
    slug="speed-for-life",
    title=sentence("Speed for a wanted life"),
    says=sentence(
        "The cutting speed at which an edge should make so many parts, or last so many minutes."
    ),
    caution=CUT_CAUTION,
    entries=(
        *_WANTED,
        *_CURVE,
        Entry("n_se", sentence("Standard error of that exponent"), "0.04"),
        Entry("seen_speed_m_min", sentence("Speed at which lives were seen"), "120", "m/min"),
        Entry("feed_mm_rev", sentence("Feed"), "0.05", "mm/rev", "f"),
        *_FEED_POWER,
        *_DEPTH,
        *_CUT,
        *SPEED_LIMITS,
    ),
    work=by_call(
        calls.work_out_speed_for_life, shapes.SpeedForLifeBody(), shapes.SpeedForLifeAnswer()
    ),
    figures=lambda body, answer: _figures(body, answer, "speed"),
    lines=(
        Line("k = C / (d / d_ref) ** b", "m/min"),
        Line("v = k / (T ** n * (f / f_ref) ** a)", "m/min", "minutes"),
        Line(
            "v = (N * pi * D * L / (1000 * f) * ((f / f_ref) ** a / k) ** (1 / n))"
            " ** (n / (n - 1))",
            "m/min",
            "parts",
        ),
    ),
    results=(
        Result("cutting_speed_m_min", sentence("Cutting speed"), "m/min"),
        Result("low_m_min", sentence("Range from"), "m/min"),
        Result("high_m_min", sentence("Range to"), "m/min"),
        Result("spindle_rpm", sentence("Spindle speed there"), "1/min"),
        Result("limited_by", sentence("Held there by")),
        Result("real_speed_m_min", sentence("Real cutting speed"), "m/min"),
        Result("life_min", sentence("Life there"), "min"),
        Result("life_parts", sentence("Parts there")),
    ),
    source=_SOURCE,
    functions=(speed_for_parts_m_min, speed_for_life_m_min, curves_in_doubt),
    call="POST /v1/workings/speed-for-life",
)

FEED_FOR_LIFE: Final = Working(
    slug="feed-for-life",
    title=sentence("Feed for a wanted life"),
    says=sentence(
        "The feed at which an edge should make so many parts, or last so many minutes. Where "
        "feed and life have like exponents, the feed hardly changes the parts."
    ),
    caution=CUT_CAUTION,
    entries=(
        *_WANTED,
        Entry("cutting_speed_m_min", sentence("Cutting speed"), "120", "m/min", "v"),
        *_CURVE,
        *_FEED_POWER,
        Entry("feed_exponent_se", sentence("Standard error of the feed's exponent"), "0.03"),
        Entry("seen_feed_mm_rev", sentence("Feed at which lives were seen"), "0.06", "mm/rev"),
        *_DEPTH,
        *_CUT,
    ),
    work=by_call(
        calls.work_out_feed_for_life, shapes.FeedForLifeBody(), shapes.FeedForLifeAnswer()
    ),
    figures=lambda body, answer: _figures(body, answer, "feed"),
    lines=(
        Line("k = C / (d / d_ref) ** b", "m/min"),
        Line("f = f_ref * (k / (v * T ** n)) ** (1 / a)", "mm/rev", "minutes"),
        Line(
            "f = (N * pi * D * L / (1000 * v) * (v / (k * f_ref ** a)) ** (1 / n))"
            " ** (n / (n - a))",
            "mm/rev",
            "parts",
        ),
    ),
    results=(
        Result("feed_mm_rev", sentence("Feed"), "mm/rev"),
        Result("low_mm_rev", sentence("Range from"), "mm/rev"),
        Result("high_mm_rev", sentence("Range to"), "mm/rev"),
        Result("life_min", sentence("Life there"), "min"),
        Result("life_parts", sentence("Parts there")),
        Result("faster_makes_more", sentence("A faster feed makes more parts")),
    ),
    source=_SOURCE,
    functions=(feed_for_parts_mm_rev, feed_for_life_mm_rev, curves_in_doubt),
    call="POST /v1/workings/feed-for-life",
)


def _finish_figures(body: Body, answer: Body) -> Figures:
    found: dict[str, Figure] = {
        "r": body["corner_radius_mm"],
        "f": answer["feed_mm_rev"],
        "R_t": answer["peak_um"],
    }
    cases = {"peak"}
    if "mean_um" in body:
        found["R_a"], cases = body["mean_um"], {"mean"}
    if answer["rubs"] is not None:
        share = body.get("min_chip_share", MIN_CHIP_SHARE)
        found |= {
            "r_e": body["edge_radius_mm"],
            "s": share,
            "h": share * body["edge_radius_mm"],
            "f_min": answer["least_feed_mm_rev"],
            "R_p": answer["ploughed_peak_um"],
        }
        cases.add("edge")
    return Figures(found, frozenset(cases))


FEED_FOR_FINISH: Final = Working(
    slug="feed-for-finish",
    title=sentence("Feed for a wanted roughness"),
    says=sentence(
        "The feed whose profile has the roughness wanted. A real surface is rougher: "
        "built-up edge, vibration and wear come on top. Too small a feed rubs."
    ),
    caution=CUT_CAUTION,
    entries=(
        Entry("mean_um", sentence("Arithmetic mean wanted"), "0.8", "µm", "R_a"),
        Entry("peak_um", sentence("Or peak to valley wanted"), "", "µm", "R_t"),
        Entry("corner_radius_mm", sentence("Corner radius"), "0.4", "mm", "r"),
        Entry("edge_radius_mm", sentence("Radius of the cutting edge"), "0.02", "mm", "r_e"),
        Entry("min_chip_share", sentence("Thinnest chip over that radius"), "0.3", "", "s"),
    ),
    work=by_call(
        calls.work_out_feed_for_finish,
        shapes.FeedForFinishBody(),
        shapes.FeedForFinishAnswer(),
    ),
    figures=_finish_figures,
    lines=(
        Line("f = sqrt(8 * r * R_t / 1000)", "mm/rev", "peak"),
        Line("f = sqrt(32 * r * R_a / 1000)", "mm/rev", "mean"),
        Line("h = s * r_e", "mm", "edge"),
        Line("f_min = sqrt(2 * r * h)", "mm/rev", "edge"),
        Line("R_p = 1000 * (f ** 2 / (8 * r) + h / 2 * (1 + r * h / f ** 2))", "µm", "edge"),
    ),
    results=(
        Result("feed_mm_rev", sentence("Feed"), "mm/rev"),
        Result("peak_um", sentence("Peak to valley"), "µm"),
        Result("mean_um", sentence("Arithmetic mean"), "µm"),
        Result("least_feed_mm_rev", sentence("Feed below which the edge rubs"), "mm/rev"),
        Result("rubs", sentence("This feed is too small: the edge rubs")),
        Result("ploughed_peak_um", sentence("Peak to valley with the ridge of rubbing"), "µm"),
    ),
    source=sentence(
        "The corner as a parabola, with 1/32 for the mean (Groover, from memory). Ridge of "
        "rubbing: Brammertz 1961 (from memory). A thinnest chip of 0.2 to 0.4 of the edge's "
        "radius is common practice, no source."
    ),
    functions=(feeds_for_finish, least_feed_mm_rev),
    call="POST /v1/workings/feed-for-finish",
)
