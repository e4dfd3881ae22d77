"""Were we right: how often forecasts were right, with the band that chance allows.

Forecasts of one edge are not independent. Of each stay one forecast a shift is judged for the
shift, one a night for the night: each is made knowing that the edge came so far, so that right
ones err independently (Dawid 1984, from memory). For the intervals of life all forecasts of an
edge share one weight, and the band is one by edges.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from crib.arrays import Ints
from crib.clock import instant_from_us
from crib.errors import Invalid
from crib.floor.timeline import us_of
from crib.left_out import at_once, worked_out
from crib.life.as_long import AS_FORECAST, SHORTER, TOO_FEW, WearMade, as_long
from crib.life.calibration import Places, intervals_held, places
from crib.life.held import Held, statements_held
from crib.outlook.judged_forecasts import NOT_DUE, Judged, judge_forecasts
from crib.outlook.kept_outcomes import (
    FAILED_BEFORE,
    GOING_ON,
    NOT_JUDGED,
    TAKEN_BACK,
    Outcome,
    outcomes,
)
from crib.outlook.shop_now import ShopNow
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.wear_by_forecast import wear_by_forecast
from crib.sentence import figure, sentence, together
from crib.store.engine import Tx
from crib.store.kept_rows import KeptForecast, kept_between
from crib.views.lives_as_forecast import LivesAsForecast, lives_as_forecast

#: What scores are grouped by.
GROUPS = ("key", "machine", "month", "shop")

#: How far back is looked where nothing is said.
USUAL_SPAN = timedelta(days=400)

#: A claim from here up is a sure one.
SURE = 0.9

#: Bounds of the table of claims to last the shift.
BINS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0)


@dataclass(frozen=True, slots=True)
class ClaimBin:
    """Claims of one size, and the share of them that was right.

    Attributes:
        from_probability: Least chance claimed.
        to_probability: Greatest.
        statements: How many.
        held: What came of them.
    """

    from_probability: float
    to_probability: float
    statements: int
    held: Held


@dataclass(frozen=True, slots=True)
class ForecastScore:
    """How right the forecasts of one group were.

    Attributes:
        name: Key, machine, month, or shop.
        forecasts: How many were kept and can be judged.
        edges: Of how many edges.
        ended: How many of these edges have come to their end.
        life_50: Lives inside the forecast's interval from 25 to 75 %.
        life_80: From 10 to 90 %.
        life_90: From 5 to 95 %.
        shift: Statements that the edge lasts the shift, all of them.
        shift_sure: Those that claimed 90 % or more.
        unattended: Statements that it lasts the next unattended stretch, if it sees it.
        shift_brier: Mean squared error of the chance to last the shift; 0 is best.
        life_pinball: Mean loss over the quantiles, in medians forecast; smaller is better.
        widening: Factor now in force for the key; None for other groups.
        as_forecast: Whether edges lasted as long as forecast.
        verdict: within_chance, too_sure, too_cautious or too_few, of the 80 % interval; also
            too_sure where that was so of the shift or the next unattended stretch, or where
            edges lasted shorter than forecast.
        sentence: The same in words.
    """

    name: str
    forecasts: int
    edges: int
    ended: int
    life_50: Held
    life_80: Held
    life_90: Held
    shift: Held
    shift_sure: Held
    unattended: Held
    shift_brier: float | None
    life_pinball: float | None
    widening: float | None
    as_forecast: LivesAsForecast
    verdict: str
    sentence: str


@dataclass(frozen=True, slots=True)
class ForecastScores:
    """Scores of every group, the worst first.

    Attributes:
        since: From when on forecasts were looked at.
        until: Until when.
        scores: One per group with forecasts that can be judged.
        taken_back: Forecasts whose mount was reversed.
        failed_before: Forecasts of edges that had failed, which nobody had seen yet.
        problems: Edges and groups that could not be judged, and what to do.
    """

    since: datetime
    until: datetime
    scores: tuple[ForecastScore, ...]
    taken_back: int
    failed_before: int
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class JudgedSpan:
    """Forecasts between two instants with what came of them; judged once for all groups.

    Attributes:
        since: From when on.
        until: Until when.
        ends: What came of each that was kept.
        judged: Those that can be judged.
        made: Wear made under each of them.
        problems: Edges that could not be judged, and what to do.
    """

    since: datetime
    until: datetime
    ends: tuple[Outcome, ...]
    judged: Judged
    made: WearMade
    problems: tuple[str, ...]


def score_forecasts(
    tx: Tx,
    plan: ShopPlan,
    by: str = "shop",
    since: datetime | None = None,
    until: datetime | None = None,
    zone: tzinfo = UTC,
) -> ForecastScores:
    """Judge the forecasts kept between two instants by the facts that a plan has seen.

    Args:
        tx: An open transaction.
        plan: The shop's plan; its instant is that of judging.
        by: One of ``GROUPS``.
        since: From when on; left out: 400 days back.
        until: Until when; left out: the plan's instant.
        zone: Zone whose months are meant.

    Raises:
        Invalid: A group that is none, or an end before the begin.
    """
    if by not in GROUPS:
        raise Invalid(
            sentence(
                "by is '{by}'; it is one of {groups}.",
                by=by[:40],
                groups=together(", ", GROUPS),
            )
        )
    return scores_by(judge_span(tx, plan, since, until), plan, by, zone)


def judge_span(
    tx: Tx, plan: ShopPlan, since: datetime | None = None, until: datetime | None = None
) -> JudgedSpan:
    """What came of the forecasts kept between two instants; arguments as above.

    Raises:
        Invalid: An end before the begin.
    """
    shop = plan.shop
    until = min(until or shop.now, shop.now)
    since = until - USUAL_SPAN if since is None else since
    if since > until:
        raise Invalid(
            sentence("since lies after until, or in the future: nothing was forecast there."),
            errors=[
                {"field": "since", "detail": sentence("lies after until, or in the future")}
            ],
        )
    (ends, judged), problems = _judge(shop, kept_between(tx, us_of(since), us_of(until) + 1))
    made = wear_by_forecast(judged, us_of(since))
    return JudgedSpan(since, until, tuple(ends), judged, made, problems)


def scores_by(span: JudgedSpan, plan: ShopPlan, by: str, zone: tzinfo = UTC) -> ForecastScores:
    """The scores of judged forecasts by one of ``GROUPS``; months are those of a zone."""
    judged = span.judged
    name_of = _namer(plan, by, zone)
    groups: dict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(judged.kept):
        groups[name_of(row)].append(place)
    factors = _factors(plan) if by == "key" else {}

    def score(name: str) -> ForecastScore:
        where = np.array(groups[name])
        long = as_long(span.made.take(where), len(groups))
        lives = lives_as_forecast(long, span.since)
        return _score(name, judged, where, factors.get(name), lives)

    scores = worked_out(
        sorted(groups),
        score,
        lambda name: sentence(
            "The forecasts of {name} could not be judged. Do not rely on them "
            "until they can be. The service log has the details.",
            name=name,
        ),
    )
    scores.sort(key=lambda one: (-(one.widening or 0.0), _badness(one)))
    states = [outcome.state for outcome in span.ends]
    return ForecastScores(
        span.since,
        span.until,
        tuple(scores),
        states.count(TAKEN_BACK),
        states.count(FAILED_BEFORE),
        (*span.problems, *scores.problems),
    )


def claims_of_shift(span: JudgedSpan) -> tuple[ClaimBin, ...]:
    """Claims of the whole shop to last the shift, by their size, and what came of them."""
    judged = span.judged
    where = np.flatnonzero(judged.shift != NOT_DUE)
    claimed = judged.lasts_shift[where]
    bin_of = np.clip(np.searchsorted(BINS, claimed, side="right") - 1, 0, len(BINS) - 2)
    return tuple(
        ClaimBin(BINS[b], BINS[b + 1], len(rows), _statements(judged, rows))
        for b in range(len(BINS) - 1)
        if len(rows := where[bin_of == b])
    )


def _judge(
    shop: ShopNow, kept: Sequence[KeptForecast]
) -> tuple[tuple[list[Outcome], Judged], tuple[str, ...]]:
    """What came of kept forecasts; those of a stay that cannot be judged are left out."""
    of_stay: dict[int, list[KeptForecast]] = defaultdict(list)
    for one in kept:
        of_stay[one.mount_id].append(one)

    def judge(stays: Sequence[int]) -> tuple[list[Outcome], Judged]:
        wanted = set(stays)
        mine = [one for one in kept if one.mount_id in wanted]
        ends = outcomes(shop, mine)
        rows = [(k, e) for k, e in zip(mine, ends, strict=True) if e.state not in NOT_JUDGED]
        told = judge_forecasts([k for k, _ in rows], [e for _, e in rows], us_of(shop.now))
        return ends, told

    def failed(stay: int) -> str:
        built = shop.rows.assemblies.get(of_stay[stay][0].assembly_id)
        return sentence(
            "The forecasts of tool {code} could not be judged, so they do not "
            "count here. Check its mount, its removal and the counts between them. "
            "The service log has the details.",
            code=built.code if built else stay,
        )

    return at_once(list(of_stay), judge, failed)


def _namer(plan: ShopPlan, by: str, zone: tzinfo) -> Callable[[KeptForecast], str]:
    if by == "key":
        return lambda row: row.life_key
    if by == "machine":
        stations = plan.shop.rows.stations
        of_mount = {
            stay.mount_id: stations[stay.station_id].machine
            for stay in plan.shop.rows.stays
            if stay.station_id in stations
        }
        return lambda row: of_mount.get(row.mount_id, sentence("taken away"))
    if by == "month":
        return lambda row: f"{instant_from_us(row.at_us).astimezone(zone):%Y-%m}"
    return lambda _: "shop"


def _factors(plan: ShopPlan) -> Mapping[str, float]:
    names = [key.text(plan.shop.rows.items) for key in plan.keys]
    return dict(zip(names, plan.model.widening.tolist(), strict=True))


def _score(
    name: str, judged: Judged, where: Ints, factor: float | None, lives: LivesAsForecast
) -> ForecastScore:
    edges = [judged.kept[place].assembly_id for place in where]
    _, number, count = np.unique(edges, return_inverse=True, return_counts=True)
    seen: Places = places(judged.low[where], judged.high[where], 1.0 / count[number])
    life_50, life_80, life_90 = intervals_held(seen)
    shift = where[judged.shift[where] != NOT_DUE]
    night = where[judged.night[where] != NOT_DUE]
    sure = shift[judged.lasts_shift[shift] >= SURE]
    of_shift = _statements(judged, shift)
    of_night = statements_held(
        judged.lasts_night[night],
        judged.night[night],
        judged.night_low[night],
        np.ones(len(night)),
    )
    known = shift[judged.shift[shift] >= 0]
    brier = (judged.lasts_shift[known] - judged.shift[known]) ** 2
    loss = judged.loss[where][np.isfinite(judged.loss[where])]
    ended = {
        judged.kept[place].assembly_id
        for place in where
        if judged.ends[place].state != GOING_ON
    }
    return ForecastScore(
        name,
        len(where),
        len(count),
        len(ended),
        life_50,
        life_80,
        life_90,
        of_shift,
        _statements(judged, sure),
        of_night,
        float(brier.mean()) if len(brier) else None,
        float(loss.mean()) if len(loss) else None,
        factor,
        lives,
        _worst(lives, life_80, of_shift, of_night),
        score_sentence(name, len(ended), life_80, of_shift, of_night, factor, lives),
    )


def _statements(judged: Judged, where: Ints) -> Held:
    return statements_held(
        judged.lasts_shift[where], judged.shift[where], judged.low[where], judged.high[where]
    )


def _worst(lives: LivesAsForecast, life: Held, *statements: Held) -> str:
    """The verdict that agrees with ``score_sentence``."""
    too_sure = lives.verdict == SHORTER or any(
        one.held is not None and one.verdict == "too_sure" for one in statements
    )
    return "too_sure" if too_sure else life.verdict


def _badness(score: ForecastScore) -> tuple[float, str]:
    held = score.life_80
    gap = 0.0 if held.held is None else held.claimed - held.held
    return (-gap * math.sqrt(held.trials), score.name)


def score_sentence(
    name: str,
    ended: int,
    life: Held,
    shift: Held,
    night: Held,
    factor: float | None,
    lives: LivesAsForecast,
) -> str:
    """A score in words: the intervals of life, then what else was wrong.

    Args:
        name: The group.
        ended: How many of its edges have come to their end.
        life: The 80 % interval of life.
        shift: Statements that an edge lasts the shift.
        night: Statements that it lasts the next unattended stretch.
        factor: Widening in force, if it is a key.
        lives: Whether edges lasted as long as forecast.
    """
    if life.held is None or life.verdict == "too_few":
        out = sentence("No edge has come out.")
        if ended:
            out = sentence("Edges out: {ended}, most of them too early to judge.", ended=ended)
        said = sentence("{name}: too few lives to judge our ranges. {out}", name=name, out=out)
    else:
        said = sentence(
            "{name}: our {claimed} ranges held {held} of the time: {words}. Judged on {trials} "
            "edges; {band_low} to {band_high} would be chance.",
            name=name,
            claimed=figure(life.claimed, ".0%"),
            held=figure(life.held, ".0%"),
            trials=figure(life.trials, ".0f"),
            band_low=figure(life.band_low, ".0%"),
            band_high=figure(life.band_high, ".0%"),
            words=_WORDS[life.verdict],
        )
    for held, what in (
        (shift, sentence("the shift")),
        (night, sentence("the next unattended stretch")),
    ):
        if held.held is not None and held.verdict == "too_sure":
            said += sentence(
                " For {what} we were too sure: we forecast {claimed}, {held} lasted.",
                what=what,
                claimed=figure(held.claimed, ".1%"),
                held=figure(held.held, ".1%"),
            )
    if lives.verdict not in (AS_FORECAST, TOO_FEW):
        said += " " + lives.sentence
    if factor is not None and factor >= 1.05:
        said += sentence(
            " Its ranges are now {factor} times as wide.", factor=figure(factor, ".1f")
        )
    return said


_WORDS = {
    "within_chance": sentence("as good as they claim"),
    "too_sure": sentence("too narrow, expect failures earlier"),
    "too_cautious": sentence("wider than they need to be"),
}
