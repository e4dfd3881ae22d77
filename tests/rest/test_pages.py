"""The page that a label opens, as a person reads it."""

from html import escape

import pytest

from api.pages.docs import told
from tests.pages.reading import read


@pytest.mark.parametrize(
    "mark", ["<script>alert(1)</script>", 'Otto "Ox" O\'Neil', "أمينة", "Zoë 🛠"]
)
def test_no_mark_can_be_more_than_a_mark(client, mark):
    made = client.post("/v1/holders", json={"holder": mark, "holder_type": "SQ12-CN"})

    page = client.get(f"/C/{made.get_json()['code']}").get_data(as_text=True)

    assert made.status_code == 201
    assert "<script" not in page
    assert escape(mark, quote=False) in page.replace("&#34;", '"').replace("&#39;", "'")


def test_the_page_runs_nothing_and_asks_nobody_else(client, bench):
    answer = client.get(f"/C/{bench.ready()}")
    page = answer.get_data(as_text=True)

    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert "<script" not in page
    assert "style=" not in page
    assert "http://" not in page
    assert '<html lang="en"' in page


def test_names_of_a_tool_stay_whole_on_their_line(client, bench):
    whole = [one.text for one in read(client, f"/C/{bench.ready()}").select("dd .unbroken")]

    assert {"TH-1", "PG-1"} <= set(whole)


def test_subjects_of_the_documentation_are_named_in_words(client):
    names = [one.text for one in read(client, "/v1/docs").select("summary h2")]

    assert {"Holder types", "MTConnect"} <= set(names)
    assert not [name for name in names if "-" in name or "_" in name]


def test_a_label_of_an_earlier_preset_says_so_and_names_the_present_one(client, bench):
    old = bench.ready()
    new = bench.measure(old)["assembly"]

    page = client.get(f"/C/{old}").get_data(as_text=True)

    assert new != old
    assert "superseded and VOID" in page
    assert new in page


def test_the_page_of_a_mounted_tool_shows_what_is_keyed_in_and_the_cautions(client, bench):
    code = bench.ready()
    bench.post("/v1/mounts", station="M1/T01", assembly=code)

    page = client.get(f"/C/{code}").get_data(as_text=True)

    assert "M1/T01" in page
    assert "+52.0" in page
    assert "on diameter" in page
    assert "Prove the offset" in page


def test_an_unknown_and_a_mistyped_code_are_told_apart(client):
    assert client.get("/C/NOBODY-KNOWS").status_code == 404
    mistyped = client.get("/C/A00001X")
    assert mistyped.status_code == 404
    assert "mistyped" in mistyped.get_data(as_text=True)


def test_the_docs_say_bounds_and_show_no_raw_marks(client):
    plan, people = (
        client.get(f"/v1/docs/{one}").get_data(as_text=True) for one in ("plan", "people")
    )

    assert "`" not in plan + people
    assert '<span class="code">next</span> of the page before.' in people
    assert "query, number, more than 0, at most 720: How far to look ahead [h]." in plan


def test_the_docs_find_calls_by_words_and_shapes_by_name(client):
    page = read(client, "/v1/docs?q=swap-list")
    [link] = {one["href"] for one in page.select("details li a") if "swap-list" in one.text}
    address, _, anchor = str(link).partition("#")

    assert read(client, address).find(id=anchor)
    assert [
        one["href"] for one in read(client, "/v1/docs?q=SwapPage").select("main > div > ul a")
    ]
    assert "No call holds these words" in read(client, "/v1/docs?q=no-such").text
    assert client.get("/v1/docs/no-such").status_code == 404
    assert client.get("/v1/docs/shapes/no-such").status_code == 404


def test_descriptions_are_escaped_before_their_code_spans():
    assert told("a < ``b & c``") == 'a &lt; <span class="code">b &amp; c</span>'
