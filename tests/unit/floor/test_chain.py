"""The longest chain of readings that can follow each other, in windows beyond its reach."""

from __future__ import annotations

import numpy as np

from crib.floor.chain import _REACH, _chain


def test_a_chain_goes_on_behind_more_bad_readings_than_it_looks_back_at() -> None:
    """The two first fit each other and the last fits the second; what is between fits none."""
    size = _REACH + 6

    def can(before: np.ndarray, after: np.ndarray) -> np.ndarray:
        return ((before == 0) & (after == 1)) | ((before == 1) & (after == size - 1))

    chosen = _chain(np.arange(size), True, True, can)

    assert chosen is not None
    assert np.flatnonzero(chosen).tolist() == [0, 1, size - 1]
