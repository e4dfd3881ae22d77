"""What is said of a machine around the end of its run hangs smoothly on clock and counts."""

from datetime import timedelta
from random import Random

import pytest

from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.outlook.time_ahead import time_ahead
from crib.records.catalogue import RUNS
from crib.store.records import get_record, update_record
from tests.store.test_forecast import CYCLE, Floor

QUANTITY = 300

#: What one part more or less may move: the expected rest of an overrun moves by 19 parts.
PARTS_PER_PART = 20


@pytest.fixture
def floor(store, shop):
    floor = Floor(store, shop)
    with store.write() as tx:
        version = get_record(tx, RUNS, floor.run)["version"]
        update_record(tx, RUNS, floor.run, {"quantity": QUANTITY}, version)
    floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, 0)]))
    return floor


class Seen:
    """What a plan says of the machine at an instant."""

    def __init__(self, plan):
        night = next(one for one in plan.nights if one.machine == "M1")
        machine_id, machine = next(
            found for found in plan.shop.machines.items() if found[1].ahead.machine == "M1"
        )
        steps = machine.ahead.segments.steps
        self.at, self.chance, self.safe = plan.shop.now, night.as_planned, night.safe
        self.parts = sum(parts for run, parts in steps if run == 0)
        self.left = plan.forecasts[0].parts_left["p50"]
        self.used = plan.forecasts[0].share_used
        self.wear = plan.forecasts[0].basis.wear_per_part
        self.untold = machine.rest.untold
        self.job = time_ahead(plan.shop, machine_id, 20).job


def test_the_verdict_stands_between_two_counts_at_the_last_part(floor):
    floor.make(QUANTITY - 30)
    floor.mount(floor.sister())
    floor.make(29, every=1)

    looks = [Seen(floor.plan(floor.now + timedelta(minutes=6 * n))) for n in range(11)]

    assert {seen.safe for seen in looks} == {True}
    assert max(seen.chance for seen in looks) < 1e-3
    assert max(seen.parts for seen in looks) <= 1
    # the part in the machine stays the one that parts are counted in
    assert None not in {seen.left for seen in looks}
    assert all(seen.job.left in (0, 1) and seen.job.done_at is not None for seen in looks)


@pytest.mark.parametrize("seed", range(2))
def test_clock_and_counts_move_nothing_by_more_than_their_parts(floor, seed):
    dice = Random(seed)  # noqa: S311 - no secret
    floor.make(QUANTITY - 30)
    floor.mount(floor.sister())
    before, told, moved = Seen(floor.plan()), floor.count, 0
    for _ in range(25):
        wait = dice.choice([0.4, 1, 3, 10, 40]) * CYCLE
        floor.now += wait
        if dice.random() < 0.6:
            floor.count += dice.randrange(7)
            floor.act(report_counts, ReportCounts("M1", [CountReading(floor.now, floor.count)]))
        seen = Seen(floor.plan())
        # a count that says less than was expected takes that back, and no more
        parts = wait / CYCLE + floor.count - told + before.untold
        assert abs(seen.parts - before.parts) <= PARTS_PER_PART * parts + 1
        assert abs(seen.chance - before.chance) <= 3 * PARTS_PER_PART * parts * seen.wear
        assert abs(seen.used - before.used) <= (parts + 1) * seen.wear
        moved += seen.safe != before.safe
        before, told = seen, floor.count
    assert floor.count > QUANTITY
    assert moved <= 2  # it may become safe as the run ends, and unsafe as it goes on


def test_a_run_past_its_quantity_is_taken_to_go_on(floor):
    floor.make(QUANTITY)
    floor.mount(floor.sister())
    floor.make(60)

    seen = Seen(floor.plan())

    assert seen.parts == pytest.approx(19 * 60, abs=1)
    assert seen.chance > 0.02  # it runs through the night by all that is seen
    assert seen.job.left is None
