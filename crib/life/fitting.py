"""Fits the life model: again at settled numbers of lives, by additions in between.

What keys share with each other needs all lives at once; a key's own sums only need the new
ones. So the shared part is learned from the first so many lives, at numbers that grow by a
twentieth, and the lives since then are added one by one. The same lives in the same order give
the same model, whichever way it was reached.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from crib.errors import OutsideModel
from crib.life.aside import set_aside, yardstick
from crib.life.breakage import fit_breakage
from crib.life.kept_curves import KeptCurves
from crib.life.model import Ended, LifeModel
from crib.life.observations import LifeHistories, per_key, same_rows
from crib.life.pooling import KeyTable
from crib.life.posterior import fit_posterior
from crib.life.running import NO_RUNNING
from crib.sentence import sentence

#: Up to this many lives everything is fitted again with each.
ALWAYS_ANEW: Final = 400
_GROWTH: Final = 1.05
#: Up to so many keys they learn of each other from running edges too, which is done again
#: whenever one of those is a step older.
_FEW_KEYS: Final = 200


def settled_count(lives: int) -> int:
    """How many of the first lives the shared part is learned from."""
    if lives <= ALWAYS_ANEW:
        return lives
    steps = math.floor(math.log(lives / ALWAYS_ANEW) / math.log(_GROWTH))
    counts = (math.floor(ALWAYS_ANEW * _GROWTH**k) for k in (steps + 1, steps, steps - 1))
    return max(count for count in counts if count <= lives)


def fit_life_model(
    keys: KeyTable,
    histories: LifeHistories,
    widening: ArrayLike | None = None,
    before: LifeModel | None = None,
    running: LifeHistories | None = None,
) -> LifeModel:
    """Fit the model to all lives of the shop, in the order in which they ended.

    Absurd ages are kept out and listed in ``aside``.

    Args:
        keys: Keys with their promises and groups.
        histories: Lives; may be empty.
        widening: Factor from 1 up on the spread of ln life of each key, shape (keys,), where
            forecasts turned out too sure of themselves (``crib.life.calibration``).
        before: A model of the same keys and of the first of these lives, if there is one; it
            saves time and changes nothing.
        running: Edges that still cut, at the wear that counts (``crib.life.running``).

    Raises:
        OutsideModel: A life of a key that the table does not have; a widening that is not one
            number from 1 to 5 per key.
    """
    of_keys = [lives.key_index for lives in (histories, running) if lives is not None]
    if any(len(rows) and int(rows.max()) >= len(keys) for rows in of_keys):
        raise OutsideModel(sentence("A life belongs to a key that is not in the key table."))
    wide = np.ones(len(keys)) if widening is None else np.asarray(widening, dtype=np.float64)
    if wide.shape != (len(keys),) or not np.all((wide >= 1) & (wide <= 5)):
        raise OutsideModel(sentence("The widening has to be one number from 1 to 5 per key."))
    settled = settled_count(len(histories))
    if before is None or not _goes_on(before, keys, histories, settled):
        before = _anew(keys, histories.take(np.arange(settled)))
    more = histories.take(np.arange(len(before.histories), len(histories)))
    model = before.after(more) if len(more) else before
    on = NO_RUNNING.lives if running is None else running
    few = len(histories) + len(on) <= ALWAYS_ANEW and len(keys) <= _FEW_KEYS
    model = model.beside(on, pooled=few and len(on) > 0)
    return replace(model, widening=wide, _kept_wide=KeptCurves(), _kept_own_wide=KeptCurves())


def _anew(keys: KeyTable, histories: LifeHistories) -> LifeModel:
    promised = np.exp(keys.prior_mean)
    measure = yardstick(histories, promised)
    believed, aside = set_aside(histories, measure)
    wear = fit_posterior(keys, believed)
    levels = (keys.operation, keys.item)
    ended = Ended(
        wear,
        fit_breakage(believed, levels, promised, wear.broke(believed)),
        per_key(believed.key_index, believed.wear, len(keys)),
    )
    return LifeModel(
        keys,
        aside,
        np.ones(len(keys)),
        histories,
        len(histories),
        measure,
        ended.wear,
        ended.breakage,
        NO_RUNNING,
        ended,
    )


def _goes_on(before: LifeModel, keys: KeyTable, histories: LifeHistories, settled: int) -> bool:
    """Whether a model is that of the first of these lives, settled alike."""
    known = len(before.histories)
    if before.settled != settled or known > len(histories):
        return False
    return same_rows(before.keys, keys, len(keys)) and same_rows(
        before.histories, histories, known
    )
