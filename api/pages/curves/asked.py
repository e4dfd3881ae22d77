"""What the page of a key is asked: a cut for a wanted life, the wear land at a count."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from api.pages.acts import Complaint
from api.pages.numbers.shown import number
from crib.errors import Invalid, Refusal
from crib.outlook.shop_plan import ShopPlan
from crib.planning.cut_asked import FEED, SPEED
from crib.records.catalogue import TOOL_SPECS
from crib.sentence import figure, sentence
from crib.views.cut_of_key import CutOfKey, cut_of_key
from crib.views.land_of_key import LandOfKey, land_of_key

_MOST_PARTS = 1e9

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Asked:
    """Questions and answers of the page.

    Attributes:
        typed: What was typed, by field.
        cut: The cut found; None: not asked, or refused.
        cut_complaint: Why no cut was found.
        land: The lands found; None as above.
        land_complaint: Why no land was found.
    """

    typed: Mapping[str, str]
    cut: CutOfKey | None
    cut_complaint: Complaint | None
    land: LandOfKey | None
    land_complaint: Complaint | None


def asked_of_key(plan: ShopPlan, key: str, args: Mapping[str, str]) -> Asked:
    """Answer what the address asks of a key; a refusal stands beside its question.

    Args:
        plan: The shop's plan.
        key: Its name.
        args: Fields of the address: ``wanted``, ``in``, ``change``, ``parts``, ``land_mm``.
    """
    typed = {name: text.strip() for name, text in args.items() if text.strip()}
    cut, cut_complaint = _answer("wanted" in typed, lambda: _cut(plan, key, typed))
    land, land_complaint = _answer(
        bool({"parts", "land_mm"} & set(typed)), lambda: _land(plan, key, typed)
    )
    return Asked(typed, cut, cut_complaint, land, land_complaint)


def _answer(asked: bool, work: Callable[[], Found]) -> tuple[Found | None, Complaint | None]:
    if not asked:
        return None, None
    try:
        return work(), None
    except Refusal as refusal:
        return None, Complaint.of(refusal)


def _cut(plan: ShopPlan, key: str, typed: Mapping[str, str]) -> CutOfKey:
    wanted = _number(typed, "wanted", _MOST_PARTS)
    change = FEED if typed.get("change") == FEED else SPEED
    return cut_of_key(plan, key, change, wanted, minutes=typed.get("in") == "minutes")


def _land(plan: ShopPlan, key: str, typed: Mapping[str, str]) -> LandOfKey:
    most = TOOL_SPECS.column("wear_limit_mm").bounds.most or 3.0
    return land_of_key(
        plan,
        key,
        parts=_number(typed, "parts", _MOST_PARTS) if "parts" in typed else None,
        land_mm=_number(typed, "land_mm", most) if "land_mm" in typed else None,
    )


def _number(typed: Mapping[str, str], name: str, most: float) -> float:
    try:
        value = number(typed[name])
    except Invalid as refusal:
        raise Invalid(
            sentence("What was typed {why}.", why=refusal.sentence),
            errors=[{"field": name, "detail": refusal.sentence}],
        ) from refusal
    if 0 < value <= most:
        return value
    span = sentence("above 0 and at most {most}", most=figure(most, "g"))
    raise Invalid(
        sentence("The number has to be {span}.", span=span),
        errors=[{"field": name, "detail": span}],
    )
