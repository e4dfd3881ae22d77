"""The share of open time that a machine cuts: few readings, two kinds of time, odd counts."""

import numpy as np
import pytest

from crib.floor.running_share import RunningShare, learn_running_share

HOUR = 3_600.0


def intervals(seed, hours, attended_share, unattended_share, spread=0.1):
    """Two-hour intervals over days of 16 attended and 8 unattended hours."""
    rng = np.random.default_rng(seed)
    place = np.arange(int(hours // 2))
    attended = np.where(place % 12 < 8, 2 * HOUR, 0.0)
    unattended = 2 * HOUR - attended
    noise = 1 + spread * rng.standard_normal(place.size)
    busy = (attended * attended_share + unattended * unattended_share) * noise
    return attended, unattended, busy


def test_without_readings_a_machine_is_taken_to_cut_all_its_open_time():
    assert learn_running_share([], [], []) == RunningShare(1.0, 1.0, 1.0, False, 0.0)


def test_a_few_readings_move_the_share_little_and_many_tell_it():
    ten_minutes = learn_running_share([600], [0], [300])
    a_day = learn_running_share(*intervals(1, 24, 0.5, 0.5))
    a_week = learn_running_share(*intervals(1, 168, 0.5, 0.5))

    assert ten_minutes.both == pytest.approx(0.962, abs=0.001)  # (300 + 7200) / (600 + 7200)
    assert 0.5 < a_week.both < a_day.both < 0.6
    assert a_week.both == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("seed", range(8))
def test_nights_that_cut_less_have_a_share_of_their_own(seed):
    share = learn_running_share(*intervals(seed, 168, 0.9, 0.6))

    assert share.separate
    assert share.attended == pytest.approx(0.9, abs=0.06)
    assert share.unattended == pytest.approx(0.6, abs=0.1)
    assert share.attended > share.both > share.unattended


def test_alike_shares_are_rarely_told_apart():
    apart = [
        learn_running_share(*intervals(seed, 168, 0.8, 0.8)).separate for seed in range(200)
    ]

    # two standard errors: about one in twenty by chance, fewer since they lean on each other
    assert sum(apart) <= 20


def test_one_night_is_not_enough_for_a_share_of_its_own():
    attended = [2 * HOUR] * 9 + [0]
    unattended = [0] * 9 + [3 * HOUR]
    share = learn_running_share(attended, unattended, [2 * HOUR] * 9 + [0])

    assert not share.separate
    assert share.attended == share.unattended == share.both


def test_intervals_that_hold_both_kinds_are_split_by_regression():
    rng = np.random.default_rng(5)
    attended = rng.uniform(0.5, 3.5, 80) * HOUR
    unattended = 4 * HOUR - attended
    share = learn_running_share(attended, unattended, attended * 0.95 + unattended * 0.5)

    assert share.separate
    assert share.attended == pytest.approx(0.95, abs=0.05)
    assert share.unattended == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(("busy", "share"), [(0.0, 0.2), (50.0, 1.3)])
def test_what_cannot_be_is_held_at_the_bounds(busy, share):
    assert learn_running_share([HOUR] * 90, [0] * 90, [busy * HOUR] * 90).both == share


def test_time_in_which_the_machine_was_closed_tells_nothing():
    closed = learn_running_share([0, HOUR], [0, 0], [HOUR, HOUR / 2])

    assert closed == learn_running_share([HOUR], [0], [HOUR / 2])
