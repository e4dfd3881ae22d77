"""A form that is sent again acts once; with other entries it is refused."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from flask.testing import FlaskClient

from tests.pages.reading import form_data, read

ENTRIES = {"tool_spec": "TURN-OD", "lot": "LOT-I1", "holder": "TH-1", "act_key": "pressed-1"}


@pytest.mark.parametrize(
    "other",
    [{"holder": "TH-2"}, {"edge": "2"}, {"note": "again"}, {"holder": ["TH-1", "TH-2"]}],
    ids=str,
)
def test_the_same_form_with_other_entries_is_refused(
    client: FlaskClient,
    bench: SimpleNamespace,
    rows: Callable[[str], int],
    other: dict[str, str],
) -> None:
    first = client.post("/bench/build", data=ENTRIES)
    again = client.post("/bench/build", data=ENTRIES)

    changed = client.post("/bench/build", data=ENTRIES | other)

    assert (first.status_code, again.status_code, changed.status_code) == (303, 303, 409)
    assert again.headers["Location"] == first.headers["Location"]
    assert "was sent before with other entries" in changed.get_data(as_text=True)
    assert rows("assemblies") == 1


def test_the_key_of_one_form_is_none_of_another(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    code = bench.ready()
    other = bench.measure(bench.build("TH-2")["code"])["assembly"]
    entries = {"machine": "M1", "place": "A 1", "act_key": "pressed-1"}
    client.post(f"/bench/rack/{code}", data=entries)

    answer = client.post(f"/bench/rack/{other}", data=entries)

    assert answer.status_code == 409
    assert rows("rack_places") == 1


def test_a_mount_that_went_back_to_the_form_is_refused_aloud(
    client: FlaskClient, bench: SimpleNamespace, rows: Callable[[str], int]
) -> None:
    """Sent, gone back, the counter typed anew: by now the station is occupied, too."""
    code = bench.ready()
    form = form_data(read(client, f"/machines/M1/mount?station=M1/T01&tool={code}").select_one(
        "form[action$='/mount']"
    ))  # fmt: skip
    first = client.post("/machines/M1/mount", data=form | {"part_count": "12"})

    changed = client.post("/machines/M1/mount", data=form | {"part_count": "21"})

    assert (first.status_code, changed.status_code) == (303, 409)
    assert "was sent before with other entries" in changed.get_data(as_text=True)
    assert rows("mounts") == 1
