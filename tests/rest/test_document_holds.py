"""The document and the service say the same: schemathesis sends what the one allows, and more.

Source: schemathesis, a reference tool outside the project. All its checks are on: what the
document allows is taken (or refused by a documented 404 or 409), what it forbids is refused,
every answer has a documented status, content type, header and shape.

By default every operation gets one request made from its schema; the whole campaign, with all
phases and so many examples an operation, goes through a demonstration shop:
``CRIB_TEST_EXAMPLES=30 .venv/bin/pytest -q tests/rest/test_document_holds.py``.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from crib.clock import now
from crib.demo.history import build
from crib.store.engine import Store
from tests.servers import RealServer

EXAMPLES = os.environ.get("CRIB_TEST_EXAMPLES", "")
_CONFIG = Path(__file__).with_name("schemathesis.toml")
_QUICK = ("--phases", "fuzzing", "--max-examples", "1", "--generation-deterministic")
_WHOLE = (
    *("--phases", "examples,coverage,fuzzing,stateful", "--max-examples", EXAMPLES),
    *("--generation-database", "none"),
)


def _campaign(server: RealServer, folder: Path, words: tuple[str, ...]) -> str:
    """Run schemathesis against a server: what it printed, empty where nothing failed."""
    command = [
        *(str(Path(sys.executable).with_name("schemathesis")), "--config-file", str(_CONFIG)),
        *("run", f"{server.address}/v1/openapi.json", "--checks", "all"),
        *("--no-color", "--warnings", "off", "--max-redirects", "0"),
        *("--suppress-health-check", "all", *words),
    ]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else done.stdout + done.stderr


def test_document_and_service_agree(
    store: Store,
    shop: SimpleNamespace,
    start_server: Callable[..., RealServer],
    tmp_path: Path,
) -> None:
    server = start_server(store.url)

    assert _campaign(server, tmp_path, _QUICK) == ""


@pytest.mark.skipif(not EXAMPLES, reason="CRIB_TEST_EXAMPLES is not set")
def test_document_and_service_agree_in_a_busy_shop(
    store: Store, start_server: Callable[..., RealServer], tmp_path: Path
) -> None:
    build(store, present=now(), seed=1, days=4, progress=lambda _done, _all: None)
    server = start_server(store.url)

    assert _campaign(server, tmp_path, _WHOLE) == ""
