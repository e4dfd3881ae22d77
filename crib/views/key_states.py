"""Which tools and materials last as forecast, which need a look, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from crib.left_out import Kept, worked_out
from crib.life.fits import FITS, TOO_FEW
from crib.outlook.shop_plan import ShopPlan
from crib.outlook.to_put_right import ToPutRight
from crib.views.fit_words import FitSeen, fits_of
from crib.views.key_uses import KeyListed, asked_of_key
from crib.views.life_of_key import no_life
from crib.views.stands_on import changed_at

#: How a key stands: somebody has to look at it, it lasts as forecast, nobody can tell yet.
LOOK, AS_FORECAST, UNKNOWN = "look", "as_forecast", "unknown"

#: Why somebody has to look, the worst first: a mounted edge may have been changed without a
#: scan, its forecasts ran wrong, its lives do not fit the curve, many of them are doubted,
#: they changed.
ASKED, WRONG, NO_FIT = "asked", "wrong", "no_fit"
DOUBTED, CHANGED = "doubted", "changed"
_REASONS: Final = (ASKED, WRONG, NO_FIT, DOUBTED, CHANGED)

#: So many doubted lives are many, where they are so great a share of all: common practice, no
#: source.
MANY_DOUBTED: Final = 2
MANY_SHARE: Final = 0.15


@dataclass(frozen=True, slots=True)
class KeyState:
    """How one key stands.

    Attributes:
        listed: The key.
        fit: How well its lives fit the curve; None where that could not be worked out.
        since: When its lives changed; None where they did not.
        lives_since: Lives from then on.
        state: look, as_forecast or unknown.
        reason: asked, wrong, no_fit, doubted or changed; None unless somebody has to look.
        asked: What is asked of its mounted edges.
    """

    listed: KeyListed
    fit: FitSeen | None
    since: datetime | None
    lives_since: int
    state: str
    reason: str | None
    asked: tuple[ToPutRight, ...] = ()

    @property
    def relies(self) -> bool:
        """Whether nothing seen says that its forecasts may be wrong."""
        warns = self.fit is not None and self.fit.warns
        return not (warns or self.listed.distrust is not None)


def key_states(plan: ShopPlan, keys: Sequence[KeyListed]) -> Kept[KeyState]:
    """How keys stand: what needs a look first, the worst of it on top, then by name.

    Args:
        plan: The shop's plan.
        keys: Some or all of its keys.
    """
    problems: list[str] = []
    items = plan.shop.rows.items
    row_of = {key.text(items): row for row, key in enumerate(plan.keys)}

    def state(one: KeyListed) -> KeyState:
        row = row_of[one.key]
        fits = fits_of(plan, row, one.use.wear_per_part, one.key)
        problems.extend(fits.problems)
        fit = next(iter(fits), None)
        since, lives_since = changed_at(plan, row)
        asked = asked_of_key(plan, row)
        reason = ASKED if asked else _reason(one, fit, since)
        told = AS_FORECAST if fit is not None and fit.verdict == FITS else UNKNOWN
        return KeyState(one, fit, since, lives_since, LOOK if reason else told, reason, asked)

    found = worked_out(keys, state, lambda one: no_life(one.key))
    found.problems = (*problems, *found.problems)
    found.sort(key=lambda one: _REASONS.index(one.reason) if one.reason else len(_REASONS))
    return found


def _reason(one: KeyListed, fit: FitSeen | None, since: datetime | None) -> str | None:
    if one.distrust is not None:
        return WRONG
    if fit is not None and fit.verdict not in (FITS, TOO_FEW):
        return NO_FIT
    if one.doubted >= max(MANY_DOUBTED, MANY_SHARE * one.over):
        return DOUBTED
    return None if since is None else CHANGED
