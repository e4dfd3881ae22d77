"""The demo's stations: the same for a seed, slow between mounts, knocked now and then."""

from __future__ import annotations

import numpy as np

from crib.demo.first_offs import StationTruth


def test_a_seed_gives_the_same_stations_and_each_its_own() -> None:
    one, same, other = StationTruth(1), StationTruth(1), StationTruth(2)
    first = [one.off_um("L1/T01") for _ in range(5)]

    one.off_um("L1/T02")
    assert [same.off_um("L1/T01") for _ in range(5)] == first
    assert [other.off_um("L1/T01") for _ in range(5)] != first
    assert same.off_um("L1/T02") not in first


def test_a_station_hardly_moves_but_for_a_knock() -> None:
    truth = StationTruth(3)
    off = np.array([truth.off_um("L1/T01") for _ in range(4_000)])
    moves = np.abs(np.diff(off))
    knocks = moves[moves > 20]

    assert np.std(np.diff(off)[moves <= 20]) < 1.2
    # about one in 250 mounts: 16 of 4,000, give or take four deviations
    assert 2 <= knocks.size <= 32
    assert knocks.max() < 100
