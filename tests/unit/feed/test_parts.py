"""A stream is cut into its documents wherever it breaks, and no document grows for ever."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crib.feed.documents import read_document
from crib.feed.parts import DocumentCutter
from crib.feed.problems import BadDocument

_ANSWERS = Path(__file__).parents[3] / "fixtures" / "mtconnect"  # recorded, see README there
DOCUMENTS = [
    (_ANSWERS / f"{name}.xml").read_bytes().strip()
    for name in (
        "sample_path1",
        "sample_increment",
        "error_26",
        "current_schema18",
        "sample_empty",
    )
]


def _multipart(documents: list[bytes], lie: int) -> bytes:
    parts = [
        b"--b0undary\r\nContent-type: text/xml\r\nContent-length: %d\r\n\r\n%s\r\n"
        % (len(document) + lie, document)
        for document in documents
    ]
    return b"".join(parts)


@given(
    st.lists(st.sampled_from(DOCUMENTS), max_size=5),
    st.lists(st.integers(1, 4000), max_size=30),
    st.sampled_from([0, -50, 50]),
)
def test_a_stream_in_any_pieces_gives_the_same_documents(
    documents: list[bytes], cuts: list[int], lie: int
) -> None:
    stream = _multipart(documents, lie)
    cutter, found, place = DocumentCutter(100_000), [], 0

    for size in [*cuts, len(stream)]:
        found += list(cutter.feed(stream[place : place + size]))
        place += size

    assert found == documents


def test_a_document_is_there_before_the_next_one_begins() -> None:
    cutter = DocumentCutter(100_000)

    found = list(cutter.feed(_multipart(DOCUMENTS[:1], 0)))

    assert len(found) == 1
    read_document(found[0])


def test_a_document_without_end_is_refused() -> None:
    cutter = DocumentCutter(10_000)

    list(cutter.feed(b"<MTConnectStreams>" + b" " * 9_000))

    with pytest.raises(BadDocument, match="10000 bytes"):
        list(cutter.feed(b" " * 1_000))
