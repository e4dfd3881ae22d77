"""What is known of every mounted edge before any swap is planned: lives, model, what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from crib.life.fitting import fit_life_model
from crib.life.model import LifeModel
from crib.outlook.cuts_ahead import CutAhead, cuts_ahead
from crib.outlook.doubted_ages import doubted_ages
from crib.outlook.lives import Lives, gather_lives, table_of_keys
from crib.outlook.mounted_edges import mounted_edges
from crib.outlook.scale_nights import scale_of_nights
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Stay
from crib.outlook.to_put_right import ToPutRight
from crib.outlook.vacancies import Vacancy, vacancies_of
from crib.outlook.widen_forecasts import widening_of_keys
from crib.planning.due import EdgesDue, MountedEdge, edges_due, sound_rows
from crib.store.engine import Tx


@dataclass(frozen=True, slots=True)
class ExpectedLives:
    """The shop's edges and how long each will last.

    Attributes:
        shop: The shop.
        ahead: What the runs ahead take from mounted edges, by mount id.
        lives: Keys, and the lives seen.
        model: The life model fitted to them.
        mounted: Stays of the mounted edges whose key is known.
        edges: The same as the planner takes them, in this order, and after them the new
            edges that will cut in ``vacancies``.
        due: What lies ahead of them, likewise.
        vacancies: Stations that a run needs a tool in and that have none.
        night_scale: Factor on the hazard of unattended stretches, from how earlier ones went.
        doubted: What to ask of mounted edges whose age is not believed, by mount.
    """

    shop: ShopNow
    ahead: Mapping[int, CutAhead]
    lives: Lives
    model: LifeModel
    mounted: list[Stay]
    edges: list[MountedEdge]
    due: EdgesDue
    vacancies: list[Vacancy]
    night_scale: float = 1.0
    doubted: Mapping[int, ToPutRight] = field(default_factory=dict)


def expect_lives(tx: Tx, shop: ShopNow, before: LifeModel | None = None) -> ExpectedLives:
    """Fit the life model to the shop's lives and look ahead along its runs.

    Args:
        tx: An open transaction.
        shop: The shop.
        before: The last model, to go on from where lives were only added.
    """
    ahead = cuts_ahead(shop)
    vacancies, missing, failed = vacancies_of(shop)
    shop = shop.telling(failed, missing)
    lives = gather_lives(shop, [*ahead.values(), *(one.cut for one in vacancies)])
    wider = widening_of_keys(tx, shop, lives.keys)
    model = fit_life_model(
        table_of_keys(shop, lives), lives.histories, wider, before, lives.running
    )
    mounted, edges = mounted_edges(shop, ahead, lives)
    machines, count = shop.ahead, len(edges)
    edges += _edges_to_come(shop, vacancies, lives)
    due = edges_due(machines, edges, model)
    sound = sound_rows(edges, due)
    if not sound[count:].all():  # an edge that is not there yet is never at fault
        edges = [one for row, one in enumerate(edges) if row < count or sound[row]]
        due = edges_due(machines, edges, model)
    scale = scale_of_nights(tx, shop)
    doubted = doubted_ages(shop, mounted, edges, model)
    shop = shop.telling((), doubted.values())
    return ExpectedLives(
        shop, ahead, lives, model, mounted, edges, due, vacancies, scale, doubted
    )


def _edges_to_come(
    shop: ShopNow, vacancies: Sequence[Vacancy], lives: Lives
) -> list[MountedEdge]:
    place = {machine_id: index for index, machine_id in enumerate(shop.machines)}
    number = {key: index for index, key in enumerate(lives.keys)}
    found = []
    for one in vacancies:
        machine_id = shop.rows.stations[one.station_id].machine_id
        edge = one.edge(place[machine_id], number)
        if edge is not None:
            found.append(edge)
    return found
