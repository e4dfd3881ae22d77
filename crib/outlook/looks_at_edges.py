"""What was seen of each edge's wear: lands measured at removals, growth that was corrected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from crib.life.observations import LAND_SEEN, SIZE_SEEN, WORN
from crib.life.wear import size_growth_mm
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.outlook.unseen import stays_up_to
from crib.stock.assembly import STAYS_BUILT
from crib.store.machine_rows import SizeStep
from crib.units import TENTHS_UM_PER_MM


class Look(NamedTuple):
    """The last look at an edge.

    Attributes:
        share: Share of the wear limit seen.
        at: Wear of the edge when it was seen [wear units].
        kind: ``LAND_SEEN`` or ``SIZE_SEEN``.
    """

    share: float
    at: float
    kind: int


#: Share of the growth at the limit under which a correction is one in the middle of a life.
_MIDDLE = 2 / 3


def looks_at_edges(shop: ShopNow) -> dict[int, Look]:
    """The last look at each edge, by assembly id; edges nobody looked at are left out.

    A measured land tells more than corrections, so it is taken where both belong to one stay.
    Of every other edge that was worn out a correction in the middle of its life is taken: its
    end is known, and the middle says how looks there are to be read.
    """
    worn = _worn_out(shop)
    corrected = _corrected(shop, worn)
    before: dict[int, float] = {}
    found: dict[int, Look] = {}
    for stay in shop.stays:
        assembly = stay.row.assembly_id
        used = before.get(assembly, 0.0)
        spec = shop.rows.specs[shop.rows.assemblies[assembly].tool_spec_id]
        land_mm = (stay.row.flank_wear_tenths_um or 0) / TENTHS_UM_PER_MM
        share, wear, middle = corrected.get(stay.row.mount_id, (0.0, 0.0, False))
        if land_mm and spec.wear_limit_mm and used + stay.wear > 0 and not middle:
            found[assembly] = Look(land_mm / spec.wear_limit_mm, used + stay.wear, LAND_SEEN)
        elif share > 0 and used + wear > 0:
            found[assembly] = Look(share, used + wear, SIZE_SEEN)
        before[assembly] = used + stay.wear
    return found


def _worn_out(shop: ShopNow) -> set[int]:
    """Mounts at whose end the edge was worn out."""
    return {
        stay.row.mount_id
        for stay in shop.stays
        if stay.row.end_us is not None
        and stay.row.reason not in STAYS_BUILT
        and shop.ending(stay.row) == WORN
    }


def _corrected(shop: ShopNow, worn: set[int]) -> Mapping[int, tuple[float, float, bool]]:
    """Share of the growth at the limit, wear by then, and whether in the middle; by mount."""
    shares: dict[int, tuple[float, bool]] = {}
    cut = []
    for stay in shop.stays:
        steps = shop.rows.size_corrections.get(stay.row.mount_id, ())
        seen = [(step, share) for step in steps if (share := _share(shop, stay, step)) > 0]
        if not seen:
            continue
        early = [one for one in seen if one[1] < _MIDDLE]
        middle = bool(early) and stay.row.mount_id in worn and stay.row.assembly_id % 2 == 0
        step, share = early[-1] if middle else seen[-1]
        shares[stay.row.mount_id] = share, middle
        cut.append(stay.row._replace(end_us=max(step.at_us, stay.row.begin_us)))
    by_then = stays_up_to(shop, cut)
    return {
        mount: (share, by_then[mount].wear, middle) for mount, (share, middle) in shares.items()
    }


def _share(shop: ShopNow, stay: Stay, step: SizeStep) -> float:
    station = shop.rows.stations.get(stay.row.station_id)
    spec = shop.rows.specs[shop.rows.assemblies[stay.row.assembly_id].tool_spec_id]
    if station is None or not spec.wear_limit_mm or not spec.clearance_deg:
        return 0.0
    limit_mm = float(
        size_growth_mm(
            spec.wear_limit_mm, spec.clearance_deg, on_diameter=bool(station.x_on_diameter)
        )
    )
    return abs(step.sum_tenths_um) / TENTHS_UM_PER_MM / limit_mm
