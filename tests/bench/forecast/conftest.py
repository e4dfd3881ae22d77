"""Seeds of the forecast benchmarks, two processes to run them, a way to print at once."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context

import pytest

_USUAL = "1,2,3"


@pytest.fixture(scope="session")
def seeds() -> tuple[int, ...]:
    """Seeds: the usual ones, or ``CRIB_FORECAST_SEEDS=11,12``."""
    return tuple(int(seed) for seed in os.environ.get("CRIB_FORECAST_SEEDS", _USUAL).split(","))


@pytest.fixture(scope="session")
def two_processes() -> Iterator[Executor]:
    """Runs shops side by side."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        yield pool


@pytest.fixture
def show(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print at once, whether or not pytest was given -s."""

    def printed(text: str) -> None:
        with capsys.disabled():
            print(text)

    return printed
