"""Constants from the shop's own edges, and what the forecast makes of them."""

import itertools
import math
import shutil
from datetime import timedelta

import numpy as np
import pytest

from crib.acts.build_assembly import BuildAssembly, build_assembly
from crib.acts.mount_tool import MountTool, mount_tool
from crib.acts.preset_tool import PresetTool, preset_tool
from crib.acts.remove_tool import RemoveTool, remove_tool
from crib.acts.report_counts import CountReading, ReportCounts, report_counts
from crib.metrology.preset import Reading
from crib.outlook.lives_by_cut import lives_by_cut
from crib.outlook.shop_now import read_shop
from crib.outlook.shop_plan import plan_shop
from crib.planning.cut_asked import SPEED
from crib.records.catalogue import PARTS, RUNS, TOOL_LIFE
from crib.store.engine import Store
from crib.store.records import get_record, insert_record, update_record
from crib.views.cut_of_key import cut_of_key
from crib.views.keys_by_name import key_names
from crib.views.use_of_key import use_of_key
from tests.gauges import checked_gauge

READINGS = [Reading(800_010, 160_005, None, 8_000), Reading(800_020, 160_001, None, 8_000)]
SPEEDS = (90.0, 120.0, 160.0)
NOISE = (0.85, 1.1, 0.95, 1.2, 1.0, 0.9)  # of six lives at each speed


class Floor:
    """M1 turns pins of one steel at several speeds, one edge after the other."""

    def __init__(self, store, shop):
        self.store, self.shop = store, shop
        self.now = shop.start + timedelta(minutes=10)
        self.count, self.run = 0, shop.ids["runs"]["M1"]
        self.act(report_counts, ReportCounts("M1", [CountReading(self.now, 0)]))

    def act(self, verb, command):
        with self.store.write() as tx:
            return verb(tx, self.now, command)

    def run_at(self, speed, group="M"):
        """End the run and begin one of a pin that is like PIN-8 but for its speed."""
        part = f"PIN-{speed:g}-{group}"
        self.now += timedelta(minutes=1)
        with self.store.write() as tx:
            version = get_record(tx, RUNS, self.run)["version"]
            update_record(tx, RUNS, self.run, {"state": "done", "end_at": self.now}, version)
            like = get_record(tx, PARTS, self.shop.ids["parts"]["PIN-8"])
            turn = {
                name: value
                for name, value in like["operations"][0].items()
                if name not in ("id", "part_id")
            }
            insert_record(
                tx,
                PARTS,
                {
                    "part": part,
                    "material": "a steel",
                    "material_group": group,
                    "bar_diameter_mm": 10.0,
                    "part_length_mm": 40.0,
                    "cutoff_width_mm": 2.0,
                    "cycle_s": 45.0,
                    "operations": [turn | {"cutting_speed_m_min": speed}],
                },
            )
            self.run = insert_record(
                tx,
                RUNS,
                {
                    "machine": "M1",
                    "part": part,
                    "quantity": 9_000,
                    "start_at": self.now,
                    "state": "running",
                },
            )

    def live(self, parts, reason="worn_early"):
        """Mount an edge, make parts, take it out."""
        self.mount()
        self.make(parts)
        self.act(remove_tool, RemoveTool(reason, "M1/T01"))

    def mount(self):
        code = self.act(build_assembly, BuildAssembly("TURN-OD", "TH-1", "LOT-I1")).code
        with self.store.write() as tx:
            gauge = checked_gauge(tx, self.now)
        self.act(preset_tool, PresetTool(code, READINGS, gauge))
        self.act(mount_tool, MountTool("M1/T01", code))

    def make(self, parts):
        self.now += timedelta(seconds=45) * parts
        self.count += parts
        told = self.act(report_counts, ReportCounts("M1", [CountReading(self.now, self.count)]))
        assert not told.refused

    def plan(self, at=None):
        with self.store.read() as tx:
            return plan_shop(tx, at or self.now)


def parts_of_a_life(speed, power=3.0, noise=1.0):
    """Edges here live 20 min at 120 m/min, and as v^-power; the shop believes in v^-4."""
    minutes_per_part = 30 * math.pi * 10 / (0.08 * 1000 * speed)
    return round(20 * (120 / speed) ** power * noise / minutes_per_part)


@pytest.fixture
def floor(store, shop):
    return Floor(store, shop)


@pytest.fixture(scope="module")
def lived(_shop_template, tmp_path_factory):
    """Six edges worn out at each of three speeds, then one mounted at the middle one.

    Only to be looked at: every test gets the same.
    """
    path = tmp_path_factory.mktemp("lived") / "crib.db"
    shutil.copy(_shop_template[0], path)
    store = Store(f"sqlite:///{path}")
    floor = Floor(store, _shop_template[1])
    for speed in SPEEDS:
        floor.run_at(speed)
        for noise in NOISE:
            floor.live(parts_of_a_life(speed, noise=noise))
    floor.run_at(130.0)
    floor.mount()
    floor.make(10)
    yield floor
    store.close()


def test_exponents_come_from_the_shops_own_edges(lived):
    (one,) = lived.plan().shop.estimates

    found = one.estimate
    assert found.used, found.why
    assert (found.ended, found.cut_short, one.mixed) == (18, 0, 0)
    assert (one.in_force.basis, one.in_force.constants.n) == ("tool_life", 0.25)
    assert abs(1 / found.constants.n - 3.0) < 2 * found.standard_errors["n"] * 9
    assert 1 / found.constants.n < 3.6
    assert found.holds.cutting_speed_m_min == pytest.approx((90, 160))


def test_lives_at_different_speeds_fall_on_one_line(lived):
    plan = lived.plan()
    with lived.store.read() as tx:
        raw = read_shop(tx, lived.now)

    def middle(wear):
        return [np.median(wear[i : i + 6]) for i in (0, 6, 12)]

    before = middle(np.array([stay.wear for stay in raw.stays if stay.row.reason]))
    after = middle(plan.histories.wear)
    # as the shop's constants have it the fast edges live on and on: (160/90)^(4-3)
    assert max(before) / min(before) == pytest.approx(160 / 90, rel=0.02)
    assert max(after) / min(after) < 1.3
    assert before[1] == pytest.approx(after[1], rel=0.1)  # near the usual speed nothing moved


def test_the_forecast_says_that_it_stands_on_the_shops_own_lives(lived):
    (forecast,) = lived.plan().forecasts

    assert forecast.basis.prior == "own_lives"
    assert forecast.parts_left["p50"] == pytest.approx(parts_of_a_life(130.0), rel=0.25)


def test_a_speed_for_a_wanted_life_goes_by_the_shops_own_exponent(lived):
    plan = lived.plan()
    (name,) = key_names(plan)
    use = use_of_key(plan, 0)
    today = use.operations[0].cutting_speed_m_min
    usual = float(plan.model.remaining(0, 0.0, use.wear_per_part, [0.5])[0, 0])
    wanted = 1.5 * usual / use.wear_per_part

    found = cut_of_key(plan, name, SPEED, wanted)

    assert found.own_lives
    assert "from your own edges" in found.says
    assert found.exponent == pytest.approx(1 / 3, rel=0.1)
    # half of what was uncertain about 1/n is gone
    assert found.exponent_error < 0.5 * 0.3 * found.exponent
    half = found.found[0]
    # parts go with v**(1 - 1/n), and edges here live as v**-3
    assert half.value == pytest.approx(today * 1.5**-0.5, rel=0.05)
    assert half.low < today * 1.5**-0.5 < half.high


def test_as_of_an_earlier_instant_nothing_was_known_yet(lived):
    early = lived.plan(lived.shop.start + timedelta(hours=1))

    (one,) = early.shop.estimates
    assert not one.estimate.used
    assert early.forecasts[0].basis.prior == "tool_life"


def test_edges_of_one_speed_leave_the_constants_alone(floor):
    floor.run_at(120.0)
    for noise in (*NOISE, *NOISE):
        floor.live(parts_of_a_life(120.0, noise=noise))
    floor.mount()

    plan = floor.plan()

    (one,) = plan.shop.estimates
    assert "one speed" in one.estimate.why
    assert plan.forecasts[0].basis.prior == "tool_life"


def test_an_edge_that_wore_on_two_materials_is_left_out(floor):
    with floor.store.write() as tx:
        insert_record(
            tx,
            TOOL_LIFE,
            {
                "tool_material": "coated_carbide",
                "material_group": "P",
                "n": 0.25,
                "c_m_min": 300.0,
            },
        )
    floor.run_at(90.0, "P")
    floor.mount()
    floor.make(50)
    floor.run_at(120.0, "M")
    floor.make(50)
    floor.act(remove_tool, RemoveTool("worn_early", "M1/T01"))

    (one,) = floor.plan().shop.estimates

    assert (one.mixed, one.estimate.ended) == (1, 0)


def test_edges_that_came_out_as_planned_count_as_longer(floor):
    for speed, noise in itertools.product(SPEEDS, NOISE):
        if noise == NOISE[0]:
            floor.run_at(speed)
        floor.live(
            parts_of_a_life(speed, noise=noise),
            "worn as planned" if noise > 1 else "worn_early",
        )

    (one,) = floor.plan().shop.estimates

    assert (one.estimate.ended, one.estimate.cut_short) == (12, 6)


def test_an_edge_found_worn_in_the_morning_ended_half_way_through_the_night(floor):
    """M1's calendar: attended from 6:00 to 22:00 in its zone, which is an hour ahead."""
    floor.run_at(120.0)
    floor.now = floor.shop.start.replace(hour=19)
    floor.make(0)
    floor.mount()
    floor.make(160)  # to 21:00, two hours
    floor.make(640)  # to 5:00 of the next day, eight hours in the dark
    floor.act(remove_tool, RemoveTool("worn_early", "M1/T01"))

    with floor.store.read() as tx:
        view = read_shop(tx, floor.now)
    ((lives, mixed),) = lives_by_cut(view).values()

    whole = next(stay.wear for stay in view.stays)
    assert (len(lives.wear), mixed) == (1, 0)
    assert lives.wear[0] == pytest.approx(whole * (160 + 320) / 800, rel=0.01)
    assert lives.ln_cut[0] == pytest.approx(np.log([120, 0.08, 1.0]))
