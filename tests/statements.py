"""Statements that one store of a test has compiled serve all others of the process.

Every test has a store of its own, and every engine compiles each statement anew: a tenth of the
run. A service has one store.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from sqlalchemy import create_engine
from sqlalchemy.util import LRUCache

from crib.store.engines.sqlite import connecting


class _Statements(LRUCache[Any, Any]):
    """Compiled statements by all of their key but the dialect, which is the same for all."""

    def get(self, key: Any, default: Any = None) -> Any:
        return super().get(key[1:], default)

    def __setitem__(self, key: Any, value: Any) -> None:
        super().__setitem__(key[1:], value)


def share_statements() -> None:
    """Let all stores that are opened from now on share what they compile."""
    shared = {"compiled_cache": _Statements(2_000)}
    vars(connecting)["create_engine"] = partial(create_engine, execution_options=shared)
