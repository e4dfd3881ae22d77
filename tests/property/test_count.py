"""Whatever order, repetition and batches counts come in, the parts are the same."""

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.floor.count import KnownCounts, absorb
from crib.floor.counter import LIMITS
from crib.planning.output import NO_RUN, machine_output

CYCLE_S = 20.0
DAY_US = 86_400_000_000


class Ledger:
    """Accepted readings of one machine, kept as a store keeps them."""

    def __init__(self):
        self.rows = np.empty((0, 4), dtype=np.int64)  # at, count, life, total
        self.refused = []
        self.duplicates = 0

    def take(self, at, count, cycle_s=CYCLE_S):
        """Hand over only the window that the batch touches and one neighbour each side."""
        at, count = np.asarray(at, dtype=np.int64), np.asarray(count)
        low = max(0, int(np.searchsorted(self.rows[:, 0], at.min())) - 1)
        high = int(np.searchsorted(self.rows[:, 0], at.max(), side="right")) + 1
        known = self.rows[low:high]
        result = absorb(KnownCounts(*known.T), at, count, cycle_s)
        assert result.known_life.shape == result.known_total.shape == (len(known),)
        self.rows[low:high, 2] = result.known_life
        self.rows[low:high, 3] = result.known_total
        self.rows[high:, 2] += result.tail_life_shift
        self.rows[high:, 3] += result.tail_total_shift
        new = np.column_stack([result.at_us, result.count, result.life, result.total])
        rows = np.concatenate([self.rows, new])
        self.rows = rows[np.argsort(rows[:, 0])]
        self.refused += result.refused
        self.duplicates += int(result.duplicate.sum())
        accounted = result.index.size + result.duplicate.sum() + len(result.refused)
        assert accounted == at.size
        return result


@st.composite
def clean_readings(draw, mixed=True):
    """A counter that really ran: cycles, pauses, resets, and a rollover at its end.

    Returns instants, counts and the parts really made up to each reading.
    """
    limit = draw(st.sampled_from([None, *LIMITS[:3]]))
    count = draw(st.integers(0, 300)) if limit is None else limit - draw(st.integers(0, 40))
    at, made = draw(st.integers(0, DAY_US)), 0
    rows = [(at, count, made)]
    for _ in range(draw(st.integers(1, 25))):
        parts = draw(st.integers(0, 30))
        pause_s = draw(st.integers(1, 4000))
        at += int(parts * CYCLE_S * 1e6) + pause_s * 1_000_000
        made += parts
        count += parts
        if limit is not None and count > limit:
            count -= limit + 1
        elif (mixed or limit is None) and draw(st.integers(0, 5)) == 0:
            count = draw(st.integers(0, parts))  # set to zero while these were made
        rows.append((at, count, made))
    return rows


def arrival(draw, rows):
    """The rows shuffled, some twice, cut into batches."""
    sent = draw(st.permutations(rows + draw(st.lists(st.sampled_from(rows), max_size=8))))
    batches, start = [], 0
    while start < len(sent):
        size = draw(st.integers(1, 12))
        batches.append(sent[start : start + size])
        start += size
    return batches


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_order_repetition_and_batching_gives_the_totals_of_the_sorted_set(data):
    rows = data.draw(clean_readings())
    at_once, piecemeal = Ledger(), Ledger()

    at_once.take([row[0] for row in rows], [row[1] for row in rows])
    for batch in arrival(data.draw, rows):
        piecemeal.take([row[0] for row in batch], [row[1] for row in batch])

    assert not at_once.refused
    assert not piecemeal.refused
    assert np.array_equal(at_once.rows, piecemeal.rows)


@settings(max_examples=100, deadline=None)
@given(clean_readings(mixed=False))
def test_no_part_is_lost_and_none_made_up(rows):
    ledger = Ledger()

    ledger.take([row[0] for row in rows], [row[1] for row in rows])

    # A counter near its end rolls over and every part is counted; one that is set to zero
    # shows the parts since then. Told by a plain loop, apart from the module.
    ends = [limit for limit in LIMITS if 0 <= limit - rows[0][1] <= 40]
    expected = [rows[0][1]]
    for (_, before, made_before), (_, after, made_after) in pairwise(rows):
        if ends:
            expected.append(expected[-1] + made_after - made_before)
        else:
            expected.append(expected[-1] + (after - before if after >= before else after))
    assert ledger.rows[:, 3].tolist() == expected
    drops = np.diff(ledger.rows[:, 1]) < 0
    assert np.array_equal(np.diff(ledger.rows[:, 2]), drops)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_wild_reading_is_kept_aside_and_costs_no_other(data):
    rows = data.draw(clean_readings().filter(lambda rows: len(rows) >= 4))
    place = data.draw(st.integers(1, len(rows) - 2))
    wild_at = (rows[place][0] + rows[place + 1][0]) // 2
    wild = data.draw(st.integers(2_000_000, 10**9))
    clean, dirty = Ledger(), Ledger()
    clean.take([row[0] for row in rows], [row[1] for row in rows])
    sent = data.draw(
        st.permutations([*[(at, count) for at, count, _ in rows], (wild_at, wild)])
    )

    dirty.take([at for at, _ in sent], [count for _, count in sent])

    assert [row.reason for row in dirty.refused] == ["too_fast"]
    assert sent[dirty.refused[0].index] == (wild_at, wild)
    assert np.array_equal(clean.rows, dirty.rows)


@settings(max_examples=100, deadline=None)
@given(clean_readings(), st.lists(st.integers(-DAY_US, 30 * DAY_US), min_size=2, max_size=8))
def test_neighbouring_intervals_add_up_to_the_whole(rows, cuts):
    ledger = Ledger()
    ledger.take([row[0] for row in rows], [row[1] for row in rows])
    at, total = ledger.rows[:, 0], ledger.rows[:, 3]
    edges = np.sort(np.array([*cuts, at[0], at[-1]]))

    output = machine_output(at, total, np.full(at.size, NO_RUN), [], [])
    pieces = np.diff(output.total_at(edges))

    assert (pieces >= 0).all()
    assert pieces.sum() == total[-1] - total[0]
    assert np.array_equal(output.total_at(at), total)
