"""Shapes of the views: forecasts, swap list, bench queue."""

from __future__ import annotations

from marshmallow import fields

from api.schemas.facts import RecipeShape
from api.schemas.fields import At, Number, Problems, Shape, Text, Whole, YesNo, listed
from api.schemas.query import PlainQuery
from api.schemas.questions import QuestionShape


class AsOfQuery(PlainQuery):
    """What every view takes."""

    as_of = At(explains="The answer from the facts dated up to then; left out: now.")


class PlanQuery(AsOfQuery):
    """What the views of the plan take."""

    machine = Text(explains="Only this machine.")
    limit = Whole(least=1, most=1_000, query=True, load_default=200, explains="Rows per page.")
    after = Whole(query=True, load_default=0, explains="``next`` of the page before.")


class RackQuery(PlainQuery):
    """What the view of the racks takes."""

    machine = Text(explains="Only what this machine needs or what stands in its rack.")
    hours = Number(
        above=0,
        most=720,
        query=True,
        load_default=24.0,
        explains="How far to look for the swaps that need them [h].",
    )


class HoursQuery(PlanQuery):
    """What the views of a horizon take."""

    hours = Number(
        above=0,
        most=720,
        query=True,
        load_default=24.0,
        explains="How far to look ahead [h].",
    )


class Quantiles(Shape):
    """Parts by which that share of such edges has failed."""

    p05 = Whole(allow_none=True)
    p10 = Whole(allow_none=True)
    p50 = Whole(allow_none=True)
    p90 = Whole(allow_none=True)


class InstantQuantiles(Shape):
    """Instants by which that share of such edges has failed."""

    p05 = At(allow_none=True)
    p10 = At(allow_none=True)
    p50 = At(allow_none=True)
    p90 = At(allow_none=True)


class FailProbability(Shape):
    """Chance that the edge fails before it is swapped."""

    shift = Number(allow_none=True, explains="In the running shift.")
    unattended = Number(
        allow_none=True,
        explains="In the next unattended stretch, if it sees it alive and not swapped.",
    )


class BasisShape(Shape):
    """What a forecast stands on."""

    key = Text(explains="Name of the life law, for /v1/life/KEY.")
    observed_lives = Whole(explains="Lives that ended by wear or breakage.")
    worn = Whole()
    broken = Whole()
    taken_out_early = Whole(explains="Lives cut short.")
    prior = Text(
        explains="tool_life, own_lives (exponents from the shop's own edges, see "
        "/v1/tool-life-estimates), life_parts or starter."
    )
    wear_per_part = Number(allow_none=True)
    size_signal = YesNo(explains="Whether size corrections set the swap.")
    beyond = listed(
        Text(),
        most=3,
        explains="What of the cut lies outside the speeds, feeds and depths that the constants "
        "were seen to hold for: a guess, not knowledge.",
    )


_WHY = (
    "station_empty (a run needs a tool there), wrong_tool (what runs, or comes next, "
    "needs another one there), broken, doubted_age (too old to be believed: was it changed "
    "without a scan?), past, cost, size_limit, "
    "unattended_stretch, gathered, run_ends_first, run_to_failure, not_known (no run uses "
    "it, or no cutting data) or not_worked_out (why_sentence says what to do)."
)
_STEP = "Parts by which earlier and later are meant: a quarter of a planned life."
_EARLIER = (
    "Expected cost, beside the plan, of swapping cost_step_parts earlier, at most as early as "
    "now [hundredths of the currency]; null: due now, or never."
)
_LATER = (
    "The same that many parts later; below 0: the edge alone would rather wait, and a night, a "
    "shared stop or want of worn edges of its kind does not let it."
)
_SINCE = "Since when the edge has been past its point; null: it is not."
_OVERDUE = "Parts made since then."
_AFTER = "From now on, counted like parts_left: parts like the next that the edge cuts."


class ForecastRow(Shape):
    """One mounted assembly."""

    machine = Text(required=True)
    station = Text(required=True)
    station_code = Text(required=True)
    tool_number = Whole(required=True)
    path = Whole(required=True)
    assembly = Text(required=True)
    tool_spec = Text(required=True)
    part = Text(allow_none=True)
    mounted_at = At(required=True)
    parts_made = Whole(required=True)
    engaged_min = Number(allow_none=True)
    share_used = Number(required=True, explains="Of the life that the constants promise.")
    parts_left = fields.Nested(
        Quantiles,
        required=True,
        metadata={
            "description": "At p05, p10, … that share of such edges has failed; counted in "
            "parts like the next that the edge cuts."
        },
    )
    run_out_at = fields.Nested(InstantQuantiles, required=True)
    fail_probability = fields.Nested(FailProbability, required=True)
    swap_after_parts = Whole(allow_none=True, explains=_AFTER)
    swap_by = At(allow_none=True)
    overdue_since = At(allow_none=True, explains=_SINCE)
    overdue_parts = Whole(allow_none=True, explains=_OVERDUE)
    why = Text(required=True, explains=_WHY)
    why_sentence = Text(required=True, explains="The same in one sentence, with the figures.")
    cost_step_parts = Whole(allow_none=True, explains=_STEP)
    cost_if_earlier_minor = Whole(
        least=-(2**53), most=2**53, allow_none=True, explains=_EARLIER
    )
    cost_if_later_minor = Whole(least=-(2**53), most=2**53, allow_none=True, explains=_LATER)
    basis = fields.Nested(BasisShape, allow_none=True)


class CarrierShape(Shape):
    """An edge that carries part of what is left of a stretch's risk."""

    station = Text(required=True)
    tool_number = Whole(required=True)
    path = Whole(required=True)
    assembly = Text(
        required=True,
        allow_none=True,
        explains="What is mounted now; null where the swaps made put a sister in its place.",
    )
    fail_probability = Number(required=True, explains="Its own, with the swaps made.")


class NightOptionShape(Shape):
    """One thing to do with an unattended stretch."""

    kind = Text(
        required=True, explains="run (as it stands), swap (run after swaps), until or stand."
    )
    fail_probability = Number(required=True, explains="That an edge fails in what is run.")
    parts = Whole(required=True, explains="Parts made if none does.")
    expected_loss_minor = Whole(
        allow_none=True,
        required=True,
        explains="Failures to expect times their cost in the tool specs [hundredths]; null "
        "where one of them gives none.",
    )
    swaps = listed(Text(), most=1_000, explains="Stations to swap first.")
    swap_minutes = Number(allow_none=True, required=True, explains="Null: not all are known.")
    until = At(allow_none=True, required=True, explains="When to stop; null: at the end.")
    carried_by = fields.List(
        fields.Nested(CarrierShape),
        required=True,
        metadata={"description": "The edges that carry most of the chance, worst first."},
    )


class Night(Shape):
    """An unattended stretch of a machine."""

    machine = Text(required=True)
    begins_at = At(required=True)
    ends_at = At(required=True)
    counts_from = At(
        required=True,
        explains="From when on the chances count: begins_at, or once it has begun the last "
        "time that somebody put a tool in or took one out.",
    )
    ordinal = Whole(required=True, explains="0: the machine's next one, 1: the one after it.")
    answer = Text(
        required=True,
        explains="Kind of the option to choose: run, swap, until or stand; idle: nothing is "
        "cut; look: the chance is not known.",
    )
    answer_sentence = Text(required=True, explains="The same in words.")
    reason_sentence = Text(required=True, explains="Why; empty where nothing is to decide.")
    sentence = Text(required=True, explains="Both together.")
    options = fields.List(
        fields.Nested(NightOptionShape),
        required=True,
        metadata={"description": "What can be done, the least careful first."},
    )
    fail_probability = Number(required=True, explains="If nothing is swapped before it.")
    fail_probability_planned = Number(
        required=True, explains="With the swaps that are due before it anyway."
    )
    fail_probability_with_swaps = Number(
        required=True, explains="After the swaps that were brought forward for it, too."
    )
    fail_probability_floor = Number(
        required=True, explains="If every edge were swapped that a fresh one is better than."
    )
    fail_probability_breakage = Number(
        required=True, explains="By chipping and breaking alone, which no swap lowers."
    )
    fail_probability_so_far = Number(
        required=True,
        explains="The part of it that lies between counts_from and now; 0 before it begins.",
    )
    limit = Number(
        required=True, explains="The machine's night_limit_percent, or the shop's own."
    )
    limit_loss_minor = Whole(
        required=True,
        allow_none=True,
        explains="The machine's night_limit_loss, which counts instead; null where there is "
        "none, or a tool spec in the machine has no failure_cost.",
    )
    scale = Number(
        required=True,
        explains="Factor that the chances stand under: failures seen in earlier stretches over "
        "those forecast, held near 1 until there are many.",
    )
    safe = YesNo(
        required=True,
        explains="Whether the limit is kept with the swaps; never while an edge is not_known "
        "or parts are without a job.",
    )
    parts_without_job = Whole(explains="Parts that nobody knows the run of: what edges cut.")
    not_known = listed(
        Text(),
        most=1_000,
        explains="Stations whose forecast could not be worked out; the chances leave them out.",
    )
    swaps = listed(Text(), most=1_000, explains="Stations to swap by the answer.")
    no_sister_in_time = listed(
        Text(), most=1_000, explains="Stations whose swap would help, but lacks a sister."
    )
    run_until = At(
        allow_none=True,
        required=True,
        explains="Where the limit is not kept without swaps: when the chance reaches it.",
    )
    run_until_parts = Whole(
        allow_none=True, required=True, explains="Parts of the stretch until then."
    )
    carried_by = fields.List(
        fields.Nested(CarrierShape),
        required=True,
        metadata={"description": "The edges that carry most of the answer's chance."},
    )


class PlanPage(Shape):
    """What every page of the plan says of itself."""

    as_of = At(required=True)
    next = Whole(allow_none=True, required=True, explains="``after`` of the next page.")
    problems = Problems()


class ForecastPage(PlanPage):
    """Forecasts, the most urgent first."""

    items = fields.List(fields.Nested(ForecastRow), required=True)
    nights = fields.List(
        fields.Nested(Night),
        required=True,
        metadata={"description": "The next unattended stretch of each machine."},
    )
    later_nights = fields.List(
        fields.Nested(Night),
        required=True,
        metadata={
            "description": "Those after it, as far as nights are planned (72 h of running)."
        },
    )
    caution = Text(required=True)


class MissingThing(Shape):
    """One thing that is not there."""

    what = Text(required=True, explains="holder, edge or bench_time.")
    names = listed(Text(), most=1_000)
    wanted = Whole()
    sentence = Text(required=True)


class SisterShape(Shape):
    """What stands behind a swap."""

    state = Text(
        required=True,
        explains="ready, measure, build, blocked, or not_needed (nothing goes in).",
    )
    assembly = Text(allow_none=True)
    holder = Text(allow_none=True)
    lot = Text(allow_none=True)
    cutting_item = Text(allow_none=True)
    minutes = Number(explains="Bench time still to be spent.")
    holder_from = At(allow_none=True, explains="When a holder comes free that is not yet.")
    missing = fields.List(fields.Nested(MissingThing), required=True)
    lacking = listed(
        Text(), most=3, explains="Measures that its preset is short of: measure it again."
    )


class SwapShape(Shape):
    """One swap."""

    machine = Text(required=True)
    station = Text(required=True)
    station_code = Text(required=True)
    tool_number = Whole(required=True)
    path = Whole(required=True)
    assembly = Text(allow_none=True, explains="What comes out; unknown for later swaps.")
    tool_spec = Text(required=True)
    part = Text(allow_none=True)
    ordinal = Whole(required=True, explains="0: the edge in the machine, 1: the one after it.")
    swap_by = At(required=True, explains="Latest instant to swap; with standby, needed_by.")
    needed_by = At(
        required=True,
        explains="When the sister has to be ready: swap_by, or before it when one in ten edges "
        "like the one that comes out has failed.",
    )
    standby = YesNo(
        required=True,
        explains="No swap is planned: the edge is run until it fails or its run ends.",
    )
    overdue_since = At(allow_none=True, explains=_SINCE)
    overdue_parts = Whole(allow_none=True, explains=_OVERDUE)
    swap_after_parts = Whole(allow_none=True, explains=_AFTER)
    why = Text(required=True, explains=_WHY)
    why_sentence = Text(required=True, explains="The same in one sentence, with the figures.")
    cost_step_parts = Whole(allow_none=True, explains=_STEP)
    cost_if_earlier_minor = Whole(
        least=-(2**53), most=2**53, allow_none=True, explains=_EARLIER
    )
    cost_if_later_minor = Whole(least=-(2**53), most=2**53, allow_none=True, explains=_LATER)
    sister = fields.Nested(SisterShape, required=True)
    ready_by = At(allow_none=True, explains="When the sister stands ready; null: it does.")
    bench_start_by = At(allow_none=True)
    late = YesNo(
        required=True,
        explains="The bench has it ready only after needed_by; never of a blocked one.",
    )


class SwapPage(PlanPage):
    """Swaps, the most urgent first; before them breakages of nobody knows which tool."""

    until = At(required=True)
    breakages = fields.List(
        fields.Nested(QuestionShape),
        required=True,
        metadata={"description": "Breakages that wait for an answer; see /v1/questions."},
    )
    items = fields.List(fields.Nested(SwapShape), required=True)
    caution = Text(required=True)


class BenchRowShape(Shape):
    """One piece of bench work, in its place."""

    position = Whole(required=True)
    work = Text(required=True, explains="measure or build.")
    tool_spec = Text(required=True)
    assembly = Text(allow_none=True, explains="What to measure.")
    holder = Text(allow_none=True)
    lot = Text(allow_none=True)
    cutting_item = Text(allow_none=True)
    minutes = Number(required=True)
    machine = Text(required=True)
    station = Text(required=True)
    station_code = Text(required=True)
    tool_number = Whole(required=True)
    path = Whole(required=True)
    ordinal = Whole(required=True)
    why = Text(required=True, explains=_WHY)
    why_sentence = Text(required=True, explains="The same in one sentence, with the figures.")
    needed_by = At(required=True)
    due_since = At(allow_none=True, explains="Since when it has been due; null: due later.")
    start_by = At(allow_none=True, explains="Latest start to be in time.")
    start_at = At(allow_none=True)
    finish_at = At(allow_none=True)
    lateness_min = Number(
        allow_none=True, explains="Counted from due_since, else needed_by. Below 0: in time."
    )
    late = YesNo(required=True)
    cause = Text(allow_none=True, explains="bench_time, holder or too_soon.")
    holder_from = At(allow_none=True)
    missing = fields.List(fields.Nested(MissingThing), required=True)
    recipe = fields.Nested(
        RecipeShape,
        allow_none=True,
        metadata={"description": "What to take and to measure; not told in put_off."},
    )
    place = Text(
        allow_none=True,
        explains="Where a tool to measure lies; null: it is to be built. Not told in put_off.",
    )
    fresh_pieces = Whole(explains="Pieces out of the box; the recipe names opened ones.")
    recipe_problem = Text(allow_none=True, explains="Why there is no recipe.")
    recipe_caution = Text(
        allow_none=True, explains="Measure that its preset is short of for its station."
    )


class ReliefShape(Shape):
    """Attended minutes wanted in addition before an instant."""

    minutes = Number(required=True)
    before_at = At(required=True)


class BenchPage(PlanPage):
    """The bench's work in the order to do it, and what cannot be ready."""

    until = At(required=True)
    items = fields.List(fields.Nested(BenchRowShape), required=True)
    greatest_lateness_min = Number(allow_none=True)
    put_off = fields.List(
        fields.Nested(BenchRowShape),
        required=True,
        metadata={"description": "Late if as few as possible are: put these off, or get help."},
    )
    relief = fields.List(fields.Nested(ReliefShape), required=True)
    blocked = fields.List(
        fields.Nested(SwapShape),
        required=True,
        metadata={"description": "Swaps whose sister cannot be ready."},
    )
