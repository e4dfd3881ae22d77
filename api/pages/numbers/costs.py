"""Pages about what a speed, a swap and a worn edge cost."""

from __future__ import annotations

from typing import Final

from api.pages.numbers.calls import by_call
from api.pages.numbers.limits import LIMIT_NAMES, SPEED_LIMITS
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import Body, Entry, Figures, Line, Result, Working, yes_no
from api.rest import workings as calls
from api.schemas import workings as shapes
from crib.life.economics import at_speed, best_speed, least_cost_life_min, most_output_life_min
from crib.life.replacement import weibull_swap_point
from crib.life.wear import size_growth_mm
from crib.sentence import sentence


def _swap_figures(body: Body, answer: Body) -> Figures:
    figures: dict[str, Figure] = {
        "k": body["shape"],
        "theta": body["scale"],
        "c_p": body["planned_cost"],
        "c_f": body["failure_cost"],
        "lam": body.get("break_rate", 0.0),
        "c": answer["cost_rate"],
    }
    if answer["age"] is None:
        return Figures(figures, frozenset({"never"}))
    figures |= {
        "x": answer["age"],
        "q": answer["fails_first_share"],
        "S": 1 - answer["fails_first_share"],
    }
    return Figures(figures, frozenset({"swap"}))


SWAP_POINT: Final = Working(
    slug="swap-point",
    title=sentence("Age at which a planned swap costs least"),
    says=sentence(
        "Swapping early wastes life, swapping late risks a failure in the cut. Where a "
        "failure can hurt somebody or wreck a spindle, cost is not the measure."
    ),
    entries=(
        Entry("shape", sentence("Shape of life"), "3", "", "k"),
        Entry("scale", sentence("Scale of life, in any unit of use"), "100", "", "theta"),
        Entry("planned_cost", sentence("Cost of a planned swap"), "1", "", "c_p"),
        Entry("failure_cost", sentence("Cost of a failure in the cut"), "10", "", "c_f"),
        Entry("break_rate", sentence("Breaks per unit of use"), "", "", "lam"),
    ),
    work=by_call(calls.work_out_swap_point, shapes.SwapPointBody(), shapes.SwapPointAnswer()),
    figures=_swap_figures,
    lines=(
        Line("S = exp(-(x / theta) ** k - lam * x)", when="swap"),
        Line("q = 1 - S", when="swap"),
        Line(
            "c = (c_p * S + c_f * (1 - S))"
            " / integral(exp(-(u / theta) ** k - lam * u), u, 0, x)",
            when="swap",
        ),
        Line("c = c_f / integral(exp(-(u / theta) ** k - lam * u), u, 0, inf)", when="never"),
    ),
    results=(
        Result("age", sentence("Swap at")),
        Result("cost_rate", sentence("Cost per unit of use there")),
        Result("fails_first_share", sentence("Share of edges that fail before")),
        Result("why", sentence("Why")),
    ),
    source=sentence(
        "Age replacement: Barlow & Proschan, Mathematical Theory of Reliability, 1965 "
        "(from memory). x is the age at which c is least."
    ),
    functions=(weibull_swap_point,),
    call="POST /v1/workings/swap-point",
)


def _economics_figures(body: Body, answer: Body) -> Figures:
    least, most = answer["minimum_cost"], answer["maximum_output"]
    figures: dict[str, Figure] = {
        "n": body["n"],
        "C": body["c_m_min"],
        "t_c": body["change_min"],
        "R": body["machine_rate_per_min"],
        "K": body["edge_cost"],
        "T_1": least["life_min"],
        "v_1": least["cutting_speed_m_min"],
        "T_2": most["life_min"],
        "v_2": most["cutting_speed_m_min"],
    }
    cases = {
        (f"{place} held" if one["limited_by"] else f"{place} free")
        for place, one in ((1, least), (2, most))
    }
    if least["cut_min"] is None:
        return Figures(figures, frozenset(cases))
    limits = [body[name] for name in LIMIT_NAMES if name in body]
    if limits:
        figures["N_max"] = min(limits)
    figures |= {
        "D": body["diameter_mm"],
        "L": body["path_length_mm"],
        "f": body["feed_mm_rev"],
        "t_h": body.get("handling_min", 0.0),
        "t_m": least["cut_min"],
        "t_p": least["part_min"],
        "K_p": least["part_cost"],
        "N_1": least["spindle_rpm"],
        "N_2": most["spindle_rpm"],
    }
    return Figures(figures, frozenset(cases | {"part"}))


ECONOMICS: Final = Working(
    slug="cutting-economics",
    title=sentence("Speeds of least cost and of greatest output"),
    says=sentence(
        "A faster cut makes the part sooner but wears the edge out sooner. A "
        "sensible speed lies between these two. Enter the limits of the "
        "spindle: no speed beyond them is advised."
    ),
    entries=(
        Entry("n", sentence("Exponent of life"), "0.125", "", "n"),
        Entry("c_m_min", sentence("Speed for a life of one minute"), "70", "m/min", "C"),
        Entry("change_min", sentence("Time to change an edge"), "2", "min", "t_c"),
        Entry(
            "machine_rate_per_min", sentence("Cost of a minute of the machine"), "0.5", "", "R"
        ),
        Entry("edge_cost", sentence("Cost of an edge"), "3", "", "K"),
        Entry("path_length_mm", sentence("Length of the cut"), "500", "mm", "L"),
        Entry("feed_mm_rev", sentence("Feed"), "0.25", "mm/rev", "f"),
        Entry("diameter_mm", sentence("Diameter"), "100", "mm", "D"),
        Entry("handling_min", sentence("Time to load and unload"), "5", "min", "t_h"),
        *SPEED_LIMITS,
    ),
    work=by_call(calls.work_out_economics, shapes.EconomicsBody(), shapes.EconomicsAnswer()),
    figures=_economics_figures,
    lines=(
        Line("T_1 = (1 / n - 1) * (t_c + K / R)", "min", "1 free"),
        Line("v_1 = C / T_1 ** n", "m/min", "1 free"),
        Line("v_1 = pi * D * N_max / 1000", "m/min", "1 held"),
        Line("T_1 = (C / v_1) ** (1 / n)", "min", "1 held"),
        Line("T_2 = (1 / n - 1) * t_c", "min", "2 free"),
        Line("v_2 = C / T_2 ** n", "m/min", "2 free"),
        Line("v_2 = pi * D * N_max / 1000", "m/min", "2 held"),
        Line("T_2 = (C / v_2) ** (1 / n)", "min", "2 held"),
        Line("N_1 = 1000 * v_1 / (pi * D)", "1/min", "part"),
        Line("N_2 = 1000 * v_2 / (pi * D)", "1/min", "part"),
        Line("t_m = pi * D * L / (1000 * v_1 * f)", "min", "part"),
        Line("t_p = t_h + t_m + t_c * t_m / T_1", "min", "part"),
        Line("K_p = R * t_p + K * t_m / T_1", "", "part"),
    ),
    results=(
        Result("minimum_cost.cutting_speed_m_min", sentence("Speed of least cost"), "m/min"),
        Result("minimum_cost.spindle_rpm", sentence("Spindle speed there"), "1/min"),
        Result("minimum_cost.limited_by", sentence("Held there by")),
        Result("minimum_cost.life_min", sentence("Life there"), "min"),
        Result("minimum_cost.part_min", sentence("Minutes per part there"), "min"),
        Result("minimum_cost.part_cost", sentence("Cost per part there")),
        Result(
            "maximum_output.cutting_speed_m_min", sentence("Speed of greatest output"), "m/min"
        ),
        Result("maximum_output.spindle_rpm", sentence("Spindle speed there"), "1/min"),
        Result("maximum_output.limited_by", sentence("Held there by")),
        Result("maximum_output.life_min", sentence("Life there"), "min"),
        Result("maximum_output.part_min", sentence("Minutes per part there"), "min"),
        Result("maximum_output.part_cost", sentence("Cost per part there")),
    ),
    source=sentence(
        "Groover, Fundamentals of Modern Manufacturing, machining economics (from "
        "memory). 1: least cost, 2: greatest output."
    ),
    functions=(least_cost_life_min, most_output_life_min, best_speed, at_speed),
    call="POST /v1/workings/cutting-economics",
)


def _size_figures(body: Body, answer: Body) -> Figures:
    case = "diameter" if body["on_diameter"] else "radius"
    figures = {
        "VB": body["wear_land_mm"],
        "alpha": body["clearance_deg"],
        "Delta": answer["growth_mm"],
    }
    return Figures(figures, frozenset({case}))


PART_SIZE: Final = Working(
    slug="part-size",
    title=sentence("Extra size left by a worn flank"),
    says=sentence(
        "How much an outside cut grows as the flank wears. On diameter every X figure doubles."
    ),
    entries=(
        Entry("wear_land_mm", sentence("Wear land on the flank"), "0.3", "mm", "VB"),
        Entry("clearance_deg", sentence("Clearance angle"), "7", "°", "alpha"),
        Entry(
            "on_diameter",
            sentence("Counted"),
            "on diameter",
            read=yes_no,
            choices=(sentence("on diameter"), sentence("on radius")),
        ),
    ),
    work=by_call(calls.work_out_part_size, shapes.PartSizeBody(), shapes.PartSizeAnswer()),
    figures=_size_figures,
    lines=(
        Line("Delta = 2 * VB * tan_deg(alpha)", "mm", "diameter"),
        Line("Delta = VB * tan_deg(alpha)", "mm", "radius"),
    ),
    results=(Result("growth_mm", sentence("Growth"), "mm"),),
    source=sentence(
        "Geometry of the worn flank at zero rake, e.g. DeGarmo, Materials and Processes "
        "in Manufacturing (from memory)."
    ),
    functions=(size_growth_mm,),
    call="POST /v1/workings/part-size",
)
