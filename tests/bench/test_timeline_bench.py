"""A timeline of 1,000 stations drawn, beside a plain template of as many rows."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from flask import render_template_string

from api import create_app
from api.pages.shift.timeline import TimeAxis, draw_machine
from api.settings import Settings
from crib.floor.calendar import Stretch
from crib.outlook.machine_told import MachineTold
from crib.store.engine import Store
from crib.views.shift_view import MachineShift, StationLine

STATIONS = 1_000
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
#: Greatest length of the drawing [bytes].
MOST = 1_500_000
_DRAWN = (
    '{% from "shift_drawing.html" import strip with context %}'
    "{% for row in drawing.rows %}{{ strip(row, ticks, now) }}{% endfor %}"
)
_PLAIN = (
    "{% for row in drawing.rows %}{% set one = row.wedges[0] %}<tr><td>{{ row.name }}</td>"
    "<td>{{ one.early }}</td><td>{{ one.middle }}</td><td>{{ one.late }}</td></tr>{% endfor %}"
)


def _line(number: int) -> StationLine:
    at = [NOW + timedelta(minutes=number + more) for more in (60, 240, 420)]
    forecast: Any = SimpleNamespace(
        station=f"T{number}",
        run_out_at=dict(zip(("p10", "p50", "p90"), at, strict=True)),
        parts_left={"p50": 9},
    )
    sister = SimpleNamespace(state="ready")
    swap: Any = SimpleNamespace(swap_by=at[0], sister=sister, standby=False)
    return StationLine(forecast, (swap,))


def _best(work: Callable[[], object]) -> float:
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@pytest.mark.bench
def test_a_thousand_stations_drawn(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    until = NOW + timedelta(hours=24)
    open_now = (
        Stretch(NOW, NOW + timedelta(hours=12), True),
        Stretch(NOW + timedelta(hours=12), until, False),
    )
    lines = tuple(map(_line, range(STATIONS)))
    machine = MachineShift("M1", lines, open_now, NOW, None, None, MachineTold())
    axis = TimeAxis(NOW, until)

    def drawn(text: str) -> str:
        return render_template_string(
            text,
            drawing=draw_machine(axis, machine),
            ticks=axis.hours(UTC),
            now=NOW,
        )

    app = create_app(Settings(store.url), store, lambda: NOW)
    with app.test_request_context("/shift"):
        size = len(drawn(_DRAWN).encode())
        ours, plain = _best(lambda: drawn(_DRAWN)), _best(lambda: drawn(_PLAIN))
    with capsys.disabled():
        print(f"\n{STATIONS} stations: {ours * 1000:.0f} ms, {size / 1000:.0f} kB;", end=" ")
        print(f"plain rows {plain * 1000:.0f} ms, ratio {ours / plain:.1f}")
    assert size < MOST
