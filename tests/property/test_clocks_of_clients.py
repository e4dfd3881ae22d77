"""Clients whose clocks differ work on one tool: none is held up by the time another sent."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.check_gauge import CheckGauge, check_gauge_on_master
from crib.acts.correct_offset import CorrectOffset, correct_offset
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.acts.print_label import PrintLabel, print_label
from crib.acts.put_in_rack import PutInRack, put_in_rack
from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Refusal
from crib.metrology.preset import Reading
from crib.store.checking import findings
from crib.store.engine import Store, Tx
from crib.units import TenthsUm
from tests.gauges import ON_MASTER

LOOKS = [Reading(TenthsUm(800_000), TenthsUm(160_000))] * 3
PLACE, HOLDER = "M1/T01", "TH-1"
MINUTE = timedelta(minutes=1)


class Floor:
    """The service and its clients: each act is dated by the clock of the one who sends it."""

    def __init__(self, tx: Tx, begin: datetime, clocks: Iterator[Any]) -> None:
        self.tx, self.present, self._clocks = tx, begin, clocks
        self.behind = False

    def act(self, work: Any, command: Any, *given: Any, **named: Any) -> Any:
        """Send it; where a clock runs behind, it may be told so, and is sent without a time."""
        passed, ahead = next(self._clocks)
        self.behind = ahead is not None and ahead < 0
        self.present += timedelta(seconds=passed)
        at = None if ahead is None else self.present + timedelta(seconds=ahead)
        try:
            return work(self.tx, self.present, command(*given, at=at, **named))
        except Refusal:
            if not self.behind:
                raise
            return work(self.tx, self.present, command(*given, **named))


def measured(floor: Floor) -> str:
    """Measure the tool; dated before the check of the gauge it is told so, and sent again."""
    done = floor.act(preset_tool, PresetTool, HOLDER, LOOKS, "PG-1")
    if not done.accepted and floor.behind:
        done = preset_tool(floor.tx, floor.present, PresetTool(HOLDER, LOOKS, "PG-1"))
    assert done.accepted, done.why_not
    return str(done.code)


def life_of_a_tool(floor: Floor) -> None:
    """Everything that is done to one tool, and twice what is done twice; nothing is refused."""
    floor.act(check_gauge_on_master, CheckGauge, "PG-1", ON_MASTER)
    built = floor.act(build_assembly, BuildAssembly, "TURN-OD", HOLDER, "LOT-I1")
    code = measured(floor)
    floor.act(print_label, PrintLabel, HOLDER, "62x40")
    floor.act(put_in_rack, PutInRack, HOLDER, "M1")
    mount = floor.act(mount_tool, MountTool, PLACE, HOLDER)
    floor.act(reverse_fact, ReverseFact, mount.fact_id)
    floor.act(mount_tool, MountTool, PLACE, HOLDER)
    step = floor.act(correct_offset, CorrectOffset, PLACE, "X", 50, "size")
    assert step.code == code
    floor.act(reverse_fact, ReverseFact, step.fact_id)
    floor.act(correct_offset, CorrectOffset, PLACE, "X", -50, "size")
    out = floor.act(remove_tool, RemoveTool, "broken", PLACE)
    floor.act(reverse_fact, ReverseFact, out.fact_id)
    floor.act(remove_tool, RemoveTool, "inspection", PLACE)
    measured(floor)
    floor.act(mount_tool, MountTool, PLACE, HOLDER)
    floor.act(remove_tool, RemoveTool, "inspection", PLACE)
    floor.act(tear_down, TearDown, HOLDER)
    assert floor.act(build_assembly, BuildAssembly, "TURN-OD", HOLDER, "LOT-I1") != built


def check_order(tx: Tx, present: datetime) -> None:
    """What follows from something does not lie before it, and nothing is still to come."""
    early = tx.exec_driver_sql(
        "SELECT count(*) FROM removals AS r JOIN facts AS f ON f.id = r.fact_id"
        " JOIN facts AS m ON m.id = r.mount_id WHERE f.at < m.at"
    ).scalar_one()
    assert early == 0
    standing = tx.exec_driver_sql(
        "SELECT f.at FROM facts AS f JOIN mounts ON fact_id = f.id"
        " WHERE f.id NOT IN (SELECT reverses_id FROM facts WHERE kind = 'reversal')"
        " ORDER BY f.id"
    )
    mounts = [row[0] for row in standing]
    assert mounts == sorted(mounts)
    assert findings(tx) == []


class _Undo(Exception):  # noqa: N818 - not an error: leaves the database as it was
    pass


#: Seconds since the act before, by the service's clock, and how far the client's is ahead;
#: None where the client sends no time.
_clock = st.tuples(st.integers(0, 90), st.none() | st.integers(-300, 300))


@settings(
    max_examples=8,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(clocks=st.lists(_clock, min_size=40, max_size=40))
def test_no_clock_holds_up_what_others_do(
    shop: SimpleNamespace, store: Store, clocks: list[tuple[int, int | None]]
) -> None:
    with suppress(_Undo), store.write() as tx:
        floor = Floor(tx, shop.start, iter(clocks))
        life_of_a_tool(floor)
        check_order(tx, floor.present)
        ahead = tx.exec_driver_sql("SELECT count(*) FROM facts WHERE at > recorded_at")
        assert ahead.scalar_one() == 0
        raise _Undo


@pytest.mark.parametrize("back_s", [1, 20])
def test_the_service_s_own_clock_set_back_a_little_holds_up_nothing(
    shop: SimpleNamespace, store: Store, back_s: int
) -> None:
    with suppress(_Undo), store.write() as tx:
        # a small step back before every third act
        clocks = iter([(-back_s if n % 3 else back_s, None) for n in range(40)])
        floor = Floor(tx, shop.start + MINUTE * 60, clocks)
        life_of_a_tool(floor)
        check_order(tx, floor.present)
        raise _Undo


def test_a_late_act_still_lies_behind_what_it_follows(
    shop: SimpleNamespace, store: Store
) -> None:
    with suppress(_Undo), store.write() as tx:
        floor = Floor(tx, shop.start + MINUTE * 60, iter([(1, None)] * 40))
        floor.act(check_gauge_on_master, CheckGauge, "PG-1", ON_MASTER)
        floor.act(build_assembly, BuildAssembly, "TURN-OD", HOLDER, "LOT-I1")
        floor.act(preset_tool, PresetTool, HOLDER, LOOKS, "PG-1")
        mount = floor.act(mount_tool, MountTool, PLACE, HOLDER)
        present = mount.at - timedelta(seconds=5)  # our clock was set back since
        late = RemoveTool("broken", PLACE, at=present - 3 * MINUTE)
        with pytest.raises(Refusal, match="too early"):
            remove_tool(tx, present, late)
        assert remove_tool(tx, present, RemoveTool("broken", PLACE)).at == mount.at
        raise _Undo
