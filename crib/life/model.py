"""The life model: every edge's chances from all lives of the shop, exact under censoring.

Life in wear units (1 is what the speed-life constants promise). Two independent risks: wear-out
by Weibull's law, whose scale leans on like keys and on the edge's box and whose shape runs over
a grid weighted by prior times marginal likelihood; breakage at a constant rate per part. What
was seen of an edge's wear sharpens its own curve. Nothing known, all taken out early, one life,
all lives equal: each gives a wide, finite answer.

A forecast is a probability, not a promise: an edge can fail at any time.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Floats, Ints
from crib.errors import OutsideModel
from crib.life.aside import SetAside, Yardstick, among_all, set_aside
from crib.life.asked import LOOKED_CHUNK, Asked, asked_for, distinct, new_edges
from crib.life.basis import Basis, basis_of, new_lives
from crib.life.breakage import Breakage
from crib.life.curves import Curves, Edges, ahead_for_hazard, joined
from crib.life.doubted import LifeDoubts, life_doubts
from crib.life.kept_curves import KeptCurves
from crib.life.observations import WORN, LifeHistories, per_key, same_rows
from crib.life.pooling import KeyTable
from crib.life.posterior import Posterior, promised_curves
from crib.life.replacement import GridSwap
from crib.life.reshaped import stretched, tilted
from crib.life.running import NO_RUNNING, Running, running_edges, with_running, without_own
from crib.life.signs import NO_SIGNS, EdgeSigns
from crib.life.swap_rule import best_by_own_odds, cost_of_waiting, least_cost
from crib.sentence import sentence

_CREEP: Final = 4 / 3


@dataclass(frozen=True, slots=True)
class Ended:
    """What ended lives alone say.

    Attributes:
        wear: Of wear-out.
        breakage: Of breakage.
        exposure: Wear of each key's ended edges, shape (keys,) [wear units].
    """

    wear: Posterior
    breakage: Breakage
    exposure: Floats

    def after(self, lives: LifeHistories) -> Ended:
        """After a few more believable lives."""
        more = per_key(lives.key_index, lives.wear, len(self.exposure))
        breakage = self.breakage.after(lives, self.wear.broke(lives))
        return Ended(self.wear.after(lives), breakage, self.exposure + more)


@dataclass(frozen=True, slots=True)
class LifeModel:
    """Fitted model; made by ``crib.life.fitting.fit_life_model``.

    All methods take arrays of shape (edges,) or single numbers, broadcast together, and give
    arrays. ``key`` is a row of the key table; ages and ways ahead are in wear units;
    ``wear_per_part`` says how many of them a part of the present job costs; ``signs`` what is
    known of the edges beside their age.

    Attributes:
        keys: The table it was fitted for.
        aside: Lives that were not believed, for a person to check.
        widening: Factor on the spread of ln life of each key, shape (keys,).
        histories: The lives that it was fitted to, in their order.
        settled: How many of them the keys' leaning on each other was learned from.
        running: Edges that still cut, which tell of their keys too.
    """

    keys: KeyTable
    aside: list[SetAside]
    widening: Floats
    histories: LifeHistories
    settled: int
    _measure: Yardstick
    _wear: Posterior
    _breakage: Breakage
    running: Running
    _ended: Ended
    _kept: KeptCurves = field(default_factory=KeptCurves, compare=False, repr=False)
    _kept_wide: KeptCurves = field(default_factory=KeptCurves, compare=False, repr=False)
    _kept_own: KeptCurves = field(default_factory=KeptCurves, compare=False, repr=False)
    _kept_own_wide: KeptCurves = field(default_factory=KeptCurves, compare=False, repr=False)

    def survival(
        self,
        key: ArrayLike,
        age: ArrayLike,
        ahead: ArrayLike,
        wear_per_part: ArrayLike,
        signs: EdgeSigns = NO_SIGNS,
    ) -> Floats:
        """Chance that an edge of this age lives ``ahead`` wear units more.

        Raises:
            OutsideModel: A key that is not there, or a number that is none or out of range.
        """
        hazard, shape = self._hazard_ahead(key, age, ahead, wear_per_part, signs)
        return np.exp(-hazard).reshape(shape)

    def fail_probability(
        self,
        key: ArrayLike,
        age: ArrayLike,
        ahead: ArrayLike,
        wear_per_part: ArrayLike,
        signs: EdgeSigns = NO_SIGNS,
    ) -> Floats:
        """Chance that it fails within ``ahead`` wear units, exact also where it is tiny.

        Raises:
            OutsideModel: A key that is not there, or a number that is none or out of range.
        """
        hazard, shape = self._hazard_ahead(key, age, ahead, wear_per_part, signs)
        return -np.expm1(-hazard).reshape(shape)

    def break_probability(
        self, key: ArrayLike, age: ArrayLike, ahead: ArrayLike, wear_per_part: ArrayLike
    ) -> Floats:
        """Chance that it breaks or chips within ``ahead`` wear units, worn or not.

        Raises:
            OutsideModel: A key that is not there, or a number that is none or out of range.
        """
        asked = asked_for(
            len(self.keys),
            key,
            NO_SIGNS,
            (age, "age", True),
            (ahead, "ahead", True),
            (wear_per_part, "wear_per_part", False),
        )
        ages, way, wpp = asked.columns
        edges = self._edges(asked.rows, asked.rows, ages, wpp)
        return -np.expm1(-edges.breaks_ahead(way)).reshape(asked.shape)

    def remaining(
        self,
        key: ArrayLike,
        age: ArrayLike,
        wear_per_part: ArrayLike,
        probs: ArrayLike = (0.05, 0.1, 0.5, 0.9),
        signs: EdgeSigns = NO_SIGNS,
    ) -> Floats:
        """Wear units ahead by which the chance of failing reaches each of ``probs``.

        Returns:
            Quantiles of the life left, shape (edges, probs), rising along probs.

        Raises:
            OutsideModel: A probability outside 0 to 1, ends excluded.
        """
        p = np.atleast_1d(np.asarray(probs, dtype=np.float64))
        if not np.all((p > 0) & (p < 1)):
            raise OutsideModel(sentence("A probability must be between 0 and 1."))
        asked = asked_for(
            len(self.keys),
            key,
            signs,
            (age, "age", True),
            (wear_per_part, "wear_per_part", False),
        )
        (ages, wpp), target = asked.columns, -np.log1p(-p)
        result = np.empty((len(asked.rows), len(p)))
        for part in asked.chunks():
            curves, row = self._curves(asked, part)
            edges = self._edges(asked.rows[part], row, ages[part], wpp[part])
            ahead = ahead_for_hazard(curves, edges.repeated(len(p)), np.tile(target, len(row)))
            result[part] = ahead.reshape(-1, len(p))
        return result

    def swap_age(
        self,
        key: ArrayLike,
        planned_cost: ArrayLike,
        failure_cost: ArrayLike,
        wear_per_part: ArrayLike,
        signs: EdgeSigns = NO_SIGNS,
    ) -> tuple[Floats, Floats, Floats]:
        """Age at which a planned swap costs least (age replacement, Barlow & Proschan 1965).

        An edge that was looked at goes by its own odds against the cost rate of its key. Where
        no edge of a key was ever seen worn, the age may only creep: at most a third beyond the
        oldest age seen, or to what the promise alone would say if that is later.

        Returns:
            Age [wear units], cost per wear unit of the key at its best, share of such edges
            that fail before the age. Where a planned swap never pays, the age lies so far out
            that nearly all fail first.

        Raises:
            OutsideModel: A cost or wear per part that is not above 0.
        """
        asked = asked_for(
            len(self.keys),
            key,
            signs,
            (planned_cost, "planned_cost", False),
            (failure_cost, "failure_cost", False),
            (wear_per_part, "wear_per_part", False),
        )
        planned, failure, wpp = asked.columns
        case, first = distinct(asked.rows, *asked.columns)
        out = [np.empty(len(first)) for _ in range(3)]
        for start in range(0, len(first), 5_000):
            at = first[start : start + 5_000]
            swap = self._swap(new_edges(asked.rows[at]), planned[at], failure[at], wpp[at])
            for whole, piece in zip(out, swap, strict=True):
                whole[start : start + 5_000] = piece
        age, rate, share = (values[case] for values in out)
        self._take_own_out(asked, (planned, failure, wpp), (age, share))
        own = np.flatnonzero(asked.signs.looked)
        for start in range(0, len(own), LOOKED_CHUNK):
            part = own[start : start + LOOKED_CHUNK]
            curves, row = self._curves(asked, part, widened=False)
            edges = self._edges(asked.rows[part], row, np.zeros(len(part)), wpp[part])
            swap = best_by_own_odds(
                curves,
                edges,
                planned[part],
                failure[part],
                rate[part],
                asked.signs.seen_at[part],
            )
            age[part], share[part] = swap.age, swap.fails_first_prob
        return age.reshape(asked.shape), rate.reshape(asked.shape), share.reshape(asked.shape)

    def swap_cost(
        self,
        key: ArrayLike,
        age: ArrayLike,
        ahead: ArrayLike,
        planned_cost: ArrayLike,
        failure_cost: ArrayLike,
        wear_per_part: ArrayLike,
        signs: EdgeSigns = NO_SIGNS,
    ) -> Floats:
        """Expected cost above the best of swapping an edge ``ahead`` wear units from now.

        ``ahead`` is of shape (edges,), or (edges, columns) for several ways ahead of each edge;
        the other arguments are then of shape (edges,).

        Returns:
            From 0 up, in the money of the costs, of the shape of ``ahead``.

        Raises:
            OutsideModel: A cost or wear per part that is not above 0, a negative age or way.
        """
        way = np.asarray(ahead, dtype=np.float64)
        if not np.all(np.isfinite(way) & (way >= 0)):
            raise OutsideModel(
                sentence("ahead has to be a number from 0."), facts={"quantity": "ahead"}
            )
        asked = asked_for(
            len(self.keys),
            key,
            signs,
            (age, "age", True),
            (planned_cost, "planned_cost", False),
            (failure_cost, "failure_cost", False),
            (wear_per_part, "wear_per_part", False),
        )
        ages, planned, failure, wpp = asked.columns
        count = len(asked.rows)
        columns = way.shape[1] if way.ndim == 2 else 1
        wide = np.broadcast_to(way.reshape(-1, columns), (max(count, 1), columns))[:count]
        _, rate, _ = self.swap_age(asked.rows, planned, failure, wpp)
        result = np.empty(wide.shape)
        for start in range(0, count, LOOKED_CHUNK):
            part = np.arange(start, min(start + LOOKED_CHUNK, count))
            curves, row = self._curves(asked, part, widened=False)
            edges = self._edges(asked.rows[part], row, ages[part], wpp[part])
            extra = failure[part] - planned[part]
            result[part] = cost_of_waiting(curves, edges, wide[part], extra, rate[part])
        return result if way.ndim == 2 else result.reshape(asked.shape)

    def after(self, more: LifeHistories) -> LifeModel:
        """The model after a few more lives; takes the same time however many there were.

        What keys share stays as the settled lives said. Adding lives one by one or at once
        gives the same model. Which edges still run is to be said again (``beside``).
        """
        believed, aside = set_aside(more, self._measure, len(self.histories))
        return replace(
            self,
            aside=[*self.aside, *aside],
            histories=self.histories.then(more),
            _ended=self._ended.after(believed),
        )._beside(NO_RUNNING)

    def beside(self, lives: LifeHistories, *, pooled: bool = False) -> LifeModel:
        """The model with these running edges in place of those that it has.

        Args:
            lives: Edges that still cut, at the wear that counts (``counted_wear``).
            pooled: Whether keys are to learn of each other with them, too: as if they were
                fitted anew.
        """
        held = self.running
        if pooled == held.pooled and same_rows(held.lives, lives, len(lives)):
            return self
        exposure = self._ended.exposure
        return self._beside(running_edges(lives, self._measure, exposure, pooled=pooled))

    def _beside(self, running: Running) -> LifeModel:
        ended, cutting = self._ended, running.lives.take(running.counts)
        return replace(
            self,
            running=running,
            _wear=with_running(self.keys, ended.wear, running),
            _breakage=ended.breakage.after(cutting, np.zeros(len(cutting))),
            _kept=KeptCurves(),
            _kept_wide=KeptCurves(),
            _kept_own=KeptCurves(),
            _kept_own_wide=KeptCurves(),
        )

    def basis(self, key: ArrayLike) -> Basis:
        """Counts, prior and a new edge's wear-out life (breakage apart) of each key.

        Raises:
            OutsideModel: A key that is not there.
        """
        asked = asked_for(len(self.keys), key, NO_SIGNS)
        curves, row = self._curves(asked, np.arange(len(asked.rows)))
        return basis_of(self.keys, self._wear, asked.rows, new_lives(curves, row))

    def doubts(self) -> LifeDoubts:
        """How far each life of ``histories`` is doubted, as the fit weighs it."""
        return life_doubts(self.histories, self.aside, self._ended.wear, self.counts_still())

    def counts_still(self) -> Floats:
        """How far each life of ``histories`` counts that came before a change: from 0 to 1."""
        still = self._ended.wear.still
        return among_all(still, self.aside, self.settled, len(self.histories))

    def usual_life(self, key: int) -> float:
        """Life by which absurd ages of a key are judged [wear units]."""
        return float(self._measure.usual[key])

    def law(self, key: ArrayLike) -> tuple[Floats, Floats]:
        """Shape and scale of each key's wear-out, at the posterior means of their logarithms.

        Returns:
            Shape, and scale [wear units], each of the shape of ``key``.

        Raises:
            OutsideModel: A key that is not there.
        """
        asked = asked_for(len(self.keys), key, NO_SIGNS)
        return self._wear.shape_and_scale(asked.rows, asked.shape)

    def _curves(self, asked: Asked, part: Ints, *, widened: bool = True) -> tuple[Curves, Ints]:
        """Curves that some of the edges asked for follow, and each edge's row among them.

        Costs go by the law as it is: widened, an edge that nobody trusts would be kept longer.
        """
        rows, signs, keys = asked.rows[part], asked.signs.take(part), len(self.keys)
        cells = self._wear.scales.cells
        cell = cells.find(rows, signs.lot)
        code = np.where(cell >= 0, keys + cell, rows)
        used = np.zeros(keys + len(cells), dtype=bool)
        used[code] = True
        row = (np.cumsum(used) - 1)[code]
        kept, make = self._kept, self._made_curves
        if widened and np.any(self.widening > 1):
            kept, make = self._kept_wide, self._wide_curves
        curves = kept.of(np.flatnonzero(used), len(used), make)
        mine = self.running.own(signs.own, rows)
        if len(out := np.flatnonzero(mine >= 0)):
            single = self._own_curves(mine[out], signs.lot[out], widened=widened)
            row[out] = len(curves.centre) + np.arange(len(out))
            curves = joined(curves, single)
        looked = np.flatnonzero(signs.looked)
        if len(looked):
            looks = self._wear.looks
            taken = looks.at(
                rows[looked],
                signs.seen_kind[looked],
                signs.seen_share[looked],
                signs.seen_at[looked],
            )
            single = tilted(curves, row[looked], taken, looks.shared)
            row[looked] = len(curves.centre) + np.arange(len(looked))
            curves = joined(curves, single)
        return curves, row

    def _own_curves(self, own: Ints, lot: Ints, *, widened: bool) -> Curves:
        """Curves of running edges as all others of their key have it.

        Args:
            own: Their numbers among the running edges.
            lot: Label of their box; -1: as out of a new one.
            widened: Whether spread as far as each key's forecasts have to be.
        """
        numbers = np.flatnonzero(self.running.much)
        count = len(numbers)

        def make(codes: Ints) -> Curves:
            mine, boxed = numbers[codes % count], codes >= count
            known = without_own(self._wear, self.running, mine)
            place = np.arange(len(codes))
            cell = known.scales.cells.find(place, self.running.lives.lot[mine])
            curves, at = known.curves(place), np.flatnonzero(boxed & (cell >= 0))
            if len(at):
                of_box = known.cell_curves(cell[at])
                curves.centre[at], curves.log_hazard[at] = of_box.centre, of_box.log_hazard
            wide = self.widening[self.running.lives.key_index[mine]]
            return stretched(curves, wide) if widened else curves

        kept = self._kept_own_wide if widened else self._kept_own
        code = self.running.rank[own]
        return kept.of(np.where(lot >= 0, count + code, code), 2 * count, make)

    def _made_curves(self, codes: Ints) -> Curves:
        """Curves by number: a key's, or beyond the keys a box's."""
        keys = len(self.keys)
        own, boxes = codes[codes < keys], codes[codes >= keys] - keys
        curves = self._wear.curves(own)
        if len(boxes):
            curves = joined(curves, self._wear.cell_curves(boxes))
        return curves

    def _wide_curves(self, codes: Ints) -> Curves:
        """The same, spread as far as each key's forecasts have to be."""
        keys, cells = len(self.keys), self._wear.scales.cells
        wide = [codes[codes < keys], cells.key[codes[codes >= keys] - keys]]
        return stretched(self._made_curves(codes), self.widening[np.concatenate(wide)])

    def _edges(self, rows: Ints, row: Ints, age: Floats, wear_per_part: Floats) -> Edges:
        breakage = self._breakage
        beta = breakage.exposure_wear(rows, wear_per_part)
        young = np.maximum(breakage.young[rows] - age, 0.0)
        return Edges(row, age, breakage.alpha[rows], beta, young, breakage.more)

    def _hazard_ahead(
        self,
        key: ArrayLike,
        age: ArrayLike,
        ahead: ArrayLike,
        wear_per_part: ArrayLike,
        signs: EdgeSigns,
    ) -> tuple[Floats, tuple[int, ...]]:
        asked = asked_for(
            len(self.keys),
            key,
            signs,
            (age, "age", True),
            (ahead, "ahead", True),
            (wear_per_part, "wear_per_part", False),
        )
        ages, way, wpp = asked.columns
        result = np.empty(len(asked.rows))
        for part in asked.chunks():
            curves, row = self._curves(asked, part)
            edges = self._edges(asked.rows[part], row, ages[part], wpp[part])
            result[part] = edges.hazard_ahead(curves, way[part])
        return result, asked.shape

    def _take_own_out(
        self, asked: Asked, costs: tuple[Floats, ...], told: tuple[Floats, Floats]
    ) -> None:
        """Put right the best ages, and shares that fail first, that edges had a part in."""
        mine = self.running.own(asked.signs.own, asked.rows)
        out = np.flatnonzero((mine >= 0) & ~asked.signs.looked)
        for start in range(0, len(out), LOOKED_CHUNK):
            part = out[start : start + LOOKED_CHUNK]
            new = new_edges(asked.rows[part])
            new = replace(new, signs=replace(new.signs, own=mine[part]))
            swap = self._swap(new, *(cost[part] for cost in costs))
            told[0][part], told[1][part] = swap.age, swap.fails_first_prob

    def _swap(self, asked: Asked, planned: Floats, failure: Floats, wpp: Floats) -> GridSwap:
        """Best age of new edges."""
        rows = asked.rows
        curves, row = self._curves(asked, np.arange(len(rows)), widened=False)
        edges = self._edges(rows, row, np.zeros(len(rows)), wpp)
        latest = np.full(len(rows), np.inf)
        counts = self._wear.counts[rows]
        unseen = (counts[:, WORN] == 0) & (counts.sum(axis=1) > 0)
        if unseen.any():
            some = rows[unseen]
            promised = promised_curves(self.keys, some)
            at_promise = self._edges(
                some, np.arange(len(some)), np.zeros(len(some)), wpp[unseen]
            )
            alone = least_cost(promised, at_promise, planned[unseen], failure[unseen], None)
            latest[unseen] = np.maximum(_CREEP * self._wear.oldest[some], alone.age)
        return least_cost(curves, edges, planned, failure, latest)
