"""Mounted edges that have come so far that a person is asked whether that can be."""

from __future__ import annotations

from collections.abc import Sequence

from crib.life.model import LifeModel
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.outlook.to_put_right import DOUBTED_AGE, ToPutRight
from crib.planning.due import MountedEdge
from crib.sentence import figure, sentence


def doubted_ages(
    shop: ShopNow, mounted: Sequence[Stay], edges: Sequence[MountedEdge], model: LifeModel
) -> dict[int, ToPutRight]:
    """What to ask of each edge whose age the life model does not believe, by its mount.

    Args:
        shop: The shop.
        mounted: Stays of the mounted edges.
        edges: The same as the planner takes them; more may follow that are not mounted yet.
        model: The life model.
    """
    doubted, found = model.running.doubted, {}
    for stay, edge in zip(mounted, edges, strict=False):
        if edge.own >= 0 and doubted[edge.own]:
            station = shop.rows.stations[edge.station_id]
            seat = f"{station.machine}/{station.station}"
            text = sentence(
                "Was {station} changed without a scan? {tool} would have run {times} times its "
                "usual life. Scan the tool that is in there now, or correct the count.",
                tool=shop.rows.assemblies[stay.row.assembly_id].code,
                station=seat,
                times=figure(edge.age / model.usual_life(edge.key), ".0f"),
            )
            found[stay.row.mount_id] = ToPutRight(
                DOUBTED_AGE, station.machine, text, station.station, station.code
            )
    return found
