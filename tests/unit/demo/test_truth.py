"""The hidden truth of the demo: edges wear and lands grow by laws of its own."""

from __future__ import annotations

import ast
import statistics
from itertools import pairwise
from pathlib import Path

import pytest

import crib.demo.truth as module
from crib.demo.parts import PARTS
from crib.demo.truth import Edge, Truth, minutes_in_cut


def test_nothing_of_the_predictor_is_used():
    tree = ast.parse(Path(module.__file__).read_text())
    used = {
        name
        for node in ast.walk(tree)
        for name in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else []
        )
    }
    assert not [name for name in used if name.startswith(("crib.life", "crib.planning"))]
    assert not [name for name in used if name.startswith("crib.cutting")]


def test_a_land_runs_in_grows_and_runs_away():
    edge = Edge(stands=1.0, chips_at=9.0, breaks=False)
    lands = []
    for hundredth in range(0, 126, 5):
        edge.used = hundredth / 100
        lands.append(edge.land(0.2))
    growth = [after - before for before, after in pairwise(lands)]

    assert lands[0] == pytest.approx(0.0, abs=1e-5)
    assert all(step > 0 for step in growth)
    assert growth[0] > 2 * growth[10] < growth[-1]
    edge.used = 1.0
    assert edge.land(0.2) == pytest.approx(0.2, rel=0.01)


def test_an_edge_fails_by_what_comes_first():
    worn = Edge(stands=1.0, chips_at=2.0, breaks=True, used=1.01)
    chipped = Edge(stands=1.0, chips_at=0.4, breaks=False, used=0.41)
    young = Edge(stands=1.0, chips_at=2.0, breaks=True, used=0.99)

    assert worn.failed
    assert not worn.chipped
    assert chipped.failed
    assert chipped.chipped
    assert not young.failed


def test_edges_of_a_box_differ_less_than_those_of_all_boxes():
    truth = Truth(1)
    boxes = [
        [truth.edge("DC11-04-P", f"box {box}", number).stands for number in range(40)]
        for box in range(40)
    ]
    within = statistics.mean(statistics.variance(box) for box in boxes)
    everything = statistics.variance([stands for box in boxes for stands in box])

    assert within < everything < 2 * within
    assert statistics.median(min(box) for box in boxes) > 0.4


def test_the_same_seed_draws_the_same_edge_and_another_seed_another():
    one, same, other = (Truth(seed).edge("TAP-M5", "A", 3) for seed in (1, 1, 2))
    assert one == same != other


def test_every_tool_of_every_part_lasts_several_nights_and_some_months_at_most():
    truth = Truth(1)
    for mark, part in PARTS.items():
        for op in part.ops:
            parts = 1 / truth.per_part(mark, op.tool)
            hours = parts * part.cycle_s / 3600
            assert 40 < hours < 4_000, (mark, op)


def test_a_part_is_not_cut_longer_than_its_cycle():
    for part in PARTS.values():
        seconds = sum(60 * minutes_in_cut(op, 12_000)[0] for op in part.ops)
        assert seconds < part.cycle_s
