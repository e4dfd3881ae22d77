"""For which share of an unattended stretch a machine really cut, by its counts."""

from __future__ import annotations

import numpy as np

from crib.clock import instant_from_us
from crib.outlook.shop_now import ShopNow


class StretchesRun:
    """Shares of stretches that machines cut for; each is worked out once.

    Args:
        shop: The shop at the instant of judging.
    """

    def __init__(self, shop: ShopNow) -> None:
        self._shop = shop
        self._known: dict[tuple[int, int, int], float] = {}

    def share(self, machine_id: int | None, begin_us: int | None, end_us: int | None) -> float:
        """Parts made in a stretch over those that the machine makes in such a time, up to 1.

        Its pace is that of attended time: nobody lets it stand after a failure then.

        Without a reading after the stretch nobody knows, and it is taken to have run through.
        """
        if machine_id is None or begin_us is None or end_us is None:
            return 1.0
        stretch = machine_id, begin_us, end_us
        if stretch not in self._known:
            self._known[stretch] = self._share(*stretch)
        return self._known[stretch]

    def _share(self, machine_id: int, begin_us: int, end_us: int) -> float:
        machine = self._shop.machines.get(machine_id)
        if machine is None or not machine.output.at_us.size:
            return 1.0
        output = machine.output
        if int(output.at_us[0]) > begin_us or int(output.at_us[-1]) < end_us:
            return 1.0
        made = np.diff(output.total_at(np.array([begin_us, end_us])))
        if made[0] <= 0:
            return 0.0
        begin, end = instant_from_us(begin_us), instant_from_us(end_us)
        open_s = machine.calendar.running_seconds(begin, end) * machine.share.attended
        cycles = np.array([run.cycle_s for run in machine.began], dtype=np.float64)
        busy_s = output.used(cycles, np.array([begin_us]), np.array([end_us]))
        if (
            open_s <= 0 or busy_s[0] <= 0
        ):  # parts of no known run: how long they took is not known
            return 1.0
        return float(min(busy_s[0] / open_s, 1.0))
