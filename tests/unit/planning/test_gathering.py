"""Which swaps share a stop: against every way to share them, and by hand."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.planning.gathering import StopTable, gather, join_stops
from crib.planning.stops_ahead import (
    BAR_CHANGE,
    CHANGEOVER,
    KINDS,
    NO_STOPS,
    OWN,
    SHIFT_START,
    STOP_MINUTES,
    TOOL_SWAP,
    Stops,
)

MINUTE = 1.0


def _stops(*pairs):
    if not pairs:
        return NO_STOPS
    seconds, kinds = zip(*sorted(pairs), strict=True)
    return Stops(np.array(seconds, dtype=float), np.array(kinds, dtype=np.int64))


def _cost(own, bend):
    """What coming forward gives away: a parabola from the own second."""
    return lambda rows, seconds: bend[rows] * (own[rows] - seconds) ** 2


def _whole_cost(stops, own, times, move):
    """All that a choice costs: each stop once, every edge what it gives away."""
    made = {float(s): STOP_MINUTES[k] for s, k in zip(stops.seconds, stops.kind, strict=True)}
    paid = sum(made.get(time, STOP_MINUTES[OWN]) for time in set(times)) * MINUTE
    rows = np.arange(len(own))
    return paid + float(move(rows, np.array(times, dtype=float)).sum())


def _least(stops, own, nearest, move):
    """The least cost over every choice of times: own points of all and every stop."""
    times = sorted({*own.tolist(), *stops.seconds.tolist()})
    allowed = [
        [t for t in times if near <= t <= mine] for near, mine in zip(nearest, own, strict=True)
    ]
    return min(_whole_cost(stops, own, chosen, move) for chosen in itertools.product(*allowed))


def _random_case(rng, count):
    own = rng.integers(20, 60, count).astype(float)
    nearest = own - rng.integers(0, 25, count)
    bend = rng.choice([0.001, 0.01, 0.05, 0.3], count)
    seconds = rng.choice(np.arange(5, 60), rng.integers(0, 4), replace=False)
    kinds = rng.choice([BAR_CHANGE, SHIFT_START, CHANGEOVER], len(seconds))
    return own, nearest, bend, _stops(*zip(seconds.tolist(), kinds.tolist(), strict=True))


@pytest.mark.parametrize("seed", range(60))
def test_no_other_sharing_of_stops_costs_less(seed):
    rng = np.random.default_rng(seed)
    own, nearest, bend, stops = _random_case(rng, int(rng.integers(1, 6)))
    move = _cost(own, bend)

    found = gather(
        StopTable([stops]), np.zeros(len(own), dtype=np.int64), own, nearest, MINUTE, move
    )

    assert (found.seconds <= own).all()
    assert (found.seconds >= np.minimum(nearest, own)).all()
    got = _whole_cost(stops, own, found.seconds.tolist(), move)
    assert got == pytest.approx(_least(stops, own, nearest, move), rel=1e-9)


def test_machines_side_by_side_do_not_share():
    rng = np.random.default_rng(5)
    cases = [_random_case(rng, n) for n in (1, 4, 2, 5, 3)]
    own = np.concatenate([case[0] for case in cases])
    nearest = np.concatenate([case[1] for case in cases])
    bend = np.concatenate([case[2] for case in cases])
    machine = np.repeat(np.arange(5), [len(case[0]) for case in cases])
    mixed = rng.permutation(len(own))

    together = gather(
        StopTable([case[3] for case in cases]),
        machine[mixed],
        own[mixed],
        nearest[mixed],
        MINUTE,
        _cost(own[mixed], bend[mixed]),
    )

    back = np.empty(len(own))
    back[mixed] = together.seconds
    for number, (mine, near, bent, stops) in enumerate(cases):
        alone = gather(
            StopTable([stops]),
            np.zeros(len(mine), dtype=np.int64),
            mine,
            near,
            MINUTE,
            _cost(mine, bent),
        )
        assert back[machine == number].tolist() == alone.seconds.tolist()


def _gathered(own, nearest, bend, *pairs):
    own, nearest = np.array(own, dtype=float), np.array(nearest, dtype=float)
    found = gather(
        StopTable([_stops(*pairs)]),
        np.zeros(len(own), dtype=np.int64),
        own,
        nearest,
        MINUTE,
        _cost(own, np.full(len(own), bend)),
    )
    return found.seconds.tolist(), [KINDS[kind] for kind in found.kind]


def test_two_swaps_close_together_are_made_at_one_stop():
    assert _gathered([100, 104], [0, 0], 0.01) == ([100, 100], ["own", "tool_swap"])


def test_a_swap_whose_life_is_worth_more_than_the_stop_stays():
    assert _gathered([100, 140], [0, 0], 0.01) == ([100, 140], ["own", "own"])


def test_a_swap_that_is_not_near_stays_even_where_it_would_pay():
    assert _gathered([100, 104], [0, 102], 0.01) == ([100, 104], ["own", "own"])


def test_a_changeover_saves_the_whole_stop():
    stops = (80, CHANGEOVER), (95, BAR_CHANGE)

    # 2.8 given away and nothing paid, against 0.175 and 3 minutes; then 4 against 3.25
    assert _gathered([100], [0], 0.007, *stops) == ([80], ["changeover"])
    assert _gathered([100], [0], 0.01, *stops) == ([95], ["bar_change"])


def test_without_worth_of_a_minute_nothing_moves():
    own = np.array([100.0, 101.0])
    found = gather(
        StopTable([_stops((99, CHANGEOVER))]),
        np.zeros(2, dtype=np.int64),
        own,
        own - 50,
        0.0,
        _cost(own, np.full(2, 0.01)),
    )

    assert found.seconds.tolist() == own.tolist()


def test_later_swaps_join_a_stop_that_others_make():
    own, zero = np.array([100.0, 100.0]), np.zeros(2, dtype=np.int64)
    table = StopTable([_stops((50, BAR_CHANGE))]).joined(TOOL_SWAP, [np.array([98.0, 400.0])])
    move = _cost(own, np.array([0.01, 10.0]))

    found = join_stops(table, zero, own, own - 60, MINUTE, move)

    assert found.seconds.tolist() == [98.0, 100.0]
    assert [KINDS[kind] for kind in found.kind] == ["tool_swap", "own"]


@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.booleans())
@settings(max_examples=25)
def test_a_swap_that_joins_a_stop_is_made_at_a_stop_of_that_kind(seed, machines, one_by_one):
    rng = np.random.default_rng(seed)
    kinds = [BAR_CHANGE, SHIFT_START, CHANGEOVER] + [TOOL_SWAP] * one_by_one
    stops = [
        _stops(*((float(rng.uniform(0, 9_000)), int(rng.choice(kinds))) for _ in range(number)))
        for number in rng.integers(0, 7, machines)
    ]
    machine = rng.integers(0, machines, rng.integers(1, 9))
    own = rng.uniform(0, 10_000, len(machine)).round(int(rng.integers(0, 4)))
    nearest = own - rng.uniform(0, 6_000, len(machine))
    move = _cost(own, np.full(len(machine), 1e-7))

    share = join_stops if one_by_one else gather
    found = share(StopTable(stops), machine, own, nearest, MINUTE, move)

    for row in np.flatnonzero(found.kind != OWN).tolist():
        here, kind = stops[machine[row]], found.kind[row]
        of_kind = here.seconds[here.kind == kind]
        if kind == TOOL_SWAP and not one_by_one:  # of a tool whose own point it is
            of_kind = own[(machine == machine[row]) & (found.kind == OWN)]
        assert np.abs(of_kind - found.seconds[row]).min(initial=np.inf) < 1e-5, KINDS[kind]
