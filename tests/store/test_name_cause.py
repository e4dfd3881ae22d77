"""What is said of the cause of a first-off that jumped."""

from datetime import UTC, datetime, timedelta

import pytest

from crib.acts.name_cause import cause_sentence
from crib.metrology.causes import Residual, diagnose

START = datetime(2026, 1, 5, 6, tzinfo=UTC)


def _said(last_mm: float) -> str:
    """Twenty quiet first-offs of four stations and five holders, and one that is not."""
    off = [0.001 * (-1) ** number for number in range(20)] + [last_mm]
    rows = [
        Residual(
            residual_mm=mm,
            sd_mm=0.004,
            station=f"M1/T0{number % 4}",
            holder=f"TH-{number % 5}",
            gauge="PG-1",
            measured_at=START + timedelta(hours=number),
        )
        for number, mm in enumerate(off)
    ]
    return cause_sentence(diagnose(rows), rows, "LF")


@pytest.mark.parametrize("last_mm", [5.0, -5.0, 500.0])
def test_no_worn_seat_is_blamed_for_millimetres(last_mm):
    said = _said(last_mm)

    assert "mistyped" in said
    assert "do not run on it" in said
    assert "Most likely" not in said


def test_a_few_hundredths_have_a_cause():
    assert "mistyped" not in _said(0.05)
    assert "TH-0" in _said(0.05)
