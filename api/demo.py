"""``crib demo``: a fresh database, an invented shop in it that goes on, and the service."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click

from api.settings import CLOCK_VARIABLE, Settings

_ZONE = "Europe/Berlin"


def run_demo(environment: Mapping[str, str], *, seed: int, speed: float, days: int) -> None:
    """Make the demo, keep it moving and serve it on loopback until stopped.

    Args:
        environment: Settings; with CRIB_DATABASE_URL the demo goes there and stays, else into
            a temporary folder that goes when it ends.
        seed: Same seed, same shop.
        speed: Simulated seconds per second.
        days: Length of the history [d].

    Raises:
        Refusal: The database named is not empty.
    """
    from api.serving import serve
    from crib.clock import now
    from crib.demo.history import build
    from crib.demo.process import moving
    from crib.store.migrate import open_store

    given = {"CRIB_TIME_ZONE": _ZONE, **{k: v for k, v in environment.items() if v.strip()}}
    with _database(given) as url:
        settings = replace(
            Settings.from_environment({**given, "CRIB_DATABASE_URL": url}), host="127.0.0.1"
        )
        store = open_store(url)
        present = now()
        try:
            with _progress(days) as told:
                shop = build(store, present=present, seed=seed, days=days, progress=told)
        finally:
            store.close()
        os.environ["CRIB_TIME_ZONE"] = given["CRIB_TIME_ZONE"]
        click.echo(f"database {url}", err=True)
        click.echo(f"{speed:g} simulated seconds pass in one; end with ctrl-C", err=True)
        click.echo(f"http://127.0.0.1:{settings.port}/")
        sys.stdout.flush()
        with moving(url, shop, present, speed) as clock:
            os.environ[CLOCK_VARIABLE] = clock.to_text()
            serve(settings, access_log=False)


@contextmanager
def _database(given: Mapping[str, str]) -> Iterator[str]:
    if "CRIB_DATABASE_URL" in given:
        yield given["CRIB_DATABASE_URL"]
        return
    with tempfile.TemporaryDirectory(prefix="crib-demo-") as folder:
        yield f"sqlite:///{Path(folder) / 'crib.db'}"


@contextmanager
def _progress(days: int) -> Iterator[Callable[[int, int], None]]:
    from tqdm import tqdm

    with tqdm(total=days, unit="d", desc="history", file=sys.stderr, disable=None) as bar:

        def told(done: int, _total: int) -> None:
            bar.update(done - bar.n)

        yield told
