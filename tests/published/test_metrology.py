"""Our spreads, uncertainties and verdicts against printed ones."""

import json
from pathlib import Path

import numpy as np
import pytest

from crib.metrology.gauge_check import check_gauge
from crib.metrology.repeatability import study
from crib.metrology.uncertainty import (
    acceptance_zone,
    conforms,
    coverage_factor,
    sample_statistics,
)

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[2] / "fixtures/published/metrology.json").read_text("utf-8")
    )
}


def test_twenty_repeats_give_the_table_of_the_guide():
    row = ROWS["m-01"]

    statistics = sample_statistics(row["inputs"]["data"])

    expected, tolerance = row["expected"], row["tolerance"]
    assert float(statistics.mean) == pytest.approx(expected["mean"], abs=tolerance["mean"])
    assert float(statistics.standard_deviation) == pytest.approx(
        expected["s"], abs=tolerance["s"]
    )
    assert float(statistics.type_a) == pytest.approx(expected["u"], abs=tolerance["u"])


@pytest.mark.parametrize("name", ["numacc1", "numacc2", "numacc3", "numacc4"])
def test_a_small_spread_on_a_large_value_keeps_its_digits(name):
    row = ROWS[name]
    inputs = row["inputs"]
    data = inputs.get("data") or [inputs["first"], *inputs["pair"] * inputs["pairs"]]

    statistics = sample_statistics(data)

    assert abs(float(statistics.mean) - row["expected"]["mean"]) <= row["tolerance"]["mean"]
    assert (
        abs(float(statistics.standard_deviation) - row["expected"]["s"])
        <= row["tolerance"]["s"]
    )


@pytest.mark.parametrize(("level", "tag"), [(0.95, "t95"), (0.9545, "t9545")])
@pytest.mark.parametrize("freedom", [4, 9, 19])
def test_coverage_factors_are_those_of_the_guide(level, tag, freedom):
    row = ROWS["m-04"]
    printed = row["expected"][f"{tag}_{freedom}"]

    assert coverage_factor(freedom, level) == pytest.approx(
        printed, abs=row["tolerance"][f"{tag}_{freedom}"]
    )


def test_the_worked_study_of_a_gauge_is_reproduced():
    row = ROWS["m-05"]
    data = row["inputs"]["data"]

    result = study([data["A"], data["B"], data["C"]])

    expected, tolerance = row["expected"], row["tolerance"]
    for key, value in (
        ("Rbar", result.mean_range),
        ("EV", result.repeatability),
        ("AV", result.reproducibility),
        ("GRR", result.gauge),
        ("PV", result.pieces),
        ("TV", result.total),
        ("GRR_pct", result.gauge_share_pct),
    ):
        assert value == pytest.approx(expected[key], abs=tolerance[key]), key
    assert result.distinct_categories == expected["ndc"]


def test_gauge_indices_follow_their_definition():
    row = ROWS["m-06"]
    inputs = row["inputs"]

    check = check_gauge(
        [round(value * 10_000) for value in inputs["data"]],
        round(inputs["master"] * 10_000),
        round(inputs["T"] * 10_000),
    )

    expected, tolerance = row["expected"], row["tolerance"]
    assert check.standard_deviation_mm == pytest.approx(expected["s"], abs=tolerance["s"])
    assert check.bias_mm == pytest.approx(expected["bias"], abs=tolerance["bias"])
    assert check.cg == pytest.approx(expected["Cg"], abs=tolerance["Cg"])
    assert check.cgk == pytest.approx(expected["Cgk"], abs=tolerance["Cgk"])
    assert check.valid


def test_the_guard_band_takes_the_uncertainty_off_both_limits():
    row = ROWS["m-08"]
    limits = row["inputs"]

    zone = acceptance_zone(limits["lower"], limits["upper"], limits["U"])
    verdicts = [
        conforms(value, limits["lower"], limits["upper"], limits["U"])
        for value in limits["values"]
    ]

    assert np.allclose(zone, row["expected"]["zone"], rtol=0, atol=1e-12)
    assert verdicts == row["expected"]["accept"]
