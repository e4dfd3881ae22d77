"""Flank wear to expect on a key's edges: at a count, and the count for a land."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from crib.errors import Contradiction, Invalid
from crib.life.land import LandLaw, land_law
from crib.outlook.shop_plan import ShopPlan
from crib.sentence import sentence
from crib.views.keys_by_name import row_of_key
from crib.views.use_of_key import UseOfKey, use_of_key

_BAND: Final = (0.1, 0.5, 0.9)

LAND_CAUTION: Final = sentence(
    "A forecast for comparison. Measure the land: an edge can wear faster at any time."
)


@dataclass(frozen=True, slots=True)
class LandAtCount:
    """Lands at a count.

    Attributes:
        parts: The count.
        p10_mm: One edge in ten shows less [mm]; null: past the wear limit.
        p50_mm: Half show less [mm]; null: past the wear limit.
        p90_mm: Nine in ten show less [mm]; null: past the wear limit.
    """

    parts: float
    p10_mm: float | None
    p50_mm: float | None
    p90_mm: float | None


@dataclass(frozen=True, slots=True)
class CountOfLand:
    """Counts at which a land is to be expected.

    Attributes:
        land_mm: The land.
        p10: One edge in ten shows it by then [parts]; 0: from the first on; null: never.
        p50: Half show it by then [parts]; null: never so many.
        p90: Nine in ten show it by then [parts]; null: never so many.
    """

    land_mm: float
    p10: float | None
    p50: float | None
    p90: float | None


@dataclass(frozen=True, slots=True)
class LandOfKey:
    """Lands to expect on a key's edges.

    Attributes:
        key: Its name.
        machine: Where the edges run now, or ran last.
        station: Its station.
        part: What is made there.
        limit_mm: The wear limit.
        lands: Lands measured on edges of the key; 0: as for any edge of the shop.
        at: Lands at the count asked about; null: none asked.
        reached: Counts of the land asked about; null: none asked.
        caution: What to keep in mind.
    """

    key: str
    machine: str
    station: str
    part: str
    limit_mm: float
    lands: int
    at: LandAtCount | None
    reached: CountOfLand | None
    caution: str


def land_of_key(
    plan: ShopPlan, name: str, *, parts: float | None = None, land_mm: float | None = None
) -> LandOfKey:
    """Lands to expect at a count, or counts of a land, on new edges of a key.

    Args:
        plan: The shop's plan.
        name: ``ITEM~GROUP~OPERATION`` as forecasts give it.
        parts: A count; None: not asked.
        land_mm: A land; None: not asked.

    Raises:
        NotKnown: No edge of that key was ever mounted.
        Contradiction: No part was counted with it, or its spec has no wear limit.
        OutsideModel: A land that run-in alone makes, or past the limit.
        Invalid: Neither is asked.
    """
    if parts is None and land_mm is None:
        raise Invalid(
            sentence("Give parts, land_mm, or both."),
            errors=[{"field": "parts", "detail": sentence("is missing")}],
        )
    row = row_of_key(plan, name)
    use = use_of_key(plan, row)
    limit = use.spec.wear_limit_mm
    if not limit:
        raise Contradiction(
            sentence(
                "Tool spec {spec} has no wear limit, so no land is to be expected. Fill in "
                "wear_limit_mm.",
                spec=use.spec.tool_spec,
            )
        )
    law = land_law(plan.model, row)
    return LandOfKey(
        name,
        use.machine,
        use.station,
        use.part,
        limit,
        law.lands,
        None if parts is None else _at(law, use, limit, parts),
        None if land_mm is None else _reached(law, use, limit, land_mm),
        LAND_CAUTION,
    )


def _at(law: LandLaw, use: UseOfKey, limit: float, parts: float) -> LandAtCount:
    age = parts * use.wear_per_part
    less, half, most = (
        share * limit if share < 1 else None for share in law.share_at(age, _BAND)[0].tolist()
    )
    return LandAtCount(parts, less, half, most)


def _reached(law: LandLaw, use: UseOfKey, limit: float, land_mm: float) -> CountOfLand:
    ages = law.age_of(land_mm / limit, _BAND)
    early, half, late = (
        None if math.isnan(age) else age / use.wear_per_part for age in ages.tolist()
    )
    return CountOfLand(land_mm, early, half, late)
