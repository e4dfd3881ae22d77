"""What a supervisor decides for a night is kept, and told where the night is told."""

from __future__ import annotations

from datetime import datetime, timedelta

import pypdfium2
import pytest

from tests.pages.reading import read, words


@pytest.fixture
def nights(client, bench, clock):
    """Reads the page of M1's nights; a tool is in T01, with parts told, B2 at the screen."""
    bench.post("/v1/mounts", station="M1/T01", assembly=bench.ready())
    clock.go_on(minutes=10)
    client.post("/who", data={"person": "B2"})
    return lambda: read(client, "/shift/nights/M1")


def items(client, address):
    return client.get(address).get_json()["items"]


def decide(client, page, choice, changed=()):
    form = page.select_one("form.decide")
    fields = {one["name"]: one.get("value", "") for one in form.select("input")}
    return client.post(form["action"], data={**fields, "choice": choice, **dict(changed)})


def told(page):
    return [words(one) for one in page.select(".night .decided")]


def sheet(client):
    """The text of the shift sheet."""
    document = pypdfium2.PdfDocument(client.get("/v1/shift-sheet.pdf").get_data())
    paper = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return " ".join(paper.split())


def stretch(client):
    return client.get("/v1/forecasts?limit=1").get_json()["nights"][0]


def test_a_decision_is_told_on_each_page_of_the_night_on_paper_and_by_the_api(client, nights):
    page = nights()
    offered = [one["value"] for one in page.select("form.decide")[0].select("button")]
    night = stretch(client)
    assert offered == [one["kind"] for one in night["options"]]
    assert told(page) == []

    assert decide(client, page, "stand").status_code == 303

    (one,) = items(client, "/v1/night-choices?machine=M1")
    assert (one["choice"], one["until"], one["by"]) == ("stand", None, "B2")
    assert (one["begins_at"], one["ends_at"]) == (night["begins_at"], night["ends_at"])
    (line,) = told(nights())
    assert line.startswith("Decided")
    assert line.endswith("let it stand.")
    assert told(read(client, "/shift")) == [line]
    assert "let it stand." in sheet(client)


def test_a_later_decision_takes_the_place_of_the_one_before_until_it_is_taken_back(
    client, bench, nights, clock
):
    decide(client, nights(), "stand")
    clock.go_on(minutes=1)
    decide(client, nights(), "run")
    assert told(nights())[0].endswith("run as it is.")

    newest = max(one["fact"] for one in items(client, "/v1/night-choices"))
    bench.post("/v1/reversals", fact=newest)

    assert told(nights())[0].endswith("let it stand.")


def test_once_the_night_has_begun_page_and_paper_tell_that_nobody_decided(
    client, nights, clock
):
    night = stretch(client)
    ahead = datetime.fromisoformat(night["begins_at"]) - clock() + timedelta(hours=1)
    page = nights()
    clock.go_on(seconds=ahead.total_seconds())
    night = stretch(client)
    (run,) = (one for one in night["options"] if one["kind"] == "run")
    assert run["fail_probability"] > 0.1  # told in whole per cents
    risk = f"{run['fail_probability']:.0%}".replace("%", " %")
    assert told(nights()) == []
    head = words(nights().select_one(".night h2"))
    assert head.startswith("Mon 5 Jan 21:00 to 05:00")
    assert head.endswith("nobody decided yet")
    folded = nights().select_one("#nights section")
    folded.select_one(".figures").decompose()
    assert words(folded).count(f"risk {risk}") == 1
    assert "Nobody decided yet. " in sheet(client)

    assert decide(client, page, "run").status_code == 303

    assert told(nights())[0].endswith("run as it is.")
    assert len(told(nights())) == 1
    assert "nobody decided" not in words(nights().select_one(".night h2"))


def test_only_what_keeps_the_limit_is_marked_as_good(client, bench, store, nights, clock):
    def marks():
        return [one["class"][1:] for one in nights().select(".night .decided")]

    def accept(percent):
        with store.write() as tx:
            tx.exec_driver_sql("UPDATE machines SET night_limit_percent = ?", (percent,))

    begin = datetime.fromisoformat(stretch(client)["begins_at"])
    clock.go_on(seconds=(begin - clock() + timedelta(minutes=10)).total_seconds())
    accept(40)
    assert stretch(client)["answer"] == "until"
    assert marks() == []
    assert "nobody decided yet" in words(nights().select_one(".night h2"))
    decide(client, nights(), "run")
    assert marks() == [["over"]]
    clock.go_on(minutes=1)
    decide(client, nights(), "until")
    assert marks() == [["within"]]
    clock.go_on(minutes=1)
    decide(client, nights(), "stand")
    assert marks() == [["within"]]
    for one in items(client, "/v1/night-choices"):
        bench.post("/v1/reversals", fact=one["fact"])
    # somebody comes shortly before the night ends, and looks at the tool
    clock.go_on(seconds=(begin - clock() + timedelta(hours=7, minutes=30)).total_seconds())
    code = client.get("/v1/forecasts?limit=1").get_json()["items"][0]["assembly"]
    bench.post("/v1/removals", station="M1/T01", assembly=code, reason="inspection")
    bench.post("/v1/mounts", station="M1/T01", assembly=code)
    assert stretch(client)["answer"] == "run"
    assert marks() == []
    head = nights().select_one(".night h2")
    assert words(head).endswith("nobody decided yet")
    assert not head.select(".good")  # no tick beside it
    decide(client, nights(), "run")
    assert marks() == [["within"]]
    assert [words(one) for one in nights().select(".night h2")[0].select(".good")] == ["run"]


def test_a_stop_is_kept_with_its_time_and_told_in_the_site_s_own(client, bench, nights):
    night = stretch(client)
    half = datetime.fromisoformat(night["begins_at"]) + timedelta(hours=1)
    fact = bench.post(
        "/v1/night-choices", machine="M1", by="B2", choice="until", until=half.isoformat(),
        begins_at=night["begins_at"], ends_at=night["ends_at"],
    )  # fmt: skip
    assert fact["until"] == items(client, "/v1/night-choices")[0]["until"]
    assert "run until" in told(nights())[0]


@pytest.mark.parametrize(
    ("changed", "status", "says"),
    [
        ({"choice": "perhaps"}, 422, "The choice is one of run, swap, until, stand."),
        ({"begins_at": ""}, 422, "Reload the page"),
        ({"ends_at": "2020-01-01T00:00:00+00:00"}, 422, "would end before it begins"),
        ({"choice": "until", "until": "2020-01-01T00:00:00+00:00"}, 422, "outside the night"),
        (
            {"begins_at": "2020-01-01T00:00:00+00:00", "ends_at": "2020-01-02T00:00:00+00:00"},
            409,
            "decide the next one",
        ),
        ({"begins_at": "2020-01-01T00:00:00"}, 422, "has no offset"),
    ],
)
def test_what_cannot_be_decided_is_refused_on_the_page_and_nothing_is_kept(
    client, nights, changed, status, says
):
    sent = decide(client, nights(), "stand", changed)

    assert sent.status_code == status
    assert says in sent.get_data(as_text=True)
    assert items(client, "/v1/night-choices") == []


def test_somebody_has_to_say_who_decides(client, nights):
    page = nights()
    client.delete_cookie("crib_by")
    assert not nights().select("form.decide")
    assert nights().select_one("a[href^='/who?next=']")

    sent = decide(client, page, "run")

    assert sent.status_code == 422
    assert "Say who decides: a badge or code." in sent.get_data(as_text=True)
