"""Stays worked out a machine at a time say the same as a plain walk over every increment."""

from fractions import Fraction
from itertools import pairwise
from math import floor
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crib.life.wear import WornAt
from crib.outlook.stays import Key, work_out_stays
from crib.planning.output import NO_RUN, machine_output, windows_of
from crib.planning.part_wear import PartWear
from crib.store.machine_rows import StayRow
from crib.store.shop_rows import AssemblyRow

S = 1_000_000
NOW_S = 40  # few seconds: begins and ends often fall together
MACHINES, STATIONS, PARTS = (1, 2), (11, 12, 21), (5, 6, 7)
GONE = 99
KINDS = ((1, 8), (1, 9), (2, 8))  # tool spec and cutting item of assemblies 0, 1 and 2


class Takes(dict):
    """Wear per part by station, part, spec and item, drawn instead of read."""

    def per_part(self, *about):
        return self[about]

    def material_group(self, part_id):
        return {5: "P", 6: "M", 7: "P"}[part_id]


@st.composite
def take(draw):
    if draw(st.booleans()):
        return None
    wear = draw(st.integers(1, 50)) / 1_000
    minutes = draw(st.sampled_from([None, 0.5, 2.0]))
    basis = draw(st.sampled_from(["tool_life", "life_parts", "starter"]))
    at = WornAt(*(draw(st.integers(-9, 9)) / 3 for _ in range(4)))
    return PartWear(
        wear,
        minutes,
        basis,
        "",
        draw(st.sampled_from(["turn", "bore"])),
        None,
        None,
        None if basis == "life_parts" else at,
    )


@st.composite
def runs_of_a_machine(draw):
    starts = sorted(draw(st.sets(st.integers(0, NOW_S - 1), max_size=4)))
    return [
        SimpleNamespace(
            part_id=draw(st.sampled_from(PARTS)),
            start_at=start * S,
            end_at=draw(st.none() | st.integers(start, NOW_S).map(lambda s: s * S)),
        )
        for start in starts
    ]


@st.composite
def readings_of_a_machine(draw, runs):
    at_s = sorted(draw(st.sets(st.integers(0, NOW_S), max_size=8)))
    total, readings = 0, []
    for second in at_s:
        named = draw(st.integers(0, len(runs) - 1)) if runs and draw(st.booleans()) else NO_RUN
        readings.append((second, total, named))
        total += draw(st.integers(0, 300))
    return readings


@st.composite
def shops(draw):
    runs = {machine: draw(runs_of_a_machine()) for machine in MACHINES}
    readings = {machine: draw(readings_of_a_machine(runs[machine])) for machine in MACHINES}
    takes = Takes({
        (station, part, *kind): draw(take())
        for station in STATIONS for part in PARTS for kind in KINDS
    })  # fmt: skip
    stays = []
    for mount_id in range(draw(st.integers(0, 12))):
        begin = draw(st.integers(0, NOW_S - 1))
        end = draw(st.none() | st.integers(begin, NOW_S))
        stays.append(
            StayRow(
                mount_id,
                begin * S,
                draw(st.sampled_from((*STATIONS, GONE))),
                draw(st.integers(0, len(KINDS) - 1)),
                None if end is None else end * S,
                None,
                None,
            )
        )
    return runs, readings, takes, stays


def _rows(stays):
    return SimpleNamespace(
        stays=stays,
        stations={s: SimpleNamespace(id=s, machine_id=s // 10, path=None) for s in STATIONS},
        assemblies={
            number: AssemblyRow(number, spec, 0, item, "", 0, None)
            for number, (spec, item) in enumerate(KINDS)
        },
    )


def _output(readings, runs):
    return machine_output(
        np.array([second * S for second, _, _ in readings], dtype=np.int64),
        np.array([total for _, total, _ in readings], dtype=np.int64),
        np.array([named for _, _, named in readings], dtype=np.int64),
        *windows_of(runs, NOW_S * S),
    )


def _worked_out(runs, readings, takes, stays):
    machines = {
        one: SimpleNamespace(
            output=_output(readings[one], runs[one]), of_paths={}, began=runs[one]
        )
        for one in MACHINES
    }
    return work_out_stays(_rows(stays), takes, machines, NOW_S * S)


def _pieces(readings, runs):
    """Begin, end, parts and run of every increment, cut where a run begins or ends."""
    begins, ends = windows_of(runs, NOW_S * S)
    for (a, low, _), (b, high, named) in pairwise(readings):
        cuts = {c for c in (*begins, *ends) if a * S < c < b * S}
        points = [a * S, *sorted(cuts), b * S]
        for x, y in pairwise(points):
            run = named
            if run == NO_RUN:
                on = [i for i in range(len(runs)) if begins[i] < y]
                run = on[-1] if on and y <= ends[on[-1]] else NO_RUN
            yield x, y, Fraction((high - low) * (y - x), (b - a) * S), run


def _made(readings, at):
    made = Fraction(readings[0][1] if readings else 0)
    for x, y, parts, _ in _pieces(readings, []):
        made += parts * max(0, min(at, y) - x) / (y - x)
    return floor(made)


def _plainly(runs, readings, takes, row):
    """One stay, increment by increment: parts, wear, minutes, key, basis, wear by cut."""
    machine = row.station_id // 10
    runs, readings = runs[machine], readings[machine]
    end = NOW_S * S if row.end_us is None else row.end_us
    kind = KINDS[row.assembly_id]
    taken = [takes[row.station_id, run.part_id, *kind] for run in runs]
    wear = minutes = 0.0
    in_group = []
    for x, y, parts, run in _pieces(readings, runs):
        share = parts * max(0, min(y, end) - max(x, row.begin_us)) / (y - x)
        if run != NO_RUN and taken[run]:
            wear += float(share) * taken[run].wear
            minutes += float(share) * (taken[run].engaged_min or 0.0)
            in_group.append((float(share), taken[run], runs[run].part_id))
    begins, ends = windows_of(runs, NOW_S * S)
    key, basis, engaged_min = None, "", None
    for index, run in enumerate(runs):
        if taken[index] and begins[index] < end and ends[index] >= row.begin_us:
            group = takes.material_group(run.part_id)
            key, basis = Key(kind[1], group, taken[index].operation_class), taken[index].basis
            engaged_min = minutes if taken[index].engaged_min is not None else None
    worn = np.zeros(5)
    for share, take_, part_id in in_group:
        if key and take_.worn_at and takes.material_group(part_id) == key.material_group:
            worn += share * take_.wear * np.array([1.0, *take_.worn_at])
    made = _made(readings, end) - _made(readings, row.begin_us)
    return made, wear, engaged_min, key, basis, worn


@settings(max_examples=80, deadline=None)
@given(shops())
def test_stays_agree_with_a_plain_walk_over_every_increment(shop):
    runs, readings, takes, stays = shop

    found = _worked_out(runs, readings, takes, stays)

    assert [stay.row for stay in found] == stays
    for stay in found:
        if stay.row.station_id == GONE:
            assert (stay.parts, stay.wear, stay.key) == (0, 0.0, None)
            continue
        parts, wear, engaged_min, key, basis, worn = _plainly(runs, readings, takes, stay.row)
        assert (stay.parts, stay.key, stay.basis) == (parts, key, basis)
        assert stay.wear == pytest.approx(wear, rel=1e-9, abs=1e-9)
        if stay.worn is not None:
            assert stay.worn == pytest.approx(tuple(worn), rel=1e-9, abs=1e-9)
        else:
            assert key is None or stay.row.end_us is None or basis == "life_parts"
        assert stay.engaged_min == (
            None if engaged_min is None else pytest.approx(engaged_min, rel=1e-9, abs=1e-9)
        )


@settings(max_examples=60, deadline=None)
@given(shops(), st.sets(st.integers(1, NOW_S - 1), max_size=10))
def test_parts_and_wear_of_stays_that_follow_each_other_add_up(shop, changes):
    runs, readings, takes, _ = shop
    ends = [second * S for second in sorted(changes)]
    one_after_the_other = [
        StayRow(number, begin, 11, 0, end, "job_change", None)
        for number, (begin, end) in enumerate(zip([0, *ends], [*ends, NOW_S * S], strict=True))
    ]
    whole = StayRow(1_000, 0, 11, 0, NOW_S * S, None, None)

    *split, at_once = _worked_out(runs, readings, takes, [*one_after_the_other, whole])

    assert sum(stay.parts for stay in split) == at_once.parts
    assert sum(stay.wear for stay in split) == pytest.approx(at_once.wear, rel=1e-9, abs=1e-9)
    last = readings[1][-1][1] if readings[1] else 0
    assert at_once.parts == last
