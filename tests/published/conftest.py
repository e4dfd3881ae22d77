"""Our numbers against printed ones: one way to compare, and a table of every comparison."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

_HERE = Path(__file__).parent
_AGREED: list[dict[str, str]] = []
_WIDTHS = {"quantity": 44, "source": 40, "expected": 14, "ours": 16, "digits": 9}


@pytest.fixture
def agrees(request: pytest.FixtureRequest) -> Callable[..., None]:
    """``agrees(row, name, expected, ours, tol)``: compare one figure, and note it in the table.

    Numbers agree when they differ by at most ``tol`` (absolute, 0 for equal); words, truths
    and lists when they are equal. ``row`` is the figure's row in fixtures/published.
    """

    def compare(
        row: dict[str, Any], name: str, expected: Any, ours: Any, tol: float = 0.0
    ) -> None:
        number = _is_number(expected)
        ours = float(ours) if number else ours
        agreed = abs(ours - expected) <= tol if number else ours == expected
        note = {
            "quantity": f"{row['id']} {name}: {row.get('quantity') or row['name']}",
            "source": row["source"],
            "expected": f"{expected:.10g}" if number else _words(expected),
            "ours": f"{ours:.10g}" if number else _words(ours),
            "digits": _digits(expected, ours, tol) if number else "equal" if agreed else "none",
        }
        request.node.user_properties.append(("agreed", note))
        assert agreed, (
            f"{note['quantity']}: expected {expected!r} within {tol:g}, ours {ours!r}; "
            f"source: {row['source']}"
        )

    return compare


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _words(value: Any) -> str:
    if isinstance(value, list | tuple):
        return " ".join(map(str, value))
    return str(value)


def _digits(expected: float, ours: float, tol: float) -> str:
    """Significant digits that agree, of those that the expected figure has.

    The d-th digit agrees when the difference is at most half a unit of it. A printed figure
    has the digits that stand there; trailing zeros, which JSON drops, follow from a tolerance
    of half the last digit.
    """
    if not math.isfinite(ours):
        return "none"
    leading = math.floor(math.log10(abs(expected))) if expected else 0
    text = f"{abs(expected):.15g}"
    written = len(text.partition("e")[0].replace(".", "").lstrip("0")) or 1
    told = leading + 1 + math.floor(-math.log10(2 * tol) + 1e-9) if tol > 0 else 0
    known = max(1, min(15, max(written, told)))
    difference = abs(ours - expected)
    good = [
        d for d in range(1, known + 1) if difference <= 0.500001 * 10.0 ** (leading + 1 - d)
    ]
    return f"{max(good, default=0)} of {known}"


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Gather what the comparisons of a test noted, from whichever process ran it."""
    if report.when == "call":
        _AGREED.extend(note for key, note in report.user_properties if key == "agreed")


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Print every comparison, when these tests were asked for."""
    asked = (Path(arg.partition("::")[0]).resolve() for arg in config.args)
    if not _AGREED or not any(path.is_relative_to(_HERE) for path in asked):
        return
    terminalreporter.section("our numbers against printed ones")
    heads = dict(
        zip(_WIDTHS, ("quantity", "source", "expected", "ours", "digits"), strict=True)
    )
    for note in [heads, *sorted(_AGREED, key=lambda note: note["quantity"].lower())]:
        cells = (_fit(note[column], width) for column, width in _WIDTHS.items())
        terminalreporter.write_line("  ".join(cells).rstrip())


def _fit(text: str, width: int) -> str:
    return (text if len(text) <= width else text[: width - 1] + "…").ljust(width)
