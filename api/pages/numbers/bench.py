"""Pages about measuring, the bench, stock and codes."""

from __future__ import annotations

from typing import Final

from scipy.special import ndtri

from api.pages.numbers.calls import by_call
from api.pages.numbers.mathml import Figure
from api.pages.numbers.shown import (
    Body,
    Entry,
    Figures,
    Line,
    Result,
    Table,
    Working,
    jobs,
    numbers,
    words,
)
from api.rest import workings as calls
from api.schemas import workings as shapes
from crib.codes import ALPHABET, check_character
from crib.metrology.budget import (
    DEFAULT_GAUGE_UNCERTAINTY_MM,
    DEFAULT_RESOLUTION_MM,
    preset_budget,
)
from crib.metrology.series import judge_series
from crib.metrology.uncertainty import sample_statistics
from crib.planning.bench_order import order_jobs
from crib.planning.order_quantity import order_quantity, reorder_point
from crib.sentence import sentence, word


def _series_figures(body: Body, answer: Body) -> Figures:
    figures: dict[str, Figure] = {
        "x": body["readings_mm"],
        "m": len(body["readings_mm"]),
        "x_m": answer["mean_mm"],
    }
    if answer["budget"] is not None:
        budget, expanded_mm = answer["budget"], answer["expanded_uncertainty_mm"]
        figures |= {
            "s": answer["standard_deviation_mm"],
            "u": answer["type_a_mm"],
            "u_g": body.get("gauge_uncertainty_mm", DEFAULT_GAUGE_UNCERTAINTY_MM),
            "r": body.get("resolution_mm", DEFAULT_RESOLUTION_MM),
            "u_c": budget["combined_mm"],
            "k": budget["coverage_factor"],
            "U": expanded_mm,
            "T": body["tolerance_mm"],
            "A": body["tolerance_mm"] - expanded_mm,
        }
    return Figures(figures)


def _repeats(body: Body, answer: Body) -> list[Table]:
    if answer["expanded_uncertainty_mm"] is None:
        return [
            Table(
                sentence("Not judged"),
                (sentence("Why"),),
                [(sentence("One repeat shows no spread: measure again."),)],
            )
        ]
    allowed = body["tolerance_mm"] - answer["expanded_uncertainty_mm"]
    rows = []
    for reading in body["readings_mm"]:
        off = reading - answer["mean_mm"]
        within = word("yes") if abs(off) <= allowed else word("no")
        rows.append((f"{reading:.4f}", f"{off:+.5f}", f"{allowed:.5f}", within))
    heads = (
        sentence("Repeat in mm"),
        sentence("Off the mean"),
        sentence("Allowed, ±"),
        sentence("Within"),
    )
    return [Table(sentence("Why it is accepted, or not"), heads, rows)]


PRESET: Final = Working(
    slug="preset",
    title=sentence("Repeats of one length"),
    says=sentence(
        "Mean, spread and uncertainty of a preset, and whether every repeat lies within "
        "the tolerance less the uncertainty."
    ),
    entries=(
        Entry(
            "readings_mm",
            sentence("Readings in mm, with spaces between"),
            "80.0010 80.0020 80.0030",
            read=numbers,
            lines=2,
            symbol="x",
        ),
        Entry("tolerance_mm", sentence("Tolerance, ±"), "0.01", "mm", "T"),
        Entry(
            "gauge_uncertainty_mm",
            sentence("Standard uncertainty of the gauge"),
            "0.001",
            "mm",
            "u_g",
        ),
        Entry("resolution_mm", sentence("Step of the gauge's display"), "0.001", "mm", "r"),
    ),
    work=by_call(calls.work_out_preset, shapes.SeriesBody(), shapes.SeriesAnswer()),
    figures=_series_figures,
    lines=(
        Line("x_m = total(x, m) / m", "mm"),
        Line("s = sqrt(total((x - x_m) ** 2, m) / (m - 1))", "mm"),
        Line("u = s / sqrt(m)", "mm"),
        Line("u_c = sqrt(max(u, r / sqrt(12 * m)) ** 2 + u_g ** 2 + r ** 2 / 12)", "mm"),
        Line("U = k * u_c", "mm"),
        Line("A = T - U", "mm"),
    ),
    results=(
        Result("mean_mm", sentence("Mean"), "mm"),
        Result("standard_deviation_mm", sentence("Standard deviation"), "mm"),
        Result("type_a_mm", sentence("Type A uncertainty of the mean"), "mm"),
        Result("expanded_uncertainty_mm", sentence("Expanded uncertainty, 95 %"), "mm"),
        Result("accepted", sentence("Accepted")),
    ),
    source=sentence(
        "JCGM 100:2008, 4.2, 5.1, G.4; guard band after ISO 14253-1 (both from memory). "
        "k is 2 for many repeats, more for few."
    ),
    functions=(judge_series, sample_statistics, preset_budget),
    call="POST /v1/workings/preset",
    tables=_repeats,
    caution=sentence(
        "Prove every offset as the machine's manual and your shop's rules say before "
        "the tool goes near the work."
    ),
)


def _order_figures(_body: Body, answer: Body) -> Figures:
    order = answer["order"]
    if not order:
        return Figures({})
    return Figures(
        {
            "F": [job["finish_min"] for job in order],
            "d": [job["due_min"] for job in order],
            "L": [job["lateness_min"] for job in order],
        }
    )


def _ordered(_body: Body, answer: Body) -> list[Table]:
    heads = (
        sentence("Job"),
        sentence("Start in min"),
        sentence("Finish"),
        sentence("Due"),
        sentence("Late by"),
    )
    rows = [
        (job["name"], *(f"{job[key]:g}" for key in
                        ("start_min", "finish_min", "due_min", "lateness_min")))
        for job in answer["order"]
    ]  # fmt: skip
    tables = [Table(sentence("In the order of due dates"), heads, rows)]
    if answer["fewest_late"]:
        names = [(name,) for name in answer["fewest_late_names"]]
        tables.append(
            Table(sentence("Late in the order with fewest late"), (sentence("Job"),), names)
        )
    return tables


BENCH_ORDER: Final = Working(
    slug="bench-order",
    title=sentence("Order of jobs at one bench"),
    says=sentence(
        "Earliest due date first keeps the greatest lateness small. Where not "
        "all jobs can be in time, another order makes fewer of them late."
    ),
    entries=(
        Entry(
            "jobs",
            sentence("One job a line: name, minutes, minutes until due"),
            "A 10 20\nB 4 9\nC 7 15\nD 3 5\nE 6 30",
            read=jobs,
            lines=6,
        ),
    ),
    work=by_call(
        calls.work_out_bench_order, shapes.BenchOrderBody(), shapes.BenchOrderAnswer()
    ),
    figures=_order_figures,
    lines=(Line("L = F - d", "min"),),
    results=(
        Result("greatest_lateness_min", sentence("Greatest lateness"), "min"),
        Result("fewest_late", sentence("Fewest late")),
    ),
    source=sentence(
        "Jackson 1955 (earliest due date); Moore 1968 with Hodgson's algorithm (fewest "
        "late). F is when a job is finished, d when it is due."
    ),
    functions=(order_jobs,),
    call="POST /v1/workings/bench-order",
    tables=_ordered,
)


def _reorder_figures(body: Body, answer: Body) -> Figures:
    figures: dict[str, Figure] = {
        "m": body["mean_per_day"],
        "sigma": body["deviation_per_day"],
        "l": body["lead_days"],
        "z": float(ndtri(body["service_level"])),
        "B": answer["safety_stock"],
        "R": answer["reorder_point"],
    }
    if answer["order_quantity"] is None:
        return Figures(figures)
    costs = {"Q": answer["order_quantity"], "K": body["order_cost"], "H": body["holding_cost"]}
    return Figures(figures | costs, frozenset({"order"}))


REORDER: Final = Working(
    slug="reorder",
    title=sentence("When to order, and how much"),
    says=sentence("Order when stock plus what is on order is down to the reorder point."),
    entries=(
        Entry("mean_per_day", sentence("Mean demand per day"), "350", "", "m"),
        Entry(
            "deviation_per_day",
            sentence("Standard deviation of a day's demand"),
            "10",
            "",
            "sigma",
        ),
        Entry("lead_days", sentence("From order to delivery"), "1", "days", "l"),
        Entry("service_level", sentence("Chance not to run out before"), "0.95"),
        Entry("order_cost", sentence("Cost of one order"), "10", "", "K"),
        Entry("holding_cost", sentence("Cost of keeping one piece for a day"), "0.5", "", "H"),
    ),
    work=by_call(calls.work_out_reorder, shapes.ReorderBody(), shapes.ReorderAnswer()),
    figures=_reorder_figures,
    lines=(
        Line("B = z * sigma * sqrt(l)"),
        Line("R = m * l + B"),
        Line("Q = sqrt(2 * m * K / H)", "", "order"),
    ),
    results=(
        Result("reorder_point", sentence("Reorder point")),
        Result("safety_stock", sentence("Safety stock in it")),
        Result("order_quantity", sentence("Cheapest order")),
        Result("cost_per_day", sentence("Cost of ordering and keeping per day")),
    ),
    source=sentence(
        "Heizer & Render, Operations Management (from memory); F. W. Harris 1913 for "
        "the order. z is the normal quantile of the chance."
    ),
    functions=(reorder_point, order_quantity),
    call="POST /v1/workings/reorder",
)


def _steps(text: str) -> list[tuple[str, int, int, int]]:
    """Character, its value, sum and product of each step."""
    product, steps = 36, []
    for character in text:
        value = ALPHABET.index(character)
        total = (product + value) % 36 or 36
        product = total * 2 % 37
        steps.append((character, value, total, product))
    return steps


def _character_figures(body: Body, answer: Body) -> Figures:
    last = _steps(body["text"].upper())[-1][3]
    return Figures({"P": last, "c": ALPHABET.index(answer["character"])})


def _character_steps(body: Body, _answer: Body) -> list[Table]:
    rows = [tuple(map(str, step)) for step in _steps(body["text"].upper())]
    heads = (
        sentence("Character"),
        sentence("Value a"),
        sentence("(P + a) mod 36, 36 for 0"),
        sentence("twice that mod 37: P"),
    )
    return [Table(sentence("Step by step, P being 36 at first"), heads, rows)]


CHECK_CHARACTER: Final = Working(
    slug="check-character",
    title=sentence("Check character of a code"),
    says=sentence(
        "The last character of a code on a label. It shows whether the code was mistyped."
    ),
    entries=(Entry("text", sentence("Text before the check character"), "H00001", read=words),),
    work=lambda body: calls.check_character_of(body.get("text", "")),
    figures=_character_figures,
    lines=(Line("c = mod(37 - P, 36)"),),
    results=(
        Result("character", sentence("Check character")),
        Result("code", sentence("The whole code")),
    ),
    source=sentence("ISO/IEC 7064, MOD 37,36. The value of A is 10, of Z 35."),
    functions=(check_character,),
    call="GET /v1/workings/check-character/TEXT",
    tables=_character_steps,
)
