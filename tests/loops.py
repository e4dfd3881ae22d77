"""An event loop of its own for a test, whatever runs in the thread that it is called from."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def run(work: Coroutine[Any, Any, T]) -> T:
    """Run to the end in another thread: what steers browsers keeps a loop in the main one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
