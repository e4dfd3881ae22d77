"""One record whose figures cannot be worked out takes nobody else's down."""

from __future__ import annotations

import logging
import math
import re
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from crib import left_out
from crib.left_out import NOT_WORKED_OUT
from crib.life.model import LifeModel
from crib.outlook import (
    cuts_ahead,
    expected_lives,
    lives,
    machine_now,
    machine_stops,
    mounted_edges,
    shop_plan,
    stays,
)
from crib.outlook.shop_plan import Forecast, ShopPlan, plan_shop
from crib.outlook.swap_list import make_swap_list
from crib.planning.night_options import decide
from crib.store.checking import findings
from crib.store.migrate import open_store
from crib.views.shift_view import shift_view
from tests.demos import PRESENT, Demos


@pytest.fixture(scope="module")
def demo(demos: Demos, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """Three days of the demo, and its plan when nothing is wrong."""
    folder = tmp_path_factory.mktemp("left-out")
    made = SimpleNamespace(store=demos.copy(folder, days=3, seed=2).store)
    with made.store.read() as tx:
        made.plan = plan_shop(tx, PRESENT)
    yield made
    made.store.close()


@pytest.fixture(autouse=True)
def nothing_logged_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(left_out, "_TOLD", left_out._Told())


def plan_of(demo: SimpleNamespace) -> ShopPlan:
    with demo.store.read() as tx:
        return plan_shop(tx, PRESENT)


def figures(one: Forecast) -> tuple[Any, ...]:
    return one.parts_left, one.fail_probability_shift, one.parts_made, one.share_used


def by_tool(plan: ShopPlan) -> dict[str, Forecast]:
    return {one.assembly: one for one in plan.forecasts}


def unheard(demo: SimpleNamespace, tools: set[str]) -> dict[str, Forecast]:
    """Forecasts by tool when nothing is wrong, but nobody learns how long these have lasted."""

    def others(shop: Any, still: dict[int, int], *more: Any) -> Any:
        codes = {one: shop.rows.assemblies[one].code for one in still}
        return made(shop, {one: still[one] for one in still if codes[one] not in tools}, *more)

    made = lives._running
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lives, "_running", others)
        return by_tool(plan_of(demo))


def raising(function: Callable[..., Any], hits: Callable[..., bool], fault: Exception):
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        if hits(*args, **kwargs):
            raise fault
        return function(*args, **kwargs)

    return wrapped


def mounted(demo: SimpleNamespace) -> Any:
    """A mounted edge with a forecast, in a machine that is left alone some time."""
    return demo.plan.expected.mounted[len(demo.plan.expected.mounted) // 2]


#: Where -> what is wrong with one stay there: module, name, and whether the call is its.
OF_A_STAY: dict[str, tuple[Any, str, Callable[[Any], Callable[..., bool]]]] = {
    "parts until the size limit": (
        mounted_edges, "_size_parts_left", lambda it: lambda shop, stay: stay.row == it.row,
    ),
    "what a stay took": (stays, "_stay", lambda it: lambda row, *_: row == it.row),
    "untold wear": (
        mounted_edges, "unreported_wear", lambda it: lambda shop, stay, _: stay.row == it.row,
    ),
    "what it was fitted to": (
        stays, "_last_run",
        lambda it: lambda uses, case, begin, *_: it.row.begin_us in begin.tolist(),
    ),
}  # fmt: skip
FAULTS = (
    ZeroDivisionError("division by zero"),
    OverflowError("too large"),
    FloatingPointError("underflow"),
    ValueError("no such number"),
)


@pytest.mark.parametrize(("seam", "fault"), list(zip(OF_A_STAY, FAULTS, strict=True)))
def test_a_fault_of_one_edge_is_that_edges_alone(demo, monkeypatch, caplog, seam, fault):
    module, name, hits = OF_A_STAY[seam]
    it, codes = mounted(demo), demo.plan.shop.rows.assemblies
    code = codes[it.row.assembly_id].code
    same_start = {
        codes[stay.row.assembly_id].code
        for stay in demo.plan.expected.mounted
        if seam == "what it was fitted to" and stay.row.begin_us == it.row.begin_us
    } | {code}
    before = unheard(demo, same_start)
    monkeypatch.setattr(module, name, raising(getattr(module, name), hits(it), fault))

    with caplog.at_level(logging.ERROR):
        plan = plan_of(demo)
        plan_of(demo)

    found = by_tool(plan)
    assert {one.assembly for one in plan.forecasts if one.why == NOT_WORKED_OUT} == same_start
    assert found.keys() == before.keys()
    for tool in found.keys() - same_start:
        assert figures(found[tool]) == figures(before[tool])
    told = found[code]
    assert "could not be worked out" in told.why_sentence
    assert "Look at the edge" in told.why_sentence
    assert told.parts_left["p50"] is None
    assert told.fail_probability_shift is None
    assert plan.forecasts[0].why == NOT_WORKED_OUT
    assert make_swap_list(plan, 24).rows[0].why == NOT_WORKED_OUT
    logged = [record for record in caplog.records if record.exc_info]
    assert len(logged) == len(same_start)
    assert logged[0].exc_info[1] is fault


def test_a_fault_that_names_its_tools_costs_one_more_plan(demo, monkeypatch):
    it, made, asked = mounted(demo), shop_plan.expect_lives, []
    fault = ZeroDivisionError("division by zero")
    bad = raising(
        mounted_edges.unreported_wear, lambda shop, stay, _: stay.row == it.row, fault
    )
    monkeypatch.setattr(mounted_edges, "unreported_wear", bad)
    monkeypatch.setattr(
        shop_plan, "expect_lives", lambda *args: asked.append(args) or made(*args)
    )

    plan = plan_of(demo)
    with demo.store.read() as tx:  # the next plan tries the tool again, and goes on without
        plan_shop(tx, PRESENT, left_out=plan.shop.left_out.tools)

    assert len(asked) == 2 + 3


def test_a_number_that_is_none_spoils_no_neighbour(demo, monkeypatch):
    it, made = mounted(demo), LifeModel.remaining
    place = demo.plan.expected.mounted.index(it)
    code = demo.plan.shop.rows.assemblies[it.row.assembly_id].code
    before = unheard(demo, {code})

    def spoilt(self: LifeModel, key: Any, *more: Any) -> Any:
        left = made(self, key, *more)
        if len(key) == len(demo.plan.edges):
            left.reshape(len(key), -1)[place] = np.nan
        return left

    monkeypatch.setattr(LifeModel, "remaining", spoilt)

    found = by_tool(plan_of(demo))

    assert [tool for tool in found if found[tool].why == NOT_WORKED_OUT] == [code]
    for tool in found.keys() - {code}:
        assert figures(found[tool]) == figures(before[tool])


@pytest.mark.parametrize("age", [math.nan, math.inf])
def test_an_age_that_is_no_number_is_that_edges_alone(demo, monkeypatch, age):
    it = mounted(demo)
    made = mounted_edges.unreported_wear
    monkeypatch.setattr(
        mounted_edges,
        "unreported_wear",
        lambda shop, stay, wear: age if stay.row == it.row else made(shop, stay, wear),
    )

    plan = plan_of(demo)

    unknown = [one.assembly for one in plan.forecasts if one.why == NOT_WORKED_OUT]
    assert unknown == [plan.shop.rows.assemblies[it.row.assembly_id].code]


@pytest.mark.parametrize(
    ("module", "name", "hits"),
    [
        (
            cuts_ahead,
            "cut_ahead",
            lambda it: lambda shop, parts, station, spec, *_: spec == it,
        ),
        (stays, "_cut", lambda it: lambda cutting, part, station, spec, item: spec == it),
        (mounted_edges, "swap_costs", lambda it: lambda spec, item: spec.id == it),
    ],
    ids=["cut ahead", "wear of a part", "costs"],
)
def test_a_fault_of_one_spec_is_that_of_its_tools(demo, monkeypatch, module, name, hits):
    rows = demo.plan.shop.rows
    spec = rows.assemblies[mounted(demo).row.assembly_id].tool_spec_id
    fault = ZeroDivisionError("division by zero")
    monkeypatch.setattr(module, name, raising(getattr(module, name), hits(spec), fault))

    plan = plan_of(demo)

    unknown = {one.assembly for one in plan.forecasts if one.why == NOT_WORKED_OUT}
    named = rows.specs[spec].tool_spec
    assert unknown == {one.assembly for one in plan.forecasts if one.tool_spec == named}
    assert by_tool(plan).keys() == by_tool(demo.plan).keys()


def test_a_fault_in_the_fit_is_that_of_the_keys_tools(demo, monkeypatch):
    key = demo.plan.keys[demo.plan.edges[0].key]
    made = expected_lives.table_of_keys

    def table(shop: Any, found: Any) -> Any:
        if key in found.keys:
            raise FloatingPointError("no fit")
        return made(shop, found)

    monkeypatch.setattr(expected_lives, "table_of_keys", table)

    plan = plan_of(demo)

    unknown = {one.assembly for one in plan.forecasts if one.why == NOT_WORKED_OUT}
    items = demo.plan.shop.rows.items
    before = {
        one.assembly
        for one in demo.plan.forecasts
        if one.basis and one.basis.key == key.text(items)
    }
    assert before <= unknown
    assert len(unknown) < len(plan.forecasts)


@pytest.mark.parametrize("name", ["_planned", "running_share"])
def test_a_fault_of_one_machine_is_that_machines(demo, monkeypatch, name):
    machine_id = mounted_machine(demo)
    output = demo.plan.shop.machines[machine_id].output

    def hits(*args: Any) -> bool:
        if name == "_planned":
            return args[0].machine.id == machine_id
        return np.array_equal(args[0].at_us, output.at_us)

    fault = OverflowError("too large")
    monkeypatch.setattr(machine_now, name, raising(getattr(machine_now, name), hits, fault))

    plan = plan_of(demo)

    named = plan.shop.rows.machines[machine_id].machine
    unknown = {one.machine for one in plan.forecasts if one.why == NOT_WORKED_OUT}
    assert named in unknown
    assert all(one.why == NOT_WORKED_OUT for one in plan.forecasts if one.machine == named)
    assert "could not be worked out" in plan.shop.left_out.machines[machine_id]
    shift = shift_view(plan, 12)
    for night in shift.nights:
        if night.night.machine == named:
            assert night.state == "unsafe"
    assert named in {night.night.machine for night in shift.nights}


def mounted_machine(demo: SimpleNamespace) -> int:
    rows = demo.plan.shop.rows
    night = demo.plan.nights[0].machine
    return next(one.id for one in rows.machines.values() if one.machine == night)


def test_a_night_with_an_edge_that_nothing_is_known_of_is_not_safe(demo, monkeypatch):
    night = next(one for one in demo.plan.nights if one.ordinal == 0)
    rows = demo.plan.shop.rows
    it = next(
        stay
        for stay in demo.plan.expected.mounted
        if rows.stations[stay.row.station_id].machine == night.machine
    )
    fault = ZeroDivisionError("division by zero")
    made = mounted_edges._size_parts_left
    hits = lambda shop, stay: stay.row == it.row  # noqa: E731
    monkeypatch.setattr(mounted_edges, "_size_parts_left", raising(made, hits, fault))

    found = next(
        one for one in plan_of(demo).nights if one.machine == night.machine and not one.ordinal
    )

    kept = replace(night, as_planned=0.01, with_swaps=0.01)
    assert kept.safe
    assert not replace(kept, unknown=found.unknown).safe
    assert not found.safe
    assert decide(found).kind == "look"


def test_stops_and_own_constants_that_fail_cost_no_forecast(demo, monkeypatch):
    fault = ZeroDivisionError("division by zero")
    machine_id = mounted_machine(demo)
    hits = lambda shop, one: one == machine_id  # noqa: E731
    made = machine_stops._bars
    monkeypatch.setattr(machine_stops, "_bars", raising(made, hits, fault))

    plan = plan_of(demo)

    assert not [one for one in plan.forecasts if one.why == NOT_WORKED_OUT]
    assert "stops ahead of machine" in plan.shop.left_out.others[0]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("clearance_deg", 5e-324),
        ("wear_limit_mm", 1e308),
        ("preset_minutes", "soon"),
    ],
)
def test_a_number_from_before_the_bounds_is_its_specs_alone(demo, tmp_path, column, value):
    rows = demo.plan.shop.rows
    spec = rows.assemblies[mounted(demo).row.assembly_id].tool_spec_id
    path = tmp_path / "crib.db"
    with sqlite3.connect(path) as copy, demo.store.read() as tx:
        tx.connection.driver_connection.backup(copy)
    copy.close()
    store = open_store(f"sqlite:///{path}")
    with store.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER tool_specs_bounds_update")
        tx.exec_driver_sql(f"UPDATE tool_specs SET {column} = ? WHERE id = ?", (value, spec))
    with store.read() as tx:
        plan = plan_shop(tx, PRESENT)
    store.close()

    named = rows.specs[spec].tool_spec
    unknown = [one for one in plan.forecasts if one.why == NOT_WORKED_OUT]
    assert {one.tool_spec for one in unknown} == {named}
    for one in unknown:
        assert one.why_sentence.startswith(f"Tool spec {named}: {column} is ")
        assert one.why_sentence.endswith("Correct it in the records.")
    assert by_tool(plan).keys() == by_tool(demo.plan).keys()


def test_a_cut_from_before_the_rules_is_told_and_takes_its_own_tools_alone(demo, tmp_path):
    """With a feed of 5 mm a drill seemed to last for weeks, and nobody was told."""
    one = next(f for f in demo.plan.forecasts if f.tool_spec.startswith("DR ") and f.part)
    path = tmp_path / "crib.db"
    with sqlite3.connect(path) as copy, demo.store.read() as tx:
        tx.connection.driver_connection.backup(copy)
    copy.close()
    store = open_store(f"sqlite:///{path}")
    change = "UPDATE operations SET feed_mm_rev = 5 WHERE tool_number = ? AND part_id ="
    with store.write() as tx:
        part = " (SELECT id FROM parts WHERE part = ?)"
        tx.exec_driver_sql(change + part, (one.tool_number, one.part))
    with store.read() as tx:
        plan = plan_shop(tx, PRESENT)
        checked = findings(tx)
    store.close()

    unknown = {f.assembly: f for f in plan.forecasts if f.why == NOT_WORKED_OUT}
    assert one.assembly in unknown
    assert {f.tool_number for f in unknown.values()} == {one.tool_number}
    sentence = unknown[one.assembly].why_sentence
    assert re.fullmatch(
        rf"Part {one.part}, operation \d+: feed_mm_rev is not a plausible feed of kind drill "
        "on this diameter. Correct it in the records.",
        sentence,
    )
    assert sentence in plan.shop.left_out.records
    (told,) = (line for line in checked if "operation" in line)
    assert sentence.startswith(told)
    assert by_tool(plan).keys() == by_tool(demo.plan).keys()


def test_faults_of_the_database_are_nobodys_tool(demo, monkeypatch):
    def full(*_: Any) -> Any:
        raise MemoryError

    monkeypatch.setattr(shop_plan, "expect_lives", full)

    with pytest.raises(MemoryError):
        plan_of(demo)


def test_what_stands_for_all_is_not_put_on_a_tool(demo, monkeypatch):
    """Where nothing works at all no record is to blame: the fault comes through."""

    def broken(*_: Any, **__: Any) -> Any:
        raise ValueError("ours")

    monkeypatch.setattr(shop_plan, "plan_swaps", broken)

    with pytest.raises(ValueError, match="ours"):
        plan_of(demo)
