"""Station, holder or gauge: told apart where the data can, and not where they cannot."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from crib.errors import OutsideModel
from crib.metrology.causes import (
    GAUGE_DEVIATION_MM,
    GAUGE_DRIFT_MM_PER_DAY,
    HOLDER_DEVIATION_MM,
    Residual,
    diagnose,
)
from crib.metrology.datum_noise import RECORD_DEVIATION_MM

START = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


def floor(
    seed: int, count: int, cause: str, seen: int, change_mm: float = 0.05
) -> list[Residual]:
    """Tools of an invented shop; the last ``seen`` saw a change of the newest one's cause."""
    draw = np.random.default_rng(seed)
    datum = draw.normal(0, 0.03, 4)
    found = []
    for number in range(count):
        names = [int(draw.integers(most)) for most in (4, 6, 2)]
        if number == count - 1:
            names = [0, 0, 0]
        changed = (
            number >= count - seen and names[("station", "holder", "gauge").index(cause)] == 0
        )
        found.append(
            Residual(
                float(datum[names[0]] + draw.normal(0, 0.004) + changed * change_mm),
                0.004,
                f"M1/T0{names[0]}",
                f"TH-{names[1]}",
                f"PG-{names[2]}",
                START + timedelta(hours=5 * number),
            )
        )
    return found


@pytest.mark.parametrize("cause", ["station", "holder", "gauge"])
@pytest.mark.parametrize("seed", range(5))
def test_a_change_that_many_tools_saw_is_named(cause: str, seed: int) -> None:
    told = diagnose(floor(seed, 80, cause, 30))

    assert told.clear is not None
    assert told.clear.cause == cause
    assert told.clear.change_mm == pytest.approx(0.05, abs=4 * told.clear.change_sd_mm)
    assert told.clear.change_sd_mm < 0.01


def test_without_a_change_chance_is_enough() -> None:
    told = [diagnose(floor(seed, 80, "station", 0)) for seed in range(40)]

    assert sum(one.clear is not None for one in told) <= 2
    assert sum(one.chance > 0.5 for one in told) >= 30


def test_one_holder_that_only_ever_sat_in_one_station_cannot_be_told_apart() -> None:
    row = Residual(0.0, 0.004, "M1/T01", "TH-1", None, START)
    rows = [row] * 10 + [replace(row, residual_mm=0.06)] * 5

    told = diagnose(rows)

    assert told.clear is None
    assert {one.cause for one in told.causes} == {"station", "holder"}
    assert told.odds == pytest.approx(1.0)
    assert told.chance < 0.01


def test_one_first_off_alone_never_says_which() -> None:
    rows = floor(1, 60, "station", 1, change_mm=0.2)

    told = diagnose(rows)

    assert told.clear is None
    assert told.chance < 0.01


def test_a_gauge_that_passed_its_check_went_off_only_after_it() -> None:
    rows = floor(2, 60, "gauge", 25)
    checked = rows[-1].measured_at - timedelta(hours=1)
    fresh = [replace(one, gauge_checked_at=None) for one in rows[:-1]]
    fresh.append(replace(rows[-1], gauge_checked_at=checked))

    told = diagnose(fresh)

    gauge = next(one for one in told.causes if one.cause == "gauge")
    assert gauge.first_offs == 1  # the preset after the check is the only one that can tell
    before = next(one for one in diagnose(rows).causes if one.cause == "gauge")
    assert before.first_offs > 5
    assert gauge.probability < before.probability


def test_the_odds_are_those_of_dense_normals() -> None:
    # the density of each hypothesis from its whole covariance, by a general library
    rows = [
        Residual(0.01, 0.004, "A", "1", "G", START, START - timedelta(days=1)),
        Residual(0.02, 0.003, "B", "1", "G", START + timedelta(days=1)),
        Residual(-0.01, 0.004, "A", "2", None, START + timedelta(days=1)),
        Residual(0.05, 0.005, "A", "1", None, START + timedelta(days=2)),
    ]
    values = [one.residual_mm for one in rows]

    def cov() -> np.ndarray:
        found = np.zeros((4, 4))
        for i, one in enumerate(rows):
            for j, other in enumerate(rows):
                found[i, j] += RECORD_DEVIATION_MM**2 * (one.station == other.station)
                found[i, j] += HOLDER_DEVIATION_MM**2 * (one.holder == other.holder)
            found[i, i] += one.sd_mm**2
        found[:2, :2] += GAUGE_DEVIATION_MM**2
        found[0, 0] += GAUGE_DRIFT_MM_PER_DAY**2  # one day after its check
        return found

    def density(seen: list[list[int]]) -> float:
        found = []
        for who in seen:
            shift = np.zeros(4)
            shift[who] = 1
            for size in (0.01, 0.03, 0.1, 0.3):
                more = cov() + size**2 * np.outer(shift, shift)
                found.append(multivariate_normal(np.zeros(4), more).logpdf(values))
        return float(np.logaddexp.reduce(found) - math.log(len(found)))

    logs = {
        "chance": float(multivariate_normal(np.zeros(4), cov()).logpdf(values)),
        "station": density([[0, 2, 3], [2, 3], [3]]),
        "holder": density([[0, 1, 3], [1, 3], [3]]),
    }
    total = np.logaddexp.reduce(list(logs.values()))

    told = diagnose(rows)

    assert told.chance == pytest.approx(math.exp(logs["chance"] - total), rel=1e-9)
    for one in told.causes:
        assert one.probability == pytest.approx(math.exp(logs[one.cause] - total), rel=1e-9)


def test_what_is_no_residual_is_refused() -> None:
    row = Residual(0.0, 0.004, "M1/T01", "TH-1", None, START)

    with pytest.raises(OutsideModel, match="no first-offs"):
        diagnose([])
    with pytest.raises(OutsideModel, match="finite"):
        diagnose([replace(row, residual_mm=math.nan)])
    with pytest.raises(OutsideModel, match="above zero"):
        diagnose([replace(row, sd_mm=0.0)])


def test_as_many_have_seen_a_change_as_came_since_it() -> None:
    def residual(number: int, off_mm: float) -> Residual:
        at = START + timedelta(hours=number)
        return Residual(off_mm, 0.004, "M1/T01", f"TH-{number}", None, at)

    quiet = [residual(number, 0.0) for number in range(9)]
    told = diagnose([*quiet, *(residual(9 + number, 0.08) for number in range(3))])

    assert told.clear is not None
    assert (told.clear.cause, told.clear.first_offs) == ("station", 3)
