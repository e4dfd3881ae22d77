"""What can be done with a night: figures against scipy and simulation, and the answer."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crib.clock import instant_from_us, print_instant
from crib.floor.calendar import WorkCalendar
from crib.floor.timeline import us_of
from crib.floor.week import WeekSpan
from crib.planning.ahead import lay_out
from crib.planning.demand import RunAhead, plan_segments
from crib.planning.due import MachineAhead
from crib.planning.night import MachineNight, NightEdges, NightLimit
from crib.planning.night_options import NO_PRICES, Prices, decide
from crib.planning.night_words import (
    answer_sentence,
    percent,
    reason_sentence,
    scale_sentence,
)

MONDAY = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = 3600.0
POINTS = 97  # every five minutes of an eight-hour night
WEEK = tuple(
    span
    for day in range(7)
    for span in (WeekSpan(day, 360, 1320, True), WeekSpan(day, 1320, 1800, False))
)
_TIME = lay_out(WorkCalendar(WEEK, "UTC"), MONDAY, MONDAY + timedelta(days=4))
MACHINE = MachineAhead(
    "M3", _TIME, plan_segments(_TIME, (RunAhead("bush", float("inf"), 60.0),)), 8 * HOUR
)
NAMES = {1: "T02", 2: "T04", 3: "T07", 4: "T11", 5: "T21"}
#: Lives of the edges here: Weibull of this shape, in multiples of the scale.
LIFE = stats.weibull_min(4.0)
KINDS = ("run", "swap", "until", "stand")


def hazard(ages, wear):
    """Cumulative hazard of Weibull edges up to each share of the wear, by scipy."""
    ages, wear = np.array(ages)[:, None], np.array(wear)[:, None]
    return LIFE.logsf(ages) - LIFE.logsf(ages + wear * np.linspace(0, 1, POINTS))


def night_of(
    stays, swapped, swaps, *, limit=0.05, begin_h=16.0, hours=8.0, weight=None, **more
):
    """The night that begins at 22:00."""
    edges = NightEdges(
        MACHINE,
        np.arange(1, len(stays) + 1),
        np.linspace(begin_h, begin_h + hours, stays.shape[1]) * HOUR,
        stays,
        swapped,
        np.array(swaps),
        weight,
    )
    chances = [float(-np.expm1(-curve[:, -1].sum())) for curve in (stays, swapped)]
    return MachineNight(
        "M3",
        _TIME.clock_at(begin_h * HOUR),
        _TIME.clock_at((begin_h + hours) * HOUR),
        chances[0],
        chances[0],
        chances[1],
        0.0,
        0.0,
        (),
        limit if isinstance(limit, NightLimit) else NightLimit(limit),
        edges=edges,
        **more,
    )


def worn_night(limit=0.05, ages=(0.6, 0.35, 0.2), wear=(0.1, 0.08, 0.05), **more):
    """A night of edges of these ages, all of which can be swapped for new ones."""
    fresh = np.zeros(len(ages))
    return night_of(
        hazard(ages, wear), hazard(fresh, wear), [1] * len(ages), limit=limit, **more
    )


def failing_share(ages, wear, share=1.0, seed=5, draws=200_000):
    """Share of simulated nights in which an edge fails, each edge drawn to outlive its age."""
    rng = np.random.default_rng(seed)
    failed = np.zeros(draws, dtype=bool)
    for age, ahead in zip(ages, wear, strict=True):
        lives = LIFE.isf(rng.random(draws) * LIFE.sf(age))
        failed |= lives < age + ahead * share
    return failed.mean()


@pytest.mark.parametrize("ages", [(0.6, 0.35, 0.2), (0.4, 0.4, 0.9), (0.05, 0.5, 0.3)])
def test_risks_are_those_of_a_simulated_night(ages):
    wear = (0.1, 0.08, 0.05)
    decision = decide(worn_night(0.02, ages=ages, wear=wear))
    run, swap = decision.option("run"), decision.option("swap")
    after = [
        0.0 if one in {each.station_id for each in swap.swaps} else age
        for one, age in enumerate(ages, start=1)
    ]

    assert run.fail_probability == pytest.approx(failing_share(ages, wear), abs=4e-3)
    assert swap.fail_probability == pytest.approx(failing_share(after, wear), abs=4e-3)
    assert run.fail_probability == pytest.approx(
        1 - np.prod([LIFE.sf(a + w) / LIFE.sf(a) for a, w in zip(ages, wear, strict=True)])
    )


def test_the_fewest_minutes_of_swaps_that_keep_the_limit_are_asked_for():
    minutes = {1: 7.0, 2: 5.0, 3: 5.0}
    night = worn_night(0.05)
    decision = decide(night, Prices(minutes, {}))
    chosen = decision.chosen

    assert decision.kind == "swap"
    assert [one.station_id for one in chosen.swaps] == [1]
    assert chosen.minutes == 7.0
    assert chosen.fail_probability <= 0.05 < decision.option("run").fail_probability
    assert chosen.parts == 480
    assert answer_sentence(night, decision, NAMES) == (
        "Run all night after swapping T02: 7 min, risk 12 %, after the swap 2.1 %."
    )
    assert reason_sentence(night, decision, NAMES) == "Your limit for M3 is 5 %."


def test_a_limit_of_the_loss_asks_for_the_swap_that_is_dear_to_lose():
    """Edges of T02, T04 and T07; what a failure of each costs [hundredths]."""
    failure = {1: 1_000, 2: 80_000, 3: 80_000}
    weight = np.array([*failure.values()], dtype=float)
    night = worn_night(NightLimit(0.05, 1_000.0), weight=weight)
    hazards = night.edges.stays[:, -1]
    decision = decide(night, Prices({}, failure))
    chosen, run = decision.chosen, decision.option("run")

    assert run.loss_minor == pytest.approx(float(hazards @ weight))
    assert [one.station_id for one in chosen.swaps] == [2]
    assert chosen.loss_minor <= 1_000 < run.loss_minor
    assert reason_sentence(night, decision, NAMES) == (
        f"The expected loss is {chosen.loss_minor / 100:.2f}; your limit for M3 is 10.00."
    )
    assert night.safe == (float((night.edges.swapped[:, -1] * weight).sum()) <= 1_000)


def test_without_swaps_the_machine_stops_when_the_loss_to_expect_is_reached():
    ages, wear, weight = (0.6, 0.35, 0.2), (0.1, 0.08, 0.05), np.array([900.0, 70_000, 2_000])
    stays, limit = hazard(ages, wear), NightLimit(0.05, 400.0)
    night = night_of(stays, stays, [0, 0, 0], limit=limit, weight=weight)
    decision = decide(
        night, Prices({}, dict(zip((1, 2, 3), (900, 70_000, 2_000), strict=True)))
    )

    assert decision.kind == "until"
    assert 396 < decision.chosen.loss_minor <= 400 * (1 + 1e-9)
    assert not night.safe


def test_a_limit_of_the_loss_without_a_failure_cost_says_what_it_needs():
    one, two = (NightLimit(0.05, None, specs) for specs in (("GR-2",), ("GR-2", "T-60")))
    said = [
        reason_sentence(night, decide(night), NAMES)
        for night in (worn_night(one), worn_night(two))
    ]

    assert said == [
        "Your limit for M3 is 5 %. Your limit of the loss needs a failure cost of GR-2.",
        "Your limit for M3 is 5 %. "
        "Your limit of the loss needs a failure cost of GR-2 and 1 more.",
    ]


def test_a_night_within_the_limit_is_run_as_it_is_and_tells_what_is_due_anyway():
    night = worn_night(0.2)
    decision = decide(night)

    assert decision.kind == "run"
    assert decision.chosen.swaps == ()
    assert len(decision.option("swap").swaps) == 3
    assert answer_sentence(night, decision, NAMES) == "Run all night: risk 12 %."


def test_without_swaps_the_machine_stops_when_the_limit_is_reached():
    ages, wear, limit = (0.6, 0.35, 0.2), (0.1, 0.08, 0.05), 0.05
    stays = hazard(ages, wear)
    night = night_of(stays, stays, [0, 0, 0], limit=limit)
    decision = decide(night)
    chosen = decision.chosen
    second = _TIME.seconds_at(chosen.until_us) - 16 * HOUR

    assert decision.kind == "until"
    assert failing_share(ages, wear, second / (8 * HOUR)) == pytest.approx(limit, abs=3e-3)
    exact = 1 - np.prod(
        [
            LIFE.sf(a + w * second / (8 * HOUR)) / LIFE.sf(a)
            for a, w in zip(ages, wear, strict=True)
        ]
    )
    assert limit * 0.99 < exact <= limit
    assert chosen.parts == int(second / 60)
    assert answer_sentence(night, decision, NAMES).startswith("Run until 2026-03-03T01:")
    assert answer_sentence(night, decision, NAMES).endswith(
        f": {chosen.parts} parts, risk 5 %."
    )
    assert reason_sentence(night, decision, NAMES) == (
        "Running to the end would risk 12 %. Your limit for M3 is 5 %."
    )


def test_before_a_stop_only_swaps_that_gain_more_than_their_minutes_are_asked_for():
    """T02 and T04 may be swapped; T07 carries too much of the risk to run through."""
    ages, wear = (0.6, 0.2, 0.9), (0.1, 0.05, 0.1)
    stays, fresh = hazard(ages, wear), hazard((0, 0, 0), wear)
    swapped = np.where(np.array([[True], [True], [False]]), fresh, stays)
    night = night_of(stays, swapped, [1, 1, 0], limit=0.05)
    decision = decide(night, Prices({1: 5.0, 2: 5.0}, {}))
    # the same with what the swaps gain worked out by hand: minutes are parts here

    def stop(*new):
        curve = sum(fresh[i] if i in new else stays[i] for i in range(3))
        return float(np.interp(-np.log1p(-0.05), curve, np.linspace(0, 480, POINTS)))

    assert stop(0) - stop() > 6 > stop(0, 1) - stop(0)
    assert decision.kind == "until"
    assert [one.station_id for one in decision.chosen.swaps] == [1]
    assert decision.chosen.parts == int(stop(0))
    assert [one.station_id for one in decision.option("swap").swaps] == [1, 2]


def test_a_machine_that_reaches_its_limit_within_half_an_hour_stands():
    night = worn_night(0.001, ages=(0.9,), wear=(0.5,))
    stays = night.edges.stays
    decision = decide(night_of(stays, stays, [0], limit=0.001))

    assert decision.kind == "stand"
    assert decision.chosen.parts == 0
    assert [one.kind for one in decision.options] == ["run", "stand"]


def test_a_swap_without_a_sister_is_not_asked_for_and_is_named():
    night = worn_night(0.05)
    decision = decide(night, Prices({}, {}, frozenset({1})))

    assert decision.kind == "until"
    assert decision.missing == (1,)
    assert 1 not in {one.station_id for one in decision.chosen.swaps}
    assert reason_sentence(night, decision, NAMES).endswith("No sister in time for T02.")


def test_the_expected_loss_is_that_of_the_failures_to_expect():
    night = worn_night(0.02)
    costs = {1: 9_000, 2: 14_000, 3: 9_000}
    run = decide(night, Prices({}, costs)).option("run")
    # a Poisson number of failures of each edge, every one at its cost
    rng = np.random.default_rng(3)
    means = night.edges.stays[:, -1]
    paid = rng.poisson(means, (400_000, 3)) @ np.array([*costs.values()])

    assert run.loss_minor == pytest.approx(paid.mean(), rel=0.02)
    assert decide(night, Prices({}, costs | {2: None})).option("run").loss_minor is None
    assert decide(night, NO_PRICES).option("stand").loss_minor == 0


def test_minutes_that_one_spec_does_not_give_are_not_told():
    night = worn_night(0.05)
    decision = decide(night, Prices({1: None, 2: 5.0}, {}))

    assert decision.chosen.minutes is None
    assert answer_sentence(night, decision, NAMES) == (
        "Run all night after swapping T02: risk 12 %, after the swap 2.1 %."
    )


def test_the_risk_of_several_swaps_does_not_read_as_a_range():
    night = worn_night(0.012)
    decision = decide(night)

    assert len(decision.chosen.swaps) == 2
    assert answer_sentence(night, decision, NAMES) == (
        "Run all night after swapping T02 and T04: risk 12 %, after the swaps 0.2 %."
    )


def test_what_is_not_known_has_no_answer_but_to_look():
    night = worn_night(unknown=(2,))
    jobless = worn_night(jobless=60)

    assert decide(night).options == decide(jobless).options == ()
    assert answer_sentence(night, decide(night), NAMES) == (
        "Look at T04 before you leave: the risk there is not known."
    )
    begun, end = replace(night, begun=True), print_instant(instant_from_us(night.end_us))
    assert answer_sentence(begun, decide(begun), NAMES) == (
        f"The risk of T04 is not known. Nobody is there until {end}."
    )
    assert answer_sentence(jobless, decide(jobless), NAMES).startswith(
        "The risk is not known: 60 parts without a job."
    )
    assert reason_sentence(night, decide(night), NAMES) == ""


def test_nothing_to_cut_is_said_without_a_risk():
    nothing = np.zeros((1, POINTS))
    idle, stands = night_of(nothing, nothing, [0]), worn_night(stands=True)

    assert answer_sentence(idle, decide(idle), NAMES) == "No job planned."
    assert answer_sentence(stands, decide(stands), NAMES).startswith("The machine stands:")


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        ([RunAhead("bush", 600, 60.0)], "Nothing to cut: the job ends 2026-03-02T16:00:00Z."),
        # the next one is of the day after, and the last one before the night counts
        (
            [
                RunAhead("bush", 60, 60.0),
                RunAhead("pin", 60, 60.0),
                RunAhead("bush", 60, 60.0, us_of(MONDAY + timedelta(hours=26))),
            ],
            "Nothing to cut: the job ends 2026-03-02T08:00:00Z.",
        ),
        ([], "No job planned."),
        # the job goes on, but wears no edge that is known
        ([RunAhead("bush", 1000, 60.0)], "No job planned."),
    ],
)
def test_a_job_that_ends_before_the_night_is_named_by_its_end(runs, said):
    nothing = np.zeros((1, POINTS))
    idle = night_of(nothing, nothing, [0])
    machine = replace(MACHINE, segments=plan_segments(_TIME, runs))
    idle = replace(idle, edges=replace(idle.edges, machine=machine))

    assert answer_sentence(idle, decide(idle), NAMES) == said


def test_a_factor_from_earlier_nights_is_told_where_it_differs_by_more_than_a_tenth():
    better, worse = (scale_sentence(worn_night(scale=scale)) for scale in (0.62, 1.3))

    assert better.endswith("went better than forecast: the risk is scaled by 0.62.")
    assert worse.endswith("went worse than forecast: the risk is scaled by 1.30.")
    for scale in (0.92, 1.0, 1.09):
        assert scale_sentence(worn_night(scale=scale)) is None


def test_many_swaps_are_counted_and_two_are_named():
    many = worn_night(0.2, ages=(0.7,) * 5, wear=(0.12,) * 5)
    few = worn_night(0.08, ages=(0.7, 0.7), wear=(0.12, 0.12))

    assert "after swapping 4 tools:" in answer_sentence(many, decide(many), NAMES)
    assert "after swapping T02 and T04:" in answer_sentence(few, decide(few), NAMES)


def test_a_long_stretch_is_not_called_a_night():
    night = worn_night(0.3, hours=41.0, begin_h=16.0)

    assert answer_sentence(night, decide(night), NAMES).startswith("Run to the end: risk")


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.1384, "14 %"),
        (0.0996, "10 %"),
        (0.0524, "5.2 %"),
        (0.05, "5 %"),
        (1e-5, "under 0.1 %"),
    ],
)
def test_risks_are_said_in_whole_per_cents_from_ten_on(chance, said):
    assert percent(chance) == said


@st.composite
def nights(draw):
    """Nights of up to six edges whose hazard bends upwards, some of which may be swapped."""
    count = draw(st.integers(1, 6))
    numbers = st.lists(st.floats(0.0, 1.2), min_size=count, max_size=count)
    ages, wear = np.array(draw(numbers)), np.array(draw(numbers)) / 4
    swaps = draw(st.lists(st.integers(0, 2), min_size=count, max_size=count))
    stays = hazard(ages, wear)
    fresh = np.minimum(hazard(np.zeros(count), wear), stays)
    swapped = np.where(np.array(swaps)[:, None] > 0, fresh, stays)
    late = draw(st.frozensets(st.integers(1, count)))
    return stays, swapped, swaps, Prices({1: 5.0, 2: 7.0}, {}, late)


@settings(max_examples=150)
@given(nights(), st.lists(st.floats(0.001, 0.5), min_size=2, max_size=2).map(sorted))
def test_a_higher_limit_never_makes_the_answer_more_careful(given_night, limits):
    stays, swapped, swaps, prices = given_night
    low, high = (
        decide(night_of(stays, swapped, swaps, limit=limit), prices) for limit in limits
    )
    if low.kind == "idle":
        assert high.kind == "idle"
        return
    assert KINDS.index(high.kind) <= KINDS.index(low.kind)
    if low.kind == high.kind == "until":
        assert high.chosen.until_us >= low.chosen.until_us


@settings(max_examples=150)
@given(nights(), st.floats(0.001, 0.5))
def test_swaps_never_raise_the_risk_and_the_answer_keeps_the_limit(given_night, limit):
    stays, swapped, swaps, prices = given_night
    decision = decide(night_of(stays, swapped, swaps, limit=limit), prices)
    run, swap, until = (decision.option(kind) for kind in KINDS[:3])
    if swap:
        assert swap.fail_probability <= run.fail_probability * (1 + 1e-12)
        assert not {one.station_id for one in swap.swaps} & prices.cannot
    if until:
        assert until.fail_probability <= limit * (1 + 1e-9)
        assert until.parts <= run.parts
    if decision.chosen:
        assert decision.chosen.fail_probability <= limit * (1 + 1e-9)
    for option in decision.options:
        assert len(option.carriers) <= 3
