"""Tools that come out before anything else is made: broken edges, and what cannot run there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Final, NamedTuple

from crib.clock import instant_from_us, print_instant
from crib.floor.timeline import us_of
from crib.left_out import NOT_WORKED_OUT
from crib.outlook.jobless import jobless_parts
from crib.outlook.shop_now import ShopNow
from crib.outlook.vacancies import open_stays, runs_by_need
from crib.planning.runs_that_count import first_that_uses, runs_that_count
from crib.sentence import sentence, together
from crib.store.shop_records import RunOfShop

if TYPE_CHECKING:
    from crib.outlook.shop_plan import Forecast

#: Why an edge is due that is on record as broken.
BROKEN: Final = "broken"
#: Why a tool comes out that is neither worn nor broken: what runs or comes next cannot use it.
WRONG_TOOL: Final = "wrong_tool"
NOW: Final = (BROKEN, WRONG_TOOL)


class Wanted(NamedTuple):
    """What is wanted in place of a tool that a mount would not let in again.

    Attributes:
        part: What runs, or comes next.
        runs: Whether it runs.
        tool_spec: What its program names there, the first where its lines name several; None
            where it needs none.
        now: Whether the machine cannot go on with what is there.
        starts: When a planned job is expected to begin, where that is foreseen.
        since: When the job on the machine began, where that is known.
    """

    part: str
    runs: bool
    tool_spec: str | None
    now: bool
    starts: datetime | None = None
    since: datetime | None = None

    @property
    def sentence(self) -> str:
        """Who wants what."""
        if self.tool_spec is None:
            if self.runs:
                return sentence(
                    "{part} runs and needs no tool here: mount none.", part=self.part
                )
            return sentence(
                "{part} comes next and needs no tool here: mount none.", part=self.part
            )
        if self.runs:
            return sentence(
                "{part} runs and needs {tool_spec} here.",
                part=self.part,
                tool_spec=self.tool_spec,
            )
        return sentence(
            "{part} comes next and needs {tool_spec} here.",
            part=self.part,
            tool_spec=self.tool_spec,
        )


def wanted_instead(shop: ShopNow) -> dict[int, Wanted]:
    """By station: what is wanted there instead, where its tool's like would be refused.

    As the check of a mount sees it: what runs decides; where it leaves the station empty, or
    nothing runs, the first job planned that uses it does. One tool is enough where stations
    share a number.
    """
    held: dict[int, dict[tuple[int, int], dict[int, int]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for row in open_stays(shop):
        station = shop.rows.stations.get(row.station_id)
        built = shop.rows.assemblies.get(row.assembly_id)
        if station is not None and built is not None:
            place = station.path or 1, station.tool_number
            held[station.machine_id][place][station.id] = built.tool_spec_id
    found: dict[int, Wanted] = {}
    for machine_id, places in held.items():
        if machine_id in shop.left_out.machines or machine_id not in shop.machines:
            continue
        jobs = _jobs_that_count(shop, machine_id)
        for place, stations in places.items():
            found |= _of_place(shop, jobs, place, stations)
    return found


class _Job(NamedTuple):
    run: RunOfShop
    runs: bool
    is_made: bool
    starts: datetime | None


def _jobs_that_count(shop: ShopNow, machine_id: int) -> list[_Job]:
    """The job on a machine, if any, and those planned, the next one first."""
    rest = shop.machines[machine_id].rest
    made = rest is not None and rest.is_counted
    starts = {run.id: at for run, on, at in runs_by_need(shop, machine_id) if not on}
    return [
        _Job(run, False, False, starts[run.id])
        if run.state == "planned"
        else _Job(run, True, made, None)
        for run in runs_that_count(shop.rows.runs.get(machine_id, ()), us_of(shop.now))
    ]


def _of_place(
    shop: ShopNow, jobs: Sequence[_Job], place: tuple[int, int], stations: dict[int, int]
) -> dict[int, Wanted]:
    """What is wanted in stations of one tool number; ``stations``: the spec that each holds."""
    if not jobs:
        return {}
    job, specs = first_that_uses(
        jobs, lambda job: shop.cutting.specs_wanted(job.run.part_id, *place)
    )
    others = {one: spec for one, spec in stations.items() if spec not in specs}
    if not specs or len(others) < len(stations):
        return dict.fromkeys(others, Wanted(job.run.part, job.runs, None, False))
    wanted = shop.rows.specs[specs[0]].tool_spec
    now = job.runs and not job.is_made
    began = job.run.start_at if now else None
    since = None if began is None else instant_from_us(began)
    return dict.fromkeys(others, Wanted(job.run.part, job.runs, wanted, now, job.starts, since))


def with_out_now(shop: ShopNow, forecasts: Sequence[Forecast]) -> list[Forecast]:
    """The forecasts, with what comes out now and what goes in instead.

    Edges that are on record as broken are out now, and tools that what runs cannot use there.
    An edge that is due, and whose like would be refused, says what goes in instead; one that is
    not due comes out for the next job, by its start.
    """
    broken = {
        stay.row.station_id: stay.row.broken_us
        for stay in shop.stays
        if stay.row.end_us is None and stay.row.broken_us is not None
    }
    wanted = wanted_instead(shop)
    idle = _without_work(shop) if broken else set()
    found = []
    for one in forecasts:
        needs, at_us = wanted.get(one.station_id), broken.get(one.station_id)
        out = one
        if at_us is not None:
            mounts_none = needs is not None and needs.tool_spec is None
            at = instant_from_us(at_us)
            out = _broken(one, shop.now, at, mounts_none or one.machine in idle)
            if one.machine in idle:
                told = together(
                    " ", (out.why_sentence, sentence("No job is known here: mount none."))
                )
                out = replace(out, out_only=True, why_sentence=told)
        found.append(out if needs is None else _put_right(out, needs, shop.now))
    return found


def _without_work(shop: ShopNow) -> set[str]:
    """Machines that have no job, running or planned, and make no parts for one unknown."""
    making = jobless_parts(shop).keys()
    return {
        machine.machine
        for machine_id, machine in shop.rows.machines.items()
        if machine.machine not in making
        and machine_id not in shop.left_out.machines
        and machine_id in shop.machines
        and not _jobs_that_count(shop, machine_id)
    }


def _broken(one: Forecast, now: datetime, at: datetime, mounts_none: bool) -> Forecast:
    known = replace(
        one,
        parts_left=dict.fromkeys(one.parts_left, 0),
        run_out_at=dict.fromkeys(one.run_out_at, at),
        fail_probability_shift=1.0,
        fail_probability_unattended=1.0,
        due_since=at,
    )
    signalled = print_instant(at)
    if mounts_none:
        text = sentence(
            "A breakage was signalled at {signalled}: stop the machine by its own "
            "rules, take the tool out now, and look at the parts made since.",
            signalled=signalled,
        )
    else:
        text = sentence(
            "A breakage was signalled at {signalled}: stop the machine by its own "
            "rules, swap the edge now, and look at the parts made since.",
            signalled=signalled,
        )
    return _out(known, now, BROKEN, text)


def _out(one: Forecast, at: datetime, why: str, text: str) -> Forecast:
    return replace(
        one,
        swap_after_parts=0,
        swap_by=at,
        why=why,
        why_sentence=text,
        cost_if_earlier_minor=None,
        cost_if_later_minor=None,
    )


def _put_right(one: Forecast, needs: Wanted, now: datetime) -> Forecast:
    """A forecast of an edge whose like would be refused, with what goes in instead."""
    is_due = one.why == NOT_WORKED_OUT or (one.swap_by is not None and one.swap_by <= now)
    if not (needs.now or is_due):
        return _left_there(one, needs)
    instead = replace(one, wanted=needs.tool_spec, out_only=needs.tool_spec is None)
    told = together(" ", (one.why_sentence, needs.sentence))
    if one.why == NOT_WORKED_OUT:
        return replace(instead, why_sentence=told)
    if one.why == BROKEN or not needs.now:
        return _out(instead, now, one.why, told)
    since = max(one.mounted_at, needs.since or one.mounted_at)
    return _out(
        replace(instead, due_since=since),
        now,
        WRONG_TOOL,
        sentence(
            "It holds {assembly} ({tool_spec}), but {part} runs and needs {tool_spec2} "
            "here: take it out and mount that. Where it is mounted already, scan it.",
            assembly=one.assembly,
            tool_spec=one.tool_spec,
            part=needs.part,
            tool_spec2=needs.tool_spec,
        ),
    )


def _left_there(one: Forecast, needs: Wanted) -> Forecast:
    """A tool of an earlier job that nothing cuts with before the next one takes its place."""
    if needs.tool_spec is None or needs.starts is None:
        return one  # it may stay for the job that it is for
    instead = replace(one, wanted=needs.tool_spec)
    return _out(
        instead,
        needs.starts,
        WRONG_TOOL,
        sentence(
            "It holds {assembly} ({tool_spec}), but {part} comes next and needs {tool_spec2} "
            "here: swap it for that before the job starts.",
            assembly=one.assembly,
            tool_spec=one.tool_spec,
            part=needs.part,
            tool_spec2=needs.tool_spec,
        ),
    )
