"""Few lives lean on like edges: the prior of each key from all other keys' lives.

``ln scale`` of a key is its promise plus effects of the shop, grade, material group, grade on
material group, operation class and item, plus a rest of its own; all are normal. Each key's
lives send a message about its ``ln scale`` (moments of its posterior, less the prior they
came from); a mixed linear model weighs the messages; each key then gets what the
others say, its own message taken out. Repeated a few times this is expectation propagation
(Minka 2001, from memory). The variances of the effects are estimated too (empirical Bayes),
held towards shares of the promise's own spread.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.arrays import Bools, Floats, Ints
from crib.errors import OutsideModel
from crib.life.forms import Form, Terms
from crib.life.observations import per_key
from crib.sentence import sentence

# Shares of the promise's variance: how much of the error of handbook constants is common to
# the shop, to a grade and so on. Common practice, no source; the lives correct them.
_SHARES: Final = {
    "shop": 0.20,
    "grade": 0.15,
    "material": 0.05,
    "grade_material": 0.10,
    "operation": 0.10,
    "item": 0.15,
    "key": 0.25,
}
# Who takes over an effect with too many levels, the first to go first.
_HEIRS: Final = {
    "grade_material": "key",
    "grade": "item",
    "operation": "key",
    "material": "key",
}
_MOST_STEPS = 3e8
_STRENGTH: Final = 4.0
_LEAST_FACTOR, _MOST_FACTOR = 0.02, 25.0


@dataclass(frozen=True, slots=True)
class KeyTable:
    """Keys (cutting item x material group x operation class), arrays of shape (keys,).

    Attributes:
        prior_mean: Mean of ln life before any lives [ln wear units]; 0 is the promise.
        prior_sd: Its standard deviation, about 0.4 for handbook constants.
        item: Label of the cutting item.
        grade: Label of the tool material or grade class.
        operation: Label of the operation class.
        material: Label of the material group.
    """

    prior_mean: Floats
    prior_sd: Floats
    item: Ints
    grade: Ints
    operation: Ints
    material: Ints

    def __len__(self) -> int:
        return len(self.prior_mean)

    @property
    def classes(self) -> Ints:
        """Number of each key's class: those of one grade and operation share their shape."""
        pair = self.grade * (self.operation.max(initial=0) + 1) + self.operation
        return np.unique(pair, return_inverse=True)[1].reshape(-1)


def key_table(
    item: ArrayLike,
    grade: ArrayLike,
    operation: ArrayLike,
    material: ArrayLike | None = None,
    prior_mean: ArrayLike = 0.0,
    prior_sd: ArrayLike = 0.4,
) -> KeyTable:
    """A table from labels (any integers) and priors (one for all, or one per key).

    Raises:
        OutsideModel: Unequal lengths, a mean beyond -20 to 20, a deviation beyond 0.01 to 3.
    """
    items = np.atleast_1d(np.asarray(item, dtype=np.int64))
    shape = items.shape
    labels = [items]
    for given in (grade, operation, 0 if material is None else material):
        label = np.asarray(given, dtype=np.int64)
        labels.append(np.full(shape, label) if label.ndim == 0 else label)
    mean = np.broadcast_to(np.asarray(prior_mean, dtype=np.float64), shape).copy()
    sd = np.broadcast_to(np.asarray(prior_sd, dtype=np.float64), shape).copy()
    if any(label.shape != shape for label in labels) or len(shape) != 1:
        raise OutsideModel(sentence("Every key needs one label of each level."))
    if not (np.all(np.abs(mean) <= 20) and np.all((sd >= 0.01) & (sd <= 3))):
        raise OutsideModel(
            sentence(
                "A key's prior mean has to be from -20 to 20 and its deviation from 0.01 to 3."
            )
        )
    codes = [np.unique(label, return_inverse=True)[1].reshape(shape) for label in labels]
    return KeyTable(mean, sd, codes[0], codes[1], codes[2], codes[3])


@dataclass(frozen=True, slots=True)
class Lives:
    """What keys' lives say under one law, arrays of shape (keys,).

    Attributes:
        form: The law.
        sums: Sums over lives, ages over the promise.
        seen: Whether the key has any life.
    """

    form: Form
    sums: Terms
    seen: Bools


@dataclass(slots=True)
class Hierarchy:
    """The mixed linear model over all keys; keeps variances and priors between shapes.

    ``mean`` and ``variance`` are what the other keys say of each key's ln scale, less its
    promise: shape (keys,), in the order of the key table.
    """

    keys: KeyTable
    mean: Floats = field(init=False)
    variance: Floats = field(init=False)
    _crossed: tuple[str, ...] = field(init=False)
    _level: Ints = field(init=False)
    _label: Ints = field(init=False)
    _cell: Ints = field(init=False)
    _cells: Floats = field(init=False)
    _own: Floats = field(init=False)
    _base: dict[str, float] = field(init=False)
    _factor: dict[str, float] = field(init=False)

    def __post_init__(self) -> None:
        variance = self.keys.prior_sd**2
        typical = float(np.median(variance)) if len(variance) else 1.0
        self._base = {name: share * typical for name, share in _SHARES.items()}
        self._factor = dict.fromkeys(_SHARES, 1.0)
        self._design()
        # A key with a wider promise than the rest holds the excess itself.
        own_share = self._base["key"] / typical
        shared = typical * (1 - own_share)
        self._own = np.maximum(variance - shared, own_share * variance)
        self.mean = np.zeros(len(self.keys))
        self.variance = shared + self._own

    def _design(self) -> None:
        """Columns of the crossed effects: which ones each key has, cell by cell.

        Keys of one grade, material and operation share a cell, a row of ``_cells``. Solving
        takes steps like items x columns^2. Where labels are so many that it would take
        seconds, the finest effects go and what is nested in them takes over their variance.
        """
        keys = self.keys
        pair = np.unique(
            keys.grade * (keys.material.max(initial=0) + 1) + keys.material, return_inverse=True
        )[1].reshape(-1)
        labels = {
            "shop": np.zeros(len(keys), dtype=np.int64),
            "grade": keys.grade,
            "material": keys.material,
            "grade_material": pair,
            "operation": keys.operation,
        }
        for name, heir in _HEIRS.items():
            columns = sum(int(label.max(initial=0)) + 1 for label in labels.values())
            if (len(keys) + 3 * columns) * columns**2 <= _MOST_STEPS:
                break
            del labels[name]
            self._base[heir] += self._base.pop(name)
        counts = [int(label.max(initial=0)) + 1 for label in labels.values()]
        self._crossed = tuple(labels)
        self._level = np.repeat(np.arange(len(counts)), counts)
        first = np.cumsum([0, *counts[:-1]])
        self._label = np.stack(
            [label + at for label, at in zip(labels.values(), first, strict=True)]
        )
        kinds, cell = np.unique(self._label, axis=1, return_inverse=True)
        self._cell = cell.reshape(-1)
        self._cells = np.zeros((kinds.shape[1], len(self._level)))
        self._cells[np.arange(kinds.shape[1]), kinds] = 1.0

    def learn(self, lives: Lives, rounds: int, *, spreads: bool = True) -> None:
        """Pass messages between the keys under one law, starting from what is known.

        Args:
            lives: What the lives say.
            rounds: How often.
            spreads: Whether to learn how much effects differ, too. Keys of which no edge was
                seen worn would draw each other away from the promise.
        """
        for _ in range(rounds):
            tau, nu = _messages(self.mean, self.variance, lives)
            self.mean, self.variance = self._weigh(tau, nu, spreads)

    def _weigh(self, tau: Floats, nu: Floats, spreads: bool = True) -> tuple[Floats, Floats]:
        """Solve the mixed model; each key's prior without its own message."""
        own = self._own * self._factor["key"]
        damp = 1 + tau * own
        pi, lam = tau / damp, nu / damp
        item, columns = self.keys.item, len(self._level)
        items = int(item.max()) + 1
        prior = 1 / (self._base["item"] * self._factor["item"])
        precision = per_key(item, pi, items) + prior
        pull = per_key(item, lam, items)
        at = (item * columns + self._label).reshape(-1)
        q = per_key(at, np.tile(pi, len(self._label)), items * columns).reshape(items, columns)
        lean = q / precision[:, None]
        by_cell = per_key(self._cell, pi)[:, None] * self._cells
        spread = np.array([self._base[n] * self._factor[n] for n in self._crossed])
        normal = self._cells.T @ by_cell - q.T @ lean
        normal += np.diag(1 / spread[self._level])
        covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        beta = covariance @ (self._cells.T @ per_key(self._cell, lam) - lean.T @ pull)
        # A key's sum of effects: its cell's columns, less the lean that its item makes of them.
        reach = lean @ covariance
        alike = np.einsum("ij,ij->i", reach, lean)
        effect = (pull - q @ beta) / precision
        mean = (self._cells @ beta)[self._cell] + effect[item]
        cell_variance = np.einsum("ij,ij->i", self._cells @ covariance, self._cells)
        across = reach.reshape(-1)[at].reshape(len(self._label), -1).sum(axis=0)
        variance = cell_variance[self._cell] - 2 * across + (alike + 1 / precision)[item]
        if spreads:
            self._spread_columns(beta, covariance)
            self._spread_items(effect, 1 / precision + alike)
            self._spread_keys(mean, variance, tau, nu, own)
        # Never below 0 but by rounding, when a message outweighs all else.
        left = np.maximum(1 / variance - pi, 1e-9 / variance)
        return (mean / variance - lam) / left, 1 / left + own

    def _update(self, name: str, squares: float, free: float, base: float = 0.0) -> None:
        """Variance factor of an effect: MacKay's fixed point, held by prior observations."""
        base = base or self._base[name]
        factor = (_STRENGTH + squares / base) / (_STRENGTH + max(free, 0.0))
        held = float(np.clip(factor, _LEAST_FACTOR, _MOST_FACTOR))
        # A new dict, so that a shallow copy of the hierarchy keeps its own state.
        self._factor = {**self._factor, name: held}

    def _spread_columns(self, beta: Floats, covariance: Floats) -> None:
        diagonal = np.diag(covariance)
        for effect, name in enumerate(self._crossed):
            if effect == 0:
                continue  # one shop tells nothing about the spread between shops
            rows = self._level == effect
            now = self._base[name] * self._factor[name]
            free = float(np.sum(1 - diagonal[rows] / now))
            self._update(name, float(np.sum(beta[rows] ** 2)), free)

    def _spread_items(self, effect: Floats, variance: Floats) -> None:
        now = self._base["item"] * self._factor["item"]
        self._update("item", float(effect @ effect), float(np.sum(1 - variance / now)))

    def _spread_keys(
        self, mean: Floats, variance: Floats, tau: Floats, nu: Floats, own: Floats
    ) -> None:
        """By expectation-maximisation: the fixed point overshoots on one life per key."""
        said = nu != 0
        precision = 1 / own + tau
        effect = (nu - tau * mean) / precision
        left = 1 / precision + (tau / precision) ** 2 * variance
        squares = float(np.sum(((effect**2 + left) / self._own)[said]))
        self._update("key", squares, float(said.sum()), base=1.0)


def _messages(mean: Floats, variance: Floats, lives: Lives) -> tuple[Floats, Floats]:
    """Natural parameters of what each key's lives say of its ln scale."""
    tau, nu = np.zeros_like(mean), np.zeros_like(mean)
    seen = lives.seen
    m, v = mean[seen], variance[seen]
    after = lives.form.after(m, v, lives.sums.first[seen], lives.sums.second[seen])
    # The likelihood is log-concave in ln scale, so it never widens a prior but by rounding.
    tau[seen] = np.maximum(1 / after.variance - 1 / v, 0.0)
    nu[seen] = after.mean * (tau[seen] + 1 / v) - m / v
    return tau, nu
