"""Posterior of wear-out: pooled scales, weighed laws, then each key's closed form."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import logsumexp

from crib.arrays import Bools, Floats, Ints
from crib.life.change import counts_still
from crib.life.curves import Curves, mixture_curves
from crib.life.evidence import Sums, looked_at, sums_of
from crib.life.forms import Plain, Terms
from crib.life.law import FORMS, LOG_MEDIAN, MIDDLING, STEEPNESS, Law, steepness_of
from crib.life.looks import Looks, error_in_common, learn_looks, unchecked_looks
from crib.life.lots import Cells, beyond_usual, cell_moments, cells_of
from crib.life.observations import BROKEN, WORN, LifeHistories
from crib.life.pooling import Hierarchy, KeyTable, Lives
from crib.life.reasons import Endings, Reasons, endings_of, learn_reasons
from crib.life.scales import Scales, add_to_scales, fit_scales
from crib.life.shapes import class_opinion, law_prior, normalised, widened
from crib.life.trust import Doubts, learn_doubts, learn_habit, medians
from crib.life.weibull_form import WeibullForm

_STEEP, _STEEP_SD = 3.0, 0.3
_FLAT: Final = WeibullForm(1.5)
#: Passes until no key's scale moves by more than this [ln], or so many.
_STANDS: Final = 0.01
_MOST_PASSES: Final = 8
#: Rounds of messages between the keys in the first pass, and in each later one.
_FIRST_ROUNDS, _MORE_ROUNDS = 6, 2
#: Steepness up to which laws are suspected to have run off.
_HARDLY_WEARS: Final = 2.5
#: Passes in which all laws lie where the flat ones do, and up to which steepness one is flat.
_FLAT_PASSES, _MOST_FLAT = 2, 3.5


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of each key's wear-out.

    Attributes:
        counts: Lives censored, worn, broken, shape (keys, 3).
        oldest: Oldest age seen [wear units], shape (keys,).
        promise: ln of the promised life, shape (keys,).
        looks: What looks at the wear are worth.
        weights: Weights of the laws, shape (keys, laws).
        scales: What the fit left of each key and box.
        law: The same in short, for judging new records.
        opinion: Log weights of each key's shapes as the others say, shape (keys, laws).
        doubts: What gives away a record of two lives.
        reasons: How reasons are written down.
        still: Chance that no change came after each of the lives that it was fitted to,
            shape (lives,).
    """

    counts: Ints
    oldest: Floats
    promise: Floats
    looks: Looks
    weights: Floats
    scales: Scales
    law: Law
    opinion: Floats
    doubts: Doubts
    reasons: Reasons
    still: Floats

    @property
    def lean_mean(self) -> Floats:
        """Ln scale as like keys say it, shape (keys,)."""
        return self.promise + self.scales.lean

    def curves(self, rows: Ints) -> Curves:
        """Life curves of edges out of new boxes of some keys, breakage apart."""
        scales = self.scales
        return mixture_curves(FORMS, self.weights[rows], scales.one[rows], scales.two[rows])

    def shape_and_scale(self, rows: Ints, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Weibull shape of like spread, and scale with the usual life; arrays of ``shape``."""
        steepness = steepness_of(self.weights[rows])
        log_scale = self.law.usual()[rows] - np.log(np.log(2)) / steepness
        return steepness.reshape(shape), np.exp(log_scale).reshape(shape)

    def cell_curves(self, cells: Ints) -> Curves:
        """Life curves of edges out of boxes that have shown lives, breakage apart."""
        scales, boxes = self.scales, self.scales.cells
        key = boxes.key[cells]
        one, two = (np.empty((len(cells), len(FORMS))) for _ in range(2))
        nothing = np.zeros(len(cells))
        for s, form in enumerate(FORMS):
            mean, variance = cell_moments(
                scales.prior(key, s),
                Terms(scales.sums.first[cells, s], scales.sums.second[cells, s], nothing),
                Terms(scales.first[key, s], scales.second[key, s], nothing),
                form,
                scales.lot_variance,
                boxes.still[cells],
            )
            one[:, s], two[:, s] = form.ahead(mean + self.promise[key], variance)
        return mixture_curves(FORMS, self.weights[key], one, two)

    def broke(self, lives: LifeHistories) -> Floats:
        """Chance that each life ended by a break, shape (lives,)."""
        broke: Floats = self.endings(lives)[BROKEN]
        return broke

    def endings(self, lives: LifeHistories) -> Floats:
        """Chance that each life was taken out good, worn or broken, shape (3, lives)."""
        return self.reasons.believed(self._endings(lives))

    def _endings(self, lives: LifeHistories) -> Endings:
        return endings_of(lives, self.law, self.doubts.habit.hazard(lives), self.looks.tie)

    def after(self, lives: LifeHistories) -> Posterior:
        """What is known after a few more believable lives.

        Takes the same time however many lives there were. What is shared between keys (their
        leaning on each other, what looks are worth, how common double records are) stays as it
        was; adding lives one by one or at once gives the same.
        """
        rows = np.unique(lives.key_index)
        counts, oldest = self.counts.copy(), self.oldest.copy()
        np.add.at(counts, (lives.key_index, lives.ended.astype(np.int64)), 1)
        np.maximum.at(oldest, lives.key_index, lives.wear)
        believed = self.doubts.belief(lives, self.law)
        cells, sums = self.scales.cells.grown(lives, looked_at(lives), self.scales.sums)
        more = sums_of(
            cells.of_life,
            cells.of_look,
            len(cells),
            lives,
            believed,
            self.law,
            self.looks,
            self.reasons.doubtful(self._endings(lives)),
        )
        return replace(
            self.with_sums(cells, sums.plus(more), rows), counts=counts, oldest=oldest
        )

    def with_sums(self, cells: Cells, sums: Sums, rows: Ints) -> Posterior:
        """The same with other sums of some keys.

        Args:
            cells: All boxes.
            sums: Their sums.
            rows: Keys whose sums are others than before.
        """
        scales = add_to_scales(self.scales, self.promise, cells, sums, rows)
        _rule_out(scales, rows, self.law)
        weights = self.weights.copy()
        weights[rows] = normalised(self.opinion[rows] + scales.evidence[rows])
        return replace(self, scales=scales, weights=weights)

    def pooled_with(self, keys: KeyTable, cells: Cells, sums: Sums, rows: Ints) -> Posterior:
        """The same where keys learn of each other anew, too."""
        seen = self.counts.sum(axis=1) > 0
        seen[rows] = True
        middle = _likeliest(self.scales)
        scales = fit_scales(
            keys,
            cells,
            sums,
            seen,
            Hierarchy(keys),
            middle,
            _FIRST_ROUNDS,
            self.counts[:, WORN] > 0,
        )
        opinion, weights = _weighed(keys, scales, seen, self.counts, self.law)
        return replace(self, scales=scales, opinion=opinion, weights=weights)


def promised_curves(keys: KeyTable, rows: Ints) -> Curves:
    """Life curves of some keys as if no life had been seen anywhere."""
    weights = np.tile(widened(normalised(law_prior()[None, :])), (len(rows), 1))
    one, two = np.empty_like(weights), np.empty_like(weights)
    for s, form in enumerate(FORMS):
        one[:, s], two[:, s] = form.ahead(keys.prior_mean[rows], keys.prior_sd[rows] ** 2)
    return mixture_curves(FORMS, weights, one, two)


def fit_posterior(keys: KeyTable, lives: LifeHistories) -> Posterior:
    """Fit all keys to believable lives.

    A first rough law shows how far each record is to be trusted and where looks and unseen
    failures point; each pass uses what the one before found, until the laws stand.
    """
    posterior = _fit(keys, lives, _first_law(keys, lives), _FLAT_PASSES)
    steepness = np.log(posterior.law.steepness())
    if not (lives.seen_kind > 0).any() or np.exp(np.mean(steepness)) > _HARDLY_WEARS:
        return posterior
    # Long lives that hardly wear explain nearly anything. Once more from where looks say.
    other = _fit(keys, lives, _law_of_looks(posterior.law, lives), 0)
    return max((posterior, other), key=_log_evidence)


def _log_evidence(posterior: Posterior) -> float:
    return float(logsumexp(posterior.opinion + posterior.scales.evidence, axis=1).sum())


def _fit(keys: KeyTable, lives: LifeHistories, law: Law, flat_passes: int) -> Posterior:
    """Fit from a law; for the first passes all laws lie where the flat ones do."""
    size, key = len(keys), lives.key_index
    counts = np.stack(
        [np.bincount(key[lives.ended == end], minlength=size) for end in (0, 1, 2)], axis=1
    )
    oldest = np.zeros(size)
    np.maximum.at(oldest, key, lives.wear)
    seen = counts.sum(axis=1) > 0
    habit = learn_habit(lives, size)
    taken_out = habit.hazard(lives)
    seen_rows = looked_at(lives)
    cells = cells_of(lives, seen_rows, error_in_common(lives, np.ones(len(lives))))
    hierarchy, middle, rounds = Hierarchy(keys), MIDDLING, _FIRST_ROUNDS
    between, believed_once = 0.0, np.zeros(len(lives))
    looks = unchecked_looks(law.usual(), law.doubt())
    for number in range(_MOST_PASSES):
        doubts, belief = learn_doubts(lives, law, habit)
        endings = endings_of(lives, law, taken_out, looks.tie)
        reasons = learn_reasons(endings)
        was_worn = reasons.believed(endings)[WORN]
        looks = learn_looks(lives, law.usual(), law.doubt(), belief * was_worn)
        doubtful = reasons.doubtful(endings)
        # Beside the law since a change, long lives from before look like two lives in one.
        believed_once = np.maximum(believed_once, belief)
        shared = beyond_usual(cells, between)
        still = counts_still(lives, keys.item, was_worn, believed_once, cells.of_life, shared)
        cells = cells.counting(lives, still)
        sums = sums_of(
            cells.of_life,
            cells.of_look,
            len(cells),
            lives,
            belief * np.where(lives.lot < 0, still, 1.0),
            law,
            looks,
            doubtful,
            (belief * still)[seen_rows],
        )
        flat = number < flat_passes
        proven = None if flat else counts[:, WORN] > 0
        scales = fit_scales(keys, cells, sums, seen, hierarchy, middle, rounds, proven)
        rounds = _FIRST_ROUNDS if flat else _MORE_ROUNDS
        between = scales.lot_variance
        opinion, weights = _weighed(keys, scales, seen, counts, law)
        middle = _likeliest(scales)
        followed = law.counts
        if not flat:
            followed = (weights[seen] > _LEAST_WEIGHT).any(axis=0)
        before, law = law, Law(keys.prior_mean, scales.scale, weights, scales.spread, followed)
        if flat:
            law = _about_the_flat(law, scales.evidence)
        elif _moved(before, law) < _STANDS:
            break
    return Posterior(
        counts,
        oldest,
        keys.prior_mean,
        looks,
        weights,
        scales,
        law,
        opinion,
        doubts,
        reasons,
        still,
    )


#: ln evidence of a law that no key with lives follows, and the weight below which none does.
_RULED_OUT, _LEAST_WEIGHT = -1e4, 1e-7


def _weighed(
    keys: KeyTable, scales: Scales, seen: Bools, counts: Ints, law: Law
) -> tuple[Floats, Floats]:
    """What the others say of each key's laws [ln], and the weights of them with its own."""
    _rule_out(scales, seen, law)
    worn = counts[:, WORN].astype(np.float64)
    opinion = class_opinion(scales.evidence, keys.classes, worn)
    return opinion, normalised(opinion + scales.evidence)


def _rule_out(scales: Scales, rows: Ints | Bools, law: Law) -> None:
    """Leave some keys no law under which lives known in part were not worked out."""
    scales.evidence[np.ix_(rows, ~law.counts)] = _RULED_OUT


def _likeliest(scales: Scales) -> int:
    """The law that all keys together follow best."""
    return int(np.argmax(law_prior() + scales.evidence.sum(axis=0)))


def _about_the_flat(law: Law, evidence: Floats) -> Law:
    """The law with the median of each key's flat laws.

    Under a steep law that lies far off, looks that contradict it count as slips and never pull
    it back; a flat one follows them.
    """
    flat = STEEPNESS < _MOST_FLAT
    weights = normalised(law_prior()[flat] + evidence[:, flat])
    median = np.sum(weights * (law.scale + LOG_MEDIAN)[:, flat], axis=1)
    return replace(law, scale=median[:, None] - LOG_MEDIAN)


def _moved(before: Law, after: Law) -> float:
    """How far any key's ln scale moved, at the shapes that count for it."""
    counted = after.weights > 0.05
    return float(np.max(np.abs(after.scale - before.scale)[counted], initial=0.0))


def _first_law(keys: KeyTable, lives: LifeHistories) -> Law:
    """A rough law from the flattest shape, to which one wrong record matters least."""
    size, every = len(keys), np.ones(len(FORMS), dtype=np.bool_)
    weights = _rough_weights(size)
    if not size:
        return Law(keys.prior_mean, np.zeros((0, len(FORMS))), weights, weights, every)
    age = np.where(lives.ended == BROKEN, lives.since, lives.wear)
    log_x = np.log(np.maximum(age, 1e-12)) - keys.prior_mean[lives.key_index]
    worn = (lives.ended == WORN).astype(np.float64)
    plain = Plain(lives.key_index, size, log_x, worn, np.ones(len(lives)))
    sums = _FLAT.plain(plain, log_x)
    seen = np.bincount(lives.key_index, minlength=size) > 0
    hierarchy = Hierarchy(keys)
    # Keys that never saw an edge worn would draw each other away from the promise.
    hierarchy.learn(Lives(_FLAT, sums, sums.first > 0), rounds=4)
    mean, variance = hierarchy.mean.copy(), hierarchy.variance.copy()
    after = _FLAT.after(mean[seen], variance[seen], sums.first[seen], sums.second[seen])
    mean[seen], variance[seen] = after.mean, after.variance
    scale = (mean + _FLAT.log_median)[:, None] - LOG_MEDIAN
    return Law(keys.prior_mean, scale, weights, np.tile(variance[:, None], len(FORMS)), every)


def _rough_weights(keys: int) -> Floats:
    """Weights of a rough law: steep, or a record of two lives would not stand out."""
    steep = -0.5 * (np.log(STEEPNESS / _STEEP) / _STEEP_SD) ** 2
    return np.tile(normalised(steep[None, :]), (keys, 1))


def _law_of_looks(law: Law, lives: LifeHistories) -> Law:
    """A rough law with the usual life of each key where looks at its edges say."""
    some = lives.take(lives.seen_kind > 0)
    taken = unchecked_looks(law.usual(), law.doubt()).of_lives(some)
    usual, many = medians(some.key_index, taken.life(), len(law.promise))
    usual = np.where(many > 0, usual - law.promise, 0.0)
    return replace(
        law,
        scale=usual[:, None] - LOG_MEDIAN,
        weights=_rough_weights(len(usual)),
        counts=np.ones(len(FORMS), dtype=np.bool_),
    )
