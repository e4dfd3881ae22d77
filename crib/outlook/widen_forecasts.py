"""How much wider each key's forecasts have to be, from what followed the ones shown."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crib.arrays import Floats
from crib.floor.timeline import us_of
from crib.life.widening import shown_lives, widening
from crib.outlook.kept_outcomes import GOING_ON, NOT_JUDGED, Outcome, outcomes
from crib.outlook.shop_now import ShopNow
from crib.outlook.stays import Key
from crib.sentence import figure, sentence
from crib.store.engine import Tx
from crib.store.kept_rows import KeptForecast, first_of_stays

#: Stays wanted per key beside the running ones, and the most looked at: where there are more,
#: every second, third, … one. The last thirty tell nearly all.
_ENDED_STAYS, _MOST_STAYS = 48, 128

#: From this factor on a key is pointed out: chance alone seldom gives as much.
POINTED_OUT = 1.2


@dataclass(frozen=True, slots=True)
class Distrust:
    """A key whose forecasts ran wrong.

    Attributes:
        key: Its name.
        widening: Factor by which its lives are now stretched about their median.
        sentence: The same in words.
    """

    key: str
    widening: float
    sentence: str


def widening_of_keys(tx: Tx, shop: ShopNow, keys: Sequence[Key]) -> Floats:
    """Factor from 1 up for each key's life distribution, shape (keys,).

    The first forecast of each edge counts, so that lives are independent of each other.

    Args:
        tx: An open transaction.
        shop: The shop; forecasts and facts dated up to its instant are looked at.
        keys: Keys of the life model, in its order.
    """
    names = [key.text(shop.rows.items) for key in keys]
    number = {name: place for place, name in enumerate(names)}
    kept = _first_ones(tx, shop, dict(zip(keys, names, strict=True)))
    told = _of_edges(kept, outcomes(shop, kept))
    rows = [row for row, _ in told]
    ended = [outcome for _, outcome in told]
    age = np.array([row.age for row in rows])
    good = np.array([one.good_wear for one in ended])
    failed = np.array([one.failed_wear if one.state == "worn" else math.inf for one in ended])
    shown = shown_lives(
        [number[row.life_key] for row in rows],
        [row.life_p10 for row in rows],
        [row.life_p50 for row in rows],
        [row.life_p90 for row in rows],
        [row.widening for row in rows],
        age,
        age + good,
        age + failed,
        [one.state == GOING_ON for one in ended],
    )
    return widening(shown, len(names))


def _first_ones(tx: Tx, shop: ShopNow, names: Mapping[Key, str]) -> list[KeptForecast]:
    """The latest first forecasts of stays of each key, by number: the running ones and more.

    Edges that go on belong to it: without them those that live long would be missed.
    """
    running = Counter(stay.key for stay in shop.stays if stay.row.end_us is None)
    alike: dict[int, list[str]] = defaultdict(list)
    for key, name in names.items():
        alike[-(-(_ENDED_STAYS + running[key]) // _MOST_STAYS)].append(name)
    until_us = us_of(shop.now)
    found = [
        row
        for every, some in alike.items()
        for row in first_of_stays(tx, some, until_us, _MOST_STAYS, every)
    ]
    return sorted(found, key=lambda row: row.id)


def _of_edges(
    kept: Sequence[KeptForecast], ends: Sequence[Outcome]
) -> list[tuple[KeptForecast, Outcome]]:
    """The earliest forecast that stands of each edge, with what followed."""
    first: dict[int, tuple[KeptForecast, Outcome]] = {}
    for row, outcome in zip(kept, ends, strict=True):
        if outcome.state not in NOT_JUDGED:
            first.setdefault(row.assembly_id, (row, outcome))
    return list(first.values())


def distrusted(shop: ShopNow, keys: Sequence[Key], factors: Floats) -> list[Distrust]:
    """Keys whose forecasts ran wrong, the worst first.

    A key that no edge has cut under has the shop's factor: of its forecasts nothing is known.

    Args:
        shop: The shop.
        keys: Keys of the life model.
        factors: What ``widening_of_keys`` gave for them.
    """
    cut = {stay.key for stay in shop.stays}
    used = [
        (key.text(shop.rows.items), factor)
        for key, factor in zip(keys, factors.tolist(), strict=True)
        if key in cut
    ]
    found = [
        Distrust(
            name,
            factor,
            sentence(
                "Forecasts of {name} were wrong: lives ended about {factor} times as "
                "far from the median as forecast. Its ranges stay that much wider "
                "until the forecasts fit again.",
                name=name,
                factor=figure(factor, ".1f"),
            ),
        )
        for name, factor in used
        if factor >= POINTED_OUT
    ]
    return sorted(found, key=lambda one: -one.widening)
