"""Prints how good a forecast can get that knows the form of a shop, but not its numbers.

It learns from the very records that the life model gets: what any edge's life can be is drawn
from Bayes' law by Metropolis' rule with the shop's own form, so that a goal that it misses too
is out of reach. It even knows how uneven boxes and melts are, when a melt begins, how often
slips are made and which two edges may have been taken for each other; not the lives of keys,
how they scatter, what a box or a melt does, which records are slips, which coatings changed,
when and to what.

.venv/bin/python -m tests.bench.forecast.elsewhere.reachable --world plain,even --seed 71
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from typing import Final

import numpy as np
from scipy.special import log_ndtr, logsumexp

from crib.arrays import Bools, Floats, Ints
from tests.bench.forecast.elsewhere.__main__ import HEAD, line, mean
from tests.bench.forecast.elsewhere.forecaster import ByDraws
from tests.bench.forecast.elsewhere.history import (
    COUNT_SD,
    History,
    counts_of,
    keep_history,
    neighbours,
)
from tests.bench.forecast.elsewhere.measure import Figures, ask, figures
from tests.bench.forecast.elsewhere.truth import (
    ERRORS,
    RUN_IN,
    RUN_IN_SD,
    SOON,
    Keys,
    draw_boxes,
    draw_edges,
    draw_keys,
)
from tests.bench.forecast.elsewhere.worlds import World, named
from tests.bench.forecast.records import BROKEN, CENSORED, WORN

#: Worlds of whose form the likelihood below is.
KNOWN: Final = "plain,boxes,melts,coating,wrong2,wrong15,swapped,even,rising,runs"
_CHAINS, _BURN, _KEPT, _THIN = 6, 240, 40, 8
_EACH: Final = 12
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_LOG_WEIGHTS: Final[Floats] = np.log(_WEIGHTS / _WEIGHTS.sum())[:, None, None]
#: A coating changes with even odds, once, to a factor on the life that is spread so far [ln].
_CHANGE_SD: Final = 0.5
_FACTORS: Final[Floats] = np.linspace(-1.2, 0.8, 21)
_CHANGE_EVERY: Final = 8


@dataclass(slots=True)
class _State:
    """What is drawn, by chain: shape (chains, keys) and so on."""

    life: Floats
    scatter: Floats
    box: Floats
    bad: Bools
    melt: Floats
    crossed: Bools
    change_at: Floats
    change: Floats


class Chains:
    """Draws of what is not known of a shop, given what it wrote down."""

    def __init__(self, world: World, keys: Keys, history: History, seed: int) -> None:
        self._world, self._keys, self._kept = world, keys, history.kept
        self._rng = np.random.default_rng([seed, 109, len(history.kept)])
        self._week = history.week
        count, kept = len(keys), history.kept
        self._lots, self._lot = np.unique(kept.lot, return_inverse=True)
        number = (history.week + keys.first_melt[keys.material[kept.key]]) // world.melt_weeks
        self._melt_row = keys.material[kept.key] * keys.melt.shape[1] + number.astype(np.int64)
        self._pair = neighbours(keys, kept.key)
        self._count = np.log(counts_of(world, keys, seed))
        shape = (_CHAINS, count)
        rng = self._rng
        usual = np.zeros(count)
        for key in range(count):
            wear = kept.wear[kept.key == key]
            usual[key] = np.log(np.median(wear)) + 0.15 if len(wear) else 0.0
        self.state = _State(
            usual + 0.1 * rng.standard_normal(shape),
            rng.uniform(*world.scatter, shape),
            np.zeros((_CHAINS, len(self._lots))),
            np.zeros((_CHAINS, len(self._lots)), dtype=np.bool_),
            np.zeros((_CHAINS, keys.melt.size)),
            np.zeros((_CHAINS, len(kept)), dtype=np.bool_),
            np.full((_CHAINS, int(keys.item.max()) + 1), np.inf),
            np.zeros((_CHAINS, int(keys.item.max()) + 1)),
        )
        self._usual = np.zeros(shape)
        self._step = np.full(count, 0.05)

    def draws(self) -> list[_State]:
        """States kept after the chains have settled."""
        kept = []
        for turn in range(_BURN + _KEPT * _THIN):
            self._once(turn)
            if turn >= _BURN and (turn - _BURN) % _THIN == 0:
                s = self.state
                kept.append(
                    replace(
                        s,
                        life=s.life.copy(),
                        scatter=s.scatter.copy(),
                        melt=s.melt.copy(),
                        change_at=s.change_at.copy(),
                        change=s.change.copy(),
                    )
                )
        return kept

    def _once(self, turn: int) -> None:
        world, state, rng = self._world, self.state, self._rng
        self._share_effects()
        now = self.log_likelihood(state)
        # Keys: life and scatter together.
        least, most = world.scatter
        life = state.life + self._step * rng.standard_normal(state.life.shape)
        scatter = state.scatter + 0.4 * (most - least) * rng.standard_normal(life.shape)
        inside = (scatter > least) & (scatter < most)
        scatter = np.where(inside, scatter, state.scatter)
        said = self.log_likelihood(replace(state, life=life, scatter=scatter))
        sd = ERRORS["key"]
        prior = ((state.life - self._usual) ** 2 - (life - self._usual) ** 2) / (2 * sd**2)
        taken = self._taken(said - now, self._key(state), len(self._keys), prior)
        state.life = np.where(taken, life, state.life)
        state.scatter = np.where(taken, scatter, state.scatter)
        if turn < _BURN:
            self._step *= np.exp(0.15 * (taken.mean(axis=0) - 0.35))
        now = np.where(np.take_along_axis(taken, self._key(state), axis=1), said, now)
        # Boxes.
        box = state.box + world.box_sd * rng.standard_normal(state.box.shape)
        bad = state.bad ^ ((rng.random(box.shape) < 0.5) & (world.bad_boxes > 0))
        said = self.log_likelihood(replace(state, box=box, bad=bad))
        prior = (state.box**2 - box**2) / (2 * world.box_sd**2)
        if world.bad_boxes:
            odds = np.log(world.bad_boxes / (1 - world.bad_boxes))
            prior = prior + odds * (bad.astype(float) - state.bad)
        lot = np.broadcast_to(self._lot, said.shape)
        taken = self._taken(said - now, lot, len(self._lots), prior)
        state.box, state.bad = np.where(taken, box, state.box), np.where(taken, bad, state.bad)
        now = np.where(taken[:, self._lot], said, now)
        if world.bad_boxes:
            now = self._exchange(now)
        if world.melt_sd:
            melt = state.melt + 0.4 * world.melt_sd * rng.standard_normal(state.melt.shape)
            said = self.log_likelihood(replace(state, melt=melt))
            prior = (state.melt**2 - melt**2) / (2 * world.melt_sd**2)
            row = np.broadcast_to(self._melt_row, said.shape)
            taken = self._taken(said - now, row, melt.shape[1], prior)
            state.melt = np.where(taken, melt, state.melt)
            now = np.where(taken[:, self._melt_row], said, now)
        if world.swapped:
            self._cross(now)
        if world.change_week and turn % _CHANGE_EVERY == 0:
            self._change()

    def _share_effects(self) -> None:
        """Draw what keys share; the rest of a key's life is its own."""
        keys, rng, columns, held = self._keys, self._rng, [], []
        for name in ("shop", "grade", "material", "operation"):
            label = getattr(keys, name) if name != "shop" else np.zeros(len(keys), dtype=int)
            for value in np.unique(label):
                columns.append((label == value).astype(np.float64))
                held.append(ERRORS[name] ** -2.0)
        design, own = np.stack(columns, axis=1), ERRORS["key"] ** -2.0
        spread = np.linalg.inv(own * design.T @ design + np.diag(held))
        centre = own * self.state.life @ design @ spread
        effects = centre + rng.standard_normal(centre.shape) @ np.linalg.cholesky(spread).T
        self._usual = effects @ design.T

    def _taken(self, gain: Floats, row: Ints, rows: int, prior: Floats) -> Bools:
        """Which proposals are taken, shape (chains, rows)."""
        code = row + rows * np.arange(_CHAINS)[:, None]
        total = np.bincount(code.ravel(), gain.ravel(), minlength=rows * _CHAINS)
        odds = total.reshape(_CHAINS, rows) + prior
        taken: Bools = np.log(self._rng.random(odds.shape)) < odds
        return taken

    def _exchange(self, now: Floats) -> Floats:
        """Try the other reading of an item: good boxes were bad, of keys that live longer."""
        state, world, keys, rng = self.state, self._world, self._keys, self._rng
        items = state.change.shape[1]
        way = np.log(world.bad_life) * rng.choice([-1.0, 1.0], (_CHAINS, items))
        life, item = state.life + way[:, keys.item], keys.item[self._kept.key]
        said = self.log_likelihood(replace(state, life=life, bad=~state.bad))
        odds = np.log(world.bad_boxes / (1 - world.bad_boxes))
        of_lot = np.zeros(len(self._lots), dtype=np.int64)
        of_lot[self._lot] = item
        gain = ((state.life - self._usual) ** 2 - (life - self._usual) ** 2) / 2
        prior = np.zeros((_CHAINS, items))
        for chain in range(_CHAINS):
            flips = np.where(state.bad[chain], -odds, odds)
            prior[chain] = np.bincount(of_lot, flips, minlength=items) + np.bincount(
                keys.item, gain[chain] / ERRORS["key"] ** 2, minlength=items
            )
        row = np.broadcast_to(item, said.shape)
        taken = self._taken(said - now, row, items, prior)
        state.life = np.where(taken[:, keys.item], life, state.life)
        state.bad = state.bad ^ taken[:, of_lot]
        result: Floats = np.where(taken[:, item], said, now)
        return result

    def _cross(self, now: Floats) -> None:
        """Draw which pairs were taken for each other."""
        state, world = self.state, self._world
        other = replace(state, crossed=~state.crossed)
        gain = self.log_likelihood(other) - now
        first, second = self._pair
        odds = np.log(world.swapped / (1 - world.swapped))
        sign = np.where(state.crossed[:, first], -1.0, 1.0)
        odds = gain[:, first] + gain[:, second] + sign * odds
        flip = np.log(self._rng.random(odds.shape)) < odds
        for rows in (first, second):
            state.crossed[:, rows] ^= flip

    def _change(self) -> None:
        """Draw whether, when and to what each item's coating changed."""
        state, keys, rng = self.state, self._keys, self._rng
        item, weeks = keys.item[self._kept.key], np.arange(1.0, self._week.max() + 1)
        always = np.zeros_like(state.change_at)
        tried = np.stack(
            [
                self.log_likelihood(
                    replace(state, change_at=always, change=np.full(always.shape, factor))
                )
                for factor in (0.0, *_FACTORS)
            ]
        )
        prior = -0.5 * (_FACTORS / _CHANGE_SD) ** 2
        prior -= logsumexp(prior) + np.log(len(weeks))
        for row in range(always.shape[1]):
            some = np.flatnonzero(item == row)
            before, after = tried[0][:, some], tried[1:][:, :, some]
            late = self._week[some] >= weeks[:, None]
            # (factors, chains, weeks): what is gained by a change in a week.
            gain = np.einsum("fcn,wn->cfw", after - before, late.astype(float))
            logs = (gain + prior[:, None]).reshape(_CHAINS, -1)
            logs = np.concatenate([np.zeros((_CHAINS, 1)), logs], axis=1)
            which = np.argmax(logs + rng.gumbel(size=logs.shape), axis=1) - 1
            factor, week = np.unravel_index(np.maximum(which, 0), (len(_FACTORS), len(weeks)))
            # Within its cell of the row of factors; the first edges of a week may be older.
            width = _FACTORS[1] - _FACTORS[0]
            moved = _FACTORS[factor] + width * rng.uniform(-0.5, 0.5, _CHAINS)
            state.change[:, row] = np.where(which >= 0, moved, 0.0)
            state.change_at[:, row] = np.where(which >= 0, weeks[week], np.inf)

    def _key(self, state: _State) -> Ints:
        """Key that each edge really belonged to, shape (chains, lives)."""
        own = self._kept.key
        first, second = self._pair
        other = own.copy()
        other[first], other[second] = own[second], own[first]
        return np.where(state.crossed, other, own)

    def log_likelihood(self, state: _State) -> Floats:
        """Of each life, shape (chains, lives)."""
        world, keys, kept = self._world, self._keys, self._kept
        key = self._key(state)
        scale = keys.wear_per_part[key] / keys.wear_per_part[kept.key]
        own = np.take_along_axis(state.life, key, axis=1)
        scatter = np.take_along_axis(state.scatter, key, axis=1)
        ln = own + (state.box + np.log(world.bad_life) * state.bad)[:, self._lot]
        ln = ln + state.melt[:, self._melt_row]
        item = keys.item[key]
        changed = self._week >= np.take_along_axis(state.change_at, item, axis=1)
        ln = ln + np.where(changed, np.take_along_axis(state.change, item, axis=1), 0.0)
        wear, at = kept.wear * scale, kept.seen_at * scale
        spread = np.hypot(world.pace_sd, world.run_sd)
        meets = np.exp(ln + spread * _NODES[:, None, None])
        off = (wear / meets - 1) / scatter
        gone = -0.5 * off**2 - np.log(scatter * meets * np.sqrt(2 * np.pi))
        last = log_ndtr(-off)
        hazard = world.chip / np.exp(own)
        # Of the count: how likely it is that it ended this life, or had not come yet.
        count = (np.log(wear) - self._count[key]) / COUNT_SD
        ended = -0.5 * count**2 - np.log(COUNT_SD * np.sqrt(2 * np.pi) * wear)
        yet = log_ndtr(-count)
        by = {CENSORED: last + ended, WORN: gone + yet, BROKEN: last + np.log(hazard) + yet}
        told = np.where(
            kept.ended == WORN,
            by[WORN],
            np.where(kept.ended == BROKEN, by[BROKEN], by[CENSORED]),
        )
        if world.wrong:
            # Whatever it was: said so rightly, or one of two other reasons.
            every = logsumexp(np.stack(list(by.values())), axis=0)
            wrong = np.log(world.wrong / 2)
            right = told + np.log1p(-1.5 * world.wrong)
            told = np.logaddexp(right, every + wrong)
        looked = np.flatnonzero(np.isfinite(kept.seen_share))
        told[:, :, looked] += self._log_land(meets[:, :, looked], at[:, looked], looked)
        whole: Floats = logsumexp(told + _LOG_WEIGHTS, axis=0) - hazard * wear
        return whole

    def _log_land(self, meets: Floats, at: Floats, looked: Ints) -> Floats:
        """Of the lands seen; the run-in of an edge is taken as a small normal error."""
        y = at / meets
        early, grown = -np.expm1(-y / SOON), y**self._world.power
        land = RUN_IN * early + (1 - RUN_IN) * grown
        error = np.hypot(self._world.land_noise, RUN_IN * RUN_IN_SD * (early - grown) / land)
        off = (np.log(self._kept.seen_share[looked]) - np.log(land)) / error
        return -0.5 * off**2 - np.log(error)


def reachable(
    world: World, seed: int, stages: tuple[int, ...], count: int = 24
) -> dict[int, Figures]:
    """Figures of one who knows the form, by lives per key, in a shop of so many keys."""
    keys = draw_keys(world, seed, count)
    history = keep_history(world, keys, max(stages), seed)
    result = {}
    for stage in stages:
        chains = Chains(world, keys, history.until(stage), seed)
        one = foreseen(world, keys, chains.draws(), float(stage), seed)
        result[stage] = figures(one, ask(world, keys, stage, seed))
    return result


def foreseen(world: World, keys: Keys, draws: list[_State], week: float, seed: int) -> ByDraws:
    """Edges that may come of every draw, mounted in a week."""
    rng = np.random.default_rng([seed, 110])
    life, scatter = (
        np.concatenate([getattr(draw, name) for draw in draws]) for name in ("life", "scatter")
    )
    change = np.concatenate(
        [np.where(draw.change_at <= week, draw.change, 0.0) for draw in draws]
    )[:, keys.item]
    number = (week + keys.first_melt[keys.material]) // world.melt_weeks
    row = keys.material * keys.melt.shape[1] + number.astype(np.int64)
    melt = np.concatenate([draw.melt for draw in draws])[:, row]
    many = replace(keys, life=np.exp(life.T).ravel(), scatter=scatter.T.ravel())
    index = np.repeat(np.arange(life.size).reshape(len(keys), -1), _EACH, axis=1)
    ln = np.repeat((change + melt).T, _EACH, axis=1)
    ln = ln + draw_boxes(world, index.size, rng).reshape(index.shape)
    return ByDraws(draw_edges(world, many, index, ln, rng), keys, world)


def main() -> None:
    """Run the worlds, seeds and stages asked for."""
    ask_for = argparse.ArgumentParser(description=__doc__)
    ask_for.add_argument("--world", default=KNOWN, help="names, with commas between")
    ask_for.add_argument("--seed", default="71,72,73,74")
    ask_for.add_argument("--lives", default="5,10,50")
    given = ask_for.parse_args()
    worlds = named(given.world)
    if odd := [world.name for world in worlds if world.name not in KNOWN.split(",")]:
        ask_for.error(f"of {', '.join(odd)} no form is known here; only of {KNOWN}")
    seeds = [int(seed) for seed in given.seed.split(",")]
    stages = tuple(int(lives) for lives in given.lives.split(","))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        runs = [[pool.submit(reachable, w, seed, stages) for seed in seeds] for w in worlds]
        for world, some in zip(worlds, runs, strict=True):
            shops = [run.result() for run in some]
            print(f"\n{world.name}, its form known, seeds {given.seed}\n{HEAD}")
            for stage in stages:
                print(line(str(stage), mean([shop[stage] for shop in shops])), flush=True)


if __name__ == "__main__":
    main()
