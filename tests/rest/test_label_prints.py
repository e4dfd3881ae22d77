"""Labels put on paper over HTTP, by hand or by a print queue.

The queue is reached by a real executable called ``lp`` that the test puts on PATH: it keeps
what it was given. No print system takes part.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.settings import BadSetting, Settings
from crib.store.engine import Store

KEEPS = """#!{python}
import pathlib, sys
here = pathlib.Path({folder!r})
(here / "words").write_text("\\n".join(sys.argv[1:]))
(here / "document").write_bytes(sys.stdin.buffer.read())
"""
REFUSES = "#!/bin/sh\ncat > /dev/null\necho 'lp: no such queue' >&2\nexit 1\n"
SLEEPS = "#!/bin/sh\nexec sleep 3600\n"


@pytest.fixture
def lp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Puts an executable of that text on PATH as lp; its folder."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder), prepend=os.pathsep)

    def put(text: str) -> Path:
        (folder / "lp").write_text(text.format(python=sys.executable, folder=str(folder)))
        (folder / "lp").chmod(0o755)
        return folder

    return put


@pytest.fixture
def printing(store: Store, shop: SimpleNamespace, clock: Any) -> FlaskClient:
    """The service with a print queue set."""
    # an app of its own: the short ways to a tool go through the service without a queue
    return create_app(Settings(store.url, print_queue="bench"), store, clock).test_client()


def test_without_a_queue_the_print_is_recorded_and_its_pdf_named(
    client: FlaskClient, bench: SimpleNamespace
) -> None:
    code = bench.ready()

    done = bench.post(f"/v1/assemblies/{code}/label-prints", stock="roll-70x35", by="B1")

    assert (done["assembly"], done["ordinal"], done["queue"]) == (code, 1, None)
    label = client.get(done["label"])
    assert label.mimetype == "application/pdf"
    assert label.data.startswith(b"%PDF")
    bench.post(f"/v1/assemblies/{code}/label-prints", 409, stock="roll-70x35")
    again = bench.post(f"/v1/assemblies/{code}/label-prints", reason="torn", by="B1")
    assert again["earlier"][0]["by"] == "Ida Quill"
    listed = client.get(f"/v1/label-prints?assembly={code}").get_json()["items"]
    assert [one["reason"] for one in listed] == [None, "torn"]
    assert listed[0]["stock"] == "roll-70x35"
    bench.post("/v1/reversals", fact=again["fact"])


def test_a_stock_that_the_site_lacks_is_refused(bench: SimpleNamespace, rows: Any) -> None:
    code = bench.ready()

    bench.post(f"/v1/assemblies/{code}/label-prints", 404, stock="roll-1x1")

    assert rows("label_prints") == 0


def test_a_queue_gets_the_label_itself(
    printing: FlaskClient, bench: SimpleNamespace, lp: Callable[[str], Path]
) -> None:
    folder = lp(KEEPS)
    code = bench.ready()

    done = printing.post(f"/v1/assemblies/{code}/label-prints", json={})

    assert done.status_code == 201, done.get_data(as_text=True)
    assert done.get_json()["queue"] == "bench"
    assert (folder / "words").read_text().split("\n") == ["-d", "bench", "-t", f"label {code}"]
    assert (folder / "document").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("text", "why", "most_s"),
    [(REFUSES, "lp: no such queue", 300.0), (SLEEPS, "lp did not answer within 0.2 s", 0.2)],
    ids=["refuses", "sleeps"],
)
def test_a_queue_that_takes_nothing_leaves_nothing_on_record(
    printing: FlaskClient,
    bench: SimpleNamespace,
    lp: Callable[[str], Path],
    rows: Callable[[str], int],
    monkeypatch: pytest.MonkeyPatch,
    text: str,
    why: str,
    most_s: float,
) -> None:
    lp(text)
    path = f"/v1/assemblies/{bench.ready()}/label-prints"

    with monkeypatch.context() as patched:
        patched.setattr("api.print_queue.MOST_SECONDS", most_s)
        answer = printing.post(path, json={})

    assert answer.status_code == 409
    assert answer.get_json()["type"] == "/problems/not-printed"
    assert why in answer.get_json()["detail"]
    assert rows("label_prints") == 0
    lp(KEEPS)
    assert printing.post(path, json={}).get_json()["ordinal"] == 1


def test_a_machine_without_a_print_system_says_so(
    printing: FlaskClient, bench: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "/nowhere")

    answer = printing.post(f"/v1/assemblies/{bench.ready()}/label-prints", json={})

    assert answer.status_code == 409
    assert "the command lp is missing" in answer.get_json()["detail"]


@pytest.mark.parametrize("name", ["-o raw", "a b", "q/1", "x" * 200])
def test_a_queue_name_that_could_be_something_else_stops_the_start(name: str) -> None:
    with pytest.raises(BadSetting, match="CRIB_PRINT_QUEUE"):
        Settings.from_environment({"CRIB_PRINT_QUEUE": name})
