"""A young shop whose edges live longer or shorter than promised: what running edges tell."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from tests.bench.forecast.young import MOMENTS, Young, young_shop


def _line(name: str, shops: list[Young], what: str) -> str:
    ratios = np.exp(np.mean([np.log(getattr(shop, what)) for shop in shops], axis=0))
    return f"{name:34}" + "".join(f"{ratio:7.2f}" for ratio in ratios)


@pytest.mark.bench
@pytest.mark.parametrize("times", [2.0, 1.0, 0.5])
def test_a_young_shop(
    times: float, seeds: tuple[int, ...], show: Callable[[str], None]
) -> None:
    """Running edges bring the told life of long-lived keys nearer to the truth."""
    heads = "".join(f"{moment:7.1f}" for moment in MOMENTS)
    lines = [
        f"\nlives {times:g} times the promised ones, eight stations, told median over the true"
        f" one, seeds {', '.join(map(str, seeds))}",
        f"{'promised lives made by each station':34}{heads}",
    ]
    for one_key in (True, False):
        kind = "one key" if one_key else "keys of their own"
        shops = {
            running: [young_shop(s, times, one_key=one_key, running=running) for s in seeds]
            for running in (False, True)
        }
        ended = np.mean([shop.ended for shop in shops[True]], axis=0)
        lines.append(f"{kind + ', edges ended':34}" + "".join(f"{n:7.1f}" for n in ended))
        for what, named in (("new", "new edge"), ("left", "life left")):
            for running, told in ((False, "ended alone"), (True, "with running ones")):
                lines.append(_line(f"  {named}, {told}", shops[running], what))
        if times > 1:
            off = [
                np.abs(np.log([shop.new[2:6] for shop in shops[running]])).mean()
                for running in (False, True)
            ]
            assert off[1] < 0.8 * off[0]
    show("\n".join(lines))
