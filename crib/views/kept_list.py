"""Forecasts as they were shown, one by one, with what then happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from crib.clock import instant_from_us, instant_or_none
from crib.floor.timeline import us_of
from crib.left_out import at_once, worked_out
from crib.outlook.judged_forecasts import Judged, judge_forecasts
from crib.outlook.kept_outcomes import NOT_JUDGED, Outcome, outcomes
from crib.outlook.shop_now import ShopNow
from crib.planning.night_scale import under_scale
from crib.sentence import sentence
from crib.store.engine import Tx
from crib.store.kept_rows import KeptForecast, kept_page


@dataclass(frozen=True, slots=True)
class KeptQuantiles:
    """Amounts by which that share of such edges has failed."""

    p05: float
    p10: float
    p25: float
    p50: float
    p75: float
    p90: float
    p95: float


@dataclass(frozen=True, slots=True)
class KeptListed:
    """One forecast as it was shown, and what followed; wear in wear units of then.

    Attributes:
        id: Its number.
        at: Instant that it was made for.
        occasion: shift, the first of its shift, or last, the last before the removal.
        mount: The mount that it was made for.
        assembly: Code of the assembly; None where it was taken back.
        machine: The machine; None where mount or station were taken back.
        station: MACHINE/STATION; None where either was taken back.
        key: Name of the life law, for /v1/life/KEY.
        share_used: Wear on the edge, of the life that the constants promised.
        wear_per_part: Wear units per part.
        parts_left: Parts still to go.
        wear_left: The same in wear units.
        lasts_shift: Chance to last the shift.
        shift_ends_at: When that shift ended.
        fails_unattended: Chance to fail in the next unattended stretch, if it sees it.
        unattended_begins_at: Begin of that stretch.
        unattended_ends_at: Its end.
        life_p10: Wear-out life of a new edge that 10 % do not reach.
        life_p50: Its median.
        life_p90: Life that 10 % reach.
        widening: Factor by which lives were stretched about their median.
        night_scale: Factor that ``fails_unattended`` stands under; None: none was kept.
        outcome: going_on, worn, broken, taken_out_early, taken_back, failed_before.
        good_at: When the edge was last known to be good.
        failed_at: When it was known to have failed.
        lasted_shift: Whether it did; None where that is not known.
        lasted_unattended: The same of the unattended stretch.
        place_low: Share of like edges that the forecast said would fail sooner, at least.
        place_high: The same at most; 1 where it has not failed.
    """

    id: int
    at: datetime
    occasion: str
    mount: int
    assembly: str | None
    machine: str | None
    station: str | None
    key: str
    share_used: float
    wear_per_part: float
    parts_left: KeptQuantiles
    wear_left: KeptQuantiles
    lasts_shift: float
    shift_ends_at: datetime
    fails_unattended: float | None
    unattended_begins_at: datetime | None
    unattended_ends_at: datetime | None
    life_p10: float
    life_p50: float
    life_p90: float
    widening: float
    night_scale: float | None
    outcome: str
    good_at: datetime | None
    failed_at: datetime | None
    lasted_shift: bool | None
    lasted_unattended: bool | None
    place_low: float | None
    place_high: float | None


@dataclass(frozen=True, slots=True)
class KeptPage:
    """Forecasts by ascending number.

    Attributes:
        rows: Those that could be judged.
        problems: A sentence for each that could not.
        following: Number after which the next page goes on; None where this is the last.
    """

    rows: tuple[KeptListed, ...]
    problems: tuple[str, ...]
    following: int | None


def list_kept(
    tx: Tx,
    shop: ShopNow,
    *,
    assembly_id: int | None = None,
    machine_id: int | None = None,
    after_id: int = 0,
    limit: int = 100,
) -> KeptPage:
    """Forecasts shown up to now, by ascending number, judged by the facts.

    Args:
        tx: An open transaction.
        shop: The shop at the instant of judging.
        assembly_id: Only of this assembly.
        machine_id: Only of edges in this machine.
        after_id: Only greater numbers.
        limit: How many at most.
    """
    found = kept_page(
        tx,
        until_us=us_of(shop.now),
        after_id=after_id,
        limit=limit + 1,
        assembly_id=assembly_id,
        machine_id=machine_id,
    )
    kept = found[:limit]

    def judge(rows: Sequence[KeptForecast]) -> list[tuple[KeptForecast, Outcome, Judged, int]]:
        ends = outcomes(shop, rows)
        judged = judge_forecasts(rows, ends, us_of(shop.now))
        ended = enumerate(zip(rows, ends, strict=True))
        return [(row, end, judged, place) for place, (row, end) in ended]

    def failed(row: KeptForecast) -> str:
        built = shop.rows.assemblies.get(row.assembly_id)
        tool = built.code if built else row.assembly_id
        return sentence(
            "Forecast {id} of tool {tool} could not be judged, so it is not "
            "listed. Check its mount, its removal and the counts between them. The "
            "service log has the details.",
            id=row.id,
            tool=tool,
        )

    told, not_judged = at_once(kept, judge, failed)
    seats = {stay.mount_id: stay.station_id for stay in shop.rows.stays}
    listed = worked_out(
        told, lambda one: _listed(shop, seats, *one), lambda one: failed(one[0])
    )
    following = kept[-1].id if len(found) > limit else None
    return KeptPage(tuple(listed), (*not_judged, *listed.problems), following)


def _listed(
    shop: ShopNow,
    seats: dict[int, int],
    row: KeptForecast,
    end: Outcome,
    judged: Judged,
    place: int,
) -> KeptListed:
    station = shop.rows.stations.get(seats.get(row.mount_id, -1))
    built = shop.rows.assemblies.get(row.assembly_id)
    known = end.state not in NOT_JUDGED
    return KeptListed(
        id=row.id,
        at=instant_from_us(row.at_us),
        occasion=row.occasion,
        mount=row.mount_id,
        assembly=built.code if built else None,
        machine=station.machine if station else None,
        station=f"{station.machine}/{station.station}" if station else None,
        key=row.life_key,
        share_used=row.age,
        wear_per_part=row.wear_per_part,
        parts_left=_quantiles([wear / row.wear_per_part for wear in row.left]),
        wear_left=_quantiles(row.left),
        lasts_shift=row.lasts_shift,
        shift_ends_at=instant_from_us(row.shift_ends_us),
        fails_unattended=_shown(row),
        unattended_begins_at=instant_or_none(row.unattended_begins_us),
        unattended_ends_at=instant_or_none(row.unattended_ends_us),
        life_p10=row.life_p10,
        life_p50=row.life_p50,
        life_p90=row.life_p90,
        widening=row.widening,
        night_scale=row.night_scale,
        outcome=end.state,
        good_at=instant_from_us(end.good_us) if known else None,
        failed_at=instant_or_none(end.failed_us) if known else None,
        lasted_shift=_yes_no(int(judged.shift[place])) if known else None,
        lasted_unattended=_yes_no(int(judged.night[place])) if known else None,
        place_low=float(judged.low[place]) if known else None,
        place_high=float(judged.high[place]) if known else None,
    )


def _shown(row: KeptForecast) -> float | None:
    if row.fails_unattended is None:
        return None
    return float(under_scale(row.fails_unattended, row.night_scale or 1.0))


def _quantiles(values: Sequence[float]) -> KeptQuantiles:
    return KeptQuantiles(*values)


def _yes_no(known: int) -> bool | None:
    return bool(known) if known >= 0 else None
