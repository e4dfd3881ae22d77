"""Column types that refuse a float where an exact integer belongs, or a naive time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Dialect
from sqlalchemy.types import TypeDecorator

from crib.clock import instant_from_us, us_from_instant
from crib.sentence import as_kept, from_kept
from crib.store.engines.chosen import WORDS
from crib.store.field_types import unreadable_value


class Instant(TypeDecorator[datetime]):
    """An aware instant, kept as microseconds since 1970 in UTC (sorts and computes as such)."""

    impl = WORDS.WHOLE
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        """Refuse a naive time, count microseconds."""
        return None if value is None else us_from_instant(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Back to an aware datetime in UTC."""
        return None if value is None else instant_from_us(value)


class Whole(TypeDecorator[int]):
    """An exact integer (0.1 µm, hundredths of money): a float is a bug and is refused."""

    impl = WORDS.WHOLE
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        """Refuse anything but an int."""
        if value is not None and (isinstance(value, bool) or not isinstance(value, int)):
            raise TypeError(f"{value!r} is not an exact integer")
        return value


class Sentences(TypeDecorator[Sequence[str]]):
    """Sentences for people, kept with template and values so that pages can translate them."""

    impl = JSON
    cache_ok = True

    def process_bind_param(self, value: Sequence[str] | None, dialect: Dialect) -> Any:
        """Template and values of each."""
        return None if value is None else [as_kept(one) for one in value]

    def process_result_value(self, value: Any, dialect: Dialect) -> Sequence[str] | None:
        """The sentences again; what was kept before as plain text stays that."""
        try:
            return None if value is None else [from_kept(one) for one in value]
        except (TypeError, ValueError) as problem:
            raise unreadable_value() from problem
