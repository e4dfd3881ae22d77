"""Pages about the cut: engaged time, roughness, thread passes, bars."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Final

from api.pages.numbers.calls import by_call
from api.pages.numbers.limits import LIMIT_NAMES, SPEED_LIMITS
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import (
    Body,
    Entry,
    Figures,
    Line,
    Result,
    Table,
    Working,
    whole,
    words,
)
from api.rest import workings_cutting as calls
from api.schemas import workings_cutting as shapes
from crib.cutting.engagement import RADIAL, engage, radii_mm
from crib.cutting.finish import ideal_mean_um, parabola_peak_um
from crib.cutting.kinematics import (
    parts_per_bar,
    radial_cut,
    regrips,
    spindle_rpm,
    surface_speed_m_min,
)
from crib.cutting.operations import KINDS, CutOperation
from crib.cutting.passes import pass_diameters_mm, thread_depths_mm, thread_passes
from crib.sentence import sentence

_COLUMNS: Final = frozenset(field.name for field in fields(CutOperation))
_DEFAULT_N: Final = 0.25


def _engaged_figures(body: Body, answer: Body) -> Figures:
    operation = CutOperation(**{name: body[name] for name in body if name in _COLUMNS})
    found: dict[str, Figure] = {
        "t": answer["engaged_min"],
        "t_e": answer["equivalent_min"],
        "n": body.get("n", _DEFAULT_N),
        "c": operation.contact_share,
    }
    if operation.engaged_s is not None:
        return Figures(found | {"t_s": operation.engaged_s}, frozenset({"measured"}))
    found["f"] = operation.feed_mm_rev or 0.0
    lowest = min((body[name] for name in LIMIT_NAMES if name in body), default=math.inf)
    if operation.cutting_speed_m_min is not None:
        found["v"] = operation.cutting_speed_m_min
        lowest = min(lowest, operation.spindle_rpm or math.inf)
    if math.isfinite(lowest):
        found["N_max"] = lowest
    if operation.kind in RADIAL:
        return _radial_figures(operation, answer, found, lowest)
    return _straight_figures(operation, answer, found, lowest)


def _straight_figures(
    operation: CutOperation, answer: Body, found: dict[str, Figure], lowest: float
) -> Figures:
    cuts = 1 if operation.kind == "drill" else answer["passes"]
    diameters = pass_diameters_mm(operation, cuts)
    held = "held" if math.isfinite(lowest) else "free"
    if operation.cutting_speed_m_min is not None:
        wanted = [spindle_rpm(operation.cutting_speed_m_min, d or 1.0) for d in diameters]
        cases = {"straight", f"speed {held}"}
    else:
        wanted = [operation.spindle_rpm or 0.0] * cuts
        found["N_p"] = wanted[0]
        cases = {"straight", f"turns {held}"}
    found |= {
        "L": operation.length_mm or 0.0,
        "p": cuts,
        "N": [min(rpm, lowest) for rpm in wanted],
    }
    if answer["cutting_speed_m_min"] is not None:
        found |= {
            "D": [d or 0.0 for d in diameters],
            "v_c": [
                surface_speed_m_min(min(rpm, lowest), d or 0.0)
                for rpm, d in zip(wanted, diameters, strict=True)
            ],
            "v_r": answer["cutting_speed_m_min"],
        }
    return Figures(found, frozenset(cases))


def _radial_figures(
    operation: CutOperation, answer: Body, found: dict[str, Figure], lowest: float
) -> Figures:
    outer, inner = radii_mm(operation)
    found |= {"r_o": outer, "r_i": inner, "p": answer["passes"]}
    if operation.cutting_speed_m_min is None:
        found["N_r"] = min(operation.spindle_rpm or 0.0, lowest)
        return Figures(found, frozenset({"all held"}))
    if not math.isfinite(lowest):
        return Figures(found, frozenset({"none held"}))
    clamp = 500 * operation.cutting_speed_m_min / (math.pi * lowest)
    found |= {"r_c": clamp, "N_r": lowest}
    if clamp <= inner:
        return Figures(found, frozenset({"clamp", "none held"}))
    return Figures(
        found,
        frozenset({"clamp", "all held" if clamp >= outer else "some held"}),
    )


ENGAGED_TIME: Final = Working(
    slug="engaged-time",
    title=sentence("Time in cut of one operation"),
    says=sentence(
        "How many minutes the edge is in cut on one part, at the speed that "
        "the spindle really reaches. And how many minutes at that speed wear "
        "it as much."
    ),
    entries=(
        Entry("kind", sentence("Kind of operation"), "face", read=words, choices=KINDS),
        Entry(
            "start_diameter_mm",
            sentence("Diameter before the cut, or of the tool"),
            "20",
            "mm",
            "D",
        ),
        Entry("end_diameter_mm", sentence("Diameter after the cut"), "0", "mm"),
        Entry("length_mm", sentence("Length fed per pass"), "", "mm", "L"),
        Entry("feed_mm_rev", sentence("Feed"), "0.05", "mm/rev", "f"),
        Entry("depth_mm", sentence("Depth of cut on the radius; thread: first pass"), "", "mm"),
        Entry("passes", sentence("Passes"), "", "", "p", whole),
        Entry("spring_passes", sentence("Spring passes of a thread"), read=whole),
        Entry("cutting_speed_m_min", sentence("Cutting speed"), "100", "m/min", "v"),
        Entry("spindle_rpm", sentence("Programmed spindle speed"), "", "1/min", "N_p"),
        *SPEED_LIMITS,
        Entry("contact_share", sentence("Share of the feed time in contact"), "", "", "c"),
        Entry("engaged_s", sentence("Measured time in cut"), "", "s", "t_s"),
        Entry("n", sentence("Exponent of tool life"), "0.25", "", "n"),
    ),
    work=by_call(
        calls.work_out_engaged_time, shapes.EngagedTimeBody(), shapes.EngagedTimeAnswer()
    ),
    figures=_engaged_figures,
    lines=(
        Line("t = t_s / 60", "min", "measured"),
        Line("N = 1000 * v / (pi * D)", "1/min", "speed free"),
        Line("N = min(1000 * v / (pi * D), N_max)", "1/min", "speed held"),
        Line("N = N_p", "1/min", "turns free"),
        Line("N = min(N_p, N_max)", "1/min", "turns held"),
        Line("v_c = pi * D * N / 1000", "m/min", "straight"),
        Line("t = c * total(L / (f * N), p)", "min", "straight"),
        Line("t_e = c * total(L / (f * N) * (v_c / v_r) ** (1 / n), p)", "min", "straight"),
        Line("r_c = 1000 * v / (2 * pi * N_max)", "mm", "clamp"),
        Line("t = c * p * pi * (r_o ** 2 - r_i ** 2) / (1000 * v * f)", "min", "none held"),
        Line("t_e = c * p * pi * (r_o ** 2 - r_i ** 2) / (1000 * v * f)", "min", "none held"),
        Line(
            "t = c * p * (pi * (r_o ** 2 - r_c ** 2) / (1000 * v * f)"
            " + (r_c - r_i) / (f * N_max))",
            "min",
            "some held",
        ),
        Line(
            "t_e = c * p * (pi * (r_o ** 2 - r_c ** 2) / (1000 * v * f)"
            " + r_c / (f * N_max * (1 / n + 1)) * (1 - (r_i / r_c) ** (1 / n + 1)))",
            "min",
            "some held",
        ),
        Line("t = c * p * (r_o - r_i) / (f * N_r)", "min", "all held"),
        Line(
            "t_e = c * p * r_o / (f * N_r * (1 / n + 1)) * (1 - (r_i / r_o) ** (1 / n + 1))",
            "min",
            "all held",
        ),
    ),
    results=(
        Result("engaged_min", sentence("Time in cut"), "min"),
        Result(
            "equivalent_min", sentence("Minutes at the real speed that wear as much"), "min"
        ),
        Result("cutting_speed_m_min", sentence("Highest real cutting speed"), "m/min"),
        Result("spindle_rpm", sentence("Highest spindle speed reached"), "1/min"),
        Result("limited_by", sentence("Held there by")),
        Result("clamp_diameter_mm", sentence("Below this diameter the limit holds"), "mm"),
        Result("length_cut_m", sentence("Cutting length of the edge"), "m"),
        Result("passes", sentence("Passes")),
        Result("depth_mm", sentence("Depth of each pass"), "mm"),
    ),
    source=sentence(
        "Kinematics of turning, e.g. Groover, Fundamentals of Modern Manufacturing "
        "(from memory); the forms under a clamp are derived and checked by quadrature. "
        "Wear falls with speed as Taylor's curve says (Taylor 1907). r_o, r_i: outer "
        "and inner radius; r_c: radius below which the limit holds; N_r: speed held "
        "there; v_c, v_r: real speed, and the fastest of the cut; t_e: minutes at v_r "
        "that wear as much."
    ),
    functions=(engage, radial_cut),
    call="POST /v1/workings/engaged-time",
)

ROUGHNESS: Final = Working(
    slug="roughness",
    title=sentence("Ideal roughness of a turned surface"),
    says=sentence(
        "What a round corner leaves behind at a feed. A real surface is rougher: "
        "built-up edge, vibration and wear come on top."
    ),
    entries=(
        Entry("feed_mm_rev", sentence("Feed"), "0.1", "mm/rev", "f"),
        Entry("corner_radius_mm", sentence("Corner radius"), "0.4", "mm", "r"),
    ),
    work=by_call(calls.work_out_roughness, shapes.RoughnessBody(), shapes.RoughnessAnswer()),
    figures=lambda body, answer: Figures(
        {
            "f": body["feed_mm_rev"],
            "r": body["corner_radius_mm"],
            "R_t": answer["peak_um"],
            "R_a": answer["mean_um"],
        }
    ),
    lines=(
        Line("R_t = 1000 * f ** 2 / (8 * r)", "µm"),
        Line("R_a = 1000 * f ** 2 / (32 * r)", "µm"),
    ),
    results=(
        Result("peak_um", sentence("Peak to valley"), "µm"),
        Result("mean_um", sentence("Arithmetic mean"), "µm"),
    ),
    source=sentence(
        "The corner as a parabola, for both: Groover, Fundamentals of Modern "
        "Manufacturing (from memory), who writes 1/32 for the mean: the parabola's own "
        "is 2.6 % more. Where the feed equals the radius, a round corner leaves 7 % "
        "more."
    ),
    functions=(parabola_peak_um, ideal_mean_um),
    call="POST /v1/workings/roughness",
)


def _infeeds(_body: Body, answer: Body) -> list[Table]:
    rows = [(str(i), f"{depth:.4f}") for i, depth in enumerate(answer["depths_mm"], start=1)]
    return [
        Table(
            sentence("Depth reached by each cutting pass"),
            (sentence("Pass"), sentence("Depth in mm")),
            rows[:50],
        )
    ]


def _thread_figures(body: Body, answer: Body) -> Figures:
    return Figures(
        {
            "h": body["depth_mm"],
            "h_1": body["first_depth_mm"],
            "m": answer["cutting_passes"],
            "s": body.get("spring_passes", 0),
            "p": answer["passes"],
        }
    )


THREAD_PASSES: Final = Working(
    slug="thread-passes",
    title=sentence("Passes of a thread"),
    says=sentence(
        "How many passes a thread takes when every pass cuts a chip of the "
        "same area. The thread cycle of your control decides."
    ),
    entries=(
        Entry("depth_mm", sentence("Depth of the thread on the radius"), "0.614", "mm", "h"),
        Entry("first_depth_mm", sentence("Depth of the first pass"), "0.15", "mm", "h_1"),
        Entry("spring_passes", sentence("Spring passes"), "1", "", "s", whole),
    ),
    work=by_call(
        calls.work_out_thread_passes, shapes.ThreadPassesBody(), shapes.ThreadPassesAnswer()
    ),
    figures=_thread_figures,
    lines=(Line("m = ceil((h / h_1) ** 2)"), Line("p = m + s")),
    results=(
        Result("cutting_passes", sentence("Cutting passes")),
        Result("passes", sentence("Passes in all")),
    ),
    source=sentence(
        "Infeed at constant chip area, depth of pass i = first depth times the root of "
        "i: common practice, no source."
    ),
    functions=(thread_passes, thread_depths_mm),
    call="POST /v1/workings/thread-passes",
    tables=_infeeds,
)


def _bar_figures(body: Body, answer: Body) -> Figures:
    found: dict[str, Figure] = {
        "L_b": body["bar_length_mm"],
        "L_r": body["bar_remnant_mm"],
        "L_p": body["part_length_mm"],
        "b": body["cutoff_width_mm"],
        "m": answer["parts"],
    }
    if answer["regrips"] is None:
        return Figures(found)
    stroke = {"s": body["headstock_stroke_mm"], "g": answer["regrips"]}
    return Figures(found | stroke, frozenset({"stroke"}))


BAR: Final = Working(
    slug="bar",
    title=sentence("Parts of a bar, re-grips of a long part"),
    says=sentence(
        "How many whole parts a bar gives. And how often the bar is re-gripped "
        "for a part longer than the headstock's stroke."
    ),
    entries=(
        Entry("bar_length_mm", sentence("Length of the bar"), "3000", "mm", "L_b"),
        Entry("bar_remnant_mm", sentence("Remnant that cannot be used"), "250", "mm", "L_r"),
        Entry("part_length_mm", sentence("Length of the part"), "24", "mm", "L_p"),
        Entry("cutoff_width_mm", sentence("Width of the cut-off"), "2", "mm", "b"),
        Entry("headstock_stroke_mm", sentence("Stroke of the headstock"), "210", "mm", "s"),
    ),
    work=by_call(calls.work_out_bar, shapes.BarBody(), shapes.BarAnswer()),
    figures=_bar_figures,
    lines=(
        Line("m = max(floor((L_b - L_r) / (L_p + b)), 0)"),
        Line("g = ceil((L_p + b) / s) - 1", "", "stroke"),
    ),
    results=(
        Result("parts", sentence("Whole parts")),
        Result("regrips", sentence("Re-grips per part")),
    ),
    source=sentence("Counting; derived."),
    functions=(parts_per_bar, regrips),
    call="POST /v1/workings/bar",
)
