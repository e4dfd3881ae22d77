"""What was seen of each edge's wear: lands measured at removals, growth that was corrected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from crib.life.observations import LAND_SEEN, SIZE_SEEN
from crib.life.wear import size_growth_mm
from crib.usecases.shop_view import ShopView
from crib.usecases.stays import Stay
from crib.usecases.unseen import stays_up_to


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


def looks_at_edges(view: ShopView) -> dict[int, Look]:
    """The last look at each edge, by assembly id; edges nobody looked at are left out.

    A measured land tells more than corrections, so it is taken where both belong to one stay.
    """
    corrected = _corrected(view)
    before: dict[int, float] = {}
    found: dict[int, Look] = {}
    for stay in view.stays:
        assembly = stay.row.assembly_id
        used = before.get(assembly, 0.0)
        spec = view.rows.specs[view.rows.assemblies[assembly].tool_spec_id]
        land_mm = (stay.row.flank_wear_tenths_um or 0) / 10_000
        if land_mm and spec.wear_limit_mm and used + stay.wear > 0:
            found[assembly] = Look(land_mm / spec.wear_limit_mm, used + stay.wear, LAND_SEEN)
        elif stay.row.mount_id in corrected:
            share, wear = corrected[stay.row.mount_id]
            if used + wear > 0:
                found[assembly] = Look(share, used + wear, SIZE_SEEN)
        before[assembly] = used + stay.wear
    return found


def _corrected(view: ShopView) -> Mapping[int, tuple[float, float]]:
    """Share of the growth at the wear limit corrected in a stay, and its wear by then."""
    shares: dict[int, float] = {}
    cut = []
    for stay in view.stays:
        said = view.rows.size_corrections.get(stay.row.mount_id)
        share = _share(view, stay, said[1]) if said else 0.0
        if said and share > 0:
            shares[stay.row.mount_id] = share
            cut.append(stay.row._replace(end_us=max(said[2], stay.row.begin_us)))
    by_then = stays_up_to(view, cut)
    return {mount: (share, by_then[mount].wear) for mount, share in shares.items()}


def _share(view: ShopView, stay: Stay, change_tenths_um: int) -> float:
    station = view.rows.stations.get(stay.row.station_id)
    spec = view.rows.specs[view.rows.assemblies[stay.row.assembly_id].tool_spec_id]
    if station is None or not spec.wear_limit_mm or not spec.clearance_deg:
        return 0.0
    limit_mm = float(
        size_growth_mm(
            spec.wear_limit_mm, spec.clearance_deg, on_diameter=bool(station.x_on_diameter)
        )
    )
    return abs(change_tenths_um) / 10_000 / limit_mm
