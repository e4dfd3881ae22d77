"""Tools as other programs may read them: status, life, place, measures; one per living tool."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime

from crib.left_out import Kept, each
from crib.outlook.out_now import BROKEN
from crib.outlook.shop_plan import Forecast, ShopPlan
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.feeds import list_feeds
from crib.store.resolve import machine_id_by_name
from crib.store.stations import stations_of
from crib.views.queries import ASSEMBLIES, list_facts
from crib.views.show_assembly import AssemblyShown, show_assembly

_PAGE = 500


@dataclass(frozen=True, slots=True)
class LifeCounted:
    """How much of its life a tool has used, in one measure, counted up from zero.

    Attributes:
        used: So far.
        limit: Where it is to be swapped; None where nothing is planned for it.
        warning: Where one in ten of its kind has failed, at most ``limit``; None as above.
    """

    used: float
    limit: float | None
    warning: float | None


@dataclass(frozen=True, slots=True)
class MeasureShown:
    """One measure: name, value and nominal value [0.1 µm]."""

    name: str
    value_tenths_um: int
    nominal_tenths_um: int | None


@dataclass(frozen=True, slots=True)
class ToolAsset:
    """A tool.

    Attributes:
        code: Of its current label.
        changed_at: When something was last recorded of it.
        statuses: Cutter statuses that hold at once.
        parts: Life in parts.
        minutes: Life in minutes in cut; None where no operation tells them.
        machine: Where it is mounted; None where it is not.
        device: What the agent of that machine calls it for good; None where no agent was heard.
        path: Path of the control there; None where the machine has one alone.
    """

    code: str
    changed_at: datetime
    tool_spec: str
    holder: str
    statuses: tuple[str, ...]
    parts: LifeCounted
    minutes: LifeCounted | None
    machine: str | None
    device: str | None
    station: str | None
    tool_number: int | None
    path: int | None
    measures: tuple[MeasureShown, ...]
    cutting_item: str
    grade: str | None
    lot: str
    edge: int
    pieces: int


def tool_assets(tx: Tx, plan: ShopPlan, limit: int, after_id: int = 0) -> Kept[ToolAsset]:
    """Living tools, those built last first; one that cannot be worked out is left out.

    Args:
        tx: An open transaction.
        plan: The plan of the same instant.
        limit: How many at most.
        after_id: Leave out those up to this one.
    """
    codes = list(_living_codes(tx, after_id))[-limit:]
    forecasts = {one.assembly: one for one in plan.forecasts}
    places = _Places(tx)
    found: Kept[ToolAsset] = Kept()
    failed = each(
        reversed(codes),
        lambda code: found.append(_asset(tx, plan, code, forecasts, places)),
        lambda code: sentence(
            "The figures of tool {code} could not be worked out for its asset.", code=code
        ),
    )
    found.problems = tuple(failed)
    return found


def assets_in_machines(
    tx: Tx, plan: ShopPlan, machines: Collection[str], left: Collection[str] = ()
) -> list[ToolAsset]:
    """The tools that sit in some machines, and some that sat there before.

    Args:
        tx: An open transaction.
        plan: The plan of the same instant.
        machines: Names of the machines.
        left: Codes of tools that left them.
    """
    forecasts = {one.assembly: one for one in plan.forecasts}
    places = _Places(tx)
    seated = [one.assembly for one in plan.forecasts if one.machine in machines]
    gone = [code for code in left if code not in seated]
    return [_asset(tx, plan, code, forecasts, places) for code in (*seated, *gone)]


def count_living(tx: Tx) -> int:
    """How many living tools there are."""
    return sum(1 for _ in _living_codes(tx, 0))


def tool_asset(tx: Tx, plan: ShopPlan, text: str) -> ToolAsset:
    """One tool by any of its codes.

    Raises:
        BadCode: A code that is mistyped.
        NotKnown: Nothing here carries it.
    """
    forecasts = {one.assembly: one for one in plan.forecasts}
    return _asset(tx, plan, text, forecasts, _Places(tx))


def _living_codes(tx: Tx, after_id: int) -> Iterator[str]:
    while True:
        page = list_facts(tx, ASSEMBLIES, open_only=True, after_id=after_id, limit=_PAGE)
        yield from (row.code for row in page.rows if not row.reversed)
        if page.next_after is None:
            return
        after_id = page.next_after


class _Places:
    """What agents call machines, and on which path their stations are."""

    def __init__(self, tx: Tx) -> None:
        self._tx = tx
        self._devices = {one.machine: one.device_uuid for one in list_feeds(tx)}
        self._paths: dict[str, dict[str, int]] = {}

    def device(self, machine: str) -> str | None:
        return self._devices.get(machine)

    def path(self, machine: str, station: str) -> int | None:
        """Path of a station; None where its machine has one path alone."""
        if not machine:
            return None
        if machine not in self._paths:
            found = stations_of(self._tx, machine_id_by_name(self._tx, machine))
            self._paths[machine] = {one.station: one.path for one in found}
        paths = self._paths[machine]
        return paths.get(station) if len(set(paths.values())) > 1 else None


def _asset(
    tx: Tx, plan: ShopPlan, text: str, forecasts: dict[str, Forecast], places: _Places
) -> ToolAsset:
    shown = show_assembly(tx, plan.shop.now, text)
    recipe, forecast = shown.recipe, forecasts.get(shown.code)
    stay = shown.stays[-1] if shown.station else None
    machine, _, station = (stay.station if stay else "").partition("/")
    return ToolAsset(
        code=shown.code,
        changed_at=_changed_at(shown),
        tool_spec=recipe.tool_spec,
        holder=recipe.holder,
        statuses=_statuses(shown, forecast),
        parts=_parts(shown, forecast),
        minutes=_minutes(shown, forecast),
        machine=machine or None,
        device=places.device(machine),
        station=station or None,
        tool_number=forecast.tool_number if forecast else None,
        path=places.path(machine, station),
        measures=tuple(_measures(shown)),
        cutting_item=recipe.cutting_item,
        grade=recipe.grade,
        lot=recipe.lot,
        edge=recipe.edge,
        pieces=len(recipe.pieces),
    )


def _changed_at(shown: AssemblyShown) -> datetime:
    instants = [shown.built_at]
    if shown.preset:
        instants.append(shown.preset.at)
    for stay in shown.stays:
        instants.append(stay.removed_at or stay.mounted_at)
    if shown.ended_at:
        instants.append(shown.ended_at)
    return max(instants)


def _statuses(shown: AssemblyShown, forecast: Forecast | None) -> tuple[str, ...]:
    found = [shown.cutter_status]
    if forecast is not None and forecast.why == BROKEN:
        found.append("BROKEN")
    if shown.preset and shown.preset.accepted:
        found.append("MEASURED")
    if shown.station:
        found.append("ALLOCATED")
    if shown.wear.parts:
        found.append("USED")
    return tuple(dict.fromkeys(found))


def _parts(shown: AssemblyShown, forecast: Forecast | None) -> LifeCounted:
    used = shown.wear.parts
    if forecast is None or forecast.swap_after_parts is None:
        return LifeCounted(used, None, None)
    limit = used + forecast.swap_after_parts
    p10 = forecast.parts_left["p10"]
    return LifeCounted(used, limit, limit if p10 is None else min(limit, used + p10))


def _minutes(shown: AssemblyShown, forecast: Forecast | None) -> LifeCounted | None:
    used = shown.wear.engaged_min
    if used is None:
        return None
    parts = _parts(shown, forecast)
    if not parts.used or parts.limit is None or parts.warning is None:
        return LifeCounted(used, None, None)
    each = used / parts.used
    return LifeCounted(used, each * parts.limit, each * parts.warning)


def _measures(shown: AssemblyShown) -> Iterator[MeasureShown]:
    preset, recipe = shown.preset, shown.recipe
    if preset is None or not preset.accepted:
        return
    for name, value, nominal in (
        ("LF", preset.lf_tenths_um, recipe.lf_nominal_tenths_um),
        ("WF", preset.wf_tenths_um, recipe.wf_nominal_tenths_um),
        ("HF", preset.hf_tenths_um, recipe.hf_nominal_tenths_um),
        ("RE", preset.re_tenths_um, recipe.nose_radius_tenths_um),
    ):
        if value is not None:
            yield MeasureShown(name, value, nominal)
