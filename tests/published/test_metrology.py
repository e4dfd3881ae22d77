"""Our spreads, uncertainties and verdicts against printed ones."""

import json
from pathlib import Path

import pytest

from crib.metrology.budget import Contribution, work_out_budget
from crib.metrology.drift import study_drift
from crib.metrology.gauge_check import check_gauge
from crib.metrology.outliers import find_outlier, grubbs_critical
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


def test_twenty_repeats_give_the_table_of_the_guide(agrees):
    row = ROWS["m-01"]

    statistics = sample_statistics(row["inputs"]["data"])

    for name, ours in (
        ("mean", statistics.mean),
        ("s", statistics.standard_deviation),
        ("u", statistics.type_a),
    ):
        agrees(row, name, row["expected"][name], ours, row["tolerance"][name])


@pytest.mark.parametrize("name", ["numacc1", "numacc2", "numacc3", "numacc4"])
def test_a_small_spread_on_a_large_value_keeps_its_digits(agrees, name):
    row = ROWS[name]
    inputs = row["inputs"]
    data = inputs.get("data") or [inputs["first"], *inputs["pair"] * inputs["pairs"]]

    statistics = sample_statistics(data)

    for key, ours in (("mean", statistics.mean), ("s", statistics.standard_deviation)):
        agrees(row, key, row["expected"][key], ours, row["tolerance"][key])


@pytest.mark.parametrize(("level", "tag"), [(0.95, "t95"), (0.9545, "t9545")])
@pytest.mark.parametrize("freedom", [4, 9, 19])
def test_coverage_factors_are_those_of_the_guide(agrees, level, tag, freedom):
    row = ROWS["m-04"]
    name = f"{tag}_{freedom}"

    ours = coverage_factor(freedom, level)

    agrees(row, name, row["expected"][name], ours, row["tolerance"][name])


def test_the_worked_study_of_a_gauge_is_reproduced(agrees):
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
        agrees(row, key, expected[key], value, tolerance[key])
    agrees(row, "ndc", expected["ndc"], result.distinct_categories)


def test_gauge_indices_follow_their_definition(agrees):
    row = ROWS["m-06"]
    inputs = row["inputs"]

    check = check_gauge(
        [round(value * 10_000) for value in inputs["data"]],
        round(inputs["master"] * 10_000),
        round(inputs["T"] * 10_000),
    )

    expected, tolerance = row["expected"], row["tolerance"]
    for key, value in (
        ("s", check.standard_deviation_mm),
        ("bias", check.bias_mm),
        ("Cg", check.cg),
        ("Cgk", check.cgk),
    ):
        agrees(row, key, expected[key], value, tolerance[key])
    assert check.valid


def test_the_guard_band_takes_the_uncertainty_off_both_limits(agrees):
    row = ROWS["m-08"]
    limits = row["inputs"]

    zone = acceptance_zone(limits["lower"], limits["upper"], limits["U"])
    verdicts = [
        conforms(value, limits["lower"], limits["upper"], limits["U"])
        for value in limits["values"]
    ]

    for name, printed, ours in zip(("from", "to"), row["expected"]["zone"], zone, strict=True):
        agrees(row, f"zone {name}", printed, ours, 1e-12)
    agrees(row, "accept", row["expected"]["accept"], verdicts)


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7, 8, 9, 10, 15, 20])
def test_critical_values_for_an_outlier_are_those_of_the_standard(agrees, n):
    row = ROWS["grubbs-critical"]
    name = f"n{n}"

    agrees(row, name, row["expected"][name], grubbs_critical(n), row["tolerance"][name])


def test_the_outlier_of_the_handbook_is_named(agrees):
    row = ROWS["grubbs-example"]
    expected, tolerance = row["expected"], row["tolerance"]

    found = find_outlier(row["inputs"]["data"])

    assert found is not None
    agrees(row, "reading", expected["reading"], found.reading)
    agrees(row, "G", expected["G"], found.grubbs, tolerance["G"])
    one_sided = grubbs_critical(8, significance=0.10)
    agrees(row, "critical", expected["critical"], one_sided, tolerance["critical"])


def test_the_budget_of_the_guide_is_reproduced(agrees):
    row = ROWS["gum-h1"]
    inputs, expected, tolerance = row["inputs"], row["expected"], row["tolerance"]

    budget = work_out_budget(
        [
            Contribution(name, value, degrees_of_freedom=freedom)
            for name, value, freedom in inputs["contributions_nm"]
        ],
        inputs["level"],
    )

    for name, ours in (
        ("u_nm", budget.combined),
        ("freedom", budget.effective_degrees_of_freedom),
        ("factor", budget.coverage_factor),
        ("U_nm", budget.expanded),
    ):
        agrees(row, name, expected[name], ours, tolerance[name])


def test_the_calibration_line_of_the_guide_is_reproduced(agrees):
    row = ROWS["gum-h3"]
    inputs, expected, tolerance = row["inputs"], row["expected"], row["tolerance"]

    line = study_drift(inputs["t"], inputs["b"], inputs["limit"])

    back = (inputs["t0"] - max(inputs["t"])) * line.slope_mm_per_day
    for name, ours in (
        ("intercept", line.bias_mm + back),
        ("slope", line.slope_mm_per_day),
        ("slope_se", line.slope_se_mm_per_day),
        ("s", line.residual_mm),
    ):
        agrees(row, name, expected[name], ours, tolerance[name])
