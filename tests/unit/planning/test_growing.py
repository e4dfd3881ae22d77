"""What grows is what would have been laid out at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.planning.growing import GrowingColumn
from crib.planning.growing_output import GrowingOutput, RunSpan
from crib.planning.output import output_of_runs, run_windows

SECOND = 1_000_000


@given(st.lists(st.lists(st.integers(-(2**60), 2**60), max_size=90), max_size=12))
def test_a_column_is_all_that_was_put_in_and_what_was_given_out_stays(pieces):
    column = GrowingColumn(np.array([7], dtype=np.int64))
    given_out = []
    whole = [7]
    for piece in pieces:
        column.append(np.array(piece, dtype=np.int64))
        whole += piece
        given_out.append((column.all(), list(whole)))

    assert all(view.tolist() == then for view, then in given_out)
    with pytest.raises(ValueError, match="read-only"):
        column.all()[0] = 1


def at_once(readings, runs, until_us):
    windows = run_windows(
        [run.began_us for run in runs], [run.stopped_us for run in runs], until_us
    )
    return output_of_runs(*readings, [run.run_id for run in runs], windows)


@st.composite
def histories(draw):
    """Readings, runs that begin between or at them, and how far each look sees."""
    size = draw(st.integers(1, 40))
    steps = draw(st.lists(st.integers(1, 50), min_size=size, max_size=size))
    at_us = np.cumsum(steps) * SECOND
    total = np.cumsum(draw(st.lists(st.integers(0, 9), min_size=size, max_size=size)))
    named = np.array(
        draw(st.lists(st.sampled_from([0, 0, 0, 11, 12]), min_size=size, max_size=size))
    )
    began = sorted(
        draw(st.lists(st.integers(0, int(sum(steps))), min_size=0, max_size=4, unique=True))
    )
    runs = [
        RunSpan(
            10 + place,
            start * SECOND,
            draw(st.none() | st.integers(start, start + 200).map(lambda s: s * SECOND)),
        )
        for place, start in enumerate(began)
    ]
    looks = draw(st.lists(st.integers(0, size), min_size=1, max_size=8))
    return (at_us, total, named), runs, looks


@given(histories(), st.booleans())
def test_looks_one_after_the_other_see_what_one_look_sees(history, in_order):
    readings, runs, looks = history
    growing = GrowingOutput()
    for seen in sorted(looks) if in_order else looks:
        cut = tuple(column[:seen] for column in readings)
        until_us = int(cut[0][-1]) if seen else 0
        begun = [run for run in runs if run.began_us <= until_us]

        made = growing.output(cut, begun, until_us, 0)

        whole = at_once(cut, begun, until_us)
        for name in ("at_us", "total", "run"):
            assert getattr(made, name).tolist() == getattr(whole, name).tolist()
        if seen:
            assert made.corners.tolist() == whole.corners.tolist()


def test_a_new_epoch_forgets_what_was_laid_out():
    growing = GrowingOutput()
    at_us, named = np.array([0, 10, 20]) * SECOND, np.zeros(3, dtype=np.int64)
    growing.output((at_us, np.array([0, 5, 9]), named), [], 20 * SECOND, 1)

    renumbered = growing.output((at_us, np.array([0, 7, 12]), named), [], 20 * SECOND, 2)

    assert renumbered.total.tolist() == [0, 7, 12]
