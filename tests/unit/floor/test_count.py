"""Counts late, twice, out of order, after resets and rollovers; absurd ones kept aside."""

import numpy as np
import pytest

from crib.errors import Invalid
from crib.floor.count import KnownCounts, absorb
from crib.floor.counter import pace_of, steps

S = 1_000_000  # [µs]


def known(*rows):
    """Accepted readings from (second, count, life, total)."""
    table = np.array(rows, dtype=np.int64).reshape(-1, 4)
    return KnownCounts(table[:, 0] * S, table[:, 1], table[:, 2], table[:, 3])


def take(rows, before=None, cycle_s=20.0):
    """Absorb (second, count) readings."""
    at = np.array([row[0] for row in rows], dtype=np.int64) * S
    return absorb(before or KnownCounts.none(), at, [row[1] for row in rows], cycle_s)


def test_a_first_batch_starts_with_its_own_count():
    result = take([(0, 40), (100, 45), (200, 50)])

    assert result.total.tolist() == [40, 45, 50]
    assert result.life.tolist() == [0, 0, 0]
    assert (result.resets_seen, result.rollovers_seen, result.refused) == (0, 0, ())


def test_a_reset_counter_starts_a_new_life_and_loses_nothing_after_it():
    result = take([(0, 40), (100, 3), (200, 8)])

    assert result.total.tolist() == [40, 43, 48]
    assert result.life.tolist() == [0, 1, 1]
    assert (result.resets_seen, result.rollovers_seen) == (1, 0)


@pytest.mark.parametrize("limit", [9_999, 32_767, 65_535, 99_999, 999_999])
def test_a_counter_that_rolls_over_counts_on(limit):
    result = take([(0, limit - 2), (100, 1)])

    assert result.total.tolist() == [limit - 2, limit + 2]
    assert (result.resets_seen, result.rollovers_seen) == (0, 1)


def test_a_drop_near_the_end_too_fast_for_a_rollover_is_a_reset():
    result = take([(0, 9_980), (60, 1)])

    assert result.total.tolist() == [9_980, 9_981]
    assert (result.resets_seen, result.rollovers_seen) == (1, 0)


def test_a_drop_far_from_the_end_is_a_reset_however_long_it_took():
    result = take([(0, 9_000), (500_000, 3)])

    assert (result.resets_seen, result.rollovers_seen) == (1, 0)


def test_without_a_cycle_time_only_the_very_end_rolls_over():
    assert take([(0, 9_950), (9_000, 3)], cycle_s=None).rollovers_seen == 1
    assert take([(0, 9_800), (9_000, 3)], cycle_s=None).resets_seen == 1


def test_a_reading_sent_twice_counts_once():
    result = take([(0, 40), (100, 45), (100, 45), (0, 40)])

    assert result.index.tolist() == [0, 1]
    assert result.duplicate.tolist() == [False, False, True, True]


def test_a_whole_batch_sent_again_changes_nothing():
    before = known((0, 40, 0, 40), (100, 3, 1, 43))

    result = take([(100, 3), (0, 40)], before)

    assert result.index.size == 0
    assert result.duplicate.all()
    assert not result.known_changed.any()
    assert (result.resets_seen, result.tail_total_shift, result.tail_life_shift) == (0, 0, 0)


def test_a_late_reading_brings_a_hidden_reset_to_light():
    before = known((0, 40, 0, 40), (1000, 50, 0, 50))

    result = take([(500, 2)], before)

    assert (result.life.tolist(), result.total.tolist()) == ([1], [42])
    assert result.known_life.tolist() == [0, 1]
    assert result.known_total.tolist() == [40, 90]
    assert result.known_changed.tolist() == [False, True]
    assert (result.tail_life_shift, result.tail_total_shift) == (1, 40)
    assert result.resets_seen == 1


def test_a_late_reading_inside_a_known_reset_finds_the_parts_before_it():
    before = known((0, 40, 0, 40), (1000, 5, 1, 45))

    result = take([(500, 60)], before)

    assert result.total.tolist() == [60]
    assert result.known_total.tolist() == [40, 65]
    assert result.tail_total_shift == 20
    assert (result.resets_seen, result.tail_life_shift) == (0, 0)


def test_a_reading_before_all_others_becomes_the_first():
    before = known((1000, 50, 0, 50))

    result = take([(0, 30)], before)

    assert (result.total.tolist(), result.known_total.tolist()) == ([30], [50])
    assert result.tail_total_shift == 0


def test_known_steps_keep_the_kind_they_were_given():
    # Accepted as a rollover with another cycle time; that is not judged again.
    before = known((0, 9_990, 0, 9_990), (10, 5, 1, 10_005), (400, 6, 1, 10_006))

    result = take([(600, 7)], before)

    assert result.known_total.tolist() == [9_990, 10_005, 10_006]
    assert result.total.tolist() == [10_007]
    assert result.rollovers_seen == 0


def test_a_reading_faster_than_the_machine_can_cut_is_kept_aside_with_its_reason():
    result = take([(0, 40), (60, 500), (100, 45)])

    (refused,) = result.refused
    assert (refused.index, refused.reason) == (1, "too_fast")
    assert refused.sentence == (
        "Count 500 at 1970-01-01T00:01:00Z is held: from 40 to 500 would be "
        "460 parts in 60 s, the machine can make at most 7. Look at the "
        "counter."
    )
    assert result.total.tolist() == [40, 45]


def test_the_limit_is_twice_the_cycle_and_one_part_under_way():
    assert not take([(0, 0), (100, 11)]).refused
    assert take([(0, 0), (100, 12)]).refused


def test_without_a_cycle_time_half_a_second_is_the_limit():
    assert not take([(0, 0), (100, 201)], cycle_s=None).refused
    assert take([(0, 0), (100, 202)], cycle_s=np.nan).refused


def test_each_reading_may_have_its_own_cycle_time():
    assert not take([(0, 0), (100, 100)], cycle_s=[20.0, 2.0]).refused
    assert take([(0, 0), (100, 100)], cycle_s=[20.0, 20.0]).refused


def test_a_wild_first_reading_does_not_shut_out_the_true_ones():
    result = take([(0, 2_000), (60, 999_000), (120, 2_006), (180, 2_009), (240, 2_012)])

    assert [row.index for row in result.refused] == [1]
    assert result.total.tolist() == [2_000, 2_006, 2_009, 2_012]


def test_a_wild_reading_before_a_known_one_does_not_push_that_aside():
    before = known((0, 40, 0, 40), (100, 45, 0, 45))

    result = take([(50, 900), (60, 43)], before)

    assert [row.index for row in result.refused] == [0]
    assert result.known_total.tolist() == [40, 45]
    assert result.total.tolist() == [43]


def test_nothing_but_a_wild_reading_between_two_known_ones_leaves_those_alone():
    before = known((0, 40, 0, 40), (100, 45, 0, 45))

    result = take([(50, 900)], before)

    assert [row.reason for row in result.refused] == ["too_fast"]
    assert result.index.size == 0
    assert not result.known_changed.any()


def test_a_new_reset_is_counted_beside_one_that_was_known():
    before = known((0, 40, 0, 40), (100, 3, 1, 43))

    result = take([(200, 1)], before)

    assert result.resets_seen == 1
    assert result.life.tolist() == [2]


def test_many_wild_readings_cost_only_themselves():
    chance = np.random.default_rng(11)
    n = 3_000
    at = np.cumsum(chance.integers(30, 90, n))
    count = np.arange(n) + 500
    wild = chance.choice(np.arange(1, n - 1), 200, replace=False)
    said = count.copy()
    said[wild] = chance.integers(200_000, 900_000, wild.size)

    result = take(list(zip(at, said, strict=True)))

    assert sorted(row.index for row in result.refused) == sorted(wild)
    assert result.total[-1] == n - 1 + 500


def test_a_jump_that_lasts_is_kept_aside_until_time_allows_it():
    rows = [(60 * k, 500 + 3 * k) for k in range(1, 200)]

    result = take(rows, known((0, 100, 0, 100)))

    # 6 k + 1 >= 400 + 3 k for the first time in minute 133.
    assert result.at_us[0] / S == 60 * 133
    assert [row.index for row in result.refused] == list(range(132))
    assert result.total[-1] == rows[-1][1]


def test_in_a_first_batch_most_readings_are_believed():
    rows = [(0, 100), *[(60 * k, 500 + 3 * k) for k in range(1, 40)]]

    result = take(rows)

    assert [row.index for row in result.refused] == [0]


def test_two_counts_at_one_instant_contradict():
    before = known((0, 40, 0, 40), (100, 45, 0, 45))

    against_known = take([(100, 46)], before)
    in_batch = take([(0, 40), (100, 45), (100, 46), (200, 50)])

    assert [row.reason for row in against_known.refused] == ["conflicting"]
    assert "contradicts count 45" in against_known.refused[0].sentence
    assert [row.reason for row in in_batch.refused] == ["conflicting"]
    assert in_batch.total.size == 3


def test_of_two_counts_at_one_instant_the_possible_one_is_kept():
    result = take([(0, 40), (100, 900), (100, 45), (200, 50)])

    assert [(row.index, row.reason) for row in result.refused] == [(1, "conflicting")]
    assert result.total.tolist() == [40, 45, 50]


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (-1, "negative"),
        (2.5, "not_whole"),
        (float("nan"), "not_whole"),
        (float("inf"), "too_large"),
        (10**400, "too_large"),
        (10**12 + 1, "too_large"),
        (-(10**400), "negative"),
        ("12", "not_whole"),
        (None, "not_whole"),
        (True, "not_whole"),
    ],
)
def test_a_count_that_is_none_is_kept_aside_and_the_rest_taken(value, reason):
    counts = np.array([40, value, 45], dtype=object)

    result = absorb(KnownCounts.none(), np.array([0, 50, 100]) * S, counts, 20.0)

    assert [(row.index, row.reason) for row in result.refused] == [(1, reason)]
    assert result.total.tolist() == [40, 45]


def test_an_empty_batch_is_nothing():
    before = known((0, 40, 0, 40))

    result = absorb(before, [], [], 20.0)

    assert result.index.size == 0
    assert result.known_total.tolist() == [40]


def test_arrays_of_unequal_length_are_refused():
    with pytest.raises(Invalid, match="one instant and one count"):
        absorb(KnownCounts.none(), [1, 2], [1], 20.0)
    with pytest.raises(Invalid, match="one cycle time"):
        absorb(KnownCounts.none(), [1, 2], [1, 2], [20.0])


def test_known_readings_out_of_order_are_a_fault_of_the_caller():
    with pytest.raises(ValueError, match="strict order"):
        take([(5, 1)], known((10, 1, 0, 1), (0, 2, 0, 2)))


def test_fifty_thousand_readings_are_taken_at_once():
    n = 50_000
    at = np.arange(n, dtype=np.int64) * 30 * S

    result = absorb(KnownCounts.none(), at, np.arange(n) % 10_000, 20.0)

    assert result.total[-1] == n - 1
    assert result.rollovers_seen == 4


def test_a_step_takes_the_faster_of_two_paces_only():
    pace = pace_of([10.0, np.nan, 0.0], 3)

    assert pace.cycle_s.tolist() == [10.0, 1.0, 1.0]
    assert pace.guessed.tolist() == [False, True, True]
    step = steps(np.array([5]), np.array([5]), np.array([0]), pace_of(10.0, 1))
    assert not step.plausible[0]
