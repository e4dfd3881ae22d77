"""Any history of acts keeps edges, holders, pieces and parts whole, in a real database."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.count_columns import CountReading
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.move_stock import MoveStock, Regrind, move_stock, regrind
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.acts.report_counts import ReportCounts, report_counts
from crib.acts.reverse_fact import ReverseFact, reverse_fact
from crib.acts.tear_down import TearDown, tear_down
from crib.errors import Refusal
from crib.metrology.preset import Reading
from crib.store.engine import Store, Tx
from crib.units import TenthsUm
from tests.gauges import checked_gauge

HOLDERS = ("TH-1", "TH-2", "DH-1", "DH-2")
STATIONS = ("M1/T01", "M2/T01", "M1/T11", "M2/T11")
REASONS = ("worn_as_planned", "broken", "chipped", "job_change", "inspection")
MOVES = ("receipt", "issue", "scrap", "stocktaking")


class _Undo(Exception):  # noqa: N818 - not an error: leaves the database as it was
    pass


Act = Callable[[Tx, datetime], object]


def _build(holder: str) -> Act:
    drill = holder.startswith("DH")
    spec, lot = ("CROSS-3", "LOT-D1") if drill else ("TURN-OD", "LOT-I1")
    return lambda tx, at: build_assembly(tx, at, BuildAssembly(spec, holder, lot))


def _preset(holder: str) -> Act:
    lf = 600_000 if holder.startswith("DH") else 800_000
    wf = None if holder.startswith("DH") else TenthsUm(160_000)
    readings = [Reading(TenthsUm(lf), wf)] * 3
    return lambda tx, at: preset_tool(
        tx, at, PresetTool(holder, readings, checked_gauge(tx, at))
    )


def _mount(holder: str, station: str) -> Act:
    return lambda tx, at: mount_tool(tx, at, MountTool(station, holder))


def _usual(holder: str, machine: str, reason: str | None) -> Act:
    """The usual way in one go, so that histories get far: in, and out for a reason."""
    station = f"{machine}/T11" if holder.startswith("DH") else f"{machine}/T01"
    steps = [_build(holder), _preset(holder), _mount(holder, station)]
    if reason is not None:
        steps.append(_remove(station, reason))

    def act(tx: Tx, at: datetime) -> object:
        return [step(tx, at) for step in steps]

    return act


def _remove(station: str, reason: str) -> Act:
    return lambda tx, at: remove_tool(tx, at, RemoveTool(reason, station))


def _tear_down(holder: str) -> Act:
    return lambda tx, at: tear_down(tx, at, TearDown(holder))


def _move(lot: str, move: str, quantity: int) -> Act:
    return lambda tx, at: move_stock(tx, at, MoveStock(lot, move, quantity))


def _regrind(piece: int) -> Act:
    return lambda tx, at: regrind(tx, at, Regrind("LOT-D1", piece))


def _reverse(back: int) -> Act:
    def act(tx: Tx, at: datetime) -> object:
        last = tx.exec_driver_sql("SELECT coalesce(max(id), 0) FROM facts").scalar_one()
        return reverse_fact(tx, at, ReverseFact(last - back))

    return act


_holder, _station = st.sampled_from(HOLDERS), st.sampled_from(STATIONS)
_acts = st.one_of(
    st.builds(
        _usual, _holder, st.sampled_from(("M1", "M2")), st.sampled_from((*REASONS, None))
    ),
    st.builds(_build, _holder),
    st.builds(_preset, _holder),
    st.builds(_mount, _holder, _station),
    st.builds(_remove, _station, st.sampled_from(REASONS)),
    st.builds(_tear_down, _holder),
    st.builds(
        _move, st.sampled_from(("LOT-I1", "LOT-D1")), st.sampled_from(MOVES), st.integers(0, 4)
    ),
    st.builds(_regrind, st.integers(1, 3)),
    st.builds(_reverse, st.integers(0, 3)),
)

_BROKEN_RULES = {
    "a lot's balance is the sum of its ledger": """
        SELECT count(*) FROM lots WHERE on_hand <> quantity + (
            SELECT coalesce(sum(change), 0) FROM stock_moves WHERE lot_id = lots.id)""",
    "a piece is in the box or opened, never both": """
        SELECT count(*) FROM lots WHERE
            (SELECT -coalesce(sum(change), 0) FROM stock_moves
             WHERE lot_id = lots.id AND move = 'build')
            <> (SELECT count(*) FROM pieces WHERE lot_id = lots.id)""",
    "the last line of the ledger says the balance": """
        SELECT count(*) FROM lots JOIN stock_moves ON stock_moves.fact_id =
            (SELECT max(fact_id) FROM stock_moves WHERE lot_id = lots.id)
        WHERE on_hand <> balance_after""",
    "a standing tool holds its edge": """
        SELECT count(*) FROM assembly_state WHERE ended_at IS NULL AND NOT EXISTS
            (SELECT 1 FROM edge_uses WHERE assembly_id = assembly_state.assembly_id)""",
    "a piece sits in one standing tool at most": """
        SELECT count(*) FROM (SELECT piece_id FROM edge_uses JOIN assembly_state USING
            (assembly_id) WHERE ended_at IS NULL GROUP BY piece_id HAVING count(*) > 1)""",
    "a standing tool holds no scrap": """
        SELECT count(*) FROM pieces JOIN edge_uses ON piece_id = pieces.id
        JOIN assembly_state USING (assembly_id) WHERE scrapped AND ended_at IS NULL""",
    "a tool sits where its last standing mount put it": """
        SELECT count(*) FROM (
            SELECT station_id, assembly_id FROM station_state
            EXCEPT SELECT station_id, assembly_id FROM mounts AS m
            WHERE NOT EXISTS (SELECT 1 FROM facts WHERE reverses_id = m.fact_id)
            AND NOT EXISTS (SELECT 1 FROM removals AS r WHERE r.mount_id = m.fact_id
                AND NOT EXISTS (SELECT 1 FROM facts WHERE reverses_id = r.fact_id)))""",
    "every standing mount without removal is a tool in a station": """
        SELECT count(*) FROM mounts AS m
        WHERE NOT EXISTS (SELECT 1 FROM facts WHERE reverses_id = m.fact_id)
        AND NOT EXISTS (SELECT 1 FROM removals AS r WHERE r.mount_id = m.fact_id
            AND NOT EXISTS (SELECT 1 FROM facts WHERE reverses_id = r.fact_id))
        AND NOT EXISTS (SELECT 1 FROM station_state WHERE mount_id = m.fact_id)""",
    "a tool is ALLOCATED exactly while it sits in a station": """
        SELECT count(*) FROM assembly_state LEFT JOIN station_state USING (assembly_id)
        WHERE (cutter_status = 'ALLOCATED') <> (station_id IS NOT NULL)""",
    "a tool that is over sits nowhere": """
        SELECT count(*) FROM assembly_state JOIN station_state USING (assembly_id)
        WHERE ended_at IS NOT NULL""",
    "every tool has one label that holds": """
        SELECT count(*) FROM assemblies WHERE (SELECT count(*) FROM label_codes
            WHERE assembly_id = fact_id AND superseded_at IS NULL) <> 1""",
}


@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(acts=st.lists(_acts, min_size=20, max_size=40))
def test_no_history_of_acts_breaks_a_rule(
    shop: SimpleNamespace, store: Store, acts: list[Act]
) -> None:
    with suppress(_Undo), store.write() as tx:
        at = shop.start
        for act in acts:
            at += timedelta(minutes=1)
            tx.exec_driver_sql("SAVEPOINT act")
            try:
                act(tx, at)
            except Refusal:
                tx.exec_driver_sql("ROLLBACK TO act")
            tx.exec_driver_sql("RELEASE act")
            for rule, statement in _BROKEN_RULES.items():
                assert tx.exec_driver_sql(statement).scalar_one() == 0, rule
        raise _Undo


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    steps=st.lists(st.tuples(st.integers(1, 900), st.integers(0, 40)), min_size=1, max_size=12),
    cuts=st.lists(st.integers(0, 10_000), max_size=6),
    reset=st.integers(0, 11),
)
def test_parts_of_stays_that_follow_each_other_add_up_to_what_was_counted(
    shop: SimpleNamespace,
    store: Store,
    steps: list[tuple[int, int]],
    cuts: list[int],
    reset: int,
) -> None:
    with suppress(_Undo), store.write() as tx:
        late = shop.start + timedelta(days=40)
        readings = [CountReading(shop.start, 0)]
        count = 0
        for index, (seconds, parts) in enumerate(steps):
            # as fast as the machine may, and once back to zero
            made = min(parts, int(seconds / 45))
            count = made if index == reset else count + made
            readings.append(CountReading(readings[-1].at + timedelta(seconds=seconds), count))
        done = report_counts(tx, late, ReportCounts("M1", readings))
        assert not done.refused
        total = tx.exec_driver_sql("SELECT max(total) - min(total) FROM count_readings")
        end = readings[-1].at
        borders = sorted({shop.start + (end - shop.start) * cut / 10_000 for cut in cuts})
        built = build_assembly(
            tx, late, BuildAssembly("TURN-OD", "TH-1", "LOT-I1", at=shop.start)
        )
        looks = [Reading(TenthsUm(800_000), TenthsUm(160_000))] * 3
        gauge = checked_gauge(tx, late, shop.start)
        preset_tool(tx, late, PresetTool(built.code, looks, gauge, at=shop.start))
        stays = []
        for begin, until in zip([shop.start, *borders], [*borders, end], strict=True):
            mount_tool(tx, late, MountTool("M1/T01", built.code, at=begin))
            stays.append(remove_tool(tx, late, RemoveTool("inspection", "M1/T01", at=until)))

        assert sum(stay.parts_made for stay in stays) == total.scalar_one()
        shares = [stay.share_in_stay or 0.0 for stay in stays]
        whole = stays[-1].share_of_life_used or 0.0
        assert sum(shares) == pytest.approx(whole, abs=1e-9)
        raise _Undo
