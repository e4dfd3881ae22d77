"""Acts on the small shop, in one line each, for tests of facts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from crib.acts.build_assembly import BuildAssembly, BuiltAssembly, build_assembly
from crib.acts.count_columns import CountReading
from crib.acts.mount_tool import MountTool, ToolMounted, mount_tool
from crib.acts.preset_tool import PresetDone, PresetTool, preset_tool
from crib.acts.remove_tool import RemoveTool, ToolRemoved, remove_tool
from crib.acts.report_counts import CountsReported, ReportCounts, report_counts
from crib.metrology.preset import Reading
from crib.store.checking import findings
from crib.store.engine import Tx
from crib.units import TenthsUm
from tests.gauges import checked_gauge


def reading(lf: int = 800_010, wf: int | None = 160_005, re: int | None = None) -> Reading:
    """One look at a tool, close to the nominals of the small shop's turning spec [0.1 µm]."""
    return Reading(
        TenthsUm(lf),
        None if wf is None else TenthsUm(wf),
        None,
        None if re is None else TenthsUm(re),
    )


GOOD = (reading(), reading(800_012, 160_003), reading(800_008, 160_007))
GOOD_DRILL = (reading(600_010, None), reading(600_012, None), reading(600_008, None))


@dataclass
class Acts:
    """The small shop with a clock that tests set; minutes count from its start."""

    tx: Tx
    shop: SimpleNamespace
    present: datetime = field(init=False)
    reading = staticmethod(reading)

    def __post_init__(self) -> None:
        self.present = self.shop.start + timedelta(days=30)

    def at(self, minutes: float) -> datetime:
        return self.shop.start + timedelta(minutes=minutes)

    def build(self, minutes: float = 0, holder: str = "TH-1", **values: Any) -> BuiltAssembly:
        drill = holder.startswith("DH")
        wanted = {
            "tool_spec": "CROSS-3" if drill else "TURN-OD",
            "lot": "LOT-D1" if drill else "LOT-I1",
            "holder": holder,
            "at": self.at(minutes),
            **values,
        }
        return build_assembly(self.tx, self.present, BuildAssembly(**wanted))

    def preset(
        self, code: str, minutes: float = 1, readings: Sequence[Reading] = GOOD, **values: Any
    ) -> PresetDone:
        if "gauge" not in values:
            values["gauge"] = checked_gauge(self.tx, self.present, self.at(minutes))
        command = PresetTool(code, readings, at=self.at(minutes), **values)
        return preset_tool(self.tx, self.present, command)

    def ready(self, minutes: float = 0, holder: str = "TH-1", **values: Any) -> str:
        """A tool built and measured; its code."""
        built = self.build(minutes, holder, **values)
        readings = GOOD_DRILL if holder.startswith("DH") else GOOD
        return self.preset(built.code, minutes, readings).code

    def mount(
        self, code: str, minutes: float = 2, station: str = "M1/T01", **values: Any
    ) -> ToolMounted:
        command = MountTool(station, code, at=self.at(minutes), **values)
        return mount_tool(self.tx, self.present, command)

    def remove(
        self, minutes: float = 60, reason: str = "worn_as_planned", **values: Any
    ) -> ToolRemoved:
        if "assembly" not in values:
            values.setdefault("station", "M1/T01")
        command = RemoveTool(reason, at=self.at(minutes), **values)
        return remove_tool(self.tx, self.present, command)

    def counts(
        self, *readings: tuple[float, Any], machine: str = "M1", **values: Any
    ) -> CountsReported:
        """Counts as (minutes, count)."""
        rows = [CountReading(self.at(minutes), count) for minutes, count in readings]
        return report_counts(self.tx, self.present, ReportCounts(machine, rows, **values))

    def one(self, statement: str, *parameters: object) -> Any:
        return self.tx.exec_driver_sql(statement, parameters).scalar_one()


@pytest.fixture
def acts(shop: SimpleNamespace, tx: Tx) -> Iterator[Acts]:
    yield Acts(tx, shop)
    assert findings(tx) == []  # whatever the acts were, they leave the database whole
