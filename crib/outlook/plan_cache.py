"""Keeps the last plan of the shop until a fact or the clock makes it old."""

from __future__ import annotations

import threading
from datetime import datetime, timedelta

from crib.outlook.before_nights import with_swaps_in_time
from crib.outlook.keep_forecasts import ForecastKeeper
from crib.outlook.kept_shop import KeptShop
from crib.outlook.shop_plan import ShopPlan, plan_shop
from crib.planning.night import NIGHT_LIMIT
from crib.store.engine import Store
from crib.store.revisions import revision

#: A plan is made again when it is older than this although nothing was written.
STALE_AFTER = timedelta(seconds=20)


class PlanCache:
    """One plan at a time, shared by the threads of a process.

    Args:
        store: Where the facts are.
        stale_after: Age at which a plan is made again although nothing was written.
        night_limit: Chance of a failure that a machine may run with unattended.

    Attributes:
        night_limit: Of machines whose record gives none.
        keeper: Keeps the forecasts that were shown; gets every plan but those of the past.
    """

    def __init__(
        self,
        store: Store,
        stale_after: timedelta = STALE_AFTER,
        night_limit: float = NIGHT_LIMIT,
    ) -> None:
        self._store = store
        self.night_limit = night_limit
        self._stale_after = stale_after
        self._lock = threading.Lock()
        self._made: tuple[int, datetime, ShopPlan] | None = None
        self._kept = KeptShop()
        self.keeper = ForecastKeeper(store)

    def plan(self, now: datetime) -> ShopPlan:
        """The plan for now: from memory where nothing was written since it was made."""
        with self._lock:
            with self._store.read() as tx:
                present = revision(tx)
                made = self._made
                if (
                    made is None
                    or made[0] != present
                    or not (timedelta(0) <= now - made[1] <= self._stale_after)
                ):
                    before = made[2].model if made else None
                    plan = plan_shop(
                        tx,
                        now,
                        night_limit=self.night_limit,
                        kept=self._kept,
                        before=before,
                        left_out=made[2].shop.left_out.tools if made else None,
                    )
                    made = (present, now, with_swaps_in_time(plan))
                    self._made = made
                    self.keeper.show(made[2].expected)
            return made[2]

    def as_of(self, at: datetime) -> ShopPlan:
        """The plan from the facts dated up to an instant; never kept."""
        with self._store.read() as tx:
            return with_swaps_in_time(plan_shop(tx, at, night_limit=self.night_limit))
