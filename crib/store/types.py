"""Column types that refuse a float where an exact integer belongs, or a naive time."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, Dialect, Integer
from sqlalchemy.types import TypeDecorator

from crib.clock import instant_from_us, us_from_instant


class Instant(TypeDecorator[datetime]):
    """An aware instant, kept as microseconds since 1970 in UTC (sorts and computes as such)."""

    impl = BigInteger().with_variant(Integer, "sqlite")
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        """Refuse a naive time, count microseconds."""
        return None if value is None else us_from_instant(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Back to an aware datetime in UTC."""
        return None if value is None else instant_from_us(value)


class Whole(TypeDecorator[int]):
    """An exact integer (0.1 µm, hundredths of money): a float is a bug and is refused."""

    impl = BigInteger().with_variant(Integer, "sqlite")
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        """Refuse anything but an int."""
        if value is not None and (isinstance(value, bool) or not isinstance(value, int)):
            raise TypeError(f"{value!r} is not an exact integer")
        return value
