"""Curves are made once and given again."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait
from threading import Event

import numpy as np

from crib.arrays import Ints
from crib.life.curves import NODES, Curves
from crib.life.kept_curves import MOST_KEPT, KeptCurves


def _make(asked: list[list[int]]):
    def make(codes: Ints) -> Curves:
        asked.append(codes.tolist())
        return Curves(codes * 10.0, np.repeat(codes[:, None] * 1.0, NODES, axis=1))

    return make


def test_only_curves_that_were_not_asked_for_before_are_made():
    asked: list[list[int]] = []
    kept = KeptCurves()

    kept.of(np.array([1, 4]), 6, _make(asked))
    second = kept.of(np.array([0, 1, 4]), 6, _make(asked))

    assert asked == [[1, 4], [0]]
    assert second.centre.tolist() == [0.0, 10.0, 40.0]
    assert second.log_hazard[:, 7].tolist() == [0.0, 1.0, 4.0]


def test_a_large_shop_keeps_no_curves():
    asked: list[list[int]] = []
    kept = KeptCurves()
    for _ in range(2):
        kept.of(np.array([3]), MOST_KEPT + 1, _make(asked))

    assert asked == [[3], [3]]


def test_a_thread_that_asks_while_another_makes_waits_for_what_is_made():
    kept, asked = KeptCurves(), list[list[int]]()
    make, begun, go = _make(asked), Event(), Event()

    def slowly(codes: Ints) -> Curves:
        begun.set()
        go.wait(10)
        return make(codes)

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(kept.of, np.arange(5), 5, slowly)
        assert begun.wait(10)
        second = pool.submit(kept.of, np.arange(5), 5, make)
        wait([second], 0.1)
        go.set()

    assert asked == [[0, 1, 2, 3, 4]]
    assert first.result().centre.tolist() == second.result().centre.tolist()
