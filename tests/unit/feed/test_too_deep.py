"""Documents that nest without end are refused at once, in a sentence."""

from pathlib import Path

import pytest

from crib.errors import Invalid
from crib.feed.documents import read_document
from crib.feed.folder import BadFile, read_file
from crib.feed.problems import BadDocument
from crib.feed.topic_map import load_map


@pytest.mark.parametrize(
    "raw",
    [
        b"<MTConnectStreams>" * 100_000,
        b"<MTConnectDevices><Devices><Device>" + b"<Components><X>" * 50_000,
        b"<a><MTConnectError>" + b"<b>" * 300 + b"</b>" * 300 + b"</MTConnectError></a>",
    ],
)
def test_a_deep_answer_of_an_agent_is_not_read(raw: bytes):
    with pytest.raises(BadDocument, match="nests elements more than 200 deep"):
        read_document(raw)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "{a = " * 100_000,
        ".".join("a" * 100_000) + " = 1",
        "[" + ".".join(['"a"'] * 50_000) + "]",
        "[[rule]]\ntopic = 'x'\ncount = '" + ".".join("a" * 50_000) + "'",
        "# a comment\n" * 100_000,
    ],
)
def test_a_deep_or_very_large_feed_map_is_not_read(tmp_path: Path, text: str):
    path = tmp_path / "map.toml"
    path.write_text(text)

    with pytest.raises(Invalid, match=r"deeply|larger than"):
        load_map(path)


def test_dots_in_comments_and_a_long_inline_table_are_fine(tmp_path: Path):
    path = tmp_path / "map.toml"
    machines = ", ".join(f'"lathe.{n}" = "M{n}"' for n in range(500))
    rule = f"[[rule]]\ntopic = 'x/{{machine}}'\ncount = 'a.b.c'\nmachines = {{{machines}}}\n"
    path.write_text("# " + "." * 500 + "\n" + rule)

    assert load_map(path)


@pytest.mark.parametrize("blank", ["\n", "\r\n", " , ,\n", ",,\n", "\t\n"])
def test_a_dropped_file_of_blank_lines_is_refused_early(tmp_path: Path, blank: str):
    path = tmp_path / "counts.csv"
    path.write_text("machine,at,count\n" + blank * 20_000, newline="")

    with pytest.raises(BadFile, match="line 10002: is blank, like the 10000 lines before it"):
        read_file(path)
