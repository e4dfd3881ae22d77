"""The supervisor of the demo looks at forecasts: two afternoons a week, before the night."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from crib.demo.state import Hours
from crib.outlook.collector import collector_rests
from crib.outlook.expected_lives import expect_lives
from crib.outlook.keep_forecasts import keep_all
from crib.outlook.own_constants import refine_view
from crib.outlook.shop_now import read_shop
from crib.store.engine import Tx

#: Monday and Thursday, at the start of the late shift. Each look takes up to a fifth of a
#: second, so more of them would delay the demo.
_DAYS, _HOUR = (0, 3), 14


def looks_between(hours: Hours, begin: datetime, until: datetime) -> Iterator[datetime]:
    """Instants of the looks after an instant, up to another.

    Args:
        hours: The shop's hours.
        begin: Not this instant itself.
        until: Up to and with this one.
    """
    day = hours.local(begin).replace(hour=_HOUR, minute=0, second=0, microsecond=0)
    while (at := day.astimezone(UTC)) <= until:
        if at > begin and day.weekday() in _DAYS:
            yield at
        day += timedelta(days=1)


def look(tx: Tx, at: datetime) -> int:
    """Look at the forecasts of an instant, from the facts dated up to it, and keep them.

    Returns:
        How many were kept.
    """
    with collector_rests():
        return keep_all(tx, expect_lives(tx, refine_view(read_shop(tx, at))))
