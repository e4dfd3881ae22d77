"""Nights are judged by what was shown, and a night that was stopped ends for all its edges."""

from __future__ import annotations

import math

import numpy as np
import pytest

from crib.life.held import WITHIN_CHANCE, Held, binomial_band, statements_held
from crib.outlook.judged_forecasts import NOT_DUE, OPEN, Judged, judge_forecasts
from crib.outlook.kept_outcomes import GOING_ON, Outcome
from crib.planning.night_scale import night_scale
from crib.store.kept_rows import SHIFT, KeptForecast

BEGIN, END, NOW = 1_000, 2_000, 10_000


def kept(
    mount: int, fails: float, scale: float | None = 1.0, begin: int = BEGIN
) -> KeptForecast:
    left = (0.2, 0.3, 0.5, 0.8, 1.1, 1.5, 1.8)
    return KeptForecast(
        mount, begin - 500, SHIFT, mount, mount, True, 1, "K", 0.1, 1e-4, left, begin, 1.0,
        begin, begin + END - BEGIN, fails, 0.3, 0.8, 1.5, 1.0, scale,
    )  # fmt: skip


def outcome(
    machine: int, failed_us: int | None = None, good_us: int = NOW, ran: float = 1.0
) -> Outcome:
    failed_wear = math.inf if failed_us is None else 0.2
    state = GOING_ON if failed_us is None else "broken"
    return Outcome(state, good_us, failed_us, 0.1, failed_wear, failed_us, machine, ran)


def test_what_was_shown_is_what_is_judged_and_the_model_alone_is_learned_from() -> None:
    judged = judge_forecasts([kept(1, 0.2, 0.5), kept(2, 0.2, None)], [outcome(1)] * 2, NOW)

    # half the hazard of a chance of 0.2; a row of before the factor was kept stands under none
    assert judged.lasts_night.tolist() == pytest.approx([math.sqrt(0.8), 0.8])
    assert judged.night_hazard.tolist() == pytest.approx([-math.log(0.8)] * 2)


def test_a_failure_that_stopped_the_machine_leaves_the_other_edges_open() -> None:
    rows = [kept(1, 0.1), kept(2, 0.19), kept(3, 0.1)]
    ends = [outcome(7, 1_500, BEGIN, 0.5), outcome(7, ran=0.5), outcome(8, ran=0.5)]

    judged = judge_forecasts(rows, ends, NOW)

    assert judged.night.tolist() == [0, OPEN, 1]
    # half of the stretch: half of the hazard of a chance of 0.19
    assert judged.night_low.tolist() == pytest.approx([0.0, 0.1, 0.0])
    assert judged.stretch.tolist() == [0, 0, 1]


def test_a_machine_that_ran_on_through_a_failure_tells_of_all_its_edges() -> None:
    rows = [kept(1, 0.1), kept(2, 0.1)]
    ends = [outcome(7, 1_500, BEGIN), outcome(7)]

    assert judge_forecasts(rows, ends, NOW).night.tolist() == [0, 1]


def test_a_stretch_in_which_the_machine_stood_is_not_judged() -> None:
    judged = judge_forecasts([kept(1, 0.1)], [outcome(7, ran=0.0)], NOW)

    assert (judged.night.tolist(), judged.stretch.tolist()) == ([NOT_DUE], [-1])


def test_a_certain_failure_stays_a_number() -> None:
    judged = judge_forecasts([kept(1, 1.0)], [outcome(7)], NOW)

    assert 30 < judged.night_hazard[0] < 40


def stopped_nights(truth: float) -> tuple[list[KeptForecast], list[Outcome]]:
    """400 nights of 6 machines with 8 edges; 7 of 10 failures stop the machine.

    The chances shown stand under the true factor, those of the model miss it.
    """
    rng = np.random.default_rng([5, round(100 * truth)])
    rows, ends = [], []
    for night in range(400):
        begin = BEGIN + 3_000 * night
        for machine in range(6):
            hazard = rng.gamma(0.6, 0.08 * (machine + 1), 8)
            fails_at = rng.exponential(1.0, 8) / np.maximum(truth * hazard, 1e-12)
            stops = np.where(rng.random(8) < 0.7, fails_at, np.inf).min()
            ran = min(float(stops), 1.0)
            for edge in range(8):
                mount = (night * 6 + machine) * 8 + edge
                rows.append(kept(mount, -math.expm1(-hazard[edge]), truth, begin))
                failed = fails_at[edge] <= ran
                # nobody saw it: good when the night began, found failed when it was over
                ends.append(
                    outcome(
                        machine,
                        begin + END - BEGIN if failed else None,
                        begin if failed else begin + 3_000,
                        ran,
                    )
                )
    return rows, ends


def judged_nights(truth: float) -> Judged:
    return judge_forecasts(*stopped_nights(truth), BEGIN + 3_000 * 401)


@pytest.mark.parametrize("truth", [0.4, 1.0, 2.5])
def test_claimed_and_seen_agree_in_every_third_of_risk_where_nights_are_stopped(
    truth: float,
) -> None:
    judged = judged_nights(truth)
    failed = np.bincount(judged.stretch, judged.night == 0) > 0
    claimed = -np.expm1(np.bincount(judged.stretch, np.log(judged.lasts_night)))

    assert len(claimed) == 2_400
    for rows in np.array_split(np.argsort(claimed), 3):
        low, high = binomial_band(failed[rows].sum(), len(rows), 0.99)
        assert low < claimed[rows].mean() < high


@pytest.mark.parametrize("truth", [0.4, 1.0, 2.5])
def test_edges_are_judged_rightly_too_where_nights_are_stopped(truth: float) -> None:
    judged = judged_nights(truth)
    nothing, whole = np.zeros(len(judged.kept)), np.ones(len(judged.kept))

    def held(night: np.ndarray, low: np.ndarray) -> Held:
        return statements_held(judged.lasts_night, night, low, whole)

    right = held(judged.night, judged.night_low)
    survivors = held(np.where(judged.night == OPEN, 1, judged.night), nothing)

    assert right.verdict == WITHIN_CHANCE
    assert survivors.held > right.held + 0.005
    assert survivors.verdict != WITHIN_CHANCE


@pytest.mark.parametrize("truth", [0.4, 1.0, 2.5])
def test_the_factor_is_found_where_nights_are_stopped(truth: float) -> None:
    judged = judged_nights(truth)
    hazard = np.bincount(judged.stretch, judged.night_hazard)
    failed = np.bincount(judged.stretch, judged.night == 0) > 0

    found = night_scale(hazard, failed)

    assert found == pytest.approx(truth, rel=0.08)
    counted = judged.night == 0
    by_edges = (2 + counted.sum()) / (2 + judged.night_hazard.sum())
    assert abs(by_edges - truth) > abs(found - truth)
