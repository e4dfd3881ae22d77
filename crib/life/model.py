"""The life model: every edge's chances from all lives of the shop, exact under censoring.

Life in wear units (1 is what the speed-life constants promise). Two independent risks: wear-out
by Weibull's law, whose scale leans on like keys and whose shape runs over a grid weighted by
prior times marginal likelihood; breakage at a constant rate per part. Nothing known, all taken
out early, one life, all lives equal: each gives a wide, finite answer.

A forecast is a probability, not a promise: an edge can fail at any time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.errors import OutsideModel
from crib.life.breakage import Breakage, fit_breakage
from crib.life.curves import Curves, Edges, ahead_for_hazard
from crib.life.observations import (
    BROKEN,
    CENSORED,
    WORN,
    Ints,
    LifeHistories,
    SetAside,
    set_aside,
)
from crib.life.pooling import KeyTable
from crib.life.posterior import Posterior, fit_posterior, promised_curves
from crib.life.replacement import GridSwap, least_cost_on_grid
from crib.life.taylor import Floats

_CREEP: Final = 4 / 3
_CHUNK = 250_000


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast rests on, arrays of shape (keys asked,).

    Attributes:
        worn: Lives ended by wear.
        broken: Lives ended by breakage.
        censored: Edges taken out early.
        promised: Life that constants or guess promise [wear units].
        prior_scale: Scale of life as like keys say it, before the key's own [wear units].
        life_p10: Wear-out life of a new edge that 10 % do not reach.
        life_p50: Its median.
        life_p90: Reached by 10 % only; p10 to p90 is the 80 % interval.
    """

    worn: Ints
    broken: Ints
    censored: Ints
    promised: Floats
    prior_scale: Floats
    life_p10: Floats
    life_p50: Floats
    life_p90: Floats


@dataclass(frozen=True, slots=True)
class LifeModel:
    """Fitted model; made by ``fit_life_model``.

    All methods take arrays of shape (edges,) or single numbers, broadcast together, and give
    arrays. ``key`` is a row of the key table; ages and ways ahead are in wear units;
    ``wear_per_part`` says how many of them a part of the present job costs.

    Attributes:
        keys: The table it was fitted for.
        aside: Lives that were not believed, for a person to check.
    """

    keys: KeyTable
    aside: list[SetAside]
    _wear: Posterior
    _breakage: Breakage

    def survival(
        self, key: ArrayLike, age: ArrayLike, ahead: ArrayLike, wear_per_part: ArrayLike
    ) -> Floats:
        """Chance that an edge of this age lives ``ahead`` wear units more."""
        hazard, shape = self._hazard_ahead(key, age, ahead, wear_per_part)
        return np.exp(-hazard).reshape(shape)

    def fail_probability(
        self, key: ArrayLike, age: ArrayLike, ahead: ArrayLike, wear_per_part: ArrayLike
    ) -> Floats:
        """Chance that it fails within ``ahead`` wear units, exact also where it is tiny."""
        hazard, shape = self._hazard_ahead(key, age, ahead, wear_per_part)
        return -np.expm1(-hazard).reshape(shape)

    def remaining(
        self,
        key: ArrayLike,
        age: ArrayLike,
        wear_per_part: ArrayLike,
        probs: ArrayLike = (0.05, 0.1, 0.5, 0.9),
    ) -> Floats:
        """Wear units ahead by which the chance of failing reaches each of ``probs``.

        Returns:
            Quantiles of the life left, shape (edges, probs), rising along probs.

        Raises:
            OutsideModel: A probability outside 0 to 1, ends excluded.
        """
        p = np.atleast_1d(np.asarray(probs, dtype=np.float64))
        if not np.all((p > 0) & (p < 1)):
            raise OutsideModel("A probability has to lie between 0 and 1.")
        rows, (ages, wpp), _ = self._asked(
            key, (age, "age", True), (wear_per_part, "wear_per_part", False)
        )
        target = -np.log1p(-p)
        result = np.empty((len(rows), len(p)))
        for part in self._chunks(rows):
            curves, row = self._curves(rows[part])
            edges = self._edges(rows[part], row, ages[part], wpp[part])
            wide = Edges(
                np.repeat(edges.row, len(p)),
                np.repeat(edges.age, len(p)),
                np.repeat(edges.alpha, len(p)),
                np.repeat(edges.beta, len(p)),
            )
            ahead = ahead_for_hazard(curves, wide, np.tile(target, len(row)))
            result[part] = ahead.reshape(-1, len(p))
        return result

    def swap_age(
        self,
        key: ArrayLike,
        planned_cost: ArrayLike,
        failure_cost: ArrayLike,
        wear_per_part: ArrayLike,
    ) -> tuple[Floats, Floats, Floats]:
        """Age at which a planned swap costs least (age replacement, Barlow & Proschan 1965).

        Where no edge of a key was ever seen worn, the age may only creep: at most a third
        beyond the oldest age seen, or to what the promise alone would say if that is later.

        Returns:
            Age [wear units], cost per wear unit there, share of edges that fail before it.
            Where a planned swap never pays, the age lies so far out that nearly all fail first.

        Raises:
            OutsideModel: A cost or wear per part that is not above 0.
        """
        rows, (planned, failure, wpp), shape = self._asked(
            key,
            (planned_cost, "planned_cost", False),
            (failure_cost, "failure_cost", False),
            (wear_per_part, "wear_per_part", False),
        )
        case, first = _distinct(rows, planned, failure, wpp)
        out = [np.empty(len(first)) for _ in range(3)]
        for start in range(0, len(first), 5_000):
            part = slice(start, start + 5_000)
            at = first[part]
            swap = self._swap(rows[at], planned[at], failure[at], wpp[at])
            for whole, piece in zip(out, swap, strict=True):
                whole[part] = piece
        age, rate, share = (values[case].reshape(shape) for values in out)
        return age, rate, share

    def basis(self, key: ArrayLike) -> Basis:
        """Counts, prior and a new edge's wear-out life (breakage apart) of each key."""
        rows, _, _ = self._asked(key)
        curves, row = self._curves(rows)
        lives = []
        for p in (0.1, 0.5, 0.9):
            zero = np.zeros(len(rows))
            edges = Edges(row, zero, zero, np.ones(len(rows)))
            lives.append(ahead_for_hazard(curves, edges, np.full(len(rows), -np.log1p(-p))))
        counts = self._wear.counts[rows]
        return Basis(
            counts[:, WORN],
            counts[:, BROKEN],
            counts[:, CENSORED],
            np.exp(self.keys.prior_mean[rows]),
            np.exp(self._wear.lean_mean[rows]),
            *lives,
        )

    def law(self, key: ArrayLike) -> tuple[Floats, Floats]:
        """Shape and scale of each key's wear-out, at the posterior means of their logarithms.

        Returns:
            Shape, and scale [wear units], each of the shape of ``key``.
        """
        rows, _, shape = self._asked(key)
        return self._wear.law(rows, shape)

    def _asked(
        self, key: ArrayLike, *columns: tuple[ArrayLike, str, bool]
    ) -> tuple[Ints, list[Floats], tuple[int, ...]]:
        """Rows and columns, broadcast and checked; ``True`` allows a 0."""
        arrays: list[Ints | Floats] = [np.asarray(key, dtype=np.int64)]
        for values, name, zero in columns:
            array = np.asarray(values, dtype=np.float64)
            if not np.all(np.isfinite(array) & ((array >= 0) if zero else (array > 0))):
                least = "from 0" if zero else "above 0"
                raise OutsideModel(
                    f"{name} has to be a number {least}.", facts={"quantity": name}
                )
            arrays.append(array)
        wide = np.broadcast_arrays(*arrays)
        rows = wide[0].reshape(-1)
        if len(rows) and not (rows.min() >= 0 and rows.max() < len(self.keys)):
            raise OutsideModel("The life model knows no such key.", facts={"quantity": "key"})
        return rows, [w.reshape(-1).astype(np.float64) for w in wide[1:]], wide[0].shape

    def _chunks(self, rows: Ints) -> list[Ints]:
        """Edges sorted by key in pieces of bounded memory."""
        if len(rows) <= _CHUNK:
            return [np.arange(len(rows))]
        order = np.argsort(rows, kind="stable")
        return [order[i : i + _CHUNK] for i in range(0, len(order), _CHUNK)]

    def _curves(self, rows: Ints) -> tuple[Curves, Ints]:
        """Curves of the keys asked for, and each edge's row among them."""
        asked = np.zeros(len(self.keys), dtype=bool)
        asked[rows] = True
        wanted = np.flatnonzero(asked)
        place = np.cumsum(asked) - 1
        curves = self._wear.curves(wanted)
        return curves, place[rows]

    def _edges(self, rows: Ints, row: Ints, age: Floats, wear_per_part: Floats) -> Edges:
        beta = self._breakage.exposure_wear(rows, wear_per_part)
        return Edges(row, age, self._breakage.alpha[rows], beta)

    def _hazard_ahead(
        self, key: ArrayLike, age: ArrayLike, ahead: ArrayLike, wear_per_part: ArrayLike
    ) -> tuple[Floats, tuple[int, ...]]:
        rows, (ages, way, wpp), shape = self._asked(
            key,
            (age, "age", True),
            (ahead, "ahead", True),
            (wear_per_part, "wear_per_part", False),
        )
        result = np.empty(len(rows))
        for part in self._chunks(rows):
            curves, row = self._curves(rows[part])
            edges = self._edges(rows[part], row, ages[part], wpp[part])
            result[part] = edges.hazard_ahead(curves, way[part])
        return result, shape

    def _swap(self, rows: Ints, planned: Floats, failure: Floats, wpp: Floats) -> GridSwap:
        curves, row = self._curves(rows)
        latest = np.full(len(rows), np.inf)
        counts = self._wear.counts[rows]
        unseen = (counts[:, WORN] == 0) & (counts.sum(axis=1) > 0)
        if unseen.any():
            some = rows[unseen]
            promised, promised_row = promised_curves(self.keys, some), np.arange(len(some))
            alone = self._least_cost(
                promised, promised_row, some, planned[unseen], failure[unseen], wpp[unseen]
            )
            latest[unseen] = np.maximum(_CREEP * self._wear.oldest[some], alone.age)
        return self._least_cost(curves, row, rows, planned, failure, wpp, latest)

    def _least_cost(
        self,
        curves: Curves,
        row: Ints,
        rows: Ints,
        planned: Floats,
        failure: Floats,
        wpp: Floats,
        latest: Floats | None = None,
    ) -> GridSwap:
        ages = curves.ages()[row]
        edges = self._edges(rows, row, np.zeros(len(rows)), wpp)
        breaks = edges.alpha[:, None] * np.log1p(ages / edges.beta[:, None])
        hazard = np.exp(curves.log_hazard[row]) + breaks
        return least_cost_on_grid(ages, hazard, planned, failure, latest)


def _distinct(*columns: Ints | Floats) -> tuple[Ints, Ints]:
    """Number of each row's distinct combination, and a row that holds each."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        values, inverse = np.unique(column, return_inverse=True)
        code = code * len(values) + inverse
        code = np.unique(code, return_inverse=True)[1]
    _, first, case = np.unique(code, return_index=True, return_inverse=True)
    return case, first


def fit_life_model(keys: KeyTable, histories: LifeHistories) -> LifeModel:
    """Fit the model to all lives of the shop.

    The same lives in any order give the same model. Absurd ages are kept out and listed in
    ``aside``.

    Args:
        keys: Keys with their promises and groups.
        histories: Lives; may be empty.

    Raises:
        OutsideModel: A life of a key that the table does not have.
    """
    if len(histories) and int(histories.key_index.max()) >= len(keys):
        raise OutsideModel("A life belongs to a key that is not in the key table.")
    promised = np.exp(keys.prior_mean)
    believed, aside = set_aside(histories, promised)
    breakage = fit_breakage(believed, (keys.operation, keys.item), promised)
    return LifeModel(keys, aside, fit_posterior(keys, believed), breakage)
