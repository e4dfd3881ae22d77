"""A calculation whose result is no number is refused in words, not answered with null."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from marshmallow import Schema, fields

from api.http.length_unit import NO_INCHES
from api.http.reckoning import reckon, refuse_lost_numbers
from crib.errors import OutsideModel


class Step(Schema):
    wear = fields.Float()
    note = fields.String()


class Curve(Schema):
    life = fields.Float()
    spare = fields.Float(allow_none=True)
    shares = fields.List(fields.Float())
    first = fields.Nested(Step)
    steps = fields.List(fields.Nested(Step))


def said(what: str) -> str:
    return (
        f"These figures are too large or too small together: {what}. Check the sizes and their "
        "units."
    )


def test_a_result_is_handed_on():
    assert reckon(lambda: 42) == 42


@pytest.mark.parametrize(
    "calculation",
    [
        lambda: 1 / 0,
        lambda: math.exp(1e6),
        lambda: np.exp(np.array([1e6])),
        lambda: np.array([1.0]) / np.array([0.0]),
        lambda: np.array([0.0]) / np.array([0.0]),
    ],
)
def test_what_divides_by_zero_or_overflows_is_refused(calculation):
    with pytest.raises(OutsideModel) as refused:
        reckon(calculation)

    assert str(refused.value) == said("the result is out of range")


def test_a_result_that_runs_to_zero_is_one():
    assert reckon(lambda: np.exp(np.array([-1e6]))) == [0.0]


@pytest.mark.parametrize(
    "printed",
    [
        {"life": 1.0, "spare": None, "shares": [], "first": {"wear": 0.1, "note": None}},
        {"shares": [0.5], "steps": [{"wear": 0.1}], "unknown": None},
        {"first": None, "steps": None, "shares": None},
    ],
)
def test_an_answer_with_every_promised_number_goes_out(printed: dict[str, Any]):
    refuse_lost_numbers(Curve(), printed)


@pytest.mark.parametrize(
    ("printed", "lost"),
    [
        ({"life": None}, "life"),
        ({"life": NO_INCHES}, "life"),
        ({"life": 1.0, "shares": [0.5, None]}, "shares"),
        ({"first": {"wear": None}}, "wear"),
        ({"steps": [{"wear": 1.0}, {"note": None, "wear": None}]}, "wear"),
        ({"life": None, "first": {"wear": None}}, "life"),
    ],
)
def test_the_first_number_that_was_lost_is_named(printed: dict[str, Any], lost: str):
    with pytest.raises(OutsideModel) as refused:
        refuse_lost_numbers(Curve(), printed)

    assert str(refused.value) == said(f"{lost} cannot be calculated")
